"""Render held-out crops once into a file: `python -m tools.training.heldout .training OUT.npz --count 560`.

For fitting the temperature (export.py) and for calibrating what reads with the network. Fonts, hands and punches of
these crops are never trained on. The file holds `pixels` (N, 48, 448) uint8, of which the first `width` columns of each
crop count, and of each crop `text` (empty where nothing can be read), `kind` (surface.KINDS), `ratio` (visibility.py)
and `readable` (ratio over READABLE).
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np
import torch

from tools.training.crops import WIDTHS, CropRenderer, true_strings
from tools.training.surface import KINDS
from tools.training.visibility import READABLE

SEED = 501
CHUNK = 80
"""Crops rendered at a time, which bounds the memory."""


def write_heldout(pack: Path, out: Path, count: int, seed: int = SEED, most_styles: int | None = None) -> int:
    """Write `count` crops of each width, less those in doubt between text and nothing; return how many were written."""
    renderer = CropRenderer(
        pack / "glyphs.npz",
        pack / "textures",
        torch.device("cpu"),
        seed=seed,
        strings=20_000,
        held=True,
        most_styles=most_styles,
    )
    pixels, widths, texts, kinds, ratios = [], [], [], [], []
    for width in WIDTHS:
        for start in range(0, count, CHUNK):
            batch = renderer.render(min(CHUNK, count - start), width)
            padded = torch.nn.functional.pad(batch.gray, (0, max(WIDTHS) - width)).numpy()
            strings = true_strings(batch)
            for number in torch.nonzero(batch.counts)[:, 0].tolist():
                pixels.append(padded[number])
                widths.append(width)
                texts.append(strings[number])
                kinds.append(KINDS[int(batch.kind[number])])
                ratios.append(float(batch.readable[number]))
        print(f"width {width} done", file=sys.stderr, flush=True)
    ratio = np.array(ratios, np.float32)
    np.savez_compressed(
        out,
        pixels=np.stack(pixels),
        width=np.array(widths),
        text=np.array(texts),
        kind=np.array(kinds),
        ratio=ratio,
        readable=(ratio > READABLE) & (np.array(texts) != ""),
    )
    return len(pixels)


def main() -> None:
    """Render from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("pack", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("--count", type=int, default=560)
    parser.add_argument("--seed", type=int, default=SEED)
    options = parser.parse_args()
    print(f"{write_heldout(options.pack, options.out, options.count, options.seed)} crops", file=sys.stderr)


if __name__ == "__main__":
    main()

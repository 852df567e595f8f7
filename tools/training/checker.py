"""Measures a network on held-out renders and held-out real strips, always the same ones, and shows them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor, nn

from tools.training import surface
from tools.training.camera import normalize
from tools.training.crops import WIDTHS, Batch, CropRenderer, true_strings
from tools.training.photographs import cut_strips, load_strips
from tools.training.sheet import write_sheet
from tools.training.strings import READ
from tools.training.visibility import READABLE

SEED = 77
"""Seed of the held-out renders."""

STRIP_WIDTH = 224
SHOWN, SHOWN_WRONG = 40, 240
"""Crops of each width, and failures, on the sheets."""


def read_greedily(logits: Tensor) -> list[str]:
    """Return the best path's string of each crop of (N, C, 1, T) logits."""
    best = logits[:, :, 0].argmax(1)
    texts = []
    for row in best.cpu().tolist():
        before, text = 0, ""
        for c in row:
            if c != before and c:
                text += READ[c - 1]
            before = c
        texts.append(text)
    return texts


class Checker:
    """Holds `count` held-out renders of each width, and held-out strips."""

    def __init__(
        self, pack: Path, device: torch.device, count: int = 1024, strings: int = 20_000, most_styles: int | None = None
    ) -> None:
        fixed = torch.random.get_rng_state(), torch.cuda.get_rng_state() if device.type == "cuda" else None
        renderer = CropRenderer(
            pack / "glyphs.npz",
            pack / "textures",
            device,
            seed=SEED,
            strings=strings,
            held=True,
            most_styles=most_styles,
        )
        self.batches = [renderer.render(count, width) for width in WIDTHS]
        strips = load_strips(pack / "strips.npz", device, held=True)
        gray, labels, lengths = cut_strips(strips, min(256, count), STRIP_WIDTH, varied=False)
        certain = torch.ones_like(lengths, dtype=torch.bool)
        self.real = Batch(gray, labels, lengths, certain, torch.zeros_like(lengths), torch.full(lengths.shape, 99.0))
        torch.random.set_rng_state(fixed[0])
        if fixed[1] is not None:
            torch.cuda.set_rng_state(fixed[1])

    @torch.no_grad()
    def read(self, network: nn.Module, batch: Batch) -> list[tuple[str, str]]:
        """Return (read, true) strings of a batch."""
        network.eval()
        texts = read_greedily(network(normalize(batch.gray.float())))
        network.train()
        return list(zip(texts, true_strings(batch), strict=True))

    def measure(self, network: nn.Module) -> dict[str, float]:
        """Return exact match: over all that counts, what is readable, that by kind, on blanks, and on real strips."""
        right: dict[str, list[bool]] = {}
        for batch in self.batches:
            pairs = self.read(network, batch)
            for (text, truth), kind, readable, counts in zip(
                pairs, batch.kind.tolist(), batch.readable.tolist(), batch.counts.tolist(), strict=True
            ):
                if counts:
                    right.setdefault("all" if truth else "nothing", []).append(text == truth)
                    if truth and readable > READABLE:
                        right.setdefault("readable", []).append(text == truth)
                        right.setdefault(surface.KINDS[kind], []).append(text == truth)
        real = [(t.translate({ord(c): None for c in ".-/ "}), truth) for t, truth in self.read(network, self.real)]
        right["strips"] = [t == truth for t, truth in real]
        return {name: round(sum(values) / len(values), 4) for name, values in sorted(right.items())}

    def sheets(self, network: nn.Module, out: Path) -> None:
        """Write sheets of held-out crops, of readable failures, and of held-out real strips with what was read."""
        crops: list[NDArray[np.uint8]] = []
        wrong: list[NDArray[np.uint8]] = []
        captions, wrong_captions = [], []
        for batch in self.batches[1:-1]:
            for number, (text, truth) in enumerate(self.read(network, batch)):
                caption = f"{batch.readable[number].item():.1f} {truth}>{text}"
                if number < SHOWN:
                    crops.append(batch.gray[number].cpu().numpy())
                    captions.append(caption)
                good = batch.counts[number] and batch.readable[number] > READABLE
                if text != truth and good and len(wrong) < SHOWN_WRONG:
                    wrong.append(batch.gray[number].cpu().numpy())
                    wrong_captions.append(surface.KINDS[int(batch.kind[number])][:4] + " " + caption)
        write_sheet(out / "rendered.png", crops, captions)
        if wrong:
            write_sheet(out / "failures.png", wrong, wrong_captions, 8)
        pairs = self.read(network, self.real)
        write_sheet(
            out / "strips.png", [g.cpu().numpy() for g in self.real.gray[:96]], [f"{b}>{a}" for a, b in pairs[:96]]
        )

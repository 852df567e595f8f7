"""Real strips whose license allows training: `python -m tools.training.photographs DATA OUT` gathers them once.

Takes only rows with part = train of the sets named in SETS (meter wheels, handwritten amounts) and the textures; every
sixth strip is held out for validation and calibration. Their labels leave out points and dashes, so those signs are
counted as blanks when a loss is taken on them.
"""

from __future__ import annotations

import argparse
import csv
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import torch
import torch.nn.functional as F  # noqa: N812 (the usual name)
from torch import Tensor

from tools.training.layout import HEIGHT, uniform
from tools.training.strings import LONGEST, READ
from tools.training.tiles import blur

SETS = ("meter-strips", "orand-car-a")
STRIP_HEIGHT, STRIP_WIDTH = 64, 512
HELD_EVERY = 6


def gather(data: Path, out: Path) -> None:
    """Write strips.npz and a folder of texture pictures to `out`."""
    strips, widths, texts, names = [], [], [], []
    for name in SETS:
        for row in _train_rows(data / name):
            picture = np.asarray(cv2.imread(str(data / name / row["file"]), cv2.IMREAD_GRAYSCALE))
            width = min(STRIP_WIDTH, max(8, round(picture.shape[1] * STRIP_HEIGHT / picture.shape[0])))
            strip = cv2.resize(picture, (width, STRIP_HEIGHT), interpolation=cv2.INTER_AREA)
            strips.append(cv2.copyMakeBorder(strip, 0, 0, 0, STRIP_WIDTH - width, cv2.BORDER_REPLICATE))
            widths.append(width)
            texts.append(row["text"])
            names.append(name)
    np.savez_compressed(
        out / "strips.npz",
        strips=np.stack(strips),
        widths=np.array(widths),
        texts=np.array(texts),
        names=np.array(names),
    )
    (out / "textures").mkdir(exist_ok=True)
    for row in _train_rows(data / "textures"):
        picture = np.asarray(cv2.imread(str(data / "textures" / row["file"]), cv2.IMREAD_GRAYSCALE))
        side = min(picture.shape)
        small = cv2.resize(picture[:side, :side], (min(side, 192),) * 2, interpolation=cv2.INTER_AREA)
        cv2.imwrite(str(out / "textures" / f"{Path(row['file']).stem}.png"), small)


def _train_rows(folder: Path) -> list[dict[str, str]]:
    with (folder / "labels.csv").open(encoding="utf-8") as file:
        return [row for row in csv.DictReader(file) if row["part"] == "train"]


@dataclass
class Strips:
    """Strips (N, 64, 512) uint8 on the device, their widths (N,), labels (N, LONGEST) and label lengths (N,).

    `wheels` (N,) tells which are counters: their figures stand at about one pitch from edge to edge.
    """

    pixels: Tensor
    widths: Tensor
    labels: Tensor
    lengths: Tensor
    wheels: Tensor


def load_strips(path: Path, device: torch.device, *, held: bool) -> Strips:
    """Load the strips to train on, or the held-out ones."""
    stored = np.load(path)
    chosen = np.flatnonzero((np.arange(len(stored["texts"])) % HELD_EVERY == 0) == held)
    labels = np.zeros((len(chosen), LONGEST), np.int64)
    for row, text in enumerate(stored["texts"][chosen]):
        labels[row, : len(text)] = [READ.index(c) + 1 for c in str(text)]
    lengths = (labels > 0).sum(1)
    return Strips(
        *(
            torch.from_numpy(a).to(device)
            for a in (
                stored["strips"][chosen],
                stored["widths"][chosen].astype(np.float32),
                labels,
                lengths,
                stored["names"][chosen] == SETS[0],
            )
        )
    )


def cut_strips(strips: Strips, count: int, width: int, *, varied: bool = True) -> tuple[Tensor, Tensor, Tensor]:
    """Return gray (count, 48, width) uint8 of random strips placed at random, with labels and lengths.

    `varied` also draws counters as often as amounts, takes runs of a counter's wheels and shuffles them, and blurs.
    """
    device = strips.pixels.device
    share = torch.where(strips.wheels, 1 / strips.wheels.sum().clamp_min(1), 1 / (~strips.wheels).sum().clamp_min(1))
    pick = (
        torch.multinomial(share, count, replacement=True)
        if varied
        else torch.randint(0, len(share), (count,), device=device)
    )
    labels, lengths, own = strips.labels[pick], strips.lengths[pick], strips.widths[pick]
    pitch = own / lengths.clamp_min(1)
    order = torch.arange(LONGEST, device=device).expand(count, -1)
    if varied:
        labels, lengths, order = _wheels_apart(labels, lengths, strips.wheels[pick])
        own = pitch * lengths
    margin = torch.where(
        torch.rand(count, device=device) < 0.7,
        uniform((count,), -0.04, 0.12, device),
        uniform((count,), 0.1, 0.8, device),
    )
    zoom_y = STRIP_HEIGHT * (1 + margin) / HEIGHT
    zoom_x = torch.maximum(zoom_y * uniform((count,), 0.6, 1.4, device), own * 0.98 / width)
    y, x = torch.meshgrid(
        torch.arange(HEIGHT, device=device) - HEIGHT / 2 + 0.5,
        torch.arange(width, device=device) - width / 2 + 0.5,
        indexing="ij",
    )
    spare = (width * zoom_x - own).clamp_min(0)
    turn, shear = torch.randn(count, device=device) * 0.03, torch.randn(count, device=device) * 0.12

    def c(t: Tensor) -> Tensor:
        return t[:, None, None]

    px = (x + c(shear) * y) * c(zoom_x) + c(own / 2 + spare * uniform((count,), -0.4, 0.4, device)) + c(turn) * y
    py = (
        y * c(zoom_y)
        - c(turn) * x * c(zoom_y)
        + STRIP_HEIGHT / 2
        + c(margin.clamp_min(0) * STRIP_HEIGHT * uniform((count,), -0.4, 0.4, device))
    )
    px = torch.minimum(px.clamp_min(0), c(own - 1))
    cell = (px / c(pitch)).floor().long().clamp(0, LONGEST - 1)
    px = px + c(pitch) * (order.gather(1, cell.flatten(1)).view_as(cell) - cell)
    grid = torch.stack([px * 2 / STRIP_WIDTH - 1, py * 2 / STRIP_HEIGHT - 1], -1)
    gray = F.grid_sample(strips.pixels[pick][:, None].float(), grid, padding_mode="border", align_corners=False)[:, 0]
    if varied:
        soft = uniform((count,), 0.05, 1.6, device) * (torch.rand(count, device=device) < 0.4)
        gray = 255 * (blur(gray, soft, soft).clamp(0, 255) / 255) ** torch.exp(
            torch.randn(count, 1, 1, device=device) * 0.35
        )
    gain = torch.exp(torch.randn(count, 1, 1, device=device) * 0.25)
    noisy = (gray - 128) * gain + 128 + torch.randn_like(gray) * uniform((count, 1, 1), 0, 8, device)
    return noisy.clamp(0, 255).to(torch.uint8), labels, lengths


def _wheels_apart(labels: Tensor, lengths: Tensor, wheels: Tensor) -> tuple[Tensor, Tensor, Tensor]:
    """Take a run of each counter's wheels, half the time, and shuffle a third of the runs.

    Returns labels, lengths and, for each place in the run, which of the strip's cells stands there.
    """
    count, device = len(labels), labels.device
    place = torch.arange(LONGEST, device=device).expand(count, -1)
    some = wheels & (torch.rand(count, device=device) < 0.5)
    taken = 2 + (torch.rand(count, device=device) * (lengths - 1).clamp_min(1)).long()
    size = torch.where(some, torch.minimum(taken, lengths), lengths)
    first = (torch.rand(count, device=device) * (lengths - size + 1)).long()
    mixed = wheels & (torch.rand(count, device=device) < 0.33)
    key = torch.where(mixed[:, None], torch.rand(count, LONGEST, device=device), place / LONGEST)
    key = torch.where((place >= first[:, None]) & (place < (first + size)[:, None]), key, 2.0 + place)
    order = torch.argsort(key, 1)
    kept = place < size[:, None]
    return labels.gather(1, order) * kept, size, order


def main() -> None:
    """Gather the trainable photographs."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("data", type=Path)
    parser.add_argument("out", type=Path)
    options = parser.parse_args()
    gather(options.data, options.out)


if __name__ == "__main__":
    main()

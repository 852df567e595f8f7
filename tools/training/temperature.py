"""One temperature for the network's logits, so that its probabilities come true (Guo et al. 2017).

Fitted on held-out renders (heldout.py) and held-out parts of the strips that may be trained on, never on anything that
measures: the value under which the true strings' mean negative log-likelihood (CTC, Graves et al. 2006) is least.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import torch
import torch.nn.functional as F  # noqa: N812 (the usual name)
from torch import Tensor, nn

from tools.training.camera import normalize
from tools.training.checker import STRIP_WIDTH, read_greedily
from tools.training.photographs import cut_strips, load_strips
from tools.training.strings import LONGEST, READ
from tools.training.train import merge_signs

TEMPERATURES = tuple(round(0.6 + 0.05 * k, 2) for k in range(29))
STRIP_CROPS = 400
"""Crops cut from the held-out strips."""

BATCH = 64


@torch.no_grad()
def fit_temperature(
    network: nn.Module, heldout: Path, strips: Path
) -> tuple[float, dict[str, float], dict[str, float]]:
    """Return the temperature, what it was fitted on and with which gain, and exact match on the held-out renders."""
    stored = np.load(heldout)
    pixels, widths, texts, ratio = (stored[name] for name in ("pixels", "width", "text", "ratio"))
    sums = np.zeros(len(TEMPERATURES))
    right = np.zeros(len(texts), bool)
    for width in np.unique(widths):
        rows = np.flatnonzero(widths == width)
        for start in range(0, len(rows), BATCH):
            part = rows[start : start + BATCH]
            logits = network(normalize(torch.from_numpy(pixels[part][:, :, :width]).float()))
            labels, lengths = _labels([str(t) for t in texts[part]])
            sums += _losses(logits, labels, lengths, signs=True)
            right[part] = [a == b for a, b in zip(read_greedily(logits), texts[part], strict=True)]
    torch.manual_seed(0)
    held = load_strips(strips, torch.device("cpu"), held=True)
    gray, labels, lengths = cut_strips(held, STRIP_CROPS, STRIP_WIDTH, varied=False)
    for start in range(0, STRIP_CROPS, BATCH):
        own = slice(start, start + BATCH)
        sums += _losses(network(normalize(gray[own].float())), labels[own], lengths[own], signs=False)
    count = len(texts) + STRIP_CROPS
    best = int(sums.argmin())
    plain = TEMPERATURES.index(1.0)
    fitted = {
        "held-out renders": len(texts),
        "crops of held-out train strips": STRIP_CROPS,
        "mean negative log-likelihood at 1": round(float(sums[plain]) / count, 4),
        "mean negative log-likelihood": round(float(sums[best]) / count, 4),
    }
    text = texts != ""
    groups = {"all": text, "readable": stored["readable"], "nothing": ~text}
    for kind in np.unique(stored["kind"]):
        groups[str(kind)] = stored["readable"] & (stored["kind"] == kind)
    groups["ratio over 4"] = text & (ratio > 4)
    measured = {name: round(float(right[chosen].mean()), 4) for name, chosen in groups.items() if chosen.any()}
    return TEMPERATURES[best], fitted, measured


def _labels(texts: list[str]) -> tuple[Tensor, Tensor]:
    labels = torch.zeros(len(texts), LONGEST, dtype=torch.long)
    for row, text in enumerate(texts):
        labels[row, : len(text)] = torch.tensor([READ.index(c) + 1 for c in text], dtype=torch.long)
    return labels, torch.tensor([len(text) for text in texts])


def _losses(logits: Tensor, labels: Tensor, lengths: Tensor, *, signs: bool) -> np.ndarray:
    """Return the summed negative log-likelihood at each of TEMPERATURES; without signs those count as blanks."""
    sums = []
    for temperature in TEMPERATURES:
        scores = F.log_softmax(logits[:, :, 0] / temperature, 1)
        if not signs:
            scores = merge_signs(scores)
        steps = torch.full((len(labels),), scores.shape[2])
        each = F.ctc_loss(scores.permute(2, 0, 1), labels, steps, lengths, reduction="none", zero_infinity=True)
        sums.append(float(each.sum()))
    return np.array(sums)

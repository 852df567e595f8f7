"""Measure a network's normalizations again, on crops of all widths: training ends with those of the last batches.

A training batch holds crops of one width and is normalized by its own statistics, which differ between widths: a narrow
crop shows more of its figure and less ground. Reading uses one set for all, and the running mean of the training leans
to the widths that are drawn most, so that what was learned on narrow crops is lost when reading. Here each width's
statistics are measured by itself and averaged with WEIGHTS.
"""

from __future__ import annotations

import torch
from torch import Tensor, nn

from tools.training.camera import normalize
from tools.training.crops import CropRenderer
from tools.training.model import LineNetwork

WEIGHTS = {48: 2.0, 64: 1.0, 96: 1.0, 160: 1.0, 224: 1.0, 320: 1.0}
"""Weight of each width's statistics; the narrowest twice, since they lie farthest from the others (LABBOOK.md)."""

CROPS = 128
"""Crops of each width that are measured."""

CHUNK = 64
"""Crops rendered at a time, which bounds the memory."""


@torch.no_grad()
def balance(network: LineNetwork, renderer: CropRenderer, crops: int = CROPS) -> None:
    """Give the normalizations of `network` the weighted mean of each width's statistics; it is left ready to read."""
    norms = [module for module in network.modules() if isinstance(module, nn.BatchNorm2d)]
    momenta = [norm.momentum for norm in norms]
    sums: list[tuple[Tensor, Tensor]] = []
    for width, weight in WEIGHTS.items():
        share = weight / sum(WEIGHTS.values())
        gray = torch.cat([renderer.render(min(CHUNK, crops - k), width).gray for k in range(0, crops, CHUNK)])
        for norm in norms:
            norm.reset_running_stats()
            norm.momentum = None  # one pass, its own mean
        network.train()
        network(normalize(gray.float()))
        found = [(_value(norm.running_mean) * share, _value(norm.running_var) * share) for norm in norms]
        sums = [(a + c, b + d) for (a, b), (c, d) in zip(sums, found, strict=True)] if sums else found
    for norm, momentum, (mean, variance) in zip(norms, momenta, sums, strict=True):
        _value(norm.running_mean).copy_(mean)
        _value(norm.running_var).copy_(variance)
        norm.momentum = momentum
    network.eval()


def _value(statistic: Tensor | None) -> Tensor:
    if statistic is None:
        raise ValueError("a normalization without running statistics cannot be balanced; use model.LineNetwork")
    return statistic

"""Go on from released weights: fill a network from line.onnx, whose batch normalizations are folded away.

The exporter multiplies every batch normalization into its convolution, so the file holds one kernel and one bias for
both. The kernels are taken as they are. Then one pass over pictures measures mean and variance of each convolution's
output; the normalization behind it gets them as its running values, and the scale and shift that undo them and add the
folded bias. The network then answers as the file does, and can be trained on.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import onnx
import torch
from onnx import numpy_helper
from torch import Tensor, nn

from tools.training.model import Conv, LineNetwork

LEAST_VARIANCE = 1e-6
"""Variance under which a channel counts as constant; it then keeps this value, so that its scale stays finite."""


def read_folded(path: Path) -> list[tuple[Tensor, Tensor]]:
    """Return kernel (O, I, h, w) and bias (O,) of each convolution in the order in which they are computed."""
    graph = onnx.load(str(path)).graph
    stored = {item.name: item for item in graph.initializer}

    def tensor(name: str) -> Tensor:
        return torch.from_numpy(numpy_helper.to_array(stored[name]).copy())

    return [(tensor(n.input[1]), tensor(n.input[2])) for n in graph.node if n.op_type == "Conv"]


def start_from(network: LineNetwork, path: Path, pictures: Tensor) -> None:
    """Fill `network` from line.onnx; `pictures` (N, 2, 48, W) are inputs whose statistics the normalizations get.

    Raises ValueError where the file's convolutions are not this network's.
    """
    folded = read_folded(path)
    if [kernel.shape for kernel, _ in folded] != [place.weight.shape for place in _convolutions(network)]:
        raise ValueError(f"{path}: not the weights of this network's shape; start from the line.onnx of model.Shape")
    fill(network, folded, pictures)


def mean_of(older: Path, newer: Path, share: float) -> list[tuple[Tensor, Tensor]]:
    """Return the folded convolutions between two line.onnx files: `share` (0 to 1) of the newer, the rest of the older.

    Weights that were trained on from one another can be averaged (Wortsman et al. 2022); the normalizations are folded
    in first, so that no two scales of one channel are mixed.
    """
    pairs = zip(read_folded(older), read_folded(newer), strict=True)
    return [(torch.lerp(k0, k1, share), torch.lerp(b0, b1, share)) for (k0, b0), (k1, b1) in pairs]


def _convolutions(network: LineNetwork) -> list[nn.Conv2d]:
    return [module for module in network.modules() if isinstance(module, nn.Conv2d)]


@torch.no_grad()
def fill(network: LineNetwork, folded: list[tuple[Tensor, Tensor]], pictures: Tensor) -> None:
    """Fill `network` with folded convolutions as `read_folded` returns them; `pictures` as in `start_from`."""
    places = _convolutions(network)
    biases: dict[nn.Module, Tensor] = {}
    for place, (kernel, bias) in zip(places, folded, strict=True):
        place.weight.copy_(kernel)
        biases[place] = bias.to(place.weight.device)
        if place.bias is not None:
            place.bias.copy_(bias)
    hooks = [
        module.norm.register_forward_pre_hook(_setter(biases[module.conv]))
        for module in network.modules()
        if isinstance(module, Conv)
    ]
    network.eval()
    network(pictures)
    for hook in hooks:
        hook.remove()
    network.train()


def _setter(bias: Tensor) -> Callable[[nn.Module, tuple[Tensor, ...]], None]:
    """Return a hook that sets a normalization so that it adds `bias` to what comes in and changes nothing else."""

    def set_norm(norm: nn.Module, inputs: tuple[Tensor, ...]) -> None:
        assert isinstance(norm, nn.BatchNorm2d) and norm.running_mean is not None and norm.running_var is not None
        variance, mean = torch.var_mean(inputs[0].float(), (0, 2, 3), correction=0)
        norm.running_mean.copy_(mean)
        norm.running_var.copy_(variance.clamp_min(LEAST_VARIANCE))
        norm.weight.copy_(torch.sqrt(norm.running_var + norm.eps))
        norm.bias.copy_(mean + bias)

    return set_norm

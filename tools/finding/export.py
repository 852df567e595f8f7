"""Export a trained region network to reader/locate/weights: `python -m tools.finding.export FOLDER`.

Writes regions.onnx (batch normalization folded), its card regions.json, and regions_check.npz: what PyTorch answers to
fixed noise, so that a test without PyTorch can compare OpenCV. Nothing is exported where OpenCV and PyTorch differ.
With --measured FILE the card also gets what tools.finding.measure printed into FILE for these weights.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import warnings
from dataclasses import asdict
from pathlib import Path

import cv2
import numpy as np
import torch

from tools.finding.loss import LOCAL_FLOOR, LOCAL_PX
from tools.finding.model import HEIGHT_UNIT, OUTPUTS, RegionNetwork, Shape, count_parameters

WEIGHTS_FOLDER = Path(__file__).parents[2] / "reader" / "locate" / "weights"

CHECK_SHAPES = ((1, 64, 96), (1, 160, 32), (2, 96, 128), (1, 32, 320))
"""Batch, height and width of the stored comparisons."""

TRY_SHAPES = (*CHECK_SHAPES, (1, 512, 512), (1, 768, 1024), (3, 224, 352))
"""Sizes at which OpenCV is compared with PyTorch before anything is exported."""

TOLERANCE = 2e-3

DATA = (
    "Rendered scenes only (tools/finding/scenes.py): glyphs of free fonts, punches and hands of tools/training, "
    "strings of tools/training/strings.py, and the texture photographs marked `train`."
)


def load_network(folder: Path) -> RegionNetwork:
    """Return the averaged network of a checkpoint, ready to be used."""
    network = RegionNetwork()
    network.load_state_dict(torch.load(folder / "average.pt", map_location="cpu"))
    network.eval()
    return network


def write_onnx(network: RegionNetwork, path: Path) -> None:
    """Export with free batch, height and width."""
    axes = {"photo": {0: "batch", 2: "height", 3: "width"}, "planes": {0: "batch", 2: "rows", 3: "columns"}}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        torch.onnx.export(
            network,
            (torch.zeros(1, 2, 128, 160),),
            str(path),
            input_names=["photo"],
            output_names=["planes"],
            dynamic_axes=axes,
            opset_version=13,
            dynamo=False,
        )


def noise_input(number: int, shape: tuple[int, int, int]) -> np.ndarray:
    """Return the fixed input of a comparison, (N, 2, H, W) float32."""
    batch, height, width = shape
    return np.random.default_rng(number).standard_normal((batch, 2, height, width), dtype=np.float32)


def largest_difference(network: RegionNetwork, path: Path) -> float:
    """Return the largest difference of planes between OpenCV and PyTorch over TRY_SHAPES."""
    reader = cv2.dnn.readNetFromONNX(str(path))
    worst = 0.0
    for number, shape in enumerate(TRY_SHAPES):
        x = noise_input(number, shape)
        reader.setInput(x)
        with torch.no_grad():
            worst = max(worst, float(np.abs(reader.forward() - network(torch.from_numpy(x)).numpy()).max()))
    return worst


def write_check(network: RegionNetwork, path: Path) -> None:
    """Write what PyTorch answers to noise of CHECK_SHAPES."""
    answers = {}
    for number, shape in enumerate(CHECK_SHAPES):
        with torch.no_grad():
            planes = network(torch.from_numpy(noise_input(number, shape))).numpy()
        answers["_".join(str(v) for v in (number, *shape))] = planes
    np.savez_compressed(path, **answers)


def write_card(
    network: RegionNetwork, folder: Path, out: Path, difference: float, measured: Path | None = None
) -> None:
    """Write regions.json beside regions.onnx."""
    photos = measured.read_text(encoding="utf-8").splitlines() if measured else []
    state = json.loads((folder / "state.json").read_text())
    card = {
        "file": "regions.onnx",
        "sha256": hashlib.sha256((out / "regions.onnx").read_bytes()).hexdigest(),
        "license": "MIT",
        "input": "(N, 2, H, W) float32, H and W multiples of 32",
        "output": "(N, 7, H / 4, W / 4): " + ", ".join(OUTPUTS),
        "normalization": {"local_px": LOCAL_PX, "local_floor": LOCAL_FLOOR},
        "height_unit": HEIGHT_UNIT,
        "parameters": count_parameters(network),
        "shape": asdict(Shape()),
        "trained": {
            "steps": state["step"],
            "seconds": round(state["seconds"]),
            "scenes": state["scenes"],
            "seed": state["seed"],
        },
        "measures": {
            "held-out rendered scenes": state["history"][-1],
            "rendered photos": [json.loads(line) for line in photos],
        },
        "data": DATA,
        "versions": {"torch": torch.__version__, "opencv": cv2.__version__},
        "largest difference OpenCV - PyTorch": round(difference, 6),
        "again": "python -m tools.training.glyphs; python -m tools.training.photographs; "
        "python -m tools.training.crops; torchrun --nproc-per-node 2 -m tools.finding.train --pack .training --out OUT "
        "--minutes 8.25 --most-styles 500; python -m tools.finding.export OUT",
    }
    (out / "regions.json").write_text(json.dumps(card, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


def main() -> None:
    """Export from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("checkpoint", type=Path)
    parser.add_argument("--out", type=Path, default=WEIGHTS_FOLDER)
    parser.add_argument("--measured", type=Path)
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    network = load_network(options.checkpoint)
    write_onnx(network, options.out / "regions.onnx")
    difference = largest_difference(network, options.out / "regions.onnx")
    if difference > TOLERANCE:
        (options.out / "regions.onnx").unlink()
        raise SystemExit(f"OpenCV and PyTorch differ by {difference:.4f}; not exported")
    write_check(network, options.out / "regions_check.npz")
    write_card(network, options.checkpoint, options.out, difference, options.measured)
    print(f"exported, largest difference {difference:.6f}, {(options.out / 'regions.onnx').stat().st_size} bytes")


if __name__ == "__main__":
    main()

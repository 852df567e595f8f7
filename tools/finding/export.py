"""Export trained networks to reader/locate/weights: `python -m tools.finding.export FOLDER`.

Of the region network (train.py) and of the turn network (turns.py), whichever FOLDER holds, it writes NAME.onnx (batch
normalization folded), its card NAME.json, and NAME_check.npz: what PyTorch answers to fixed noise, so that a test
without PyTorch can compare OpenCV. Nothing is exported where OpenCV and PyTorch differ. With --measured FILE the cards
also get what tools.finding.measure printed into FILE for these weights.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import warnings
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

import cv2
import numpy as np
import torch
from torch import nn

from tools.finding.loss import LOCAL_FLOOR, LOCAL_PX
from tools.finding.model import HEIGHT_UNIT, OUTPUTS, RegionNetwork, Shape, count_parameters
from tools.finding.turns import BORDER_PX, FIGURE_PX, ROWS, STEP, WIDTH, TurnNetwork

WEIGHTS_FOLDER = Path(__file__).parents[2] / "reader" / "locate" / "weights"

REGION_SHAPES = ((1, 64, 96), (1, 160, 32), (2, 96, 128), (1, 32, 320), (1, 512, 512), (1, 768, 1024), (3, 224, 352))
TURN_SHAPES = ((1, ROWS, WIDTH), (3, ROWS, WIDTH), (40, ROWS, WIDTH))
"""Batch, height and width of the inputs at which OpenCV is compared with PyTorch before anything is exported."""

STORED = 4
"""So many of them, the first, are stored for the test without PyTorch."""

TOLERANCE = 2e-3

DATA = (
    "Rendered scenes only (tools/finding/scenes.py): glyphs of free fonts, punches and hands of tools/training, "
    "strings of tools/training/strings.py, and the texture photographs marked `train`."
)


@dataclass(frozen=True)
class Export:
    """A network ready to be exported: its files' name, the shapes that are compared, and what its card says of it."""

    name: str
    network: nn.Module
    shapes: Sequence[tuple[int, int, int]]
    told: dict[str, object]


def region_export(folder: Path) -> Export:
    """Return the averaged region network of a checkpoint."""
    network = RegionNetwork()
    network.load_state_dict(torch.load(folder / "average.pt", map_location="cpu"))
    state = json.loads((folder / "state.json").read_text())
    told = {
        "input": "(N, 2, H, W) float32, H and W multiples of 32",
        "output": "(N, 5, H / 4, W / 4): " + ", ".join(OUTPUTS),
        "height_unit": HEIGHT_UNIT,
        "shape": asdict(Shape()),
        "trained": {name: round(state[key]) for name, key in (("steps", "step"), ("seconds", "seconds"))}
        | {"scenes": state["scenes"], "seed": state["seed"]},
        "held-out rendered scenes": state["history"][-1],
        "again": "tools/finding/LABBOOK.md, rounds 1 and 3",
    }
    return Export("regions", network.eval(), REGION_SHAPES, told)


def turn_export(folder: Path) -> Export:
    """Return the averaged turn network of a checkpoint."""
    network = TurnNetwork()
    network.load_state_dict(torch.load(folder / "turns.pt", map_location="cpu"))
    history = json.loads((folder / "turns.json").read_text())
    told = {
        "input": f"(N, 2, {ROWS}, {WIDTH}) float32, figures {FIGURE_PX} px high in a border of {BORDER_PX} px",
        "output": f"(N, 1, 1, {WIDTH // STEP}): logits that the line is read as it stands",
        "height_unit": FIGURE_PX,
        "trained": {name: history[-1][name] for name in ("steps", "seconds")},
        "held-out rendered lines": history[-1],
        "again": "python -m tools.finding.turns --pack .training --out OUT --minutes 7.25 --most-styles 600",
    }
    return Export("turns", network.eval(), TURN_SHAPES, told)


def write_onnx(export: Export, path: Path) -> None:
    """Export with free batch, height and width."""
    _, rows, columns = export.shapes[0]
    axes = {name: {0: "batch", 2: "height", 3: "width"} for name in ("photo", "planes")}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        torch.onnx.export(
            export.network,
            (torch.zeros(1, 2, rows, columns),),
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


def compare(export: Export, path: Path) -> tuple[float, dict[str, np.ndarray]]:
    """Return the largest difference between OpenCV and PyTorch, and what PyTorch answers to the stored inputs."""
    reader = cv2.dnn.readNetFromONNX(str(path))
    worst, answers = 0.0, {}
    for number, shape in enumerate(export.shapes):
        x = noise_input(number, shape)
        reader.setInput(x)
        with torch.no_grad():
            answer = export.network(torch.from_numpy(x)).numpy()
        worst = max(worst, float(np.abs(reader.forward() - answer).max()))
        if number < STORED:
            answers["_".join(str(v) for v in (number, *shape))] = answer
    return worst, answers


def write_card(export: Export, out: Path, difference: float, measured: Path | None = None) -> None:
    """Write NAME.json beside NAME.onnx."""
    photos = measured.read_text(encoding="utf-8").splitlines() if measured else []
    card = {
        "file": f"{export.name}.onnx",
        "sha256": hashlib.sha256((out / f"{export.name}.onnx").read_bytes()).hexdigest(),
        "license": "MIT",
        "normalization": {"local_px": LOCAL_PX, "local_floor": LOCAL_FLOOR},
        "parameters": count_parameters(export.network),
        **export.told,
        "rendered photos": [json.loads(line) for line in photos],
        "data": DATA,
        "versions": {"torch": torch.__version__, "opencv": cv2.__version__},
        "largest difference OpenCV - PyTorch": round(difference, 6),
    }
    text = json.dumps(card, indent=1, ensure_ascii=False) + "\n"
    (out / f"{export.name}.json").write_text(text, encoding="utf-8")


def write(export: Export, out: Path, measured: Path | None = None) -> None:
    """Write weights, card and stored answers. Raises SystemExit where OpenCV and PyTorch differ."""
    path = out / f"{export.name}.onnx"
    write_onnx(export, path)
    difference, answers = compare(export, path)
    if difference > TOLERANCE:
        path.unlink()
        raise SystemExit(f"OpenCV and PyTorch differ by {difference:.4f}; not exported")
    np.savez_compressed(out / f"{export.name}_check.npz", allow_pickle=False, **answers)
    write_card(export, out, difference, measured)
    print(f"{export.name}: largest difference {difference:.6f}, {path.stat().st_size} bytes")


def main() -> None:
    """Export from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("checkpoint", type=Path)
    parser.add_argument("--out", type=Path, default=WEIGHTS_FOLDER)
    parser.add_argument("--measured", type=Path)
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    if (options.checkpoint / "average.pt").exists():
        write(region_export(options.checkpoint), options.out, options.measured)
    if (options.checkpoint / "turns.pt").exists():
        write(turn_export(options.checkpoint), options.out, options.measured)


if __name__ == "__main__":
    main()

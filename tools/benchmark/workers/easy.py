"""EasyOCR with its English weights from a package of the registry, on the processor with one thread.

Sets of figures are read with its list of allowed characters set to the figures, as its manual suggests.
"""

from __future__ import annotations

import importlib
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from tools.benchmark.workers.serve import Box, Found, Read, bounds, corners, found_regions, serve

FIGURES = "0123456789"


def open_reader() -> Read:
    """Load the engine from the package that carries its weights; nothing is downloaded."""
    torch = importlib.import_module("torch")
    torch.set_num_threads(1)
    try:
        importlib.import_module("torchvision")
    except (ImportError, RuntimeError):
        # A torchvision without its compiled part stops at two operators that EasyOCR never calls: declare them.
        declared = torch.library.Library("torchvision", "DEF")
        for operator in ("nms", "qnms"):
            declared.define(f"{operator}(Tensor dets, Tensor scores, float iou_threshold) -> Tensor")
    folder = Path(str(importlib.import_module("easyocr_en_models").__file__)).parent / "models"
    engine = importlib.import_module("easyocr").Reader(
        ["en"], gpu=False, model_storage_directory=str(folder), download_enabled=False, verbose=False
    )
    return lambda request: read(engine, request.picture, request.figures, request.job)


def read(engine: Any, picture: NDArray[np.uint8], figures: bool, job: str) -> list[Box] | Found:
    """Read one picture."""
    allowed = FIGURES if figures else None
    if job == "find":
        regions = engine.readtext(picture, allowlist=allowed)
        return found_regions([(text, float(score), corners(box)) for box, text, score in regions])
    found = engine.recognize(cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY), allowlist=allowed)
    return [(text, float(score), bounds(box)) for box, text, score in found]


if __name__ == "__main__":
    serve(open_reader())

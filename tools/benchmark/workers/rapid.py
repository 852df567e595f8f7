"""RapidOCR, 3.x and 1.4, with the models in its wheel, held to one thread.

Every string is given whatever its score, so that the benchmark can apply the package's own limit (0.5) or none. For the
job 'line' neither its detector nor its direction classifier is used: the line is known and upright.
"""

from __future__ import annotations

import importlib
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tools.benchmark.workers.serve import Box, Found, Read, corners, found_regions, serve, whole

NEW_SETTINGS = {
    "EngineConfig.onnxruntime.intra_op_num_threads": 1,
    "EngineConfig.onnxruntime.inter_op_num_threads": 1,
    "Global.log_level": "critical",
    "Global.text_score": 0.0,
}


def open_reader() -> Read:
    """Return the reader of whichever version is installed."""
    try:
        engine = importlib.import_module("rapidocr").RapidOCR(params=NEW_SETTINGS)
        return lambda request: read_new(engine, request.picture, request.job)
    except ImportError:
        module = importlib.import_module("rapidocr_onnxruntime")
        engine = module.RapidOCR(intra_op_num_threads=1, inter_op_num_threads=1, text_score=0.0)
        return lambda request: read_old(engine, request.picture, request.job)


def read_new(engine: Any, picture: NDArray[np.uint8], job: str) -> list[Box] | Found:
    """Read with version 3."""
    find = job == "find"
    result = engine(picture, use_det=find, use_cls=find, use_rec=True)
    texts, scores = getattr(result, "txts", None) or (), getattr(result, "scores", None) or ()
    if not find:
        return [(text, float(score), whole(picture)) for text, score in zip(texts, scores, strict=True)]
    boxes = result.boxes if texts else ()
    return found_regions([(t, float(s), corners(box)) for t, s, box in zip(texts, scores, boxes, strict=True)])


def read_old(engine: Any, picture: NDArray[np.uint8], job: str) -> list[Box] | Found:
    """Read with version 1.4."""
    if job == "find":
        result, _ = engine(picture)
        return found_regions([(text, float(score), corners(box)) for box, text, score in result or ()])
    result, _ = engine(picture, use_det=False, use_cls=False)
    return [(text, float(score), whole(picture)) for text, score in result or ()]


if __name__ == "__main__":
    serve(open_reader())

"""Photos drawn for the tests, and records of them as the reader and a person would leave them."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image, ImageDraw

from pipelines.export.record import Decision, DecisionKind, Record
from pipelines.output.json_lines import answer_object
from tests.pipelines.fake_reader import make_answer, make_empty_answer

WIDTH, HEIGHT = 320, 200
"""Pixels of every upright photo here, and what make_answer says of its photo."""

BACK_TURN = {
    1: None,
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_90,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_270,
}
"""What makes the stored picture of an upright one, by EXIF orientation: the inverse of Pillow's exif_transpose."""

DECIDED = Decision(DecisionKind.SERIAL, "41878", "Ada Fenn", "2026-11-20T10:05:00+00:00", "the 8 is closed")


def draw_photo(path: Path, orientation: int = 1, seed: int = 0) -> Path:
    """Save a photo, upright WIDTH x HEIGHT, with a white box where make_answer says that the serial stands."""
    noise = np.random.default_rng(seed).integers(60, 120, (HEIGHT, WIDTH, 3)).astype(np.uint8)
    upright = Image.fromarray(noise)
    ImageDraw.Draw(upright).rectangle((10, 20, 69, 39), fill="white")
    turn = BACK_TURN[orientation]
    exif = Image.Exif()
    exif[0x0112] = orientation
    path.parent.mkdir(parents=True, exist_ok=True)
    (upright if turn is None else upright.transpose(turn)).save(path, exif=exif, quality=92)
    return path


def make_record(
    photo: Path, relative: str = "box/lid.jpg", *, accepted: bool = True, empty: bool = False, **changes: Any
) -> Record:
    """Return the record of a photo that was drawn here; `changes` are fields of Record."""
    answer = make_empty_answer(relative) if empty else make_answer(relative, accepted=accepted)
    data = photo.read_bytes() if photo.is_file() else b""
    answer = replace(answer, sha256=hashlib.sha256(data).hexdigest())
    record = Record(photo, relative, answer.sha256, WIDTH, HEIGHT, answer_object(answer))
    return replace(record, **changes)


def answer_line(photo: Path, name: str, *, accepted: bool = True, empty: bool = False) -> dict[str, Any]:
    """Return a photo's answer as `rakelight read --format json` prints it, with the path as it was named."""
    answer = make_record(photo, accepted=accepted, empty=empty).answer
    answer["photo"]["path"] = name
    return answer


def write_lines(path: Path, lines: Iterable[dict[str, Any] | str]) -> Path:
    """Write a JSON Lines file; a string goes in as it is."""
    texts = (line if isinstance(line, str) else json.dumps(line) for line in lines)
    path.write_text("".join(text + "\n" for text in texts), encoding="utf-8")
    return path

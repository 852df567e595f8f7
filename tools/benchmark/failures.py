"""Pictures of what our reader got wrong: contact sheets, surest errors first.

The sheet of whole rendered photographs lies beside RESULTS.md: nothing in them is from elsewhere. All other sheets go
to a folder given by the user and are never committed: real photographs are not ours, and crops have others' textures.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from tools.benchmark.measure import Result
from tools.benchmark.pictures import Item, slug
from tools.benchmark.scoring import Scored
from tools.benchmark.workers.serve import decode

LINE_TILE, PHOTO_TILE = (220, 96), (320, 240)
"""Width and height of a line and of a whole photo on a sheet, pixels."""

CAPTION_PX, SHEET_WIDTH_PX = 18, 1320
JPEG_QUALITY = 80


def worst(results: Sequence[Result], most: int) -> list[tuple[Item, Scored]]:
    """Return the wrong answers of some sets, the surest first; then those left unread."""
    pairs = [pair for result in results for pair in zip(result.items, result.scored, strict=True)]
    wrong = [(item, one) for item, one in pairs if not one.right]
    return sorted(wrong, key=lambda pair: (-pair[1].confidence, pair[0].id))[:most]


def write_sheet(file: Path, failures: Sequence[tuple[Item, Scored]]) -> None:
    """Write a contact sheet: each picture with the truth, what was read, and how sure the reader was."""
    if not failures:
        return
    tiles = [tile(item, one) for item, one in failures]
    columns = SHEET_WIDTH_PX // tiles[0].shape[1]
    tiles += [np.full_like(tiles[0], 255)] * (-len(tiles) % columns)
    rows = [np.hstack(tiles[start : start + columns]) for start in range(0, len(tiles), columns)]
    file.parent.mkdir(parents=True, exist_ok=True)
    options = [cv2.IMWRITE_JPEG_QUALITY, JPEG_QUALITY] if file.suffix == ".jpg" else []
    cv2.imencode(file.suffix, np.vstack(rows), options)[1].tofile(file)


def tile(item: Item, one: Scored) -> NDArray[np.uint8]:
    """Return one picture, scaled into its tile, over its caption."""
    width, height = PHOTO_TILE if item.whole else LINE_TILE
    pixels = decode(Path(item.file).read_bytes())
    scale = min(width / pixels.shape[1], height / pixels.shape[0])
    size = (max(1, int(pixels.shape[1] * scale)), max(1, int(pixels.shape[0] * scale)))
    way = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    canvas = np.full((height + CAPTION_PX, width, 3), 255, np.uint8)
    canvas[: size[1], : size[0]] = cv2.resize(pixels, size, interpolation=way)
    caption = f"{'|'.join(item.texts) or '-'} > {one.text or '-'} {one.confidence:.2f}"
    cv2.putText(canvas, caption, (2, height + 13), cv2.FONT_HERSHEY_SIMPLEX, 0.4, (0, 0, 0), 1, cv2.LINE_AA)
    return canvas


def write_failures(results: Sequence[Result], folder: Path, most: int = 60) -> None:
    """Write a sheet a set into a folder, which must lie outside the repository."""
    for result in results:
        write_sheet(folder / f"{result.job}-{slug(result.name)}.png", worst([result], most))

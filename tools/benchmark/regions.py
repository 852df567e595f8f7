"""Regions against the truth: which marks of a whole photo a reader found, and in how many its string can be read.

Two rules of finding, the same for all readers:

- *one to one*: pairs of a mark and a region with an intersection over union of at least 0.5, the best pair first, each
  used once. Marks are those of the labels: 'No.' and the serial after it are two.
- *grouped*: readers cut lines differently: 'No. 1225' is one region here and two there, 'PATENTED AUG 26 1885' one or
  four. Marks and regions that lie at least half inside one another (of the smaller one's area) form a group; where the
  union of a group's marks and that of its regions overlap by 0.5, all its marks are found and all its regions right.
  The idea of counting splits and merges is that of Wolf and Jolion 2006; the rule is simpler than theirs. What is right
  one to one is right here too.

A reader that gives upright boxes only is held against upright boxes around the marks. Some readers leave room around
what they find and some do not, and that is no fault: the regions of each reader are drawn in by one share of their
shorter side, the one of DRAWN_IN by which it finds most marks over all sets.

*Readable inside*: every word of the mark is contained in what our line recognizer reads (workers/inside.py) in one of
the regions that lie on the mark (half of the smaller one's area shared). In real photographs, whose marks have no
quads, the truth is contained in what is read in any region.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from reader.geometry import grow_quad, quad_size
from tools.benchmark.pictures import Item
from tools.benchmark.scoring import plain
from tools.benchmark.workers.serve import bounds

COVERED = 0.5
"""Intersection over union from which a mark is found."""

ON = 0.5
"""Share of the smaller area that a mark and a region must have in common to be held against each other."""

MASK_PX = 400
"""Size of the picture in which the areas of a group are counted, pixels."""

SURE = 0.5
"""Regions of this score and more are also counted apart: RapidOCR's own limit, and a natural one for a probability."""

DRAWN_IN = (-0.1, 0.0, 0.1, 0.2, 0.25, 0.3)
"""Shares of its shorter side by which a region may be drawn in at each side, or let out."""

SERIAL = "serial"

Polygon = NDArray[np.float32]
"""(N, 2) float32 corners x, y of a convex polygon."""


@dataclass(frozen=True)
class TrueMark:
    """One mark of a photo's labels."""

    text: str
    kind: str
    polygon: Polygon


@dataclass(frozen=True)
class FoundRegion:
    """One region that a reader gave, with what our recognizer reads in it."""

    polygon: Polygon
    score: float
    texts: tuple[str, ...] = ()


@dataclass
class Tally:
    """Sums over the photos of a set."""

    photos: int = 0
    marks: int = 0
    regions: int = 0
    matched: int = 0
    marks_grouped: int = 0
    regions_grouped: int = 0
    sure: int = 0
    sure_grouped: int = 0
    serials: int = 0
    serials_grouped: int = 0
    serials_readable: int = 0
    marks_readable: int = 0


@dataclass(frozen=True)
class Matched:
    """Numbers of marks and regions that are right: pairs one to one, and both sides grouped."""

    pairs: tuple[tuple[int, int], ...]
    marks: frozenset[int] = field(default_factory=frozenset)
    regions: frozenset[int] = field(default_factory=frozenset)


def true_marks(folder: Path) -> dict[str, list[TrueMark]]:
    """Return the marks of a rendered set's photos, by the photo's name without its ending."""
    with (folder / "labels.csv").open(encoding="utf-8", newline="") as file:
        return {
            Path(row["file"]).stem: [
                TrueMark(str(mark["text"]), str(mark["kind"]), np.array(mark["quad"], np.float32))
                for mark in json.loads(row["quads"] or "[]")
            ]
            for row in csv.DictReader(file)
        }


def found_in(reply: dict[str, Any], inside: dict[str, Any] | None, drawn_in: float = 0.0) -> list[FoundRegion]:
    """Return the regions of an answer, best first, drawn in, with what was read inside them: in the best of them."""
    texts = inside["texts"] if inside else []
    best = sorted(reply["regions"], key=lambda region: -region[1])
    return [
        FoundRegion(
            draw_in(np.array(corners, np.float32), drawn_in),
            float(score),
            tuple(texts[number]) if number < len(texts) else (),
        )
        for number, (_, score, corners) in enumerate(best)
    ]


def draw_in(polygon: Polygon, by: float) -> Polygon:
    """Return a region of four corners drawn in at each side by a share of its shorter side; others as they are."""
    if len(polygon) != 4 or not by:
        return polygon
    less = -by * min(quad_size(polygon))
    return grow_quad(polygon, less, less)


def add_photo(tally: Tally, marks: Sequence[TrueMark], regions: Sequence[FoundRegion], *, upright: bool) -> None:
    """Count one photo."""
    shown = [upright_polygon(mark.polygon) if upright else mark.polygon for mark in marks]
    polygons = [region.polygon for region in regions]
    matched = match(shown, polygons)
    serials = [number for number, mark in enumerate(marks) if mark.kind == SERIAL]
    readable = [is_readable(mark.text, polygon, regions) for mark, polygon in zip(marks, shown, strict=True)]
    sure = [number for number, region in enumerate(regions) if region.score >= SURE]
    tally.photos += 1
    tally.marks += len(marks)
    tally.regions += len(regions)
    tally.matched += len(matched.pairs)
    tally.marks_grouped += len(matched.marks)
    tally.regions_grouped += len(matched.regions)
    tally.sure += len(sure)
    tally.sure_grouped += len(matched.regions.intersection(sure))
    tally.serials += len(serials)
    tally.serials_grouped += len(matched.marks.intersection(serials))
    tally.serials_readable += sum(readable[number] for number in serials)
    tally.marks_readable += sum(readable)


def match(marks: Sequence[Polygon], regions: Sequence[Polygon]) -> Matched:
    """Return which marks and regions are right, one to one and grouped."""
    overlaps = {(m, r): overlap(mark, region) for m, mark in enumerate(marks) for r, region in enumerate(regions)}
    pairs: list[tuple[int, int]] = []
    for m, r in sorted(overlaps, key=lambda pair: -overlaps[pair][0]):
        if overlaps[m, r][0] >= COVERED and all(m != other and r != own for other, own in pairs):
            pairs.append((m, r))
    good_marks, good_regions = {m for m, _ in pairs}, {r for _, r in pairs}
    for own_marks, own_regions in _groups([pair for pair, (_, shared) in overlaps.items() if shared >= ON]):
        if union_overlap([marks[m] for m in own_marks], [regions[r] for r in own_regions]) >= COVERED:
            good_marks |= own_marks
            good_regions |= own_regions
    return Matched(tuple(pairs), frozenset(good_marks), frozenset(good_regions))


def _groups(links: Sequence[tuple[int, int]]) -> list[tuple[set[int], set[int]]]:
    """Return the connected groups of marks and regions."""
    groups: list[tuple[set[int], set[int]]] = []
    for mark, region in links:
        touched = [group for group in groups if mark in group[0] or region in group[1]]
        groups = [group for group in groups if not any(group is other for other in touched)]
        groups.append(
            (
                {mark}.union(*(group[0] for group in touched)),
                {region}.union(*(group[1] for group in touched)),
            )
        )
    return groups


def overlap(first: Polygon, second: Polygon) -> tuple[float, float]:
    """Return intersection over union, and intersection over the smaller area, of two polygons' convex hulls."""
    one, two = (cv2.convexHull(polygon.astype(np.float32)) for polygon in (first, second))
    areas = float(cv2.contourArea(one)), float(cv2.contourArea(two))
    if min(areas) <= 0:
        return 0.0, 0.0
    shared = float(cv2.intersectConvexConvex(one, two)[0])
    return shared / (sum(areas) - shared), shared / min(areas)


def union_overlap(first: Sequence[Polygon], second: Sequence[Polygon]) -> float:
    """Return intersection over union of the areas that two groups of convex polygons cover, counted in pixels."""
    points = np.concatenate([*first, *second])
    low = points.min(0)
    scale = MASK_PX / max(float((points.max(0) - low).max()), 1.0)
    masks = []
    for group in (first, second):
        mask = np.zeros((MASK_PX + 1, MASK_PX + 1), np.uint8)
        for polygon in group:
            hull = cv2.convexHull(np.round((polygon - low) * scale).astype(np.int32))
            cv2.fillConvexPoly(mask, hull, 1)
        masks.append(mask.astype(bool))
    return float((masks[0] & masks[1]).sum() / max((masks[0] | masks[1]).sum(), 1))


def upright_polygon(polygon: Polygon) -> Polygon:
    """Return the upright box around a polygon."""
    left, top, width, height = bounds(polygon)
    right, bottom = left + width, top + height
    return np.array([[left, top], [right, top], [right, bottom], [left, bottom]], np.float32)


def is_readable(text: str, polygon: Polygon, regions: Sequence[FoundRegion]) -> bool:
    """Whether every word of a mark is contained in what is read in a region that lies on it."""
    read = [
        plain(own, False) for region in regions if overlap(polygon, region.polygon)[1] >= ON for own in region.texts
    ]
    words = [word for word in (plain(word, False) for word in text.split()) if word]
    return all(any(word in own for own in read) for word in words)


def contains_truth(item: Item, texts: Sequence[Sequence[str]]) -> bool:
    """Whether one of the right strings of a photo is contained in one of the strings read inside any region."""
    read = [plain(text, item.figures) for own in texts for text in own]
    return any(plain(truth, item.figures) in text for truth in item.texts for text in read)

"""Find lines of characters in a whole photo from its stroke views, in any direction.

In come a few stroke views of the photo at falling sizes (strokes dark on bright, made by the enhance stage); out come
quads of candidate strings, best first. Method: connected pieces of stroke that have a character's size are chained
into straight, evenly sized rows (after the chaining of stroke components in Epshtein, Ofek and Wexler 2010). Every
direction is tried at once, since the chain is grown along whatever line two neighbors span.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from reader.geometry import map_points, quad_overlap, quad_size
from reader.results import Quad, Region, View

CHARACTER_PX = (9, 36)
"""Smallest and largest character, as the longer side of its piece, in pixels of a view. Each view is half as large
as the one before, so every size of the photo falls into this range in one of them."""

STRENGTH_MIN, STRENGTH_SURE = 60.0, 190.0
"""Stroke strength (0 to 255) below which nothing is a stroke, and above which everything is."""

SMOOTH_PX = 0.9
"""Blur before the threshold: under half a stroke, several times a grain of sensor noise."""

NOISE_DEVIATIONS = 2.5
"""A stroke stands this many deviations (from the quartiles) above the picture's median strength."""

TEXTURE_FACTOR, TEXTURE_WINDOW_PX = 1.6, 61
"""A stroke is this much stronger than the mean around it, in a window of some three characters."""

STRENGTH_RATIO_MIN = 0.6
"""Least strength of a piece that joins a row, as a share of the row's: a speck beside a figure is weaker."""

PIECES_MAX = 900
"""Most pieces of one view that are chained, strongest first: bounds the time on gravel, grain and leaves. A page of
print has about 900 letters."""

SEEDS_A_PIECE = 1.5
"""Pairs from which a row is grown, for each piece of the view, the most alike pairs first."""

SIZE_RATIO_MAX = 1.6
"""Largest ratio of heights across the line between two characters of one row (figures are of one height, and small
letters about 0.65 of capitals)."""

GAP_HEIGHTS = (0.25, 1.9)
"""Distance between the centers of neighbors in character heights: tight print to wide hand punching."""

OFF_LINE_HEIGHTS = 0.3
"""Largest distance of a character's center from the row's line, in character heights: hand punches stray."""

JOIN_GAP_HEIGHTS = 1.2
"""Two rows on one line are one string when the gap between them is at most this: a blank, not another column."""

JOIN_HEIGHT_RATIO = 1.4
"""Largest ratio of heights of two rows that are joined; 'No.' is often a little smaller than its figures."""

JOIN_SCORE_RATIO = 0.5
"""Least score of a row that joins a stronger one, as a share of it: specks beside figures chain weakly."""

JOIN_ANGLE_COS = 0.985
"""Least cosine of the angle between two rows that are joined (10 degrees)."""

LENGTH_HEIGHTS_MAX = 25.0
"""Longest string in character heights; a line of print beyond it is no mark on an instrument."""

LONE_PX, LONE_STRENGTH_MIN, LONE_MAX = 14, 50.0, 2
"""A piece on its own must be this long in pixels of the view and this strong (mean over its box, 0 to 255) to be looked
at as a lone character, and at most so many of a view are."""

LONE_SCORE = 1.2
"""Score of a lone piece at full strength: beside that of a weak row of three."""

OVERLAP_SAME = 0.6
"""Two quads are the same row when they share this much of the smaller one."""


@dataclass(frozen=True)
class Pieces:
    """Connected pieces of stroke of one view: centers (N, 2), sizes (N, 2) as width and height, strengths (N,)."""

    centers: NDArray[np.float32]
    sizes: NDArray[np.float32]
    strengths: NDArray[np.float32]


@dataclass(frozen=True)
class Row:
    """A chain of pieces: which, direction as a unit vector, and a score."""

    members: tuple[int, ...]
    along: tuple[float, float]
    score: float


def locate_regions(views: Sequence[View], most: int) -> tuple[Region, ...]:
    """Return at most `most` regions of the photo that may hold a string, best first, none lying on another."""
    found: list[Region] = []
    for view in views:
        pieces = find_pieces(view)
        rows = sorted(chain_rows(pieces), key=lambda row: -row.score)[: 2 * most]
        found += _join_rows([_region_of(row, pieces, view) for row in rows])
        found += [_region_of(row, pieces, view) for row in lone_pieces(pieces, rows)]
    return _drop_doubles(sorted(found, key=lambda region: -region.score), most)


def find_pieces(view: View) -> Pieces:
    """Cut a stroke view into connected pieces of a character's size."""
    strength = 255 - view.pixels
    _, _, stats, _ = cv2.connectedComponentsWithStats(_strokes(strength), connectivity=8)
    width, height, area = stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT], stats[:, cv2.CC_STAT_AREA]
    longer = np.maximum(width, height)
    filled = area / np.maximum(1, width * height)
    fits = (longer >= CHARACTER_PX[0]) & (longer <= CHARACTER_PX[1]) & (filled > 0.12) & (area >= 12)
    fits &= np.minimum(width, height) >= 2
    fits[0] = False
    chosen = np.flatnonzero(fits)
    boxes = stats[chosen]
    middle = boxes[:, :2] + boxes[:, 2:4] / 2 - 0.5
    strengths = _mean_strength(strength, boxes)
    order = np.argsort(-strengths)[:PIECES_MAX]
    return Pieces(
        middle[order].astype(np.float32), boxes[order, 2:4].astype(np.float32), strengths[order].astype(np.float32)
    )


def _strokes(strength: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return 0/1 strokes: clearly above the picture's floor and above the texture around."""
    strength = np.asarray(cv2.GaussianBlur(strength, (0, 0), SMOOTH_PX), np.uint8)
    around = cv2.blur(strength, (TEXTURE_WINDOW_PX, TEXTURE_WINDOW_PX))
    middle, upper = np.percentile(strength[::3, ::3], (50, 75))
    floor = max(STRENGTH_MIN, float(middle) + NOISE_DEVIATIONS * 1.48 * float(upper - middle))
    limit = np.minimum(np.maximum(around.astype(np.float32) * TEXTURE_FACTOR, floor), STRENGTH_SURE)
    return np.asarray(strength > limit, np.uint8)


def _mean_strength(strength: NDArray[np.uint8], boxes: NDArray[Any]) -> NDArray[np.float64]:
    """Return the mean strength inside each (x, y, w, h) box by the integral image."""
    total = cv2.integral(strength)
    x, y, w, h = boxes[:, 0], boxes[:, 1], boxes[:, 2], boxes[:, 3]
    sums = total[y + h, x + w] - total[y, x + w] - total[y + h, x] + total[y, x]
    return np.asarray(sums / np.maximum(1, w * h), np.float64)


def chain_rows(pieces: Pieces) -> list[Row]:
    """Chain pieces into straight rows of at least two; a pair of pieces starts only one row."""
    rows: list[Row] = []
    done: set[tuple[int, int]] = set()
    for first, second in _neighbor_pairs(pieces):
        if (first, second) in done:
            continue
        row = _grow_row(pieces, first, second)
        if row is None:
            continue
        done.update((min(a, b), max(a, b)) for a, b in zip(row.members, row.members[1:], strict=False))
        rows.append(row)
    return rows


def lone_pieces(pieces: Pieces, rows: Sequence[Row]) -> list[Row]:
    """Return rows of one for strong large pieces outside all rows: a position mark on a leg, a lone model letter."""
    in_rows = {member for row in rows if len(row.members) >= 3 for member in row.members}
    longer = pieces.sizes.max(axis=1)
    lone = [
        number
        for number in np.argsort(-pieces.strengths * longer).tolist()
        if number not in in_rows and longer[number] >= LONE_PX and pieces.strengths[number] >= LONE_STRENGTH_MIN
    ]
    return [
        Row((number,), (1.0, 0.0), LONE_SCORE * float(pieces.strengths[number]) / 255) for number in lone[:LONE_MAX]
    ]


def _neighbor_pairs(pieces: Pieces) -> list[tuple[int, int]]:
    """Return pairs that may be neighbors in a row, the most alike first."""
    count = len(pieces.centers)
    if count < 2:
        return []
    offset = (pieces.centers[None] - pieces.centers[:, None]).astype(np.float32)
    distance = np.hypot(offset[..., 0], offset[..., 1]) + 1e-6
    sine, cosine = np.abs(offset[..., 1]) / distance, np.abs(offset[..., 0]) / distance
    extent = sine * pieces.sizes[:, :1] + cosine * pieces.sizes[:, 1:]  # of a box, across the pair's line
    height = np.maximum(extent, extent.T)
    ratio = height / (np.minimum(extent, extent.T) + 1e-6)
    near = distance / (height + 1e-6)
    fits = (ratio < SIZE_RATIO_MAX) & (near > GAP_HEIGHTS[0]) & (near < GAP_HEIGHTS[1])
    fits &= (height >= CHARACTER_PX[0]) & np.triu(np.ones((count, count), bool), 1)
    first, second = np.nonzero(fits)
    cost = ratio[first, second] + 0.3 * near[first, second]
    order = np.argsort(cost)[: int(SEEDS_A_PIECE * count)]
    return list(zip(first[order].tolist(), second[order].tolist(), strict=True))


def _grow_row(pieces: Pieces, first: int, second: int) -> Row | None:
    """Grow a row along the line through two pieces, refit the line once, and score it."""
    members = np.array([first, second])
    along = _unit(pieces.centers[second] - pieces.centers[first])
    for _ in range(2):
        members = _row_members(pieces, members, along)
        if len(members) < 3:
            break
        along = _fit_direction(pieces.centers[members], along)
    if len(members) < 2:
        return None
    return Row(tuple(members.tolist()), (float(along[0]), float(along[1])), _score_row(pieces, members, along))


def _row_members(pieces: Pieces, seed: NDArray[np.intp], along: NDArray[np.float64]) -> NDArray[np.intp]:
    """Return the unbroken run of pieces on the row's line that are of the row's height, in order along it."""
    across = np.array([-along[1], along[0]])
    extent = pieces.sizes @ np.abs(across)
    height = float(np.sort(extent[seed])[len(seed) // 2])
    origin = pieces.centers[seed].mean(axis=0)
    offset = pieces.centers - origin
    on_line = np.abs(offset @ across) < OFF_LINE_HEIGHTS * height
    alike = (extent > height / SIZE_RATIO_MAX) & (extent < height * SIZE_RATIO_MAX)
    width = pieces.sizes @ np.abs(along)
    strong = pieces.strengths > STRENGTH_RATIO_MIN * float(pieces.strengths[seed].max())
    strong[seed] = True
    candidates = np.flatnonzero(on_line & alike & strong & (width < 2.5 * height))
    position = offset[candidates] @ along
    order = np.argsort(position)
    candidates, position = candidates[order], position[order]
    middle = int(np.searchsorted(position, (offset[seed[0]] @ along) - 1e-3))
    breaks = np.flatnonzero(position[1:] - position[:-1] > GAP_HEIGHTS[1] * height) + 1
    start = breaks[breaks <= middle].max(initial=0)
    end = breaks[breaks > middle].min(initial=len(candidates))
    return np.asarray(candidates[start:end], np.intp)


def _fit_direction(points: NDArray[np.float32], along: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the main direction of points, pointing the same way as before."""
    _, _, axes = np.linalg.svd(points - points.mean(axis=0), full_matrices=False)
    axis = axes[0].astype(np.float64)
    return np.asarray(axis if axis @ along >= 0 else -axis, np.float64)


def _score_row(pieces: Pieces, members: NDArray[np.intp], along: NDArray[np.float64]) -> float:
    """Score how much a row looks like a line of figures: strength, evenness of height, of line and of pitch, count."""
    across = np.array([-along[1], along[0]])
    extent = pieces.sizes[members] @ np.abs(across)
    height = float(np.median(extent))
    center = pieces.centers[members]
    straight = float(np.std(center @ across)) / height
    even = float(np.std(extent)) / height
    gaps = np.abs(np.diff(center @ along)) / height
    pitch = float(np.std(gaps)) if len(gaps) > 1 else 0.3
    count = min(len(members), 8)
    strength = float(np.median(pieces.strengths[members])) / 255
    tilt = abs(float(along[0] * along[1]))  # 0 on both axes, 0.5 on the diagonals
    regular = float(np.exp(-2.5 * straight - 1.5 * even - 1.0 * pitch - 1.2 * tilt))
    return float(count**0.7 * (0.15 + strength) * regular)


def _region_of(row: Row, pieces: Pieces, view: View) -> Region:
    """Return the row's region in the photo, read rightward or downward until a reader says otherwise."""
    members = np.array(row.members)
    along = np.array(row.along)
    if along[0] < -0.7 or (along[0] < 0.7 and along[1] < 0):
        along = -along
    across = np.array([-along[1], along[0]])
    half_long = pieces.sizes[members] @ np.abs(along) / 2
    half_high = pieces.sizes[members] @ np.abs(across) / 2
    u, v = pieces.centers[members] @ along, pieces.centers[members] @ across
    low_u, high_u = float((u - half_long).min()), float((u + half_long).max())
    middle, half = float(np.median(v)), float(np.median(half_high)) + float(np.std(v))
    corners = [(low_u, middle - half), (high_u, middle - half), (high_u, middle + half), (low_u, middle + half)]
    quad = np.array([a * along + b * across for a, b in corners], np.float32)
    return Region(map_points(view.to_photo, quad), row.score, view.surface)


def _join_rows(regions: Sequence[Region]) -> list[Region]:
    """Join rows of one view (best first) that lie on one line: a string broken by a blank or a faint character."""
    joined: list[Region] = []
    for region in regions:
        current = region
        for number, other in enumerate(joined):
            if current.score < JOIN_SCORE_RATIO * other.score:
                continue
            union = _joined_quad(other.quad, current.quad)
            if union is not None:
                current = Region(union, max(other.score, current.score), other.surface)
                del joined[number]
                break
        joined.append(current)
    return sorted(joined, key=lambda region: -region.score)


def _joined_quad(first: Quad, second: Quad) -> Quad | None:
    """Return the quad around two quads of one line, or None where they are not of one line."""
    (length, height), (_, other_height) = quad_size(first), quad_size(second)
    along, across = (first[1] - first[0]) / max(length, 1e-6), (first[3] - first[0]) / max(height, 1e-6)
    direction = _unit(second[1] - second[0])
    if max(height, other_height) > JOIN_HEIGHT_RATIO * min(height, other_height):
        return None
    if float(direction @ along) < JOIN_ANGLE_COS:
        return None
    offset = second - first.mean(axis=0)
    if abs(float((offset @ across).mean())) > OFF_LINE_HEIGHTS * height:
        return None
    u = offset @ along
    low, high = float(u.min()), float(u.max())
    gap = max(low - length / 2, -length / 2 - high)
    low, high = min(low, -length / 2), max(high, length / 2)
    if gap > JOIN_GAP_HEIGHTS * height or high - low > LENGTH_HEIGHTS_MAX * height:
        return None
    v = np.concatenate([offset @ across, [-height / 2, height / 2]])
    center = first.mean(axis=0)
    corners = [(low, v.min()), (high, v.min()), (high, v.max()), (low, v.max())]
    return np.array([center + a * along + b * across for a, b in corners], np.float32)


def _drop_doubles(regions: Sequence[Region], most: int) -> tuple[Region, ...]:
    """Keep the best of regions that lie on each other."""
    kept: list[Region] = []
    for region in regions:
        if len(kept) >= most:
            break
        if all(not _same_row(region.quad, other.quad) for other in kept):
            kept.append(region)
    return tuple(kept)


def _same_row(first: Quad, second: Quad) -> bool:
    return quad_overlap(first, second)[1] > OVERLAP_SAME


def _unit(vector: NDArray[np.float32]) -> NDArray[np.float64]:
    return np.asarray(vector / (np.linalg.norm(vector) + 1e-9), np.float64)

"""Find the pictures on a scan: prints on an album page, on the glass of a scanner, inside a wide border.

In comes a scan's upright pixels; out come the quads of the pictures in it, in the scan's own pixels, or none where the
scan is one picture. The ground is what the rim of the scan shows, a plane fitted to its colors so that uneven light
does no harm; what differs from it, or is outlined against it, in rectangles large enough, is a picture. It fits prints
laid apart on paper, felt or glass; prints that touch or overlap stay together as one picture or are left alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from reader.geometry import crop_quad, grow_quad, map_points, quad_angle_deg, quad_size, turn_quad
from reader.results import Quad

Pixels = NDArray[np.uint8]
Mask = NDArray[np.uint8]

WORK_PX = 900
"""Longer side of the copy that is searched, in pixels."""

RIM_SHARE = 0.02
"""Width of the rim that shows the ground, as a share of the longer side."""

RIM_AGREES_MIN = 0.7
"""Share of the rim that must be of one color. Prints that run off the page take the rest."""

GROUND_DISTANCE = 9.0
"""Least color distance to the ground (CIE 1976 Lab, Delta E) of what is no ground; 2.3 is just noticeable."""

GROUND_SPREADS = 6.0
"""The same as a multiple of the ground's own spread (1.4826 times the median distance), for coarse paper."""

EDGE_STEP = 14.0
"""Least gradient (Sobel, Lab lightness a pixel) of an outline: a white border on white glass shows only its edge."""

OPENING_SHARE = 0.022
"""Thinner things than this share of the longer side are captions, corners and threads, no pictures."""

CLOSING_SHARE = 0.006
"""Gaps up to this share of the longer side are closed, so that an outline holds its inside."""

PICTURE_AREA_MIN, PICTURES_AREA_MIN = 0.03, 0.2
"""Least share of the page that one of several pictures takes, and all of them together: labels on wood are less."""

SINGLE_AREA_MIN, SINGLE_AREA_MAX = 0.25, 0.93
"""Share of the scan that a lone picture takes: less is an object in a photo, more is the whole scan."""

FILLS_MIN, SINGLE_FILLS_MIN = 0.9, 0.93
"""Least share of its own smallest rectangle that a picture's convex hull fills; a lone one must be a better one."""

SOLID_MIN = 0.6
"""Least share of that rectangle that the picture itself fills: a part of it may look like the ground."""

SIDES_RATIO_MAX = 4.0
"""Longest picture, length over width."""

PAGE_AREA_MIN = 0.5
"""A lone rectangle that takes so much of the scan may be an album page, and is searched for pictures itself."""

PAGE_EDGE_SHARE = 0.01
"""What is left off on each side of such a page, as a share of its longer side."""


@dataclass(frozen=True)
class _Ground:
    """Color distance of every pixel to the ground (H, W) float32, and the distance from which on it is none."""

    distance: NDArray[np.float32]
    limit: float


def find_pictures(pixels: Pixels) -> tuple[Quad, ...]:
    """Return the pictures on a scan, (H, W, 3) uint8 sRGB, from top to bottom and left to right.

    Each is a quad in the scan's pixels whose first corner is the upper left one as the picture lies, to within 45
    degrees. An empty tuple says that the scan is one picture, or that its ground could not be told.
    """
    found = _search(pixels)
    if len(found) == 1 and _share(found[0], pixels) >= PAGE_AREA_MIN:
        edge = -PAGE_EDGE_SHARE * max(quad_size(found[0]))  # the rim of another color would look like an outline
        page, to_scan = cut_picture(pixels, grow_quad(found[0], edge, edge))
        inside = [map_points(to_scan, quad) for quad in _search(page)]
        if len(inside) > 1:
            found = inside
    return tuple(_reading_order(found))


def cut_picture(pixels: Pixels, quad: Quad) -> tuple[Pixels, NDArray[np.float64]]:
    """Cut a picture out of its scan, straightened, at the scan's scale.

    Returns its pixels (h, w, 3) uint8 and the (3, 3) homography from its (x, y, 1) to the scan's.
    """
    return crop_quad(pixels, quad, max(1, round(quad_size(quad)[1])))


def cover_pictures(pixels: Pixels, quads: tuple[Quad, ...]) -> Pixels:
    """Return a copy of the scan with its pictures covered in the ground's median color: what is left are captions."""
    covered = pixels.copy()
    rim = max(1, round(RIM_SHARE * max(pixels.shape[:2])))
    ground = np.median(np.concatenate([pixels[:rim], pixels[-rim:]]).reshape(-1, 3)[::7], axis=0)
    for quad in quads:
        cv2.fillConvexPoly(covered, np.round(quad).astype(np.int32), tuple(float(value) for value in ground))
    return covered


def _search(pixels: Pixels) -> list[Quad]:
    scale = min(1.0, WORK_PX / max(pixels.shape[:2]))
    small = cv2.resize(pixels, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA) if scale < 1 else pixels
    lab = np.asarray(cv2.cvtColor(small.astype(np.float32) / 255, cv2.COLOR_RGB2LAB), np.float32)
    lab = np.asarray(cv2.GaussianBlur(lab, (0, 0), 1.2), np.float32)
    ground = _fit_ground(lab)
    if ground is None:
        return []
    return [np.asarray((quad + 0.5) / scale - 0.5, np.float32) for quad in _rectangles(lab, ground)]


def _fit_ground(lab: NDArray[np.float32]) -> _Ground | None:
    """Fit a plane to each channel of the rim's color, twice, the second time without what lies off the first.

    Returns None where less than RIM_AGREES_MIN of the rim lies on it.
    """
    height, width = lab.shape[:2]
    rim_px = max(2, round(RIM_SHARE * max(height, width)))
    rim = np.ones((height, width), bool)
    rim[rim_px:-rim_px, rim_px:-rim_px] = False
    rows, columns = np.nonzero(rim)
    design = np.stack([np.ones(len(rows)), columns / width - 0.5, rows / height - 0.5], axis=1)
    colors = lab[rim].astype(np.float64)
    plane = np.zeros((3, 3))
    plane[0] = np.median(colors, axis=0)
    for _ in range(3):
        away = np.linalg.norm(colors - design @ plane, axis=1)
        kept = away <= max(GROUND_DISTANCE, 2 * float(np.median(away)))
        if kept.mean() < RIM_AGREES_MIN:
            return None
        plane = np.linalg.lstsq(design[kept], colors[kept], rcond=None)[0]
    away = np.linalg.norm(colors - design @ plane, axis=1)
    limit = max(GROUND_DISTANCE, GROUND_SPREADS * 1.4826 * float(np.median(away)))
    if (away <= limit).mean() < RIM_AGREES_MIN or limit > 3 * GROUND_DISTANCE:
        return None
    x = np.arange(width) / width - 0.5
    y = (np.arange(height) / height - 0.5)[:, None]
    expected = plane[0] + x[None, :, None] * plane[1] + y[..., None] * plane[2]
    return _Ground(np.linalg.norm(lab - expected, axis=2).astype(np.float32), limit)


def _rectangles(lab: NDArray[np.float32], ground: _Ground) -> list[Quad]:
    """Return the pictures in the small copy: solid, large, rectangular parts that are no ground."""
    height, width = ground.distance.shape
    longer = max(height, width)
    mask = ((ground.distance > ground.limit) | (_steps(lab) > EDGE_STEP)).astype(np.uint8)
    solid = _open(_fill(_close(mask, CLOSING_SHARE * longer)), OPENING_SHARE * longer)
    found = []
    contours, _ = cv2.findContours(solid, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    for contour in contours:
        (_, _), (first, second), _ = box = cv2.minAreaRect(contour)
        area = max(first * second, 1.0)
        filled = cv2.contourArea(cv2.convexHull(contour)) / area
        long = max(first, second) > SIDES_RATIO_MAX * max(min(first, second), 1.0)
        if long or filled < FILLS_MIN or cv2.contourArea(contour) < SOLID_MIN * area:
            continue
        found.append((first * second / (height * width), filled, _upright(np.asarray(cv2.boxPoints(box), np.float32))))
    several = [quad for share, _, quad in found if share >= PICTURE_AREA_MIN]
    if len(several) > 1 and sum(share for share, _, _ in found if share >= PICTURE_AREA_MIN) >= PICTURES_AREA_MIN:
        return several
    lone = [q for share, fills, q in found if SINGLE_AREA_MIN <= share <= SINGLE_AREA_MAX and fills >= SINGLE_FILLS_MIN]
    return lone if len(lone) == 1 else []


def _steps(lab: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return how steep the lightness is at each pixel, levels a pixel."""
    light = np.ascontiguousarray(lab[..., 0])
    across = cv2.Sobel(light, cv2.CV_32F, 1, 0, ksize=3, scale=1 / 8)
    down = cv2.Sobel(light, cv2.CV_32F, 0, 1, ksize=3, scale=1 / 8)
    return np.asarray(cv2.magnitude(across, down), np.float32)


def _close(mask: Mask, size_px: float) -> Mask:
    return np.asarray(cv2.morphologyEx(mask, cv2.MORPH_CLOSE, _square(size_px)), np.uint8)


def _open(mask: Mask, size_px: float) -> Mask:
    """Take away what is thinner than a size, also at the picture's own edge."""
    size = int(size_px) + 1
    padded = np.pad(mask, size, mode="edge")
    opened = cv2.morphologyEx(padded, cv2.MORPH_OPEN, _square(size_px))
    return np.ascontiguousarray(opened[size:-size, size:-size])


def _square(size_px: float) -> Mask:
    side = 2 * max(1, round(size_px / 2)) + 1
    return np.ones((side, side), np.uint8)


def _fill(mask: Mask) -> Mask:
    """Fill every hole."""
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    filled = np.zeros_like(mask)
    cv2.drawContours(filled, contours, -1, 1, cv2.FILLED)
    return filled


def _upright(corners: NDArray[np.float32]) -> Quad:
    """Return the corners clockwise, so that the top edge runs within 45 degrees of rightward."""
    quad = np.asarray(corners, np.float32)
    if float(cv2.contourArea(quad, oriented=True)) < 0:
        quad = quad[::-1].copy()
    turns = [turn_quad(quad, count) for count in range(4)]
    return min(turns, key=lambda turned: abs(quad_angle_deg(turned)))


def _share(quad: Quad, pixels: Pixels) -> float:
    return float(abs(cv2.contourArea(quad)) / (pixels.shape[0] * pixels.shape[1]))


def _reading_order(quads: list[Quad]) -> list[Quad]:
    """Sort by rows: a picture whose middle lies above another's bottom third begins no new row."""
    rows: list[list[Quad]] = []
    for quad in sorted(quads, key=lambda quad: float(quad[:, 1].mean())):
        middle = float(quad[:, 1].mean())
        if rows and middle < float(np.mean([other[:, 1].mean() + quad_size(other)[1] / 3 for other in rows[-1]])):
            rows[-1].append(quad)
        else:
            rows.append([quad])
    return [quad for row in rows for quad in sorted(row, key=lambda quad: float(quad[:, 0].mean()))]

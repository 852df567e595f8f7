"""Quads, crops along them, and the way back from a crop to the photo.

A quad is (4, 2) float32, (x, y) in photo pixels, first corner where reading starts, then clockwise as the reader of
the string sees it (results.Quad). Pixels are (H, W) or (H, W, C) arrays.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from reader.results import Quad


def box_quad(left: float, top: float, right: float, bottom: float) -> Quad:
    """Return the quad of an upright box that is read from left to right."""
    return np.array([[left, top], [right, top], [right, bottom], [left, bottom]], np.float32)


def rotated_quad(center_xy: tuple[float, float], length: float, height: float, angle_deg: float) -> Quad:
    """Return the quad around a center; reading direction turned `angle_deg` clockwise from rightward."""
    angle = math.radians(angle_deg)
    along = np.array([math.cos(angle), math.sin(angle)]) * length / 2
    down = np.array([-math.sin(angle), math.cos(angle)]) * height / 2
    center = np.array(center_xy)
    return np.array(
        [center - along - down, center + along - down, center + along + down, center - along + down], np.float32
    )


def quad_size(quad: Quad) -> tuple[float, float]:
    """Return the mean length along the direction of reading and the mean height across it, in pixels."""
    length = (np.linalg.norm(quad[1] - quad[0]) + np.linalg.norm(quad[2] - quad[3])) / 2
    height = (np.linalg.norm(quad[3] - quad[0]) + np.linalg.norm(quad[2] - quad[1])) / 2
    return float(length), float(height)


def quad_angle_deg(quad: Quad) -> float:
    """Return the direction of reading in degrees, 0 rightward, 90 downward, in (-180, 180]."""
    along = (quad[1] - quad[0]) + (quad[2] - quad[3])
    angle = math.degrees(math.atan2(float(along[1]), float(along[0])))
    return 180.0 if angle == -180.0 else angle


def turn_quad(quad: Quad, quarter_turns: int) -> Quad:
    """Return the same four corners, read from a start that lies `quarter_turns` corners further on."""
    return np.roll(quad, -(quarter_turns % 4), axis=0)


def grow_quad(quad: Quad, along: float, across: float) -> Quad:
    """Return the quad with `along` pixels more at both ends and `across` pixels more above and below."""
    length, height = quad_size(quad)
    u = (along / length) if length else 0.0
    v = (across / height) if height else 0.0
    corners = ((-u, -v), (1 + u, -v), (1 + u, 1 + v), (-u, 1 + v))
    return np.array([_inside(quad, *uv) for uv in corners], np.float32)


def part_quad(quad: Quad, start: float, end: float) -> Quad:
    """Return the part of a quad between two shares (0 to 1) of its length."""
    corners = ((start, 0.0), (end, 0.0), (end, 1.0), (start, 1.0))
    return np.array([_inside(quad, *uv) for uv in corners], np.float32)


def _inside(quad: Quad, u: float, v: float) -> NDArray[np.float64]:
    """Return the point at shares u along and v across (bilinear)."""
    q = quad.astype(np.float64)
    point: NDArray[np.float64] = (1 - v) * ((1 - u) * q[0] + u * q[1]) + v * ((1 - u) * q[3] + u * q[2])
    return point


def crop_quad(
    pixels: NDArray[np.uint8], quad: Quad, height_px: int, margin: float = 0.0
) -> tuple[NDArray[np.uint8], NDArray[np.float64]]:
    """Cut a quad out of a picture, upright and read from left to right.

    Parameters: `pixels` (H, W) or (H, W, C) uint8; `height_px`, the crop's height without margin; `margin`, how much
    is added on all four sides, as a share of the quad's height. Outside the picture the edge is repeated.

    Returns the crop and the (3, 3) homography from the crop's (x, y, 1) to the picture's.
    """
    length, height = quad_size(quad)
    scale = height_px / max(height, 1e-6)
    border = round(margin * height_px)
    width_px = max(1, round(length * scale))
    corners = np.array(
        [
            [border, border],
            [border + width_px, border],
            [border + width_px, border + height_px],
            [border, border + height_px],
        ],
        np.float32,
    )
    to_crop = cv2.getPerspectiveTransform(quad.astype(np.float32), corners)
    size = (width_px + 2 * border, height_px + 2 * border)
    shrink = scale < 0.75  # area averaging first, or fine strokes alias away
    source = pixels
    if shrink:
        box_xy, source = _around(pixels, quad, margin * height + 2)
        factor = scale * 1.25
        small = cv2.resize(source, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
        fx, fy = small.shape[1] / source.shape[1], small.shape[0] / source.shape[0]
        to_small = np.array([[fx, 0, -box_xy[0] * fx], [0, fy, -box_xy[1] * fy], [0, 0, 1]])
        crop = cv2.warpPerspective(
            small, to_crop @ np.linalg.inv(to_small), size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
    else:
        crop = cv2.warpPerspective(source, to_crop, size, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(crop, np.uint8), np.linalg.inv(to_crop).astype(np.float64)


def _around(pixels: NDArray[np.uint8], quad: Quad, border: float) -> tuple[tuple[int, int], NDArray[np.uint8]]:
    """Return the upright box around a quad: its first pixel (x, y) and the pixels, clipped to the picture."""
    height, width = pixels.shape[:2]
    low = np.floor(quad.min(axis=0) - border).astype(int)
    high = np.ceil(quad.max(axis=0) + border).astype(int) + 1
    x0, y0 = min(max(int(low[0]), 0), width - 1), min(max(int(low[1]), 0), height - 1)
    x1, y1 = max(min(int(high[0]), width), x0 + 1), max(min(int(high[1]), height), y0 + 1)
    return (x0, y0), pixels[y0:y1, x0:x1]


def map_points(transform: NDArray[np.float64], points_xy: NDArray[np.floating]) -> NDArray[np.float32]:
    """Apply a (3, 3) homography to (N, 2) points."""
    homogeneous = np.hstack([points_xy.astype(np.float64), np.ones((len(points_xy), 1))]) @ transform.T
    return np.asarray(homogeneous[:, :2] / homogeneous[:, 2:], np.float32)


def quad_overlap(first: Quad, second: Quad) -> tuple[float, float]:
    """Return intersection over union, and intersection over the smaller quad's area. Quads must be convex."""
    area_first = abs(float(cv2.contourArea(first)))
    area_second = abs(float(cv2.contourArea(second)))
    if area_first == 0 or area_second == 0:
        return 0.0, 0.0
    shared, _ = cv2.intersectConvexConvex(first.astype(np.float32), second.astype(np.float32))
    return shared / (area_first + area_second - shared), shared / min(area_first, area_second)

"""Where the camera of a SceneSpec stands in the world of the path tracer, and the exact projection into the photo.

World: millimeters, the board's surface in the plane z = 0, x rightward and y upward as seen before the camera is
tilted, z toward the camera. Photo: pixels, x rightward, y downward, centers of pixels at whole numbers. The pinhole
model is that of Hartley and Zisserman (2004, chapter 6), pixels square and the principal point in the middle.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tools.renderer.camera import FOCAL
from tools.renderer.spec import BASE_WIDTH_PX, Floats, MarkSpec, SceneSpec

Matrix = NDArray[np.float64]

FLIP = np.diag([1.0, -1.0, -1.0])
"""From y down and z away, as photos count, to y up and z toward the eye, as Blender counts; its own inverse."""


@dataclass(frozen=True)
class Pinhole:
    """A camera. `turn` (3, 3) takes world directions to the camera's (x right, y down, z forward); `eye` (3,) is in mm.

    `focal_px` is the focal length in photo pixels, `size` the photo's width and height.
    """

    turn: Matrix
    eye: Matrix
    focal_px: float
    size: tuple[int, int]

    @property
    def pose(self) -> Matrix:
        """Return the (4, 4) matrix from Blender's camera axes (x right, y up, z backward) to the world."""
        pose = np.eye(4)
        pose[:3, :3] = (FLIP @ self.turn).T
        pose[:3, 3] = self.eye
        return pose


def camera_of(spec: SceneSpec) -> Pinhole:
    """Return the camera of a spec: roll last, after pitch and yaw, as far off as px_per_mm on the axis asks."""
    long_side = max(spec.size)
    focal_px = FOCAL * long_side
    roll, pitch, yaw = (
        math.radians(v) for v in (spec.tilt_deg + 90.0 * spec.quarter_turns, spec.pitch_deg, spec.yaw_deg)
    )
    about_x = np.array(
        [[1, 0, 0], [0, math.cos(pitch), -math.sin(pitch)], [0, math.sin(pitch), math.cos(pitch)]], np.float64
    )
    about_y = np.array([[math.cos(yaw), 0, math.sin(yaw)], [0, 1, 0], [-math.sin(yaw), 0, math.cos(yaw)]], np.float64)
    about_z = np.array(
        [[math.cos(roll), -math.sin(roll), 0], [math.sin(roll), math.cos(roll), 0], [0, 0, 1]], np.float64
    )
    turn = about_z @ about_x @ about_y @ FLIP
    distance_mm = focal_px / (spec.px_per_mm * long_side / BASE_WIDTH_PX)
    return Pinhole(turn, -turn.T @ np.array([0, 0, distance_mm]), focal_px, spec.size)


def project(camera: Pinhole, points_mm: NDArray[np.floating]) -> Floats:
    """Return the photo pixels (N, 2) of world points (N, 3). ValueError for a point behind the camera."""
    seen = (np.asarray(points_mm, np.float64) - camera.eye) @ camera.turn.T
    if (seen[:, 2] <= 0).any():
        raise ValueError("a point lies behind the camera")
    center = (np.array(camera.size) - 1) / 2
    return np.asarray(center + camera.focal_px * seen[:, :2] / seen[:, 2:], np.float32)


def on_plane(camera: Pinhole, pixels_xy: NDArray[np.floating], z_mm: float = 0.0) -> Matrix:
    """Return the world points (N, 3) at height `z_mm` that photo pixels (N, 2) show."""
    center = (np.array(camera.size) - 1) / 2
    rays = np.hstack([(pixels_xy - center) / camera.focal_px, np.ones((len(pixels_xy), 1))]) @ camera.turn
    steps = (z_mm - camera.eye[2]) / rays[:, 2:]
    return np.asarray(camera.eye + steps * rays, np.float64)


def mark_place(spec: SceneSpec, mark: MarkSpec) -> tuple[float, float]:
    """Return a mark's middle on the board in mm."""
    per_share = BASE_WIDTH_PX / spec.px_per_mm
    return mark.x * per_share, -mark.y * per_share

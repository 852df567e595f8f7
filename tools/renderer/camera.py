"""From light on the canvas to a phone's JPEG.

Pinhole projection, defocus and shake, vignette, exposure metering, shot and read noise in linear light, the phone's
own smoothing and sharpening, a partly corrected white balance, the sRGB curve (IEC 61966-2-1), JPEG.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from tools.renderer.noise import Rng, blur
from tools.renderer.spec import BASE_WIDTH_PX, CameraSpec, Floats, SceneSpec

FOCAL = 1.15
"""Focal length over the photo's long side; a phone's main lens (about 28 mm equivalent is 0.8, held back a little)."""
FULL_WELL = 5200.0
"""Photo-electrons of a white pixel at noise 1, for shot noise. A small phone pixel; set by eye."""
METER_REFERENCE = 0.25
"""Brightness of a subject that the meter renders as middle gray."""
READ_NOISE = 0.0022
"""Read noise at noise 1 over full scale."""


@dataclass(frozen=True)
class Frame:
    """How canvas and photo hang together. `to_photo` (3, 3) float64 takes canvas pixels to photo pixels.

    `shape` is the canvas's rows and columns, `origin_xy` the canvas place of the photo's center, `scale` canvas pixels
    to a pixel of a 1600-pixel photo, `eye` the camera's place in canvas pixels, z toward the camera.
    """

    to_photo: NDArray[np.float64]
    shape: tuple[int, int]
    origin_xy: tuple[float, float]
    scale: float
    size: tuple[int, int]
    eye: tuple[float, float, float]

    def place(self, x: float, y: float) -> tuple[float, float]:
        """Return the canvas place of shares of the photo's width and height from the center (before any turn)."""
        return self.origin_xy[0] + x * BASE_WIDTH_PX * self.scale, self.origin_xy[1] + y * BASE_WIDTH_PX * self.scale


def frame_of(spec: SceneSpec) -> Frame:
    """Return the canvas that just covers the photo, and the way between them."""
    width, height = spec.size
    long_side = max(width, height)
    focal = FOCAL * long_side
    turn = _rotation(spec.tilt_deg + 90.0 * spec.quarter_turns, spec.pitch_deg, spec.yaw_deg)
    plane = turn[:, [0, 1, 2]].copy()
    plane[:, 2] = (0.0, 0.0, focal)
    intrinsic = np.array([[focal, 0, (width - 1) / 2], [0, focal, (height - 1) / 2], [0, 0, 1]])
    from_plane = intrinsic @ plane
    corners = np.array([[0, width - 1, width - 1, 0], [0, 0, height - 1, height - 1], [1, 1, 1, 1]])
    on_plane = np.linalg.inv(from_plane) @ corners
    on_plane = on_plane[:2] / on_plane[2]
    low, high = np.floor(on_plane.min(1)) - 2, np.ceil(on_plane.max(1)) + 3
    shift = np.array([[1, 0, low[0]], [0, 1, low[1]], [0, 0, 1]])
    columns, rows = (high - low).astype(int).tolist()
    eye = -turn.T @ np.array([0, 0, focal])
    return Frame(
        from_plane @ shift,
        (rows, columns),
        (-float(low[0]), -float(low[1])),
        long_side / BASE_WIDTH_PX,
        spec.size,
        (float(eye[0] - low[0]), float(eye[1] - low[1]), -float(eye[2])),
    )


def light_in_photo(spec: SceneSpec, frame: Frame, position: tuple[float, float, float]) -> tuple[float, float, float]:
    """Return a place over the canvas as the camera sees it, from the photo's middle on the surface, in photo pixels.

    x to the right, y down, z from the surface toward the camera.
    """
    turn = _rotation(spec.tilt_deg + 90.0 * spec.quarter_turns, spec.pitch_deg, spec.yaw_deg)
    x, y, z = turn @ np.array([position[0] - frame.origin_xy[0], position[1] - frame.origin_xy[1], -position[2]])
    return float(x), float(y), -float(z)


def _rotation(roll_deg: float, pitch_deg: float, yaw_deg: float) -> NDArray[np.float64]:
    """Return the rotation from the surface to the camera, roll last."""
    a, b, c = (math.radians(v) for v in (roll_deg, pitch_deg, yaw_deg))
    roll = np.array([[math.cos(a), -math.sin(a), 0], [math.sin(a), math.cos(a), 0], [0, 0, 1]])
    pitch = np.array([[1, 0, 0], [0, math.cos(b), -math.sin(b)], [0, math.sin(b), math.cos(b)]])
    yaw = np.array([[math.cos(c), 0, math.sin(c)], [0, 1, 0], [-math.sin(c), 0, math.cos(c)]])
    return np.asarray(roll @ pitch @ yaw, np.float64)


def take(light: Floats, frame: Frame, camera: CameraSpec, warmth: float, rng: Rng) -> NDArray[np.uint8]:
    """Return the photo, (H, W, 3) uint8 RGB, of linear light (h, w, 3) on the canvas."""
    photo = cv2.warpPerspective(
        light, frame.to_photo, frame.size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    photo = _blur_optics(np.asarray(photo, np.float32), camera, frame.scale)
    photo *= _vignette(photo.shape[:2], camera.vignette)[..., None]
    # a phone brightens a dark subject, but not all the way
    metered = max(_metered(photo), 1e-5)
    photo *= np.float32(camera.exposure * 0.19 / metered * (metered / METER_REFERENCE) ** 0.35)
    photo *= balance(warmth)
    photo = _sense(photo, camera, rng)
    encoded = encode(_shoulder(photo))
    encoded = _phone(encoded, camera, frame.scale)
    return np.asarray(np.clip(encoded * 255 + 0.5, 0, 255), np.uint8)


def _blur_optics(photo: Floats, camera: CameraSpec, scale: float) -> Floats:
    """Blur by defocus (a disc) and by a shaking hand (a short line)."""
    radius = camera.defocus_px * scale
    if radius > 2.0:
        reach = math.ceil(radius)
        y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
        disc = np.clip(radius + 0.5 - np.hypot(x, y), 0, 1).astype(np.float32)
        photo = np.asarray(cv2.filter2D(photo, -1, disc / disc.sum()), np.float32)
    else:
        photo = blur(photo, radius * 0.6)
    length = camera.motion_px * scale
    if length >= 1.5:
        size = math.ceil(length) | 1
        kernel = np.zeros((size, size), np.float32)
        dx, dy = (length / 2 * f(math.radians(camera.motion_deg)) for f in (math.cos, math.sin))
        middle = size // 2
        ends = (
            (round((middle - dx) * 16), round((middle - dy) * 16)),
            (round((middle + dx) * 16), round((middle + dy) * 16)),
        )
        cv2.line(kernel, *ends, 1.0, 1, cv2.LINE_AA, 4)
        kernel = np.maximum(kernel, 0)
        photo = np.asarray(cv2.filter2D(photo, -1, kernel / max(float(kernel.sum()), 1e-6)), np.float32)
    return photo


def _vignette(shape: tuple[int, ...], amount: float) -> Floats:
    """Return the lens's fall-off, cos^4-like, `amount` lost in the corners."""
    y = np.linspace(-1, 1, shape[0], dtype=np.float32)[:, None]
    x = np.linspace(-1, 1, shape[1], dtype=np.float32)[None, :]
    return np.asarray(1 - np.float32(amount) * np.square((x * x + y * y) / 2), np.float32)


def _metered(photo: Floats) -> float:
    """Return the center-weighted brightness a phone would meter, with the brightest tenth held down."""
    small = cv2.resize(photo.mean(2), (64, 48), interpolation=cv2.INTER_AREA)
    y, x = np.mgrid[-1:1:48j, -1:1:64j]
    weight = np.exp(-1.2 * (x * x + y * y))
    capped = np.minimum(small, np.percentile(small, 92))
    return float((capped * weight).sum() / weight.sum())


def balance(warmth: float) -> Floats:
    """Return what a phone's white balance leaves of a warm torch's cast, linear RGB."""
    return np.array([1 + 0.13 * warmth, 1.0, 1.06 - 0.33 * warmth], np.float32)


def _sense(photo: Floats, camera: CameraSpec, rng: Rng) -> Floats:
    """Add shot and read noise in linear light, a little correlated as demosaicing leaves it."""
    signal = np.clip(photo, 0, 4)
    deviation = np.sqrt(signal * np.float32(camera.noise**2 / FULL_WELL) + np.float32((READ_NOISE * camera.noise) ** 2))
    grain = rng.standard_normal(signal.shape, dtype=np.float32)
    grain = cv2.GaussianBlur(grain, (3, 3), 0.6) * np.float32(1.6)
    return np.asarray(np.maximum(signal + deviation * grain, 0), np.float32)


def _shoulder(photo: Floats) -> Floats:
    """Roll highlights off softly above 0.6, so that the hot spot burns out as a phone's does."""
    over = np.maximum(photo - np.float32(0.6), 0)
    return np.asarray(np.minimum(photo, 0.6) + 0.4 * (1 - np.exp(-over / np.float32(0.55))), np.float32)


def encode(linear_light: Floats) -> Floats:
    """Return sRGB values 0 to 1 for linear light 0 to 1."""
    value = np.clip(linear_light, 0, 1)
    return np.asarray(np.where(value <= 0.0031308, value * 12.92, 1.055 * cv2.pow(value, 1 / 2.4) - 0.055), np.float32)


def _phone(encoded: Floats, camera: CameraSpec, scale: float) -> Floats:
    """Apply the phone's tone curve, smoothing (which eats faint texture) and sharpening (which leaves halos)."""
    encoded = encoded + np.float32(0.10) * encoded * (1 - encoded) * (2 * encoded - 0.8)
    if camera.smoothing > 0:
        smooth = cv2.bilateralFilter(encoded, 5, 0.10 * camera.smoothing, 2.0)
        encoded = np.asarray(encoded + np.float32(min(camera.smoothing, 1)) * (smooth - encoded), np.float32)
    if camera.sharpen > 0:
        encoded = encoded + np.float32(camera.sharpen) * (encoded - blur(encoded, 1.3 * max(scale, 0.6)))
    return encoded


def jpeg(photo: NDArray[np.uint8], quality: int) -> bytes:
    """Return a baseline (not progressive) JPEG of an RGB photo."""
    options = [cv2.IMWRITE_JPEG_QUALITY, quality, cv2.IMWRITE_JPEG_PROGRESSIVE, 0, cv2.IMWRITE_JPEG_OPTIMIZE, 1]
    done, data = cv2.imencode(".jpg", cv2.cvtColor(photo, cv2.COLOR_RGB2BGR), options)
    if not done:
        raise ValueError("OpenCV could not encode the picture as JPEG")
    return bytes(data)


def open_jpeg(data: bytes) -> NDArray[np.uint8]:
    """Return the (H, W, 3) uint8 RGB pixels of a JPEG; ValueError if it is none."""
    pixels = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
    if pixels is None:
        raise ValueError("OpenCV could not decode the picture; render it again")
    return np.asarray(cv2.cvtColor(pixels, cv2.COLOR_BGR2RGB), np.uint8)

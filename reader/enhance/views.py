"""The named views: which enhancement suits which surface, and how a view of a photo or of a line is made.

Photo or gray crop in, View out: strokes dark on bright whatever they were, with the way back to the photo and the
list of what was done. Adding a view: write its function in the folder, enter it in VIEWS.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from reader.enhance.chalk import link_chalk_strokes
from reader.enhance.dust import suppress_dust
from reader.enhance.illumination import Gray, equalize_locally, flatten_illumination
from reader.enhance.ink import threshold_ink
from reader.enhance.relief import (
    emphasize_bright_strokes,
    emphasize_dark_strokes,
    filter_oriented_relief,
    filter_ridges,
)
from reader.results import Photo, ProcessingStep, View

Enhancement = Callable[[Gray, float], Gray]

LOCATING_LONG_SIDES_PX = (1600, 800, 400, 200)
"""Long sides of the copies in which marks are looked for. In the first, a figure 1 % of the picture's width is 16 px
high; each further copy doubles the size that fits."""

LOCATING_CHAR_HEIGHT_PX = 18.0
"""Character height that a locating view is tuned to; half and double still show."""


@dataclass(frozen=True)
class NamedView:
    """A view's recipe: the surface it is for, what it shows in words, and its steps in order."""

    surface: str
    shows: str
    steps: tuple[Enhancement, ...]


def invert(gray: Gray, char_height: float) -> Gray:
    """Exchange dark and bright. `char_height` is not needed."""
    return np.asarray(255 - gray, np.uint8)


VIEWS: dict[str, NamedView] = {
    "dark-ink": NamedView(
        "ink", "dark strokes on a brighter ground: ink, print, paint", (flatten_illumination, equalize_locally)
    ),
    "bright-paint": NamedView(
        "paint",
        "bright strokes on a darker ground: chalk, gilt, worn paint",
        (flatten_illumination, equalize_locally, invert),
    ),
    "dusty-dark": NamedView(
        "wood-stamp", "dark cuts under dust", (suppress_dust, flatten_illumination, emphasize_dark_strokes)
    ),
    "dusty-bright": NamedView(
        "cast-iron",
        "bright edges of raised or dust-filled figures",
        (suppress_dust, flatten_illumination, emphasize_bright_strokes),
    ),
    "relief": NamedView(
        "wood-stamp",
        "strokes lit from the side, whichever wall is bright",
        (suppress_dust, flatten_illumination, filter_oriented_relief),
    ),
    "chalk": NamedView("chalk", "grainy bright strokes, linked", (flatten_illumination, link_chalk_strokes)),
    "ink-threshold": NamedView("ink", "ink or print, black on white", (flatten_illumination, threshold_ink)),
    "ridges": NamedView("wood-etched", "thin cuts and scratches as ridges", (suppress_dust, filter_ridges)),
}


def make_view(name: str, gray: Gray, char_height: float, to_photo: NDArray[np.float64] | None = None) -> View:
    """Make one named view.

    `gray` is (H, W) uint8, `char_height` in pixels of it, `to_photo` the homography from it to the photo (identity
    where left out). Raises KeyError for a name that is not in VIEWS.
    """
    recipe = VIEWS[name]
    pixels = gray
    for step in recipe.steps:
        pixels = step(pixels, char_height)
    steps = tuple(ProcessingStep(step.__name__, {"char_height_px": char_height}) for step in recipe.steps)
    return View(name, recipe.surface, pixels, np.eye(3) if to_photo is None else to_photo, steps)


def gray_pixels(photo: Photo) -> Gray:
    """Return the photo's luma, (H, W) uint8 (ITU-R BT.601 weights)."""
    return np.asarray(cv2.cvtColor(photo.pixels, cv2.COLOR_RGB2GRAY), np.uint8)


def make_locating_views(gray: Gray) -> tuple[View, ...]:
    """Return stroke views of a whole photo at falling sizes, dark and bright strokes apart."""
    views = []
    current = gray
    for side in LOCATING_LONG_SIDES_PX:
        step = min(1.0, side / max(current.shape))
        if step < 1.0:
            size = (max(1, round(current.shape[1] * step)), max(1, round(current.shape[0] * step)))
            current = np.asarray(cv2.resize(current, size, interpolation=cv2.INTER_AREA), np.uint8)
        scale_x, scale_y = gray.shape[1] / current.shape[1], gray.shape[0] / current.shape[0]
        to_photo = np.array([[scale_x, 0, (scale_x - 1) / 2], [0, scale_y, (scale_y - 1) / 2], [0, 0, 1]], np.float64)
        for name in ("dusty-dark", "dusty-bright"):
            views.append(make_view(name, current, LOCATING_CHAR_HEIGHT_PX, to_photo))
        if max(gray.shape) <= side // 2:
            break
    return tuple(views)

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
from reader.enhance.fine import keep_fine_bright, keep_fine_dark
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
    "plain": NamedView("unknown", "the gray pixels as they are, for a recognizer of either polarity", ()),
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
    "fine-dark": NamedView("pencil", "fine dark strokes on large figures: pencil, scratches", (keep_fine_dark,)),
    "fine-bright": NamedView("wood-etched", "fine bright strokes on large figures: scratches", (keep_fine_bright,)),
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

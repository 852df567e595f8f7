"""Make cut, punched and cast strokes stand out: hat transforms, oriented line filters, ridges.

A stroke in relief shows as a dark or bright line, or as both side by side. Each function takes gray pixels and the
character height in pixels, and returns a picture of the same shape with strokes dark on bright.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

Gray = NDArray[np.uint8]

STROKE_CHAR_HEIGHTS = 0.14
"""Usual width of a stroke: number punches and typefaces have strokes of 0.08 to 0.2 of their height (own measurement
on the drawn punch alphabet and on scikit-image's text pictures)."""

HAT_CHAR_HEIGHTS = 0.42
"""Side of the hat transforms' structuring element: three strokes wide, so a stroke never fills it."""

ORIENTATIONS = 8
"""Directions of the oriented filter bank, 22.5 degrees apart: a second-derivative filter 2.5 times as long as wide
loses under 15 % half-way between two."""

FRANGI_WIDTHS = (0.7, 1.0, 1.5)
"""Scales of the ridge filter as multiples of half the stroke width: thin, usual and heavy strokes."""


def emphasize_dark_strokes(gray: Gray, char_height: float) -> Gray:
    """Black-hat at stroke scale: what is darker than its surroundings and narrower than the element (Serra 1982)."""
    return invert_stretched(cv2.morphologyEx(gray, cv2.MORPH_BLACKHAT, _hat_element(char_height)))


def emphasize_bright_strokes(gray: Gray, char_height: float) -> Gray:
    """Top-hat at stroke scale: what is brighter than its surroundings and narrower than the element (Serra 1982)."""
    return invert_stretched(cv2.morphologyEx(gray, cv2.MORPH_TOPHAT, _hat_element(char_height)))


def filter_oriented_relief(gray: Gray, char_height: float) -> Gray:
    """Strongest answer of a bank of oriented line filters, whichever side of the stroke is lit.

    Second derivatives of an elongated Gaussian (after Freeman and Adelson 1991). Takes the largest absolute answer
    over all directions, so a groove that is dark on one side and bright on the other gives one line, a little wide.
    """
    source = gray.astype(np.float32)
    strongest = np.zeros(source.shape, np.float32)
    for kernel in _line_kernels(STROKE_CHAR_HEIGHTS * char_height / 2):
        answer = cv2.filter2D(source, cv2.CV_32F, kernel, borderType=cv2.BORDER_REPLICATE)
        np.maximum(strongest, np.abs(answer), out=strongest)
    return invert_stretched(strongest)


def filter_ridges(gray: Gray, char_height: float) -> Gray:
    """Ridge measure from the Hessian's eigenvalues (Frangi et al. 1998), dark and bright ridges alike.

    Slow (half a second for one megapixel): a view for looking and for hard cases.
    """
    from skimage.filters import frangi

    half_stroke = STROKE_CHAR_HEIGHTS * char_height / 2
    sigmas = [max(0.7, half_stroke * width) for width in FRANGI_WIDTHS]
    source = gray.astype(np.float32) / 255
    dark = frangi(source, sigmas=sigmas, black_ridges=True)
    bright = frangi(source, sigmas=sigmas, black_ridges=False)
    return invert_stretched(np.maximum(dark, bright))


def invert_stretched(strength: NDArray[np.generic]) -> Gray:
    """Turn a strength (H, W), 0 = no stroke, into uint8 with strong strokes black and the ground white.

    Compressed as s / (s + k) with k at the 95th percentile, so that neither one screw head flattens all the rest nor
    a small strong mark is clipped to the level of the texture around it.
    """
    values = strength.astype(np.float32)
    sample = values[:: max(1, values.shape[0] // 400), :: max(1, values.shape[1] // 400)]
    knee = float(np.percentile(sample, 95)) + 1e-6
    top = float(values.max()) + 1e-6
    scale = 255.0 * (top + knee) / top
    return np.asarray(255.0 - values * scale / (values + knee), np.uint8)


def _hat_element(char_height: float) -> NDArray[np.uint8]:
    side = max(3, round(HAT_CHAR_HEIGHTS * char_height)) | 1
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side)), np.uint8)


def _line_kernels(sigma: float) -> list[NDArray[np.float32]]:
    """Return zero-mean kernels, one a direction; `sigma` is across the line, in pixels."""
    sigma = max(0.8, sigma)
    radius = math.ceil(2.5 * 2.5 * sigma)
    ys, xs = np.mgrid[-radius : radius + 1, -radius : radius + 1].astype(np.float32)
    kernels = []
    for step in range(ORIENTATIONS):
        angle = math.pi * step / ORIENTATIONS
        along = xs * math.cos(angle) + ys * math.sin(angle)
        across = -xs * math.sin(angle) + ys * math.cos(angle)
        envelope = np.exp(-(across**2) / (2 * sigma**2) - along**2 / (2 * (2.5 * sigma) ** 2))
        kernel = (1 - across**2 / sigma**2) * envelope
        kernel -= kernel.mean()
        kernels.append(np.asarray(kernel / np.abs(kernel).sum(), np.float32))
    return kernels

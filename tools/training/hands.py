"""Handwritten and hand-cut figures of our own: center lines of strokes, bent at random and drawn with a pen.

A hand is one random choice of forms (hooked or plain 1, crossed 7, open 4, looped 2, flat-top 3, and so on: forms of
nineteenth-century and later school hands, common practice), a slant, a pen and a steadiness. Each hand gives a few
variants of each figure, so that two equal figures in a string differ as they do on paper.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from tools.renderer.alphabet import curve, ellipse, line

Stroke = NDArray[np.float32]
Mask = NDArray[np.uint8]

FORMS: dict[str, tuple[tuple[Stroke, ...], ...]] = {
    "0": (
        (ellipse(0.28, 0.5, 0.26, 0.5),),
        (
            curve(
                (0.4, 0.06),
                (0.22, 0.02),
                (0.05, 0.3),
                (0.06, 0.75),
                (0.25, 1.0),
                (0.46, 0.8),
                (0.5, 0.4),
                (0.38, 0.06),
                (0.2, 0.1),
            ),
        ),
        (ellipse(0.3, 0.55, 0.3, 0.42, (-70, 265)),),
        (
            curve(
                (0.36, 0.1),
                (0.16, 0.05),
                (0.03, 0.4),
                (0.12, 0.92),
                (0.38, 0.96),
                (0.54, 0.55),
                (0.4, 0.08),
                (0.3, 0.0),
                (0.56, -0.04),
            ),
        ),
    ),
    "1": (
        (line((0.1, 0), (0.1, 1)),),
        (line((0.0, 0.28), (0.2, 0), (0.2, 1)),),
        (line((-0.12, 0.45), (0.2, 0), (0.2, 1)),),
        (curve((0.0, 0.3), (0.12, 0.2), (0.22, 0)), line((0.22, 0), (0.22, 1))),
        (line((0.0, 0.25), (0.2, 0), (0.2, 1)), line((0.02, 1), (0.4, 1))),
        (line((0.15, 0), (0.06, 1)),),
        (curve((0.22, 0.0), (0.2, 0.5), (0.18, 0.9), (0.3, 1.0)),),
    ),
    "2": (
        (
            curve((0.04, 0.26), (0.12, 0.06), (0.3, 0), (0.48, 0.1), (0.5, 0.32), (0.34, 0.62), (0.02, 1)),
            line((0.02, 1), (0.58, 0.98)),
        ),
        (
            curve(
                (0.05, 0.2),
                (0.22, 0),
                (0.45, 0.08),
                (0.46, 0.36),
                (0.28, 0.7),
                (0.08, 0.98),
                (0.02, 0.88),
                (0.16, 0.82),
                (0.34, 0.98),
                (0.58, 0.94),
            ),
        ),
        (
            curve(
                (0.08, 0.3),
                (0.02, 0.16),
                (0.2, 0.0),
                (0.42, 0.1),
                (0.42, 0.4),
                (0.22, 0.75),
                (0.0, 1.0),
                (0.25, 0.9),
                (0.42, 1.02),
                (0.6, 0.9),
            ),
        ),
        (
            curve((0.0, 0.12), (0.25, 0.0), (0.45, 0.12), (0.38, 0.45), (0.1, 0.96)),
            curve((0.1, 0.96), (0.3, 0.9), (0.55, 1.0)),
        ),
    ),
    "3": (
        (
            curve((0.05, 0.14), (0.25, 0), (0.46, 0.1), (0.44, 0.34), (0.2, 0.46)),
            curve((0.2, 0.46), (0.48, 0.52), (0.54, 0.76), (0.34, 0.98), (0.1, 1), (0.0, 0.88)),
        ),
        (
            line((0.03, 0.02), (0.52, 0.0), (0.22, 0.4)),
            curve((0.22, 0.4), (0.45, 0.42), (0.54, 0.68), (0.4, 0.94), (0.15, 1), (0.0, 0.9)),
        ),
        (
            curve(
                (0.08, 0.1),
                (0.3, 0),
                (0.44, 0.14),
                (0.34, 0.38),
                (0.18, 0.44),
                (0.26, 0.5),
                (0.46, 0.6),
                (0.48, 0.86),
                (0.2, 1.02),
                (-0.02, 0.92),
            ),
        ),
        (
            curve(
                (0.0, 0.2),
                (0.2, 0.0),
                (0.42, 0.12),
                (0.3, 0.42),
                (0.14, 0.5),
                (0.36, 0.46),
                (0.56, 0.66),
                (0.42, 1.1),
                (0.1, 1.2),
                (-0.02, 1.05),
            ),
        ),
    ),
    "4": (
        (line((0.44, 1), (0.44, 0), (0.0, 0.66), (0.62, 0.66)),),
        (line((0.14, 0), (0.03, 0.6), (0.6, 0.58)), line((0.45, 0.3), (0.42, 1))),
        (curve((0.1, 0.0), (0.02, 0.45), (0.14, 0.56), (0.42, 0.5), (0.58, 0.46)), line((0.48, 0.05), (0.38, 1.02))),
        (line((0.2, 0), (0.0, 0.56), (0.6, 0.56)), line((0.5, 0.0), (0.36, 1.1))),
        (line((0.08, 0.05), (0.08, 0.52), (0.5, 0.52)), line((0.5, 0.0), (0.5, 1))),
    ),
    "5": (
        (
            line((0.52, 0), (0.14, 0), (0.08, 0.42)),
            curve((0.08, 0.42), (0.3, 0.36), (0.54, 0.56), (0.5, 0.86), (0.25, 1), (0.0, 0.9)),
        ),
        (
            curve((0.14, 0.06), (0.12, 0.4), (0.3, 0.36), (0.5, 0.55), (0.46, 0.86), (0.22, 1.0), (0.0, 0.92)),
            line((0.14, 0.04), (0.56, 0.0)),
        ),
        (
            curve(
                (0.58, -0.02),
                (0.4, 0.06),
                (0.2, 0.04),
                (0.1, 0.44),
                (0.34, 0.4),
                (0.48, 0.66),
                (0.34, 0.96),
                (0.08, 1.02),
                (-0.04, 0.9),
            ),
        ),
        (
            curve((0.12, 0.1), (0.08, 0.42), (0.36, 0.46), (0.46, 0.74), (0.26, 1.1), (-0.04, 1.12)),
            line((0.16, 0.1), (0.6, 0.02)),
        ),
    ),
    "6": (
        (
            curve(
                (0.46, 0.02),
                (0.2, 0.16),
                (0.04, 0.55),
                (0.08, 0.88),
                (0.3, 1),
                (0.5, 0.84),
                (0.46, 0.58),
                (0.26, 0.52),
                (0.07, 0.7),
            ),
        ),
        (
            curve(
                (0.36, -0.06),
                (0.12, 0.3),
                (0.04, 0.7),
                (0.16, 0.98),
                (0.4, 0.94),
                (0.46, 0.66),
                (0.28, 0.54),
                (0.1, 0.7),
            ),
        ),
        (curve((0.3, 0.0), (0.06, 0.45), (0.05, 0.85), (0.26, 1.0), (0.44, 0.84), (0.36, 0.6), (0.12, 0.66)),),
        (
            curve(
                (0.52, 0.04), (0.3, 0.0), (0.06, 0.4), (0.05, 0.85), (0.3, 1.0), (0.5, 0.76), (0.32, 0.52), (0.08, 0.66)
            ),
        ),
    ),
    "7": (
        (line((0.02, 0.02), (0.54, 0), (0.2, 1)),),
        (line((0.02, 0.02), (0.54, 0), (0.2, 1)), line((0.12, 0.5), (0.5, 0.48))),
        (curve((0.02, 0.14), (0.06, 0.0), (0.24, 0.06), (0.5, 0.0)), curve((0.5, 0.0), (0.34, 0.4), (0.2, 1))),
        (
            curve((0.0, 0.2), (0.05, 0.02), (0.28, 0.08), (0.54, 0.0), (0.36, 0.4), (0.22, 1.02)),
            line((0.1, 0.52), (0.52, 0.46)),
        ),
        (line((0.0, 0.3), (0.06, 0.02), (0.52, 0.0)), curve((0.52, 0.0), (0.36, 0.5), (0.28, 1.15))),
        (line((0.05, 0.0), (0.5, 0.05)), curve((0.5, 0.05), (0.42, 0.4), (0.3, 0.7), (0.16, 1.0))),
    ),
    "8": (
        (ellipse(0.27, 0.24, 0.22, 0.24), ellipse(0.27, 0.74, 0.27, 0.26)),
        (
            curve(
                (0.46, 0.12),
                (0.26, 0),
                (0.06, 0.16),
                (0.2, 0.42),
                (0.48, 0.66),
                (0.42, 0.96),
                (0.14, 0.98),
                (0.06, 0.72),
                (0.3, 0.44),
                (0.46, 0.22),
                (0.42, 0.06),
            ),
        ),
        (
            curve(
                (0.5, 0.08),
                (0.24, -0.02),
                (0.06, 0.2),
                (0.3, 0.46),
                (0.44, 0.74),
                (0.24, 1.0),
                (0.02, 0.84),
                (0.18, 0.52),
                (0.52, 0.02),
            ),
        ),
        (
            curve(
                (0.4, 0.2),
                (0.26, 0.02),
                (0.08, 0.12),
                (0.14, 0.36),
                (0.44, 0.6),
                (0.5, 0.88),
                (0.22, 1.04),
                (0.02, 0.84),
                (0.2, 0.5),
                (0.44, 0.3),
                (0.38, 0.12),
            ),
        ),
    ),
    "9": (
        (
            curve((0.46, 0.2), (0.28, 0), (0.06, 0.12), (0.06, 0.42), (0.28, 0.5), (0.46, 0.28), (0.48, 0.2)),
            curve((0.48, 0.12), (0.46, 0.6), (0.3, 1)),
        ),
        (
            curve(
                (0.48, 0.14),
                (0.26, -0.02),
                (0.04, 0.2),
                (0.12, 0.48),
                (0.36, 0.44),
                (0.5, 0.1),
                (0.46, 0.5),
                (0.38, 1.1),
            ),
        ),
        (curve((0.44, 0.08), (0.2, 0.02), (0.04, 0.28), (0.2, 0.48), (0.44, 0.3)), line((0.5, 0.0), (0.4, 1.0))),
        (
            curve(
                (0.5, 0.3),
                (0.34, 0.5),
                (0.08, 0.44),
                (0.06, 0.12),
                (0.3, 0),
                (0.5, 0.16),
                (0.52, 0.55),
                (0.36, 0.94),
                (0.1, 1.0),
                (0.02, 0.88),
            ),
        ),
        (
            curve(
                (0.42, 0.1), (0.14, 0.06), (0.08, 0.4), (0.34, 0.42), (0.48, 0.1), (0.46, 0.7), (0.3, 1.2), (0.04, 1.14)
            ),
        ),
    ),
    ".": ((line((0.05, 0.97), (0.06, 0.98)),), (line((0.04, 0.96), (0.02, 1.04)),)),
    "-": ((line((0.0, 0.54), (0.36, 0.52)),), (curve((0.0, 0.56), (0.16, 0.5), (0.5, 0.54)),)),
    "/": ((line((0.4, -0.04), (0.0, 1.06)),),),
}
"""Forms of each figure: strokes in a box one unit high, base line at y = 1."""


class Hand:
    """One writer: chosen forms and habits."""

    def __init__(self, rng: np.random.Generator) -> None:
        self._rng = rng
        self._form = {figure: int(rng.integers(len(forms))) for figure, forms in FORMS.items()}
        self._bend = float(rng.uniform(0.01, 0.055))
        self._slant = float(rng.normal(0.15, 0.18))
        self._wide = float(rng.uniform(0.75, 1.35))
        self._weight = float(rng.choice([rng.uniform(0.045, 0.08), rng.uniform(0.07, 0.14)]))
        self._nib = float(rng.uniform(0, 0.7)) if rng.random() < 0.5 else 0.0
        self._nib_angle = float(rng.uniform(-1.2, -0.4))

    def draw(self, figure: str, cell: int, unit: float) -> Mask:
        """Return one (cell, cell) uint8 mask, 255 inside strokes; the figure is `unit` pixels high."""
        forms = FORMS[figure]
        form = self._form[figure] if self._rng.random() < 0.85 else int(self._rng.integers(len(forms)))
        strokes = self._bent(forms[form], figure)
        low, high = np.vstack(strokes).min(0), np.vstack(strokes).max(0)
        shift = np.array([cell / 2 - unit * (low[0] + high[0]) / 2, (cell - unit) / 2])
        mask = np.zeros((cell, cell), np.uint8)
        for stroke in strokes:
            self._pen(mask, stroke * unit + shift, unit)
        return mask

    def _bent(self, strokes: tuple[Stroke, ...], figure: str) -> list[Stroke]:
        """Bend strokes by a smooth random field of a few waves, then slant and widen them."""
        rng = self._rng
        bend = self._bend * (0.4 if figure in ".-/" else 1.0)
        waves = rng.normal(0, bend, (4, 2))
        turns, phases = rng.uniform(1.0, 5.0, (4, 2)), rng.uniform(0, 2 * np.pi, 4)
        scale = rng.normal(1, 0.06, 2)
        out = []
        for stroke in strokes:
            field = sum(np.sin(stroke @ turns[k] + phases[k])[:, None] * waves[k] for k in range(4))
            p = (stroke + field) * scale + rng.normal(0, bend * 0.25, 2)
            p[:, 0] = p[:, 0] * self._wide + (0.5 - p[:, 1]) * self._slant
            out.append(p.astype(np.float32))
        return out

    def _pen(self, mask: Mask, path: Stroke, unit: float) -> None:
        """Draw a path with a pen whose width depends on direction (a broad nib) and pressure."""
        weight = self._weight * unit
        press = 1 + 0.2 * np.sin(np.linspace(0, self._rng.uniform(1, 6), len(path)) + self._rng.uniform(0, 6))
        for k in range(len(path) - 1):
            a, b = path[k], path[k + 1]
            angle = np.arctan2(b[1] - a[1], b[0] - a[0])
            width = weight * press[k] * (1 - self._nib + self._nib * abs(np.sin(angle - self._nib_angle)) * 1.4)
            ends = [tuple(round(float(v) * 16) for v in q) for q in (a, b)]
            cv2.line(mask, ends[0], ends[1], 255, max(2, round(float(width))), cv2.LINE_AA, 4)

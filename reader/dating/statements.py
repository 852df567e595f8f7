"""What a break point's statement says of dates: 'built in 1873', 'about 1881', 'the first number of 1885'.

Takes a break point (series.py), gives its likelihood over dates; production.py solves all points of a series together.
The model's fitted numbers stand here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from reader.dating.series import Basis, BreakPoint, YearKind

Floats = NDArray[np.float64]

STEP_YEARS = 0.5
"""Grid of the break points' dates, in years."""

SHIP_YEARS, SOLD_YEARS, ENTRY_YEARS = 0.5, 1.0, 0.5
"""Mean years from building to shipping, from building to sale, and from the entry in the works' book to building; each
falls off exponentially. Common practice: a finished piano stands for months, at times two years, before it is sold."""

KERNEL_YEARS = 10
"""How far a year's kind and the order of the instruments reach, in years; less than MARGIN_YEARS."""

SLIP_YEARS = 8.0
"""Scale in years of a statement that is quite wrong (Laplace)."""


@dataclass(frozen=True)
class Shape:
    """The model's four numbers; see the module's text. `about` is the scale in years of 'about 1880' (Laplace)."""

    pace: float = 5.0
    growth: float = 0.5
    order: float = 0.6
    slip: float = 0.03
    about: float = 2.0


FITTED = Shape()
"""Chosen by leaving out one published number at a time, on the cautious side; see README.md."""


def as_seen(point: BreakPoint) -> BreakPoint:
    """Return what a works' list's first or last number of a year says of that instrument: it is of that year."""
    return replace(point, basis=Basis.SEEN)


def statement(point: BreakPoint, dates: Floats, shape: Shape) -> Floats:
    """Return the likelihood of a break point's statement for each date that the series may have reached it, (D,).

    `dates` are the middles of even steps. A number seen with a year was made on any day of it; the first number of a
    year was reached at its start, the last one at its end. The year's kind moves that: see SHIP_YEARS, and Shape.about.
    Numbers of single instruments are out of order by Shape.order. Scaled so that the largest value is 1.
    """
    low, high = float(point.year_from or point.year), float(point.year_to or point.year) + 1.0
    if point.basis is Basis.FIRST_OF_YEAR:
        low = high = float(point.year)
    elif point.basis is Basis.LAST_OF_YEAR:
        low = high = point.year + 1.0
    step = float(dates[1] - dates[0])
    middle, reach = (low + high) / 2, max((high - low) / 2, step / 2)
    told = np.clip(reach + step / 2 - np.abs(dates - middle), 0.0, min(step, 2 * reach))
    for kernel in _kind_kernels(point, shape, step):
        told = np.convolve(told, kernel, mode="same")
    slip = shape.slip if point.basis is Basis.SEEN else shape.slip / 100
    astray = np.exp(-np.abs(dates - middle) / SLIP_YEARS)
    total = (1.0 - slip) * told / told.sum() + slip * astray / astray.sum()
    return np.asarray(total / total.max())


def _kind_kernels(point: BreakPoint, shape: Shape, step: float) -> list[Floats]:
    """Return what the statement's dates are spread by, each in even steps over KERNEL_YEARS either way."""
    reach = round(KERNEL_YEARS / step)
    away = step * np.arange(-reach, reach + 1)
    kernels = []
    if point.year_kind is YearKind.SHIPPED:
        kernels.append(_wait(SHIP_YEARS, step, reach)[::-1])
    if point.year_kind is YearKind.SOLD:
        kernels.append(_wait(SOLD_YEARS, step, reach)[::-1])
    if point.year_kind is YearKind.REGISTERED:
        kernels.append(_wait(ENTRY_YEARS, step, reach))
    if point.year_kind is YearKind.APPROX and point.year_from is None:
        kernels.append(np.exp(-np.abs(away) / shape.about))
    if point.basis is Basis.SEEN and shape.order > 0:
        kernels.append(np.exp(-np.abs(away) / shape.order))
    return [kernel / kernel.sum() for kernel in kernels]


def _wait(mean: float, step: float, reach: int) -> Floats:
    """Return an exponential waiting time on even steps from -reach to reach, each wait shared between its two steps.

    So the mean is kept: with a = step / mean, step 0 has 1 - (1 - exp(-a)) / a, step k has
    exp(-a (k - 1)) (1 - exp(-a))^2 / a.
    """
    a = step / mean
    late = np.exp(-a * np.arange(reach)) * (1 - math.exp(-a)) ** 2 / a
    return np.concatenate([np.zeros(reach), [1 - (1 - math.exp(-a)) / a], late])

"""A maker's production record as a probability for each year that number N of a series was made in.

Takes the break points of one series (series.py); weigh.py multiplies in what else is known.

The model. Numbers rise with time, so the date T(N) at which a series reached N is a rising curve through its break
points. Three things are unknown, and each is carried as a probability:

1. The date at each break point. A statement ('built in 1873', 'shipped', 'about', 'first number of the year') gives a
   likelihood over dates on a grid of STEP_YEARS (statements.py). The dates may only rise with the numbers. All points
   together are solved exactly by the forward-backward recursion of a hidden Markov chain whose state is the date
   (Rabiner 1989, "A tutorial on hidden Markov models", Proc. IEEE 77), every rising step equally likely before the
   statements are heard. A share `slip` of the statements may be quite wrong, so points that contradict each other
   widen the curve and break nothing.
2. The way from one point to the next. Between dates a and b, at the share u of the numbers, T = a + (b - a) B with
   B ~ Beta(c u, c (1 - u)): the Dirichlet process (Ferguson 1973, "A Bayesian analysis of some nonparametric problems",
   Ann. Statist. 1) with even production as its mean. Its mean is the straight line, its standard deviation
   (b - a) sqrt(u (1 - u) / (c + 1)): none at a point, widest halfway. The concentration is c = pace (b - a)^growth.
3. The order of the instruments. They left the works out of order, by a Laplace distribution of scale `order` years.

The model's numbers (statements.Shape) are FITTED to published pairs of number and year; the README says how, and what
was held out. Beyond the first and last point nothing is said, save within one step: the numbers that the nearest gap
made in one year.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from reader.dating.series import Basis, BreakPoint, Series
from reader.dating.statements import FITTED, KERNEL_YEARS, STEP_YEARS, Floats, Shape, as_seen, statement

CELL_YEARS = 0.25
"""Grid of the dates between them, in years."""

MARGIN_YEARS = 12
"""How far the grid reaches before the first and after the last stated year."""

NODES = 25
"""Places between two break points that are worked out, more closely near the points; a number takes the nearest."""

QUANTILES = 48
"""Points that stand for one Beta distribution, each with the same weight."""

DATES_MAX = 12
"""Most dates of one break point that go into the curves between two; a wider spread is taken in wider steps."""

PRUNE = 0.003
"""A date at a break point with less than this share of the likeliest one's probability is left out."""


class Reach(Enum):
    """Where a number lies in a series."""

    POINT = "the number of a break point"
    INSIDE = "between two break points"
    STEP = "within one step beyond the ends"
    OUTSIDE = "outside"


class Production:
    """The curve of one series, worked out gap by gap as numbers ask for it.

    `years` is (Y,) int64. `first_year` and `last_year` are the maker's own, where known: no year outside them.
    """

    def __init__(
        self, series: Series, first_year: int | None = None, last_year: int | None = None, shape: Shape = FITTED
    ) -> None:
        self.series, self.shape = series, shape
        self.points, self.serials = series.points, series.serials
        stated = [point.year for point in (*self.points, *series.limits)] or [1800]
        start, end = min(stated) - MARGIN_YEARS, max(stated) + MARGIN_YEARS
        self.years = np.arange(start, end, dtype=np.int64)
        self.allowed = np.ones(len(self.years), bool)
        self.allowed &= self.years >= (first_year or start)
        self.allowed &= self.years <= (last_year or end)
        self._bounds = (first_year, last_year)
        self.dates: Floats = np.asarray(start + STEP_YEARS * np.arange(round((end - start) / STEP_YEARS) + 1), float)
        self._forward, self._backward, self.posterior = self._solve()
        self._gaps: dict[int, Floats] = {}
        self._spans: dict[int, NDArray[np.int64]] = {}
        self.steps = self._find_steps()

    def _solve(self) -> tuple[Floats, Floats, Floats]:
        """Return forward and backward messages and the posterior of every point's date, each (points, dates)."""
        count, states = len(self.points), len(self.dates)
        heard = np.array([statement(point, self.dates, self.shape) for point in self.points]).reshape(count, states)
        forward, backward = heard.copy(), heard.copy()
        for place in range(1, count):
            forward[place] *= np.cumsum(forward[place - 1])
            forward[place] /= forward[place].sum()
        for place in range(count - 2, -1, -1):
            backward[place] *= np.cumsum(backward[place + 1][::-1])[::-1]
            backward[place] /= backward[place].sum()
        posterior = forward * backward / np.maximum(heard, 1e-300)
        return forward, backward, posterior / posterior.sum(axis=1, keepdims=True)

    def _find_steps(self) -> tuple[float, float]:
        """Return how many numbers one step is before the first and after the last point, 0 where there is none.

        There is none with fewer than two points, and none where the point's year is the maker's own first or last.
        """
        if len(self.points) < 2:
            return 0.0, 0.0
        means = self.posterior @ self.dates
        spans = np.maximum(np.diff(means), STEP_YEARS)
        rates = np.diff(self.serials) / spans
        first, last = self._bounds
        below = 0.0 if self.points[0].year == first else min(float(rates[0]), self.serials[0] - 1.0)
        return below, 0.0 if self.points[-1].year == last else float(rates[-1])

    def reach(self, number: int) -> Reach:
        """Say where a number lies."""
        if not len(self.serials):
            return Reach.OUTSIDE
        below, above = self.steps
        if self.serials[0] <= number <= self.serials[-1]:
            return Reach.POINT if number in self.serials else Reach.INSIDE
        near = self.serials[0] - below <= number <= self.serials[-1] + above
        return Reach.STEP if near else Reach.OUTSIDE

    def curve(self, number: int) -> Floats | None:
        """Return the probability of each of `years` for a number, summing to 1, or None outside."""
        reach = self.reach(number)
        if reach is Reach.OUTSIDE:
            return None
        if reach is Reach.POINT:
            return self._own(number)
        gap, node = self._place(np.array([number], np.int64))
        row = self._gap(int(gap[0]))[int(node[0])]
        return row if row.sum() > 0 else None

    def curves(self, numbers: NDArray[np.int64]) -> Floats:
        """Return (N, Y) float64, a row for each number; rows of zeros outside. The rows are those of `curve`."""
        rows = np.zeros((len(numbers), len(self.years)))
        if not len(self.serials):
            return rows
        below, above = self.steps
        inside = (numbers >= self.serials[0] - below) & (numbers <= self.serials[-1] + above)
        gaps, nodes = self._place(numbers)
        for gap in np.unique(gaps[inside]):
            chosen = inside & (gaps == gap)
            rows[chosen] = self._gap(int(gap))[nodes[chosen]]
        for number in set(self.serials.tolist()):
            hit = numbers == number
            if hit.any() and (own := self._own(number)) is not None:
                rows[hit] = own
        return rows

    def spans(self, numbers: NDArray[np.int64], level: float = 0.9) -> NDArray[np.int64]:
        """Return (N, 3) int64: each number's most likely year, and the first and last year that hold it; zeros outside.

        The same as the curves give, worked out once for each node, so that many numbers cost little more than one.
        """
        found = np.zeros((len(numbers), 3), np.int64)
        if not len(self.serials):
            return found
        below, above = self.steps
        inside = (numbers >= self.serials[0] - below) & (numbers <= self.serials[-1] + above)
        gaps, nodes = self._place(numbers)
        for gap in np.unique(gaps[inside]).tolist():
            chosen = inside & (gaps == gap)
            if gap not in self._spans:
                self._spans[gap] = np.array([self._span(row, level) for row in self._gap(gap)])
            found[chosen] = self._spans[gap][nodes[chosen]]
        for number in set(self.serials.tolist()):
            if (own := self._own(number)) is not None:
                found[numbers == number] = self._span(own, level)
        return found

    def _span(self, row: Floats, level: float) -> tuple[int, int, int]:
        if row.sum() <= 0:
            return 0, 0, 0
        first, last = run_of_years(row, level)
        return int(self.years[row.argmax()]), int(self.years[first]), int(self.years[last])

    def neighbors(self, number: int) -> tuple[BreakPoint, ...]:
        """Return the break points that a number's curve rests on: those of that number, or one or two around it."""
        exact = tuple(point for point in self.points if point.serial == number)
        if exact or not self.points:
            return exact
        place = int(np.searchsorted(self.serials, number))
        return self.points[max(place - 1, 0) : place + 1]

    def near_limits(self, number: int) -> tuple[BreakPoint, ...]:
        """Return the one-sided points that bear on a number and lie between the same break points as it."""
        place = int(np.searchsorted(self.serials, number))
        return tuple(
            limit
            for limit in self.series.limits
            if int(np.searchsorted(self.serials, limit.serial)) == place
            and number not in self.serials
            and (number >= limit.serial) == (limit.basis is Basis.NOT_BEFORE)
        )

    def _place(self, numbers: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Return the gap and the node of each number. Gap -1 lies before the first point, the last one after it."""
        gaps = np.searchsorted(self.serials, numbers, side="right") - 1
        below, above = self.steps
        starts = np.concatenate([[self.serials[0] - max(below, 1.0)], self.serials]).astype(float)
        ends = np.concatenate([self.serials, [self.serials[-1] + max(above, 1.0)]]).astype(float)
        share = np.clip((numbers - starts[gaps + 1]) / np.maximum(ends[gaps + 1] - starts[gaps + 1], 1.0), 0.0, 1.0)
        nodes = np.rint(np.arcsin(np.sqrt(share)) / (math.pi / 2) * (NODES - 1)).astype(np.int64)
        return gaps.astype(np.int64), nodes

    def _gap(self, gap: int) -> Floats:
        """Return the curves at the nodes of one gap, (NODES, Y)."""
        if gap not in self._gaps:
            dates, weights = self._outer(gap) if gap in (-1, len(self.points) - 1) else self._inner(gap)
            self._gaps[gap] = self._to_years(dates, weights, self._node_numbers(gap))
        return self._gaps[gap]

    def _inner(self, gap: int) -> tuple[Floats, Floats]:
        """Return dates (NODES, P) and their weights (P,) between two points."""
        early, early_weights = self._merged(gap, self._forward[gap])
        late, late_weights = self._merged(gap + 1, self._backward[gap + 1])
        first, last = np.meshgrid(early, late, indexing="ij")
        weights = np.outer(early_weights, late_weights)
        rising = (last >= first) & (weights > 0)
        weights, first, span = weights[rising], first[rising], (last - first)[rising]
        kept = weights > PRUNE * weights.max()
        weights, first, span = weights[kept], first[kept], span[kept]
        concentration = self.shape.pace * np.maximum(span, STEP_YEARS) ** self.shape.growth
        shares = _beta_quantiles()[:, _nearest_concentration(concentration), :]  # (NODES, pairs, QUANTILES)
        dates = first[None, :, None] + span[None, :, None] * shares
        return dates.reshape(NODES, -1), np.repeat(weights, QUANTILES) / QUANTILES

    def _outer(self, gap: int) -> tuple[Floats, Floats]:
        """Return dates (NODES, P) and weights (P,) within one step of an end: waiting times, exponential of mean u."""
        end = 0 if gap == -1 else gap
        ends, weights = self._merged(end, self.posterior[end])
        levels = (np.arange(QUANTILES) + 0.5) / QUANTILES
        share = _node_shares()
        distance = (1.0 - share) if gap == -1 else share
        waits = -np.log1p(-levels)[None, :] * distance[:, None]
        sign = -1.0 if gap == -1 else 1.0
        dates = ends[None, :, None] + sign * waits[:, None, :]
        return dates.reshape(NODES, -1), np.repeat(weights, QUANTILES) / QUANTILES

    def _merged(self, place: int, weights: Floats) -> tuple[Floats, Floats]:
        """Return the dates that a point may have and their weights, neighbors merged where there are over DATES_MAX."""
        own = self.posterior[place]
        kept = np.flatnonzero(own > PRUNE * own.max())
        group = np.arange(len(kept)) // -(-len(kept) // DATES_MAX)
        summed: Floats = np.zeros(int(group[-1]) + 1)
        means = summed.copy()
        np.add.at(summed, group, weights[kept])
        np.add.at(means, group, weights[kept] * self.dates[kept])
        return means / np.maximum(summed, 1e-300), summed

    def _node_numbers(self, gap: int) -> Floats:
        below, above = self.steps
        start = self.serials[0] - below if gap == -1 else float(self.serials[gap])
        end = self.serials[-1] + above if gap == len(self.points) - 1 else float(self.serials[gap + 1])
        return np.asarray(start + (end - start) * _node_shares())

    def _to_years(self, dates: Floats, weights: Floats, numbers: Floats) -> Floats:
        """Sum weighted dates into years, after the out-of-order spread, inside the maker's years and the limits."""
        start, cells = int(self.years[0]), round(len(self.years) / CELL_YEARS)
        place = np.clip(((dates - start) / CELL_YEARS).astype(np.int64), 0, cells - 1)
        place += np.arange(len(dates))[:, None] * cells
        flat = np.bincount(place.ravel(), np.tile(weights, len(dates)), len(dates) * cells)
        kernel = _laplace_kernel(self.shape.order)
        spread = np.array([np.convolve(row, kernel, mode="same") for row in flat.reshape(len(dates), cells)])
        rows = spread.reshape(len(dates), len(self.years), -1).sum(axis=2)
        rows *= self.allowed
        for limit in self.series.limits:
            rows *= self._limit(limit, numbers)
        total = rows.sum(axis=1, keepdims=True)
        return np.asarray(np.divide(rows, total, out=np.zeros_like(rows), where=total > 0))

    def _limit(self, limit: BreakPoint, numbers: Floats) -> Floats:
        """Return a factor (NODES, Y) for a one-sided statement: `slip` where it forbids the year, else 1."""
        if limit.basis is Basis.NOT_BEFORE:
            forbidden = (numbers >= limit.serial)[:, None] & (self.years < limit.year)[None, :]
        else:
            forbidden = (numbers <= limit.serial)[:, None] & (self.years > limit.year)[None, :]
        return np.where(forbidden, self.shape.slip, 1.0)

    def _own(self, number: int) -> Floats | None:
        """Return the curve of a number that a source itself names: its own statements, against the other points'.

        None where no break point has the number.
        """
        places = [place for place, point in enumerate(self.points) if point.serial == number]
        if not places:
            return None
        exact = Shape(order=0.0, slip=self.shape.slip, about=self.shape.about)
        cells = np.arange(round(len(self.years) / CELL_YEARS))
        middles: Floats = np.asarray(self.years[0] + CELL_YEARS * (cells + 0.5), float)
        own = np.mean([statement(as_seen(self.points[place]), middles, exact) for place in places], axis=0)
        heard = statement(self.points[places[0]], self.dates, self.shape)
        others = self.posterior[places[0]] / np.maximum(heard, 1e-9)
        own *= np.interp(middles, self.dates, np.maximum(others, 1e-6 * others.max()))
        row = own.reshape(len(self.years), -1).sum(axis=1) * self.allowed
        return row / row.sum() if row.sum() > 0 else None


@functools.cache
def _laplace_kernel(scale: float) -> Floats:
    """Return a Laplace distribution over cells, KERNEL_YEARS either way."""
    reach = round(KERNEL_YEARS / CELL_YEARS)
    away = CELL_YEARS * np.arange(-reach, reach + 1)
    kernel = np.exp(-np.abs(away) / scale)
    return np.asarray(kernel / kernel.sum())


def _node_shares() -> Floats:
    """Return the share u of each node: sin^2 of even steps, so that nodes crowd at both ends."""
    return np.asarray(np.sin(np.linspace(0.0, math.pi / 2, NODES)) ** 2)


ODDS_MAX = 30.0
"""Log-odds beyond which a share is 0 or 1: 1e-13 of the way."""

_CONCENTRATIONS = np.geomspace(0.5, 200.0, 25)
"""The concentrations c for which Beta distributions are worked out; the nearest is taken."""


def _nearest_concentration(wanted: Floats) -> NDArray[np.intp]:
    edges = np.sqrt(_CONCENTRATIONS[1:] * _CONCENTRATIONS[:-1])
    return np.searchsorted(edges, wanted)


@functools.cache
def _beta_quantiles() -> Floats:
    """Return quantiles of Beta(c u, c (1 - u)), (NODES, concentrations, QUANTILES), at even levels.

    By summing the density over the log-odds x of B, where it has no poles: p(x) ~ exp(c u x) / (1 + exp(x))^c. Beyond
    ODDS_MAX, where B is 0 or 1, the density is an exponential, whose integral is added.
    """
    shares, levels = _node_shares(), (np.arange(QUANTILES) + 0.5) / QUANTILES
    table = np.empty((NODES, len(_CONCENTRATIONS), QUANTILES))
    table[0], table[-1] = 0.0, 1.0
    for node, u in enumerate(shares[1:-1], start=1):
        for place, c in enumerate(_CONCENTRATIONS):
            middle, spread = math.log(u / (1 - u)), 1 / math.sqrt(c * u * (1 - u))
            low = max(middle - 10 * (spread + 1 / (c * u)), -ODDS_MAX)
            high = min(middle + 10 * (spread + 1 / (c * (1 - u))), ODDS_MAX)
            odds, step = np.linspace(low, high, 401, retstep=True)
            log = c * (u * odds - np.logaddexp(0.0, odds))
            density = np.exp(log - log.max())
            below = density[0] / (c * u) + step * (np.cumsum(density) - density / 2)
            total = below[-1] + step * density[-1] / 2 + density[-1] / (c * (1 - u))
            found = np.interp(levels * total, below, odds, left=-np.inf, right=np.inf)
            table[node, place] = 1.0 / (1.0 + np.exp(-found))
    return table


@functools.lru_cache(maxsize=512)
def production_of(series: Series, first_year: int | None, last_year: int | None) -> Production:
    """Return the worked-out curve of a series, kept between calls; a series is compared by identity."""
    return Production(series, first_year, last_year)


def run_of_years(probabilities: Sequence[float] | Floats, level: float) -> tuple[int, int]:
    """Return the first and last place of the shortest run that holds `level`, of equally short ones the fullest.

    `probabilities` is (Y,) summing to about 1. Cost: Y log Y.
    """
    total = np.concatenate([[0.0], np.cumsum(probabilities)])
    total /= total[-1]
    starts = np.arange(len(total) - 1)
    ends = np.searchsorted(total, total[:-1] + level - 1e-9)
    fits = ends < len(total)
    starts, ends = starts[fits], ends[fits]
    held = total[ends] - total[starts]
    best = np.lexsort((-held, ends - starts))[0]
    return int(starts[best]), int(ends[best]) - 1

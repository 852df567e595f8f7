"""Fit and check the production curve on published numbers: `python -m tools.fit_dating [--fit]`.

Every published number of a series with at least three others is left out in turn and dated by the rest. Printed: how
often the 90 % interval held the published year, its mean width, makers apart. With --fit the numbers of
statements.Shape are chosen on a grid by the mean log probability of the published year, once on all makers and once
for each maker on all the others ('held out by maker').
"""

from __future__ import annotations

import argparse
import itertools
import sys
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from reader.dating.production import Production, run_of_years
from reader.dating.series import MakerTable, Series, YearKind
from reader.dating.statements import ENTRY_YEARS, FITTED, SHIP_YEARS, SOLD_YEARS, Floats, Shape
from reader.dating.tables import PUBLISHED_FOLDER, load_tables

NEIGHBORS_MIN = 3
"""Fewest other numbers of the series, as the check of the issue asks for."""

LEVEL = 0.9

GRID = [
    Shape(pace=pace, growth=growth, order=order, slip=slip, about=about)
    for growth, paces in ((0.0, (5, 8, 14, 22)), (0.5, (3, 5, 8, 12)), (1.0, (1, 2, 3, 5)))
    for pace, order, slip, about in itertools.product(paces, (0.25, 0.5, 0.8, 1.2), (0.01, 0.03), (1.5, 2.0, 2.5))
]

UNLIKELY = 0.01
"""Share of every prediction that is spread evenly, so that one wild year does not decide the fit."""


@dataclass(frozen=True)
class LeftOut:
    """One published number, dated without itself: None where it then lay outside the known numbers."""

    maker: str
    series: str
    serial: int
    year: int
    interval: tuple[int, int] | None
    log_probability: float = 0.0

    @property
    def held(self) -> bool:
        """Whether the interval holds the published year."""
        return self.interval is not None and self.interval[0] <= self.year <= self.interval[1]


def leave_one_out(tables: Sequence[MakerTable], shape: Shape = FITTED) -> list[LeftOut]:
    """Leave out and date every number of every series that has NEIGHBORS_MIN others."""
    found = []
    for table in tables:
        for series in table.series:
            points = series.points
            if len(points) <= NEIGHBORS_MIN:
                continue
            for place, point in enumerate(points):
                rest = sorted((*points[:place], *points[place + 1 :], *series.limits), key=lambda other: other.serial)
                production = Production(Series.from_points(series.name, rest), table.first_year, table.last_year, shape)
                curve = None if any(p.serial == point.serial for p in rest) else production.curve(point.serial)
                interval, log = None, 0.0
                if curve is not None:
                    first, last = run_of_years(curve, LEVEL)
                    interval = int(production.years[first]), int(production.years[last])
                    log = _log_probability(curve, point.year - int(production.years[0]), point.year_kind)
                found.append(LeftOut(table.maker.name, series.name, point.serial, point.year, interval, log))
    return found


def _log_probability(curve: Floats, place: int, kind: YearKind) -> float:
    """Return the log probability of a published year of a kind under a curve of building."""
    away = np.arange(-12, 13)
    kernel = {
        YearKind.BUILT: np.where(away == 0, 1.0, 0.0),
        YearKind.SHIPPED: np.where(away >= 0, np.exp(-away / SHIP_YEARS), 0.0),
        YearKind.SOLD: np.where(away >= 0, np.exp(-away / SOLD_YEARS), 0.0),
        YearKind.REGISTERED: np.where(away <= 0, np.exp(away / ENTRY_YEARS), 0.0),
        YearKind.APPROX: np.exp(-np.abs(away) / 2.0),
    }[kind]
    told = np.convolve(curve, kernel / kernel.sum(), mode="same")
    inside = told[place] if 0 <= place < len(told) else 0.0
    return float(np.log((1 - UNLIKELY) * inside + UNLIKELY / len(told)))


def summarize(rows: Sequence[LeftOut]) -> tuple[int, int, float, float]:
    """Return the number of rows, of dated rows, the share of these that held, and the mean width in years."""
    dated = [row for row in rows if row.interval is not None]
    widths = [row.interval[1] - row.interval[0] + 1 for row in dated if row.interval]
    share = float(np.mean([row.held for row in dated])) if dated else 0.0
    return len(rows), len(dated), share, float(np.mean(widths)) if widths else 0.0


def _print(name: str, rows: Sequence[LeftOut]) -> None:
    count, dated, share, width = summarize(rows)
    print(f"| {name} | {count} | {dated} | {share:.2f} | {width:.1f} |")


def main() -> None:
    """Print the check; with --fit also what the grid chooses."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--fit", action="store_true", help="choose the numbers anew on a grid (minutes)")
    options = parser.parse_args()
    tables = list(load_tables(PUBLISHED_FOLDER).makers.values())
    rows = leave_one_out(tables)
    makers = list(dict.fromkeys(row.maker for row in rows))
    print(f"{FITTED}\n| maker | left out | inside the rest | 90 % interval held | mean width, years |")
    print("|---|---|---|---|---|")
    for maker in makers:
        _print(maker, [row for row in rows if row.maker == maker])
    _print("all", rows)
    if not options.fit:
        return
    tried = {}
    for number, shape in enumerate(GRID, start=1):
        tried[shape] = leave_one_out(tables, shape)
        print(f"{number} of {len(GRID)}", end="\r", file=sys.stderr)

    def best(without: str | None) -> Shape:
        def mean(shape: Shape) -> float:
            return float(np.mean([r.log_probability for r in tried[shape] if r.interval and r.maker != without]))

        return max(tried, key=mean)

    print(f"\nfitted on all: {best(None)}, {summarize(tried[best(None)])}")
    held_out = []
    for maker in makers:
        own = [row for row in tried[best(maker)] if row.maker == maker]
        held_out += own
        print(f"without {maker}: {best(maker)}")
        _print(maker, own)
    _print("held out by maker", held_out)


if __name__ == "__main__":
    main()

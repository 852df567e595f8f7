"""Series of break points: bounds, limits, and what becomes of sources that contradict one another."""

from __future__ import annotations

import math

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from reader.dating.series import LIMITS, WORKS_LIST, Basis, BreakPoint, Series, YearKind


def point(serial: int, year: int, kind: str = "built", basis: str = "seen", **more: int) -> BreakPoint:
    return BreakPoint(serial, year, YearKind(kind), Basis(basis), "a source", "yes", **more)  # type: ignore[arg-type]


def bounds(*points: BreakPoint) -> list[tuple[float, float]]:
    return [(p.date - p.margins[0], p.date + p.margins[1]) for p in points]


def test_a_point_alone_has_the_bounds_of_its_year() -> None:
    assert bounds(point(100, 1880)) == [(1880.0, 1881.0)]
    assert bounds(point(100, 1880, "shipped")) == [(1879.0, 1881.0)]
    assert bounds(point(100, 1880, "sold")) == [(1877.0, 1881.0)]
    assert bounds(point(100, 1880, "registered")) == [(1880.0, 1882.0)]
    assert bounds(point(100, 1880, "approx")) == [(1878.0, 1883.0)]


def test_a_span_of_the_source_takes_the_place_of_about() -> None:
    assert bounds(point(100, 1835, "approx", year_from=1830, year_to=1840)) == [(1830.0, 1841.0)]
    assert bounds(point(100, 1871, "approx", year_to=1872)) == [(1871.0, 1873.0)]
    assert bounds(point(100, 1880, "sold", year_from=1879)) == [(1876.0, 1881.0)]


def test_limits_are_open_on_one_side_and_are_no_points() -> None:
    series = Series.from_points(
        "all",
        [point(10, 1800, "approx"), point(20, 1801, basis="not-before"), point(30, 1802, "approx"),
         point(40, 1803, basis="not-after"), point(50, 1804, "approx")],
    )  # fmt: skip
    assert [p.serial for p in series.points] == [10, 30, 50] == series.serials.tolist()
    assert [p.serial for p in series.limits] == [20, 40]
    assert [p.margins[0] for p in series.limits] == [0.0, math.inf]
    assert [p.margins[1] for p in series.limits] == [math.inf, 0.0]


def test_a_series_of_limits_only_has_no_points() -> None:
    series = Series.from_points("all", [point(20, 1801, basis="not-before")])
    assert series.points == ()
    assert len(series.serials) == 0
    assert series.sparse


def test_sightings_that_contradict_each_other_are_kept_and_named() -> None:
    low, high = point(100, 1850), point(200, 1846)
    series = Series.from_points("all", [low, high])
    assert series.points == (low, high)
    assert series.contradicting == ((low, high),)


def test_years_that_just_touch_backwards_contradict_and_equal_or_rising_ones_do_not() -> None:
    low, high = point(100, 1847), point(200, 1846)
    assert Series.from_points("all", [low, high]).contradicting == ((low, high),)
    for year in (1847, 1848):
        assert Series.from_points("all", [low, point(200, year)]).contradicting == ()


def test_a_works_list_contradicts_a_sighting_and_never_itself() -> None:
    first, seen, last = (
        point(100, 1880, basis="first-of-year"),
        point(150, 1870),
        point(200, 1884, basis="last-of-year"),
    )
    series = Series.from_points("all", [first, seen, last])
    assert series.contradicting == ((first, seen),)
    assert not series.sparse


POINTS = st.lists(
    st.builds(
        point,
        st.just(0),
        st.integers(1780, 1960),
        st.sampled_from([kind.value for kind in YearKind]),
        st.sampled_from([basis.value for basis in Basis if basis not in WORKS_LIST]),
    ),
    min_size=1,
    max_size=12,
)


@given(POINTS)
def test_any_sightings_make_a_series_and_only_what_excludes_one_another_contradicts(drawn: list[BreakPoint]) -> None:
    points = [BreakPoint(n * 10 + 1, p.year, p.year_kind, p.basis, p.source, p.found) for n, p in enumerate(drawn)]
    series = Series.from_points("all", points)
    assert len(series.points) + len(series.limits) == len(points)
    assert all(p.basis in LIMITS for p in series.limits)
    place = {p: n for n, p in enumerate(points)}
    for low, high in series.contradicting:
        assert place[low] < place[high]
        assert high.date + high.margins[1] - (low.date - low.margins[0]) < 1
    if not series.contradicting:
        starts = np.maximum.accumulate([p.date - p.margins[0] for p in points])
        assert all(p.date + p.margins[1] - start > 0.99 for p, start in zip(points[1:], starts, strict=False))

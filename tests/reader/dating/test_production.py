"""The production curve: exact small cases, properties, contradictions, ends, speed."""

from __future__ import annotations

import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from reader.dating.production import (
    _CONCENTRATIONS,
    NODES,
    QUANTILES,
    Production,
    Reach,
    _beta_quantiles,
    _node_shares,
    run_of_years,
)
from reader.dating.series import Basis, Series, YearKind
from reader.dating.statements import ENTRY_YEARS, FITTED, SHIP_YEARS, SOLD_YEARS, STEP_YEARS, Shape, statement
from tests.reader.dating.made import make_point, make_series

FIRST, LAST = Basis.FIRST_OF_YEAR, Basis.LAST_OF_YEAR
EVEN = make_series((1000, 1860, FIRST), (2000, 1870, FIRST), (3000, 1880, FIRST))


@st.composite
def any_series(draw: st.DrawFn) -> Series:
    """Points with rising numbers and any years: they may contradict each other."""
    serials = sorted(draw(st.lists(st.integers(1, 999_999), min_size=1, max_size=9, unique=True)))
    kinds = st.sampled_from(list(YearKind))
    return make_series(*((n, draw(st.integers(1780, 1950)), Basis.SEEN, draw(kinds)) for n in serials))


def spans(production: Production, *numbers: int) -> list[tuple[int, int, int]]:
    return [tuple(row) for row in production.spans(np.array(numbers, np.int64)).tolist()]


# The parts against a library


@pytest.mark.parametrize("place", [0, 8, 16, 24])
def test_the_beta_quantiles_are_those_of_scipy(place: int) -> None:
    """A quantile agrees where its share of the distribution does: near 0 and 1 values themselves are tiny."""
    c, levels = _CONCENTRATIONS[place], (np.arange(QUANTILES) + 0.5) / QUANTILES
    for node in range(1, NODES - 1):
        u = _node_shares()[node]
        beta = stats.beta(c * u, c * (1 - u))
        ours = _beta_quantiles()[node, place]
        assert np.all((np.abs(beta.cdf(ours) - levels) < 0.001) | (np.abs(ours - beta.ppf(levels)) < 1e-9))


def test_halfway_the_spread_is_that_of_the_formula() -> None:
    """Mean 1865, standard deviation of the bridge 10 sqrt(0.25 / (c + 1)), and that of the order on top."""
    curve = Production(EVEN).curve(1500)
    assert curve is not None
    years = Production(EVEN).years + 0.5
    mean = float((curve * years).sum())
    deviation = float(np.sqrt((curve * (years - mean) ** 2).sum()))
    bridge = 10 * np.sqrt(0.25 / (FITTED.pace * 10**FITTED.growth + 1))
    expected = np.sqrt(bridge**2 + 2 * FITTED.order**2 + 1 / 12)
    assert mean == pytest.approx(1865, abs=0.2)
    assert deviation == pytest.approx(expected, rel=0.15)


def test_two_points_are_solved_exactly() -> None:
    """Posterior of two ordered dates, by brute force over the grid."""
    series = make_series((10, 1880), (20, 1879), (30, 1883))
    production = Production(series)
    heard = [statement(point, production.dates, FITTED) for point in series.points]
    joint = np.einsum("i,j,k->ijk", *heard)
    places = np.arange(len(production.dates))
    joint *= (places[:, None, None] <= places[None, :, None]) & (places[None, :, None] <= places[None, None, :])
    for axis, posterior in enumerate(production.posterior):
        others = tuple(other for other in range(3) if other != axis)
        assert np.allclose(posterior, joint.sum(axis=others) / joint.sum(), atol=1e-9)


# Statements


@pytest.mark.parametrize("kind", list(YearKind))
def test_a_number_seen_with_a_year_is_spread_as_by_chance(kind: YearKind) -> None:
    """Against 200,000 draws: any day of the year, out of order, and what the kind of year adds."""
    random = np.random.default_rng(3)
    count = 200_000
    drawn = 1870 + random.uniform(0, 1, count) + random.laplace(0, FITTED.order, count)
    drawn += {
        YearKind.BUILT: np.zeros(count),
        YearKind.SHIPPED: -random.exponential(SHIP_YEARS, count),
        YearKind.SOLD: -random.exponential(SOLD_YEARS, count),
        YearKind.REGISTERED: random.exponential(ENTRY_YEARS, count),
        YearKind.APPROX: random.laplace(0, FITTED.about, count),
    }[kind]
    dates = 1850 + STEP_YEARS * np.arange(81)
    told = statement(make_point(7, 1870, Basis.SEEN, kind), dates, FITTED)
    told /= told.sum()
    for edge in (1868.25, 1869.25, 1870.25, 1870.75, 1871.75, 1872.75):
        assert told[dates < edge].sum() == pytest.approx((drawn < edge).mean(), abs=0.045)


@pytest.mark.parametrize(("basis", "date"), [(FIRST, 1870.0), (LAST, 1871.0)])
def test_a_works_list_states_a_day(basis: Basis, date: float) -> None:
    dates = 1850 + STEP_YEARS * np.arange(81)
    told = statement(make_point(7, 1870, basis), dates, FITTED)
    assert told[dates == date].sum() / told.sum() > 0.999


# Numbers that a source itself names


@pytest.mark.parametrize("basis", [FIRST, LAST, Basis.SEEN])
def test_a_break_points_own_number_is_of_its_year(basis: Basis) -> None:
    production = Production(make_series((100, 1850, FIRST), (200, 1870, basis), (300, 1890, FIRST)))
    assert spans(production, 200) == [(1870, 1870, 1870)]
    assert production.reach(200) is Reach.POINT


def test_a_year_about_is_narrowed_by_sure_neighbors() -> None:
    loose = Production(make_series((100, 1840), (200, 1870, Basis.SEEN, YearKind.APPROX), (300, 1900)))
    tight = Production(make_series((100, 1869), (200, 1870, Basis.SEEN, YearKind.APPROX), (300, 1871)))
    (_, a, b), (_, c, d) = spans(loose, 200)[0], spans(tight, 200)[0]
    assert d - c < b - a
    assert c >= 1868 and d <= 1872


# Contradictions


def test_contradicting_points_widen_and_break_nothing() -> None:
    agreeing = Production(make_series((100, 1860), (200, 1870), (210, 1871), (300, 1880)))
    fighting = Production(make_series((100, 1860), (200, 1878), (210, 1864), (300, 1880)))
    (_, a, b), (_, c, d) = spans(agreeing, 205)[0], spans(fighting, 205)[0]
    assert d - c > b - a


def test_one_wild_point_among_many_does_not_carry_its_neighbors_along() -> None:
    series = make_series(*((100 * k, 1850 + k) for k in range(1, 21)), (1055, 1895))
    series = Series.from_points("any", sorted(series.points, key=lambda point: point.serial))
    year, first, last = spans(Production(series), 1350)[0]
    assert 1861 <= first <= year <= last <= 1866


@settings(deadline=None, max_examples=60)
@given(any_series(), st.integers(0, 1_100_000))
def test_any_series_gives_a_curve_or_none(series: Series, number: int) -> None:
    production = Production(series)
    curve = production.curve(number)
    reach = production.reach(number)
    assert (curve is None) == (reach is Reach.OUTSIDE)
    if curve is not None:
        assert curve.sum() == pytest.approx(1) and curve.min() >= 0


@settings(deadline=None, max_examples=30)
@given(any_series(), st.lists(st.integers(1, 1_000_000), min_size=2, max_size=20))
def test_one_and_many_give_the_same(series: Series, numbers: list[int]) -> None:
    many = Production(series).curves(np.array(numbers, np.int64))
    years = Production(series).spans(np.array(numbers, np.int64))
    production = Production(series)
    for number, row, span in zip(numbers, many, years, strict=True):
        own = production.curve(number)
        assert np.array_equal(row, np.zeros(len(row)) if own is None else own)
        assert (span[0] == 0) == (own is None)


@settings(deadline=None, max_examples=40)
@given(st.lists(st.integers(1, 9_000), min_size=3, max_size=3, unique=True).map(sorted), st.data())
def test_a_higher_number_is_never_made_earlier(serials: list[int], data: st.DataObject) -> None:
    """Between consistent points the median never falls as numbers rise, up to one cell of the grid."""
    series = make_series(*((n, year, FIRST) for n, year in zip(serials, (1850, 1861, 1890), strict=True)))
    production = Production(series)
    low, high = sorted((data.draw(st.integers(serials[0], serials[-1])), data.draw(st.integers(*serials[::2]))))
    medians = []
    for number in (low, high):
        if production.reach(number) is Reach.POINT:
            return
        curve = production.curve(number)
        assert curve is not None
        medians.append(float(np.interp(0.5, np.cumsum(curve), production.years)))
    assert medians[0] <= medians[1] + 0.25


# The ends


def test_beyond_one_step_there_is_nothing() -> None:
    production = Production(EVEN)  # 100 numbers a year at both ends
    assert production.reach(950) is Reach.STEP and production.reach(3080) is Reach.STEP
    assert production.reach(850) is Reach.OUTSIDE and production.reach(3150) is Reach.OUTSIDE
    assert spans(production, 850, 3150) == [(0, 0, 0), (0, 0, 0)]
    (year, _, last), (later, first, _) = spans(production, 950, 3080)
    assert year in (1859, 1860) and last <= 1861 and later in (1880, 1881) and first >= 1878


def test_the_makers_own_years_close_the_ends() -> None:
    production = Production(EVEN, 1860, 1880)
    assert production.steps == (0.0, 0.0)
    assert production.curve(999) is None and production.curve(3001) is None
    for number in (1001, 1500, 2999):
        year, first, last = spans(production, number)[0]
        assert 1860 <= first <= year <= last <= 1880


def test_one_point_dates_its_own_number_alone() -> None:
    production = Production(make_series((5000, 1888)))
    assert spans(production, 5000, 4999, 5001) == [(1888, 1888, 1888), (0, 0, 0), (0, 0, 0)]
    assert Production(Series.from_points("none", [])).curve(7) is None


@pytest.mark.parametrize(("basis", "inside"), [(Basis.NOT_BEFORE, 1866), (Basis.NOT_AFTER, 1863)])
def test_a_one_sided_point_bounds_the_numbers_on_its_side(basis: Basis, inside: int) -> None:
    points = [make_point(1000, 1860), make_point(1500, inside, basis), make_point(2000, 1870)]
    production = Production(Series.from_points("any", points))
    plain = Production(make_series((1000, 1860), (2000, 1870)))
    number = 1520 if basis is Basis.NOT_BEFORE else 1480
    curve, without = production.curve(number), plain.curve(number)
    assert curve is not None and without is not None
    far = production.years < inside if basis is Basis.NOT_BEFORE else production.years > inside
    assert without[far].sum() > 0.1
    assert curve[far].sum() < 0.25 * without[far].sum()


# The runs


@given(st.lists(st.floats(0, 1), min_size=1, max_size=60).filter(lambda values: sum(values) > 0.01))
def test_the_run_is_the_shortest_that_holds_the_level(values: list[float]) -> None:
    curve = np.array(values) / sum(values)
    first, last = run_of_years(curve, 0.9)
    held = curve[first : last + 1].sum()
    assert held >= 0.9 - 1e-6
    for width in range(1, last - first + 1):
        windows = np.convolve(curve, np.ones(width), mode="valid")
        assert windows.max() < 0.9 + 1e-6


# Speed


def test_a_hundred_thousand_numbers_cost_little_more_than_a_hundred() -> None:
    """As a ratio, so that a slow machine passes too: alone a number costs at least 100 times as much as in the lot."""
    series = make_series(*((1000 * k, 1850 + 3 * k, FIRST) for k in range(1, 16)))
    production = Production(series)
    numbers = np.random.default_rng(5).integers(1000, 15000, 100_000)
    production.spans(numbers)  # every gap is worked out now
    started = time.perf_counter()
    production.spans(numbers)
    lot = time.perf_counter() - started
    started = time.perf_counter()
    for number in numbers[:200].tolist():
        production.spans(np.array([number]))
    single = (time.perf_counter() - started) / 200
    assert lot / len(numbers) < single / 100


def test_another_shape_gives_another_width() -> None:
    narrow = Production(EVEN, shape=Shape(pace=100))
    wide = Production(EVEN, shape=Shape(pace=1))
    (_, a, b), (_, c, d) = spans(narrow, 1500)[0], spans(wide, 1500)[0]
    assert b - a < d - c

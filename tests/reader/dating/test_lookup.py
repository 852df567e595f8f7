"""From a serial and a maker to a year."""

from __future__ import annotations

import math
import subprocess
import sys
import time
from typing import Any

import edtf
import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from reader.dating.edtf import check_edtf
from reader.dating.lookup import INTERVAL_LEVEL, ORDER_YEARS, PROOF_WARNING, date_serial, estimate_year
from reader.dating.makers import find_maker
from reader.dating.tables import Basis, BreakPoint, MakerTable, Series, YearKind, load_tables
from reader.errors import MakerError, SettingsError
from reader.results import Candidate, Dating, Maker, Serial

HARROW = find_maker("Harrow & Thistle", load_tables())
MAKERS = [table.maker for table in load_tables().makers.values()]
ANYONE = MakerTable(Maker("anyone", "Anyone"), (), None, None, "", ())


def make_serial(
    text: str, probability: float = 1.0, accepted: bool = True, rivals: tuple[tuple[str, float], ...] = ()
) -> Serial:
    return Serial(text, probability, accepted, 0, tuple(Candidate(*rival) for rival in rivals))


def dated(text: str, maker: Maker = HARROW, **reading: Any) -> Dating:
    dating = date_serial(make_serial(text, **reading), maker, load_tables()).dating
    assert dating is not None
    return dating


def make_series(*points: tuple[int, int, Basis, YearKind]) -> Series:
    return Series.from_points(
        "any", [BreakPoint(serial, year, kind, basis, "", "invented") for serial, year, basis, kind in points]
    )


@st.composite
def numbers_of_makers(draw: st.DrawFn) -> tuple[Maker, int]:
    maker = draw(st.sampled_from(MAKERS))
    series = load_tables().makers[maker.id].series[0]
    return maker, draw(st.integers(series.first.serial, series.last.serial))


@st.composite
def any_series(draw: st.DrawFn) -> Series:
    serials = draw(st.lists(st.integers(1, 9_999_999), min_size=2, max_size=12, unique=True).map(sorted))
    basis, kind = st.sampled_from(list(Basis)), st.sampled_from(list(YearKind))
    years = [(draw(st.integers(1750, 1950)), draw(basis), draw(kind)) for _ in serials]
    points = [BreakPoint(1, year, k, b, "", "invented") for year, b, k in years]
    points.sort(key=lambda point: point.date)
    return make_series(*((serial, p.year, p.basis, p.year_kind) for serial, p in zip(serials, points, strict=True)))


# The method


def test_the_worked_example() -> None:
    """By hand: 41873 is the share 3173 / 7100 = 0.4469 of the way from 1873.0 to 1877.0.

    1873 + 4 * 0.4469 = 1874.79; earliest 1873 + 4 * (1 - sqrt(0.5531)) - 0.5 = 1873.53; latest
    1873 + 4 * sqrt(0.4469) + 0.5 = 1876.17.
    """
    dating = dated("41873", probability=0.97)
    assert (dating.edtf, dating.year, dating.interval) == ("1874~", 1874, (1873, 1876))
    assert dating.probability == pytest.approx(0.873)


@pytest.mark.parametrize("rate_at_start", [0.0, 0.3, 1.0, 1.7, 2.0])
def test_output_that_rises_or_falls_evenly_stays_inside_the_interval(rate_at_start: float) -> None:
    """Simulated works: output a day runs in a straight line from `rate_at_start` to 2 - `rate_at_start` of the mean."""
    span, count = 40, 100_000
    series = make_series(
        (1, 1800, Basis.FIRST_OF_YEAR, YearKind.BUILT), (count + 1, 1800 + span, Basis.FIRST_OF_YEAR, YearKind.BUILT)
    )
    days = np.arange(span * 365)
    rate = rate_at_start + (2 - 2 * rate_at_start) * (days + 0.5) / len(days)
    made = np.cumsum(rate) / rate.sum() * count
    for number in range(1, count + 1, 997):
        year = 1800 + int(np.searchsorted(made, number)) // 365
        estimate = estimate_year(series, number, ANYONE)
        assert estimate is not None
        assert estimate.interval[0] <= year <= estimate.interval[1]
        if rate_at_start == 1.0:
            assert abs(estimate.year - year) <= 1  # a number on New Year's Day may fall on either side
        if rate_at_start == 0.0:
            latest = estimate.interval[1]
            assert latest - year <= math.ceil(ORDER_YEARS)  # and the interval reaches no further than that


@pytest.mark.parametrize(
    ("kind", "years"),
    [
        (YearKind.BUILT, (1869, 1871)),
        (YearKind.SHIPPED, (1868, 1871)),
        (YearKind.REGISTERED, (1869, 1872)),
        (YearKind.APPROX, (1867, 1873)),
    ],
)
def test_the_kind_of_year_widens_the_interval(kind: YearKind, years: tuple[int, int]) -> None:
    """A number seen with 1870: 1870.5, half a year for the day in the year and half for the order on either side."""
    series = make_series(
        (100, 1850, Basis.FIRST_OF_YEAR, YearKind.BUILT),
        (200, 1870, Basis.SEEN, kind),
        (300, 1890, Basis.FIRST_OF_YEAR, YearKind.BUILT),
    )
    estimate = estimate_year(series, 200, ANYONE)
    assert estimate is not None
    assert estimate.interval == years


def test_a_sure_point_narrows_an_unsure_neighbor() -> None:
    series = make_series(
        (100, 1869, Basis.LAST_OF_YEAR, YearKind.BUILT),
        (101, 1870, Basis.SEEN, YearKind.APPROX),
        (102, 1871, Basis.FIRST_OF_YEAR, YearKind.BUILT),
    )
    estimate = estimate_year(series, 101, ANYONE)
    assert estimate is not None
    assert estimate.interval == (1869, 1871)


def test_the_interval_stays_within_the_makers_own_years() -> None:
    assert dated("1200").interval[0] == 1851
    assert dated("98000").interval == (1912, 1912)
    assert dated("98000").edtf == "1912~"  # an estimate is never written as certain


@given(any_series())
def test_any_break_points_own_number_dates_to_an_interval_with_its_year(series: Series) -> None:
    for point in series.points:
        estimate = estimate_year(series, point.serial, ANYONE)
        assert estimate is not None
        assert estimate.year == point.year
        assert estimate.interval[0] <= point.year <= estimate.interval[1]
        assert estimate.points == (point,)


@given(any_series(), st.data())
def test_year_and_interval_never_fall_as_numbers_rise(series: Series, data: st.DataObject) -> None:
    numbers = st.integers(series.first.serial, series.last.serial)
    low, high = sorted((data.draw(numbers), data.draw(numbers)))
    first, second = estimate_year(series, low, ANYONE), estimate_year(series, high, ANYONE)
    assert first is not None and second is not None
    assert first.year <= second.year
    assert first.interval[0] <= second.interval[0] and first.interval[1] <= second.interval[1]
    assert first.interval[0] <= first.year <= first.interval[1]


# The makers of the demo


def test_every_built_in_break_point_dates_to_its_own_year() -> None:
    for maker in MAKERS:
        for point in load_tables().makers[maker.id].series[0].points:
            dating = dated(str(point.serial), maker)
            assert dating.interval[0] <= point.year <= dating.interval[1]
            assert dating.year == point.year


@settings(deadline=None)  # the edtf parser is slow on its first call
@given(numbers_of_makers(), st.booleans(), st.floats(0, 1))
def test_every_number_inside_a_table_is_dated_inside_it(
    number: tuple[Maker, int], accepted: bool, probability: float
) -> None:
    maker, serial = number
    dating = dated(str(serial), maker, accepted=accepted, probability=probability)
    table = load_tables().makers[maker.id]
    assert table.first_year is not None and table.last_year is not None
    assert table.first_year <= dating.interval[0] <= dating.year <= dating.interval[1] <= table.last_year
    edtf.parse_edtf(dating.edtf)
    check_edtf(dating.edtf)
    assert dating.probability == INTERVAL_LEVEL * probability
    assert 0 <= dating.probability <= INTERVAL_LEVEL
    assert PROOF_WARNING in dating.warnings
    assert any("invented maker of the demo" in warning for warning in dating.warnings)
    assert all(e.says and e.source for e in dating.evidence) and dating.evidence


@given(numbers_of_makers(), st.integers(1, 5))
def test_leading_zeros_change_no_year_but_are_named(number: tuple[Maker, int], zeros: int) -> None:
    maker, serial = number
    plain, padded = dated(str(serial), maker), dated("0" * zeros + str(serial), maker)
    assert (plain.year, plain.interval, plain.edtf) == (padded.year, padded.interval, padded.edtf)
    assert any("begins with zero" in warning for warning in padded.warnings)
    assert not any("begins with zero" in warning for warning in plain.warnings)


@given(st.sampled_from(MAKERS), st.integers(0, 10**30))
def test_outside_the_ends_no_year_is_given_and_the_span_is_named(maker: Maker, number: int) -> None:
    series = load_tables().makers[maker.id].series[0]
    assume(not series.first.serial <= number <= series.last.serial)
    lookup = date_serial(make_serial(str(number)), maker, load_tables())
    assert lookup.dating is None
    assert (
        f"from {series.first.serial} ({series.first.year}) to {series.last.serial} ({series.last.year})"
        in lookup.warnings[0]
    )
    assert ("Too many figures" in " ".join(lookup.warnings)) == (len(str(number)) > len(str(series.last.serial)))
    assert ("Too few figures" in " ".join(lookup.warnings)) == (len(str(number)) < len(str(series.first.serial)))
    assert PROOF_WARNING not in lookup.warnings  # there is no estimate to warn of


@pytest.mark.parametrize("text", ["0", "000", "1199", "98001", "9" * 7, "9" * 18, "9" * 19, "1" * 10_000])
def test_numbers_just_outside_and_huge_ones_give_no_year(text: str) -> None:
    lookup = date_serial(make_serial(text), HARROW, load_tables())
    assert lookup.dating is None
    assert all(len(warning) < 300 for warning in lookup.warnings)


@pytest.mark.parametrize(
    "text",
    [
        "41?73",
        "",
        " 41873",
        "41 873",
        "41,873",
        "-41873",
        "+41873",
        "41873.0",
        "A41873",
        "4187O",
        "1e4",
        "٤١٨٧٣",
        "4²",
        "41\n873",
    ],
)
def test_anything_but_figures_is_refused(text: str) -> None:
    with pytest.raises(SettingsError, match="figures 0 to 9 only") as caught:
        date_serial(make_serial(text), HARROW, load_tables())
    assert str(caught.value).isprintable()


def test_a_maker_that_the_tables_do_not_have_is_refused() -> None:
    with pytest.raises(MakerError, match="find_maker"):
        date_serial(make_serial("41873"), Maker("nobody", "Nobody"), load_tables())


# What is said with a year


def test_a_narrow_interval_is_about_a_year_and_a_wide_one_a_set() -> None:
    assert dated("41873").edtf == "1874~"
    assert dated("41873", accepted=False).edtf == "1874%"
    wide = dated("95000")
    assert wide.edtf == f"[{wide.interval[0]}..{wide.interval[1]}]"
    assert dated("95000", accepted=False).edtf == wide.edtf


def test_a_doubtful_reading_is_named() -> None:
    assert any("doubtful" in w for w in dated("41873", accepted=False, probability=0.62).warnings)
    assert not any("doubtful" in w for w in dated("41873").warnings)


@pytest.mark.parametrize(
    ("rival", "says"),
    [
        ("71873", "If the first figure is 7 rather than 4 (probability 0.02), the year is 1890 (1887 to 1893)."),
        ("48173", "If the number is 48173 rather than 41873 (probability 0.02), the year is 1878"),
        ("4187", "If the number is 4187 rather than 41873 (probability 0.02), the year is 1857"),
    ],
)
def test_a_rival_with_another_year_is_named(rival: str, says: str) -> None:
    dating = dated("41873", probability=0.9, rivals=((rival, 0.02),))
    assert any(warning.startswith(says) for warning in dating.warnings)
    assert dating.probability == pytest.approx(0.81)


@pytest.mark.parametrize("rival", ["41878", "41373", "41873", "41?73", "941873", "0041873", ""])
def test_a_rival_with_the_same_year_or_none_is_passed_over(rival: str) -> None:
    dating = dated("41873", rivals=((rival, 0.02),))
    assert dating.warnings == dated("41873").warnings


def test_a_rival_that_would_give_a_year_is_named_where_the_reading_gives_none() -> None:
    lookup = date_serial(make_serial("980000", rivals=(("98000", 0.2),)), HARROW, load_tables())
    assert lookup.dating is None
    assert any("98000 rather than 980000" in w and "1912" in w for w in lookup.warnings)


def test_evidence_names_the_break_points_their_kind_and_source() -> None:
    dating = dated("94000")
    assert [e.kind for e in dating.evidence] == ["break-point", "break-point", "interpolation"]
    low, high, between = dating.evidence
    assert "no. 92700: the first number of 1905 (entered in the works' book)" in low.says
    assert "no. 98000: the last number of 1912" in high.says
    assert "invented for the demo" in low.source
    assert "from 92700 to 98000" in between.says
    assert any("entry in the works' book" in warning for warning in dating.warnings)
    assert [e.kind for e in dated("92700").evidence] == ["break-point"]


def test_a_year_of_shipping_or_about_a_year_is_said_to_be_one() -> None:
    assert any("shipping" in w for w in dated("79100").warnings)
    assert any("only about right" in w for w in dated("69400").warnings)
    assert not any("The table's year" in w for w in dated("41873").warnings)


def test_lookup_and_dating_carry_the_same_warnings() -> None:
    lookup = date_serial(make_serial("41873"), HARROW, load_tables())
    assert lookup.dating is not None
    assert lookup.warnings == lookup.dating.warnings


# Several series, and a maker without numbers


def test_a_number_of_two_series_needs_the_series(folder: Any) -> None:
    rows = folder.rows("break_points.csv")
    extra = [
        [rows[1][0], "upright", serial, year, *rows[1][4:]] for serial, year in (("100", "1880"), ("50000", "1910"))
    ]
    folder.write("break_points.csv", rows + extra)
    tables = load_tables(folder.path)
    serial = make_serial("41873")
    lookup = date_serial(serial, HARROW, tables)
    assert lookup.dating is None
    assert "'piano' gives 1874" in lookup.warnings[0] and "'upright' gives 1905" in lookup.warnings[0]
    upright = date_serial(serial, HARROW, tables, series="upright").dating
    assert upright is not None and upright.year == 1905
    only = date_serial(make_serial("60000"), HARROW, tables).dating
    assert only is not None and only.year == dated("60000").year
    with pytest.raises(SettingsError, match="its series: piano, upright"):
        date_serial(serial, HARROW, tables, series="organ")


def test_a_maker_without_numbers_gives_no_year(folder: Any) -> None:
    rows = folder.rows("break_points.csv")
    folder.write("break_points.csv", [row for row in rows if row[0] != HARROW.id])
    lookup = date_serial(make_serial("41873"), HARROW, load_tables(folder.path))
    assert lookup.dating is None
    assert "no numbers of that maker" in lookup.warnings[0]


# Cost


def test_a_thousand_lookups_take_less_than_half_a_second() -> None:
    serials = [make_serial(str(20000 + 70 * i), rivals=(("71873", 0.02), ("4187", 0.01))) for i in range(1000)]
    started = time.perf_counter()
    for serial in serials:
        date_serial(serial, HARROW, load_tables())
    assert time.perf_counter() - started < 0.5


def test_dating_imports_no_image_library() -> None:
    code = (
        "import sys, reader.dating.lookup, reader.dating.makers, reader.dating.edtf, reader.dating.tables;"
        "reader.dating.tables.load_tables();"
        "print([m for m in ('cv2', 'skimage', 'PIL', 'scipy', 'tifffile', 'edtf') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"

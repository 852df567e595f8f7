"""The published numbers of real makers: every row has its source, and sources that disagree are all there."""

from __future__ import annotations

import csv

from reader.dating.makers import find_maker
from reader.dating.series import Basis, MakerTable, YearKind
from reader.dating.tables import PUBLISHED_FOLDER, built_in_tables, load_tables


def maker(name: str) -> MakerTable:
    tables = load_tables(PUBLISHED_FOLDER)
    return tables.makers[find_maker(name, tables).id]


def test_every_row_is_real_has_a_source_and_says_whether_it_was_seen() -> None:
    with (PUBLISHED_FOLDER / "break_points.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 100
    for row in rows:
        assert row["found"] in {"yes", "from-memory"}
        if row["found"] == "yes":
            assert "<" in row["source"], row  # an address or a name to look it up by
        else:
            assert "from memory" in row["source"]
    assert [(row["maker"], row["serial"]) for row in rows if row["found"] == "from-memory"] == [
        ("steinway-and-sons", "500000"),
        ("steinway-and-sons", "600000"),
        ("erard", "133"),
        ("pleyel", "7267"),
    ]


def test_no_real_maker_is_called_invented_and_all_are_scattered_numbers() -> None:
    tables = load_tables(PUBLISHED_FOLDER)
    assert len(tables.makers) == 28
    for table in tables.makers.values():
        assert not table.maker.invented
        assert table.sparse
        assert table.series
    assert sum(len(s.points) + len(s.limits) for t in tables.makers.values() for s in t.series) == 100


def test_invented_and_real_makers_have_no_name_in_common() -> None:
    names: dict[str, str] = {}
    for id_, table in built_in_tables().makers.items():
        for name in table.names:
            assert names.setdefault(name.casefold(), id_) == id_


def test_forms_and_towns_part_the_series_where_sources_do() -> None:
    assert {s.name: set(s.forms) for s in maker("Broadwood").series} == {
        "grands": {"grand"},
        "grands-other-size": {"grand"},
        "squares": {"square"},
        "uprights": {"upright"},
    }
    assert {s.name: set(s.places) for s in maker("Erard").series} == {"london": {"London"}, "paris": {"Paris"}}
    assert {s.name for s in maker("Mason & Hamlin").series} == {"organs", "pianos"}


def test_one_number_in_two_series_of_one_maker() -> None:
    """Published case: 17046 is of the 1840s among the grands, and of about 1811 among the squares."""
    years = {}
    for series in maker("John Broadwood & Sons").series:
        if len(series.points) > 1:
            below = [point for point in series.points if point.serial <= 17046][-1]
            above = next(point for point in series.points if point.serial >= 17046)
            years[series.name] = (below.year, above.year)
    assert years == {"grands": (1847, 1852), "squares": (1793, 1813)}


def test_sources_that_disagree_are_all_kept() -> None:
    """Published cases: round numbers set aside, a loose 'about', two records of one firm, years that just touch."""
    assert [(p.serial, p.year) for p in maker("Steinway").series[0].points if 290_000 < p.serial < 310_000] == [
        (295811, 1939),
        (300000, 1938),
    ]
    paris = next(series for series in maker("Erard").series if series.name == "paris")
    loose = [point.serial for point in paris.points].index(27706)
    assert paris.points[loose].year == 1860
    estey = maker("J. Estey & Co.").series[0]
    assert [(p.serial, p.year) for p in estey.points[:2]] == [(100000, 1880), (100009, 1878)]
    pleyel = maker("Pleyel, Wolff & Cie").series[0]
    assert [(low.serial, high.serial) for low, high in pleyel.contradicting] == [(13214, 13819), (13481, 13819)]


def test_statements_of_one_side_are_limits() -> None:
    limits = {
        (p.serial, p.year, p.basis) for t in built_in_tables().makers.values() for s in t.series for p in s.limits
    }
    assert limits == {
        (17047, 1848, Basis.NOT_AFTER),
        (27291, 1862, Basis.NOT_BEFORE),
        (1650, 1841, Basis.NOT_AFTER),
    }


def test_a_source_that_does_not_say_first_or_last_is_read_as_that() -> None:
    points = maker("Heintzman").series[0].points
    assert {(point.basis, point.year_kind) for point in points} == {(Basis.FIRST_OR_LAST, YearKind.APPROX)}

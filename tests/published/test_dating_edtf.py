"""Every date string that a dating carries is accepted by two published checkers, edtf and edtf-validate.

The strings come from datings of all built-in makers, from sure, doubtful and rival readings.
"""

from __future__ import annotations

import functools
import re
import warnings

import edtf
import numpy as np
import pytest

from reader.dating.readings import Readings, parse_number
from reader.dating.tables import built_in_tables
from reader.dating.weigh import date_number
from reader.results import Candidate

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it uses names that pyparsing has renamed
    from edtf_validate import valid_edtf

MAKERS = [table for table in built_in_tables().makers.values() if any(series.points for series in table.series)]


EACH = 4
"""Strings of one form that are checked; the checkers are slow."""


def is_valid(text: str) -> bool:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return bool(valid_edtf.is_valid(text))


@functools.cache
def strings_of(maker: int) -> set[str]:
    table, random = MAKERS[maker], np.random.default_rng(maker)
    highest = max(series.points[-1].serial for series in table.series if series.points)
    found = set()
    for number in random.integers(1, highest * 1.01 + 2, 20).tolist():
        other = str(int(random.integers(1, highest + 2)))
        rivals = Readings((Candidate(str(number), 0.6), Candidate(other, 0.3)), str(number), False)
        for readings in (parse_number(str(number)), rivals):
            dating = date_number(readings, [(table, 1.0)]).dating
            found |= {dating.edtf} if dating else set()
    for series in table.series:
        for point in series.points[:2]:
            doubtful = Readings((Candidate(str(point.serial), 0.8),), str(point.serial), False)
            for readings in (parse_number(str(point.serial)), doubtful):
                dating = date_number(readings, [(table, 1.0)]).dating
                found |= {dating.edtf} if dating else set()
    return found


@functools.cache
def strings_by_form() -> dict[str, list[str]]:
    """All strings, grouped by what they look like with every figure as 9."""
    found: dict[str, list[str]] = {}
    for text in sorted(set().union(*map(strings_of, range(len(MAKERS))))):
        found.setdefault(re.sub(r"\d", "9", text), []).append(text)
    return found


@pytest.mark.parametrize("form", sorted(strings_by_form()))
def test_both_checkers_accept_the_strings_of_every_form(form: str) -> None:
    assert "/" not in form
    for text in strings_by_form()[form][:EACH]:
        edtf.parse_edtf(text)
        assert is_valid(text), text


def test_every_form_of_string_occurs() -> None:
    assert {"9999", "9999~", "9999%", "9999?", "[9999..9999]", "[9999..9999,9999..9999]"} <= set(strings_by_form())


@pytest.mark.parametrize("text", ["1891 ?", "1893/1891", "c. 1891", "189X~"])
def test_the_second_checker_does_refuse(text: str) -> None:
    assert not is_valid(text)

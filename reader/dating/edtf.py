"""Writes and checks dates in the Extended Date/Time Format (EDTF).

The standard is ISO 8601-2:2019, annex A, in the Library of Congress' form of February 2019
(loc.gov/standards/datetime). weigh.py writes a dating with it; evidence.py reads a person's own dates.
"""

from __future__ import annotations

import contextlib
import io
import itertools
import re
from collections.abc import Callable, Iterator, Sequence
from typing import Any

from reader.errors import SettingsError, one_line

ABOUT_YEARS = 2
"""'About' a year, '~', is written while the interval reaches at most this many years to either side of it; common
practice takes 'about 1874' as two years either way. A wider interval is written as a span."""

TEXT_LENGTH_MAX = 100
"""Longest text that is checked, in characters. The longest date anyone needs has about 40; the parser's time grows
with the text."""

_EXAMPLE = "write it like 1874, 1874~ (about), 1874? (doubtful) or [1872..1876] (one year of the span)"
_PLAIN_YEAR = re.compile(r"[0-9]{4}")
_UNSPECIFIED_AND_QUALIFIED = re.compile(r"X[?~%]")


def write_dating(year: int, runs: Sequence[tuple[int, int]], *, doubtful: bool, certain: bool = False) -> str:
    """Return the EDTF string of a dating.

    Parameters: `year`, the most likely year; `runs`, first and last year of each run of years that hold it, rising and
    apart; `doubtful`, whether the reading that it rests on is in doubt; `certain`, whether the source states the year
    itself. An estimate from a maker's numbers is never certain, however narrow.

    - Certain, and one run of one year: '1874', from a doubtful reading '1874?'.
    - One run that reaches at most ABOUT_YEARS to either side: '1874~' (about), doubtful '1874%' (about and doubtful).
    - One wider run: '[1869..1876]', one year of the span. A set, because an instrument was made in one year; the slash
      of '1869/1876' would say that the making lasted seven years. The standard has no sign for a doubtful set, so
      there the doubt stands in the warnings and the probability alone.
    - Several runs, as two readings give them: '[1878,1891]', '[1873..1876,1891]', one year of all these.

    Raises SettingsError for years outside 1 to 9999, not in order, or a year in none of the runs.
    """
    ends = [end for run in runs for end in run]
    rising = all(a <= b for a, b in runs) and all(a[1] < b[0] for a, b in itertools.pairwise(runs))
    if not (ends and rising and ends[0] >= 1 and ends[-1] <= 9999 and any(a <= year <= b for a, b in runs)):
        raise SettingsError(f"{year} with the years {list(runs)} is no dating; give years 1 to 9999 in order")
    if len(runs) > 1:
        return "[" + ",".join(_write_run(first, last) for first, last in runs) + "]"
    first, last = runs[0]
    if certain and first == last:
        return f"{year:04d}?" if doubtful else f"{year:04d}"
    if year - first <= ABOUT_YEARS and last - year <= ABOUT_YEARS:
        return f"{year:04d}%" if doubtful else f"{year:04d}~"
    return f"[{first:04d}..{last:04d}]"


def _write_run(first: int, last: int) -> str:
    return f"{first:04d}" if first == last else f"{first:04d}..{last:04d}"


def read_bounds(text: str) -> tuple[int | None, int | None, bool]:
    """Return the first and last year that a date can mean, None for an open end, and whether it is sure.

    It is not sure where it is marked doubtful or approximate ('?', '~', '%'). Raises SettingsError as check_edtf does.
    """
    check_edtf(text)
    sure = not any(sign in text for sign in "?~%")
    if _PLAIN_YEAR.fullmatch(text):
        return int(text), int(text), sure
    parsed = _parse(text)
    ends = [part.partition("/" if "/" in part else "..") for part in text.strip("[]{}").split(",")]
    open_first = ends[0][1] != "" and ends[0][0] in ("", "..")
    open_last = ends[-1][1] != "" and ends[-1][2] in ("", "..")
    first = None if open_first else _year_of(parsed.lower_strict)
    last = None if open_last else _year_of(parsed.upper_strict)
    return first, last, sure


def _year_of(end: Callable[[], Any]) -> int | None:
    """Return the year of one end; None where the library has none."""
    try:
        return int(end().tm_year)
    except (AttributeError, TypeError, ValueError):
        return None


def check_edtf(text: str) -> None:
    """Raise SettingsError, one line with what to do, when the text is not a valid EDTF date.

    Besides what the edtf library refuses, three things that it lets through are refused: blanks anywhere (the standard
    has none), intervals and spans that run backwards, and unspecified figures with a qualifier ('189X~', for which
    '[1890..1899]' says more and is read everywhere). Known limit of edtf 5.0.2: a month with one unspecified figure
    ('1984-1X'), which the standard allows, is refused.
    """
    shown = repr(one_line(text[:TEXT_LENGTH_MAX]))
    if len(text) > TEXT_LENGTH_MAX:
        raise SettingsError(f"the date {shown} is longer than {TEXT_LENGTH_MAX} characters; {_EXAMPLE}")
    if not text:
        raise SettingsError(f"the date is empty; leave it out, or {_EXAMPLE}")
    if any(c.isspace() or not c.isprintable() for c in text):
        raise SettingsError(f"the date {shown} has a blank in it; take the blank out")
    if _PLAIN_YEAR.fullmatch(text):
        return  # spares loading the library
    if _parse(text) is None:
        raise SettingsError(f"the date {shown} is not valid EDTF (ISO 8601-2); {_EXAMPLE}")
    if _UNSPECIFIED_AND_QUALIFIED.search(text):
        raise SettingsError(f"the date {shown} marks unspecified figures as doubtful; write the span, [1890..1899]")
    for first, last in _spans(text):
        if _runs_backwards(first, last):
            raise SettingsError(f"the date {shown} runs backwards; write {last} before {first}")


def _parse(text: str) -> Any:
    """Return what the edtf library makes of the text, None when it refuses it."""
    import edtf  # 130 ms: only when a date is checked

    try:
        with contextlib.redirect_stdout(io.StringIO()):  # the library prints about some texts that it refuses
            return edtf.parse_edtf(text)
    except (edtf.EDTFParseException, ValueError, AttributeError, TypeError):
        return None  # the last three escape from inside the library, for '1891-02-3X' and the like


def _spans(text: str) -> Iterator[tuple[str, str]]:
    """Yield both ends of every interval 'a/b' and span 'a..b' in the text; open and unknown ends are left out."""
    for part in text.strip("[]{}").split(","):
        first, mark, last = part.partition("/" if "/" in part else "..")
        if mark and first not in ("", "..") and last not in ("", ".."):
            yield first, last


def _runs_backwards(first: str, last: str) -> bool:
    start, end = _parse(first), _parse(last)
    return start is not None and end is not None and bool(start.lower_strict() > end.upper_strict())

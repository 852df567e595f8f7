"""Writes and checks dates in the Extended Date/Time Format (EDTF).

The standard is ISO 8601-2:2019, annex A, in the Library of Congress' form of February 2019
(loc.gov/standards/datetime). lookup.py writes a dating with it; whoever takes a date from a person checks it here.
"""

from __future__ import annotations

import contextlib
import io
import re
from collections.abc import Iterator
from typing import Any

from reader.errors import SettingsError, one_line

ABOUT_YEARS = 2
"""'About' a year, '~', is written while the interval reaches at most this many years to either side of it; common
practice takes 'about 1874' as two years either way. A wider interval is written as a span."""

TEXT_LENGTH_MAX = 100
"""Longest text that is checked, in characters. The longest date anyone needs has about 40; the parser's time grows
with the text."""

_EXAMPLE = "write it like 1874, 1874~ (about), 1874? (doubtful) or [1872..1876] (one year of the span)"
_UNSPECIFIED_AND_QUALIFIED = re.compile(r"X[?~%]")


def write_dating(year: int, interval: tuple[int, int], *, doubtful: bool, certain: bool = False) -> str:
    """Return the EDTF string of a dating.

    Parameters: `year`, the most likely year; `interval`, first and last year that hold it; `doubtful`, whether the
    reading that it rests on is in doubt; `certain`, whether the source states the year itself. An estimate from a
    maker's numbers is never certain, however narrow.

    - Certain, and the interval is that one year: '1874', from a doubtful reading '1874?'.
    - The interval reaches at most ABOUT_YEARS to either side: '1874~' (about), doubtful '1874%' (about and doubtful).
    - It is wider: '[1869..1876]', one year of the span. A set, because an instrument was made in one year; the slash
      of '1869/1876' would say that the making lasted seven years. The standard has no sign for a doubtful set, so
      there the doubt stands in the warnings and the probability alone.

    Raises SettingsError for years outside 1 to 9999 or not in order.
    """
    first, last = interval
    if not 1 <= first <= year <= last <= 9999:
        raise SettingsError(f"{year} with the interval {first} to {last} is no dating; give years 1 to 9999 in order")
    if certain and first == last:
        return f"{year:04d}?" if doubtful else f"{year:04d}"
    if year - first <= ABOUT_YEARS and last - year <= ABOUT_YEARS:
        return f"{year:04d}%" if doubtful else f"{year:04d}~"
    return f"[{first:04d}..{last:04d}]"


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

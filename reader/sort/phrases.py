"""Phrases: words with the figures that belong to them, as patterns with the form that each gives a piece of a line.

Patterns are matched by patterns.py against a line in capitals without accents (its function fold). The words come from
vocabulary.py; they and the forms are common practice of the trade unless a source is named.
"""

from __future__ import annotations

import re

from reader.sort import vocabulary


def _any(words: str) -> str:
    """Return a pattern for any of the words ('_' is a blank), with O/0 and I/L/1 taken for each other."""
    same = {"O": "[O0Q]", "I": "[I1L|]", "L": "[L1I|]", "_": r"\s*", ".": r"\.?"}
    ranked = sorted(words.split(), key=len, reverse=True)
    return "(?:" + "|".join("".join(same.get(sign, re.escape(sign)) for sign in word) for word in ranked) + ")"


_W, _E = r"(?<![A-Z])", r"(?![A-Z])"
_MONTHS = _any(vocabulary.MONTHS)
_YEAR = r"(?<![0-9.,])(?:17[5-9][0-9]|18[0-9]{2}|19[0-4][0-9]|1950)(?![0-9]|[.,][0-9])"
_DATE_YEAR = r"(?:1[6-9][0-9]{2}|20[0-2][0-9]|'?[0-9]{2})(?![0-9])"
_DAY = r"(?<![0-9])[0-3IO|]?[0-9IO|](?:ST|ND|RD|TH|D)?(?![A-Z0-9])"
_MONTH = rf"{_W}{_MONTHS}{_E}"
_DATE = (
    rf"(?:{_MONTH}[ .,]*{_DAY}(?:[ .,]*{_DATE_YEAR})?|{_W}{_DAY}[ .]*(?:(?:DE|OF)\s+)?{_MONTH}(?:[ .,]*{_DATE_YEAR})?"
    rf"|{_MONTH}[ .,]*(?:[0-2]?[0-9]|3[01])?1[6-9][0-9]{{2}}(?![0-9])"  # the blank between day and year is often lost
    r"|(?<![0-9./-])(?:0?[1-9]|[12][0-9]|3[01])[./-](?:0?[1-9]|[12][0-9]|3[01])[./ -](?:1[6-9])?[0-9]{2}(?![0-9./-]))"
)
_NO = r"(?:N[O0QE°]S?|NR|№|#|N(?=[.,:])|NUM(?:BER|ERO|MER)|S[/.]?N(?=[.: ])|SERIAL)"
"""'No.' and how it is misread ('N0', 'Ne'), its foreign forms, and 'Serial'."""
_NO_WORD = rf"(?:SER(?:IAL|\.)|FABRIK|FACTORY)?\s*{_W}{_NO}{_E}[ .,:;°-]*"
_THOUSANDS = r"[0-9]{1,3}(?:[,.' ][0-9]{3})+(?![0-9])"
_PATENT_WORD = _any(vocabulary.PATENT_WORDS)
_PATENT_FILL = (
    rf"(?:\s*(?:IN|BY|OF|ON|THE|U\.?\s?S\.?(?:\s?A)?|APPLIED|FOR|PENDING|PEND|OFF|OFFICE|DES|DESIGN|{_PATENT_WORD}|{_NO})"
    rf"{_E}[.,:;]*)*"
)
_AND = r"[\s,;.&·/-]*(?:AND\s+)?"
_GLUED_DATE = rf"{_MONTHS}{_E}(?:[ .,]*{_DAY})?(?:[ .,]*(?:[0-2]?[0-9]|3[01])?{_DATE_YEAR})?"
"""The blank between a patent word and the month is often lost in reading ('PATDAUG 21 1884')."""
_PATENT = (
    rf"{_W}{_PATENT_WORD}[.,:;']*{_GLUED_DATE}(?:{_AND}{_DATE})*|"
    rf"{_W}{_PATENT_WORD}{_E}[.,:;']*{_PATENT_FILL}\s*"
    rf"(?:{_DATE}(?:{_AND}{_DATE})*|(?<![0-9])(?:{_THOUSANDS}|[0-9]{{2,8}}(?![0-9.,/]))(?:{_AND}{_THOUSANDS})*)?"
)
_CITY = _any(vocabulary.CITIES)
_HONOR = _any(vocabulary.HONORS)
_SINCE = _any(vocabulary.SINCE)
_SERVICE = _any(vocabulary.SERVICES)
_STREET = _any(vocabulary.STREETS)
_HOUSE = r"(?<![0-9.,])[0-9]{1,4}(?:\s*(?:-|&|,)\s*[0-9]{1,4})*"
_SIZE_NUMBER = r"(?<![0-9.,])[0-9]{1,3}(?:\s?[½¼¾⅓⅔⅛]|\s[0-9]/[0-9]|[.,][0-9]{1,2})?"
_OCTAVES = _any(vocabulary.OCTAVES)
_SIZE_UNIT = _any(vocabulary.SIZE_UNITS)
_MODEL_WORD = _any(vocabulary.MODEL_WORDS)
_SERIES_WORD = _any(vocabulary.SERIES_WORDS)
_SMALL = r"[0-9]{1,2}(?:\s?½|\s1/2)?"

PHRASES: tuple[tuple[str, re.Pattern[str]], ...] = tuple(
    (form, re.compile(pattern, re.ASCII))
    for form, pattern in (
        ("service-date", rf"{_W}{_SERVICE}{_E}.{{0,20}}?(?:{_DATE}|{_YEAR})"),
        ("patent", _PATENT),
        ("size", rf"{_SIZE_NUMBER}\s?{_OCTAVES}{_E}(?!\W{{0,3}}[0-9])\.?"),
        ("row", rf"(?<![A-Z0-9.,/]){_SMALL}(?:\s+{_SMALL}){{2,}}(?![A-Z0-9.,/½'\"])"),
        ("date", _DATE),
        ("month", rf"{_MONTH}\.?"),
        (
            "year",
            rf"{_W}(?:(?:{_SINCE}|{_HONOR}|{_CITY}){_E}\W{{1,3}}|©\s*)+(?:(?:IN|THE|YEAR|AD|ANNO)\W{{1,3}})*{_YEAR}",
        ),
        ("year", rf"{_YEAR}(?:\s*-\s*{_YEAR}|\W{{1,3}}{_HONOR}{_E})"),
        (
            "size",
            r"(?<![0-9])[0-9]{1,2}\s?(?:'(?:\s?[0-9]{1,2}\s?(?:\"|''|½\"?)?)?|F(?:T|EET)\b\.?(?:\s?[0-9]{1,2}(?:\s?IN\b\.?|\s?\")?)?)(?![0-9])",
        ),
        ("size", rf"{_SIZE_NUMBER}\s?(?:{_SIZE_UNIT}{_E}\.?|\")|(?<![0-9])[12][.,][0-9]{{2}}\s?M(?![A-Z0-9])"),
        ("model", rf"(?:{_NO_WORD})?(?<![0-9])[0-9]{{1,3}}\s+(?:SCALE|STYLE|MODEL){_E}(?!\W{{0,3}}[0-9])"),
        (
            "model",
            rf"{_W}{_MODEL_WORD}{_E}[ .:-]*(?:{_NO_WORD})?(?!(?:{'|'.join(sorted(vocabulary.STOP_WORDS))}){_E})"
            r"(?:[A-Z]{0,3}-?[0-9]{1,7}(?![0-9])[A-Z]?|[A-Z]{1,3})(?![A-Z0-9])",
        ),
        ("series", rf"{_W}{_SERIES_WORD}{_E}[ .:-]*(?:CO\b[ .]*)?(?:{_NO_WORD})?[A-Z]?(?<![0-9])[0-9]{{1,7}}(?![0-9])"),
        (
            "address",
            rf"{_W}(?:TEL|TELEPHONE|TELEFON|PHONE|P\.?\s?O\.?\s?BOX|BOX){_E}[ .:]*(?:{_NO_WORD})?[0-9][0-9 -]*",
        ),
        (
            "address",
            rf"(?:{_NO_WORD})?{_HOUSE},?\s+(?:(?:[A-Z0-9][A-Z0-9'.]*\s+){{1,3}}{_STREET}{_E}|BROADWAY{_E}"
            r"|(?:RUE|QUAI|VIA|CALLE|BOULEVARD|PLACE)(?:\s+[A-Z'.-]+){1,3})\.?(?:,\s*[A-Z]{3,}(?:\s[A-Z]{3,})?)?",
        ),
        (
            "address",
            rf"{_W}(?:[A-Z]+(?:STR|STRASSE|GASSE|PLATZ|ALLEE)|RUE(?:\s+[A-Z'-]+){{1,3}}){_E}[ .,]*{_HOUSE}(?![0-9])",
        ),
        ("place", rf"(?:{_NO_WORD})?{_HOUSE}\s+[A-Z]{{3,}}(?:\s[A-Z]{{3,}})?,\s*[A-Z]{{3,}}"),
        ("price", r"[$£€]\s*[0-9][0-9.,]*"),
        (
            "inventory",
            r"(?<![0-9.,])[0-9]{4}[./][0-9]{1,4}(?:[./][0-9]+)*(?![0-9A-Z])|(?<![A-Z])[A-Z]{2,5}\s[0-9]+/[A-Z0-9]+",
        ),
        ("fraction", r"(?<![0-9./])(?:[0-9]{1,2}\s)?[1-9]/[2-9](?![0-9/.])|(?<![0-9])[0-9]{1,2}\s?[½¼¾⅓⅔⅛]"),
        ("figures", r"(?<![A-Z0-9.,/-])[0-9]{1,3}(?:\s[0-9]{3})+(?![A-Z0-9/]|[.,-][0-9])"),
        ("announcement", rf"{_NO_WORD}(?=(?:[A-Z]{{1,3}}[ -]?)?[0-9])|(?<!.){_NO_WORD}(?!.)"),
    )
)
"""Forms in order of precedence: what an earlier one has claimed of a line, a later one cannot."""

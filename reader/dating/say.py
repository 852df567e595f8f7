"""The words of a dating: reasons, warnings and contradictions. weigh.py decides, this only says it.

Every function returns one sentence or a tuple of them, ready to show; texts from outside are cut and kept to one line.
"""

from __future__ import annotations

from collections.abc import Sequence

from reader.dating.evidence import Clue
from reader.dating.production import Production, Reach
from reader.dating.readings import Readings
from reader.dating.rows import Row
from reader.dating.series import Basis, BreakPoint, MakerTable, Series, YearKind
from reader.dating.slips import Change
from reader.errors import one_line
from reader.results import DatedNumber, DoubtfulFigure, Evidence, FigureRival, NamedAlternative

PROOF_WARNING = (
    "An estimate from the maker's numbers, not a proof of age: numbers were drawn in blocks, "
    "and neighbors may be months apart."
)

CONTRADICTS_WITHIN = 1
"""How many points to either side of a number are looked at for contradicting sources."""

_FIGURES_SHOWN = 20
_SLIPS_SHOWN = 3

_BASIS_WORDS = {
    Basis.FIRST_OF_YEAR: "the first number of",
    Basis.LAST_OF_YEAR: "the last number of",
    Basis.FIRST_OR_LAST: "the first or the last number of",
    Basis.SEEN: "seen with the year",
    Basis.NOT_BEFORE: "not before",
    Basis.NOT_AFTER: "not after",
}
_KIND_WORDS = {
    YearKind.BUILT: "built",
    YearKind.SHIPPED: "shipped",
    YearKind.SOLD: "sold",
    YearKind.REGISTERED: "entered in the works' book",
    YearKind.APPROX: "about the year",
}
_KIND_WARNINGS = {
    YearKind.SHIPPED: "The table's year here is that of shipping; the instrument may have been built earlier.",
    YearKind.SOLD: "The table's year here is that of the sale; the instrument may have been built years earlier.",
    YearKind.REGISTERED: "The table's year here is that of the entry in the works' book; it may have been built later.",
    YearKind.APPROX: "The table's year here is itself only about right.",
}


def span(year: int, interval: tuple[int, int]) -> str:
    """Return '1874 (1873 to 1876)'."""
    first, last = interval
    return f"{year}" if first == last else f"{year} ({first} to {last})"


def shown(text: str) -> str:
    """Return a number, cut where it is very long."""
    return text if len(text) <= _FIGURES_SHOWN else f"{text[:_FIGURES_SHOWN]}... ({len(text)} figures)"


def no_maker(clues: Sequence[Clue]) -> tuple[str, ...]:
    """Say that without a maker there is no year, and what the clues alone bound."""
    told = ["No year without the maker: every maker counted from its own start, so a number means a year for each."]
    lows = [clue for clue in clues if clue.not_before is not None]
    highs = [clue for clue in clues if clue.not_after is not None]
    if lows:
        low = max(lows, key=lambda clue: clue.not_before or 0)
        told.append(f"Not before {low.not_before}: {low.says}{'' if low.firm else ' (a soft bound)'}.")
    if highs:
        high = min(highs, key=lambda clue: clue.not_after or 9999)
        told.append(f"Not after {high.not_after}: {high.says}{'' if high.firm else ' (a soft bound)'}.")
    return tuple(told)


def makers(tables: Sequence[tuple[MakerTable, float]]) -> tuple[str, ...]:
    """Say of a maker that it is invented, or taken from the user's own table instead of ours."""
    told = []
    for table, _ in tables:
        if table.maker.invented:
            told.append(f"{table.maker.name} is an invented maker of the demo; the year means nothing.")
        if table.instead_of:
            told.append(
                f"Dated by your own table {one_line(table.origin)!r}, not by the one that comes with Rakelight."
            )
    if len(tables) > 1:
        names = ", ".join(f"{table.maker.name} ({probability:.0%})" for table, probability in tables)
        told.append(f"The maker is not sure: {names}.")
    return tuple(told)


def number_notes(readings: Readings) -> tuple[str, ...]:
    """Warn of a doubtful reading, open figures and leading zeros."""
    told = []
    best = readings.strings[0]
    if readings.typed and not readings.accepted:
        told.append(f"{shown(readings.shown)} leaves figures open: {len(readings.strings)} numbers fit, all as likely.")
    elif not readings.accepted:
        told.append(f"The reading {shown(best.text)} is doubtful (probability {best.probability:.2f}).")
    if best.text.startswith("0"):
        plain = best.text.lstrip("0") or "0"
        told.append(
            f"{shown(best.text)} begins with zero and is dated as {shown(plain)}; makers rarely put zeros first, "
            "so look at it again."
        )
    return tuple(told)


def another_reading(readings: Readings, leading: str) -> tuple[str, ...]:
    """Say that the year rests on another string than the likeliest one, because that one fits the maker less."""
    probabilities = {string.text: string.probability for string in readings.strings}
    if probabilities[leading] >= readings.strings[0].probability:
        return ()
    told = (
        f"The year rests on the reading {shown(leading)} (probability {probabilities[leading]:.2f} by its look alone): "
    )
    return (told + f"{shown(readings.best)} hardly fits the maker's numbers or the other evidence.",)


def series_choice(rows: Sequence[Row], candidates: Sequence[DatedNumber]) -> tuple[str, ...]:
    """Ask for the series where it decides the year: one year for each."""
    best: dict[str, DatedNumber] = {}
    for candidate in candidates:
        if candidate.year is not None:
            best.setdefault(candidate.series, candidate)
    if len(best) < 2:
        return ()
    years = "; ".join(f"'{c.series}' gives {span(c.year or 0, c.interval or (0, 0))}" for c in best.values())
    forms = any(row.series.forms for row in rows)
    ask = "give the instrument's form (--form) or the series (--series)" if forms else "give the series (--series)"
    places = {place for row in rows for place in row.series.places}
    towns = f"; the towns are {', '.join(sorted(places))}" if len(places) > 1 else ""
    return (f"The number fits several series of the maker: {years}. To settle it, {ask}{towns}.",)


def outside(text: str, series: Series) -> str:
    """Say why a number has no year in a series."""
    if not series.points:
        return "the series has no numbers with a year"
    low, high = series.points[0], series.points[-1]
    if len(series.points) == 1:
        return f"only no. {low.serial} ({low.year}) is known"
    return f"{shown(text)} lies outside {low.serial} ({low.year}) to {high.serial} ({high.year})"


def no_year(readings: Readings, rows: Sequence[Row]) -> tuple[str, ...]:
    """Say that no number lies in the table, what the table spans, and whether the length is out of the way."""
    if not rows:
        return ("No year: the tables have no numbers of that maker.",)
    name = rows[0].table.maker.name
    spans = dict.fromkeys(_say_series(row.series) for row in rows)
    told = [f"No year: {shown(readings.best)} lies outside the numbers known of {name}: {'; '.join(spans)}."]
    ends = [p for row in rows for p in (*row.series.points[:1], *row.series.points[-1:])]
    lengths = [len(str(point.serial)) for point in ends]
    if not lengths:
        return tuple(told)
    usual = f"{min(lengths)} to {max(lengths)}" if min(lengths) < max(lengths) else f"{min(lengths)}"
    count = len(readings.best.lstrip("0") or "0")
    if count < min(lengths):
        told.append(
            f"Too few figures: {count}, where the maker's known numbers have {usual}; one may be worn away or hidden, "
            "or it is not the serial."
        )
    if count > max(lengths):
        told.append(
            f"Too many figures: {count}, where the maker's known numbers have {usual}; a second mark may be read "
            "along, or it is not the serial."
        )
    return tuple(told)


def _say_series(series: Series) -> str:
    if not series.points:
        return f"'{series.name}' without years"
    low, high = series.points[0], series.points[-1]
    if len(series.points) == 1:
        return f"'{series.name}' only {low.serial} ({low.year})"
    return f"'{series.name}' from {low.serial} ({low.year}) to {high.serial} ({high.year})"


def no_year_for_contradiction() -> tuple[str, ...]:
    """Say that firm evidence and the number exclude each other."""
    return ("No year: the number and firm evidence exclude each other; one of them is wrong.",)


def contradiction(clue: Clue, text: str, year: int, interval: tuple[int, int], fitting: Sequence[Change]) -> str:
    """Say that a clue and the number contradict each other, and what to look at."""
    changes = [
        f"figure {change.place} of {change.count} is {change.own} or {change.other} ({change.year})"
        for change in fitting
    ]
    look = f", and whether {', '.join(changes)}" if changes else ", and look for a missing or second number"
    return (
        f"{clue.says}: {clue.say_bounds()}, but no. {shown(text)} means {span(year, interval)}. Check the maker{look}."
    )


def wrong_length(clue: Clue, text: str, production: Production) -> tuple[str, ...]:
    """Say that by a clue's years the maker's numbers had more or fewer figures than this one."""
    middles = production.posterior @ production.dates
    inside = [
        len(str(point.serial))
        for point, date in zip(production.points, middles, strict=True)
        if bool(clue.allows(production.years[[round(date) - int(production.years[0])]])[0])
    ]
    count = len(text.lstrip("0") or "0")
    if not inside or min(inside) <= count <= max(inside):
        return ()
    usual = f"{min(inside)} to {max(inside)}" if min(inside) < max(inside) else f"{min(inside)}"
    word = "few" if count < min(inside) else "many"
    slip = "a figure may be lost" if count < min(inside) else "a figure may be read along"
    return (f"Too {word} figures for that time: {count}, where the maker's known numbers then have {usual}; {slip}.",)


def clues_clash(early: Clue, late: Clue) -> str:
    """Say that two clues exclude each other."""
    return f"{early.says} ({early.say_bounds()}) and {late.says} ({late.say_bounds()}) contradict each other."


def clue_evidence(clue: Clue) -> Evidence:
    """Return a clue as evidence."""
    says = f"{clue.says}: {clue.say_bounds()}, {'firm' if clue.firm else 'soft'}"
    return Evidence(clue.kind, says, clue.source, clue.not_before, clue.not_after)


def point_evidence(production: Production, text: str, name: str, reach: Reach) -> tuple[Evidence, ...]:
    """Return the break points that a number's years rest on and, between or beyond them, how."""
    number = int(text)
    points = (*production.neighbors(number), *production.near_limits(number))
    given = [
        Evidence(
            "break-point",
            _say_point(point, name),
            point.source or "no source named",
            None if point.basis is Basis.NOT_AFTER else point.year_from or point.year,
            None if point.basis is Basis.NOT_BEFORE else point.year_to or point.year,
        )
        for point in points
    ]
    if reach is Reach.INSIDE:
        low, high = points[:2]
        share = (number - low.serial) / max(high.serial - low.serial, 1)
        ends = f"from {low.serial} to {high.serial}"
        says = f"{shown(text)} lies {share:.0%} of the way {ends} in '{production.series.name}'"
        source = (
            "uneven production between break points as a Dirichlet process (Ferguson 1973), fitted to published numbers"
        )
        given.append(Evidence("interpolation", says, source))
    if reach is Reach.STEP:
        says = (
            f"{shown(text)} lies less than one year's numbers beyond the last known one in '{production.series.name}'"
        )
        given.append(Evidence("extrapolation", says, "the rate of the nearest two break points"))
    return tuple(given)


def table_notes(production: Production, number: int, reach: Reach) -> tuple[str, ...]:
    """Warn of what the table's own years mean, of scattered or contradicting points, and of the table's end."""
    points = production.neighbors(number)
    told = [_KIND_WARNINGS[kind] for kind in dict.fromkeys(p.year_kind for p in points) if kind in _KIND_WARNINGS]
    if production.series.sparse:
        count = len(production.points)
        told.append(f"Dated by scattered published sightings ({count} of this series), not by the works' own list.")
    if any(point.found == "from-memory" for point in points):
        told.append("A year it rests on is from memory, not seen in a source.")
    near = _near_points(production, number)
    for low, high in production.series.contradicting:
        if low in near or high in near:
            told.append(
                f"The published years near this number contradict each other: {low.serial} ({low.year}) and "
                f"{high.serial} ({high.year}); the interval is widened."
            )
    if reach is Reach.STEP:
        told.append("The number lies just beyond the known ones; one step further no year is given.")
    return tuple(told)


def _near_points(production: Production, number: int) -> set[BreakPoint]:
    place = sum(point.serial < number for point in production.points)
    return set(production.points[max(place - CONTRADICTS_WITHIN, 0) : place + CONTRADICTS_WITHIN])


def states_the_year(points: Sequence[BreakPoint], year: int) -> bool:
    """Whether a source states that this very number was built in that year."""
    return any(p.basis is Basis.SEEN and p.year_kind is YearKind.BUILT and p.year == year for p in points)


def figures(doubtful: Sequence[DoubtfulFigure], readings: Readings) -> tuple[str, ...]:
    """Say for each doubtful figure which years its rivals would give, or that it does not matter."""
    count = len(readings.best)
    told = []
    for figure in doubtful:
        spans = {rival.interval for rival in figure.rivals}
        if len(spans) == 1 and None not in spans:
            rival = figure.rivals[0]
            told.append(
                f"Figure {figure.place} of {count} does not matter: {_whichever(figure)} gives {_span_of(rival)}."
            )
            continue
        rivals = [f"{rival.text} ({rival.probability:.2f}) gives {_span_of(rival)}" for rival in figure.rivals]
        told.append(f"Figure {figure.place} of {count} matters: {'; '.join(rivals)}.")
    return tuple(told)


def _whichever(figure: DoubtfulFigure) -> str:
    texts = [rival.text for rival in figure.rivals]
    return "every figure" if len(texts) == 10 else f"{', '.join(texts[:-1])} or {texts[-1]}"


def _span_of(rival: FigureRival) -> str:
    return "no year" if rival.year is None or rival.interval is None else span(rival.year, rival.interval)


def slips(alternatives: Sequence[NamedAlternative], known: tuple[int, int] = (0, 0)) -> tuple[str, ...]:
    """Name the numbers that a slip would explain, where they give a year outside the known interval."""
    kinds: dict[str, list[NamedAlternative]] = {}
    for one in alternatives:
        if not known[0] <= one.year <= known[1]:
            kinds.setdefault(one.slip, []).append(one)
    return tuple(
        f"If {slip}: "
        + "; ".join(f"{shown(one.text)} gives {span(one.year, one.interval)}" for one in ones[:_SLIPS_SHOWN])
        + ("; and others." if len(ones) > _SLIPS_SHOWN else ".")
        for slip, ones in kinds.items()
    )


def _say_point(point: BreakPoint, name: str) -> str:
    note = f"; {point.note}" if point.note else ""
    memory = "; from memory" if point.found == "from-memory" else ""
    words = f"{_BASIS_WORDS[point.basis]} {point.year}"
    return f"{name} no. {point.serial}: {words} ({_KIND_WORDS[point.year_kind]}{memory}{note})"

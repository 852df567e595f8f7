"""Finds the maker that a name means, typed by a person or read by machine from a fallboard or plate.

`find_maker` takes a name as typed and guesses nothing. `match_maker` also takes text that a machine read: letters
misread, blanks lost, other words around the name. It gives a score, refuses what lies below a measured threshold, and
asks where two makers lie near each other. names.py makes names alike; the tables come from tables.py.

The score is 1 less the weighted edit distance between the name's telling words and the best run of words in the text,
divided by their length (Levenshtein 1966, with transpositions after Damerau 1964); letters that readers take for one
another cost MISREAD_COST instead of 1. Off the score goes what else speaks against the name: other kin ('Brothers' for
'& Sons') and other initials. It ranks and is no probability.
"""

from __future__ import annotations

import functools
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from reader.dating.misread import misread_distance
from reader.dating.names import KINSHIP, NameParts, plain_name, split_name, tells
from reader.dating.series import MakerTable, Tables
from reader.errors import MakerError, one_line
from reader.results import Maker

MATCH_SCORE_MIN = 0.88
"""Least score of a match. Measured, see README.md."""

TIE_SCORE = 0.06
"""Two makers whose scores differ by less are told apart by a person, not by us. About half a letter in a name of
eight."""

KINSHIP_COST = 0.16
"""Off for 'Brothers' where the name has '& Sons' or nothing: another firm of the family as a rule (common practice)."""

KINSHIP_LOST_COST = 0.03
"""Off where the name has '& Sons' and the text does not: often dropped in speech and on plates, or unreadable."""

AFTER_AND = ("sons", "son", "company", "co", "cie")
"""What stands after 'and' and is no partner; a word one slip away from one of them is taken for it."""

PARTNER_COST = 0.16
"""Off for a partner whom the name does not have, as 'X & Y' for 'X' (common practice)."""

INITIAL_COST = 0.16
"""Off for another initial or first name: another firm as a rule (common practice)."""

INITIAL_LOST_COST = 0.15
"""Off where the name has an initial and the text has none: the family name alone may be another firm's."""

NAMES_SHOWN, CLOSE_SCORE = 3, 0.4
"""How many close names an error lists, and the score from which a name is called close."""

TEXT_WORDS_MAX = 60
"""Words of a text that are looked at; a plate with a maker's name and all its patents has about 40."""

NAME_WORDS_MAX = 5
"""Most words that a name's telling words may have come apart into."""

SHORT_NAME = 3
"""A telling part of so few letters must be read without a slip: too many words lie one letter away."""

SHORTLIST_SCORE, SHORTLIST_LENGTH = 0.4, 60
"""The plain edit distance picks pairs of this similarity at least, and so many of them, for the weighted one."""

_NAME_LENGTH_SHOWN = 60
"""Characters of a wrong name that an error repeats; a whole pasted page would not be one line."""


@dataclass(frozen=True)
class MakerMatch:
    """A maker that a text may mean.

    `spelling` is the name of the maker that fits best, `how` what it is: name, alias, former or later. `score` is 0 to
    1; 1 means the same name in plain spelling. It ranks and is no probability. `words` are the first and last word of
    the text (in plain spelling, counted from 0) that it stands in.
    """

    maker: Maker
    score: float
    how: str
    spelling: str
    words: tuple[int, int] = (0, 0)

    def lies_inside(self, other: MakerMatch) -> bool:
        """Whether it is a part of a longer name in the text: 'Rook' in 'Skelmere & Rook' is no second maker."""
        (first, last), (outer_first, outer_last) = self.words, other.words
        return outer_first <= first <= last <= outer_last and last - first < outer_last - outer_first


@dataclass(frozen=True)
class _Run:
    """A run of telling words in a text, with what stands around it."""

    joined: str
    initials: tuple[str, ...]
    kinship: str
    partnered: bool
    words: tuple[int, int]


def find_maker(name: str, tables: Tables) -> Maker:
    """Return the maker that bears the name.

    Tried in this order: the name as written, the name in plain spelling, the aliases, former and later names in plain
    spelling. Raises MakerError (one line: what is wrong, the closest known names with scores, what to do) for an empty
    or unknown name and for one that fits several makers.
    """
    found = _find_exact(name, tables)
    if found is not None:
        return found.maker
    candidates = _candidates(rank_makers(name, tables))
    raise MakerError(_unknown(name, candidates, tables), candidates)


def match_maker(text: str, tables: Tables) -> MakerMatch:
    """Return the maker that a text names, which may have been read by machine and have other words in it.

    A score below 1 is a proposal, to be shown with its score: a name one letter away may be another firm's.
    Raises MakerError, with `candidates`, where no maker's score reaches MATCH_SCORE_MIN, and where two lie within
    TIE_SCORE of each other. Cost: some milliseconds.
    """
    found = _find_exact(text, tables)
    if found is not None:
        return found
    ranked = rank_makers(text, tables)
    if not ranked or ranked[0].score < MATCH_SCORE_MIN:
        candidates = _candidates(ranked)
        raise MakerError(_unknown(text, candidates, tables), candidates)
    near = [match for match in ranked if match.score > ranked[0].score - TIE_SCORE]
    near = [match for match in near if not any(match.lies_inside(other) for other in near)]
    if len(near) > 1:
        fits = " or ".join(_scored(match.maker.name, match.score) for match in near[:NAMES_SHOWN])
        message = f"{_shown(text)} may mean {fits}; look again, or type the name of one in full"
        raise MakerError(message, _candidates(near))
    return near[0]


def rank_makers(text: str, tables: Tables) -> tuple[MakerMatch, ...]:
    """Return every maker with the score of its best name, best first. Nothing is refused."""
    runs = _find_runs(plain_name(text).split()[:TEXT_WORDS_MAX])
    spellings = _spellings(tables)
    best = {table.maker.id: MakerMatch(table.maker, 0.0, "name", table.maker.name) for table in tables.makers.values()}
    for run, (table, how, spelling, parts) in _shortlist(runs, spellings):
        score = _score(run, parts)
        if score > best[table.maker.id].score:
            best[table.maker.id] = MakerMatch(table.maker, score, how, spelling, run.words)
    return tuple(sorted(best.values(), key=lambda match: (-match.score, match.words[0] - match.words[1])))


_Spelling = tuple[MakerTable, str, str, NameParts]


def _find_exact(name: str, tables: Tables) -> MakerMatch | None:
    """Return the one maker that bears the name in plain spelling, None where none does."""
    if not plain_name(name):
        raise MakerError("the maker's name is empty; type it as it stands on the instrument, or leave it out")
    spellings, parts = _spellings(tables), split_name(name)
    for found in (
        [entry for entry in spellings if entry[1] == "name" and entry[2] == name],
        [entry for entry in spellings if entry[1] == "name" and entry[3] == parts],
        [entry for entry in spellings if entry[1] != "name" and entry[3] == parts],
    ):
        makers = {entry[0].maker.id: entry for entry in found}
        if len(makers) > 1:
            raise MakerError(
                _ambiguous(name, [entry[0] for entry in makers.values()]),
                tuple((entry[0].maker.name, 1.0) for entry in makers.values()),
            )
        if makers:
            table, how, spelling, _ = found[0]
            return MakerMatch(table.maker, 1.0, how, spelling)
    return None


@functools.lru_cache(maxsize=8)
def _spellings_of(makers: tuple[MakerTable, ...]) -> tuple[_Spelling, ...]:
    return tuple(
        (table, how, spelling, split_name(spelling))
        for table in makers
        for how, spellings in (
            ("name", (table.maker.name,)),
            ("alias", table.aliases),
            ("former", table.former),
            ("later", table.later),
        )
        for spelling in spellings
    )


def _spellings(tables: Tables) -> tuple[_Spelling, ...]:
    return _spellings_of(tuple(tables.makers.values()))


def _find_runs(words: Sequence[str]) -> list[_Run]:
    """Return every run of up to NAME_WORDS_MAX telling words in the text, other words between them left out."""
    telling = [place for place, word in enumerate(words) if tells(word)] or list(range(len(words)))
    runs = []
    for start in range(len(telling)):
        for end in range(start, min(start + NAME_WORDS_MAX, len(telling))):
            places = telling[start : end + 1]
            joined = "".join(words[place] for place in places)
            after = words[places[0] : places[-1] + 3]
            kinship = next((word for word in after if word in KINSHIP), "")
            initials = tuple(_initials_before(words, places[0]))
            partnered = _has_partner(words, places[0], places[-1])
            runs.append(_Run(joined, initials, kinship, partnered, (places[0], places[-1])))
    return runs


def _has_partner(words: Sequence[str], first: int, last: int) -> bool:
    """Whether 'and' ties a run of words to another telling word: 'X & Y' is another firm than 'X'."""
    before = words[first - 2] if first > 1 and words[first - 1] == "and" else ""
    after = words[last + 2] if last + 2 < len(words) and words[last + 1] == "and" else ""
    return tells(before) or (tells(after) and all(misread_distance(after, word) > 1.0 for word in AFTER_AND))


def _initials_before(words: Sequence[str], place: int) -> Iterator[str]:
    """Yield the initials right before a place, the nearest first: single letters, or the first of a telling word."""
    for word in reversed(words[max(place - 4, 0) : place]):
        if word == "and":
            continue
        if len(word) > 1:
            if tells(word):
                yield word[0]
            return
        yield word


def _shortlist(runs: Sequence[_Run], spellings: Sequence[_Spelling]) -> Iterator[tuple[_Run, _Spelling]]:
    """Yield the pairs that are near enough by plain edit distance to be weighed."""
    if not runs or not spellings:
        return
    from rapidfuzz.distance import OSA  # 10 ms: only when a name is looked for
    from rapidfuzz.process import cdist

    near = cdist(
        [run.joined for run in runs],
        [parts.joined for _, _, _, parts in spellings],
        scorer=OSA.normalized_similarity,
        score_cutoff=SHORTLIST_SCORE,
    )
    for flat in near.argsort(axis=None)[::-1][:SHORTLIST_LENGTH]:
        row, column = divmod(int(flat), len(spellings))
        if near[row, column] > 0:
            yield runs[row], spellings[column]


def _score(run: _Run, parts: NameParts) -> float:
    length = max(len(parts.joined), len(run.joined))
    distance = misread_distance(run.joined, parts.joined)
    if distance and len(parts.joined) <= SHORT_NAME:
        return 0.0
    score = 1.0 - distance / length
    if parts.kinship.rstrip("s") != run.kinship.rstrip("s"):
        score -= KINSHIP_COST if run.kinship else KINSHIP_LOST_COST
    score -= PARTNER_COST if run.partnered else 0.0
    if parts.initials:
        nearest = parts.initials[::-1]
        told = run.initials[: len(nearest)]
        if not told:
            score -= INITIAL_LOST_COST
        elif told != nearest[: len(told)]:
            score -= INITIAL_COST
    elif len(parts.core) == 1 and run.initials and len(run.joined) <= SHORT_NAME:
        score -= INITIAL_COST
    return max(score, 0.0)


def _ambiguous(name: str, found: Iterable[MakerTable]) -> str:
    fits = "; ".join(f"{entry.maker.name} ({entry.maker.place or 'place unknown'})" for entry in found)
    return f"the maker's name {_shown(name)} fits several makers: {fits}; type one of these names in full"


def _candidates(ranked: Sequence[MakerMatch]) -> tuple[tuple[str, float], ...]:
    return tuple((match.maker.name, match.score) for match in ranked[:NAMES_SHOWN] if match.score >= CLOSE_SCORE)


def _unknown(name: str, candidates: Sequence[tuple[str, float]], tables: Tables) -> str:
    if not tables.makers:
        return (
            f"no table knows the maker {_shown(name)}, the tables are empty; leave the maker out, then no year is given"
        )
    if not candidates:
        return (
            f"no table knows the maker {_shown(name)} or one close to it; `rakelight tables` lists the known makers; "
            "type one of these, or leave the maker out, then no year is given"
        )
    listed = ", ".join(_scored(*candidate) for candidate in candidates)
    return (
        f"no table knows the maker {_shown(name)}; closest known names: {listed}; "
        "type one of these, or leave the maker out, then no year is given"
    )


def _scored(name: str, score: float) -> str:
    return f"{one_line(name)} ({score:.2f})"


def _shown(name: str) -> str:
    text = one_line(name)
    return repr(text if len(text) <= _NAME_LENGTH_SHOWN else text[:_NAME_LENGTH_SHOWN] + "...")

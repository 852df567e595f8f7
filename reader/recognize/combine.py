"""Make one reading of a region from everything that was read there.

In come raw lines of one region: several views and framings, both directions of reading, one or more recognizers. Out
comes one Reading: the string that most of them stand behind, its rivals, and a calibrated probability. Opinions are
pooled linearly (Stone 1961): each line spreads its weight over its best strings. Views of one photo share their faults,
so their agreement is only one input of the calibration and is never multiplied up as if independent.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from reader.geometry import map_points, quad_overlap, quad_size, turn_quad
from reader.recognize.calibrate import Calibration, Features
from reader.recognize.recognizer import RawCharacter, RawLine
from reader.results import Candidate, Character, Reading, Region, Rival

CANDIDATES_MAX = 5
"""Most whole strings that a reading offers."""

RIVALS_MAX = 4
"""Most rivals of one character."""

LENGTH_FULL = 5
"""From this many characters on, length no longer speaks for a string; shorter ones are often picture noise."""

LISTED_SHARE = 0.8
"""Share of the doubt that goes to listed rivals; the rest belongs to what nobody thought of."""

DECIDED_SHARE = 0.2
"""A direction of reading is decided when the other one's best string has less than this share of the weight."""

CUT_SHORT_MIN = 0.6
"""A string that holds another one, and that its line gives at least this probability, is taken for the whole of what
the other cut short. On 140 rendered photos with classical finding, of strings with a figure more beside the other's,
13 were the whole and 1 was not."""

AGREES = 0.3
"""A picture agrees with a string that it gives more than this probability."""

REPEATED_OVERLAP = 0.5
"""Two regions that share more than this of the smaller one and give the same string hold it once."""

KEPT_IN_FRONT = "#"
"""Signs that announce a number and so are kept at the beginning of a string."""

INCHES = "\"'′″"
"""Signs that make a size of the figure before them."""


@dataclass(frozen=True)
class _Vote:
    """One string's backing: summed weight, by whom, and the line that says it best.

    `best` is None where the string is nowhere a line's first choice.
    """

    weight: float
    recognizers: frozenset[str]
    best: RawLine | None


@dataclass(frozen=True)
class _Ballot:
    """All votes on one region, both directions of reading, and which direction won."""

    upright: dict[str, _Vote]
    turned: dict[str, _Vote]
    lines: Sequence[RawLine]

    @property
    def half_turn(self) -> bool:
        return _top_weight(self.turned) > _top_weight(self.upright)

    @property
    def ranked(self) -> list[tuple[str, _Vote]]:
        """The winning direction's strings, heaviest first, the first one some line's first choice."""
        votes = self.turned if self.half_turn else self.upright
        ranked = sorted(votes.items(), key=lambda item: (-item[1].weight, item[0]))
        return sorted(ranked, key=lambda item: item[1].best is None) if ranked and ranked[0][1].best is None else ranked

    @property
    def other_way(self) -> tuple[str, float]:
        """The losing direction's best string and its share of both directions' best weights; ('', 0) for none."""
        votes = self.upright if self.half_turn else self.turned
        text = max(votes, key=lambda text: (votes[text].weight, text), default="")
        weight = votes[text].weight if text else 0.0
        return text, weight / max(weight + max(_top_weight(self.upright), _top_weight(self.turned)), 1e-9)


def combine_lines(lines: Sequence[RawLine], calibration: Calibration) -> Reading:
    """Return the reading of one region from its raw lines (at least one, all of the same region).

    The direction of reading is the one with the heavier votes; the reading's region is turned accordingly. Where the
    other direction has a string of like weight ('1961' and '1961', '68' and '89'), the region stays open to a half turn
    and that string is among the candidates.
    """
    region = lines[0].picture.region
    name = "+".join(sorted({line.picture.view.name for line in lines}))
    ballot = _vote(lines)
    if not ballot.ranked or ballot.ranked[0][1].best is None:
        return Reading(region, (), (), name)
    if ballot.half_turn:
        region = replace(region, quad=turn_quad(region.quad, 2))
    both_tried = len({line.picture.half_turn for line in lines}) == 2
    if both_tried and ballot.other_way[1] < DECIDED_SHARE:
        region = replace(region, half_turn_open=False)
    probability = calibration.probability(_features(ballot))
    best, *others = [vote.best for _, vote in ballot.ranked if vote.best is not None]
    characters = _characters(best, others, probability, region)
    return Reading(region, characters, _candidates(ballot, characters, probability), name)


def drop_repeated(readings: Sequence[Reading]) -> list[Reading]:
    """Keep the surest of readings that give the same letters and figures in one place, in their order.

    Finding often marks a string twice, a little askew; what is read twice there is one string and one opinion.
    """
    kept: list[Reading] = []
    for reading in sorted(readings, key=lambda reading: -reading.probability):
        if not any(_repeats(reading, other) for other in kept):
            kept.append(reading)
    return [reading for reading in readings if any(reading is other for other in kept)]


def _repeats(reading: Reading, other: Reading) -> bool:
    same = _signs(reading.text) == _signs(other.text)
    return same and quad_overlap(reading.region.quad, other.region.quad)[1] > REPEATED_OVERLAP


def _signs(text: str) -> str:
    return "".join(sign for sign in text.upper() if sign.isalnum())


def describe_lines(lines: Sequence[RawLine]) -> Features | None:
    """Return what the calibration sees of a region's raw lines, or None where nothing was read."""
    ballot = _vote(lines)
    return _features(ballot) if ballot.ranked and ballot.ranked[0][1].best is not None else None


def _vote(lines: Sequence[RawLine]) -> _Ballot:
    return _Ballot(
        _votes([line for line in lines if not line.picture.half_turn]),
        _votes([line for line in lines if line.picture.half_turn]),
        lines,
    )


def _features(ballot: _Ballot) -> Features:
    text, vote = ballot.ranked[0]
    line = vote.best
    if line is None:
        raise ValueError("a ballot without a first choice has no features")
    characters = [character for character in line.characters if character.text != " "]
    said = [dict(_strings(line)) for line in ballot.lines]
    own = [strings.get(text, 0.0) for strings in said]
    return Features(
        score=line.score,
        weakest=min(character.score for character in characters),
        mean=sum(own) / len(own),
        second=max((share for strings in said for other, share in strings.items() if other != text), default=0.0),
        agreeing=sum(share > AGREES for share in own),
        share=vote.weight / sum(other.weight for _, other in ballot.ranked),
        other_way=ballot.other_way[1],
        recognizers=len(vote.recognizers),
        length=len(characters),
        figures=sum(character.text.isdigit() for character in characters),
    )


def _without_edge_marks(line: RawLine) -> RawLine:
    """Drop punctuation at both ends: specks and picture edges read as commas, quotes and bars. Inches stay."""
    begin, end = _inner(line.text)
    return replace(line, characters=line.characters[begin:end])


def _inner(text: str) -> tuple[int, int]:
    """Return where a string begins and ends without the punctuation at its ends."""
    begin, end = 0, len(text)
    while begin < end and not text[begin].isalnum() and text[begin] not in KEPT_IN_FRONT:
        begin += 1
    while end > begin and not text[end - 1].isalnum():
        if text[end - 1] in INCHES and end - begin > 1 and text[end - 2].isdigit():
            break
        end -= 1
    return begin, end


def _strings(line: RawLine) -> list[tuple[str, float]]:
    """Return what a line says as strings without edge marks, each with its probability or, lacking that, its score."""
    found: dict[str, float] = defaultdict(float)
    for text, probability in line.candidates or ((line.text, line.score**2),):
        begin, end = _inner(text)
        found[text[begin:end]] += probability
    return [(text, weight) for text, weight in found.items() if any(c.isalnum() for c in text)]


def _votes(lines: Sequence[RawLine]) -> dict[str, _Vote]:
    weights: dict[str, float] = defaultdict(float)
    first: dict[str, list[RawLine]] = defaultdict(list)
    for line in lines:
        for text, probability in _strings(line):
            weights[text] += probability * min(sum(c.isalnum() for c in text), LENGTH_FULL) / LENGTH_FULL
        own = _without_edge_marks(line)
        if own.text:
            first[own.text].append(own)
    _absorb_cut_strings(weights, first)
    return {
        text: _Vote(
            weight,
            frozenset(line.recognizer for line in first[text]),
            max(first[text], key=lambda line: line.score, default=None),
        )
        for text, weight in weights.items()
    }


def _absorb_cut_strings(weights: dict[str, float], first: dict[str, list[RawLine]]) -> None:
    """Give the weight of a string that a region cut short to the whole string that a wider picture shows."""
    for whole in sorted(first, key=len):
        if max(dict(_strings(line)).get(whole, 0.0) for line in first[whole]) < CUT_SHORT_MIN:
            continue
        for part in [text for text in weights if text in whole and text != whole]:
            weights[whole] += weights.pop(part)
            first.pop(part, None)


def _top_weight(votes: dict[str, _Vote]) -> float:
    return max((vote.weight for vote in votes.values() if vote.best is not None), default=0.0)


def _characters(line: RawLine, others: Sequence[RawLine], probability: float, region: Region) -> tuple[Character, ...]:
    """Return calibrated characters: their probabilities multiply up to the string's."""
    raw = [_with_votes(character, place, line, others) for place, character in enumerate(line.characters)]
    doubt = [-math.log(min(max(character.score, 1e-3), 0.9999)) for character in raw if character.text != " "]
    exponent = -math.log(max(probability, 1e-6)) / max(sum(doubt), 1e-9)
    result = []
    for character in raw:
        own = 1.0 if character.text == " " else min(max(character.score, 1e-3), 0.9999) ** exponent
        result.append(
            Character(character.text, own, _rivals(character.rivals, 1 - own), _span(character.span, line, region))
        )
    return tuple(result)


def _with_votes(character: RawCharacter, place: int, line: RawLine, others: Sequence[RawLine]) -> RawCharacter:
    """Return the character with what other lines of the same length say in its place among its rivals."""
    rivals = dict(character.rivals)
    for other in others:
        if len(other.characters) == len(line.characters):
            said = other.characters[place]
            if said.text not in (character.text, " "):
                rivals[said.text] = max(rivals.get(said.text, 0.0), said.score)
    ranked = sorted(rivals.items(), key=lambda pair: -pair[1])
    return replace(character, rivals=tuple(ranked[:RIVALS_MAX]))


def _rivals(raw: Sequence[tuple[str, float]], doubt: float) -> tuple[Rival, ...]:
    total = sum(score for _, score in raw)
    if total <= 0:
        return ()
    return tuple(Rival(text, LISTED_SHARE * doubt * score / total) for text, score in raw)


def _span(span: tuple[float, float], line: RawLine, region: Region) -> tuple[float, float]:
    """Turn a span of the line picture's width into shares of the region's length."""
    height, width = line.picture.pixels.shape
    ends = np.array([[share * width - 0.5, height / 2] for share in span])
    points = map_points(line.picture.view.to_photo, ends)
    start = (region.quad[0] + region.quad[3]) / 2
    along = (region.quad[1] + region.quad[2]) / 2 - start
    length, _ = quad_size(region.quad)
    shares = (points - start) @ along / max(length**2, 1e-6)
    low, high = (float(min(max(share, 0.0), 1.0)) for share in shares)
    return low, max(low, high)


def _candidates(ballot: _Ballot, characters: Sequence[Character], probability: float) -> tuple[Candidate, ...]:
    """Return the N best strings: the pool's, the other direction's, and the best one with a character exchanged."""
    best = ballot.ranked[0][0]
    scores: dict[str, float] = defaultdict(float)
    total = sum(vote.weight for _, vote in ballot.ranked)
    for text, vote in ballot.ranked[1:]:
        scores[text] += vote.weight / total
    for place, character in enumerate(characters):
        for rival in character.rivals:
            scores[best[:place] + rival.text + best[place + 1 :]] += rival.probability
    turned, share = ballot.other_way
    scores[turned] += share
    for text in (best, ""):
        scores.pop(text, None)
    spread = LISTED_SHARE * (1 - probability) / max(sum(scores.values()), 1e-9)
    others = sorted(scores.items(), key=lambda pair: (-pair[1], pair[0]))[: CANDIDATES_MAX - 1]
    return (
        Candidate(best, probability),
        *(Candidate(text, min(probability, score * spread)) for text, score in others),
    )

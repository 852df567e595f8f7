"""Make one reading of a region from everything that was read there.

In come raw lines of one region: several views, both directions of reading, one or more recognizers. Out comes one
Reading: the string that most of them stand behind, its rivals, and a calibrated probability. Views of one photo share
their faults, so their agreement is only one input of the calibration and is never multiplied up as if independent.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from reader.geometry import map_points, quad_size, turn_quad
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


KEPT_IN_FRONT = "#"
"""Signs that announce a number and so are kept at the beginning of a string."""

INCHES = "\"'′″"
"""Signs that make a size of the figure before them."""


@dataclass(frozen=True)
class _Vote:
    """One string's backing: summed weight, and the line that says it best."""

    weight: float
    views: int
    best: RawLine


@dataclass(frozen=True)
class _Ballot:
    """All votes on one region, both directions of reading, and which direction won."""

    upright: dict[str, _Vote]
    turned: dict[str, _Vote]

    @property
    def half_turn(self) -> bool:
        return _top_weight(self.turned) > _top_weight(self.upright)

    @property
    def ranked(self) -> list[tuple[str, _Vote]]:
        """The winning direction's strings, heaviest first."""
        votes = self.turned if self.half_turn else self.upright
        return sorted(votes.items(), key=lambda item: (-item[1].weight, item[0]))


def combine_lines(lines: Sequence[RawLine], calibration: Calibration) -> Reading:
    """Return the reading of one region from its raw lines (at least one, all of the same region).

    The direction of reading is the one with the heavier votes; the reading's region is turned accordingly.
    """
    region = lines[0].picture.region
    name = "+".join(sorted({line.picture.view.name for line in lines}))
    ballot = _vote(lines)
    if not ballot.ranked:
        return Reading(region, (), (), name)
    if ballot.half_turn:
        region = replace(region, quad=turn_quad(region.quad, 2))
    if ballot.upright and ballot.turned:
        region = replace(region, half_turn_open=False)
    probability = calibration.probability(_features(ballot))
    best, *others = [vote.best for _, vote in ballot.ranked]
    characters = _characters(best, others, probability, region)
    return Reading(region, characters, _candidates(ballot.ranked, characters, probability), name)


def describe_lines(lines: Sequence[RawLine]) -> Features | None:
    """Return what the calibration sees of a region's raw lines, or None where nothing was read."""
    ballot = _vote(lines)
    return _features(ballot) if ballot.ranked else None


def _vote(lines: Sequence[RawLine]) -> _Ballot:
    cleaned = [_without_edge_marks(line) for line in lines]
    return _Ballot(
        _votes([line for line in cleaned if not line.picture.half_turn]),
        _votes([line for line in cleaned if line.picture.half_turn]),
    )


def _features(ballot: _Ballot) -> Features:
    vote = ballot.ranked[0][1]
    loser = min(_top_weight(ballot.upright), _top_weight(ballot.turned))
    total = sum(other.weight for _, other in ballot.ranked) + loser
    characters = [character for character in vote.best.characters if character.text != " "]
    return Features(
        score=vote.best.score,
        share=vote.weight / total,
        views=vote.views,
        length=len(characters),
        figures=sum(character.text.isdigit() for character in characters),
        contrast=_contrast(vote.best),
    )


def _without_edge_marks(line: RawLine) -> RawLine:
    """Drop punctuation at both ends: specks and picture edges read as commas, quotes and bars.

    Inches after a figure stay.
    """
    characters = list(line.characters)
    while characters and not characters[0].text.isalnum() and characters[0].text not in KEPT_IN_FRONT:
        del characters[0]
    while characters and not characters[-1].text.isalnum():
        if characters[-1].text in INCHES and len(characters) > 1 and characters[-2].text.isdigit():
            break
        del characters[-1]
    return replace(line, characters=tuple(characters))


def _votes(lines: Sequence[RawLine]) -> dict[str, _Vote]:
    grouped: dict[str, list[RawLine]] = defaultdict(list)
    for line in lines:
        if any(character.text.isalnum() for character in line.characters):
            grouped[line.text].append(line)
    return {
        text: _Vote(
            weight=sum(_weight(line) for line in group),
            views=len({line.picture.view.name for line in group}),
            best=max(group, key=lambda line: line.score),
        )
        for text, group in grouped.items()
    }


def _weight(line: RawLine) -> float:
    length = sum(character.text.isalnum() for character in line.characters)
    return line.score**2 * min(length, LENGTH_FULL) / LENGTH_FULL


def _top_weight(votes: dict[str, _Vote]) -> float:
    return max((vote.weight for vote in votes.values()), default=0.0)


def _contrast(line: RawLine) -> float:
    """Return the spread between strokes and ground of the line picture, 0 to 1."""
    low, high = np.percentile(line.picture.pixels, (5, 75))
    return float(high - low) / 255


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


def _candidates(
    ranked: Sequence[tuple[str, _Vote]], characters: Sequence[Character], probability: float
) -> tuple[Candidate, ...]:
    """Return the N best strings: what other views read, and the best string with one character exchanged."""
    best = ranked[0][0]
    scores: dict[str, float] = defaultdict(float)
    total = sum(vote.weight for _, vote in ranked)
    for text, vote in ranked[1:]:
        scores[text] += vote.weight / total
    for place, character in enumerate(characters):
        for rival in character.rivals:
            scores[best[:place] + rival.text + best[place + 1 :]] += rival.probability
    scores.pop(best, None)
    spread = LISTED_SHARE * (1 - probability) / max(sum(scores.values()), 1e-9)
    others = sorted(scores.items(), key=lambda pair: -pair[1])[: CANDIDATES_MAX - 1]
    return (
        Candidate(best, probability),
        *(Candidate(text, min(probability, score * spread)) for text, score in others),
    )

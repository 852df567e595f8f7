"""Chooses the instrument's serial among the marks that trade rule calls serials.

Marks come from rules.py; the serial goes to dating and into the answer. A mark's weight is the probability that its
text is read right times the probability that it is a serial at all. The same number in another place confirms it
(common practice); a different one competes with it.
"""

from __future__ import annotations

from collections.abc import Sequence

from reader.geometry import grow_quad, quad_overlap, quad_size
from reader.results import Candidate, Mark, MarkKind, Quad, Serial

ACCEPT_PROBABILITY = 0.92
"""Least probability of an accepted serial. The goal: answers accepted on photos held out from choosing this value are
right at least 99 times in 100. On 180 held-out rendered photos 69 of 70 were (of the other an 8 has lost its left half
and looks like a 3); none of 245 photos without a serial had one accepted. That does not yet show 99 in 100. The value
was raised from 0.9 after two wrong answers on path-traced scenes. tools/benchmark/RESULTS.md has the sets one by one
(`python -m tools.benchmark.photos`)."""

SHARED_ERROR = 0.3
"""Share of errors that two places have in common: one photo, one light and one recognizer misread the same worn figure
alike, and a case number may stand in two places too. Judgement, to be checked by tools/benchmark."""

SAME_PLACE = 0.1
"""Two quads that share more than this of the smaller one are one place, read twice."""

OWN_PLACE = 0.5
"""A second place has this much room of its own around it, in heights of its figures: regions of one place may lie
askew and hardly overlap, and no number is struck twice so close. Judgement."""

SERIAL_MIN = 0.1
"""A number that weighs less is not given: it is most likely grain. On 210 rendered photos all 10 such choices were
wrong."""

CONTRADICTION = 0.5
"""Another number with at least this share of the best one's weight contradicts it."""

WEIGHT_MAX = 0.999
"""No number counts as more certain than this, whatever the readings say."""

ALTERNATIVES_MAX = 5
"""Most other marks' numbers that a serial offers beside its own mark's alternatives."""


def choose_serial(marks: Sequence[Mark]) -> Serial | None:
    """Return the best serial with its rivals, or None where no mark is a serial or none weighs SERIAL_MIN.

    Its probability is the weight of its number against those of all other numbers, taken as rivals of which at most
    one is right: odds / (1 + sum of all odds). For a single number that is its weight itself. It is never accepted
    where another number weighs similarly. Nothing depends on the order of the marks.
    """
    serials = sorted((mark for mark in marks if mark.kind is MarkKind.SERIAL), key=_rank)
    if not serials:
        return None
    weights = {mark.text: weigh_number(mark.text, serials) for mark in serials}
    text = min(weights, key=lambda number: (-weights[number], number))
    best = next(mark for mark in serials if mark.text == text)
    rivals = {number: weight for number, weight in weights.items() if not _part_of_best(number, best, serials)}
    odds = {number: weight / (1 - weight) for number, weight in rivals.items()}
    total = 1 + sum(odds.values())
    probability = odds[text] / total
    if weights[text] < SERIAL_MIN:
        return None
    others = {number: value / total for number, value in odds.items() if number != text}
    contradicted = any(rivals[number] >= CONTRADICTION * rivals[text] for number in others)
    return Serial(
        text=text,
        probability=probability,
        accepted=probability >= ACCEPT_PROBABILITY and not contradicted,
        mark=best.id,
        alternatives=_alternatives(best, others, probability),
        confirmed_by=tuple(sorted(mark.id for mark in _confirming(best, serials))),
    )


def weigh_number(text: str, serials: Sequence[Mark]) -> float:
    """Return the weight of a number from all places that say it, best first.

    The doubt after two places is (1 - p1) * (1 - p2 * (1 - SHARED_ERROR)): with independent errors it would be
    (1 - p1) * (1 - p2), with wholly shared ones 1 - p1. A place that has the number among its alternatives only counts
    with the alternative's probability. Places that overlap or nearly touch count once.
    """
    said = [(_probability_of(text, mark) * mark.kind_probability, mark) for mark in serials]
    doubt, counted = 1.0, list[Mark]()
    for weight, mark in sorted(said, key=lambda pair: (-pair[0], _rank(pair[1]))):
        if weight > 0 and not any(_one_place(mark, other) for other in counted):
            doubt *= 1 - weight * (1 - SHARED_ERROR if counted else 1)
            counted.append(mark)
    return min(1 - doubt, WEIGHT_MAX)


def _rank(mark: Mark) -> tuple[object, ...]:
    """Order marks by weight, then by all else that the choice looks at: never by the order of input."""
    others = [(candidate.text, candidate.probability) for candidate in mark.alternatives]
    weight = mark.probability * mark.kind_probability
    return -weight, mark.text, mark.quad.ravel().tolist(), -mark.kind_probability, others


def _probability_of(text: str, mark: Mark) -> float:
    if mark.text == text:
        return mark.probability
    return sum(candidate.probability for candidate in mark.alternatives if candidate.text == text)


def _overlap(first: Mark, second: Mark) -> bool:
    return quad_overlap(first.quad, second.quad)[1] > SAME_PLACE


def _one_place(first: Mark, second: Mark) -> bool:
    """Whether two marks overlap or nearly touch, so that the second may be the first one read again."""
    return quad_overlap(_with_room(first.quad), _with_room(second.quad))[1] > 0


def _with_room(quad: Quad) -> Quad:
    room = OWN_PLACE / 2 * quad_size(quad)[1]
    return grow_quad(quad, room, room)


def _confirming(best: Mark, serials: Sequence[Mark]) -> list[Mark]:
    """Return the other places with the same number, each place once."""
    found: list[Mark] = []
    for mark in serials:
        if mark.text == best.text and not any(_one_place(mark, other) for other in (best, *found)):
            found.append(mark)
    return found


def _part_of_best(number: str, best: Mark, serials: Sequence[Mark]) -> bool:
    """Whether a number is only a piece of the best one, read in the same place (a region that cut it short)."""
    places = [mark for mark in serials if mark.text == number]
    return number != best.text and number in best.text and all(_overlap(mark, best) for mark in places)


def _alternatives(best: Mark, others: dict[str, float], probability: float) -> tuple[Candidate, ...]:
    """Return the numbers of other marks and the best mark's own other readings; with the best they sum to 1 at most."""
    found = {candidate.text: candidate.probability * best.kind_probability for candidate in best.alternatives}
    for number, value in sorted(others.items(), key=lambda pair: -pair[1])[:ALTERNATIVES_MAX]:
        found[number] = max(found.get(number, 0.0), value)
    found.pop(best.text, None)
    ranked = sorted(found.items(), key=lambda pair: (-pair[1], pair[0]))
    scale = min(1.0, (1 - probability) / max(sum(value for _, value in ranked), 1e-9))
    return tuple(Candidate(number, value * scale) for number, value in ranked if value * scale > 0)

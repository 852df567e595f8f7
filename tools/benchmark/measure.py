"""From kept answers to figures: one Result for each reader, job and set, and the vote of two readers together."""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from tools.benchmark.contestants import Contestant
from tools.benchmark.figures import (
    accepted_at,
    area_under_risk,
    calibration_error,
    character_error_rate,
    coverage_at,
    interval,
)
from tools.benchmark.pictures import Item
from tools.benchmark.scoring import Scored, Way, best_way, lines_of, plain, ways_of

PRECISION = 0.99
"""The precision that accepted answers must have."""


@dataclass(frozen=True)
class Result:
    """What one reader did on one set: the items it was asked, its judged answers, how its string was taken."""

    contestant: Contestant
    job: str
    name: str
    items: tuple[Item, ...]
    scored: tuple[Scored, ...]
    way: Way
    seconds: tuple[float, ...]
    failed: int

    @property
    def exact(self) -> float:
        """Share of right answers."""
        return float(np.mean([one.right for one in self.scored]))

    @property
    def among(self) -> float:
        """Share of pictures whose truth is among all strings given."""
        return float(np.mean([one.among for one in self.scored]))

    @property
    def error_rate(self) -> float:
        """Character error rate; NaN where nothing is to be read."""
        truths = [[plain(text, item.figures) for text in item.texts] for item in self.items]
        return character_error_rate([one.text for one in self.scored], truths)

    @property
    def exact_interval(self) -> tuple[float, float]:
        """95 % bootstrap interval of `exact`."""
        return interval([one.right for one in self.scored])

    def of_kind(self, kind: str) -> Result | None:
        """Return the part of one kind, or None where there is none. The way of taking a string stays the set's."""
        part = self.only({item.id for item in self.items if item.kind == kind})
        return part if part.items else None

    def only(self, ids: Collection[str]) -> Result:
        """Return the part with the given items."""
        chosen = [number for number, item in enumerate(self.items) if item.id in ids]
        return replace(
            self,
            items=tuple(self.items[n] for n in chosen),
            scored=tuple(self.scored[n] for n in chosen),
            seconds=tuple(self.seconds[n] for n in chosen),
        )


@dataclass(frozen=True)
class Certainty:
    """How well a reader knows when it is right; see figures.py. Shares are of all pictures of the set."""

    accepted: int
    accepted_right: int
    coverage: float
    area: float
    calibration: float
    count: int


def result_of(
    contestant: Contestant, job: str, name: str, items: Sequence[Item], answers: dict[str, dict[str, Any]]
) -> Result:
    """Judge a reader's answers to a set. Only answered items count, so an unfinished run gives figures too."""
    asked = tuple(item for item in items if item.id in answers)
    serials = asked[0].rendered or not any(item.texts for item in items)
    ways = ways_of(own=contestant.own, figures=asked[0].figures, job=job, limit=contestant.limit, serials=serials)
    way, scored = best_way(asked, answers, ways)
    replies = [answers[item.id] for item in asked]
    return Result(
        contestant,
        job,
        name,
        asked,
        tuple(scored),
        way,
        tuple(float(reply["seconds"]) for reply in replies),
        sum("error" in reply for reply in replies),
    )


def kindest(result: Result, replies: dict[str, dict[str, Any]], limit: float) -> Result:
    """Return our result on whole photos with the choice that peers have: the way that is right most often.

    All ways of a peer are tried on our marks and on our lines, beside our own answer. `limit` is the least score that
    a way may ask for.
    """
    found = [(result.way, list(result.scored))]
    ways = ways_of(own=False, figures=result.items[0].figures, job=result.job, limit=limit)
    for strings in (lambda reply: reply["boxes"][1:], lines_of):
        boxes = {item.id: {**replies[item.id], "boxes": strings(replies[item.id])} for item in result.items}
        found.append(best_way(result.items, boxes, ways))
    way, scored = max(found, key=lambda entry: sum(one.right for one in entry[1]))
    return replace(result, way=way, scored=tuple(scored))


def certainty(results: Sequence[Result], threshold: float) -> Certainty:
    """Return how one reader's confidence comes true over one or several sets together.

    An answer where nothing is to be read is a wrong answer. Pictures without an answer have confidence 0. The shares
    accepted and the area are over the pictures with something to read, the precision over all accepted answers.
    """
    pairs = [(one, bool(item.texts)) for r in results for item, one in zip(r.items, r.scored, strict=True)]
    given = [one for one, _ in pairs if one.text]
    right = np.array([one.right and bool(one.text) for one, _ in pairs])
    confidence = np.array([one.confidence if one.text else 0.0 for one, _ in pairs])
    readable = np.array([there for _, there in pairs])
    accepted, accepted_right = accepted_at(right, confidence, threshold)
    return Certainty(
        accepted,
        accepted_right,
        coverage_at(right, confidence, PRECISION, readable),
        area_under_risk(right[readable], confidence[readable]) if readable.any() else math.nan,
        calibration_error([one.right for one in given], [one.confidence for one in given]),
        int(readable.sum()),
    )


def difference(first: Result, second: Result) -> tuple[float, float, float]:
    """Return the difference of two readers' exact match on the pictures that both were asked, and its 95 % interval."""
    other = {one.id: one.right for one in second.scored}
    both = [float(one.right) - float(other[one.id]) for one in first.scored if one.id in other]
    low, high = interval(both)
    return float(np.mean(both)), low, high


def vote(first: Result, second: Result) -> tuple[Result, Result, Result]:
    """Return a reader (`first`) alone and joined in two ways by a voter, on the pictures that both were asked.

    In the first way the voter only confirms: where both give one string it ranks above every string without a vote, by
    the two doubts multiplied. In the second, moreover, the voter's string is taken where it is the surer of the two.
    The truth is among the strings when either reader gave it.
    """
    other = {one.id: one for one in second.scored}
    kept = [(item, one, other[one.id]) for item, one in zip(first.items, first.scored, strict=True) if one.id in other]
    items = tuple(item for item, _, _ in kept)
    alone = tuple(one for _, one, _ in kept)
    confirming = tuple(_confirmed(one, one, peer) for _, one, peer in kept)
    choosing = tuple(_confirmed(peer if peer.confidence > one.confidence else one, one, peer) for _, one, peer in kept)
    ways = (alone, confirming, choosing)
    own, confirmed, chosen = (
        replace(
            first,
            items=items,
            scored=scored,
            seconds=(),
        )
        for scored in ways
    )
    return own, confirmed, chosen


def _confirmed(taken: Scored, one: Scored, peer: Scored) -> Scored:
    """Return the answer taken, with a confidence above a half where both readers gave its string, else below it."""
    agreed = bool(one.text) and one.text == peer.text
    confidence = 1 - (1 - one.confidence) * (1 - peer.confidence) / 2 if agreed else taken.confidence / 2
    return replace(taken, confidence=confidence, among=one.among or peer.among)

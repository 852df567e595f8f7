"""Results from kept answers, and two readers together."""

from __future__ import annotations

from typing import Any

import pytest

from tools.benchmark.contestants import CONTESTANTS, OWN, Contestant, named
from tools.benchmark.measure import Result, certainty, difference, result_of, vote
from tools.benchmark.pictures import Item
from tools.benchmark.timing import summarize

BOX = [0.0, 0.0, 9.0, 9.0]


def items(*texts: str) -> list[Item]:
    return [Item(str(k), "", (text,) if text else (), "ab"[k % 2], True, False, True) for k, text in enumerate(texts)]


def replies(*answers: tuple[str, float]) -> dict[str, dict[str, Any]]:
    return {
        str(k): {"boxes": [[text, score, BOX]] if text else [], "seconds": 0.1}
        for k, (text, score) in enumerate(answers)
    }


def result(texts: list[str], answers: list[tuple[str, float]], reader: Contestant | None = None) -> Result:
    return result_of(reader or named(OWN), "line", "set", items(*texts), replies(*answers))


def test_ours_comes_first_and_names_are_unique():
    assert CONTESTANTS[0].name == OWN
    assert len({contestant.name for contestant in CONTESTANTS}) == len(CONTESTANTS)


def test_exact_and_error_rate():
    found = result(["12", "34", "56"], [("12", 0.9), ("35", 0.5), ("", 0.0)])
    assert found.exact == pytest.approx(1 / 3)
    assert found.error_rate == pytest.approx(3 / 6)


def test_an_unfinished_run_counts_what_was_asked():
    assert len(result_of(named(OWN), "line", "set", items("1", "2"), replies(("1", 0.9))).scored) == 1


def test_parts_by_kind():
    found = result(["1", "2", "3"], [("1", 0.9), ("9", 0.9), ("3", 0.9)])
    part = found.of_kind("a")
    assert part is not None
    assert (len(part.scored), part.exact) == (2, 1.0)
    assert found.of_kind("c") is None


def test_an_answer_where_nothing_is_to_read_costs_precision_and_no_coverage():
    quiet = certainty([result(["1", "2"], [("1", 0.9), ("2", 0.8)])], 0.5)
    loud = certainty([result(["1", "2", ""], [("1", 0.9), ("2", 0.8), ("7", 0.95)])], 0.5)
    assert (quiet.accepted, quiet.accepted_right, quiet.coverage, quiet.count) == (2, 2, 1.0, 2)
    assert (loud.accepted, loud.accepted_right, loud.coverage, loud.count) == (3, 2, 0.0, 2)
    assert loud.area == quiet.area


def test_several_sets_together():
    one, other = result(["1"], [("1", 0.9)]), result(["2"], [("3", 0.6)])
    both = certainty([one, other], 0.5)
    assert (both.accepted, both.accepted_right, both.count) == (2, 1, 2)


def test_difference_is_taken_on_the_same_pictures():
    gap, low, high = difference(result(["1", "2"], [("1", 1), ("2", 1)]), result(["1", "2"], [("1", 1), ("9", 1)]))
    assert gap == pytest.approx(0.5)
    assert low <= gap <= high


def test_a_vote_ranks_agreement_first():
    own = result(["1", "2", "3"], [("1", 0.6), ("9", 0.9), ("3", 0.7)])
    peer = result(["1", "2", "3"], [("1", 0.5), ("2", 0.95), ("", 0.0)], named("RapidOCR 3.10"))
    alone, confirming, choosing = vote(own, peer)
    assert alone.scored == own.scored
    assert [one.among for one in confirming.scored] == [True, True, True]
    assert [one.text for one in confirming.scored] == ["1", "9", "3"]
    assert [one.text for one in choosing.scored] == ["1", "2", "3"]
    assert confirming.scored[0].confidence > 0.5 > confirming.scored[1].confidence
    assert certainty([own], 0.0).coverage == 0.0  # its surest answer is wrong
    assert certainty([confirming], 0.0).coverage == pytest.approx(1 / 3)


def test_times_leave_out_the_first_picture_and_compare_picture_by_picture():
    def reply(seconds: float) -> dict[str, float]:
        return {"seconds": seconds, "decode": 0.5, "peak_mb": 10.0 * seconds}

    ours, peer = [reply(9), reply(1), reply(2)], [reply(99), reply(3), reply(4)]
    own, other = summarize({OWN: ours, "peer": peer}, "line")
    assert (own.count, own.median, own.to_own, own.peak_mb) == (2, 1.5, 1.0, 90.0)
    assert (other.median, other.to_own, other.to_decoding) == (3.5, 2.5, 7.0)

"""The benchmark's figures against worked examples and general reference libraries."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import bootstrap
from sklearn.calibration import calibration_curve
from sklearn.metrics import precision_recall_curve

from tools.benchmark.figures import (
    accepted_at,
    area_under_risk,
    calibration_error,
    character_error_rate,
    coverage_at,
    edit_distance,
    interval,
    risk_curve,
)


@pytest.mark.parametrize(
    ("first", "second", "distance"),
    [
        ("kitten", "sitting", 3),  # the usual textbook example, e.g. Jurafsky and Martin's exercises
        ("intention", "execution", 5),  # Jurafsky and Martin, Speech and Language Processing, minimum edit distance
        ("", "abc", 3),
        ("41873", "41873", 0),
    ],
)
def test_edit_distance_of_textbook_examples(first, second, distance):
    assert edit_distance(first, second) == distance


@given(st.text("0123", max_size=6), st.text("0123", max_size=6), st.text("0123", max_size=6))
def test_edit_distance_is_a_metric(a, b, c):
    assert edit_distance(a, b) == edit_distance(b, a)
    assert edit_distance(a, c) <= edit_distance(a, b) + edit_distance(b, c)


def test_character_error_rate_weighs_by_length_and_takes_the_nearest_truth():
    # 1 edit in 4 characters, 0 in 2, and a picture without anything to read, which does not count
    assert character_error_rate(["1230", "77", "9"], [["1234", "9999"], ["77"], []]) == pytest.approx(1 / 6)
    assert math.isnan(character_error_rate(["1"], [[]]))


def test_area_under_risk_by_hand():
    # by falling confidence right, wrong, right, wrong: risks 0, 1/2, 1/3, 1/2
    # (Geifman and El-Yaniv 2017, definition of selective risk; mean over the coverages)
    right, confidence = [True, True, False, False], [0.9, 0.7, 0.8, 0.1]
    assert risk_curve(right, confidence) == pytest.approx([0, 1 / 2, 1 / 3, 1 / 2])
    assert area_under_risk(right, confidence) == pytest.approx((0 + 1 / 2 + 1 / 3 + 1 / 2) / 4)


def test_risk_does_not_depend_on_the_order_of_equal_confidences():
    confidence = [0.5, 0.5, 0.5, 0.2]
    one = risk_curve([True, False, True, True], confidence)
    other = risk_curve([False, True, True, True], confidence)
    assert one == pytest.approx(other)
    assert one[:3] == pytest.approx([1 / 3] * 3)


def answers(seed: int = 3, count: int = 400) -> tuple[np.ndarray, np.ndarray]:
    """Answers whose confidence is a little too high."""
    rng = np.random.default_rng(seed)
    confidence = rng.uniform(0.001, 1, count)
    return rng.uniform(size=count) < confidence**1.3, confidence


def test_risk_is_one_minus_precision():
    # scikit-learn's precision at each threshold is the share of right among the k most confident
    right, confidence = answers()
    precision, _, _ = precision_recall_curve(right, confidence)
    assert risk_curve(right, confidence)[::-1] == pytest.approx(1 - precision[:-1])


@pytest.mark.parametrize("wanted", [0.8, 0.9, 0.95, 0.99])
def test_coverage_at_a_precision(wanted):
    # against scikit-learn's precision_recall_curve, whose thresholds rise
    right, confidence = answers(count=3000)
    precision, _, thresholds = precision_recall_curve(right, confidence)
    reached = thresholds[precision[:-1] >= wanted]
    expected = float((confidence >= reached[0]).mean()) if len(reached) else 0.0
    assert coverage_at(right, confidence, wanted) == pytest.approx(expected)


def test_coverage_counts_readable_pictures_and_never_accepts_confidence_zero():
    right, confidence = [True, True, False], [0.9, 0.8, 0.95]
    assert coverage_at(right, confidence, 1.0) == 0  # the surest answer is wrong
    assert coverage_at(right[:2], confidence[:2], 1.0, [True, False]) == 1.0
    assert coverage_at([True, True], [0.0, 0.0], 0.99) == 0
    assert math.isnan(coverage_at([False], [0.5], 0.99, [False]))


def test_calibration_error_against_scikit_learn():
    right, confidence = answers()
    true, said = calibration_curve(right, confidence, n_bins=15, strategy="uniform")
    weights = np.histogram(confidence, bins=np.linspace(0, 1, 16))[0] / len(confidence)
    expected = float((weights[weights > 0] * np.abs(true - said)).sum())
    assert calibration_error(right, confidence) == pytest.approx(expected)


def test_calibration_error_by_hand():
    # two answers at 0.95, one right: |0.5 - 0.95| * 2/3; one at 0.1, wrong: 0.1 * 1/3 (Guo et al. 2017, equation 3)
    assert calibration_error([True, False, False], [0.95, 0.95, 0.1]) == pytest.approx(0.45 * 2 / 3 + 0.1 / 3)
    assert math.isnan(calibration_error([], []))


def test_accepted_at_counts_the_threshold_itself():
    assert accepted_at([True, False, True], [0.97, 0.98, 0.5], 0.97) == (2, 1)


def test_interval_is_scipys_and_repeats():
    right, _ = answers(count=120)
    low, high = interval(right)
    assert (low, high) == interval(right)
    assert low < right.mean() < high
    other = bootstrap((right.astype(float),), np.mean, method="percentile", rng=np.random.default_rng(5))
    assert low == pytest.approx(other.confidence_interval.low, abs=0.02)
    # the normal approximation of a share, for the size of the interval
    assert high - low == pytest.approx(2 * 1.96 * right.std() / np.sqrt(120), rel=0.15)


def test_interval_of_one_answer_is_unknown():
    assert all(math.isnan(end) for end in interval([1.0]))

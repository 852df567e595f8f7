"""The figures of the benchmark: error rate of characters, risk and coverage, calibration, intervals.

All take plain arrays: `right` (N,) bool, whether each answer is right, and `confidence` (N,) float, the reader's own
score from 0 to 1; where a reader gave no answer `right` is false and the confidence 0. Interpolation and resampling
come from numpy and scipy.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

BINS = 15
"""Bins of equal width of the calibration error, as in Guo et al. 2017."""

RESAMPLES = 1000
BOOTSTRAP_SEED = 20261125
INTERVAL = 0.95


def edit_distance(first: str, second: str) -> int:
    """Return the least number of insertions, deletions and exchanges between two strings (Levenshtein 1966)."""
    row = list(range(len(second) + 1))
    for i, x in enumerate(first, 1):
        before, row[0] = row[0], i
        for j, y in enumerate(second, 1):
            before, row[j] = row[j], min(row[j] + 1, row[j - 1] + 1, before + (x != y))
    return row[-1]


def character_error_rate(read: Sequence[str], truths: Sequence[Sequence[str]]) -> float:
    """Return edits over characters of the truth; of several right strings the nearest counts. NaN without any."""
    edits = length = 0
    for text, right in zip(read, truths, strict=True):
        if right:
            nearest = min(right, key=lambda truth: (edit_distance(text, truth), len(truth)))
            edits += edit_distance(text, nearest)
            length += len(nearest)
    return edits / length if length else float("nan")


def risk_curve(right: ArrayLike, confidence: ArrayLike) -> Floats:
    """Return (N,) the risk (share of wrong answers) among the k most confident, k from 1 to N.

    Within a group of equal confidence the errors are spread evenly, so that no order of the input counts.
    """
    wrong = ~np.asarray(right, bool)
    groups, place = np.unique(-np.asarray(confidence, float), return_inverse=True)
    sizes = np.bincount(place, minlength=len(groups))
    errors = np.bincount(place, weights=wrong.astype(float), minlength=len(groups))
    ends, sums = np.concatenate([[0], np.cumsum(sizes)]), np.concatenate([[0.0], np.cumsum(errors)])
    covered = np.arange(1, len(wrong) + 1)
    return np.asarray(np.interp(covered, ends, sums) / covered, np.float64)


def area_under_risk(right: ArrayLike, confidence: ArrayLike) -> float:
    """Return the area under the risk-coverage curve: the mean of its risks (Geifman and El-Yaniv 2017). 0 is best."""
    curve = risk_curve(right, confidence)
    return float(curve.mean()) if len(curve) else float("nan")


def coverage_at(right: ArrayLike, confidence: ArrayLike, precision: float, readable: ArrayLike | None = None) -> float:
    """Return the largest share that a threshold on the confidence accepts with at least this precision.

    A threshold accepts whole groups of equal confidence; answers of confidence 0 are never accepted. `readable` (N,)
    tells which pictures hold something to read: the share is of those alone, the precision is of all accepted answers.
    """
    hits, scores = np.asarray(right, bool), np.asarray(confidence, float)
    there = np.ones(len(hits), bool) if readable is None else np.asarray(readable, bool)
    if not there.any():
        return float("nan")
    best = 0.0
    for threshold in np.unique(scores[scores > 0]):
        accepted = scores >= threshold
        if hits[accepted].mean() >= precision:
            best = max(best, float((accepted & there).sum() / there.sum()))
    return best


def calibration_error(right: ArrayLike, confidence: ArrayLike, bins: int = BINS) -> float:
    """Return the expected calibration error over bins of equal width (Guo et al. 2017). Leave out the unanswered.

    A bin holds its right edge, as in the paper: ((m - 1) / M, m / M].
    """
    hits, scores = np.asarray(right, float), np.asarray(confidence, float)
    if not len(scores):
        return float("nan")
    place = np.clip(np.ceil(scores * bins).astype(int) - 1, 0, bins - 1)
    counts = np.bincount(place, minlength=bins)
    gaps = np.abs(np.bincount(place, hits, bins) - np.bincount(place, scores, bins))
    return float(gaps.sum() / counts.sum())


def accepted_at(right: ArrayLike, confidence: ArrayLike, threshold: float) -> tuple[int, int]:
    """Return how many answers reach the threshold, and how many of those are right."""
    accepted = np.asarray(confidence, float) >= threshold
    return int(accepted.sum()), int((accepted & np.asarray(right, bool)).sum())


def interval(values: ArrayLike) -> tuple[float, float]:
    """Return the 95 % percentile bootstrap interval of the mean (Efron 1979; scipy.stats.bootstrap, fixed seed).

    For the difference of two readers on the same pictures give the differences picture by picture.
    """
    from scipy.stats import bootstrap

    data = np.asarray(values, float)
    if len(data) < 2:
        return (float("nan"), float("nan"))
    found = bootstrap(
        (data,),
        np.mean,
        n_resamples=RESAMPLES,
        confidence_level=INTERVAL,
        method="percentile",
        rng=np.random.default_rng(BOOTSTRAP_SEED),
    ).confidence_interval
    return (float(found.low), float(found.high))


def share_interval(hits: int, count: int) -> tuple[float, float]:
    """Return the exact 95 % interval of a share (Clopper and Pearson 1934; scipy.stats.binomtest); NaN of nothing."""
    from scipy.stats import binomtest

    if not count:
        return (float("nan"), float("nan"))
    found = binomtest(hits, count).proportion_ci(INTERVAL, method="exact")
    return (float(found.low), float(found.high))

"""CTC decoding against the definition: sums over all paths of a short line (Graves et al. 2006, equation 3)."""

from __future__ import annotations

import itertools
from collections import defaultdict

import numpy as np
import pytest
from numpy.typing import NDArray

from reader.recognize.decode import align, decode, keep_figures, search, softmax

ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ.-/°# "


def _collapse(path: tuple[int, ...]) -> tuple[int, ...]:
    return tuple(c for c, _ in itertools.groupby(path) if c)


def _all_strings(probabilities: NDArray[np.float32]) -> dict[tuple[int, ...], float]:
    """Return the exact probability of every label sequence by trying every path."""
    classes, frames = probabilities.shape
    sums: dict[tuple[int, ...], float] = defaultdict(float)
    for path in itertools.product(range(classes), repeat=frames):
        sums[_collapse(path)] += float(np.prod([probabilities[c, t] for t, c in enumerate(path)]))
    return sums


def _random_line(seed: int, classes: int = 4, frames: int = 6) -> NDArray[np.float32]:
    return softmax(np.random.default_rng(seed).normal(0, 1.5, (classes, frames)).astype(np.float32))


@pytest.mark.parametrize("seed", range(6))
def test_beam_search_gives_the_exact_probabilities(seed: int) -> None:
    probabilities = _random_line(seed)
    exact = sorted(_all_strings(probabilities).items(), key=lambda item: -item[1])
    found = search(probabilities, 5, beam=2000)
    for (prefix, score), (truth, probability) in zip(found, exact[:5], strict=True):
        assert score == pytest.approx(np.log(probability), abs=1e-4)
        assert prefix == truth or probability == pytest.approx(dict(exact)[prefix], rel=1e-4)


@pytest.mark.parametrize("seed", range(6))
def test_alignment_is_the_best_path_of_its_string(seed: int) -> None:
    probabilities = _random_line(seed)
    classes = search(probabilities, 1, beam=2000)[0][0]
    paths = [p for p in itertools.product(range(4), repeat=6) if _collapse(p) == classes]
    best = max(paths, key=lambda p: np.prod([probabilities[c, t] for t, c in enumerate(p)]))
    for (begin, end), label in zip(align(probabilities, classes), classes, strict=True):
        assert set(best[begin:end]) == {label}


def test_repeated_figures_need_a_blank_between() -> None:
    logits = np.full((len(ALPHABET) + 1, 7), -8.0, np.float32)
    for t, c in enumerate("1_11_7_"):
        logits[0 if c == "_" else ALPHABET.index(c) + 1, t] = 8.0
    line = decode(softmax(logits), ALPHABET)
    assert line.text == "117"
    assert [round((a + b) / 2 * 7 - 0.5) for a, b in line.spans] == [0, 2, 5]
    assert all(score > 0.99 for score in line.scores)
    assert line.nothing < 1e-6


def test_rivals_name_the_other_reading() -> None:
    logits = np.full((len(ALPHABET) + 1, 3), -9.0, np.float32)
    logits[0, [0, 2]] = 5.0
    logits[ALPHABET.index("3") + 1, 1], logits[ALPHABET.index("8") + 1, 1] = 2.0, 1.0
    line = decode(softmax(logits), ALPHABET)
    assert line.text == "3"
    assert line.rivals[0][0][0] == "8"
    assert line.rivals[0][0][1] == pytest.approx(1 / (1 + np.e), abs=0.01)
    assert [text for text, _ in line.candidates[:2]] == ["3", "8"]


def test_figures_only_turns_look_alikes_into_figures() -> None:
    logits = np.full((len(ALPHABET) + 1, 5), -9.0, np.float32)
    for t, c in enumerate("O_I_W"):
        logits[0 if c == "_" else ALPHABET.index(c) + 1, t] = 6.0
    kept = keep_figures(softmax(logits), ALPHABET)
    assert kept.sum(0) == pytest.approx(np.ones(5), abs=1e-4)
    assert decode(kept, ALPHABET).text.startswith("01")


def test_an_empty_line_is_nothing() -> None:
    logits = np.full((len(ALPHABET) + 1, 20), -9.0, np.float32)
    logits[0] = 9.0
    line = decode(softmax(logits), ALPHABET)
    assert (line.text, line.scores, line.spans) == ("", (), ())
    assert line.nothing > 0.99

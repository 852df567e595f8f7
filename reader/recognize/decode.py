"""From a network's logits along a line to strings: CTC best strings, their characters, rivals and places.

In come logits (C, T), class 0 the CTC blank (Graves et al. 2006), class k the k-th character of an alphabet. Out come
the N best strings with log-probabilities by prefix beam search (Hannun et al. 2014, without a language model), and
for each character of the best one what else may stand there: the sum, over the frames that the forced alignment
(Viterbi) gives the character, of the probability of every other character.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float32]

BEAM = 10
"""Prefixes kept after each frame; more changes no best string in our measurements."""

CLASSES_A_FRAME = 8
"""Characters tried in a frame, most probable first."""

PRUNED = 1e-4
"""Characters less probable than this in a frame are not tried."""

RIVALS_MAX = 4

FIGURES = "0123456789"
KEPT_WITH_FIGURES = ".-/ "
"""Signs that may stand among figures."""

LOOKALIKES = {"O": "0", "Q": "0", "D": "0", "I": "1", "L": "1", "Z": "2", "S": "5", "G": "6", "T": "7", "B": "8"}
"""Letters whose probability goes to a figure when only figures are possible: on punches and in many fonts the first is
drawn as the second (O and 0, I and 1 often identical)."""

LOG_NOTHING = -1e30


@dataclass(frozen=True)
class Decoded:
    """What a line says.

    `candidates` are (string, log-probability), best first. `scores`, `rivals`, `spans` belong to the best one's
    characters: probability 0 to 1, (text, probability) best first, and (begin, end) as shares of the line's `frames`.
    `nothing` is the empty string's share, 0 to 1, among it and the candidates.
    """

    candidates: tuple[tuple[str, float], ...]
    nothing: float
    scores: tuple[float, ...]
    rivals: tuple[tuple[tuple[str, float], ...], ...]
    spans: tuple[tuple[float, float], ...]
    frames: int

    @property
    def text(self) -> str:
        """The best string; empty where nothing was read."""
        return self.candidates[0][0]


def softmax(logits: Floats) -> Floats:
    """Return probabilities over the first axis of (C, T) logits."""
    shifted = np.exp(logits - logits.max(0, keepdims=True))
    return np.asarray(shifted / shifted.sum(0, keepdims=True), np.float32)


def keep_figures(probabilities: Floats, alphabet: str) -> Floats:
    """Return (C, T) probabilities with only figures and signs left; look-alike letters count for their figure."""
    kept = probabilities.copy()
    for letter, figure in LOOKALIKES.items():
        if letter in alphabet:
            kept[alphabet.index(figure) + 1] += probabilities[alphabet.index(letter) + 1]
    for place, character in enumerate(alphabet):
        if character not in FIGURES + KEPT_WITH_FIGURES:
            kept[place + 1] = 0
    return np.asarray(kept / np.maximum(kept.sum(0, keepdims=True), 1e-9), np.float32)


def decode(probabilities: Floats, alphabet: str, best: int = 5) -> Decoded:
    """Decode (C, T) probabilities into at most `best` strings and the characters of the first."""
    found = search(probabilities, best)
    nothing = _share_of_nothing(probabilities, [score for prefix, score in found if prefix])
    classes = found[0][0]
    frames = align(probabilities, classes)
    scores, rivals, spans = _characters(probabilities, classes, frames, alphabet)
    candidates = tuple(("".join(alphabet[c - 1] for c in prefix), score) for prefix, score in found)
    return Decoded(candidates, nothing, scores, rivals, spans, probabilities.shape[1])


def _share_of_nothing(probabilities: Floats, others: list[float]) -> float:
    """Return the empty string's share, 0 to 1, of its own probability and the listed strings' together."""
    empty = float(np.log(np.maximum(probabilities[0], 1e-12)).sum())
    total = empty
    for score in others:
        total = _add(total, score)
    return math.exp(empty - total)


def search(probabilities: Floats, best: int, beam: int = BEAM) -> list[tuple[tuple[int, ...], float]]:
    """Return the `best` label sequences with log-probabilities, by CTC prefix beam search."""
    beams: dict[tuple[int, ...], tuple[float, float]] = {(): (0.0, LOG_NOTHING)}
    logs = np.log(np.maximum(probabilities, 1e-12))
    order = np.argsort(-probabilities[1:], 0)[:CLASSES_A_FRAME] + 1
    for t in range(probabilities.shape[1]):
        tried = [int(c) for c in order[:, t] if probabilities[c, t] > PRUNED]
        if not tried:
            beams = {prefix: _hold(prefix, ends, logs[:, t]) for prefix, ends in beams.items()}
            continue
        grown: dict[tuple[int, ...], list[float]] = {}
        for prefix, (ends_blank, ends_own) in beams.items():
            total = _add(ends_blank, ends_own)
            same = grown.setdefault(prefix, [LOG_NOTHING, LOG_NOTHING])
            same[0] = _add(same[0], total + float(logs[0, t]))
            if prefix:
                same[1] = _add(same[1], ends_own + float(logs[prefix[-1], t]))
            for c in tried:
                start = ends_blank if prefix and prefix[-1] == c else total
                longer = grown.setdefault((*prefix, c), [LOG_NOTHING, LOG_NOTHING])
                longer[1] = _add(longer[1], start + float(logs[c, t]))
        ranked = sorted(grown.items(), key=lambda item: -_add(*item[1]))[:beam]
        beams = {prefix: (ends[0], ends[1]) for prefix, ends in ranked}
    ranked_final = sorted(((prefix, _add(*ends)) for prefix, ends in beams.items()), key=lambda item: -item[1])
    return ranked_final[:best]


def _hold(prefix: tuple[int, ...], ends: tuple[float, float], logs: NDArray[np.float64]) -> tuple[float, float]:
    """Return a prefix's two log-probabilities after a frame in which nothing can be appended."""
    own = ends[1] + float(logs[prefix[-1]]) if prefix else LOG_NOTHING
    return _add(*ends) + float(logs[0]), own


def _add(a: float, b: float) -> float:
    """Return log(exp(a) + exp(b))."""
    high, low = (a, b) if a > b else (b, a)
    return high if low <= LOG_NOTHING / 2 else high + math.log1p(math.exp(low - high))


def align(probabilities: Floats, classes: tuple[int, ...]) -> list[tuple[int, int]]:
    """Return each label's first and last-plus-one frame on the best path (Viterbi over the CTC states)."""
    if not classes:
        return []
    logs = np.log(np.maximum(probabilities, 1e-12))
    states = [0]
    for c in classes:
        states += [c, 0]
    n, frames = len(states), probabilities.shape[1]
    skip = np.array([k >= 2 and states[k] != 0 and states[k] != states[k - 2] for k in range(n)])
    score = np.full(n, LOG_NOTHING)
    score[:2] = logs[states[:2], 0]
    back = np.zeros((frames, n), np.int8)
    for t in range(1, frames):
        one = np.concatenate([[LOG_NOTHING], score[:-1]])
        two = np.where(skip, np.concatenate([[LOG_NOTHING, LOG_NOTHING], score[:-2]]), LOG_NOTHING)
        options = np.stack([score, one, two])
        back[t] = options.argmax(0)
        score = options.max(0) + logs[states, t]
    state = n - 1 if score[n - 1] > score[n - 2] else n - 2
    path = [state]
    for t in range(frames - 1, 0, -1):
        state -= int(back[t, state])
        path.append(state)
    held = np.array(path[::-1])
    return [_held_frames(held, 2 * k + 1) for k in range(len(classes))]


def _held_frames(held: NDArray[np.int64], state: int) -> tuple[int, int]:
    frames = np.flatnonzero(held == state)
    return (int(frames[0]), int(frames[-1]) + 1) if len(frames) else (0, 1)


def _characters(
    probabilities: Floats, classes: tuple[int, ...], frames: list[tuple[int, int]], alphabet: str
) -> tuple[tuple[float, ...], tuple[tuple[tuple[str, float], ...], ...], tuple[tuple[float, float], ...]]:
    """Return score, rivals and span of each character, from its aligned frames and the blank frames beside them."""
    total = probabilities.shape[1]
    scores, rivals, spans = [], [], []
    for place, (begin, end) in enumerate(frames):
        before = frames[place - 1][1] if place else 0
        after = frames[place + 1][0] if place + 1 < len(frames) else total
        low, high = max(before, begin - 1), max(end, min(after, end + 1))
        shares = probabilities[:, low:high].max(1)
        shares[0] = probabilities[0, begin:end].min()
        own = float(shares[classes[place]])
        weight = float(shares.sum())
        ranked = [int(c) for c in np.argsort(-shares) if c not in (0, classes[place]) and shares[c] > PRUNED]
        scores.append(own / max(weight, 1e-9))
        rivals.append(tuple((alphabet[c - 1], float(shares[c]) / weight) for c in ranked[:RIVALS_MAX]))
        left = (before + begin) / 2 if place else max(0.0, begin - 1.5)
        right = (end + after) / 2 if place + 1 < len(frames) else min(float(total), end + 1.5)
        spans.append((max(left, begin - 1.5) / total, min(right, end + 1.5) / total))
    return tuple(scores), tuple(rivals), tuple(spans)

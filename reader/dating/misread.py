"""How far two words lie apart when one was read by machine from the other.

An edit distance in which letters that look alike in print, in relief or under dust cost less than others. makers.py
gives the words in plain spelling; capitals and small letters are alike there, so both kinds of slip are in the list.
"""

from __future__ import annotations

MISREAD_COST = 0.4
"""Cost of taking one letter for another that looks like it; an unlike one costs 1. Chosen, not fitted: two such slips
count a little less than one wrong letter."""

DOUBLED_COST = 0.5
"""Cost of a letter written once for twice, or twice for once: people and machines do it more than other slips."""

ALIKE = (
    "o0 oq od 0d qg ce cg co eo ec ef 1i 1l il it lt ij jl 5s s8 b8 br b6 6g g9 gq 2z z7 17 t7 hn hb kh kx uv vy uy "
    "nu nm mn rn rt tf fp pr rk aq a4 wv mw yv xk dg ln he"
)
"""Pairs of letters and figures that readers take for one another (common practice of text readers)."""

_PAIRS = frozenset(pair for text in ALIKE.split() for pair in ((text[0], text[1]), (text[1], text[0])))

_SPLIT = {
    "m": ("rn", "nn", "ni", "in"),
    "w": ("vv", "uu", "vu"),
    "d": ("cl", "ci"),
    "u": ("ii", "il"),
    "h": ("li", "ii"),
    "n": ("ri", "ii", "ii"),
    "k": ("lc", "ic"),
    "b": ("lo", "io", "13"),
    "g": ("cj",),
}
"""Letters that are read as two."""


def misread_distance(one: str, other: str) -> float:
    """Return the least cost of turning one word into the other; 0 for the same word.

    Costs: 1 for a letter put in, left out or changed and for two neighbors swapped, MISREAD_COST for letters that look
    alike and for one read as two, DOUBLED_COST for a letter doubled. Symmetric. Time: the product of the lengths.
    """
    rows = [[0.0] * (len(other) + 1) for _ in range(len(one) + 1)]
    for i in range(len(one) + 1):
        for j in range(len(other) + 1):
            if i or j:
                rows[i][j] = min(_steps(rows, one, other, i, j))
    return rows[-1][-1]


def _steps(rows: list[list[float]], one: str, other: str, i: int, j: int) -> list[float]:
    """Return the cost of every way to reach (i, j)."""
    steps = []
    if i and j:
        steps.append(rows[i - 1][j - 1] + _change(one[i - 1], other[j - 1]))
    if i:
        steps.append(rows[i - 1][j] + (DOUBLED_COST if one[i - 2 : i - 1] == one[i - 1] else 1.0))
        steps += [rows[i - 1][j - 2] + MISREAD_COST] if j > 1 and other[j - 2 : j] in _SPLIT.get(one[i - 1], ()) else []
    if j:
        steps.append(rows[i][j - 1] + (DOUBLED_COST if other[j - 2 : j - 1] == other[j - 1] else 1.0))
        steps += [rows[i - 2][j - 1] + MISREAD_COST] if i > 1 and one[i - 2 : i] in _SPLIT.get(other[j - 1], ()) else []
    if i > 1 and j > 1 and one[i - 1] == other[j - 2] and one[i - 2] == other[j - 1]:
        steps.append(rows[i - 2][j - 2] + 1.0)
    return steps


def _change(one: str, other: str) -> float:
    if one == other:
        return 0.0
    return MISREAD_COST if (one, other) in _PAIRS else 1.0

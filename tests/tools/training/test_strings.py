"""Strings that the network is trained on: all readable, short enough, and as mixed as instruments are."""

from __future__ import annotations

import numpy as np

from tools.training.strings import KINDS, LONGEST, READ, _lone, _mixed, _vehicle, random_string, read_as


def test_every_string_can_be_read_and_fits() -> None:
    rng = np.random.default_rng(4)
    texts = [random_string(rng) for _ in range(3000)]
    labels = [read_as(text) for text in texts]
    assert all(0 < len(label) <= LONGEST and label == label.strip() for label in labels)
    assert set("".join(labels)) <= set(READ)
    assert set("0123456789") <= set("".join(labels))
    figures = sum(label.isdigit() for label in labels) / len(labels)
    assert 0.5 < figures < 0.8
    assert sum(label.startswith("NO") for label in labels) > 30


def test_no_letter_that_looks_like_a_figure_stands_among_figures() -> None:
    rng = np.random.default_rng(5)
    for make in (_mixed, _vehicle):
        assert not set("".join(make(rng) for _ in range(400))) & set("IOQ")
    assert sum(_lone(rng) in "01" for _ in range(400)) > 150


def test_shares_add_up_to_about_one() -> None:
    assert abs(sum(share for share, _ in KINDS) - 1) < 0.05


def test_what_is_drawn_small_is_read_as_capitals() -> None:
    assert read_as("No. 12,345") == "NO. 12.345"
    assert read_as("N° 7") == "N° 7"

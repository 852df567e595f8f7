"""How surely each draft is read: a line's doubt carried over to its parts.

In comes a draft with its reading's characters, rivals and candidates; out come the characters, the probability and the
other strings of the mark that rules.py makes of it. The numbers here are judgement, to be checked by benchmark.
"""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import replace

from reader.results import Candidate, Character, Rival
from reader.sort.drafts import Draft
from reader.sort.patterns import figure_of, split_line

REPAIR_SURE = 0.9
"""How sure a letter that was read among figures is the figure it looks like. Judgement."""

END_DOUBT = 0.15
"""Share of a number's probability that goes to what a look-alike at its end leaves open. Judgement."""

ALTERNATIVES_MAX = 5
"""Most other strings that a mark offers."""


def own_character(draft: Draft, number: int) -> Character:
    """Return a mark's character; a letter read as a figure stays as its rival with what doubt is left."""
    place = draft.piece.places[number]
    character = draft.reading.characters[place]
    figure = figure_of(character.text)
    if figure is None or character.text == figure or not (draft.is_number or place in draft.piece.repaired):
        return character
    both = character.probability + sum(rival.probability for rival in character.rivals if rival.text == figure)
    others = tuple(rival for rival in character.rivals if rival.text != figure)
    letter = Rival(character.text, both * (1 - REPAIR_SURE))
    rivals = tuple(sorted((letter, *others), key=lambda rival: -rival.probability))
    return replace(character, text=figure, probability=both * REPAIR_SURE, rivals=rivals)


def weigh_texts(draft: Draft) -> tuple[float, tuple[Candidate, ...]]:
    """Return the probability of a mark's text and the other strings it may be.

    The whole lines' candidates are split alike; those that agree on this mark add up, since what they differ in lies
    elsewhere. Where the list is short, the mark's own share of its line's doubt says more; the larger counts, but never
    more than what other strings in its place leave: '360839L' may be 3608391, though all its figures are sure.
    """
    said = _candidate_texts(draft)
    own = max(said.pop(draft.piece.text, 0.0), _share_of_line(draft) * REPAIR_SURE ** len(draft.piece.repaired))
    own = min(own, max(0.0, 1.0 - sum(said.values())))
    if draft.is_number:
        _add_rivals(draft, own, said)
    if draft.piece.variants:
        own *= 1 - END_DOUBT
    said.pop(draft.piece.text, None)
    ranked = sorted(((min(p, own), text) for text, p in said.items() if p > 0), key=lambda pair: (-pair[0], pair[1]))
    ranked = ranked[:ALTERNATIVES_MAX]
    scale = min(1.0, (1 - own) / max(sum(p for p, _ in ranked), 1e-9))
    return own, tuple(Candidate(text, p * scale) for p, text in ranked if p * scale > 0)


def _candidate_texts(draft: Draft) -> dict[str, float]:
    """Return what the line's candidates say in this mark's place: text to summed probability."""
    said: dict[str, float] = defaultdict(float)
    best = split_line("".join(character.text for character in draft.reading.characters))
    form = draft.piece.form
    alike = [place for place, piece in enumerate(best) if piece.form == form]
    for candidate in draft.reading.candidates:
        pieces = [piece for piece in split_line(candidate.text) if piece.form == form]
        if len(pieces) == len(alike):
            piece = pieces[alike.index(draft.place)]
            said[piece.text] += max(candidate.probability, 0.0) * REPAIR_SURE ** len(piece.repaired)
    return said


def _share_of_line(draft: Draft) -> float:
    """Return the line's probability raised to the share of its doubt that lies in this mark's characters."""
    signs = draft.reading.characters
    doubt = {p: -math.log(min(max(sign.probability, 1e-6), 1.0)) for p, sign in enumerate(signs) if sign.text.strip()}
    mine = [place for place in draft.piece.places if place in doubt]
    whole = min(max(draft.reading.probability, 0.0), 1.0)
    if not draft.reading.candidates:
        whole = math.exp(-sum(doubt.values()))
    total = sum(doubt.values())
    share = sum(doubt[place] for place in mine) / total if total else len(mine) / max(len(doubt), 1)
    return float(whole ** min(share, 1.0))


def _add_rivals(draft: Draft, own: float, said: dict[str, float]) -> None:
    """Add the numbers that come of exchanging one figure, or of taking an end's look-alike the other way."""
    text = draft.piece.text
    for number in range(len(text)):
        character = own_character(draft, number)
        for rival in character.rivals:
            figure = figure_of(rival.text)
            if figure is not None and figure != text[number]:
                changed = text[:number] + figure + text[number + 1 :]
                odds = rival.probability / max(character.probability, 1e-6)
                said[changed] = max(said.get(changed, 0.0), own * odds)
    for variant in draft.piece.variants:
        said[variant] = max(said.get(variant, 0.0), own * END_DOUBT / len(draft.piece.variants))

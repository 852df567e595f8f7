"""What a string becomes when its picture is turned by half: the ambiguity of 0, 1, 6, 8 and 9."""

from __future__ import annotations

TURNED = {"0": "0", "1": "1", "6": "9", "8": "8", "9": "6", "I": "I", "O": "O", "X": "X", "H": "H", "N": "N", "S": "S"}
"""Characters that are characters upside down too, in most punches and fonts; a 1 with a flag or foot only nearly so."""


def half_turned(text: str) -> str | None:
    """Return what the text reads upside down, or None where some character is none then ('1961' gives '1961').

    >>> half_turned("6018")
    '8109'
    """
    if not text or any(character not in TURNED for character in text):
        return None
    return "".join(TURNED[character] for character in reversed(text))

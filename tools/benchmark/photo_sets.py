"""Sets of whole photos with what they are for, and all that was answered about them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tools.benchmark.contestants import OWN
from tools.benchmark.pictures import Item

OWN_FOUND = "ours, before reading"
"""All regions that our finder gives, whether anything was read in them or not."""

Replies = dict[str, dict[str, Any]]

GOAL_EXACT = {"easy": 0.95, "medium": 0.95, "hard": 0.70}
"""Serial exact on held-out rendered photos, by what the folder's name ends with."""

GROUPS = {
    "rendered": "held-out rendered photos",
    "empty": "rendered photos without a serial",
    "real": "real photos",
    "real empty": "real textures without a number",
    "seen": "path-traced photos, seen when the threshold was set",
}


@dataclass(frozen=True)
class PhotoSet:
    """One set of whole photos: what it is for (a key of GROUPS) and, if rendered, the folder with its quads."""

    name: str
    group: str
    items: tuple[Item, ...]
    folder: Path | None = None

    @property
    def empty(self) -> bool:
        """Whether no photo of the set holds a serial."""
        return self.group.endswith("empty")

    @property
    def goal(self) -> float:
        """The goal for serial exact, NaN where there is none."""
        return next((goal for ending, goal in GOAL_EXACT.items() if self.name.endswith(ending)), math.nan)


@dataclass(frozen=True)
class Gathered:
    """All answers by reader and set, and what our recognizer read inside the regions of each."""

    sets: tuple[PhotoSet, ...]
    replies: dict[tuple[str, str], Replies]
    inside: dict[tuple[str, str], Replies]

    @property
    def readers(self) -> list[str]:
        """The readers that answered, ours first."""
        return list(dict.fromkeys([OWN, *(reader for reader, _ in self.replies)]))

    def of(self, reader: str, one: PhotoSet) -> Replies:
        """Return a reader's answers to a set, empty where it was not asked."""
        return self.replies.get((reader, one.name), {})

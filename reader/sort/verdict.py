"""What a rule is, and what it says of a draft. The rules themselves are in rules.py and neighbors.py."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from reader.results import MarkKind
from reader.sort.drafts import Draft, Scene


@dataclass(frozen=True)
class Verdict:
    """What one rule says: the kind, the rule's name, the reason in one sentence, and how sure it is (0 to 1)."""

    kind: MarkKind
    rule: str
    why: str
    kind_probability: float


Rule = Callable[[Draft, Scene], Verdict | None]

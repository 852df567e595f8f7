"""What the entries of samples.py are made of: the invented names, and short ways to place strings."""

from __future__ import annotations

from dataclasses import dataclass, replace

from tools.renderer.layout import stack_lines
from tools.renderer.spec import FigureStyle, MarkSpec, SceneSpec

HARROW, OSTRAVA, PELLWICK = "Harrow & Thistle", "Ostrava Lane Organ Works", "Pellwick Brothers"
PLAIN = FigureStyle()


@dataclass(frozen=True)
class Sample:
    """One picture: its file in sample_images/, whose it is, what it shows, and how it is made."""

    file: str
    user: str
    shows: str
    seed: int
    spec: SceneSpec


def mark(
    text: str, kind: str, height: float, technique: str, style: FigureStyle = PLAIN, *, turn_deg: float = 0.0
) -> MarkSpec:
    """Return a string without a place."""
    return MarkSpec(text, kind, 0, 0, height, technique, style, turn_deg)


def at(x: float, y: float, *lines: list[MarkSpec], gap: float = 0.6) -> tuple[MarkSpec, ...]:
    """Stack lines and put their middle at (x, y)."""
    return tuple(replace(m, x=m.x + x, y=m.y + y) for m in stack_lines(list(lines), gap))

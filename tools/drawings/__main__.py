"""Draw every form again: `python -m tools.drawings` writes reader/locations/drawings/*.svg."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from reader.locations.guide import Form, load_guide
from tools.drawings.grand import draw_grand
from tools.drawings.organs import draw_harmonium, draw_melodeon, draw_reed_organ
from tools.drawings.page import Page
from tools.drawings.pianos import draw_player_upright, draw_spinet, draw_upright
from tools.drawings.squares import draw_english_square, draw_square_grand

DRAW: Mapping[str, Callable[[Page], float]] = {
    "square-grand": draw_square_grand,
    "english-square": draw_english_square,
    "upright": draw_upright,
    "player-upright": draw_player_upright,
    "spinet": draw_spinet,
    "grand": draw_grand,
    "melodeon": draw_melodeon,
    "reed-organ": draw_reed_organ,
    "harmonium": draw_harmonium,
}
"""For each form the function that draws it and returns where the legend may begin."""


def draw(form: Form) -> str:
    """Return a form's drawing as SVG text."""
    page = Page(form)
    return page.finish(DRAW[form.id](page))


def main() -> None:
    """Write all drawings."""
    for form in load_guide():
        if form.id in DRAW:
            form.drawing.write_text(draw(form), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()

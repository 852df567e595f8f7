"""Which shapes of figures go with which technique: random picks for test sets, and a few named ones for the samples."""

from __future__ import annotations

from tools.renderer.noise import Rng
from tools.renderer.spec import FigureStyle

GOTHIC = FigureStyle(one="bar", weight=0.14, four="closed", seven="straight", six="straight", spacing=0.22)
"""Plain punches of one stroke width."""
CLARENDON = FigureStyle(one="foot", weight=0.17, contrast=0.55, serif=True, spacing=0.2)
"""Bold figures with brackets and ball ends, common on nineteenth-century punches and castings (common practice)."""
OLD_STYLE = FigureStyle(one="flag", three="flat", seven="hooked", weight=0.11, contrast=0.3, spacing=0.24)
NARROW = FigureStyle(one="flag", weight=0.13, stretch=0.74, four="open", spacing=0.2)
TYPEWRITER = FigureStyle(one="foot", weight=0.1, serif=True, contrast=0.1, fixed_pitch=True, spacing=0.2)
HAND = FigureStyle(one="bar", weight=0.075, wobble=0.8, slant=0.18, four="open", seven="hooked", spacing=0.2)
CHALK_HAND = FigureStyle(one="bar", weight=0.125, wobble=0.9, slant=0.1, four="open", spacing=0.26)


def random_style(technique: str, rng: Rng) -> FigureStyle:
    """Return the figures of one tool or hand for a technique."""

    def pick(*choices: str) -> str:
        return choices[int(rng.integers(len(choices)))]

    weights = {
        "scratch": (0.024, 0.046),
        "chalk": (0.1, 0.17),
        "pencil": (0.026, 0.05),
        "write": (0.045, 0.09),
        "brush": (0.13, 0.22),
    }
    by_hand = technique in weights
    low, high = weights.get(technique, (0.1, 0.18))
    serif = not by_hand and rng.random() < (1.0 if technique == "type" else 0.45)
    contrast = float(rng.uniform(0.3, 0.8)) if serif and technique != "type" else float(rng.uniform(0, 0.2))
    return FigureStyle(
        one=pick("foot", "flag", "bar") if not serif else "foot",
        three=pick("round", "round", "flat"),
        four=pick("open", "closed"),
        six=pick("curled", "straight"),
        seven=pick("straight", "hooked", "curved"),
        serif=serif,
        weight=float(rng.uniform(low, high)) * (0.65 if technique == "type" else 1.0),
        contrast=contrast,
        slant=0.0 if by_hand else float(rng.choice([0.0, 0.0, 0.0, 0.18])),
        stretch=float(rng.uniform(0.75, 1.1)),
        spacing=float(rng.uniform(0.1, 0.3) if by_hand else rng.uniform(0.17, 0.36)),
        fixed_pitch=technique in ("type", "numbering"),
        text_figures=technique in ("punch", "cast") and rng.random() < 0.12,
        hand=int(rng.integers(1, 1_000_000)) if by_hand else 0,
    )

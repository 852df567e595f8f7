"""The cards of the networks that find lines: what the code needs of them."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from reader.weights import read_card

WEIGHTS_FOLDER = Path(__file__).parent / "weights"


@dataclass(frozen=True)
class Card:
    """What a card says that the code needs; `height_unit` is the figure height in pixels that a network counts from."""

    file: Path
    local_px: int
    local_floor: float
    height_unit: float
    sha256: str


def load_card(path: Path) -> Card:
    """Read a card. Raises TableError where it is missing or damaged."""

    def build(card: dict[str, Any]) -> Card:
        scale = card["normalization"]
        return Card(
            path.with_name(card["file"]),
            int(scale["local_px"]),
            float(scale["local_floor"]),
            float(card["height_unit"]),
            card["sha256"],
        )

    return read_card(path, build)

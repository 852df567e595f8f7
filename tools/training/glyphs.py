"""Collect glyph masks for the crop renderer: `python -m tools.training.glyphs OUT.npz --digits FOLDER`.

Sources: every Latin font that the machine has installed (Debian's font packages, listed with licenses in FONTS.md), the
stroke alphabet of tools/renderer (punches), the hands of hands.py, and an open set of handwritten digits (28 x 28, in
FOLDER as 0.json to 9.json). Out goes one compressed file: masks packed to bits and, for each style, which masks its
characters use. About one style in eight is held out for validation, by the hash of its family's name.
"""

from __future__ import annotations

import argparse
import hashlib
import json
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from tools.renderer.alphabet import PLAIN, glyph
from tools.renderer.spec import FigureStyle
from tools.training.hands import FORMS, Hand

CHARACTERS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ.-/°#,:&abcdefghijklmnopqrstuvwxyz"
"""Everything that may be drawn; what may be read is in strings.py."""

CELL_PX, UNIT_PX = 96, 45
"""A mask's side, and the height of a figure in it; the figure's top is at (CELL - UNIT) / 2."""

VARIANTS = 3
"""Masks for each character of a style; fonts have one, used three times."""

HANDS, PUNCHES, DIGIT_HANDS = 420, 160, 260
"""Styles drawn by hands.py, by the stroke alphabet, and made of the digit set."""

FONT_SIZES = {"aenigma": 180, "yozvox": 12, "tlwg": 24, "adf": 60, "mplus": 10, "elstob": 12, "league-mono": 12}
"""Most fonts of large families, so that none outweighs the others."""

SKIP = ("emoji", "symbol", "dingbat", "music", "math", "barcode", "icon", "braille", "opensymbol", "outline", "hollow")
HAND_FONTS = (
    "bwht",
    "breip",
    "femke",
    "dkg",
    "kristi",
    "dancing",
    "rufscript",
    "havana",
    "kiloji",
    "seto",
    "yozfont",
    "klee",
    "humor",
    "tomson",
    "sjfonts",
    "joscelyn",
    "fifthhorse",
    "purisa",
    "aoyagi",
    "kouzan",
    "yusei",
    "ecolier",
    "linex",
    "isabella",
    "kaushan",
    "lxgw",
    "comic",
    "typoscript",
)
"""Font files whose name says that they imitate handwriting."""

GROUPS = ("font", "hand-font", "punch", "hand", "digits", "segment")

Mask = NDArray[np.uint8]


class Pack:
    """Collects styles; a style is a table (characters, VARIANTS) of mask numbers, -1 where it has no such character."""

    def __init__(self) -> None:
        self.bits: list[NDArray[np.uint8]] = []
        self.tables: list[NDArray[np.int32]] = []
        self.groups: list[int] = []
        self.held: list[bool] = []
        self.names: list[str] = []

    def add_mask(self, mask: Mask) -> int:
        """Store one (CELL, CELL) mask, shifted so that its ink is centered from left to right; return its number."""
        columns = np.flatnonzero((mask > 127).any(0))
        shift = CELL_PX // 2 - int(columns[0] + columns[-1] + 1) // 2
        self.bits.append(np.packbits(np.roll(mask, shift, 1) > 127))
        return len(self.bits) - 1

    def add_style(self, name: str, group: str, table: NDArray[np.int32], family: str) -> None:
        """Store one style; `family` decides whether it is held out."""
        self.names.append(name)
        self.tables.append(table)
        self.groups.append(GROUPS.index(group))
        self.held.append(hashlib.sha256(family.encode()).digest()[0] < 32)

    def save(self, path: Path) -> None:
        """Write the compressed file."""
        np.savez_compressed(
            path,
            bits=np.stack(self.bits),
            tables=np.stack(self.tables),
            groups=np.array(self.groups, np.uint8),
            held=np.array(self.held),
            names=np.array(self.names),
        )


def find_fonts(folder: Path, rng: np.random.Generator) -> list[Path]:
    """Return the font files to use, large families thinned."""
    files = sorted(p for p in folder.rglob("*") if p.suffix.lower() in (".ttf", ".otf"))
    files = [p for p in files if not any(word in p.name.lower() for word in SKIP)]
    families: dict[str, list[Path]] = {}
    for path in files:
        key = next((k for k in FONT_SIZES if k in str(path.parent)), str(path.parent))
        families.setdefault(key, []).append(path)
    chosen: list[Path] = []
    for key, members in families.items():
        most = FONT_SIZES.get(key, 9)
        order = rng.permutation(len(members))[:most]
        chosen += [members[i] for i in order]
    return sorted(chosen)


def draw_font(path: Path) -> dict[str, Mask] | None:
    """Return masks of one font's characters with its 8 UNIT_PX high, or None where it lacks figures."""
    try:
        probe = ImageFont.truetype(str(path), 100)
        _, top, _, bottom = probe.getbbox("8", anchor="ls")
        if not 20 < bottom - top < 160:
            return None
        font = ImageFont.truetype(str(path), max(8, round(100 * UNIT_PX * 2 / (bottom - top))))
        missing = bytes(font.getmask("\U0010fffe"))
        _, top, _, bottom = font.getbbox("8", anchor="ls")
        base = CELL_PX + UNIT_PX - bottom
        masks = {c: _draw_character(font, c, base) for c in CHARACTERS if bytes(font.getmask(c)) != missing}
    except (OSError, ValueError):
        return None
    found = {c: m for c, m in masks.items() if m is not None}
    return found if _has_figures(found) else None


def _draw_character(font: ImageFont.FreeTypeFont, character: str, base: float) -> Mask | None:
    """Draw at twice the size and shrink; None for what is empty or does not fit the cell."""
    image = Image.new("L", (2 * CELL_PX, 2 * CELL_PX))
    box = font.getbbox(character, anchor="ls")
    x = CELL_PX - (box[0] + box[2]) / 2
    if box[2] - box[0] > 2 * CELL_PX - 4 or base + box[1] < 0 or base + box[3] > 2 * CELL_PX:
        return None
    ImageDraw.Draw(image).text((x, base), character, fill=255, font=font, anchor="ls")
    mask = np.asarray(image.resize((CELL_PX, CELL_PX), Image.Resampling.BOX))
    return mask if (mask > 127).sum() > 6 else None


def _has_figures(masks: dict[str, Mask]) -> bool:
    """Return whether all ten figures are there, differ from each other and are strokes rather than blocks."""
    figures = [masks.get(c) for c in "0123456789"]
    if any(f is None for f in figures):
        return False
    flat = np.stack([f.ravel() > 127 for f in figures if f is not None])
    filled = flat.mean(1) * (CELL_PX / UNIT_PX) ** 2
    apart = min(float((flat[i] ^ flat[j]).mean()) for i in range(10) for j in range(i))
    return bool(filled.max() < 0.85 and apart > 0.006)


def draw_punch(style: FigureStyle, character: str) -> Mask | None:
    """Return a character of the stroke alphabet drawn with round ends."""
    if character not in "123456790" and character not in PLAIN and character.upper() not in PLAIN:
        return None
    found = glyph(character, style)
    mask = np.zeros((CELL_PX, CELL_PX), np.uint8)
    middle = found.width / 2
    for stroke in found.strokes:
        p = np.stack([(stroke[:, 0] - middle) * style.stretch + (0.5 - stroke[:, 1]) * style.slant, stroke[:, 1]], 1)
        p = p * UNIT_PX + [CELL_PX / 2, (CELL_PX - UNIT_PX) / 2]
        for a, b in pairwise(p):
            level = 1 - style.contrast * abs(float(b[0] - a[0])) / (float(np.hypot(*(b - a))) + 1e-6)
            width = max(1, round(style.weight * UNIT_PX * max(level, 0.25)))
            ends = [tuple(round(float(v) * 16) for v in q) for q in (a, b)]
            cv2.line(mask, ends[0], ends[1], 255, width, cv2.LINE_AA, 4)
    for x, y in found.balls:
        at = ((x - middle) * style.stretch * UNIT_PX + CELL_PX / 2, y * UNIT_PX + (CELL_PX - UNIT_PX) / 2)
        cv2.circle(
            mask, (round(at[0]), round(at[1])), max(1, round(style.weight * UNIT_PX * 0.72)), 255, -1, cv2.LINE_AA
        )
    return mask if mask.max() > 127 else None


def strike_zero(mask: Mask, width: float) -> Mask:
    """Return a 0 with a stroke through it from lower left to upper right, which tells it from the letter O."""
    rows, columns = np.flatnonzero((mask > 127).any(1)), np.flatnonzero((mask > 127).any(0))
    inset = 0.12 * (columns[-1] - columns[0])
    ends = (
        (round(columns[0] + inset), round(rows[-1] * 0.85 + rows[0] * 0.15)),
        (round(columns[-1] - inset), round(rows[0] * 0.85 + rows[-1] * 0.15)),
    )
    return np.asarray(cv2.line(mask.copy(), *ends, 255, max(1, round(width)), cv2.LINE_AA), np.uint8)


def _random_punch(rng: np.random.Generator) -> FigureStyle:
    serif = bool(rng.random() < 0.45)
    return FigureStyle(
        one=str(rng.choice(["foot", "flag", "bar"])),
        three=str(rng.choice(["round", "flat"])),
        four=str(rng.choice(["open", "closed"])),
        six=str(rng.choice(["curled", "straight"])),
        seven=str(rng.choice(["straight", "hooked", "curved"])),
        serif=serif,
        weight=float(rng.uniform(0.05, 0.19)),
        contrast=float(rng.uniform(0.2, 0.75)) if serif else float(rng.uniform(0, 0.2)),
        slant=float(rng.choice([0.0, 0.0, 0.0, rng.uniform(0.05, 0.3)])),
        stretch=float(rng.uniform(0.7, 1.25)),
    )


def add_fonts(pack: Pack, folder: Path, rng: np.random.Generator) -> None:
    """Add every usable font."""
    seen: set[bytes] = set()
    for path in find_fonts(folder, rng):
        masks = draw_font(path)
        if masks is None:
            continue
        key = hashlib.sha256(b"".join(masks[c].tobytes() for c in "0123456789")).digest()
        if key in seen:
            continue
        seen.add(key)
        table = np.full((len(CHARACTERS), VARIANTS), -1, np.int32)
        for character, mask in masks.items():
            table[CHARACTERS.index(character)] = pack.add_mask(mask)
        name = str(path).lower()
        group = "segment" if "dseg" in name else "hand-font" if any(h in name for h in HAND_FONTS) else "font"
        pack.add_style(path.name, group, table, path.stem.split("-")[0])


def add_drawn(pack: Pack, rng: np.random.Generator) -> None:
    """Add punches of the stroke alphabet and hands."""
    for number in range(PUNCHES):
        style = _random_punch(rng)
        table = np.full((len(CHARACTERS), VARIANTS), -1, np.int32)
        slashed = rng.random() < 0.22
        for place, character in enumerate(CHARACTERS):
            mask = draw_punch(style, character) if character in "0123456789.-/°&" or character.isupper() else None
            if mask is not None:
                if character == "0" and slashed:
                    mask = strike_zero(mask, style.weight * UNIT_PX * 0.8)
                table[place] = pack.add_mask(mask)
        pack.add_style(f"punch-{number}", "punch", table, f"punch-{number}")
    for number in range(HANDS):
        hand, slashed = Hand(rng), rng.random() < 0.12
        table = np.full((len(CHARACTERS), VARIANTS), -1, np.int32)
        for character in FORMS:
            masks = [hand.draw(character, CELL_PX, UNIT_PX) for _ in range(VARIANTS)]
            if character == "0" and slashed:
                masks = [strike_zero(mask, UNIT_PX * 0.07) for mask in masks]
            variants = [pack.add_mask(mask) for mask in masks]
            table[CHARACTERS.index(character)] = variants
        pack.add_style(f"hand-{number}", "hand", table, f"hand-{number}")


def add_digits(pack: Pack, folder: Path, rng: np.random.Generator) -> None:
    """Add the open digit set: each style is ten random picks of each figure's samples, written with like slant."""
    pools: list[list[int]] = []
    for figure in range(10):
        loaded = json.loads((folder / f"{figure}.json").read_text())
        flat = np.array(loaded["data"] if isinstance(loaded, dict) else loaded, np.float32).reshape(-1, 28, 28)
        pools.append([pack.add_mask(_enlarge(sample)) for sample in flat if sample.max() > 0.5])
    for number in range(DIGIT_HANDS):
        held = hashlib.sha256(f"digits-{number}".encode()).digest()[0] < 32
        table = np.full((len(CHARACTERS), VARIANTS), -1, np.int32)
        for figure, pool in enumerate(pools):
            cut = len(pool) // 8
            own = pool[:cut] if held else pool[cut:]
            table[CHARACTERS.index(str(figure))] = rng.choice(own, VARIANTS)
        pack.add_style(f"digits-{number}", "digits", table, f"digits-{number}")


def _enlarge(sample: NDArray[np.float32]) -> Mask:
    """Scale a 28 x 28 sample so that its ink is UNIT_PX high, on the base line."""
    rows, columns = np.flatnonzero((sample > 0.35).any(1)), np.flatnonzero((sample > 0.35).any(0))
    cut = sample[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    scale = UNIT_PX / cut.shape[0]
    width = min(CELL_PX - 4, max(3, round(cut.shape[1] * scale)))
    big = cv2.resize(cut, (width, UNIT_PX), interpolation=cv2.INTER_CUBIC)
    mask = np.zeros((CELL_PX, CELL_PX), np.uint8)
    top, left = (CELL_PX - UNIT_PX) // 2, (CELL_PX - width) // 2
    mask[top : top + UNIT_PX, left : left + width] = np.where(big > 0.42, 255, 0)
    return mask


def main() -> None:
    """Build the pack from what is installed here."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("--digits", type=Path, help="folder with 0.json to 9.json of the open digit set")
    parser.add_argument("--fonts", type=Path, default=Path("/usr/share/fonts"))
    parser.add_argument("--seed", type=int, default=3)
    options = parser.parse_args()
    rng = np.random.default_rng(options.seed)
    pack = Pack()
    add_fonts(pack, options.fonts, rng)
    add_drawn(pack, rng)
    if options.digits:
        add_digits(pack, options.digits, rng)
    pack.save(options.out)
    counts = {g: pack.groups.count(k) for k, g in enumerate(GROUPS)}
    print(f"{len(pack.bits)} masks, {len(pack.names)} styles {counts}, {sum(pack.held)} held out")


if __name__ == "__main__":
    main()

"""Drawings of the upright, the player upright and the spinet: from the front, opened, and from the back."""

from __future__ import annotations

from tools.drawings.page import BOARD, FAINT, FELT, GAP, INK, IRON, PAPER, WOOD, WOOD_DARK, Page

BAR = "#c9b868"
"""The bars of an iron plate."""


def draw_upright(page: Page) -> float:
    """Draw it and return where the legend may begin."""
    page.caption(255, 112, "From the front, lid open, upper panel out")
    _upright_case(page, 50, 176, 410, 424)
    _upright_inside(page, 66, 190, 378, 180)
    _upright_below(page, 50, 410, 404)
    page.caption(690, 112, "The upper panel, from behind")
    page.rect(520, 128, 340, 96, WOOD, line=2)
    page.rect(548, 144, 284, 64, WOOD_DARK, line=1.2)
    for x in (532, 836):
        page.rect(x, 134, 12, 8, GAP, line=1)
    page.caption(690, 284, "From the back")
    _back(page, 520, 300, 340, 300)
    page.mark("1", (193, 214))
    page.mark("2", (290, 262))
    page.mark("3", (412, 222))
    page.mark("4", (90, 152), (90, 196))
    page.mark("4", (420, 152), (420, 196))
    page.mark("5", (22, 300), (62, 300))
    page.mark("6", (690, 176))
    page.mark("7", (478, 344), (432, 344))
    page.mark("8", (100, 340))
    page.mark("9", (604, 318))
    page.mark("9", (690, 400))
    page.mark("10", (22, 404), (77, 404))
    page.mark("10", (492, 404), (434, 404))
    page.mark("11", (200, 438))
    page.mark("12", (255, 520))
    page.mark("13", (322, 376), (322, 402))
    return 650


def _upright_case(page: Page, x: float, y: float, width: float, height: float) -> None:
    """Draw the case with its raised lid, the sides and the floor."""
    page.polygon([(x - 6, y), (x + 14, y - 48), (x + width - 14, y - 48), (x + width + 6, y)], WOOD_DARK, 2)
    page.rect(x, y, width, height, WOOD, line=2.5)
    page.rect(x + 16, y + 14, width - 32, 196, GAP, line=1.5)


def _upright_inside(page: Page, x: float, y: float, width: float, height: float) -> None:
    """Draw pin block, plate, pins, strings, hammers."""
    page.rect(x, y, width, 12, WOOD_DARK, line=1.2)
    gap = x + width * 0.336
    page.path(
        f"M{x + 10} {y + 12} H{x + width - 10} V{y + height - 30} H{x + 10} Z",
        IRON,
    )
    # Pins of the bass at the left, of tenor and treble at the right of the gap.
    page.dots([(x + 24 + 12 * i, y + 24 + 9 * (i % 3)) for i in range(7)], 1.8)
    page.dots([(gap + 34 + 9 * i, y + 24 + 9 * (i % 3) + 0.5 * i) for i in range(20)], 1.8)
    page.path(f"M{gap - 26} {y + 14} L{gap} {y + 62} L{gap + 26} {y + 14} Z", IRON, 1.6)
    page.lines([((x + 24 + 12 * i, y + 44), (x + 130 + 22 * i, y + height - 30)) for i in range(7)], FAINT, 1.6)
    page.lines(
        [((gap + 34 + 9 * i, y + 44 + 0.5 * i), (x + 60 + 15.5 * i, y + height - 30)) for i in range(20)], FAINT, 0.7
    )
    page.path(
        f"M{gap} {y + 62} L{gap + 10} {y + height - 30} M{x + width * 0.78} {y + 50} L{x + width * 0.7} "
        f"{y + height - 30}",
        "none",
        5,
        BAR,
    )
    page.path(
        f"M{x + 204} {y + 60} Q{x + 224} {y + 50} {x + 244} {y + 60} V{y + 78} Q{x + 244} {y + 94} {x + 224} {y + 98} "
        f"Q{x + 204} {y + 94} {x + 204} {y + 78} Z",
        WOOD_DARK,
        1.8,
    )
    # Hammers in a row on their rail, a bracket at each end.
    top = y + height - 38
    page.rect(x + 8, top + 22, width - 16, 10, WOOD_DARK, line=1.2)
    for i in range(44):
        page.path(f"M{x + 20 + 7.7 * i} {top + 22} v-10", "none", 1.2)
        page.rect(x + 17 + 7.7 * i, top + 2, 6, 11, PAPER if i % 2 else FELT, line=0.7)
    for side in (x + 4, x + width - 14):
        page.rect(side, top - 6, 10, 54, GAP, line=1.4)


def _upright_below(page: Page, x: float, width: float, y: float, missing: int = 7) -> None:
    """Draw keys with a few taken out, key slip, lower panel, legs and pedals; the keys' middle is at y."""
    page.rect(x - 4, y - 14, width + 8, 26, WOOD, line=2)
    page.rect(x + 20, y - 14, width - 40, 26, WOOD_DARK, line=1)
    page.keyboard(x + 22, y - 13, width - 44, 24, 52, skip=range(32, 32 + missing))
    page.dots([(x + 22 + (32.5 + i) * (width - 44) / 52, y - 2) for i in range(missing)], 1.4)
    page.rect(x - 4, y + 12, width + 8, 12, WOOD_DARK, line=1.5)
    page.rect(x - 4, y + 24, width + 8, 16, WOOD, line=2)
    page.rect(x + 34, y + 40, width - 68, 140, WOOD, line=1.8)
    page.rect(x + 56, y + 58, width - 112, 104, BOARD, line=1)
    for leg in (x + 4, x + width - 22):
        page.path(f"M{leg} {y + 40} H{leg + 18} L{leg + 15} {y + 180} H{leg + 3} Z", WOOD_DARK, 1.8)
    for side in (-22, 6):
        page.rect(x + width / 2 + side, y + 184, 16, 14, PAPER, line=1.5, rx=5)


def _back(page: Page, x: float, y: float, width: float, height: float) -> None:
    """Draw the back: soundboard with ribs behind a frame of thick posts."""
    page.rect(x, y, width, height, WOOD, line=2.5)
    page.rect(x + 14, y + 34, width - 28, height - 62, BOARD, line=1.5)
    ribs = [((x + 16, y + 60 + 40 * i), (x + 76 + 42 * i, y + 36)) for i in range(5)]
    ribs += [((x + 60 + 58 * i, y + height - 29), (x + width - 16, y + 80 + 34 * i)) for i in range(5)]
    page.lines(ribs, FAINT, 3)
    for i in range(4):
        page.rect(x + 54 + i * (width - 136) / 3, y + 34, 28, height - 62, WOOD_DARK, line=1.8)


def draw_player_upright(page: Page) -> float:
    """Draw it and return where the legend may begin."""
    page.caption(450, 112, "From the front, lid and sliding doors open")
    x, width = 245, 410
    _upright_case(page, x, 176, width, 424)
    page.rect(x + 16, 190, width - 32, 12, WOOD_DARK, line=1.2)
    page.rect(x + 22, 202, width - 44, 34, IRON)
    page.dots([(x + 36 + 9.6 * i, 211 + 8 * (i % 3)) for i in range(36)])
    page.rect(x + 16, 236, width - 32, 150, FELT, line=1.8)
    _player_stack(page, x + 28, 252, 102, 122)
    _player_stack(page, x + width - 130, 252, 102, 122)
    _paper_roll(page, x + width / 2, 246, 140, 132)
    _upright_below(page, x, width, 404, missing=0)
    page.rect(x + 120, 480, width - 240, 104, GAP, line=1.5)
    for side in (-52, 6):
        left = x + width / 2 + side
        page.polygon([(left, 500), (left + 46, 500), (left + 50, 574), (left - 4, 574)], WOOD_DARK, 1.8)
        page.lines([((left, 514 + 14 * i), (left + 46, 514 + 14 * i)) for i in range(4)], INK, 1)
    page.part(740, 280, "paper roll", (495, 300), anchor="start")
    page.part(740, 322, "player stack", (600, 318), anchor="start")
    page.part(740, 548, "foot pumps", (505, 544), anchor="start")
    page.part(160, 222, "tuning pins", (276, 219), anchor="end")
    page.mark("1", (450, 152), (450, 219))
    page.mark("A", (186, 318), (300, 318))
    page.mark("B", (186, 470), (256, 470))
    page.mark("B", (186, 262), (252, 262))
    return 640


def _player_stack(page: Page, x: float, y: float, width: float, height: float) -> None:
    """Draw rows of little bellows with their tubes."""
    page.rect(x, y, width, height, WOOD, line=1.5)
    for row in range(3):
        top = y + 8 + row * (height - 10) / 3
        for i in range(9):
            page.path(f"M{x + 6 + 10.3 * i} {top} h7 v24 h-7 Z M{x + 6 + 10.3 * i} {top + 24} l7 -8", BOARD, 0.9)
    page.lines([((x + 9.5 + 10.3 * i, y + height), (x + 9.5 + 10.3 * i, y + height + 10)) for i in range(9)], INK, 2)


def _paper_roll(page: Page, middle: float, y: float, width: float, height: float) -> None:
    """Draw the box with the roll of punched paper between its two spools."""
    x = middle - width / 2
    page.rect(x, y, width, height, WOOD_DARK, line=2)
    page.rect(x + 8, y + 8, width - 16, height - 16, GAP, line=1.2)
    page.rect(x + 26, y + 28, width - 52, height - 60, PAPER, line=1.2)
    page.lines(
        [((x + 36 + 9 * i, y + 42 + 11 * (i % 4)), (x + 36 + 9 * i, y + 50 + 11 * (i % 4))) for i in range(8)], INK, 3
    )
    page.rect(x + 20, y + 84, width - 40, 8, IRON, line=1.2)
    for top in (y + 16, y + height - 32):
        page.rect(x + 18, top, width - 36, 16, BOARD, line=1.5, rx=6)
        for end in (x + 12, x + width - 20):
            page.rect(end, top - 5, 8, 26, FELT, line=1.4, rx=2)


def draw_spinet(page: Page) -> float:
    """Draw it and return where the legend may begin."""
    page.caption(250, 112, "From the front, lid open")
    x, width = 50, 400
    page.polygon([(x - 4, 190), (x + 12, 150), (x + width - 12, 150), (x + width + 4, 190)], WOOD_DARK, 2)
    page.rect(x, 190, width, 96, WOOD, line=2.5)
    page.rect(x + 12, 200, width - 24, 34, IRON, line=1.5)
    page.dots([(x + 40 + 10.5 * i, 208 + 8 * (i % 3)) for i in range(31)])
    page.rect(x + 12, 234, width - 24, 44, WOOD_DARK, line=1.5)
    page.part(x + width / 2, 261, "music desk")
    page.rect(x - 4, 286, width + 8, 34, WOOD, line=2)
    page.keyboard(x + 20, 288, width - 40, 30, 52)
    page.rect(x - 4, 320, width + 8, 16, WOOD, line=2)
    page.rect(x + 30, 336, width - 60, 96, WOOD_DARK, line=1.8)
    for leg in (x + 4, x + width - 22):
        page.path(f"M{leg} 336 H{leg + 18} L{leg + 13} 448 H{leg + 5} Z", WOOD, 1.8)
    for side in (-30, -7, 16):
        page.rect(x + width / 2 + side, 424, 14, 14, PAPER, line=1.5, rx=5)
    page.caption(680, 112, "From the back")
    _back(page, 510, 190, 340, 250)
    page.rect(566, 198, 60, 20, PAPER, line=1.4)
    page.part(596, 212, "label")
    page.mark("1", (130, 170), (130, 206))
    page.mark("1", (420, 218))
    page.mark("2", (680, 207))
    page.mark("2", (540, 208))
    return 490

"""Drawings of the melodeon, the parlor reed organ and the harmonium."""

from __future__ import annotations

from tools.drawings.page import BOARD, FAINT, FELT, GAP, INK, IRON, PAPER, WOOD, WOOD_DARK, Page


def draw_melodeon(page: Page) -> float:
    """Draw it and return where the legend may begin."""
    page.caption(250, 112, "From the front, lid open")
    x, width = 60, 380
    page.rect(x, 132, width, 46, WOOD_DARK, line=2, rx=6)
    page.part(x + 110, 160, "lid, open")
    page.rect(x, 178, width, 92, WOOD, line=2.5)
    page.rect(x + 14, 186, width - 28, 30, WOOD_DARK, line=1.2)
    page.part(x + width / 2, 206, "cover over the reeds and the works")
    page.keyboard(x + 34, 218, width - 68, 44, 36)
    page.rect(x - 6, 266, width + 12, 12, WOOD_DARK, line=2)
    for leg in (x + 60, x + width - 60):
        _lyre_leg(page, leg, 278, 470)
    page.path(f"M{x + 70} 440 H{x + width - 70}", "none", 7)
    page.path(f"M{x + 70} 440 H{x + width - 70}", "none", 4, WOOD)
    for side, tilt in ((-52, -8), (22, 8)):
        left = x + width / 2 + side
        page.lines([((left + 15, 278), (left + 15 + tilt, 444))], INK, 1.6)
        page.polygon([(left, 446), (left + 30, 446), (left + 36, 474), (left - 6, 474)], WOOD_DARK, 1.8)
    page.part(x + width / 2, 496, "pedals")
    page.caption(680, 112, "Turned over: the bellows below the case")
    _melodeon_below(page, 500, 140)
    page.mark("1", (380, 155))
    page.mark("1", (77, 240))
    page.mark("2", (474, 244), (430, 244))
    page.mark("2", (24, 201), (90, 201))
    page.mark("3", (680, 268))
    page.mark("A", (858, 398), (812, 372))
    return 540


def _lyre_leg(page: Page, x: float, top: float, foot: float) -> None:
    """Draw a leg in the shape of a lyre on a broad foot."""
    for side in (-1, 1):
        out, bulge, low = x + side * 30, x + side * 78, foot - 22
        d = f"M{out} {top + 2} C{x + side * 2} {top + 44} {bulge} {top + 96} {x + side * 10} {low}"
        page.path(d, "none", 13)
        page.path(d, "none", 9, WOOD)
    page.lines([((x + 7 * i, top), (x + 5 * i, foot - 36)) for i in (-1, 0, 1)], INK, 1.4)
    page.path(f"M{x - 16} {foot - 24} H{x + 16} L{x + 40} {foot} H{x - 40} Z", WOOD_DARK, 1.8)


def _melodeon_below(page: Page, x: float, y: float) -> None:
    """Draw the case upside down with the bellows, its pleats and its label in view."""
    page.rect(x, y, 360, 270, WOOD, line=2.5)
    page.rect(x + 16, y + 16, 328, 238, GAP, line=1.5)
    page.rect(x + 44, y + 52, 244, 168, BOARD, line=2)
    for i in range(5):
        page.rect(x + 40 - 4 * i, y + 48 - 4 * i, 252 + 8 * i, 176 + 8 * i, "none", line=1)
    page.rect(x + 112, y + 84, 136, 88, PAPER, line=1.5)
    page.text(x + 124, y + 106, "No. ______", size=15)
    page.lines([((x + 124, y + 152 + 9 * i), (x + 236, y + 152 + 9 * i)) for i in range(2)], FAINT, 1)
    page.part(x + 100, y + 206, "bellows")
    page.part(x + 180, y + 292, "paper label, easily torn", (x + 180, y + 172))
    page.rect(x + 306, y + 60, 28, 180, WOOD, line=1.2)


def draw_reed_organ(page: Page) -> float:
    """Draw it and return where the legend may begin."""
    page.caption(240, 112, "From the front")
    _organ_front(page, 90, 128)
    page.caption(670, 112, "From the back, lower board off")
    _organ_back(page, 530, 128)
    page.rect(106, 397, 18, 11, IRON, line=1.2)
    page.mark("1", (48, 404), (115, 403))
    page.rect(786, 464, 18, 11, IRON, line=1.2)
    page.mark("1", (846, 470), (795, 470))
    page.mark("2", (646, 362))
    page.mark("3", (670, 303))
    page.mark("4", (240, 366))
    page.mark("5", (670, 428))
    page.mark("6", (48, 446), (128, 436))
    page.mark("7", (720, 516))
    return 690


def _organ_front(page: Page, x: float, y: float) -> None:
    """Draw the high top with mirror and shelves, stop knobs, keys and treadles; 300 wide, 530 high."""
    page.path(
        f"M{x + 70} {y + 40} Q{x + 80} {y + 8} {x + 120} {y + 22} Q{x + 150} {y - 16} {x + 180} {y + 22} "
        f"Q{x + 220} {y + 8} {x + 230} {y + 40} Z",
        WOOD_DARK,
        2,
    )
    page.rect(x + 50, y + 40, 200, 12, WOOD, line=2)
    page.rect(x + 62, y + 52, 176, 126, WOOD, line=2)
    page.path(f"M{x + 102} {y + 168} V{y + 92} Q{x + 150} {y + 40} {x + 198} {y + 92} V{y + 168} Z", PAPER, 2)
    page.lines([((x + 124 + 18 * i, y + 150), (x + 150 + 18 * i, y + 100)) for i in range(2)], FAINT, 1.5)
    page.part(x + 150, y + 164, "mirror")
    for shelf in (x + 16, x + 238):
        page.rect(shelf, y + 112, 46, 8, WOOD_DARK, line=1.5)
        page.path(f"M{shelf + 8} {y + 120} V{y + 178} M{shelf + 38} {y + 120} V{y + 178}", "none", 5)
        page.path(f"M{shelf + 8} {y + 120} V{y + 178} M{shelf + 38} {y + 120} V{y + 178}", "none", 2.5, WOOD)
    page.rect(x, y + 178, 300, 16, WOOD_DARK, line=2)
    page.rect(x + 8, y + 194, 284, 26, WOOD, line=1.8)
    page.part(x + 150, y + 212, "music desk")
    page.rect(x - 6, y + 220, 312, 112, WOOD, line=2.5)
    page.rect(x + 16, y + 226, 268, 40, WOOD_DARK, line=1.5)
    for i in range(11):
        knob = x + 34 + 23.2 * i
        page.circle(knob, y + 246, 8, PAPER, 1.6)
        page.circle(knob, y + 246, 4.5, PAPER, 0.8)
    page.keyboard(x + 30, y + 276, 240, 44, 36)
    page.rect(x - 10, y + 328, 320, 14, WOOD_DARK, line=2)
    page.path(f"M{x + 8} {y + 342} H{x + 292} V{y + 500} H{x + 8} Z", WOOD, 2.5)
    page.rect(x + 40, y + 356, 220, 66, WOOD_DARK, line=1.5)
    page.rect(x + 70, y + 432, 160, 68, GAP, line=1.5)
    for left in (x + 82, x + 156):
        page.polygon([(left + 6, y + 446), (left + 56, y + 446), (left + 62, y + 498), (left, y + 498)], FELT, 1.8)
        page.path(f"M{left + 12} {y + 458} h38 M{left + 10} {y + 472} h42 M{left + 8} {y + 486} h46", "none", 1)
    page.rect(x - 4, y + 500, 308, 16, WOOD_DARK, line=2)
    page.part(x + 312, y + 446, "treadles", (x + 214, y + 466), anchor="start")
    page.part(x + 312, y + 252, "stop knobs", (x + 276, y + 246), anchor="start")


def _organ_back(page: Page, x: float, y: float) -> None:
    """Draw the back: plain high top, rail, board with the label, reed pan above the bellows."""
    page.path(f"M{x + 40} {y + 40} Q{x + 140} {y - 16} {x + 240} {y + 40} Z", WOOD_DARK, 2)
    page.rect(x + 34, y + 40, 212, 122, WOOD, line=2)
    page.lines([((x + 34 + 42.4 * i, y + 42), (x + 34 + 42.4 * i, y + 160)) for i in range(1, 5)], FAINT, 0.8)
    page.part(x + 140, y + 104, "high top")
    page.rect(x, y + 162, 280, 354, WOOD, line=2.5)
    page.rect(x + 16, y + 194, 248, 306, GAP, line=1.5)
    page.rect(x + 16, y + 194, 248, 82, BOARD, line=1.5)
    page.rect(x + 34, y + 206, 110, 56, PAPER, line=1.4)
    page.part(x + 44, y + 240, "label", anchor="start")
    page.part(x + 204, y + 240, "back board")
    page.rect(x + 16, y + 276, 248, 46, WOOD_DARK, line=1.8)
    page.lines([((x + 24 + 6 * i, y + 282), (x + 24 + 6 * i, y + 292)) for i in range(40)], INK, 1.4)
    page.part(x + 52, y + 312, "reed pan")
    page.rect(x + 16, y + 322, 248, 20, WOOD, line=1.2)
    page.polygon([(x + 28, y + 372), (x + 252, y + 372), (x + 252, y + 398), (x + 28, y + 398)], WOOD, 1.8)
    page.polygon([(x + 28, y + 398), (x + 252, y + 398), (x + 240, y + 480), (x + 40, y + 480)], BOARD, 1.8)
    page.lines(
        [((x + 31 + 2.4 * i, y + 414 + 15 * i), (x + 249 - 2.4 * i, y + 414 + 15 * i)) for i in range(5)], INK, 1
    )
    page.part(x + 140, y + 494, "bellows")
    page.rect(x + 160, y + 376, 60, 20, PAPER, line=1.2)


def draw_harmonium(page: Page) -> float:
    """Draw it and return where the legend may begin."""
    page.caption(240, 112, "From the front, lid open")
    _harmonium_front(page, 70, 150)
    page.caption(670, 112, "Cut through, from the side")
    _harmonium_side(page, 540, 150)
    page.mark("1", (372, 168))
    page.mark("1", (846, 240), (795, 240))
    page.mark("2", (596, 290), (634, 277))
    return 600


def _harmonium_front(page: Page, x: float, y: float) -> None:
    """Draw a plain chest: lid, stop knobs, keys, panel, two treadles; 340 wide, 380 high."""
    page.rect(x - 4, y, 348, 36, WOOD_DARK, line=2)
    page.part(x + 130, y + 23, "lid, open")
    page.rect(x, y + 36, 340, 344, WOOD, line=2.5)
    page.rect(x + 14, y + 44, 312, 34, WOOD_DARK, line=1.5)
    for i in range(12):
        page.circle(x + 28 + 26 * i, y + 61, 8, PAPER, 1.6)
        page.circle(x + 28 + 26 * i, y + 61, 4.5, PAPER, 0.8)
    page.keyboard(x + 24, y + 84, 292, 50, 36)
    page.rect(x - 6, y + 134, 352, 30, WOOD, line=2)
    page.rect(x + 26, y + 182, 288, 96, WOOD_DARK, line=1.5)
    page.rect(x + 40, y + 290, 260, 82, GAP, line=1.5)
    for left in (x + 62, x + 186):
        page.polygon([(left + 6, y + 304), (left + 86, y + 304), (left + 92, y + 366), (left, y + 366)], FELT, 1.8)
        page.lines([((left + 8, y + 318 + 14 * i), (left + 84, y + 318 + 14 * i)) for i in range(4)], INK, 1)
    page.rect(x - 6, y + 380, 352, 12, WOOD_DARK, line=2)
    page.part(x + 170, y + 410, "treadles")
    page.part(x + 356, y + 66, "stop knobs", (x + 322, y + 61), anchor="start")


def _harmonium_side(page: Page, x: float, y: float) -> None:
    """Draw a section: keys and action above, reed plates in the wind chest, bellows, treadle."""
    page.path(f"M{x} {y + 92} H{x + 90} V{y + 36} H{x + 260} V{y + 380} H{x} Z", WOOD, 2.5)
    page.path(f"M{x + 12} {y + 104} H{x + 102} V{y + 48} H{x + 248} V{y + 368} H{x + 12} Z", PAPER, 1.5)
    page.rect(x + 12, y + 92, 120, 12, PAPER, line=1.5)
    page.part(x + 60, y + 84, "keys")
    page.rect(x + 96, y + 118, 148, 16, WOOD_DARK, line=1.5)
    page.lines([((x + 108 + 22 * i, y + 119), (x + 108 + 22 * i, y + 133)) for i in range(7)], INK, 4)
    page.rect(x + 84, y + 134, 160, 44, BOARD, line=1.8)
    page.part(x + 172, y + 108, "reed plates")
    page.part(x + 172, y + 162, "wind chest")
    page.polygon([(x + 60, y + 196), (x + 236, y + 196), (x + 236, y + 280), (x + 60, y + 236)], BOARD, 1.8)
    page.lines([((x + 60, y + 206 + 10 * i), (x + 236, y + 210 + 18 * i)) for i in range(4)], INK, 1)
    page.part(x + 168, y + 300, "bellows")
    page.path(f"M{x + 6} {y + 364} L{x + 120} {y + 318}", "none", 8)
    page.path(f"M{x + 6} {y + 364} L{x + 120} {y + 318}", "none", 5, FELT)
    page.lines([((x + 112, y + 320), (x + 112, y + 248))], INK, 2)
    page.part(x + 84, y + 358, "treadle", anchor="start")
    page.rect(x - 8, y + 380, 276, 12, WOOD_DARK, line=2)
    page.rect(x + 252, y + 60, 6, 60, IRON, line=1)

"""Drawings of the square grand and of the early English square: from above with the lid open, and from the front."""

from __future__ import annotations

from tools.drawings.page import BOARD, FAINT, FELT, GAP, INK, IRON, PAPER, WOOD, WOOD_DARK, Page, Point


def draw_square_grand(page: Page) -> float:
    """Draw it and return where the legend may begin."""
    page.caption(450, 106, "From above, lid open")
    _square_grand_from_above(page)
    page.caption(450, 498, "From the front, lid closed")
    _square_grand_front(page)
    for at in ((412, 192), (731, 262)):
        page.mark("1", at)
    page.mark("2", (640, 398))
    page.mark("3", (640, 132))
    page.mark("4", (300, 382))
    page.mark("5", (92, 425), (181, 425))
    page.mark("5", (500, 425))
    page.mark("6", (548, 420), (522, 405))
    page.mark("7", (480, 636), (480, 606))
    page.mark("A", (118, 606), (178, 606))
    page.mark("A", (782, 606), (722, 606))
    return 770


def _square_grand_from_above(page: Page) -> None:
    page.rect(130, 116, 640, 40, WOOD_DARK, rx=8)
    page.lines([((130, 137), (770, 137))])
    page.part(250, 131, "lid, folded back: front flap")
    page.rect(130, 156, 640, 298, WOOD, line=2.5, rx=46)
    page.rect(144, 168, 612, 272, BOARD, line=1.5, rx=36)
    page.lines([((560 + 14 * i, 440), (600 + 14 * i, 300)) for i in range(11)], FAINT, 0.4)
    # The iron plate: a frame along the back and the right side, with two bars.
    page.path(
        "M180 170 H720 Q754 172 754 206 V400 Q750 424 726 424 L706 396 L708 246 Q704 216 670 212 H170 Q150 212 150 204 "
        "Q152 172 180 170 Z",
        IRON,
    )
    page.dots([(190 + 11 * i, 183 + 9 * (i % 3)) for i in range(46)])
    strings = [(i / 33) for i in range(34)]
    page.lines([((186 + 480 * t, 206), (732, 408 - 178 * t)) for t in strings], FAINT, 0.8)
    for t in (0.3, 0.66):
        page.path(f"M{186 + 480 * t:.0f} 210 L716 {405 - 178 * t:.0f}", "none", 5, "#c9b868")
    page.path("M560 352 Q640 350 690 282", "none", 4)  # bridge
    page.part(584, 425, "soundboard", anchor="start")
    page.part(255, 236, "strings", anchor="start")
    # Action, nameboard, keys.
    page.path("M166 336 L470 336 L512 368 H166 Z", FELT, 1.2)
    page.part(320, 358, "hammers (action)")
    page.rect(160, 374, 362, 14, WOOD_DARK)
    page.rect(160, 388, 14, 62, WOOD)
    page.rect(512, 388, 14, 62, WOOD)
    page.keyboard(174, 390, 338, 56, 50)
    page.rect(160, 446, 366, 8, WOOD_DARK, line=1.2)
    page.part(784, 200, "tuning pins", (690, 192), anchor="start")


def _square_grand_front(page: Page) -> None:
    for x in (238, 662):
        _heavy_leg(page, x, 600, 726, 0.85, fill=WOOD_DARK)
    _lyre(page, 430, 600, 712)
    page.rect(128, 510, 644, 16, WOOD_DARK, line=2, rx=6)
    page.rect(134, 526, 632, 74, WOOD, line=2.5, rx=16)
    page.rect(170, 540, 350, 34, WOOD_DARK, line=1)
    page.part(345, 562, "fall, over the keys")
    for x in (178, 722):
        _heavy_leg(page, x, 600, 742, 1)


def _heavy_leg(page: Page, x: float, top: float, foot: float, size: float, *, fill: str = WOOD) -> None:
    """Draw a thick carved leg that narrows downward to a ball."""
    long = foot - top
    w = 34 * size
    page.path(
        f"M{x - w} {top} H{x + w} V{top + 14} C{x + w * 1.15} {top + long * 0.35} {x + w * 0.35} {top + long * 0.5} "
        f"{x + w * 0.4} {top + long * 0.8} H{x - w * 0.4} C{x - w * 0.35} {top + long * 0.5} {x - w * 1.15} "
        f"{top + long * 0.35} {x - w} {top + 14} Z",
        fill,
        2,
    )
    page.path(f"M{x - w} {top + 14} H{x + w}", "none", 1.2)
    page.path(
        f"M{x - w * 0.5} {top + long * 0.3} Q{x} {top + long * 0.42} {x + w * 0.5} {top + long * 0.3}", "none", 1.2
    )
    page.circle(x, top + long * 0.88, long * 0.09, fill, 2)


def _lyre(page: Page, x: float, top: float, foot: float) -> None:
    """Draw the pedal lyre: two curved arms, rods between them, two pedals."""
    low = foot - 22
    page.path(f"M{x - 26} {top} C{x - 40} {top + 40} {x - 6} {top + 50} {x - 22} {low}", "none", 6)
    page.path(f"M{x + 26} {top} C{x + 40} {top + 40} {x + 6} {top + 50} {x + 22} {low}", "none", 6)
    page.lines([((x - 6, top), (x - 6, low)), ((x + 6, top), (x + 6, low))], INK, 2)
    page.rect(x - 34, low, 68, 12, WOOD_DARK)
    for side in (-14, 14):
        page.rect(x + side - 6, low + 12, 12, 10, PAPER, line=1.2, rx=4)


def draw_english_square(page: Page) -> float:
    """Draw it and return where the legend may begin."""
    page.caption(450, 112, "From above, lid open")
    page.rect(120, 124, 660, 250, WOOD, line=2.5)
    page.rect(132, 136, 636, 226, BOARD, line=1.5)
    page.rect(132, 136, 52, 226, WOOD, line=1.2)
    page.lines([((500 + 16 * i, 362), (560 + 16 * i, 136)) for i in range(13)], FAINT, 0.4)
    plank: list[Point] = [(560, 137), (640, 137), (767, 290), (767, 361), (722, 361)]
    page.polygon(plank, WOOD_DARK, 1.5)
    page.lines([((186, 150 + 4.4 * i), (592 + 4.2 * i, 152 + 5.4 * i)) for i in range(34)], FAINT, 0.8)
    page.dots([(592 + 4.2 * i + 9 * (i % 2), 152 + 5.4 * i) for i in range(34)])
    page.path("M520 306 Q600 290 668 330", "none", 4)
    page.part(600, 350, "soundboard")
    page.part(350, 200, "strings")
    page.part(792, 200, "pin block", (690, 204), anchor="start")
    page.part(792, 216, "(wrestplank)", anchor="start")
    page.rect(184, 306, 330, 12, WOOD_DARK)
    page.keyboard(196, 318, 306, 50, 40)
    page.rect(184, 318, 12, 56, WOOD)
    page.rect(502, 318, 12, 56, WOOD)
    page.part(350, 298, "nameboard")
    page.caption(450, 424, "From the front, lid closed")
    for x in (170, 350, 550, 730):
        page.path(f"M{x - 12} 502 H{x + 12} L{x + 6} 620 H{x - 6} Z", WOOD, 1.8)
        page.rect(x - 15, 502, 30, 14, WOOD_DARK)
        page.path(f"M{x - 9} 548 H{x + 9} M{x - 9} 553 H{x + 9}", "none", 1.2)
        page.circle(x, 626, 6, GAP)
    page.rect(116, 438, 668, 10, WOOD_DARK, line=2)
    page.rect(120, 448, 660, 54, WOOD, line=2.5)
    page.rect(184, 458, 330, 32, WOOD_DARK, line=1)
    page.part(349, 479, "fall, over the keys")
    page.mark("1", (744, 326))
    page.mark("2", (592, 124), (584, 148))
    page.mark("A", (158, 248))
    return 660

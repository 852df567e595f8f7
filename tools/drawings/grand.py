"""Drawing of the grand: from above with the lid off, and from the side with the lid up."""

from __future__ import annotations

import itertools

from tools.drawings.page import BOARD, FAINT, FELT, GAP, INK, IRON, PAPER, WOOD, WOOD_DARK, Page, Point

BAR = "#c9b868"
"""The bars of the iron plate."""

BENT_SIDE = ((124, 172), (236, 178), (262, 250), (300, 312), (340, 342), (378, 366), (415, 392), (434, 440))
"""Where the strings end along the bent side, seen from above: x and y, left to right."""


def draw_grand(page: Page) -> float:
    """Draw it and return where the legend may begin."""
    page.caption(265, 106, "From above, lid not drawn, music desk off")
    _from_above(page)
    page.caption(690, 112, "From the side, lid up")
    _from_the_side(page)
    page.caption(690, 458, "From the front, below the keys")
    _from_the_front(page)
    page.mark("1", (196, 528))
    page.mark("2", (330, 532))
    page.mark("3", (150, 410))
    page.mark("3", (300, 340))
    page.mark("4", (50, 330), (84, 330))
    page.mark("5", (806, 250), (745, 250))
    page.mark("7", (50, 628), (90, 628))
    page.mark("7", (290, 666), (290, 650))
    page.mark("8", (488, 606), (438, 622))
    page.mark("8", (50, 590), (115, 612))
    page.mark("A", (50, 545), (112, 570))
    page.mark("6", (770, 560), (770, 521))
    page.mark("9", (612, 560), (664, 534))
    page.mark("9", (612, 560), (560, 530))
    page.mark("9", (874, 206), (846, 206))
    page.mark("9", (640, 386), (604, 360))
    return 710


def _from_above(page: Page) -> None:
    page.path("M76 650 V190 C76 110 236 92 262 176 C286 262 316 300 386 334 C446 362 470 392 470 446 V650 Z", WOOD, 2.5)
    page.path(
        "M92 562 V196 C92 128 226 112 248 184 C274 274 308 314 378 348 C436 376 454 402 454 446 V562 Z", BOARD, 1.5
    )
    page.lines([((100 + 22 * i, 470), (100 + 22 * i - 8, 160 + max(0, i - 6) * 26)) for i in range(7)], FAINT, 0.4)
    # The plate's rim at the tail, its bars, and its broad front with the tuning pins.
    page.path("M98 200 C98 136 220 122 242 186", "none", 7, BAR)
    page.path("M250 210 C280 284 312 322 376 356 C428 380 448 404 448 446", "none", 7, BAR)
    page.path("M180 200 C200 180 220 196 230 236 C256 320 300 366 372 394", "none", 4)  # long bridge
    page.path("M108 256 L176 214", "none", 4)  # bass bridge
    page.lines([((106 + 7 * i, 506), (150 + 8.5 * i, 158 + 4 * i)) for i in range(11)], FAINT, 1.8)
    page.lines([((222 + 6.9 * i, 506), _string_end(124 + 9.6 * i)) for i in range(33)], FAINT, 0.8)
    page.path("M92 500 H454 V562 H92 Z", IRON, 1.6)
    page.dots([(106 + 8.4 * i, 510 + 11 * (i % 3)) for i in range(9)])
    page.dots([(226 + 7 * i, 510 + 11 * (i % 3)) for i in range(32) if not 13 <= i <= 17])
    page.path("M178 502 L196 546 L214 502", IRON, 1.8)
    page.path("M314 514 Q330 506 346 514 V544 Q330 556 314 544 Z", WOOD_DARK, 1.8)
    for start, end in (((196, 546), (232, 236)), ((290, 500), (300, 318)), ((384, 500), (392, 372))):
        page.path(f"M{start[0]} {start[1]} L{end[0]} {end[1]}", "none", 5, BAR)
    page.rect(92, 562, 362, 12, FELT, line=1.2)
    page.rect(104, 574, 338, 14, WOOD_DARK, line=1.5)
    page.rect(76, 588, 28, 62, WOOD, line=1.8)
    page.rect(442, 588, 28, 62, WOOD, line=1.8)
    page.keyboard(104, 588, 338, 52, 52)
    page.rect(104, 640, 338, 12, WOOD_DARK, line=1.5)
    page.part(318, 190, "soundboard under the strings", (226, 250), anchor="start")
    page.part(486, 486, "pins", (440, 520), anchor="start")
    page.part(486, 588, "fall", (444, 582), anchor="start")


def _string_end(x: float) -> Point:
    """Return the point above x where a string meets the bent side."""
    for (left, high), (right, low) in itertools.pairwise(BENT_SIDE):
        if x <= right:
            return x, high + (low - high) * (x - left) / (right - left)
    return x, BENT_SIDE[-1][1]


def _from_the_side(page: Page) -> None:
    for x, w in ((566, 26), (800, 24), (690, 18)):
        page.path(f"M{x - w / 2} 344 H{x + w / 2} L{x + w / 4} 404 H{x - w / 4} Z", WOOD, 1.8)
        page.circle(x, 409, 5, GAP)
    page.polygon([(548, 292), (612, 140), (842, 156), (850, 292)], WOOD_DARK, 2)
    page.path("M596 290 L640 150", "none", 1)
    page.path("M735 296 L752 156", "none", 7)
    page.path("M735 296 L752 156", "none", 3.5, WOOD)
    page.path("M528 318 H548 V292 H838 C852 292 856 300 856 312 V346 H528 Z", WOOD, 2.5)
    page.rect(528, 318, 34, 10, PAPER, line=1.2)
    page.lines([((533 + 6 * i, 318), (533 + 6 * i, 328)) for i in range(5)], INK, 0.8)
    page.path("M592 346 L598 396 M608 346 L602 396", "none", 3)
    page.rect(586, 394, 28, 6, WOOD_DARK)
    page.part(700, 196, "lid")
    page.part(800, 326, "rim")
    page.part(540, 276, "keys", (543, 318))


def _from_the_front(page: Page) -> None:
    for x in (556, 824):
        page.path(f"M{x - 17} 520 H{x + 17} L{x + 8} 646 H{x - 8} Z", WOOD, 2)
        page.circle(x, 653, 7, GAP)
    page.path("M670 520 C636 562 680 588 676 620", "none", 6)
    page.path("M710 520 C744 562 700 588 704 620", "none", 6)
    page.lines([((690, 520), (690, 622))], INK, 2)
    page.rect(656, 620, 68, 12, WOOD_DARK)
    for x in (-22, -6, 10):
        page.rect(690 + x, 632, 12, 10, PAPER, line=1.2, rx=4)
    page.rect(530, 470, 320, 50, WOOD, line=2.5)
    page.rect(560, 476, 260, 14, WOOD_DARK, line=1)
    page.keyboard(560, 490, 260, 18, 52)
    page.part(726, 600, "pedal lyre", (704, 596), anchor="start")

"""The named types that pass from one stage of reading to the next.

    file -> Photo -> View* -> Region* -> Reading* -> Mark* -> Serial -> Dating -> Answer

Only numpy and the standard library are used here, and no stage is imported. All types are frozen. A field is called
`probability` only where it is calibrated, that is, where things said with 0.9 come true nine times in ten; anything
else that ranks is called `score`. Points are (x, y) in pixels of the upright photo, x to the right, y down, the
centre of the first pixel at (0, 0).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

ANSWER_VERSION = 1
"""Version of the answer's data form; raised when a reader of the old form would break."""

Quad = NDArray[np.float32]
"""(4, 2) float32, x and y in photo pixels. First corner: where the first character's top begins; then the end of the
top edge, the end of the bottom edge, the beginning of the bottom edge, as seen by someone who reads the string."""


@dataclass(frozen=True)
class ProcessingStep:
    """One thing that was done to a picture: a name and its settings, as ALTO's ProcessingStep records it."""

    name: str
    settings: Mapping[str, float | int | str] = field(default_factory=dict)


@dataclass(frozen=True)
class Photo:
    """A decoded photograph, turned upright.

    `pixels` is (H, W, 3) uint8 sRGB. `orientation` is the EXIF value 1 to 8 that was applied. `page` is the page that
    was read, counted from 0, of `pages`.
    """

    pixels: NDArray[np.uint8]
    path: str
    sha256: str
    orientation: int = 1
    page: int = 0
    pages: int = 1

    def __post_init__(self) -> None:
        if self.pixels.ndim != 3 or self.pixels.shape[2] != 3 or self.pixels.dtype != np.uint8:
            raise ValueError(f"a photo's pixels are (H, W, 3) uint8, not {self.pixels.shape} {self.pixels.dtype}")

    @property
    def height(self) -> int:
        """Height in pixels, upright."""
        return int(self.pixels.shape[0])

    @property
    def width(self) -> int:
        """Width in pixels, upright."""
        return int(self.pixels.shape[1])


@dataclass(frozen=True)
class View:
    """One enhanced picture of a photo or of a part of it, made for one kind of surface.

    `pixels` is (H, W) uint8 with strokes dark on bright, whatever they were in the photo. `to_photo` is the (3, 3)
    float64 homography that takes a view's (x, y, 1) to the photo's.
    """

    name: str
    surface: str
    pixels: NDArray[np.uint8]
    to_photo: NDArray[np.float64]
    steps: tuple[ProcessingStep, ...] = ()


@dataclass(frozen=True)
class Region:
    """A quadrilateral that may hold one string.

    `score` ranks regions of one photo and is no probability. `half_turn_open` says that the direction of reading is
    known only up to a half turn.
    """

    quad: Quad
    score: float
    surface: str = "unknown"
    half_turn_open: bool = True

    def __post_init__(self) -> None:
        if self.quad.shape != (4, 2):
            raise ValueError(f"a quad is (4, 2), not {self.quad.shape}")


@dataclass(frozen=True)
class Rival:
    """Another character that may stand in the same place."""

    text: str
    probability: float


@dataclass(frozen=True)
class Character:
    """One read character with its rivals.

    `span` is where it begins and ends along the region's direction of reading, as shares (0 to 1) of the length.
    """

    text: str
    probability: float
    rivals: tuple[Rival, ...] = ()
    span: tuple[float, float] = (0.0, 1.0)


@dataclass(frozen=True)
class Candidate:
    """One whole string with the probability that it is exactly what stands there."""

    text: str
    probability: float


@dataclass(frozen=True)
class Reading:
    """A recognizer's whole opinion of one region.

    `characters` spell the best string, blanks between words included. `candidates` are the N best strings, best
    first; their probabilities sum to at most 1, and the rest belongs to strings not listed.
    """

    region: Region
    characters: tuple[Character, ...]
    candidates: tuple[Candidate, ...]
    recognizer: str

    @property
    def text(self) -> str:
        """The best string, or an empty one where nothing was read."""
        return self.candidates[0].text if self.candidates else ""

    @property
    def probability(self) -> float:
        """The best string's probability, 0 where nothing was read."""
        return self.candidates[0].probability if self.candidates else 0.0


class MarkKind(StrEnum):
    """What trade rule says that a mark is."""

    SERIAL = "serial"
    MODEL = "model"
    PART_POSITION = "part-position"
    PATENT = "patent"
    CALENDAR_YEAR = "calendar-year"
    SIZE = "size"
    KEY_NUMBER = "key-number"
    ADDRESS = "address"
    WORD = "word"
    OTHER = "other"
    """Figures that no rule knows: too long, mixed with letters, or in a form of their own."""


@dataclass(frozen=True)
class Mark:
    """One string on the instrument, and what trade rule says it is.

    `text` is the mark's own string without what only announces it ('No.' before a serial). `why` gives the reason in
    words. `probability` is that of the text being read right. `kind_probability` is how sure the rules are of the
    kind. `alternatives` are other strings it may be, best first.
    """

    id: int
    text: str
    kind: MarkKind
    rule: str
    why: str
    probability: float
    kind_probability: float
    quad: Quad
    surface: str = "unknown"
    characters: tuple[Character, ...] = ()
    alternatives: tuple[Candidate, ...] = ()


@dataclass(frozen=True)
class Serial:
    """The number chosen as the instrument's serial.

    `accepted`: sure enough to use. The goal is that on photos held out from choosing the setting such answers are right
    at least 99 times in 100; tools/benchmark/RESULTS.md says what was measured. `mark` is the id of the mark it was
    read from, `confirmed_by` the ids of others with the same number.
    """

    text: str
    probability: float
    accepted: bool
    mark: int
    alternatives: tuple[Candidate, ...] = ()
    confirmed_by: tuple[int, ...] = ()


@dataclass(frozen=True)
class Maker:
    """A maker as a table knows it. `invented` is true for the makers of the demo."""

    id: str
    name: str
    place: str = ""
    invented: bool = False


@dataclass(frozen=True)
class Evidence:
    """One thing that bears on the year, and where it is from.

    `not_before` and `not_after` are the years that it allows, None where open or where it names none.
    """

    kind: str
    says: str
    source: str
    not_before: int | None = None
    not_after: int | None = None


@dataclass(frozen=True)
class DatedNumber:
    """One number that it may be, in one of the maker's series, and the year it would mean.

    `probability` is that of the number and series, all evidence weighed. `year` and `interval` are None where the
    series says nothing of the number; `why` then says so, else it may name another thing to know, or be empty.
    """

    text: str
    series: str
    probability: float
    year: int | None = None
    interval: tuple[int, int] | None = None
    why: str = ""


@dataclass(frozen=True)
class FigureRival:
    """What one figure in one place would mean: the year of the number with that figure there, None where there is none.

    `interval` holds the year with a probability of 0.9.
    """

    text: str
    probability: float
    year: int | None
    interval: tuple[int, int] | None


@dataclass(frozen=True)
class DoubtfulFigure:
    """A figure that may be read otherwise. `place` is counted from 1; `rivals` has the figure itself first."""

    place: int
    rivals: tuple[FigureRival, ...]


@dataclass(frozen=True)
class NamedAlternative:
    """A number that a slip would explain (a figure missing, two swapped). Offered, and never part of the answer."""

    text: str
    slip: str
    year: int
    interval: tuple[int, int]


@dataclass(frozen=True)
class Dating:
    """When the instrument was made, as far as the evidence goes. Never proof of age.

    `edtf` is an ISO 8601-2 (EDTF) string. `year` is the most likely year, `interval` the first and last year that
    hold it with `probability`: what the years in the interval have of the curve, 0.9 or a little more, times the
    probability that the number is one of the `candidates` with a year, and the chance that another number's year lies
    there too. `interval_50` holds half of the curve. `years` and
    `probabilities` are the curve, summing to 1; years beyond them have next to nothing.
    """

    edtf: str
    year: int
    interval: tuple[int, int]
    probability: float
    evidence: tuple[Evidence, ...] = ()
    warnings: tuple[str, ...] = ()
    interval_50: tuple[int, int] = (0, 0)
    years: tuple[int, ...] = ()
    probabilities: tuple[float, ...] = ()
    candidates: tuple[DatedNumber, ...] = ()
    figures: tuple[DoubtfulFigure, ...] = ()
    alternatives: tuple[NamedAlternative, ...] = ()


@dataclass(frozen=True)
class Advice:
    """What the person can do to get a better answer. `code` is stable, `text` is one or two plain sentences."""

    code: str
    text: str


@dataclass(frozen=True)
class Answer:
    """Everything that one photo gave. `seconds` has the keys load, locate, recognize and total."""

    path: str
    sha256: str
    width: int
    height: int
    serial: Serial | None
    marks: tuple[Mark, ...]
    maker: Maker | None
    dating: Dating | None
    advice: tuple[Advice, ...]
    seconds: Mapping[str, float]
    version: int = ANSWER_VERSION

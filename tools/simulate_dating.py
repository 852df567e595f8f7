"""Does a year said with 90 % hold nine times in ten? `python -m tools.simulate_dating [--count 10000]`.

Instruments of simulated makers are dated, and the true year is compared. The makers' output is a random walk in its
logarithm with slack years and stops, NOT the process that the model assumes; half of them have a works' list of some
years, half a few sightings (built, shipped, about). Every number is read with the reader's own errors: a reading of
tests/reader/dating/measured_readings.csv with as many figures lends its probabilities and its slips, figure by figure.
That file holds what the reader gave for 759 rendered crops of figures that it was neither trained nor calibrated on;
`--measure CROPS.npz` (tools.training.heldout) writes it anew.
"""

from __future__ import annotations

import argparse
import csv
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from reader.dating.readings import Readings, read_serial
from reader.dating.series import Basis, BreakPoint, MakerTable, Series, YearKind
from reader.dating.weigh import date_number
from reader.results import Candidate, Dating, Maker, Serial

READINGS_FILE = Path(__file__).parents[1] / "tests" / "reader" / "dating" / "measured_readings.csv"
ACCEPT_FROM = 0.92
"""The reader's own bar for a sure serial (reader/sort)."""
FIGURES = (3, 7)
"""Figures of a serial, fewest and most."""
STRINGS_KEPT, PROBABILITY_MIN = 8, 0.0005
"""What is kept of a measured reading."""
ORDER_YEARS = 0.5
"""How far the simulated instruments are out of order: scale of a Laplace distribution in years."""
PER_MAKER = 10
"""Instruments of one simulated maker."""

Reading = tuple[str, list[tuple[str, float]]]


@dataclass(frozen=True)
class Works:
    """A maker's true record: at the start of each of `starts` (Y + 1,) the number `reached`."""

    starts: NDArray[np.int64]
    reached: NDArray[np.int64]

    def date(self, number: int) -> float:
        """Return when the number was reached."""
        return float(np.interp(number, self.reached, self.starts))


@dataclass(frozen=True)
class Outcome:
    """One instrument: its true year and what was said of it."""

    year: int
    dating: Dating | None
    listed: bool

    @property
    def held(self) -> bool:
        """Whether the 90 % interval holds the true year."""
        return self.dating is not None and self.dating.interval[0] <= self.year <= self.dating.interval[1]


def load_readings() -> dict[int, list[Reading]]:
    """Return the measured readings by the number of figures of the truth."""
    found: dict[int, list[Reading]] = defaultdict(list)
    with READINGS_FILE.open(encoding="utf-8", newline="") as lines:
        for row in csv.DictReader(lines):
            pairs = [pair.split(":") for pair in row["strings"].split()]
            found[len(row["truth"])].append((row["truth"], [(text, float(p)) for text, p in pairs]))
    return found


def simulate(count: int, seed: int = 1, *, sure: bool = False) -> Iterator[Outcome]:
    """Yield `count` instruments; with `sure` their numbers are read without any doubt."""
    random = np.random.default_rng(seed)
    readings = load_readings()
    made = 0
    while made < count:
        works = _make_works(random)
        series = Series.from_points("piano", _publish(works, random))
        if len(series.points) < 3:
            continue
        table = MakerTable(Maker("simulated", "Simulated"), (), None, None, "simulated", (series,))
        for _ in range(min(PER_MAKER, count - made)):
            number = int(random.integers(series.points[0].serial, series.points[-1].serial + 1))
            year = int(np.floor(works.date(number) + random.laplace(0, ORDER_YEARS)))
            read = Readings((Candidate(str(number), 1.0),), str(number), True)
            if not sure and (own := readings.get(len(str(number)))):
                read = _transplant(own[int(random.integers(len(own)))], str(number), random)
            listed = str(number) in {string.text for string in read.strings}
            yield Outcome(year, date_number(read, [(table, 1.0)]).dating, listed)
            made += 1


def _make_works(random: np.random.Generator) -> Works:
    years = int(random.integers(25, 90))
    start = int(random.integers(1820, 1900))
    steps = np.concatenate([[random.normal(6.0, 1.0)], random.normal(0.03, 0.28, years - 1)])
    output = np.exp(np.cumsum(steps))
    output *= np.where(random.random(years) < 0.08, random.uniform(0.05, 0.5, years), 1.0)  # slack years
    reached = int(random.integers(100, 3000)) + np.concatenate([[0], np.cumsum(np.maximum(output, 1.0))])
    return Works(start + np.arange(years + 1, dtype=np.int64), np.floor(reached).astype(np.int64))


def _publish(works: Works, random: np.random.Generator) -> list[BreakPoint]:
    """Return what is known of the works: some years of its list, or a few instruments seen."""
    years = len(works.starts) - 1
    if random.random() < 0.5:
        chosen = random.choice(np.arange(1, years), min(int(random.integers(5, 15)), years - 1), replace=False)
        listed = [
            _point(int(works.reached[k]), int(works.starts[k]), YearKind.BUILT, Basis.FIRST_OF_YEAR)
            for k in sorted({0, *chosen.tolist()})
        ]
        end = _point(int(works.reached[-1]), int(works.starts[-1]) - 1, YearKind.BUILT, Basis.LAST_OF_YEAR)
        return [*listed, end]
    numbers = random.integers(works.reached[0], works.reached[-1], int(random.integers(5, 12)))
    seen = []
    for number in sorted(set(numbers.tolist())):
        date = works.date(number) + random.laplace(0, ORDER_YEARS)
        kind = random.choice([YearKind.BUILT, YearKind.SHIPPED, YearKind.APPROX], p=[0.7, 0.15, 0.15])
        kind = YearKind(str(kind))
        shift = {YearKind.SHIPPED: random.exponential(0.5), YearKind.APPROX: random.laplace(0, 2.0)}.get(kind, 0.0)
        seen.append(_point(number, int(np.floor(date + shift)), kind, Basis.SEEN))
    return seen


def _point(serial: int, year: int, kind: YearKind, basis: Basis) -> BreakPoint:
    return BreakPoint(serial, year, kind, basis, "simulated", "invented")


def _transplant(reading: Reading, number: str, random: np.random.Generator) -> Readings:
    """Return the reading as if `number` had stood there: the same slips in the same places, the same probabilities."""
    truth, strings = reading
    moved: dict[str, float] = {}
    for text, probability in strings:
        other = text
        if len(text) == len(truth):
            other = "".join(
                own if read == true else _other(own, read, random)
                for own, true, read in zip(number, truth, text, strict=True)
            )
        elif text in truth or truth in text:
            start = truth.find(text) if text in truth else text.find(truth)
            before, after = text[:start], text[start + len(truth) :]
            other = number[start : start + len(text)] if text in truth else before + number + after
        moved.setdefault(other, probability)
    best = next(iter(moved))
    return Readings(tuple(Candidate(*pair) for pair in moved.items()), best, moved[best] >= ACCEPT_FROM)


def _other(own: str, read: str, random: np.random.Generator) -> str:
    return read if read != own else str((int(own) + int(random.integers(1, 10))) % 10)


def measure(crops: Path) -> int:
    """Read the crops of figures in a file as the product reads a line; write READINGS_FILE and return its rows."""
    from reader.answer import crop_region, own_recognizer, read_lines
    from reader.recognize.calibrate import load_calibration
    from reader.recognize.combine import combine_lines

    with np.load(crops) as file:
        pixels, widths, texts = file["pixels"], file["width"], file["text"].tolist()
    rows = []
    for picture, width, truth in zip(pixels, widths, texts, strict=True):
        if not (truth.isdigit() and FIGURES[0] <= len(truth) <= FIGURES[1]):
            continue
        gray = np.ascontiguousarray(picture[:, :width])
        (lines,) = read_lines(gray, [crop_region(gray)], own_recognizer())
        reading = combine_lines(lines, load_calibration())
        numbers = [one for one in reading.candidates if one.text.isdigit()]
        if not numbers:
            continue
        best = Serial(numbers[0].text, numbers[0].probability, False, 0, tuple(numbers[1:]))
        characters = reading.characters if reading.text == best.text else ()
        strings = read_serial(best, characters).strings[:STRINGS_KEPT]
        likely = [f"{one.text}:{one.probability:.4f}" for one in strings if one.probability >= PROBABILITY_MIN]
        rows.append((truth, " ".join(likely)))
    with READINGS_FILE.open("w", encoding="utf-8", newline="") as written:
        csv.writer(written, lineterminator="\n").writerows([("truth", "strings"), *rows])
    return len(rows)


def report(outcomes: list[Outcome]) -> str:
    """Return the figures of a simulation as lines of text."""
    dated = [one for one in outcomes if one.dating is not None]
    lines = [f"{len(outcomes)} instruments, {len(dated)} with a year"]
    bands = ((0.0, 1.01), (0.0, 0.5), (0.5, 0.8), (0.8, 0.88), (0.88, 0.92), (0.92, 0.95), (0.95, 1.01))
    for low, high in bands:
        band = [one for one in dated if one.dating and low <= one.dating.probability < high]
        if band:
            held = np.mean([one.held for one in band])
            said = np.mean([one.dating.probability for one in band if one.dating])
            lines.append(f"said {low:.2f} to {high:.2f}: {len(band)}, held {held:.3f}, said on average {said:.3f}")
    return "\n".join(lines)


def main() -> None:
    """Simulate and print, once with the reader's errors and once with numbers read without doubt."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument(
        "--measure", type=Path, metavar="CROPS", help="write the file of measured readings anew, and stop"
    )
    options = parser.parse_args()
    if options.measure:
        print(f"{measure(options.measure)} readings")
        return
    for sure in (True, False):
        outcomes = list(simulate(options.count, options.seed, sure=sure))
        print("numbers read without doubt" if sure else "numbers with the reader's own errors")
        print(report(outcomes))


if __name__ == "__main__":
    main()

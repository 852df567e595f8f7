"""Measure how well lines are found in whole photos: `python -m tools.finding.measure SET ... [--overlays FOLDER]`.

A SET is a folder of tools/renderer's `set`: photos and labels.csv with quads. It prints, on standard output, the share
of serials whose quad is covered (intersection over union at least 0.5) by one of the best 10 and of the best 40
regions, the share that our line recognizer reads exactly from one of the 40 (where the region leaves it open, also
half-turned; 'No.' in front is left out), the share that it reads so or with one letter beside it (a model letter of the
same row), the regions a photo, and the processor seconds a photo. Of the covered serials: in how many the region says
rightly, wrongly or not at all which way up they are read. With --turned every photo is turned by 0 to 3 quarters, one
after the other. Of folders without quads it writes overlays and counts regions.
"""

from __future__ import annotations

import argparse
import csv
import json
import re
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from reader.geometry import crop_quad, grow_quad, quad_angle_deg, quad_overlap, quad_size, turn_quad
from reader.locate.network import find_regions
from reader.recognize.network import NetworkRecognizer
from reader.results import Quad, Region

MOST, BEST = 40, 10
"""Regions of a photo that are read, and those that are counted as the best."""

LINE_PX, MARGIN, ENDS = 40, 0.3, 0.35
"""Line pictures as reader/answer.py cuts them: height of the figures, margin and ends in shares of it."""

COVERED = 0.5
"""Intersection over union from which a quad is found."""

Gray = NDArray[np.uint8]


@dataclass
class Tally:
    """Sums over the photos of one set."""

    photos: int = 0
    best: int = 0
    any: int = 0
    read: int = 0
    lettered: int = 0
    regions: int = 0
    seconds: float = 0.0
    right: int = 0
    wrong: int = 0
    missed: list[str] = field(default_factory=list)

    def row(self) -> dict[str, float | int]:
        """Return shares and means."""
        n, covered = max(1, self.photos), max(1, self.any)
        return {
            "photos": self.photos,
            f"covered by best {BEST}": round(self.best / n, 3),
            f"covered by best {MOST}": round(self.any / n, 3),
            "read": round(self.read / n, 3),
            "read, a letter beside it": round(self.lettered / n, 3),
            "way up right": round(self.right / covered, 3),
            "way up wrong": round(self.wrong / covered, 3),
            "way up open": round(1 - (self.right + self.wrong) / covered, 3),
            "regions": round(self.regions / n, 1),
            "processor seconds": round(self.seconds / n, 3),
        }


def labelled(folder: Path) -> Iterator[tuple[Path, str, Quad]]:
    """Yield photo, serial and the serial's quad of a rendered set."""
    with (folder / "labels.csv").open(encoding="utf-8") as lines:
        for row in csv.DictReader(lines):
            for mark in json.loads(row.get("quads") or "[]"):
                if mark["kind"] == "serial":
                    yield folder / row["file"], mark["text"], np.array(mark["quad"], np.float32)


def plain(text: str) -> str:
    """Return a string as it is compared: capitals and figures, without a 'No.' in front."""
    return re.sub(r"^(SERIAL)?(NO|NR)(?=\d)", "", re.sub(r"[^A-Z0-9]", "", text.upper()))


def read_as(gray: Gray, regions: Sequence[Region], text: str, recognizer: NetworkRecognizer) -> tuple[bool, bool]:
    """Whether one of the regions, turned too where open, reads exactly as the text; and whether so or with a letter."""
    lettered = False
    for region in regions:
        crops = []
        for turns in (0, 2) if region.half_turn_open else (0,):
            quad = turn_quad(region.quad, turns)
            crops.append(crop_quad(gray, grow_quad(quad, ENDS * quad_size(quad)[1], 0), LINE_PX, MARGIN)[0])
        texts = [plain(line.text) for line in recognizer.decode_pixels(crops)]
        if plain(text) in texts:
            return True, True
        lettered = lettered or any(re.fullmatch(f"[A-Z]?{plain(text)}[A-Z]?", found) for found in texts)
    return False, lettered


def turn_photo(gray: Gray, quad: Quad, quarters: int) -> tuple[Gray, Quad]:
    """Return photo and quad turned by quarter turns, counterclockwise as seen."""
    for _ in range(quarters):
        quad = np.stack([quad[:, 1], gray.shape[1] - 1 - quad[:, 0]], 1).astype(np.float32)
        gray = np.ascontiguousarray(np.rot90(gray))
    return gray, quad


def way_up(regions: Sequence[Region], quad: Quad) -> bool | None:
    """Whether the region that covers a quad best says rightly which way up it is read; None where it leaves it open."""
    best = max(regions, key=lambda region: quad_overlap(region.quad, quad)[0])
    if best.half_turn_open:
        return None
    off = (quad_angle_deg(best.quad) - quad_angle_deg(quad) + 180) % 360 - 180
    return abs(off) < 90


def draw(gray: Gray, regions: Sequence[Region], truth: Quad | None) -> NDArray[np.uint8]:
    """Return the photo with its regions, the beginning of reading marked, and the truth."""
    scale = 1000 / max(gray.shape)
    picture = cv2.cvtColor(cv2.resize(gray, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA), cv2.COLOR_GRAY2BGR)
    if truth is not None:
        cv2.polylines(picture, [np.round(truth * scale).astype(np.int32)], True, (255, 120, 0), 4)
    for region in regions:
        corners = np.round(region.quad * scale).astype(np.int32)
        cv2.polylines(picture, [corners], True, (0, 200, 255), 1)
        cv2.circle(picture, (int(corners[0, 0]), int(corners[0, 1])), 3, (0, 0, 255), -1)
        place = (int(corners[3, 0]), int(corners[3, 1]))
        cv2.putText(picture, f"{region.score:.2f}", place, cv2.FONT_HERSHEY_SIMPLEX, 0.4, (0, 255, 0), 1)
    return np.asarray(picture, np.uint8)


def _gray(path: Path) -> Gray | None:
    try:
        content = np.fromfile(path, np.uint8)
    except OSError:
        return None
    picture = cv2.imdecode(content, cv2.IMREAD_GRAYSCALE) if len(content) else None
    return None if picture is None else np.asarray(picture, np.uint8)


def measure_set(folder: Path, every: int, overlays: Path | None, read: bool, turned: bool = False) -> Tally:
    """Measure every `every`-th photo of a set."""
    recognizer, tally = NetworkRecognizer(), Tally()
    for number, (path, text, upright) in enumerate(list(labelled(folder))[::every]):
        photo = _gray(path)
        if photo is None:
            continue
        gray, quad = turn_photo(photo, upright, number % 4 if turned else 0)
        begun = time.process_time()
        regions = find_regions(gray, MOST)
        tally.seconds += time.process_time() - begun
        covered = [place for place, region in enumerate(regions) if quad_overlap(region.quad, quad)[0] >= COVERED]
        tally.photos += 1
        tally.regions += len(regions)
        tally.best += bool(covered) and covered[0] < BEST
        tally.any += bool(covered)
        told = way_up(regions, quad) if covered else None
        tally.right += told is True
        tally.wrong += told is False
        known, lettered = read_as(gray, regions, text, recognizer) if read else (False, False)
        tally.read += known
        tally.lettered += lettered
        if not known:
            tally.missed.append(path.name)
        if overlays and not (known and covered):
            target = (
                overlays / f"{folder.name}-{path.stem}{'' if covered else '-uncovered'}{'' if known else '-unread'}.jpg"
            )
            cv2.imencode(".jpg", draw(gray, regions, quad))[1].tofile(target)
    return tally


def draw_folder(folder: Path, overlays: Path, every: int) -> None:
    """Write overlays of the network's regions for photos without quads; print the regions a photo."""
    counts = []
    for path in sorted(p for p in folder.iterdir() if p.suffix.lower() in {".jpg", ".jpeg", ".png"})[::every]:
        gray = _gray(path)
        if gray is not None:
            regions = find_regions(gray, MOST)
            counts.append(len(regions))
            cv2.imencode(".jpg", draw(gray, regions, None))[1].tofile(
                overlays / f"{folder.parent.name}-{path.stem}.jpg"
            )
    print(
        json.dumps({"folder": folder.name, "photos": len(counts), "regions": round(float(np.mean(counts or [0])), 1)})
    )


def main() -> None:
    """Measure from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("sets", type=Path, nargs="+")
    parser.add_argument("--every", type=int, default=1)
    parser.add_argument("--overlays", type=Path)
    parser.add_argument("--no-reading", action="store_true")
    parser.add_argument("--turned", action="store_true", help="turn every photo by 0 to 3 quarters")
    options = parser.parse_args()
    cv2.setNumThreads(1)
    if options.overlays:
        options.overlays.mkdir(parents=True, exist_ok=True)
    for folder in options.sets:
        if not (folder / "labels.csv").exists() or not any(labelled(folder)):
            draw_folder(folder, options.overlays or Path(), options.every)
            continue
        tally = measure_set(folder, options.every, options.overlays, not options.no_reading, options.turned)
        print(json.dumps({"set": folder.name, **tally.row()}), flush=True)
        print(f"{folder.name}: not read {tally.missed}", file=sys.stderr)


if __name__ == "__main__":
    main()

"""The trials as commands: `python -m tools.trials prints|throughput|known|large [OPTIONS]`. Figures go to stdout."""

from __future__ import annotations

import argparse
from pathlib import Path

from tools.trials import load, prints


def main() -> None:
    """Run the trial that is asked for."""
    parser = argparse.ArgumentParser(prog="python -m tools.trials", description=__doc__)
    trials = parser.add_subparsers(dest="trial", required=True)
    one = trials.add_parser("prints", help="album pages, printers' screens and negatives made of the sample pictures")
    one.add_argument("--pages", type=int, default=60)
    one.add_argument("--seed", type=int, default=1)
    one.add_argument("--read", action="store_true", help="read the samples as halftones and negatives too (slow)")
    one.add_argument("--plain", type=Path, nargs="*", default=[], help="folders of single photos: none is to be split")
    one = trials.add_parser("throughput", help="photos a second for 1 and 2 workers against the sum of decode times")
    one.add_argument("folder", type=Path)
    one.add_argument("--chunks", type=int, default=2)
    one = trials.add_parser("known", help="how fast known photos are passed over")
    one.add_argument("--photos", type=int, default=100_000)
    trials.add_parser("large", help="the memory that a TIFF of 200 megapixels takes")
    chosen = parser.parse_args()
    if chosen.trial == "prints":
        prints.measure(chosen.pages, chosen.seed, chosen.plain, read=chosen.read)
    elif chosen.trial == "throughput":
        load.measure_throughput(chosen.folder, chosen.chunks)
    elif chosen.trial == "known":
        load.measure_known(chosen.photos)
    else:
        load.measure_large()


if __name__ == "__main__":
    main()

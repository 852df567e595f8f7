"""Train the line recognizer from nothing: `python -m tools.training --data DATA --digits FOLDER`, until it is done.

Each call does the steps that are still due in the folder (glyphs, strings, real strips, one bounded part of the
training) and stops after that part; once the training time is used up it renders held-out crops and photographs,
exports the weights, checks them against PyTorch, and fits temperature and calibration. Started again it goes on.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

DIFFICULTIES = ("easy", "medium", "hard")
PHOTOS_EACH, PHOTO_SEED = 70, 61
"""Rendered photographs of each difficulty that the calibration is fitted on, and their random seed."""


@dataclass(frozen=True)
class Plan:
    """What the user said: where the work lies, where the real sets and the digits are, and how long to train."""

    folder: Path
    data: Path
    digits: Path
    minutes: float
    total_minutes: float


def due(plan: Plan) -> list[list[str]]:
    """Return the modules with arguments that are to be run now, in order; a step whose result is there is left out."""
    folder = plan.folder
    steps = [
        (folder / "glyphs.npz", ["tools.training.glyphs", str(folder / "glyphs.npz"), "--digits", str(plan.digits)]),
        (folder / "strings.txt", ["tools.training.crops", str(folder / "strings.txt")]),
        (folder / "strips.npz", ["tools.training.photographs", str(plan.data), str(folder)]),
    ]
    chosen = [words for result, words in steps if not result.exists()]
    if trained_minutes(plan) < plan.total_minutes - 0.5:
        return [*chosen, training(plan)]
    heldout, checkpoint = folder / "heldout.npz", folder / "checkpoint"
    if not heldout.exists():
        chosen.append(["tools.training.heldout", str(folder), str(heldout)])
    chosen.append(
        ["tools.training.export", str(checkpoint), "--balance", "--heldout", str(heldout), "--pack", str(folder)]
    )
    photos = [folder / f"photos-{difficulty}" for difficulty in DIFFICULTIES]
    for photo_folder, difficulty in zip(photos, DIFFICULTIES, strict=True):
        if not (photo_folder / "labels.csv").exists():
            count = ["--count", str(PHOTOS_EACH), "--seed", str(PHOTO_SEED), "--difficulty", difficulty]
            chosen.append(["tools.renderer", "set", str(photo_folder), *count])
    sets = [str(photo_folder) for photo_folder in photos]
    chosen.append(["tools.benchmark.calibrate", *sets, "--real", str(plan.data), "--crops", str(heldout)])
    return chosen


def training(plan: Plan) -> list[str]:
    """Return the next bounded part of the training: from the checkpoint where there is one."""
    checkpoint = plan.folder / "checkpoint"
    limits = ["--minutes", str(plan.minutes), "--total-minutes", str(plan.total_minutes)]
    resumed = ["--resume", str(checkpoint)] if (checkpoint / "state.json").exists() else []
    return ["tools.training.train", "--pack", str(plan.folder), "--out", str(checkpoint), *limits, *resumed]


def trained_minutes(plan: Plan) -> float:
    """Return for how long the checkpoint has been trained; 0 without one."""
    state = plan.folder / "checkpoint" / "state.json"
    return float(json.loads(state.read_text(encoding="utf-8"))["seconds"]) / 60 if state.exists() else 0.0


def main() -> None:
    """Run what is due; the exit status is that of the first step that failed."""
    parser = argparse.ArgumentParser(
        prog="python -m tools.training", description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--folder", type=Path, default=Path(".training"))
    parser.add_argument("--data", type=Path, required=True, help="folder that holds the real sets")
    parser.add_argument("--digits", type=Path, required=True, help="folder with 0.json to 9.json of the open digit set")
    parser.add_argument("--minutes", type=float, default=8.5, help="length of one part of the training")
    parser.add_argument("--total-minutes", type=float, default=37.0)
    plan = Plan(**vars(parser.parse_args()))
    plan.folder.mkdir(parents=True, exist_ok=True)
    for words in due(plan):
        print("$ python -m " + " ".join(words), file=sys.stderr, flush=True)
        status = subprocess.call([sys.executable, "-m", *words])
        if status:
            sys.exit(status)
    print(f"trained {trained_minutes(plan):.1f} of {plan.total_minutes:g} minutes", file=sys.stderr)


if __name__ == "__main__":
    main()

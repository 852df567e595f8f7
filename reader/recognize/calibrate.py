"""From a recognizer's scores to a probability that comes true.

A logistic model on a handful of features (Platt 1999), fitted by tools/benchmark on pictures that are not used for
measuring. Its coefficients lie in calibration.json beside this file, together with what they were fitted on.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from reader.errors import TableError

CALIBRATION_FILE = Path(__file__).with_name("calibration.json")


@dataclass(frozen=True)
class Features:
    """What bears on a reading's being exactly right, over all pictures that were read of its region.

    `score`: geometric mean of the characters' raw scores, 0 to 1. `weakest`: the least of them. `mean`: mean
    probability that the pictures give the string. `second`: the largest that any picture gives another one.
    `agreeing`: how many pictures say this string. `share`: its share of all votes in its direction of reading.
    `other_way`: share of the best string read the other way up, 0 to 0.5. `recognizers`: how many recognizers read
    it. `length`: characters without blanks. `figures`: how many of them are figures.
    """

    score: float
    weakest: float
    mean: float
    second: float
    agreeing: int
    share: float
    other_way: float
    recognizers: int
    length: int
    figures: int

    def values(self) -> dict[str, float]:
        """Return the model's inputs by name."""
        return {
            "intercept": 1.0,
            "score": self.score,
            "weakest_sure": _surety(self.weakest),
            "mean": self.mean,
            "second": -math.log(self.second + 1e-4),
            "agreeing": float(self.agreeing),
            "share": self.share,
            "other_way": self.other_way,
            "recognizers": float(self.recognizers > 1),
            "short": float(self.length <= 2),
            "figures": self.figures / max(1, self.length),
        }


NOTHING_READ = Features(0, 0, 0, 0, 0, 0, 0, 0, 0, 0)
"""Features of no reading at all; their names are those that a calibration may weigh."""


def _surety(probability: float) -> float:
    """Return -log(1 - probability), at most 9.2: how near to certain, on a scale that grows where it matters."""
    return -math.log(max(1e-4, 1.0 - probability))


@dataclass(frozen=True)
class Calibration:
    """A fitted logistic model: a weight for each of Features.values()."""

    weights: Mapping[str, float]

    def probability(self, features: Features) -> float:
        """Return the probability, 0 to 1, that the string is exactly what stands there."""
        values = features.values()
        logit = sum(weight * values[name] for name, weight in self.weights.items())
        return 1.0 / (1.0 + math.exp(-min(max(logit, -30.0), 30.0)))


@cache
def load_calibration() -> Calibration:
    """Load the project's own calibration. Raises TableError where the file is damaged."""
    try:
        document = json.loads(CALIBRATION_FILE.read_text(encoding="utf-8"))
        weights = {str(name): float(weight) for name, weight in document["weights"].items()}
    except (OSError, ValueError, KeyError, AttributeError, TypeError) as error:
        raise TableError(CALIBRATION_FILE, f"not a calibration ({error}); install Rakelight again") from error
    unknown = set(weights) - set(NOTHING_READ.values())
    if unknown:
        raise TableError(CALIBRATION_FILE, f"unknown feature {sorted(unknown)[0]}; fit the calibration again")
    return Calibration(weights)

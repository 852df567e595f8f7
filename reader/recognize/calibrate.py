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
    """What bears on a reading's being exactly right.

    `score`: geometric mean of the characters' raw scores, 0 to 1. `share`: share of all votes, 0 to 1. `views`: how
    many views read this string. `length`: characters without blanks. `figures`: how many of them are figures.
    `contrast`: between strokes and ground, 0 to 1.
    """

    score: float
    share: float
    views: int
    length: int
    figures: int
    contrast: float

    def values(self) -> dict[str, float]:
        """Return the model's inputs by name."""
        doubt = -math.log(max(1e-3, 1.0 - min(self.score, 0.999)))
        return {
            "intercept": 1.0,
            "score": self.score,
            "score_doubt": doubt,
            "share": self.share,
            "views": math.log(max(1, self.views)),
            "short": float(self.length <= 2),
            "long": max(0.0, (self.length - 7) / 5),
            "figures": self.figures / max(1, self.length),
            "contrast": self.contrast,
        }


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
    unknown = set(weights) - set(Features(0, 0, 0, 0, 0, 0).values())
    if unknown:
        raise TableError(CALIBRATION_FILE, f"unknown feature {sorted(unknown)[0]}; fit the calibration again")
    return Calibration(weights)

"""The one command of training: what is due, in order, from nothing to the fitted calibration."""

from __future__ import annotations

import json
from pathlib import Path

from tools.training.__main__ import Plan, due


def _names(plan: Plan) -> list[str]:
    return [words[0] for words in due(plan)]


def test_steps_from_nothing_to_the_calibration(tmp_path: Path) -> None:
    plan = Plan(tmp_path, Path("data"), Path("digits"), 8.5, 20.0)
    assert _names(plan) == [
        "tools.training.glyphs",
        "tools.training.crops",
        "tools.training.photographs",
        "tools.training.train",
    ]
    assert "--resume" not in due(plan)[-1]
    for name in ("glyphs.npz", "strings.txt", "strips.npz"):
        (tmp_path / name).touch()
    state = tmp_path / "checkpoint" / "state.json"
    state.parent.mkdir()
    state.write_text(json.dumps({"seconds": 8.5 * 60}))
    assert _names(plan) == ["tools.training.train"]
    assert "--resume" in due(plan)[0]
    state.write_text(json.dumps({"seconds": 20 * 60 - 5}))
    assert _names(plan) == [
        "tools.training.heldout",
        "tools.training.export",
        *["tools.renderer"] * 3,
        "tools.benchmark.calibrate",
    ]
    (tmp_path / "heldout.npz").touch()
    assert "tools.training.heldout" not in _names(plan)

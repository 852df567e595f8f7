"""The simulation and the leave-one-out check of the dating model."""

from __future__ import annotations

import numpy as np
import pytest

from reader.dating.statements import Shape
from tests.reader.dating.made import make_series, make_table
from tools.fit_dating import leave_one_out, summarize
from tools.simulate_dating import ACCEPT_FROM, Outcome, load_readings, report, simulate

COUNT = 1200
TOLERANCE = 0.035
"""Four standard deviations of a share of 0.9 among COUNT; makers' numbers are not independent, ten to a maker."""


def shares(outcomes: list[Outcome]) -> tuple[float, float]:
    dated = [one for one in outcomes if one.dating is not None]
    said = float(np.mean([one.dating.probability for one in dated if one.dating]))
    return float(np.mean([one.held for one in dated])), said


@pytest.mark.parametrize("sure", [True, False])
def test_years_hold_as_often_as_is_said(sure: bool) -> None:
    """On makers whose output walks at random, which is not what the model assumes; a larger run: the tool itself."""
    outcomes = list(simulate(COUNT, seed=11, sure=sure))
    held, said = shares(outcomes)
    assert held == pytest.approx(said, abs=TOLERANCE)
    near = [one for one in outcomes if one.dating and 0.88 <= one.dating.probability < 0.92]
    assert len(near) > 150
    assert np.mean([one.held for one in near]) == pytest.approx(0.9, abs=0.09)


def test_the_simulation_can_fail() -> None:
    """The same instruments with intervals cut to the likeliest year hold far less often than is said."""
    outcomes = [one for one in simulate(300, seed=12, sure=True) if one.dating]
    exact = np.mean([one.dating is not None and one.dating.year == one.year for one in outcomes])
    assert exact < shares(outcomes)[1] - 0.2
    assert "300 instruments, 300 with a year" in report(outcomes)


def test_the_measured_readings_are_calibrated_themselves() -> None:
    """Of the sure readings over 95 in 100 are right, and of all as many as they say themselves."""
    readings = [reading for group in load_readings().values() for reading in group]
    right = np.array([strings[0][0] == truth for truth, strings in readings])
    said = np.array([strings[0][1] for _, strings in readings])
    assert len(readings) > 700
    assert right.mean() == pytest.approx(said.mean(), abs=0.05)
    assert right[said >= ACCEPT_FROM].mean() > 0.95


def test_leaving_out_dates_a_number_without_itself() -> None:
    table = make_table(make_series(*((1000 * k, 1850 + 2 * k) for k in range(1, 8))))
    rows = leave_one_out([table])
    assert [row.interval is None for row in rows] == [True, False, False, False, False, False, True]
    assert all(row.held for row in rows[1:-1])
    assert all(row.interval is not None and row.interval[1] > row.interval[0] for row in rows[1:-1])
    count, dated, share, width = summarize(rows)
    assert (count, dated, share) == (7, 5, 1.0) and 2 < width < 6
    wild = make_table(make_series((1000, 1850), (2000, 1852), (3000, 1899), (4000, 1856), (5000, 1858)))
    assert not next(row for row in leave_one_out([wild]) if row.serial == 3000).held
    narrow = summarize(leave_one_out([table], Shape(pace=100, order=0.2)))
    assert narrow[3] < width


def test_series_with_fewer_than_three_others_are_left_out() -> None:
    assert leave_one_out([make_table(make_series((1, 1850), (2, 1851), (3, 1852)))]) == []

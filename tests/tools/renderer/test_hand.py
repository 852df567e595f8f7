"""Figures that people write, strike and paint; nuisances; copies of old pictures."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tools.renderer.alphabet import TEXT_LOW, glyph
from tools.renderer.hand import person, write_string
from tools.renderer.handforms import FORMS
from tools.renderer.prints import copy_print
from tools.renderer.scene import build
from tools.renderer.spec import PRINTS, ClutterSpec, FigureStyle, MarkSpec, SceneSpec

CLEAN = ClutterSpec(dust=0.0, stains=0.0, scratches=0.0)


def span(figure: str) -> tuple[float, float]:
    points = np.vstack(glyph(figure, FigureStyle(text_figures=True)).strokes)
    return float(points[:, 1].min()), float(points[:, 1].max())


def test_text_figures_hang_stand_low_or_stand_tall() -> None:
    for figure in "34579":
        assert span(figure) == pytest.approx((1 - TEXT_LOW, 2 - TEXT_LOW), abs=0.03), figure
    for figure in "012":
        assert span(figure) == pytest.approx((1 - TEXT_LOW, 1.0), abs=0.03), figure
    for figure in "68":
        assert span(figure) == pytest.approx((0.0, 1.0), abs=0.03), figure


def test_every_figure_has_forms_in_a_box_and_a_hand_keeps_mostly_to_one() -> None:
    assert set(FORMS) == set("0123456789")
    for figure, forms in FORMS.items():
        for form in forms:
            points = np.vstack(form)
            assert points.min() > -0.2, figure
            assert points[:, 1].max() < 1.1, figure
            assert np.ptp(points[:, 1]) > 0.9, figure
    rng = np.random.default_rng(0)
    chosen = [len(person(5).form("7", rng)) for _ in range(60)]
    assert max(chosen.count(n) for n in set(chosen)) > 45


def test_two_writings_of_a_figure_differ_but_the_same_seed_gives_the_same() -> None:
    style = FigureStyle(hand=12, weight=0.1)
    one, two = write_string("44", style, 100, "chalk", np.random.default_rng(1))
    again = write_string("44", style, 100, "chalk", np.random.default_rng(1))[0]
    assert all(np.array_equal(a.points, b.points) for a, b in zip(one.strokes, again.strokes, strict=True))
    shapes = [c.strokes[0].points - c.strokes[0].points[0] for c in (one, two)]
    size = min(map(len, shapes))
    assert np.abs(shapes[0][:size] - shapes[1][:size]).max() > 1


def test_strokes_thin_and_lift_toward_their_ends_and_a_nib_opens_downward() -> None:
    style = FigureStyle(hand=3, weight=0.1)
    for seed in range(5):
        for character in write_string("17", style, 100, "chalk", np.random.default_rng(seed)):
            for stroke in character.strokes:
                assert stroke.pressures is not None
                assert stroke.pressures[-1] < 0.6 * stroke.pressures.max()
                assert len(stroke.points) == len(stroke.widths) == len(stroke.pressures)
    seven = write_string("7", style, 100, "write", np.random.default_rng(0))[0].strokes[0]
    way = np.gradient(seven.points, axis=0)
    down = way[:, 1] > 2 * np.abs(way[:, 0])
    level = np.abs(way[:, 0]) > 2 * np.abs(way[:, 1])
    assert seven.widths[down].mean() > 1.3 * seven.widths[level].mean()


def test_a_knife_cuts_thin_passes_that_run_over() -> None:
    knife = next(n for n in range(1, 100) if person(n).knife)
    style = FigureStyle(hand=knife, weight=0.04)
    strokes = write_string("0", style, 100, "scratch", np.random.default_rng(0))[0].strokes
    assert len(strokes) > 3
    assert all(s.widths[-1] < s.widths.max() for s in strokes)
    for stroke in strokes:  # no more than a bow: a chord's points stay near its line
        a, b = stroke.points[0], stroke.points[-1]
        line = (b - a) / np.linalg.norm(b - a)
        away = np.abs((stroke.points - a) @ np.array([-line[1], line[0]]))
        assert away.max() < 0.25 * np.linalg.norm(b - a) + 2


def _stamp(**changes: object) -> SceneSpec:
    mark = MarkSpec("1", "serial", 0.0, 0.0, 200, "punch", haste=0.0)
    spec = SceneSpec("wood-stamp", (mark,), size=(480, 360), px_per_mm=12, relief=0.1, wear=0.1, clutter=CLEAN)
    return replace(spec, **changes)  # type: ignore[arg-type]


def test_a_double_strike_widens_the_cut_but_does_not_deepen_it() -> None:
    once, twice = (
        build(_stamp(marks=(replace(_stamp().marks[0], double_strike=share),)), 3).relief for share in (0.0, 0.2)
    )
    assert (twice < -2).sum() > 1.3 * (once < -2).sum()
    assert twice.min() == pytest.approx(once.min(), rel=0.15)


def test_a_rim_stands_up_around_cast_figures() -> None:
    mark = MarkSpec("77", "serial", 0.0, 0.0, 150, "cast")
    for rim in ("box", "oval"):
        relief = build(_stamp(kind="cast-iron", material="bronze", rim=rim, marks=(mark,)), 3).relief
        raised = np.flatnonzero(relief[relief.shape[0] // 2] > 2)
        ground = np.flatnonzero(np.abs(relief[relief.shape[0] // 2]) < 0.5)
        # from the left: ground, rim, ground, figures, ground, rim, ground
        assert ground[0] < raised[0]
        assert ground[-1] > raised[-1]
        assert ((ground > raised[0]) & (ground < raised[-1])).sum() > 20


@pytest.mark.parametrize("nuisance", ["cobweb", "rust", "false_strokes", "felt"])
def test_nuisances_change_the_picture_where_asked_and_only_there(nuisance: str) -> None:
    amount = "red" if nuisance == "felt" else 0.6
    plain = build(_stamp(), 4)
    with_it = build(_stamp(clutter=replace(CLEAN, **{nuisance: amount})), 4)  # type: ignore[arg-type]
    changed = np.abs(with_it.albedo - plain.albedo).max(2) > 0.02
    assert 0.0005 < changed.mean() < 0.7
    assert with_it.truth.text == plain.truth.text
    assert np.array_equal(with_it.relief, plain.relief)  # the marks themselves are as before


def test_copies_of_old_pictures_look_as_their_kind_does() -> None:
    y, x = np.mgrid[:240, :320]
    photo = np.stack([(x / 320 * 255), (y / 240 * 255), 128 + 0 * x], 2).astype(np.uint8)
    copies = {kind: copy_print(photo, kind, 0.6, np.random.default_rng(1)).astype(int) for kind in PRINTS}
    for kind, copy in copies.items():
        assert copy.shape == photo.shape, kind
    toned = copies["toned"]
    assert (toned[..., 0] >= toned[..., 2]).mean() > 0.99  # brown: red over blue everywhere
    gray = copies["faded"].mean(2)
    assert np.ptp(np.percentile(gray, (5, 95))) < 0.9 * np.ptp(np.percentile(photo.mean(2), (5, 95)))
    # at the size of its pitch a halftone swings between ink and paper where the photo is even
    dots = copies["halftone"][100:140, 140:180].mean(2)
    assert np.ptp(dots) > 60

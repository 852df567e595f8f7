"""One scene lit again: the light changes pixels, never the scene or its truth; truth agrees with what was drawn."""

from __future__ import annotations

import csv
import json
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np
import pytest

from tools.renderer.camera import frame_of, light_in_photo
from tools.renderer.labels import COLUMNS
from tools.renderer.scene import Scene, build, light_and_take, render
from tools.renderer.sets import LIGHT_COLUMNS, torch_lights, torch_spec, write_torch_set
from tools.renderer.spec import ClutterSpec, LightSpec, MarkSpec, SceneSpec

CLEAN = ClutterSpec(dust=0.0, stains=0.0, scratches=0.0)


def stamp(**changes: object) -> SceneSpec:
    mark = MarkSpec("40817", "serial", 0.0, 0.0, 150, "punch", haste=0.0)
    spec = SceneSpec("wood-stamp", (mark,), size=(640, 480), px_per_mm=12, relief=0.1, wear=0.1, clutter=CLEAN)
    return replace(spec, **changes)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def scene() -> Scene:
    return build(stamp(tilt_deg=4, clutter=ClutterSpec(strings=2, pins=3, hand_shadow=0.5)), 5)


def test_lighting_changes_pixels_but_not_the_scene_or_its_truth(scene: Scene) -> None:
    height, albedo, gloss = scene.height.copy(), scene.albedo.copy(), scene.gloss.copy()
    left, truth_left = light_and_take(scene, [LightSpec(azimuth_deg=180)], seed=1)
    right, truth_right = light_and_take(scene, [LightSpec(azimuth_deg=0)], seed=1)
    assert np.abs(left.astype(int) - right).mean() > 5
    assert truth_left is truth_right is scene.truth
    for now, before in ((scene.height, height), (scene.albedo, albedo), (scene.gloss, gloss)):
        assert np.array_equal(now, before)


def test_the_same_light_and_seed_give_the_same_pixels_and_render_is_the_two_joined(scene: Scene) -> None:
    first, again = light_and_take(scene)[0], light_and_take(scene)[0]
    assert np.array_equal(first, again)
    assert np.array_equal(first, render(scene.spec, 5)[0])
    noisy = light_and_take(scene, seed=2)[0]
    assert not np.array_equal(first, noisy)
    assert np.array_equal(noisy, light_and_take(scene, seed=2)[0])
    blurred = light_and_take(scene, camera=replace(scene.spec.camera, defocus_px=6.0))[0]
    assert cv2.Laplacian(blurred, cv2.CV_64F).std() < 0.6 * cv2.Laplacian(first, cv2.CV_64F).std()


def test_light_from_the_left_brightens_the_right_hand_walls_of_punched_figures_and_two_lights_even_it_out() -> None:
    built = build(stamp(material="maple"), 6)
    left, right = LightSpec(180, 20), LightSpec(0, 20)
    photos = [light_and_take(built, lights, seed=1)[0].mean(2) for lights in ([left], [right], [left, right])]
    height = built.in_photo(built.height)
    slope = cv2.Scharr(cv2.GaussianBlur(height, (0, 0), 1.0), cv2.CV_32F, 1, 0, scale=1 / 32)
    inside = built.in_photo(built.relief) < -1
    right_walls, left_walls = inside & (slope > 0.5), inside & (slope < -0.5)  # height rises to the right: right wall
    assert min(right_walls.sum(), left_walls.sum()) > 300
    for photo, bright, dark in ((photos[0], right_walls, left_walls), (photos[1], left_walls, right_walls)):
        assert photo[bright].mean() > 1.5 * photo[dark].mean()
    assert photos[2][right_walls].mean() == pytest.approx(photos[2][left_walls].mean(), rel=0.25)


def test_heights_match_the_depth_of_the_punches() -> None:
    depths = []
    for relief in (0.06, 0.12):
        built = build(stamp(relief=relief), 3)
        down = -built.in_photo(built.relief)
        boxes = [np.vstack([c.quad.min(0), c.quad.max(0)]).round().astype(int) for c in built.marks[0].characters]
        floors = [float(np.percentile(down[b[0, 1] : b[1, 1], b[0, 0] : b[1, 0]], 96)) for b in boxes]
        depths.append(float(np.median(floors)))
        asked = relief * 150 * 640 / 1600
        assert depths[-1] == pytest.approx(asked, rel=0.3)  # a punch held askew goes deeper at one side
    assert depths[1] / depths[0] == pytest.approx(2, rel=0.12)


def test_cast_figures_are_higher_and_ink_changes_no_height() -> None:
    cast = build(stamp(kind="cast-iron", material="bronze", marks=(MarkSpec("40817", "serial", 0, 0, 150, "cast"),)), 3)
    assert np.percentile(cast.relief, 99.5) > 0.6 * 0.1 * 150 * 0.4
    ink = build(stamp(kind="ink-soundboard", marks=(MarkSpec("40817", "serial", 0, 0, 150, "ink"),)), 3)
    assert not ink.relief.any()


@pytest.mark.parametrize(
    ("kind", "technique", "text"),
    [("wood-stamp", "punch", "No. 40817"), ("ink-soundboard", "ink", "40817"), ("card", "print", "No. 40817")],
)
def test_character_boxes_cover_the_strokes(kind: str, technique: str, text: str) -> None:
    mark = MarkSpec(text, "serial", 0.0, 0.0, 110, technique, turn_deg=5)
    spec = stamp(kind=kind, marks=(mark,), tilt_deg=7, pitch_deg=5, wear=0.0)
    built = build(spec, 2)
    truth = built.marks[0]
    assert "".join(c.text for c in truth.characters) == text.replace(" ", "")
    # the same ground without the string; only the strokes differ
    bare = build(replace(spec, marks=(replace(mark, strength=0.0),)), 2) if technique == "ink" else None
    if technique == "punch":
        strokes = built.in_photo(built.relief) < -2
    elif bare is not None:
        strokes = built.in_photo(np.abs(built.albedo - bare.albedo).max(2)) > 0.1
    else:
        strokes = built.in_photo(built.albedo.mean(2)) < 0.2
        strokes &= _mask([truth.quad], strokes.shape, 3)  # the board around the card is dark as well
    boxes = [c.quad for c in truth.characters]
    assert (strokes & _mask(boxes, strokes.shape, 2)).sum() > 0.99 * strokes.sum()
    for box in boxes:
        assert strokes[_mask([box], strokes.shape, 0)].mean() > 0.08
    for before, after in pairwise(boxes):
        assert after[:, 0].mean() > before[:, 0].mean()


def _mask(quads: list[np.ndarray], shape: tuple[int, ...], grow_px: int) -> np.ndarray:
    mask = np.zeros(shape, np.uint8)
    for quad in quads:
        cv2.fillConvexPoly(mask, np.round(quad).astype(np.int32), 1)
    return cv2.dilate(mask, np.ones((2 * grow_px + 1,) * 2, np.uint8)).astype(bool)


def test_a_place_over_the_canvas_is_told_as_the_camera_sees_it() -> None:
    level = stamp()
    frame = frame_of(level)
    x, y = frame.place(0.1, 0.0)
    assert light_in_photo(level, frame, (x, y, 50.0)) == pytest.approx((64, 0, 50), abs=0.6)
    turned = stamp(quarter_turns=1)  # the photo is turned clockwise: right becomes down
    frame = frame_of(turned)
    x, y = frame.place(0.1, 0.0)
    assert light_in_photo(turned, frame, (x, y, 50.0)) == pytest.approx((0, 64, 50), abs=0.6)


def test_a_torch_set_is_one_scene_under_several_lights(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tools.renderer.sets.torch_spec", lambda *_: stamp())
    write_torch_set(tmp_path, 7, 3)
    with (tmp_path / "labels.csv").open(encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    assert list(rows[0]) == [*COLUMNS, "quads", *LIGHT_COLUMNS]
    assert len(rows) == 3
    assert len({row["quads"] for row in rows}) == 1
    assert [c["text"] for c in json.loads(rows[0]["quads"])[0]["characters"]] == list("40817")
    assert len({(row["light_x"], row["light_y"]) for row in rows}) == 3
    assert all(float(row["light_z"]) > 0 for row in rows)
    height, relief = np.load(tmp_path / "height.npy"), np.load(tmp_path / "relief.npy")
    assert height.shape == relief.shape == (480, 640)
    assert height.dtype == relief.dtype == np.float32
    assert relief.min() < -3
    photos = [cv2.imread(str(tmp_path / row["file"])) for row in rows]
    assert photos[0].shape == (480, 640, 3)
    assert np.abs(photos[0].astype(int) - photos[1]).mean() > 5
    assert not cv2.imread(str(tmp_path / "front.png"), cv2.IMREAD_GRAYSCALE).any()


def test_a_torch_set_has_a_serial_and_lights_all_around() -> None:
    spec = torch_spec(7, "easy")
    assert any(mark.kind == "serial" for mark in spec.marks)
    assert spec.print_age == 0
    azimuths = sorted(light.azimuth_deg for light in torch_lights(spec, 8, 7))
    assert max(np.diff([*azimuths, azimuths[0] + 360])) < 100

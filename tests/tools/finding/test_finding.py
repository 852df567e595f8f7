"""Scenes, their labels, loss, a few steps of training and export on the CPU; skipped where PyTorch is not installed."""

from __future__ import annotations

import math
from pathlib import Path

import cv2
import numpy as np
import pytest

torch = pytest.importorskip("torch")
pytest.importorskip("onnx")

from reader.geometry import quad_angle_deg, quad_size  # noqa: E402 (after the skip)
from reader.locate import network as product  # noqa: E402
from reader.locate.card import load_card  # noqa: E402
from reader.weights import normalize  # noqa: E402
from tools.finding import export, lines, loss, model, places, scenes, train  # noqa: E402
from tools.training import glyphs  # noqa: E402

pytestmark = pytest.mark.filterwarnings("default")

SIDE = 128


@pytest.fixture(scope="module")
def pack(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make a pack of a few punches and hands."""
    folder = tmp_path_factory.mktemp("pack")
    collected = glyphs.Pack()
    kept = glyphs.PUNCHES, glyphs.HANDS
    glyphs.PUNCHES, glyphs.HANDS = 24, 12
    glyphs.add_drawn(collected, np.random.default_rng(1))
    glyphs.PUNCHES, glyphs.HANDS = kept
    collected.held = [k % 6 == 0 for k in range(len(collected.held))]
    collected.save(folder / "glyphs.npz")
    (folder / "strings.txt").write_text("41873\n12\nNo. 512\n98-4\n1887\n", encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def renderer(pack: Path) -> scenes.SceneRenderer:
    return scenes.SceneRenderer(pack, torch.device("cpu"), seed=5, strings=200, side=256)


@pytest.fixture(scope="module")
def batch(renderer: scenes.SceneRenderer) -> scenes.Batch:
    torch.manual_seed(4)
    made: scenes.Batch = renderer.render(8)
    return made


def test_scenes_have_lines_kernels_inside_their_quads_and_empty_ones(batch: scenes.Batch) -> None:
    assert batch.gray.shape == (8, 256, 256) and batch.gray.dtype == torch.uint8
    assert batch.kernel.shape == batch.counts.shape == (8, 64, 64)
    assert (batch.state == 1).any() and (batch.state == 0).any()
    seen = 0
    for scene in range(8):
        for k in range(lines.LINES):
            cells = torch.nonzero(batch.kernel[scene] == k).numpy()
            if not len(cells) or batch.turn[scene][tuple(cells.T)].abs().max() > 0.3:
                continue  # none, or curved
            assert batch.state[scene, k] == 1 and batch.counts[scene][tuple(cells.T)].all()
            quad = batch.quads[scene, k].numpy()
            length, height = quad_size(quad)
            center = quad.mean(0)
            angle = math.radians(quad_angle_deg(quad))
            offset = cells[:, ::-1] * 4 + 1.5 - center
            u = offset @ np.array([math.cos(angle), math.sin(angle)])
            assert np.abs(u).max() < length / 2 + 4
            assert abs(math.cos(angle) - math.cos(float(batch.angle[scene, k]))) < 0.1
            assert abs(height - float(batch.height[scene, k])) < 1 + 0.1 * height
            seen += 1
    assert seen >= 2


def test_like_plates_stand_in_rows_with_strings_of_one_length(renderer: scenes.SceneRenderer) -> None:
    torch.manual_seed(3)
    made = lines.draw_lines(renderer.atlas, renderer.texts, 40, 256)
    chosen = torch.nonzero(made.alike)[:, 0].tolist()
    assert chosen
    for scene in chosen:
        rows = torch.arange(scene * lines.LINES, (scene + 1) * lines.LINES)[made.present.view(40, -1)[scene]]
        assert len(rows) >= 2
        drawn = (made.line.cell[rows] >= 0).sum(1)
        assert drawn.min() == drawn.max() and made.height[rows].min() == made.height[rows].max()
        assert (made.angle[rows] - made.angle[rows[0]]).abs().max() < 0.1


def test_a_curved_line_lies_on_its_arc(renderer: scenes.SceneRenderer, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lines, "CURVED", 1.0)
    torch.manual_seed(1)
    made = lines.draw_lines(renderer.atlas, renderer.texts, 6, 256)
    view = places.make_view(6, 256, torch.device("cpu"))
    steps = torch.linspace(-0.5, 0.5, 21)
    points = places.points_on_lines(made, view, steps, torch.zeros(21))
    checked = 0
    for k in range(lines.LINES):
        u, v, turn = places.places_in_line(made, view, k)
        for scene in torch.nonzero((made.curve.abs() > places.STRAIGHT).view(6, -1)[:, k])[:, 0].tolist():
            row, seen = scene * lines.LINES + k, points[scene, k].round().long()
            inside = ((seen >= 0) & (seen < 256)).all(1)
            x, y = seen[inside].T
            slack = 1.5 / float(made.height[row])
            wanted = made.start[row] + (steps[inside] + 0.5) * (made.end[row] - made.start[row])
            assert ((v[scene, y, x] - 0.5).abs() < slack).all()
            assert ((u[scene, y, x] - wanted).abs() * made.squeeze[row] < 2 * slack).all()
            along = wanted - (made.start[row] + made.end[row]) / 2
            assert torch.allclose(turn[scene, y, x], along * made.squeeze[row] * made.curve[row], atol=2 * slack)
            checked += int(inside.sum())
    assert checked > 50


def test_marks_show_in_the_picture(renderer: scenes.SceneRenderer) -> None:
    torch.manual_seed(9)
    seen = torch.cat([renderer.render(6).seen.flatten() for _ in range(2)])
    assert (seen > scenes.SEEN).float().mean() > 0.05
    assert torch.isfinite(seen).all()


def test_lines_of_a_scene_do_not_lie_on_one_another(batch: scenes.Batch) -> None:
    for scene in range(8):
        quads = [q.numpy() for q, s in zip(batch.quads[scene], batch.state[scene], strict=True) if s]
        for k, first in enumerate(quads):
            for second in quads[k + 1 :]:
                shared, _ = cv2.intersectConvexConvex(first.astype(np.float32), second.astype(np.float32))
                assert shared < 0.15 * min(cv2.contourArea(first), cv2.contourArea(second))


@pytest.mark.parametrize("quarters", [0, 1, 2, 3])
def test_turned_scenes_keep_direction_and_place(quarters: int) -> None:
    kernel = torch.full((1, 64, 64), -1, dtype=torch.int8)
    kernel[0, 10, 5:40] = 0  # a line read rightward
    gray = torch.zeros(1, 256, 256, dtype=torch.uint8)
    gray[0, 40:44, 20:24] = 255  # its first cell
    one = torch.zeros(1, lines.LINES)
    one[0, 0] = 1
    every, quads = kernel > -9, torch.zeros(1, lines.LINES, 4, 2)
    made = scenes.Batch(
        gray, kernel, every, every, kernel * 0.0, one.long(), one * 0, one * 30, one, one > 0, one, quads
    )
    turned = loss.turn_batch(made, quarters)
    cells = torch.nonzero(turned.kernel[0] == 0).float().flip(1)
    start = torch.nonzero(turned.gray[0]).float().flip(1).mean(0) / 4
    order = (cells - start).norm(dim=1)
    way = cells[order.argmax()] - cells[order.argmin()]
    angle = float(turned.angle[0, 0])
    assert torch.allclose(way / way.norm(), torch.tensor([math.cos(angle), math.sin(angle)]), atol=1e-3)


def test_loss_falls_to_nothing_for_the_right_answer(batch: scenes.Batch) -> None:
    n = len(batch.gray)
    line = (torch.arange(n)[:, None, None] * lines.LINES + batch.kernel.clamp_min(0)).long()
    angle, height = batch.angle.flatten()[line] + batch.turn, batch.height.flatten()[line]
    figures = batch.figures.flatten()[line] * 40 - 20
    logit = torch.where(batch.kernel >= 0, 20.0, -20.0)
    waves = [torch.cos(2 * angle), torch.sin(2 * angle)]
    planes = torch.stack([logit, *waves, torch.log(height / model.HEIGHT_UNIT), figures], 1)
    right, _ = loss.region_loss(planes, batch)
    wrong, _ = loss.region_loss(torch.zeros_like(planes), batch)
    assert float(right) < 0.01 < float(wrong)
    found = loss.measure(planes, batch)
    assert found["found"] == 1 and found["false"] == found["turned"] == found["tall"] == 0


def test_a_few_steps_train_resume_and_export(pack: Path, tmp_path: Path) -> None:
    options = train.Options(pack, tmp_path / "out", minutes=0.02, batch=2, strings=100, side=SIDE, check_batches=1)
    trainer = train.Trainer(options)
    trainer.run()
    assert trainer.state.step >= 10 and len(trainer.state.history) == 1
    resumed = train.Trainer(
        train.Options(
            pack, tmp_path / "more", resume=tmp_path / "out", batch=2, strings=100, side=SIDE, check_batches=1
        )
    )
    assert resumed.state.step == trainer.state.step
    assert torch.isfinite(resumed.step())
    out = tmp_path / "weights"
    out.mkdir()
    export.write(export.region_export(tmp_path / "out"), out)
    found = product.RegionNetwork(out / "regions.json").find(np.zeros((90, 120), np.uint8), 5)
    assert len(found) <= 5


def test_product_and_training_normalize_alike() -> None:
    gray = np.random.default_rng(3).integers(0, 255, (96, 128)).astype(np.float32)
    here = loss.normalize(torch.from_numpy(gray)[None])[0].numpy()
    card = load_card(product.CARD_FILE)
    there = normalize(gray, card.local_px, card.local_floor)
    assert np.abs(here - there).max() < 2e-3

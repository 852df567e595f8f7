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
from tools.finding import export, lines, loss, model, scenes, train  # noqa: E402
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
            if not len(cells):
                continue
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
    made = scenes.Batch(
        gray, kernel, kernel > -9, one.long(), one * 0, one * 30, one, one, torch.zeros(1, lines.LINES, 4, 2)
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
    angle, height = batch.angle.flatten()[line], batch.height.flatten()[line]
    figures = batch.figures.flatten()[line] * 40 - 20
    logit = torch.where(batch.kernel >= 0, 20.0, -20.0)
    waves = [torch.cos(angle), torch.sin(angle), torch.cos(2 * angle), torch.sin(2 * angle)]
    planes = torch.stack([logit, *waves, torch.log(height / model.HEIGHT_UNIT), figures], 1)
    right, _ = loss.region_loss(planes, batch)
    wrong, _ = loss.region_loss(torch.zeros_like(planes), batch)
    assert float(right) < 0.01 < float(wrong)
    found = loss.measure(planes, batch)
    assert found["found"] == 1 and found["false"] == 0 and found["turned"] == 0 and found["tall"] == 0


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
    network = export.load_network(tmp_path / "out")
    out = tmp_path / "weights"
    out.mkdir()
    export.write_onnx(network, out / "regions.onnx")
    assert export.largest_difference(network, out / "regions.onnx") < export.TOLERANCE
    export.write_card(network, tmp_path / "out", out, 0.0)
    found = product.RegionNetwork(out / "regions.json").find(np.zeros((90, 120), np.uint8), 5)
    assert len(found) <= 5


def test_product_and_training_normalize_alike() -> None:
    gray = np.random.default_rng(3).integers(0, 255, (96, 128)).astype(np.float32)
    here = loss.normalize(torch.from_numpy(gray)[None])[0].numpy()
    there = product.normalize(gray, loss.LOCAL_PX, loss.LOCAL_FLOOR)
    assert np.abs(here - there).max() < 2e-3

"""Lines cut out of scenes for the turn network, as the product cuts them; a few steps of training and its export."""

from __future__ import annotations

import math
from pathlib import Path

import cv2
import numpy as np
import pytest

torch = pytest.importorskip("torch")
pytest.importorskip("onnx")

from reader.geometry import box_quad, turn_quad  # noqa: E402 (after the skip)
from reader.locate import turns as product  # noqa: E402
from reader.locate.card import load_card  # noqa: E402
from reader.weights import normalize  # noqa: E402
from tools.finding import export, places, scenes, turns  # noqa: E402
from tools.training import glyphs  # noqa: E402

pytestmark = pytest.mark.filterwarnings("default")


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


def _one_line(angle: float) -> tuple[scenes.Batch, np.ndarray]:
    """Return a scene of one line: a ramp along the reading, bright at its end and in its upper half."""
    side, height, length = 256, 40.0, 120.0
    x, y = np.meshgrid(np.arange(side) - 127.5, np.arange(side) - 127.5)
    u = (x * math.cos(angle) + y * math.sin(angle)) / length
    v = (y * math.cos(angle) - x * math.sin(angle)) / height
    gray = np.clip(100 + 80 * u + 60 * (v < 0), 0, 255).astype(np.uint8)
    along = np.array([math.cos(angle), math.sin(angle)]) * length / 2
    down = np.array([-math.sin(angle), math.cos(angle)]) * height / 2
    quad = np.array([-along - down, along - down, along + down, -along + down]) + 127.5
    one, quads = torch.zeros(1, places.LINES), torch.zeros(1, places.LINES, 4, 2)
    one[0, 0] = 1
    quads[0, 0] = torch.from_numpy(quad)
    cells = torch.zeros(1, side // 4, side // 4)
    every = cells == 0
    batch = scenes.Batch(
        torch.from_numpy(gray)[None], cells, every, every, cells, one.long(), one * angle, one * height, one, one > 0,
        one, quads,
    )  # fmt: skip
    return batch, gray


@pytest.mark.parametrize("angle", [0.0, 0.7, 2.5, -1.6])
def test_cut_lines_are_upright_or_upside_down_as_told(angle: float) -> None:
    torch.manual_seed(2)
    batch, _ = _one_line(angle)
    told = set()
    for _ in range(12):
        crops = turns.cut_lines(batch)
        assert crops.gray.shape == (1, turns.ROWS, turns.WIDTH)
        crop = crops.gray[0, :, 8 : int(crops.columns[0]) - 8].numpy()
        sign = 1 if crops.upright[0] else -1
        assert sign * (crop[4:12].mean() - crop[-12:-4].mean()) > 20
        assert sign * (crop[:, -10:].mean() - crop[:, :10].mean()) > 10
        told.add(sign)
    assert told == {1, -1}


def test_product_cuts_and_scales_as_training_does(monkeypatch: pytest.MonkeyPatch) -> None:
    batch, gray = _one_line(0.0)
    monkeypatch.setattr(turns, "uniform", lambda shape, low, high, device: torch.full(shape, (low + high) / 2))
    monkeypatch.setattr(torch, "randn", lambda *shape, device=None: torch.zeros(shape))
    crops = turns.cut_lines(batch)
    assert not crops.upright[0]  # the middle of 0 to 1 is not below a half
    height = 40.0 * math.exp(-0.025)
    quad = turn_quad(box_quad(127.5 - 60, 127.5 - height / 2, 127.5 + 60, 127.5 + height / 2), 2)
    crop, columns = product.cut_line(gray, quad)
    assert abs(columns - int(crops.columns[0])) <= 1
    inside = slice(2, min(columns, int(crops.columns[0])) - 2)
    assert np.abs(crop[:, inside] - crops.gray[0].numpy()[:, inside]).mean() < 4
    given = turns.network_input(crops)[0].numpy()
    card = load_card(product.CARD_FILE)
    same = normalize(crops.gray[0].numpy(), card.local_px, card.local_floor, int(crops.columns[0]))
    assert np.abs(given - same).max() < 2e-2


def test_a_few_steps_train_and_export(pack: Path, tmp_path: Path) -> None:
    options = turns.Options(
        pack, tmp_path / "out", minutes=0.15, batch=2, strings=100, side=128, most_styles=12, device="cpu"
    )
    trainer = turns.Trainer(options)
    trainer.run()
    assert trainer.steps > 0 and {"right", "sure", "sure_wrong"} <= set(options.history[-1])
    out = tmp_path / "weights"
    out.mkdir()
    export.write(export.turn_export(tmp_path / "out"), out)
    picture = np.full((100, 200), 128, np.uint8)
    cv2.putText(picture, "47", (60, 70), cv2.FONT_HERSHEY_DUPLEX, 1.5, 20, 3)
    logits = product.TurnNetwork(out / "turns.json").logits(picture, [box_quad(60, 35, 120, 72)])
    assert logits.shape == (1,) and np.isfinite(logits).all()


def test_answers_beyond_the_line_do_not_count() -> None:
    crops = turns.Crops(torch.zeros(2, turns.ROWS, turns.WIDTH), torch.tensor([40.0, 152.0]), torch.ones(2))

    class Rising(torch.nn.Module):
        def forward(self, x: torch.Tensor) -> torch.Tensor:
            return torch.arange(turns.WIDTH // turns.STEP).float().expand(len(x), 1, 1, -1)

    assert turns.line_logits(Rising(), crops).tolist() == [2.0, 9.0]

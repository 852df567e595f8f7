"""The whole way from fonts to weights on a few small crops on the CPU; skipped where PyTorch is not installed."""

from __future__ import annotations

import json
from pathlib import Path

import cv2
import numpy as np
import pytest

torch = pytest.importorskip("torch")
pytest.importorskip("onnx")

from tools.training import (  # noqa: E402 (after the skip)
    balance,
    camera,
    crops,
    export,
    glyphs,
    heldout,
    layout,
    model,
    photographs,
    placing,
    start,
    train,
    visibility,
)
from tools.training.hands import FORMS, Hand  # noqa: E402
from tools.training.strings import READ  # noqa: E402

pytestmark = pytest.mark.filterwarnings("default")


@pytest.fixture(scope="module")
def pack(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make a pack of a few punches and hands, and strips drawn here."""
    folder = tmp_path_factory.mktemp("pack")
    rng = np.random.default_rng(1)
    collected = glyphs.Pack()
    glyphs.PUNCHES, glyphs.HANDS = 24, 12
    glyphs.add_drawn(collected, rng)
    collected.held = [k % 6 == 0 for k in range(len(collected.held))]
    collected.save(folder / "glyphs.npz")
    strips = np.full((12, 64, 512), 200, np.uint8)
    for strip in strips:
        cv2.putText(strip, "4187", (10, 50), cv2.FONT_HERSHEY_SIMPLEX, 1.5, 30, 3)
    np.savez(
        folder / "strips.npz",
        strips=strips,
        widths=np.full(12, 160),
        texts=np.full(12, "4187"),
        names=np.full(12, "test"),
    )
    return folder


def test_hands_draw_every_figure() -> None:
    hand = Hand(np.random.default_rng(3))
    for figure in FORMS:
        mask = hand.draw(figure, glyphs.CELL_PX, glyphs.UNIT_PX)
        assert 0 < (mask > 127).mean() < 0.3


def test_a_few_steps_train_export_and_resume(pack: Path, tmp_path: Path) -> None:
    options = train.Options(pack, tmp_path / "out", minutes=0.13, total_minutes=1.0, batch_pixels=16 * 96, strings=400)
    trainer = train.Trainer(options)
    loss = trainer.step()
    assert torch.isfinite(loss)
    trainer.options.out.mkdir()
    trainer.save()
    resumed = train.Trainer(
        train.Options(pack, tmp_path / "more", resume=tmp_path / "out", batch_pixels=16 * 96, strings=400)
    )
    assert resumed.state.step == 1
    state = {"step": 1, "seconds": 1.0, "crops": 16, "history": [{"all": 0.0}]}
    (tmp_path / "out" / "state.json").write_text(json.dumps(state))
    network = export.load_network(tmp_path / "out")
    export.write_onnx(network, tmp_path / "out" / "line.onnx")
    assert export.largest_difference(network, tmp_path / "out" / "line.onnx") < export.TOLERANCE


def test_released_weights_go_on_where_they_stopped(pack: Path, tmp_path: Path) -> None:
    torch.manual_seed(1)
    trained = model.LineNetwork(len(READ) + 1)
    for x in (torch.randn(4, 2, 48, 96) for _ in range(3)):
        trained(x)
    for module in trained.modules():
        if isinstance(module, torch.nn.BatchNorm2d):
            torch.nn.init.uniform_(module.weight, 0.5, 1.5)
            torch.nn.init.normal_(module.bias)
    export.write_onnx(trained.eval(), tmp_path / "line.onnx")
    fresh = model.LineNetwork(len(READ) + 1)
    x = torch.randn(3, 2, 48, 96)
    start.start_from(fresh, tmp_path / "line.onnx", torch.randn(8, 2, 48, 96))
    with torch.no_grad():
        assert float((fresh.eval()(x) - trained(x)).abs().max()) < 1e-2
    options = train.Options(
        pack, tmp_path / "out", weights=tmp_path / "line.onnx", batch_pixels=16 * 96, strings=400, most_width=96
    )
    assert torch.isfinite(train.Trainer(options).step())


def test_blend_lies_between_both_weights(tmp_path: Path) -> None:
    older, newer = _shaken_network(1), _shaken_network(2)
    export.write_onnx(older, tmp_path / "line.onnx")
    x = torch.randn(2, 2, 48, 96)
    with torch.no_grad():
        for share, same in ((0.0, older), (1.0, newer)):
            assert float((export.blend(newer, tmp_path / "line.onnx", share)(x) - same(x)).abs().max()) < 1e-2
    export.write_onnx(newer, tmp_path / "newer.onnx")
    mixed = start.mean_of(tmp_path / "line.onnx", tmp_path / "newer.onnx", 0.25)
    pairs = zip(start.read_folded(tmp_path / "line.onnx"), start.read_folded(tmp_path / "newer.onnx"), strict=True)
    for (kernel, _), ((a, _), (b, _)) in zip(mixed, pairs, strict=True):
        assert torch.allclose(kernel, 0.75 * a + 0.25 * b, atol=1e-5)


def _shaken_network(seed: int) -> model.LineNetwork:
    """Return a network whose normalizations have seen something and scale differently."""
    torch.manual_seed(seed)
    network = model.LineNetwork(len(READ) + 1)
    network(torch.randn(4, 2, 48, 96))
    for module in network.modules():
        if isinstance(module, torch.nn.BatchNorm2d):
            torch.nn.init.uniform_(module.weight, 0.5, 1.5)
            torch.nn.init.normal_(module.bias)
    network.eval()
    return network


def test_balance_averages_the_statistics_of_all_widths(pack: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    renderer = crops.CropRenderer(pack / "glyphs.npz", None, torch.device("cpu"), seed=3, strings=400)
    first = {}
    for widths in ({48: 1.0}, {160: 1.0}, {48: 3.0, 160: 1.0}):
        monkeypatch.setattr(balance, "WEIGHTS", widths)
        torch.manual_seed(4)
        network = _shaken_network(1)
        monkeypatch.setattr(renderer, "render", _even_batch)
        balance.balance(network, renderer, 8)
        assert not network.training
        norm = next(m for m in network.modules() if isinstance(m, torch.nn.BatchNorm2d))
        assert norm.momentum is not None and norm.running_mean is not None
        first[tuple(widths)] = norm.running_mean.clone()
    assert not torch.allclose(first[48,], first[160,])
    assert torch.allclose(first[48, 160], 0.75 * first[48,] + 0.25 * first[160,], atol=1e-5)


def _even_batch(n: int, width: int) -> crops.Batch:
    """Return crops that depend on their width only."""
    gray = torch.from_numpy(np.random.default_rng(width).integers(0, 256, (n, 48, width), dtype=np.uint8))
    none = torch.zeros(n)
    return crops.Batch(gray, none, none, none, none, none)


def test_held_normalizations_stay_as_they_are(pack: Path, tmp_path: Path) -> None:
    export.write_onnx(_shaken_network(1), tmp_path / "line.onnx")
    options = train.Options(
        pack, tmp_path, weights=tmp_path / "line.onnx", touch_up=True, batch_pixels=16 * 96, strings=400, most_width=96
    )
    trainer = train.Trainer(options)
    norm = next(m for m in trainer.network.modules() if isinstance(m, torch.nn.BatchNorm2d))
    assert norm.running_mean is not None
    before = norm.running_mean.clone()
    trainer.step()
    assert torch.equal(norm.running_mean, before)


def test_cut_ends_lose_at_most_a_quarter(pack: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(placing, "CUT_SHARE", 1.0)
    renderer = crops.CropRenderer(pack / "glyphs.npz", None, torch.device("cpu"), seed=2, strings=400)
    main, _ = _one_line(renderer)
    main = layout.Line(**{name: value.expand(50, *value.shape[1:]) for name, value in vars(main).items()})
    place = placing.place_lines(main, 96, torch.device("cpu"))
    for row in range(50):
        left, right = float(place["left"][row]), float(place["right"][row])
        starts, ends = main.center[row, :2] - main.half[row, :2], main.center[row, :2] + main.half[row, :2]
        lost = [float((left - starts[0]) / (2 * main.half[row, 0])), float((ends[1] - right) / (2 * main.half[row, 1]))]
        assert 0.02 < max(lost) < placing.MOST_CUT + 0.01
        assert min(lost) < 0


def test_fainter_marks_are_less_readable(pack: Path) -> None:
    renderer = crops.CropRenderer(pack / "glyphs.npz", None, torch.device("cpu"), seed=2, strings=400)
    batch = renderer.render(64, 96)
    assert batch.gray.shape == (64, 48, 96)
    certain = batch.counts & (batch.lengths > 0)
    assert bool((batch.readable[certain] >= visibility.SEEN).all())
    assert 0.2 < float(certain.float().mean()) < 0.95
    main, codes = _one_line(renderer)
    y, x = torch.meshgrid(torch.arange(48.0), torch.arange(96.0), indexing="ij")
    u, v = ((x - 8) / 30)[None], ((y - 9) / 30)[None]
    marks = (layout.line_distance(renderer.atlas, main, u.flatten(1), v.flatten(1), 1).view_as(u) < 0).float()
    bare, figure = torch.full_like(u, 128.0), torch.tensor([30.0])
    strong, weak = (
        visibility.readability(bare + level * marks, bare, bare * 0, figure, main=main, codes=codes, u=u, v=v)
        for level in (60.0, 3.0)
    )
    assert float(strong) > 3 * float(weak) > 0


def _one_line(renderer: crops.CropRenderer) -> tuple[layout.Line, torch.Tensor]:
    codes = torch.full((1, 18), -2)
    codes[0, :2] = torch.tensor([4, 7])
    style = renderer.atlas.styles["punch"][:1]
    return layout.set_line(renderer.atlas, codes, style, torch.zeros(1)), codes


def test_wheels_taken_apart_keep_their_labels(pack: Path) -> None:
    labels = torch.zeros(40, 18, dtype=torch.long)
    labels[:, :6] = torch.arange(1, 7)
    own, sizes, order = photographs._wheels_apart(labels, torch.full((40,), 6), torch.ones(40, dtype=torch.bool))
    for row in range(40):
        size = int(sizes[row])
        assert 2 <= size <= 6
        assert own[row, :size].tolist() == (order[row, :size] + 1).tolist()
        assert not own[row, size:].any()
        assert sorted(order[row, :size].tolist()) == list(
            range(int(order[row, :size].min()), int(order[row, :size].min()) + size)
        )


def test_temperature_is_fitted_on_heldout_crops(pack: Path, tmp_path: Path) -> None:
    from tools.training.temperature import TEMPERATURES, fit_temperature

    assert heldout.write_heldout(pack, tmp_path / "held.npz", 4) > 0
    network = model.LineNetwork(len(READ) + 1).eval()
    temperature, fitted, measured = fit_temperature(network, tmp_path / "held.npz", pack / "strips.npz")
    assert temperature in TEMPERATURES
    assert fitted["mean negative log-likelihood"] <= fitted["mean negative log-likelihood at 1"]
    assert 0 <= measured["all"] <= 1


def test_training_and_reading_normalize_alike() -> None:
    from reader.weights import normalize

    gray = np.random.default_rng(0).integers(0, 255, (48, 112)).astype(np.float32)
    ours = camera.normalize(torch.from_numpy(gray)[None])[0].numpy()
    assert np.abs(ours - normalize(gray, camera.LOCAL_PX, camera.LOCAL_FLOOR)).max() < 2e-2


def test_signs_cost_nothing_where_labels_leave_them_out() -> None:
    logits = torch.full((2, len(READ) + 1, 1, 5), -9.0)
    for t, c in enumerate("1.2.3"):
        logits[:, READ.index(c) + 1, 0, t] = 9.0
    labels = torch.zeros(2, 18, dtype=torch.long)
    labels[:, :3] = torch.tensor([2, 3, 4])
    lengths, counts = torch.tensor([3, 3]), torch.ones(2)
    left_out = train.line_loss(logits, labels, lengths, counts, 2)
    counted = train.line_loss(logits, labels, lengths, counts, 0)
    assert left_out < 0.01 < counted

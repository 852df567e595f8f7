"""Train the turn network, which says which way up a found line is read: `python -m tools.finding.turns --pack ...`.

It is shown single lines cut out of rendered scenes along their axis, as reader/locate/turns.py cuts found lines out of
photos, every other one upside down, and answers with a logit for each piece of the line; their mean is the line's. The
loss is the cross entropy of that mean, so that strings that look alike both ways (0, 8, 69) stay undecided. A network
that looks at the whole photo in all directions at once did not learn this (LABBOOK.md, rounds 1 and 3).
"""

from __future__ import annotations

import argparse
import copy
import json
import math
import random
import time
from dataclasses import dataclass, field
from pathlib import Path

import torch
import torch.nn.functional as F  # noqa: N812 (the usual name)
from torch import Tensor, nn

from tools.finding.loss import normalize, vary
from tools.finding.model import Conv, Residual
from tools.finding.scenes import Batch, SceneRenderer
from tools.training.layout import uniform

FIGURE_PX, BORDER_PX, WIDTH = 24, 4, 152
"""Height of the figures in a crop, border around them, and the crop's width in pixels; shorter lines end before it."""

ROWS = FIGURE_PX + 2 * BORDER_PX

STEP = 8
"""Columns of a crop for which there is one logit."""

LEVELS = 4
"""Halvings of a scene from which lines are cut, so that large figures do not alias."""

KEPT, EACH, STEPS = 48, 4, 6
"""Rendered batches that are kept, those that a step cuts lines from, and steps for each new batch."""


class TurnNetwork(nn.Module):
    """One logit for every STEP columns that the line is read as it stands."""

    def __init__(self) -> None:
        super().__init__()
        self.body = nn.Sequential(
            Conv(2, 16, stride=2),
            Conv(16, 32, stride=2),
            Residual(32),
            Conv(32, 48, stride=2),
            Residual(48),
        )
        self.rows = nn.Sequential(nn.Conv2d(48, 64, (ROWS // STEP, 3), padding=(0, 1)), nn.ReLU(inplace=True))
        self.out = nn.Conv2d(64, 1, 1)

    def forward(self, x: Tensor) -> Tensor:
        """Map (N, 2, ROWS, W), W a multiple of STEP, to (N, 1, 1, W / STEP)."""
        out: Tensor = self.out(self.rows(self.body(x)))
        return out


@dataclass
class Crops:
    """Lines cut out: `gray` (M, ROWS, WIDTH) float32, how many columns count (M,), 1 where read as it stands (M,)."""

    gray: Tensor
    columns: Tensor
    upright: Tensor


def cut_lines(batch: Batch) -> Crops:
    """Cut the taught straight lines out of scenes, a little askew, every other one upside down."""
    n, lines = batch.state.shape
    device = batch.gray.device

    def r(low: float, high: float) -> Tensor:
        return uniform((n, lines), low, high, device)

    upright = r(0, 1) < 0.5
    quads = torch.where(upright[..., None, None], batch.quads, batch.quads.roll(-2, 2))
    middle = quads.mean(2)
    along = (quads[:, :, (1, 2)] - quads[:, :, (0, 3)]).mean(2)
    length = along.norm(dim=2).clamp_min(1)
    along = along / length[..., None]
    turn = torch.randn(n, lines, device=device) * 0.04
    cos, sin = torch.cos(turn)[..., None], torch.sin(turn)[..., None]
    along = along * cos + torch.stack([-along[..., 1], along[..., 0]], 2) * sin
    down = torch.stack([-along[..., 1], along[..., 0]], 2)
    scale = batch.height * torch.exp(r(-0.3, 0.25)) / FIGURE_PX  # scene pixels a crop pixel
    spare = torch.randn(2, n, lines, device=device) * 0.22 * batch.height
    shown = (length + spare.sum(0)).clamp_min(0.4 * batch.height)
    columns = (shown / scale).round().clamp(max=WIDTH - 2 * BORDER_PX) + 2 * BORDER_PX
    slack = (shown / scale - (WIDTH - 2 * BORDER_PX)).clamp_min(0) * scale
    shift = (spare[1] - spare[0]) / 2 + r(-0.5, 0.5) * slack
    middle = middle + along * shift[..., None] + down * (r(-0.12, 0.12) * batch.height)[..., None]
    x = (torch.arange(WIDTH, device=device) + 0.5 - columns[..., None] / 2) * scale[..., None]
    y = (torch.arange(ROWS, device=device) + 0.5 - ROWS / 2) * scale[..., None]
    places = (
        middle[:, :, None, None]
        + along[:, :, None, None] * x[:, :, None, :, None]
        + down[:, :, None, None] * y[:, :, :, None, None]
    )
    grid = ((places + 0.5) / (batch.gray.shape[1] / 2) - 1).flatten(1, 2)
    level = torch.log2(scale).add(0.3).floor().clamp(0, LEVELS - 1)
    scene = batch.gray[:, None].float()
    gray = torch.zeros(n, lines, ROWS, WIDTH, device=device)
    for number in range(LEVELS):
        cut = F.grid_sample(scene, grid, mode="bilinear", padding_mode="border", align_corners=False)
        gray = torch.where((level == number)[..., None, None], cut.view(n, lines, ROWS, WIDTH), gray)
        scene = F.avg_pool2d(scene, 2)
    taught = (batch.state == 1) & batch.straight
    return Crops(gray[taught], columns[taught], upright[taught].float())


def network_input(crops: Crops) -> Tensor:
    """Return (M, 2, ROWS, WIDTH), zero beyond each crop's columns, each normalized by its own pixels alone."""
    inside = torch.arange(WIDTH, device=crops.gray.device)[None, None] < crops.columns[:, None, None]
    mean = (crops.gray * inside).sum((1, 2), keepdim=True) / (crops.columns[:, None, None] * ROWS)
    square = ((crops.gray - mean) ** 2 * inside).sum((1, 2), keepdim=True) / (crops.columns[:, None, None] * ROWS)
    whole = ((crops.gray - mean) / (square.sqrt() + 2.0)).clamp(-4, 4)
    local = normalize(crops.gray)[:, 1]
    return torch.stack([whole, local], 1) * inside[:, None]


def line_logits(network: nn.Module, crops: Crops) -> Tensor:
    """Return the mean logit (M,) of each crop's own pieces."""
    pieces = network(network_input(crops))[:, 0, 0].float()
    own = torch.arange(pieces.shape[1], device=pieces.device)[None] < torch.ceil(crops.columns / STEP)[:, None]
    return (pieces * own).sum(1) / own.sum(1)


def turn_loss(logits: Tensor, crops: Crops) -> Tensor:
    """Return the cross entropy."""
    return F.binary_cross_entropy_with_logits(logits, crops.upright)


@dataclass
class Options:
    """What a run is told."""

    pack: Path
    out: Path
    resume: Path | None = None
    minutes: float = 6.0
    since: float | None = None
    batch: int = 32
    rate: float = 2.0e-3
    seed: int = 41
    strings: int = 200_000
    most_styles: int | None = None
    side: int = 512
    device: str = "cuda"
    history: list[dict[str, float]] = field(default_factory=list)


class Trainer:
    """Renders and trains on one device."""

    def __init__(self, options: Options) -> None:
        self.options = options
        self.begun = options.since or time.time()
        self.device = torch.device(options.device)
        torch.backends.cudnn.benchmark = False  # every batch has another number of lines
        torch.manual_seed(options.seed)
        random.seed(options.seed)
        self.network = TurnNetwork().to(self.device)
        self.average = copy.deepcopy(self.network)
        if options.resume:
            self.network.load_state_dict(torch.load(options.resume / "turns.pt", map_location=self.device))
            self.average.load_state_dict(self.network.state_dict())
        held = self._renderer(held=True, seed=99)
        self.checks = [held.render(options.batch) for _ in range(12 if options.side == 512 else 2)]
        self.renderer = self._renderer(held=False, seed=options.seed)
        self.optimizer = torch.optim.AdamW(self.network.parameters(), lr=options.rate, weight_decay=0.02)
        self.kept: list[Batch] = []
        self.steps = 0
        self.started = time.time()

    def _renderer(self, *, held: bool, seed: int) -> SceneRenderer:
        options = self.options
        strings = min(20_000, options.strings) if held else options.strings
        return SceneRenderer(
            options.pack,
            self.device,
            seed=seed,
            strings=strings,
            held=held,
            most_styles=options.most_styles,
            side=options.side,
        )

    def done(self) -> float:
        """Return the share of the time that is over."""
        end = self.begun + self.options.minutes * 60
        return min(1.0, (time.time() - self.started) / max(1.0, end - self.started))

    def step(self) -> Tensor:
        """Take one step over the lines of a few kept batches."""
        parts = [cut_lines(random.choice(self.kept)) for _ in range(EACH)]
        crops = Crops(*(torch.cat([getattr(p, name) for p in parts]) for name in ("gray", "columns", "upright")))
        if len(crops.gray) < 2:
            return torch.zeros(())
        crops.gray = vary(crops.gray)
        rise = min(1.0, (self.steps + 1) / 200)
        for group in self.optimizer.param_groups:
            group["lr"] = self.options.rate * rise * max(0.004, 0.5 * (1 + math.cos(math.pi * self.done())))
        loss = turn_loss(line_logits(self.network, crops), crops)
        self.optimizer.zero_grad(set_to_none=True)
        loss.backward()
        nn.utils.clip_grad_norm_(self.network.parameters(), 2.0)
        self.optimizer.step()
        self.steps += 1
        keep = min(0.998, (1 + self.steps) / (20 + self.steps))
        with torch.no_grad():
            for own, new in zip(self.average.state_dict().values(), self.network.state_dict().values(), strict=True):
                if own.is_floating_point():
                    own.lerp_(new, 1 - keep)
        return loss.detach()

    def run(self) -> None:
        """Train until the minutes are over; check and save each half minute."""
        shown, losses = time.time(), []
        while self.done() < 1:
            self.kept.append(self.renderer.render(self.options.batch))
            self.kept = self.kept[-KEPT:]
            losses += [self.step() for _ in range(STEPS)]
            if time.time() - shown > 30:
                self.check(torch.stack(losses).mean())
                shown, losses = time.time(), []
        self.check(torch.stack(losses).mean() if losses else torch.zeros(()))

    @torch.no_grad()
    def check(self, loss: Tensor) -> dict[str, float]:
        """Measure the averaged network on held-out scenes, and save."""
        self.average.eval()
        torch.manual_seed(5)
        signed = []
        for batch in self.checks:
            crops = cut_lines(batch)
            if len(crops.gray):
                signed.append(line_logits(self.average, crops) * (2 * crops.upright - 1))
        torch.manual_seed(self.options.seed + self.steps)
        answers = torch.cat(signed)
        sure = answers.abs() > math.log(99)
        found = {
            "steps": self.steps,
            "seconds": round(time.time() - self.started),
            "loss": round(float(loss), 4),
            "lines": len(answers),
            "right": round(float((answers > 0).float().mean()), 4),
            "sure": round(float(sure.float().mean()), 4),
            "sure_wrong": round(float((sure & (answers < 0)).float().mean()), 4),
        }
        self.options.history.append(found)
        print(json.dumps(found), flush=True)
        self.options.out.mkdir(parents=True, exist_ok=True)
        torch.save(self.average.state_dict(), self.options.out / "turns.pt")
        (self.options.out / "turns.json").write_text(json.dumps(self.options.history, indent=1))
        return found


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--pack", type=Path, required=True, help="folder with glyphs.npz, strings.txt and textures")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--resume", type=Path)
    parser.add_argument("--minutes", type=float, default=6.0, help="until this run ends, counted from --since or now")
    parser.add_argument("--since", type=float, help="time (seconds since 1970) that --minutes are counted from")
    parser.add_argument("--batch", type=int, default=32)
    parser.add_argument("--rate", type=float, default=2.0e-3)
    parser.add_argument("--seed", type=int, default=41)
    parser.add_argument("--strings", type=int, default=200_000)
    parser.add_argument("--most-styles", type=int)
    parser.add_argument("--side", type=int, default=512)
    parser.add_argument("--device", default="cuda" if torch.cuda.is_available() else "cpu")
    Trainer(Options(**vars(parser.parse_args()))).run()


if __name__ == "__main__":
    main()

"""Train the line network: `python -m tools.training.train --pack .training --out FOLDER --minutes 8.5`.

Renders and trains on one GPU until the minutes are over, then validates and writes the checkpoint (weights.pt,
average.pt, state.json) and contact sheets. Started again with --resume FOLDER it goes on where it stopped: the learning
rate follows the trained time over --total-minutes. With --weights line.onnx it goes on from released weights. Every
rendered batch is used a few times, changed cheaply each time. Under torchrun every process renders and trains on a GPU
of its own, and the gradients are averaged: `torchrun --nproc-per-node 2 -m tools.training.train ...`.
"""

from __future__ import annotations

import argparse
import copy
import json
import math
import os
import random
import time
from dataclasses import asdict, dataclass, field
from pathlib import Path

import torch
import torch.distributed as dist
import torch.nn.functional as F  # noqa: N812 (the usual name)
from torch import Tensor, nn

from tools.training.camera import normalize
from tools.training.checker import Checker
from tools.training.crops import WIDTH_SHARES, WIDTHS, Batch, CropRenderer
from tools.training.model import LineNetwork, count_parameters
from tools.training.photographs import cut_strips, load_strips
from tools.training.start import start_from
from tools.training.strings import READ

SIGNS = tuple(READ.index(c) + 1 for c in ".-/ ")
"""Classes that the labels of real strips leave out."""

REAL_SHARE = 0.1
"""Share of real strips in the batches whose width suits them."""

SYNC_STEPS = 10
"""Steps after which all processes take over the first one's clock, which sets the learning rate and the end."""

START_CROPS = 512
"""Crops of each of two widths whose statistics start the normalizations of released weights."""


@dataclass
class Options:
    """What a run is told."""

    pack: Path
    out: Path
    resume: Path | None = None
    weights: Path | None = None
    minutes: float = 8.5
    total_minutes: float = 24.0
    batch_pixels: int = 1024 * 224
    uses: int = 4
    rate: float = 2.0e-3
    seed: int = 11
    strings: int = 300_000
    most_styles: int | None = None
    checks: int = 4
    touch_up: bool = False
    most_width: int = max(WIDTHS)
    compiled: bool = False


@dataclass
class State:
    """What a checkpoint holds besides weights."""

    step: int = 0
    seconds: float = 0.0
    crops: int = 0
    history: list[dict[str, float]] = field(default_factory=list)


class Trainer:
    """Holds renderer, network, average and optimizer of one run."""

    def __init__(self, options: Options) -> None:
        self.options = options
        self.rank: int = dist.get_rank() if dist.is_initialized() else 0
        self.ranks: int = dist.get_world_size() if dist.is_initialized() else 1
        self.device = torch.device(f"cuda:{self.rank}" if torch.cuda.is_available() else "cpu")
        if self.device.type == "cuda":
            torch.cuda.set_device(self.device)
        torch.backends.cudnn.benchmark = True
        torch.backends.cudnn.benchmark_limit = 2
        torch.set_float32_matmul_precision("high")
        textures = options.pack / "textures"
        started = time.perf_counter()
        self.state = State()
        seed = options.seed + 7919 * self.rank
        self.network = LineNetwork(len(READ) + 1).to(self.device)
        for p in self.network.parameters():
            if p.ndim == 4:
                p.data = p.data.contiguous(memory_format=torch.channels_last)
        self.average = copy.deepcopy(self.network)
        if options.resume:
            self._load(options.resume)
            seed += 1000 + self.state.step
        self.start_step = self.state.step
        self.renderer = CropRenderer(
            options.pack / "glyphs.npz",
            textures,
            self.device,
            seed=seed,
            strings=options.strings,
            most_styles=options.most_styles,
        )
        self.strips = load_strips(options.pack / "strips.npz", self.device, held=False)
        if options.weights and not options.resume:
            self._start(options.weights)
        if options.touch_up:
            for module in self.network.modules():
                if isinstance(module, nn.BatchNorm2d):
                    module.eval()
        decay: list[nn.Parameter] = []
        plain: list[nn.Parameter] = []
        for p in self.network.parameters():
            (decay if p.ndim > 1 else plain).append(p)
        groups = [{"params": decay, "weight_decay": 0.03}, {"params": plain, "weight_decay": 0.0}]
        self.optimizer = torch.optim.AdamW(groups, lr=options.rate, betas=(0.9, 0.98), fused=self.device.type == "cuda")
        self.forward = torch.compile(self.network) if options.compiled else self.network
        self.buffer: list[tuple[Batch, int]] = []
        random.seed(seed)
        print(f"set up in {time.perf_counter() - started:.0f} s, {count_parameters(self.network)} values", flush=True)

    def _load(self, folder: Path) -> None:
        self.network.load_state_dict(torch.load(folder / "weights.pt", map_location=self.device))
        self.average.load_state_dict(torch.load(folder / "average.pt", map_location=self.device))
        if self.options.touch_up:
            self.network.load_state_dict(self.average.state_dict())
        self.state = State(**json.loads((folder / "state.json").read_text()))

    def _start(self, path: Path) -> None:
        """Take over released weights; all processes start from the first one's."""
        size = max(8, min(START_CROPS, self.options.batch_pixels // 224))
        gray = torch.cat([F.pad(self.renderer.render(size, w).gray, (0, 224 - w)) for w in (160, 224)])
        start_from(self.network, path, normalize(gray.float()))
        if self.ranks > 1:
            for value in self.network.state_dict().values():
                dist.broadcast(value, 0)
        self.average.load_state_dict(self.network.state_dict())

    def rate(self) -> float:
        """Return the learning rate: a short rise after each start, then a cosine over the total time."""
        done = min(1.0, self.state.seconds / (self.options.total_minutes * 60))
        rise = min(
            1.0,
            (self.state.step - self.start_step + 1)
            / (20 if self.options.touch_up else 400 if self.start_step == 0 else 200),
        )
        return self.options.rate * rise * max(0.004, 0.5 * (1 + math.cos(math.pi * done)))

    def next_batch(self) -> Batch:
        """Return a rendered batch, a new one every `uses` steps."""
        if len(self.buffer) < 6 or self.state.step % self.options.uses == 0:
            shares = [s if w <= self.options.most_width else 0 for w, s in zip(WIDTHS, WIDTH_SHARES, strict=True)]
            width = random.choices(WIDTHS, shares)[0]
            self.buffer.append((self.renderer.render(max(16, self.options.batch_pixels // width), width), 0))
        place = random.randrange(max(1, len(self.buffer)))
        batch, used = self.buffer[place]
        if used + 1 >= self.options.uses:
            self.buffer.pop(place)
        else:
            self.buffer[place] = (batch, used + 1)
        return batch

    def step(self) -> Tensor:
        """Take one training step; return the loss."""
        batch = self.next_batch()
        width = batch.gray.shape[2]
        real = round(len(batch.gray) * REAL_SHARE) if 96 <= width <= 320 else 0
        gray, labels, lengths, counts = batch.gray, batch.labels, batch.lengths, batch.counts.float()
        if real:
            strip, strip_labels, strip_lengths = cut_strips(self.strips, real, width)
            gray, labels = torch.cat([strip, gray[real:]]), torch.cat([strip_labels, labels[real:]])
            lengths, counts = (
                torch.cat([strip_lengths, lengths[real:]]),
                torch.cat([counts.new_ones(real), counts[real:]]),
            )
        x = normalize(vary(gray)).contiguous(memory_format=torch.channels_last)
        for group in self.optimizer.param_groups:
            group["lr"] = self.rate()
        with torch.autocast(self.device.type, torch.bfloat16):
            logits = self.forward(x)
        loss = line_loss(logits.float(), labels, lengths, counts, real)
        self.optimizer.zero_grad(set_to_none=True)
        loss.backward()
        self._share_gradients()
        nn.utils.clip_grad_norm_(self.network.parameters(), 2.0)
        self.optimizer.step()
        self._average()
        self.state.step += 1
        self.state.crops += len(gray) * self.ranks
        return loss.detach()

    def _share_gradients(self) -> None:
        """Average the gradients of all processes, as one flat array."""
        if self.ranks == 1:
            return
        gradients = [p.grad for p in self.network.parameters() if p.grad is not None]
        flat = torch.cat([g.reshape(-1) for g in gradients])
        dist.all_reduce(flat)
        flat /= self.ranks
        place = 0
        for g in gradients:
            g.copy_(flat[place : place + g.numel()].view_as(g))
            place += g.numel()

    def _clock(self, spent: float) -> float:
        """Return the seconds that the first process has spent."""
        if self.ranks == 1:
            return spent
        told = torch.tensor(spent, dtype=torch.float64, device=self.device)
        dist.broadcast(told, 0)
        return float(told)

    @torch.no_grad()
    def _average(self) -> None:
        keep = 0.98 if self.options.touch_up else min(0.999, (1 + self.state.step) / (20 + self.state.step))
        own, new = list(self.average.state_dict().values()), list(self.network.state_dict().values())
        floats = [(a, b) for a, b in zip(own, new, strict=True) if a.is_floating_point()]
        torch._foreach_lerp_([a for a, _ in floats], [b for _, b in floats], 1 - keep)

    def run(self) -> None:
        """Train until the minutes are over, then validate and save."""
        if self.rank == 0:
            self.options.out.mkdir(parents=True, exist_ok=True)
        begun = time.perf_counter()
        before = self.state.seconds
        limit = self.options.minutes * 60 - 5
        checker = self._checker()
        if checker and not self.state.history:
            self._check(checker)
        shown, shown_at, total = 0, self.state.step, torch.zeros((), device=self.device)
        while True:
            if (self.state.step - self.start_step) % SYNC_STEPS == 0:
                spent = self._clock(time.perf_counter() - begun)
                self.state.seconds = before + spent
                if spent >= limit:
                    break
                done = spent / limit
                if done * self.options.checks >= shown + 1:
                    shown += 1
                    if checker:
                        self._check(checker)
            total += self.step()
            if self.state.step % 200 == 0 and self.rank == 0:
                loss = total.item() / (self.state.step - shown_at)
                print(
                    f"step {self.state.step} {self.state.seconds:.0f} s loss {loss:.4f} "
                    f"rate {self.rate():.5f} crops {self.state.crops / 1e6:.2f} M",
                    flush=True,
                )
                total.zero_()
                shown_at = self.state.step
        if checker:
            self._check(checker)
            checker.sheets(self.average, self.options.out)

    def _checker(self) -> Checker | None:
        """Return what measures, on the first process only."""
        if self.rank:
            return None
        options = self.options
        count = min(1024, options.batch_pixels // 224)
        return Checker(options.pack, self.device, count, min(20_000, options.strings), options.most_styles)

    def _check(self, checker: Checker) -> None:
        found = checker.measure(self.average)
        self.state.history.append({"step": self.state.step, "seconds": round(self.state.seconds), **found})
        print(json.dumps(self.state.history[-1]), flush=True)
        self.save()

    def save(self) -> None:
        """Write the checkpoint."""
        out = self.options.out
        torch.save(self.network.state_dict(), out / "weights.pt")
        torch.save(self.average.state_dict(), out / "average.pt")
        (out / "state.json").write_text(json.dumps(asdict(self.state), indent=1))


@torch.no_grad()
def vary(gray: Tensor) -> Tensor:
    """Change a batch (N, H, W) uint8 cheaply: polarity, shift, gain at one end, noise, a scratch. Returns float32."""
    n, rows, width = gray.shape
    device = gray.device
    x = gray.float()
    dy, dx = random.randint(-2, 2), random.randint(-4, 4)
    x = F.pad(x[:, None], (4, 4, 2, 2), mode="replicate")[:, 0, 2 + dy : 2 + dy + rows, 4 + dx : 4 + dx + width]
    x = torch.where(torch.rand(n, 1, 1, device=device) < 0.4, 255 - x, x)
    ramp = torch.linspace(-1, 1, width, device=device)[None, None]
    x = x * (
        1 + 0.25 * torch.randn(n, 1, 1, device=device).clamp(-2, 2) * ramp * (torch.rand(n, 1, 1, device=device) < 0.4)
    )
    x = x + torch.randn_like(x) * (2.5 * torch.rand(n, 1, 1, device=device))
    column = torch.arange(width, device=device)[None, None]
    place = torch.randint(0, width, (n, 1, 1), device=device)
    hidden = ((column - place).abs() < torch.randint(1, 4, (n, 1, 1), device=device)) & (
        torch.rand(n, 1, 1, device=device) < 0.06
    )
    return torch.where(hidden, x.mean((1, 2), keepdim=True), x).clamp(0, 255)


def line_loss(logits: Tensor, labels: Tensor, lengths: Tensor, counts: Tensor, real: int) -> Tensor:
    """Return the CTC loss (Graves et al. 2006); labels of the first `real` leave signs out, which count as blank."""
    scores = F.log_softmax(logits[:, :, 0], 1)
    if real:
        scores = torch.cat([merge_signs(scores[:real]), scores[real:]])
    steps = torch.full((len(labels),), scores.shape[2], device=labels.device)
    each = F.ctc_loss(scores.permute(2, 0, 1), labels, steps, lengths, reduction="none", zero_infinity=True)
    each = each / lengths.clamp_min(2) ** 0.5
    return (each * counts).sum() / counts.sum().clamp_min(1)


def merge_signs(scores: Tensor) -> Tensor:
    """Return log-probabilities (N, C, T) whose blank also holds the signs that real strips' labels leave out."""
    blank = torch.logsumexp(scores[:, (0, *SIGNS)], 1)
    return torch.cat([blank[:, None], scores[:, 1:]], 1)


def profile(trainer: Trainer) -> None:
    """Print how many crops a second are rendered and trained on at each width."""
    for width in WIDTHS:
        n = max(16, trainer.options.batch_pixels // width)
        trainer.renderer.render(n, width)
        _wait(trainer.device)
        begun = time.perf_counter()
        for _ in range(3):
            trainer.renderer.render(n, width)
        _wait(trainer.device)
        print(f"render {width}: {3 * n / (time.perf_counter() - begun):.0f} crops/s", flush=True)
    trainer.step()
    for _ in range(30):
        trainer.step()
    _wait(trainer.device)
    begun, crops = time.perf_counter(), trainer.state.crops
    for _ in range(60):
        trainer.step()
    _wait(trainer.device)
    spent = time.perf_counter() - begun
    print(f"steps/s {60 / spent:.1f}, crops/s {(trainer.state.crops - crops) / spent:.0f}", flush=True)


def _wait(device: torch.device) -> None:
    if device.type == "cuda":
        torch.cuda.synchronize()


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--pack", type=Path, required=True, help="folder with glyphs.npz, strips.npz and textures")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--resume", type=Path)
    parser.add_argument("--weights", type=Path, help="released weights (line.onnx) to go on from")
    parser.add_argument("--minutes", type=float, default=8.5)
    parser.add_argument("--total-minutes", type=float, default=24.0)
    parser.add_argument("--batch-pixels", type=int, default=1024 * 224)
    parser.add_argument("--uses", type=int, default=4)
    parser.add_argument("--rate", type=float, default=2.0e-3)
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--strings", type=int, default=300_000)
    parser.add_argument("--checks", type=int, default=4)
    parser.add_argument("--most-styles", type=int)
    parser.add_argument(
        "--touch-up", action="store_true", help="go on gently (from the average), normalizations held as they are"
    )
    parser.add_argument("--most-width", type=int, default=max(WIDTHS))
    parser.add_argument("--compiled", action="store_true")
    parser.add_argument("--profile", action="store_true")
    told = vars(parser.parse_args())
    only_profile = told.pop("profile")
    if "RANK" in os.environ:
        dist.init_process_group("nccl" if torch.cuda.is_available() else "gloo")
    trainer = Trainer(Options(**told))
    if only_profile:
        profile(trainer)
    trainer.run()
    if dist.is_initialized():
        dist.destroy_process_group()


if __name__ == "__main__":
    main()

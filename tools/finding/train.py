"""Train the region network: `python -m tools.finding.train --pack .training --out FOLDER --minutes 8.5`.

Renders and trains on one GPU until the minutes are over; every two minutes it validates on held-out styles and writes
the checkpoint (weights.pt, average.pt, state.json). Started again with --resume FOLDER it goes on where it stopped: the
learning rate follows the trained time over --total-minutes. Every rendered batch is used a few times, turned and
changed cheaply each time. Under torchrun every process renders and trains on a GPU of its own, and the gradients are
averaged.
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
from torch import Tensor, nn

from tools.finding.loss import measure, normalize, region_loss, turn_batch, vary
from tools.finding.model import RegionNetwork, count_parameters
from tools.finding.scenes import SIDE, Batch, SceneRenderer

SYNC_STEPS = 10
"""Steps after which all processes take over the first one's clock."""

BUFFER = 16
"""Rendered batches that wait to be used."""


GROUND, GROUND_FROM, GROUND_TO = 2.5, 0.3, 0.7
"""Ground weighs 1 until GROUND_FROM of the total time and GROUND from GROUND_TO on: first lines are found, then kernels
are thinned."""


@dataclass
class Options:
    """What a run is told."""

    pack: Path
    out: Path
    resume: Path | None = None
    minutes: float = 8.5
    total_minutes: float | None = None
    batch: int = 32
    uses: int = 6
    rate: float = 2.0e-3
    seed: int = 21
    strings: int = 200_000
    most_styles: int | None = None
    side: int = SIDE
    check_batches: int = 6
    check_minutes: float = 2.0
    since: float | None = None
    anew: bool = False
    thin: bool = False


@dataclass
class State:
    """What a checkpoint holds besides weights."""

    step: int = 0
    seconds: float = 0.0
    scenes: int = 0
    seed: int = 0
    from_seconds: float = 0.0
    history: list[dict[str, float]] = field(default_factory=list)


class Trainer:
    """Holds renderer, network, average and optimizer of one run."""

    def __init__(self, options: Options) -> None:
        self.options = options
        several = dist.is_initialized()
        self.rank: int = dist.get_rank() if several else 0
        self.ranks: int = dist.get_world_size() if several else 1
        self.device = torch.device(f"cuda:{self.rank}" if torch.cuda.is_available() else "cpu")
        if self.device.type == "cuda":
            torch.cuda.set_device(self.device)
        torch.backends.cudnn.benchmark = True
        torch.set_float32_matmul_precision("high")
        started = time.perf_counter()
        torch.manual_seed(options.seed)  # all processes start from the same weights
        self.state = State(seed=options.seed)
        self.network = RegionNetwork().to(self.device, memory_format=torch.channels_last)
        self.average = copy.deepcopy(self.network)
        if options.resume:
            self._load(options.resume)
        self.first_step = self.state.step
        self.total_seconds = 1.0
        seed = options.seed + 7919 * self.rank + 1000 * (self.state.step > 0) + self.state.step
        self.checks = self._check_batches() if self.rank == 0 else []
        self.renderer = SceneRenderer(
            options.pack,
            self.device,
            seed=seed,
            strings=options.strings,
            most_styles=options.most_styles,
            side=options.side,
        )
        random.seed(seed)
        groups = [
            {"params": [p for p in self.network.parameters() if p.ndim > 1], "weight_decay": 0.02},
            {"params": [p for p in self.network.parameters() if p.ndim <= 1], "weight_decay": 0.0},
        ]
        self.optimizer = torch.optim.AdamW(groups, lr=options.rate, betas=(0.9, 0.99), fused=self.device.type == "cuda")
        self.buffer: list[tuple[Batch, int]] = []
        print(f"set up in {time.perf_counter() - started:.0f} s, {count_parameters(self.network)} values", flush=True)

    def _check_batches(self) -> list[Batch]:
        """Render the held-out scenes that are measured on, the same for every run of one seed."""
        options = self.options
        renderer = SceneRenderer(
            options.pack,
            self.device,
            seed=99,
            strings=min(20_000, options.strings),
            held=True,
            most_styles=options.most_styles,
            side=options.side,
        )
        return [renderer.render(options.batch) for _ in range(options.check_batches)]

    def _load(self, folder: Path) -> None:
        self.network.load_state_dict(torch.load(folder / "weights.pt", map_location=self.device))
        self.average.load_state_dict(torch.load(folder / "average.pt", map_location=self.device))
        self.state = State(**json.loads((folder / "state.json").read_text()))
        if self.options.anew:
            self.state.from_seconds = self.state.seconds

    def done(self) -> float:
        """Return the share of the total time that is over."""
        return min(1.0, (self.state.seconds - self.state.from_seconds) / self.total_seconds)

    def ground_weight(self) -> float:
        """Return how much ground weighs now."""
        if self.options.thin:
            return GROUND
        return 1 + (GROUND - 1) * min(1.0, max(0.0, (self.done() - GROUND_FROM) / (GROUND_TO - GROUND_FROM)))

    def rate(self) -> float:
        """Return the learning rate: a short rise after each start, then a cosine over the total time."""
        rise = min(1.0, (self.state.step - self.first_step + 1) / 150)
        return self.options.rate * rise * max(0.004, 0.5 * (1 + math.cos(math.pi * self.done())))

    def next_batch(self) -> Batch:
        """Return a rendered batch, a new one every `uses` steps."""
        if len(self.buffer) < BUFFER or self.state.step % self.options.uses == 0:
            self.buffer.append((self.renderer.render(self.options.batch), 0))
        place = random.randrange(len(self.buffer))
        batch, used = self.buffer[place]
        if used + 1 >= self.options.uses:
            self.buffer.pop(place)
        else:
            self.buffer[place] = (batch, used + 1)
        return batch

    def step(self) -> Tensor:
        """Take one training step; return the loss."""
        batch = turn_batch(self.next_batch(), random.randrange(4))
        x = normalize(vary(batch.gray)).contiguous(memory_format=torch.channels_last)
        for group in self.optimizer.param_groups:
            group["lr"] = self.rate()
        with torch.autocast(self.device.type, torch.bfloat16):
            planes = self.network(x)
        loss, self.parts = region_loss(planes.float(), batch, self.ground_weight())
        self.optimizer.zero_grad(set_to_none=True)
        loss.backward()
        self._share_gradients()
        nn.utils.clip_grad_norm_(self.network.parameters(), 2.0)
        self.optimizer.step()
        self._average()
        self.state.step += 1
        self.state.scenes += len(x) * self.ranks
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
        keep = min(0.998, (1 + self.state.step) / (20 + self.state.step))
        own, new = list(self.average.state_dict().values()), list(self.network.state_dict().values())
        floats = [(a, b) for a, b in zip(own, new, strict=True) if a.is_floating_point()]
        torch._foreach_lerp_([a for a, _ in floats], [b for _, b in floats], 1 - keep)

    def run(self) -> None:
        """Train until the minutes are over; check and save every few minutes and at the end."""
        options = self.options
        if self.rank == 0:
            options.out.mkdir(parents=True, exist_ok=True)
        begun = options.since or time.time()  # the whole command's start, where it is told
        trained_from, before = time.time(), self.state.seconds
        left = options.minutes * 60 - (trained_from - begun)
        trained = before - self.state.from_seconds
        self.total_seconds = options.total_minutes * 60 if options.total_minutes else trained + max(left, 1.0)
        checked, shown, shown_at, total = time.time(), time.time(), self.state.step, torch.zeros((), device=self.device)
        while True:
            if (self.state.step - self.first_step) % SYNC_STEPS == 0:
                now = self._clock(time.time() - begun)
                self.state.seconds = before + self._clock(time.time() - trained_from)
                if now >= options.minutes * 60:
                    break
            total += self.step()
            if self.rank == 0 and time.time() - shown > 20:
                mean = total.item() / (self.state.step - shown_at)
                parts = " ".join(f"{name} {part.item():.3f}" for name, part in self.parts.items())
                print(
                    f"step {self.state.step} {self.state.seconds:.0f} s {self.state.scenes} scenes loss {mean:.4f} "
                    f"({parts}) rate {self.rate():.5f}",
                    flush=True,
                )
                total.zero_()
                shown, shown_at = time.time(), self.state.step
            if self.rank == 0 and time.time() - checked > options.check_minutes * 60:
                self.check()
                checked = time.time()
        if self.rank == 0:
            self.check()

    @torch.no_grad()
    def check(self) -> dict[str, float]:
        """Measure the averaged network on held-out scenes, and save."""
        self.average.eval()
        found: dict[str, float] = {}
        for batch in self.checks:
            x = normalize(batch.gray.float()).contiguous(memory_format=torch.channels_last)
            with torch.autocast(self.device.type, torch.bfloat16):
                planes = self.average(x).float()
            loss, _ = region_loss(planes, batch)
            for name, value in {**measure(planes, batch), "loss": float(loss)}.items():
                found[name] = found.get(name, 0.0) + value / len(self.checks)
        found = {name: round(value, 4) for name, value in found.items()}
        self.state.history.append({"step": self.state.step, "seconds": round(self.state.seconds), **found})
        print(json.dumps(self.state.history[-1]), flush=True)
        out = self.options.out
        torch.save(self.network.state_dict(), out / "weights.pt")
        torch.save(self.average.state_dict(), out / "average.pt")
        (out / "state.json").write_text(json.dumps(asdict(self.state), indent=1))
        return found


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--pack", type=Path, required=True, help="folder with glyphs.npz, strings.txt and textures")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--resume", type=Path)
    parser.add_argument("--anew", action="store_true", help="the learning rate starts anew on --resume")
    parser.add_argument("--thin", action="store_true", help="ground has its full weight from the start")
    parser.add_argument("--minutes", type=float, default=8.5, help="until this run ends, counted from --since or now")
    parser.add_argument(
        "--total-minutes", type=float, help="over all runs since --anew, for the learning rate; else this run ends it"
    )
    parser.add_argument("--since", type=float, help="time (seconds since 1970) that --minutes are counted from")
    parser.add_argument("--batch", type=int, default=32)
    parser.add_argument("--uses", type=int, default=6)
    parser.add_argument("--rate", type=float, default=2.0e-3)
    parser.add_argument("--seed", type=int, default=21)
    parser.add_argument("--strings", type=int, default=200_000)
    parser.add_argument("--most-styles", type=int)
    parser.add_argument("--side", type=int, default=SIDE)
    parser.add_argument("--check-batches", type=int, default=6)
    parser.add_argument("--check-minutes", type=float, default=2.0)
    told = vars(parser.parse_args())
    if "LOCAL_RANK" in os.environ:
        dist.init_process_group("nccl" if torch.cuda.is_available() else "gloo")
    Trainer(Options(**told)).run()
    if dist.is_initialized():
        dist.destroy_process_group()


if __name__ == "__main__":
    main()

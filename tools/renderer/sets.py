"""Folders of photographs with labels: many scenes, or one scene under many lights."""

from __future__ import annotations

import multiprocessing
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import cv2
import numpy as np

from tools.renderer.camera import jpeg, light_in_photo
from tools.renderer.labels import COLUMNS, quads_json, truth_row, write_rows
from tools.renderer.random_scenes import random_spec
from tools.renderer.scene import build, light_and_take, render, torches_of
from tools.renderer.spec import BASE_WIDTH_PX, LightSpec, SceneSpec

SET_QUALITY = 90
LIGHT_COLUMNS = ("light_x", "light_y", "light_z")
RELIEF_KINDS = ("wood-stamp", "cast-iron", "wood-etched")
"""Kinds with a relief to find; a torch set takes them in turn by its seed."""
TORCH_STREAM = 51
"""Second number that the lights of a torch set are drawn from."""


@dataclass(frozen=True)
class SetOptions:
    """Which photographs a set holds. `kind` '' takes all; `long_side` is the photos' width in pixels, 4:3."""

    difficulty: str = "medium"
    kind: str = ""
    long_side: int = BASE_WIDTH_PX

    def spec(self, number: int) -> SceneSpec:
        """Return the scene of a number, at the set's size."""
        size = (self.long_side, round(0.75 * self.long_side))
        return replace(random_spec(number, self.difficulty, self.kind), size=size)


def write_set(folder: Path, count: int, seed: int, options: SetOptions, workers: int = 1) -> None:
    """Render `count` random photographs and labels.csv with quads; the k-th is made from seed * 100000 + k.

    `workers` processes share the work, one core each; the pictures are the same for any number.
    """
    folder.mkdir(parents=True, exist_ok=True)
    one = partial(_write_one, folder, seed, options)
    if workers > 1:
        with multiprocessing.get_context("spawn").Pool(workers, cv2.setNumThreads, (1,)) as pool:
            rows = pool.map(one, range(count), chunksize=1)
    else:
        rows = [one(k) for k in range(count)]
    write_rows(folder / "labels.csv", (*COLUMNS, "quads"), rows)


def _write_one(folder: Path, seed: int, options: SetOptions, k: int) -> list[str]:
    """Render the k-th photograph and return its row."""
    number = seed * 100000 + k
    pixels, truth = render(options.spec(number), number)
    file = f"{options.difficulty}_{k:04d}.jpg"
    (folder / file).write_bytes(jpeg(pixels, SET_QUALITY))
    return [*truth_row(file, truth), quads_json(truth)]


def torch_spec(seed: int, difficulty: str, kind: str = "") -> SceneSpec:
    """Return the first random scene from a seed on that holds a serial and is no copy of an old picture."""
    for attempt in range(1000):
        spec = random_spec(seed + 1000 * attempt, difficulty, kind)
        if any(mark.kind == "serial" for mark in spec.marks):
            return replace(spec, print_age=0.0)
    raise ValueError("no random scene with a serial in 1,000: look at random_scenes.py")


def torch_lights(spec: SceneSpec, count: int, seed: int) -> list[LightSpec]:
    """Return `count` low lights all around the marks, unevenly, as a hand holds them."""
    rng = np.random.default_rng([seed, TORCH_STREAM])
    start = float(rng.uniform(0, 360))
    return [
        replace(
            spec.light,
            azimuth_deg=(start + 360.0 * k / count + float(rng.normal(0, 8))) % 360,
            elevation_deg=float(rng.uniform(15, 35)),
            distance=float(rng.uniform(0.7, 1.2)),
        )
        for k in range(count)
    ]


def write_torch_set(folder: Path, seed: int, count: int, difficulty: str = "easy", kind: str = "") -> None:
    """Photograph one scene from one place under `count` lights, one at a time, and write what is true about it.

    `kind` '' takes one of RELIEF_KINDS.

    labels.csv has a row for each photo with the light's place (x right, y down, z from the surface toward the camera,
    photo pixels, from the photo's middle on the surface). height.npy and relief.npy are float32 (H, W) in the photo's
    frame, in photo pixels as they are at its middle: the whole surface's height toward the camera, and what the marks
    alone changed (below 0: cut in). front.png is 255 where a string or pin hides the surface.
    """
    folder.mkdir(parents=True, exist_ok=True)
    spec = torch_spec(seed, difficulty, kind or RELIEF_KINDS[seed % len(RELIEF_KINDS)])
    scene = build(spec, seed)
    lights = torch_lights(spec, count, seed)
    rows = []
    for k, light in enumerate(lights):
        pixels, truth = light_and_take(scene, [light], seed=seed * 1000 + k)
        file = f"torch_{k:02d}.jpg"
        (folder / file).write_bytes(jpeg(pixels, SET_QUALITY))
        place = light_in_photo(spec, scene.frame, torches_of(scene.frame, [light])[0].position)
        rows.append([*truth_row(file, truth), quads_json(truth), *(f"{value:.1f}" for value in place)])
    np.save(folder / "height.npy", scene.in_photo(scene.height))
    np.save(folder / "relief.npy", scene.in_photo(scene.relief))
    hidden = scene.in_photo((np.abs(scene.surface.front) > 0.01).astype(np.float32)) > 0.5
    if not cv2.imwrite(str(folder / "front.png"), hidden.astype(np.uint8) * 255):
        raise OSError(f"{folder / 'front.png'} could not be written; is the disk full?")
    write_rows(folder / "labels.csv", (*COLUMNS, "quads", *LIGHT_COLUMNS), rows)

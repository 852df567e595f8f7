"""Render crops of strings with their labels, a whole batch at once: layout -> surface -> camera.

A crop is 48 pixels high and shows one main string with room around it (or a little cut off), whatever lies beside it,
and an empty label where nothing can be read: no marks, marks upside down, or marks too weak to be seen, which is
measured by shading the crop a second time without them (visibility.py).
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, replace
from pathlib import Path

import torch
from torch import Tensor

from tools.training import camera, surface, visibility
from tools.training.backdrop import make_backdrop
from tools.training.clutter import make_cells, make_clutter, make_frame
from tools.training.glyphs import CHARACTERS
from tools.training.layout import (
    FAR,
    HEIGHT,
    LENGTHS,
    NONE,
    SPACE,
    Atlas,
    Line,
    Pool,
    draw_strings,
    line_distance,
    load_atlas,
    make_pool,
    pick_styles,
    set_line,
    turn_wheels,
    uniform,
)
from tools.training.placing import fatten, line_places, place_lines, roll_wheels, strike_twice
from tools.training.strings import READ
from tools.training.tiles import make_bank

WIDTHS = tuple(LENGTHS)
WIDTH_SHARES = (0.06, 0.11, 0.2, 0.24, 0.2, 0.12, 0.07)
"""Share of batches of each width."""

DIM, EMPTY, TURNED = 0.08, 0.05, 0.03
"""Shares of crops that are dim, bare of marks, and upside down."""

STYLE_SHARES = {
    #             font hand-font punch hand digits segment
    "punched": (0.45, 0.0, 0.5, 0.04, 0.01, 0),
    "scratched": (0.0, 0.2, 0.08, 0.62, 0.1, 0),
    "cast": (0.75, 0.02, 0.23, 0, 0, 0),
    "coin": (0.75, 0.02, 0.23, 0, 0, 0),
    "painted": (0.4, 0.1, 0.2, 0.25, 0.05, 0),
    "inked": (0.5, 0.1, 0.25, 0.1, 0.05, 0),
    "chalked": (0.0, 0.15, 0.02, 0.6, 0.23, 0),
    "written": (0.0, 0.2, 0.0, 0.38, 0.42, 0),
    "printed": (0.93, 0.02, 0.02, 0, 0, 0.03),
    "wheels": (0.9, 0, 0.08, 0, 0, 0.02),
    "embossed": (0.8, 0, 0.2, 0, 0, 0),
}
"""Which styles lie on which surface."""

UPSIDE_DOWN_TELLS = (3, 4, 5, 6, 8)
"""Classes of the figures 2, 3, 4, 5 and 7, which read upside down are no figures."""


@dataclass
class Batch:
    """Gray levels (N, H, W) uint8 and labels (N, LONGEST) of classes with their lengths (N,).

    Of each crop also whether it counts, its kind of surface and how readable it is (visibility.py), (N,) each.
    """

    gray: Tensor
    labels: Tensor
    lengths: Tensor
    counts: Tensor
    kind: Tensor
    readable: Tensor


def true_strings(batch: Batch) -> list[str]:
    """Return the label of each crop as a string."""
    pairs = zip(batch.labels.tolist(), batch.lengths.tolist(), strict=True)
    return ["".join(READ[c - 1] for c in row[:length]) for row, length in pairs]


@dataclass
class Scene:
    """A batch whose surroundings are still to be drawn; `u`, `v` (N, H, W) are places along and across the line.

    `plain` (N,) tells which strings are figures only.
    """

    place: dict[str, Tensor]
    style: Tensor
    main: Line
    codes: Tensor
    plain: Tensor
    kind: Tensor
    u: Tensor
    v: Tensor


class CropRenderer:
    """Draws batches. `held` renders held-out styles (for validation) instead of the others."""

    def __init__(
        self,
        pack: Path,
        textures: Path | None,
        device: torch.device,
        *,
        seed: int,
        strings: int = 300_000,
        held: bool = False,
        most_styles: int | None = None,
    ) -> None:
        torch.manual_seed(seed)
        self.device = device
        self.atlas: Atlas = load_atlas(pack, device, held=held, most=most_styles)
        self.pool: Pool = make_pool(_strings(pack.with_name("strings.txt"), strings, seed, held), device)
        self.bank = make_bank(textures, seed).to(device)
        self._styles = torch.tensor([STYLE_SHARES[k] for k in surface.KINDS], device=device)
        self._loose = torch.tensor([0.5, 0.9, 0.15, 0.06, 0.6, 0.35, 0.9, 1.0, 0.05, 0.6, 0.06], device=device)

    @torch.no_grad()
    def render(self, n: int, width: int) -> Batch:
        """Return one batch of `n` crops of a width from WIDTHS."""
        device = self.device
        values = surface.draw_parameters(n, device)
        own = self.pool.by_width[width]
        pick = own[torch.randint(0, len(own), (n,), device=device)]
        shares = self._styles[values["kind"]]
        style = pick_styles(self.atlas, self.pool.plain[pick], shares)
        loose = self._loose[values["kind"]] * uniform((n,), 0.0, 1.0, device)
        main = set_line(self.atlas, self.pool.codes[pick], style, loose)
        roll_wheels(main, values["kind"] == surface.KINDS.index("wheels"))
        place = place_lines(main, width, device)
        u, v = line_places(place, values, width)
        bare = torch.rand(n, device=device) < EMPTY
        distance = line_distance(self.atlas, main, u.flatten(1), v.flatten(1), 1).view_as(u)
        distance = torch.where(bare[:, None, None], FAR, distance)
        distance = strike_twice(distance, values["kind"] == surface.KINDS.index("punched"))
        plain = self.pool.plain[pick]
        others = self._others(Scene(place, style, main, self.pool.codes[pick], plain, values["kind"], u, v))
        figure = place["figure"]
        dim = torch.arange(n, device=device) < int(n * DIM)
        _weaken(values, dim)
        fatten(values, self.pool.lengths[pick])
        ground = surface.make_ground(self.bank, values, width)
        extra, tint = make_clutter(values, u, v, main.length, width)
        image = surface.shade(values, ground, torch.minimum(distance, others), extra, figure)
        level = camera.noise_level(n, device)
        blank = surface.shade(values, ground, others, extra, figure)
        cells = make_cells(values, main, u, v)
        lone = (self.pool.codes[pick] >= 0).sum(1) == 1
        around = torch.where(bare, main.length.clamp_min(2.5), main.length)
        backdrop = make_backdrop(ground, u, v, around, place["far"])
        border = make_frame(ground, u, v, main.length)
        image, blank = (border(backdrop(cells(picture) * tint)) for picture in (image, blank))
        turned = torch.rand(n, device=device) < TURNED
        gray, pair, added = camera.photograph(image, blank, figure, level)
        ratio = visibility.readability(
            pair[0], pair[1], added, figure, main=main, codes=self.pool.codes[pick], u=u, v=v
        )
        ratio = torch.where(bare, 0.0, ratio)
        gray = torch.where(turned[:, None, None], gray.flip((1, 2)), gray)
        labels, lengths, counts = self._label(pick, bare, turned, ratio)
        counts = counts & ~(lone & ~bare & ~turned & (lengths == 0))  # an empty sign may look like a fat figure
        readable = torch.where(figure < visibility.LEAST_PX, ratio.clamp_max(visibility.SEEN), ratio)
        return Batch(gray.round().to(torch.uint8), labels, lengths, counts, values["kind"], readable)

    def _others(self, scene: Scene) -> Tensor:
        """Return distances to lines above and below, to cut neighbors, and to emblems and small letters in the line."""
        best = torch.full_like(scene.u, FAR)
        wheels = (scene.kind == surface.KINDS.index("wheels"))[:, None, None]
        plate = self._plates(scene)[:, None, None]
        far = scene.place["far"][:, None, None]
        for side in (-1.0, 1.0):
            share = torch.where(plate, 0.5, torch.where(far, 0.35, 0.3 if side > 0 else 0.2))
            shown = torch.rand(len(share), 1, 1, device=self.device) < share
            best = torch.where(shown & ~wheels, torch.minimum(best, self._second_line(scene, side)), best)
            rolled = turn_wheels(self.atlas, scene.main, scene.codes, scene.style, int(side))
            away = scene.v - side * uniform((len(share), 1, 1), 1.15, 1.5, self.device)
            found = line_distance(self.atlas, rolled, scene.u.flatten(1), away.flatten(1), 0).view_as(scene.u)
            best = torch.where(wheels, torch.minimum(best, found), best)
        best = torch.minimum(best, self._emblems(scene))
        return torch.minimum(best, self._neighbors(scene))

    def _plates(self, scene: Scene) -> Tensor:
        return (scene.kind == surface.KINDS.index("embossed")) | (scene.kind == surface.KINDS.index("printed"))

    def _second_line(self, scene: Scene, side: float) -> Tensor:
        """Return distances to a line above (side -1) or below (1), half of them in the main line's style and size.

        It is left out where it would be as large as the main line and nearer to the crop's middle: what is to be read
        is the line nearest to the middle.
        """
        device, n = self.device, len(scene.style)
        pick = torch.randint(0, len(self.pool.lengths), (n,), device=device)
        same = (torch.rand(n, device=device) < 0.5) & self.pool.plain[pick]
        shares = torch.tensor([[0.7, 0.06, 0.12, 0.06, 0.06, 0.0]], device=device).expand(n, -1)
        style = torch.where(same, scene.style, pick_styles(self.atlas, self.pool.plain[pick], shares))
        codes = self.pool.codes[pick].clone()
        codes[:, 1:] = torch.where(torch.rand(n, 1, device=device) < 0.15, NONE, codes[:, 1:])
        line = set_line(self.atlas, codes, style, torch.full((n,), 0.1, device=device))
        small, like = uniform((n, 1, 1), 0.3, 0.8, device), uniform((n, 1, 1), 0.85, 1.0, device)
        size = torch.where(same[:, None, None], like, small)
        gap = uniform((n, 1, 1), 0.12, 0.8, device)
        spare = (scene.main.length - line.length * size[:, 0, 0])[:, None, None]
        middle = 0.5 + side * (0.5 + gap + size / 2)
        crop = (HEIGHT / 2 / scene.place["figure"] - scene.place["up"])[:, None, None]
        allowed = (size < 0.7) | ((middle - crop).abs() > (0.5 - crop).abs() + 0.3)
        u = (scene.u - spare * uniform((n, 1, 1), -0.2, 1.2, device)) / size
        v = (scene.v - middle) / size + 0.5
        found = line_distance(self.atlas, line, u.flatten(1), v.flatten(1), 0).view_as(u) * size
        return torch.where(allowed, found, FAR)

    def _neighbors(self, scene: Scene) -> Tensor:
        """Return distances to characters at the crop's left and right edge, cut off: half of them in the line's style.

        A lone figure has them more often, and then up to two thirds of each may show.
        """
        device, n, length, u = self.device, len(scene.style), scene.main.length, scene.u
        codes = torch.full((n, 4), NONE, device=device)
        like = (torch.rand(n, device=device) < 0.6) & scene.plain
        most = torch.where(like, 10, 36)
        codes[:, 0], codes[:, 3] = ((torch.rand(n, device=device) * most).long() for _ in range(2))
        spare = self.atlas.styles["lettered"][torch.randint(0, len(self.atlas.styles["lettered"]), (n,), device=device)]
        style = torch.where(like, scene.style, spare)
        line = set_line(self.atlas, codes, style, torch.full((n,), 0.3, device=device))
        left, right = scene.place["left"], scene.place["right"]
        alone = (scene.codes >= 0).sum(1) == 1
        cut = torch.where(alone, uniform((2, n), -0.35, 0.9, device), uniform((2, n), 0.2, 0.9, device))
        line.center = torch.stack([left - line.half[:, 0] * cut[0], left, right, right + line.half[:, 3] * cut[1]], 1)
        line.center[:, 1], line.center[:, 2] = line.center[:, 0] + 0.01, line.center[:, 3] - 0.01
        share = torch.where(alone, torch.where(scene.kind == surface.KINDS.index("embossed"), 0.2, 0.55), 0.2)
        need = torch.where(alone[None], 0.1 - cut.clamp_max(0.0), torch.full_like(cut, 0.25))
        far_left = (left < -need[0]) & (torch.rand(n, device=device) < share)
        far_right = (right > length + need[1]) & (torch.rand(n, device=device) < share)
        rise = uniform((n, 1, 1), -0.2, 0.2, device) * (torch.rand(n, 1, 1, device=device) < 0.5)
        found = line_distance(self.atlas, line, u.flatten(1), (scene.v + rise).flatten(1), 1).view_as(u)
        middle = (length / 2)[:, None, None]
        shown = torch.where(u < middle, far_left[:, None, None], far_right[:, None, None])
        return torch.where(shown, found, FAR)

    def _emblems(self, scene: Scene) -> Tensor:
        """Return distances to small signs in the line's gaps, and to small letters before it, as plates carry them."""
        device, n = self.device, len(scene.style)
        plate = self._plates(scene)
        shown = torch.rand(n, device=device) < torch.where(plate, 0.6, 0.06)
        drawn = self.atlas.tables[scene.style][:, :, 0]
        sign = drawn.gather(1, torch.randint(0, drawn.shape[1], scene.codes.shape, device=device))
        gap = (scene.codes == SPACE) & shown[:, None]
        cell = torch.where(gap, sign, -1)
        size = uniform(cell.shape, 0.25, 0.55, device)
        emblem = replace(scene.main, cell=cell, size=size, drop=uniform(cell.shape, -0.2, 0.2, device))
        best = line_distance(self.atlas, emblem, scene.u.flatten(1), scene.v.flatten(1), 0).view_as(scene.u)
        codes = torch.full((n, 3), NONE, device=device)
        count = torch.randint(1, 4, (n, 1), device=device)
        letters = torch.randint(10, 36, (n, 3), device=device)
        codes = torch.where(torch.arange(3, device=device)[None] < count, letters, codes)
        lettered = self.atlas.styles["lettered"]
        line = set_line(
            self.atlas,
            codes,
            lettered[torch.randint(0, len(lettered), (n,), device=device)],
            torch.full((n,), 0.1, device=device),
        )
        size = uniform((n, 1, 1), 0.2, 0.5, device)
        u = (scene.u + line.length[:, None, None] * size + uniform((n, 1, 1), 0.15, 0.7, device)) / size
        level = uniform((n, 1, 1), 0.15, 1.0, device)
        v = (scene.v - level) / size + 0.5
        tag = line_distance(self.atlas, line, u.flatten(1), v.flatten(1), 0).view_as(u) * size
        tag = torch.minimum(tag, self._crest(u, (scene.v - level) / size + uniform((n, 1, 1), 1.1, 1.6, device)) * size)
        tagged = (torch.rand(n, device=device) < torch.where(plate, 0.5, 0.04))[:, None, None]
        return torch.minimum(self._seals(scene), torch.where(tagged, torch.minimum(best, tag), best))

    def _seals(self, scene: Scene) -> Tensor:
        """Return distances to two emblems, one above the other, in the first gap of two in five plates."""
        device, n = self.device, len(scene.style)
        gap = scene.codes == SPACE
        middle = scene.main.center.gather(1, gap.int().argmax(1, keepdim=True))[:, :, None]
        size = uniform((n, 1, 1), 0.25, 0.42, device)
        u = (scene.u - middle) / size + 0.6
        best = torch.full_like(scene.u, FAR)
        for level in (uniform((n, 1, 1), 0.1, 0.32, device), uniform((n, 1, 1), 0.62, 0.85, device)):
            best = torch.minimum(best, self._crest(u, (scene.v - level) / size + 0.5) * size)
        shown = self._plates(scene) & gap.any(1) & (torch.rand(n, device=device) < 0.4)
        return torch.where(shown[:, None, None], best, FAR)

    def _crest(self, u: Tensor, v: Tensor) -> Tensor:
        """Return distances to an emblem above the small letters: a ring, dots in a ring, one character, or none."""
        n, device = len(u), self.device
        away = torch.sqrt((u - 0.6) ** 2 + (v - 0.5) ** 2)
        ring = (away - 0.55).abs() - 0.08
        around = torch.atan2(v - 0.5, u - 0.6)
        dots = torch.sqrt((away - 0.55) ** 2 + (torch.sin(around * 5) * 0.1) ** 2) - 0.08
        codes = torch.randint(0, len(CHARACTERS), (n, 1), device=device)
        style = self.atlas.styles["lettered"][torch.randint(0, len(self.atlas.styles["lettered"]), (n,), device=device)]
        line = set_line(self.atlas, codes, style, torch.full((n,), 0.1, device=device))
        sign = line_distance(self.atlas, line, u.flatten(1), v.flatten(1), 0).view_as(u)
        roll = torch.rand(n, 1, 1, device=device)
        return torch.where(roll < 0.3, ring, torch.where(roll < 0.55, dots, torch.where(roll < 0.8, sign, FAR)))

    def _label(self, pick: Tensor, bare: Tensor, turned: Tensor, ratio: Tensor) -> tuple[Tensor, Tensor, Tensor]:
        """Return labels, their lengths and which crops count."""
        labels, lengths = self.pool.labels[pick], self.pool.label_lengths[pick]
        tells = torch.stack([(labels == c).sum(1) for c in UPSIDE_DOWN_TELLS]).sum(0)
        empty = bare | turned | (ratio < visibility.UNSEEN)
        doubtful = (ratio >= visibility.UNSEEN) & (ratio < visibility.SEEN)
        counts = ~(turned & (tells < 2)) & ~doubtful | bare
        return labels * ~empty[:, None], lengths * ~empty, counts


def _strings(stored: Path, count: int, seed: int, held: bool) -> list[str]:
    """Return strings from a file drawn beforehand (python -m tools.training.crops), else draw them now."""
    if stored.exists() and not held:
        return stored.read_text(encoding="utf-8").split("\n")[:count]
    return draw_strings(count, seed)


def _weaken(values: dict[str, Tensor], dim: Tensor) -> None:
    """Make the marks of the dim crops faint, by up to fifty times."""
    factor = torch.exp(uniform(dim.shape, -3.9, -0.7, dim.device))
    for name in ("depth", "ink"):
        values[name] = torch.where(dim, values[name] * factor, values[name])


def main() -> None:
    """Draw strings into a file beforehand, which saves half a minute of each start on a lent GPU."""
    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("--count", type=int, default=300_000)
    options = parser.parse_args()
    options.out.write_text("\n".join(draw_strings(options.count, 5)), encoding="utf-8")


if __name__ == "__main__":
    main()

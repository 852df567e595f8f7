"""How a person draws figures: own forms, one movement after the other, with speed and pressure; not a font's outline.

Every person (`FigureStyle.hand`, a number) has forms, a slant, a size that drifts, a speed and a way to hold the tool.
A stroke is a path through a few places; the faster the hand, the more its corners round off. Speed follows the
two-thirds power law (Lacquaniti, Terzuolo and Viviani 1983: speed grows with the radius of curvature to the power of
one third), pressure falls with speed, and a hasty stroke flies off at its end. Each tool makes its own width of that:
chalk by its worn edge, a nib by the downstroke, a brush by its flat. A knife in varnish cannot follow a curve: it cuts
chords, runs over at their ends and goes over them again.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from tools.renderer.alphabet import glyph
from tools.renderer.handforms import FORMS, LETTER_GAP
from tools.renderer.noise import Rng
from tools.renderer.spec import FigureStyle, Floats
from tools.renderer.strokes import Character, Stroke

STEP = 0.02
"""Distance of a path's points over figure height."""
BLANK = 0.45
"""A blank's width over figure height."""


@dataclass(frozen=True)
class Person:
    """One hand. `speed` 0 is careful, 1 hasty; `edge_rad` the direction in which a chalk or brush makes no width."""

    number: int
    slant: float
    wide: float
    speed: float
    tremor: float
    climb: float
    growth: float
    edge_rad: float
    knife: bool

    def form(self, character: str, rng: Rng) -> tuple[Floats, ...]:
        """Return this person's strokes for a character, now and then another of the forms."""
        if character not in FORMS:
            return glyph(character, FigureStyle()).strokes
        forms = FORMS[character]
        own = int(np.random.default_rng([self.number, ord(character)]).integers(len(forms)))
        return forms[own if rng.random() < 0.93 else int(rng.integers(len(forms)))]


def person(number: int) -> Person:
    """Return the person of a number; the same every time."""
    rng = np.random.default_rng([number, 41])
    return Person(
        number,
        float(rng.normal(0.12, 0.14)),
        float(rng.uniform(0.8, 1.2)),
        float(rng.uniform(0.1, 1.0)),
        float(rng.uniform(0.2, 1.0)),
        float(rng.normal(0, 0.035)),
        float(rng.normal(0, 0.03)),
        float(rng.normal(-0.75, 0.3)),
        bool(rng.random() < 0.6),
    )


def write_string(text: str, style: FigureStyle, height_px: float, technique: str, rng: Rng) -> list[Character]:
    """Return the characters of a string as the style's person writes them, from (0, 0), in pixels."""
    who = person(style.hand)
    characters: list[Character] = []
    pen, line = 0.0, 0.0
    for place, letter in enumerate(text):
        if letter == " ":
            pen += BLANK
            continue
        size = 1 + who.growth * place + float(rng.normal(0, 0.045))
        line += float(rng.normal(0, 0.018))
        paths = [_move(points, who, rng) for points in _shaken(who.form(letter, rng), rng)]
        low = min(float(p[:, 0].min()) for p, _ in paths)
        wide = max(float(p[:, 0].max()) for p, _ in paths) - low
        strokes: list[Stroke] = []
        for points, pressure in paths:
            upright = (points - np.array([low, 0.5], np.float32)) * np.float32(size) + np.array([0, 0.5], np.float32)
            upright[:, 0] = upright[:, 0] * who.wide * style.stretch - (upright[:, 1] - 0.5) * (who.slant + style.slant)
            placed = upright + np.array([pen, line - who.climb * pen], np.float32)
            strokes += _with_tool(placed.astype(np.float32), pressure, technique, style.weight, who, rng=rng)
        scaled = tuple(_times(s, height_px) for s in strokes)
        characters.append(Character(letter, scaled, rng.standard_normal(4, dtype=np.float32)))
        gap = LETTER_GAP.get(letter, 1.0) * style.spacing + 0.5 * style.weight
        pen += wide * size * who.wide * style.stretch + max(0.03, gap + float(rng.normal(0, 0.035)))
    return characters


def _times(stroke: Stroke, height_px: float) -> Stroke:
    scale = np.float32(height_px)
    return Stroke(stroke.points * scale, stroke.widths * scale, stroke.pressures)


def _shaken(strokes: tuple[Floats, ...], rng: Rng) -> list[Floats]:
    """Return one writing of a form: turned, squeezed and bent a little as a whole, its strokes not quite meeting."""
    turn, wide, tall = rng.normal(0, 0.05), rng.normal(1, 0.07), rng.normal(1, 0.04)
    matrix = np.array([[wide, -turn], [turn * 0.4, tall]])
    wave, phase, bend = rng.uniform(2, 5, 2), rng.uniform(0, 6.3, 2), rng.normal(0, 0.022, 2)
    out = []
    for points in strokes:
        p = (points - 0.5) @ matrix.T + 0.5
        p = p + bend * np.sin(wave * p[:, ::-1] + phase) + rng.normal(0, 0.014, 2)
        out.append(p.astype(np.float32))
    return out


def _smooth(values: Floats, sigma: float) -> Floats:
    """Blur along the first axis, ends held in place by mirroring them through the end point."""
    reach = min(int(3 * sigma) + 1, len(values) - 1)
    head = 2 * values[:1] - values[reach:0:-1]
    tail = 2 * values[-1:] - values[-2 : -reach - 2 : -1]
    kernel = cv2.getGaussianKernel(2 * reach + 1, sigma)[:, 0]
    padded = np.concatenate([head, values, tail])
    columns = padded.reshape(len(padded), -1)
    out = np.stack([np.convolve(c, kernel, "valid") for c in columns.T], 1).reshape(values.shape)
    return out.astype(np.float32)


def _resample(points: Floats) -> Floats:
    """Return the path with points STEP apart."""
    run = np.r_[0, np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))]
    at = np.linspace(0, run[-1], max(8, round(float(run[-1]) / STEP)))
    return np.stack([np.interp(at, run, points[:, axis]) for axis in (0, 1)], 1).astype(np.float32)


def _move(points: Floats, who: Person, rng: Rng) -> tuple[Floats, Floats]:
    """Return the path that the hand really takes, and the pressure along it."""
    path = _resample(points)
    speed = who.speed * float(rng.uniform(0.7, 1.2))
    path = _smooth(path, 0.8 + 2.6 * speed)
    shiver = rng.standard_normal(path.shape, dtype=np.float32)
    path = path + _smooth(shiver, 4.0) * np.float32(0.010 * who.tremor) + shiver * np.float32(0.0012 * who.tremor)
    if len(path) > 12 and rng.random() < 0.5 * speed:  # the end flies on
        more = int(rng.integers(2, 7))
        path = np.concatenate([path, path[-1] + np.arange(1, more + 1)[:, None] * (path[-1] - path[-3]) / 2])
    heading = np.unwrap(np.arctan2(*np.gradient(path, axis=0).T[::-1]))
    curvature = np.abs(_smooth(np.gradient(heading).astype(np.float32) / STEP, 2.0))
    pace = _smooth(((curvature + 0.8) ** (-1 / 3)).astype(np.float32), 2.0)
    ends = np.minimum(np.arange(len(path)) + 1.0, 6) / 6
    pace = pace * ends
    pressure = 1.22 - 0.5 * speed * pace - 0.12 * pace
    pressure += _smooth(rng.standard_normal(len(path), dtype=np.float32), 6.0) * 0.25
    leave = np.minimum(np.arange(len(path))[::-1] / (2.0 + 12.0 * speed), 1.0)
    return path.astype(np.float32), np.clip(pressure * (0.3 + 0.7 * leave), 0.12, 1.5).astype(np.float32)


def _with_tool(path: Floats, pressure: Floats, technique: str, weight: float, who: Person, *, rng: Rng) -> list[Stroke]:
    """Return what a tool leaves of one movement."""
    if technique == "scratch":
        return _cuts(path, pressure, weight, who, rng)
    way = np.gradient(path, axis=0)
    way = way / (np.linalg.norm(way, axis=1, keepdims=True) + 1e-6)
    turned = np.abs(way[:, 0] * np.sin(who.edge_rad) - way[:, 1] * np.cos(who.edge_rad))
    if technique == "chalk":
        share = (0.5 + 0.55 * turned) * (0.82 + 0.2 * pressure)
    elif technique == "brush":
        share = (0.42 + 0.62 * turned) * (0.5 + 0.5 * pressure)
    elif technique == "write":  # the slit nib opens where it is drawn down
        share = (0.30 + 0.75 * np.clip(way[:, 1], 0, 1) ** 1.5 * pressure) * (0.7 + 0.3 * pressure)
    else:
        share = 0.75 + 0.3 * pressure
    widths = _smooth(share.astype(np.float32), 1.5) * np.float32(weight)
    return [Stroke(path, widths, pressure)]


def _cuts(path: Floats, pressure: Floats, weight: float, who: Person, rng: Rng) -> list[Stroke]:
    """Return the passes of a knife (chords that run over) or an awl (a jumping curve), thin at their ends."""
    passes = []
    for _ in range(1 + int(rng.integers(0, 3))):
        shift = rng.normal(0, 0.007, 2).astype(np.float32)
        if who.knife:
            pieces = _chords(path, rng)
        else:
            jump = np.round(_smooth(rng.standard_normal(path.shape, dtype=np.float32), 3.0) * 3) * np.float32(0.006)
            first, last = (int(rng.integers(0, max(1, len(path) // 10))) for _ in range(2))
            pieces = [(path + jump)[first : len(path) - last]]
        for piece in pieces:
            push = float(rng.uniform(0.8, 1.3)) * max(0.75, float(pressure.mean()))
            rise = np.minimum(np.arange(len(piece)) / 2.0 + 0.4, 1)
            fall = np.minimum(np.arange(len(piece))[::-1] / (0.35 * len(piece)) + 0.3, 1)
            chatter = 1 + 0.18 * rng.standard_normal(len(piece))
            share = np.clip(rise * fall * chatter, 0.12, 1.3) * push
            passes.append(
                Stroke(
                    (piece + shift).astype(np.float32),
                    (share * weight).astype(np.float32),
                    np.clip(share * 1.1, 0.1, 1.5).astype(np.float32),
                )
            )
    return passes


def _chords(path: Floats, rng: Rng) -> list[Floats]:
    """Cut a curve into straight strokes as a knife does: short where it bends much, overrun at both ends."""
    pieces, start = [], 0
    heading = np.unwrap(np.arctan2(*np.gradient(path, axis=0).T[::-1]))
    while start < len(path) - 2:
        bend = float(rng.uniform(0.6, 1.3))
        ahead = np.flatnonzero(np.abs(heading[start:] - heading[start]) > bend)
        end = min(start + (int(ahead[0]) if len(ahead) else len(path)), len(path) - 1)
        end = max(end, min(start + 4, len(path) - 1))
        a, b = path[start], path[end]
        over = np.clip(rng.normal(0.03, 0.04, 2), -0.02, 0.12)
        way = (b - a) / (np.linalg.norm(b - a) + 1e-6)
        steps = np.linspace(0, 1, max(6, int(np.linalg.norm(b - a) / 0.04)))[:, None]
        middle = path[(start + end) // 2] - (a + b) / 2
        bow = 4 * steps * (1 - steps) * middle * 0.45  # the wrist gives some of the curve
        pieces.append((a - way * over[0]) + steps * (b - a + way * over.sum()) + bow)
        start = end
    return pieces

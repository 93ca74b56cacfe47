"""Surfaces: skin, weave, knit, hair, timber and steel."""

from collections.abc import Callable

import numpy as np

from scenery.canvas import Canvas, Colour, Window
from scenery.noise import Field, octaves, smoothstep
from scenery.relief import SKIN_WRAP, Material, Paint

TURN = np.float32(2 * np.pi)


def _shape(x: Field, y: Field) -> tuple[int, int]:
    return (y.shape[0], x.shape[1])


def _step(x: Field) -> float:
    return float(x[0, 1] - x[0, 0]) if x.shape[1] > 1 else 1.0


def texture(name: str, cell: tuple[float, float], height: float, count: int = 5) -> Paint:
    """A bump of fractal noise, in full-size pixels."""

    def bump(x: Field, y: Field) -> Field:
        step = _step(x)
        size = (cell[0] / step, cell[1] / step)
        return octaves(_shape(x, y), size, name, count, 0.6) * np.float32(height)

    return bump


def creases(name: str, cell: tuple[float, float], height: float) -> Paint:
    """Cloth that has been folded: sharp valleys between soft swellings."""
    broad = texture(name + " swell", cell, 1.0, 2)

    def bump(x: Field, y: Field) -> Field:
        n = broad(x, y)
        return np.asarray(np.sqrt(n * n + np.float32(0.03)) * np.float32(height), np.float32)

    return bump


def together(*paints: Paint) -> Paint:
    """The sum of several bumps."""

    def total(x: Field, y: Field) -> Field:
        out: Field = np.zeros(_shape(x, y), np.float32)
        for paint in paints:
            out = out + paint(x, y)
        return out

    return total


def weave(pitch: float, height: float, angle: float = 0.0) -> Paint:
    """Plain weave: threads over and under, `pitch` full-size pixels apart."""
    c, s = np.float32(np.cos(np.radians(angle))), np.float32(np.sin(np.radians(angle)))

    def bump(x: Field, y: Field) -> Field:
        u, v = (x * c + y * s) * (TURN / pitch), (y * c - x * s) * (TURN / pitch)
        return np.asarray(np.float32(height) * np.abs(np.sin(u) * np.sin(v)), np.float32)

    return bump


def knit(pitch: float, height: float, ribs: float = 0.0) -> Paint:
    """Stockinette: columns of V stitches; `ribs` adds a rib every that many columns."""

    def bump(x: Field, y: Field) -> Field:
        sway = octaves(_shape(x, y), (pitch * 4 / _step(x),) * 2, "knit sway", 2)
        u = (x + sway * np.float32(pitch * 0.1)) / np.float32(pitch)
        across = u - np.floor(u) - np.float32(0.5)
        lean = np.abs(across) * np.float32(1.5)
        stitch = np.float32(0.5) + np.float32(0.5) * np.cos(
            TURN * (y / np.float32(pitch * 0.8) + lean)
        )
        side = np.abs(np.sin(TURN * u))
        out = np.float32(height) * side * (np.float32(0.35) + stitch)
        if ribs:
            out = out + np.float32(height * 1.4) * np.cos(TURN * u / np.float32(ribs))
        return np.asarray(out, np.float32)

    return bump


def mottled(colour: Colour, name: str, cell: float, amount: float, tint: Colour) -> Paint:
    """A colour that wanders towards a tint."""

    def ink(x: Field, y: Field) -> Field:
        step = _step(x)
        n = octaves(_shape(x, y), (cell / step, cell / step), name, 6, 0.62)
        base, other = np.asarray(colour, np.float32), np.asarray(tint, np.float32)
        share = np.clip(n * np.float32(0.4) + np.float32(0.5), 0, 1) * np.float32(amount)
        return np.asarray(base + (other - base) * share[..., None], np.float32)

    return ink


def skin(colour: Field, name: str, size: float = 1.0) -> Material:
    """Skin: a warm mottle, pores, a soft terminator and a slight sheen."""
    flush = colour * np.array([1.04, 0.70, 0.62], np.float32)
    return Material(
        mottled(colour, name, 90 * size, 0.55, flush),
        bump=texture(name + " pores", (8 * size, 8 * size), 0.13 * size, 3),
        gloss=0.10,
        shininess=14,
        wrap=SKIN_WRAP,
    )


def hair(colour: Field, name: str, length: float = 120, angle_down: bool = True) -> Material:
    """Locks of hair, dark between and a little glossy."""
    cell = (length, 6.0) if angle_down else (6.0, length)
    dark = colour * np.float32(0.45)
    return Material(
        mottled(colour, name, 40, 0.8, dark),
        bump=texture(name, cell, 2.6, 3),
        gloss=0.09,
        shininess=9,
        wrap=(0.1, 0.08, 0.06),
    )


def cloth(
    colour: Colour | Paint, name: str, pitch: float = 7, folds: float = 6.0, cell: float = 160
) -> Material:
    """Woven cloth with soft folds."""
    return Material(
        colour,
        bump=together(
            weave(pitch, pitch * 0.16, 12), texture(name + " folds", (cell, cell * 0.6), folds, 3)
        ),
        wrap=(0.12, 0.12, 0.12),
    )


def banded(base: Colour, bands: list[tuple[float, float, Colour]], slope: float = 0.0) -> Paint:
    """Bands of colour across y + slope x: (from, to, colour)."""

    def ink(x: Field, y: Field) -> Field:
        place = y + np.float32(slope) * x
        out = np.broadcast_to(np.asarray(base, np.float32), (*_shape(x, y), 3)).copy()
        for low, high, colour in bands:
            edge = max(1.0, _step(x))
            inside = smoothstep(low - edge, low + edge, place)
            inside = inside * (1 - smoothstep(high - edge, high + edge, place))
            out += (np.asarray(colour, np.float32) - out) * inside[..., None]
        return out

    return ink


def timber(
    light: Field,
    dark: Field,
    name: str,
    ring: float = 34.0,
    angle: float = 0.0,
    length: float = 2048,
) -> Paint:
    """Long grain: rings that wander slowly along the plank, and fine pores."""
    c, s = np.float32(np.cos(np.radians(angle))), np.float32(np.sin(np.radians(angle)))

    def ink(x: Field, y: Field) -> Field:
        u, v = x * c + y * s, y * c - x * s
        step = _step(x)
        wander = _sampled(u, v, name, (ring * 8, length), step)
        phase = v / np.float32(ring) + wander * np.float32(1.7)
        saw = phase - np.floor(phase)
        late = smoothstep(0.45, 0.93, saw) * (1 - smoothstep(0.95, 1.0, saw))
        fibre = _sampled(u, v, name + " fibre", (4.0, length / 6), step)
        broad = _sampled(u, v, name + " broad", (ring * 3, length), step)
        share = np.clip(late * 0.62 + fibre * 0.10 + broad * 0.08 + 0.12, 0, 1)[..., None]
        return np.asarray(light + (dark - light) * share, np.float32)

    return ink


def fibres(name: str, angle: float, height: float, length: float = 256) -> Paint:
    """A bump of fine ridges along the grain, `angle` degrees clockwise."""
    c, s = np.float32(np.cos(np.radians(angle))), np.float32(np.sin(np.radians(angle)))

    def bump(x: Field, y: Field) -> Field:
        u, v = x * c + y * s, y * c - x * s
        return _sampled(u, v, name, (4.0, length), _step(x)) * np.float32(height)

    return bump


def _sampled(u: Field, v: Field, name: str, cell: tuple[float, float], step: float) -> Field:
    """Noise in a turned frame: made upright, then looked up (its cells are far longer than
    they are wide, so the nearest sample along the grain is near enough)."""
    long_step = np.float32(max(step, cell[1] / 64))
    u0, v0 = float(u.min()), float(v.min())
    rows = int((float(v.max()) - v0) / step) + 2
    columns = int((float(u.max()) - u0) / float(long_step)) + 2
    field = octaves((rows, columns), (cell[0] / step, cell[1] / float(long_step)), name, 5, 0.55)
    place = (u - np.float32(u0)) / long_step
    left = np.floor(place)
    share = place - left
    row = ((v - np.float32(v0)) / np.float32(step)).astype(np.int32)
    column = np.minimum(left.astype(np.int32), columns - 2)
    near: Field = field[row, column] * (1 - share) + field[row, column + 1] * share
    return near


def surroundings(
    sky: Colour, high: Colour, far: Colour, near: Colour, line: float = 0.0
) -> Callable[[Field, Field], Field]:
    """What polished metal mirrors: bright sky above, a dark far shore, wet ground below."""

    def seen(up: Field, right: Field) -> Field:
        up = np.asarray(up - np.float32(line), np.float32)
        s, h, f, n = (np.asarray(c, np.float32) for c in (sky, high, far, near))
        above = smoothstep(0.04, 0.16, up + 0.03 * np.sin(right * 23))[..., None]
        top = smoothstep(0.15, 1.3, up)[..., None]
        ground = np.clip(-up * 1.6, 0, 1)[..., None]
        out = f + (n - f) * ground
        out = out + (s + (h - s) * top - out) * above
        window = np.exp(-(((right + 0.45) / 0.16) ** 2)) * smoothstep(0.1, 0.5, up)
        return np.asarray(out + window[..., None] * np.float32(0.55), np.float32)

    return seen


def planks(
    canvas: Canvas, window: Window, colours: tuple[Field, Field], pitch: float, name: str
) -> Field:
    """Albedo of lapped weatherboards; returns colour for every pixel of the window."""
    x, y = canvas.x(window), canvas.y(window)
    board = np.floor(y / np.float32(pitch))
    tone = np.asarray(np.sin(board * 12.9898) * 43758.5453, np.float32)
    tone = (tone - np.floor(tone)) * np.float32(0.3) + np.float32(0.85)
    grain = canvas.noise(window, (8, 512), name, 4, 0.6)
    weather = canvas.noise(window, (256, 128), name + " weather", 6, 0.6)
    share = np.clip(0.4 + 0.16 * grain + 0.2 * weather, 0, 1)[..., None]
    colour = colours[0] + (colours[1] - colours[0]) * share
    lap = y / np.float32(pitch) - board
    lip = np.clip(lap * 9, 0.25, 1) * (1 - 0.25 * smoothstep(0.85, 1.0, lap))
    return np.asarray(colour * (tone * lip * np.ones_like(x))[..., None], np.float32)

"""A silver cup on the wet slipway: a telephone snapshot."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw

from scenery.canvas import Canvas, Colour, Point, Window, lettering, outline, polygon, spline, srgb
from scenery.cloth import surroundings, texture, timber
from scenery.files import develop, eight_bit, exif, sensor_noise, write_jpeg
from scenery.nature import Reflection, Waves, clouds, floating, foliage, gradient, water, wood
from scenery.noise import Field, blur, smoothstep
from scenery.relief import Light, Material, Relief, stroke

SIZE = (1200, 1600)
LIGHT = Light((-0.5, -0.65, 0.55), (1.05, 0.96, 0.84), (0.36, 0.41, 0.5), (0.15, 0.14, 0.13))
CENTRE, TILT = 590.0, 0.15
HORIZON, SHORE, FOOT = 330.0, 640.0, 1330.0
# (y on the axis, radius): lip, bowl, stem with its knop, foot
PROFILE = (
    (402, 214),
    (410, 206),
    (440, 196),
    (560, 190),
    (680, 174),
    (760, 142),
    (815, 92),
    (842, 48),
    (862, 31),
    (884, 30),
    (900, 52),
    (916, 52),
    (934, 30),
    (978, 27),
    (1020, 38),
    (1052, 84),
    (1072, 124),
    (1086, 132),
    (1100, 130),
)
SILVER = surroundings(
    (0.80, 0.86, 0.93), (0.50, 0.62, 0.82), (0.05, 0.065, 0.05), (0.17, 0.16, 0.145)
)


def draw(path: Path, reduce: int = 1) -> None:
    """River and slipway, then the cup and what the wet stone mirrors of it."""
    canvas = Canvas(*SIZE, reduce)
    _background(canvas)
    _slipway(canvas)
    things = Canvas(*SIZE, reduce, layer=True)
    _plinth(things)
    _handles(things)
    _cup(things)
    _ribbons(things)
    _wet(canvas, things)
    _ground_shadow(canvas)
    canvas.lay(things)
    develop(canvas, 1.05, 0.8)
    sensor_noise(canvas, "cup", 0.009)
    _write(canvas, path)


def _write(canvas: Canvas, path: Path) -> None:
    main = {270: "Cup on the slipway", 271: "Marram", 272: "Marram Pocket", 274: 1}
    camera = {0x9003: "2026:06:14 18:42:07", 0xA001: 1, 0x829A: (1, 240), 0x8827: 64}
    codes = eight_bit(canvas, "cup")
    write_jpeg(codes, path, 85, None, exif(main, camera, gps=True), "4:2:0")


def _background(canvas: Canvas) -> None:
    gradient(canvas, canvas.box(0, 0, 1200, SHORE), [(0, srgb("84a9d0")), (330, srgb("d9dfe0"))])
    clouds(canvas, canvas.box(0, 0, 1200, 360), "cup sky", (128, 256), 0.2, opacity=0.9)
    greens = [srgb("4d6a35"), srgb("71803c"), srgb("3d5b3a")]
    foliage(
        canvas,
        wood("cup far", -60, 1260, 392, (60, 130), (50, 110), 40),
        "cup far",
        greens,
        LIGHT,
        srgb("bccbd2"),
        0.5,
        6,
        4,
    )
    foliage(
        canvas,
        wood("cup near", -60, 470, 404, (90, 230), (60, 120), 60),
        "cup near",
        greens,
        LIGHT,
        srgb("bccbd2"),
        0.15,
        8,
        4,
    )
    bank = canvas.rgb.copy()
    river = canvas.box(0, 402, 1200, SHORE + 20)
    slopes = Waves("cup river", 1.7).rows(canvas, river, HORIZON, 0.09, 0.3)
    water(
        canvas,
        river,
        HORIZON,
        slopes * 0.8,
        [Reflection(bank, 404)],
        srgb("35443c"),
        (40, 120),
        (0.9, 0.5),
    )
    for x in (900.0, 1010.0):
        stroke(canvas, [(x, 300, 6), (x + 2, 470, 7)], srgb("3d3329"), 1)
    canvas.soften(canvas.box(0, 0, 1200, SHORE + 20), 5.5)


def _slipway(canvas: Canvas) -> None:
    """Granite setts running down into the water, in perspective."""
    window = canvas.box(0, 590, 1200, 1600)
    x, y = canvas.x(window), canvas.y(window)
    near = (y - np.float32(HORIZON)) / 1000
    v = 1.9 / near
    row = np.floor(v * 5.2)
    u = (
        (x - np.float32(760)) / (near * 200)
        + (row % 2) * np.float32(0.5)
        + np.sin(row * 7.1) * np.float32(0.13)
    )
    column = np.floor(u)
    edge_u, edge_v = np.abs(u - column - 0.5) * 2, np.abs(v * 5.2 - row - 0.5) * 2
    rough = canvas.noise(window, (16, 32), "setts", 6, 0.72)
    joint = smoothstep(0.80, 0.97, np.maximum(edge_u, edge_v) + rough * np.float32(0.045))
    pick = np.sin(row * 12.9898 + column * 78.233) * 43758.547
    tone = np.asarray(0.8 + 0.4 * (pick - np.floor(pick)), np.float32)
    crown = 1 - np.float32(0.35) * (edge_u**4 + edge_v**4)
    stone = srgb("7b766f") * (tone * crown * (1 + np.float32(0.13) * rough))[..., None]
    moss = smoothstep(0.2, 1.6, canvas.noise(window, (64, 128), "moss", 5, 0.6) - (y - 760) / 300)
    stone += (srgb("4c5a33") - stone) * (moss * np.float32(0.65))[..., None]
    stone *= (1 - joint * np.float32(0.78))[..., None]
    wavy = canvas.noise(window, (32, 256), "slip edge", 4, 0.5) * 9
    cover = smoothstep(628, 640, y + wavy)
    canvas.over(window, stone * np.float32(0.62), cover)
    foam = np.exp(-(((y + wavy - 634) / 6) ** 2)) * smoothstep(-0.4, 1.2, rough)
    canvas.over(window, (0.75, 0.8, 0.82), foam * np.float32(0.75))
    far = np.clip((760 - y) / 160, 0, 1)
    soft = np.stack(
        [blur(canvas.rgb[window.slices][..., i], 3.0 / canvas.reduce) for i in range(3)], -1
    )
    part = canvas.rgb[window.slices]
    part += (soft - part) * far[..., None]


def _wet(canvas: Canvas, things: Canvas) -> None:
    window = canvas.box(0, 640, 1200, 1600)
    stone = canvas.rgb[window.slices].copy()
    x, y = canvas.x(window), canvas.y(window)
    light = stone @ np.array([0.3, 0.6, 0.1], np.float32)
    bump = blur(light, 1.2)
    gy, gx = np.gradient(bump)
    waves = canvas.noise(window, (16, 32), "wet", 4, 0.5)
    slopes = np.stack([gx * 6 + waves * 0.10, gy * 6 + waves * 0.14], -1).astype(np.float32)
    scene = canvas.rgb.copy()
    mirrored = [Reflection(scene, 700, 0.75), floating(things, FOOT, (0, 0, 1200), 3)]
    water(canvas, window, HORIZON, slopes, mirrored, (0, 0, 0), (26, 60), (1, 1))
    pool = smoothstep(
        -0.1, 1.0, canvas.noise(window, (128, 256), "pools", 5, 0.55) + np.float32(0.25)
    )
    away = np.clip((1600 - y) / 960, 0, 1)
    share = np.clip((0.10 + 0.42 * pool) * (0.5 + 0.7 * away) * (0.35 + 2.4 * light), 0, 0.75)
    foot = np.exp(-(((x - np.float32(CENTRE)) / 230) ** 4)) * smoothstep(FOOT - 30, FOOT, y)
    share = np.maximum(share, foot * (np.float32(0.34) + np.float32(0.2) * pool))
    part = canvas.rgb[window.slices]
    part *= share[..., None]
    part += stone * (1 - share * np.float32(0.55))[..., None]


def _ground_shadow(canvas: Canvas) -> None:
    window = canvas.box(200, 1180, 1200, 1500)
    x, y = canvas.x(window), canvas.y(window)
    d = np.hypot((x - np.float32(650)) / 250, (y - np.float32(1316)) / 44)
    long = np.hypot((x - np.float32(820) - (1316 - y)) / 330, (y - np.float32(1290)) / 60)
    dark = np.maximum(1 - smoothstep(0.72, 1.12, d), 0.65 * (1 - smoothstep(0.4, 1.1, long)))
    canvas.stain(window, (0.10, 0.10, 0.12), dark * np.float32(0.92))


def _turned(
    canvas: Canvas, window: Window, profile: tuple[tuple[float, float], ...]
) -> tuple[Field, Field, Field, Field]:
    """Place on the axis, share across, slope and cover of a turned body seen from above."""
    line = spline(profile, 12)
    ys, rs = line[:, 0], line[:, 1]
    x, y = canvas.x(window) - np.float32(CENTRE), canvas.y(window)
    axis = y * np.ones_like(x)
    for _ in range(5):
        r = np.interp(axis, ys, rs).astype(np.float32)
        axis = y - np.float32(TILT) * np.sqrt(np.maximum(r * r - x * x, 0))
    inside = (axis > ys[0]) & (axis < ys[-1])
    cover = np.clip((r - np.abs(x)) / canvas.reduce + 0.5, 0, 1) * inside
    slope = np.interp(axis, ys, np.gradient(rs, ys)).astype(np.float32)
    return axis, np.clip(x / r, -0.999, 0.999), slope, cover.astype(np.float32)


def _cup(canvas: Canvas) -> None:
    window = canvas.box(CENTRE - 240, 360, CENTRE + 240, 1140)
    axis, across, slope, cover = _turned(canvas, window, PROFILE)
    dents = canvas.noise(window, (64, 64), "cup dents", 4, 0.5) * np.float32(0.010)
    colour = _silver(axis, across, slope, dents)
    colour *= (1 - _engraving(axis, across) * np.float32(0.62))[..., None]
    for ring in (470.0, 482.0, 700.0):
        groove = np.exp(-(((axis - ring) / 1.8) ** 2)) - 0.7 * np.exp(
            -(((axis - ring - 4) / 1.8) ** 2)
        )
        colour *= (1 - np.float32(0.55) * groove)[..., None]
    canvas.over(window, colour, cover)
    _mouth(canvas)


def _silver(axis: Field, across: Field, slope: Field, dents: Field) -> Field:
    nx, nz = across + dents, np.sqrt(1 - across * across)
    size = 1 / np.sqrt(1 + slope * slope)
    nx, ny, nz = nx * size, -slope * size, nz * size
    up = -2 * ny * nz + np.float32(TILT) * nz
    right = 2 * nx * nz
    wander = np.float32(0.05) * np.sin(right * 9 + 1) + np.float32(0.03) * np.sin(
        right * 23 + axis * 0.011
    )
    colour = SILVER(
        np.asarray(up * np.float32(1.2) + np.float32(0.20) + wander + 0.10 * across, np.float32),
        right,
    )
    rim = np.float32(0.55) + np.float32(0.45) * np.sqrt(1 - across**2)
    tall = np.exp(-(((across + 0.52) / 0.05) ** 2)) + 0.5 * np.exp(-(((across - 0.70) / 0.03) ** 2))
    self_seen = np.exp(-(((across - 0.06) / 0.055) ** 2)) * np.exp(-((up / 0.28) ** 2))
    colour *= (rim * (1 - 0.6 * self_seen))[..., None]
    return np.asarray(colour + (tall * np.float32(0.45))[..., None], np.float32)


def _engraving(axis: Field, across: Field) -> Field:
    """Letters cut into the bowl, bent round it."""
    angle = np.arcsin(across)
    ink: Field = np.zeros(axis.shape, np.float32)
    for text, y, height, half in (
        ("TERN QUAY", 530.0, 46.0, 0.80),
        ("REGATTA", 592.0, 34.0, 0.52),
        ("CENTENARY CUP", 640.0, 22.0, 0.55),
    ):
        mask = blur(np.asarray(lettering(text, 150, 0.09), np.float32) / 255, 1.4)
        row = (axis - np.float32(y)) / np.float32(height) * mask.shape[0]
        column = (angle + np.float32(half)) / np.float32(2 * half) * mask.shape[1]
        good = (row >= 0) & (row < mask.shape[0] - 1) & (column >= 0) & (column < mask.shape[1] - 1)
        r, c = np.where(good, row, 0).astype(int), np.where(good, column, 0).astype(int)
        ink = np.maximum(ink, np.where(good, mask[r, c], 0))
    return ink


def _mouth(canvas: Canvas) -> None:
    """The lip's ellipse and the dull gilt inside of the bowl."""
    r = PROFILE[0][1]
    y0 = PROFILE[0][0]
    window = canvas.box(CENTRE - r - 6, y0 - 50, CENTRE + r + 6, y0 + 60)
    x, y = (
        (canvas.x(window) - np.float32(CENTRE)) / r,
        (canvas.y(window) - np.float32(y0)) / (r * TILT),
    )
    d = np.hypot(x, y)
    width = canvas.reduce / (r * TILT)
    inside = np.clip((1 - d) / width + 0.5, 0, 1)
    depth = np.clip((y + 1) / 2, 0, 1)
    gilt = (
        srgb("c9a350") * (0.28 + 0.9 * (1 - depth) * (0.6 + 0.5 * np.sin(x * 2.2 + 0.6)))[..., None]
    )
    canvas.over(window, gilt, inside)
    lip = np.exp(-(((d - 0.975) / 0.035) ** 2))
    bright = 0.45 + 0.5 * smoothstep(-0.6, 0.9, -x + 0.4 * y)
    canvas.over(window, np.stack([bright * 0.95, bright, bright * 1.02], -1), np.clip(lip, 0, 1))


def _handles(canvas: Canvas) -> None:
    metal = Material(
        srgb("6a6a68"), texture("handle", (16, 16), 0.10, 3), mirror=SILVER, mirror_share=0.95
    )
    for side in (-1, 1):
        c = CENTRE
        points = [
            (c + side * 186, 520, 0, 9),
            (c + side * 232, 462, 4, 12),
            (c + side * 296, 470, 6, 13),
            (c + side * 308, 556, 6, 14),
            (c + side * 262, 650, 4, 13),
            (c + side * 206, 712, 2, 11),
            (c + side * 150, 752, 0, 9),
        ]
        handle = Relief(canvas, (c - 360, 420, c + 360, 800), 1)
        handle.tube(points, steps=12)
        handle.tube(
            [(c + side * 232, 462, 4, 9), (c + side * 246, 430, 4, 9), (c + side * 276, 428, 4, 5)],
            6,
        )
        handle.ball((c + side * 268, 648, 6), (17, 17, 17), blend=6)
        handle.paint(metal, LIGHT, self_shadow=False)


def _plinth(canvas: Canvas) -> None:
    window = canvas.box(CENTRE - 220, 1050, CENTRE + 220, 1400)
    profile = (
        (1082.0, 150.0),
        (1092, 168),
        (1108, 172),
        (1122, 160),
        (1150, 158),
        (1250, 164),
        (1268, 182),
        (1290, 190),
        (1304, 190),
    )
    _, across, slope, cover = _turned(canvas, window, profile)
    wood_colour = timber(srgb("2e2019"), srgb("0e0a08"), "plinth", 16, 90, 512)(
        canvas.x(window), canvas.y(window)
    )
    nz = np.sqrt(1 - across * across)
    lambert = np.clip(-0.5 * across + 0.62 * slope * 0.6 + 0.6 * nz, 0, 1)
    colour = wood_colour * (0.25 + 1.1 * lambert)[..., None]
    sheen = (
        np.exp(-(((across + 0.5) / 0.12) ** 2)) * 0.30
        + np.exp(-(((across - 0.8) / 0.06) ** 2)) * 0.08
    )
    sheen += 0.25 * smoothstep(0.3, 2.0, slope)
    colour += (sheen * np.float32(0.7))[..., None] * np.array([0.8, 0.88, 1.0], np.float32)
    canvas.over(window, colour, cover)
    top = canvas.box(CENTRE - 170, 1050, CENTRE + 170, 1120)
    d = np.hypot(
        (canvas.x(top) - np.float32(CENTRE)) / 150,
        (canvas.y(top) - np.float32(1082)) / (150 * TILT),
    )
    canvas.over(top, (0.035, 0.028, 0.025), np.clip((1 - d) * 20, 0, 1))
    shield = [(548, 1190), (632, 1190), (632, 1240), (590, 1268), (548, 1240)]
    w, c = polygon(canvas, outline(shield, 4))
    shine = 0.55 + 0.25 * np.sin((canvas.x(w) + canvas.y(w)) * np.float32(0.05))
    canvas.over(w, np.stack([shine, shine, shine * 1.03], -1), c)
    for i, half in enumerate((26, 30, 20)):
        stroke(
            canvas,
            [(590 - half, 1204 + 14 * i, 1.6), (590 + half, 1204 + 14 * i, 1.6)],
            (0.1, 0.1, 0.11),
            0.85,
        )


def _ribbons(canvas: Canvas) -> None:
    green, white = srgb("0f7a3f"), srgb("f4f1ea")
    c = CENTRE + 300
    for colour, points, phase in (
        (
            green,
            [
                (c, 560, 8),
                (c + 34, 700, 20),
                (c + 8, 850, 24),
                (c + 50, 1000, 15),
                (c + 30, 1150, 25),
                (c + 92, 1285, 22),
                (c + 190, 1330, 24),
            ],
            0.0,
        ),
        (
            white,
            [
                (c - 4, 560, 8),
                (c - 30, 680, 22),
                (c + 4, 800, 16),
                (c - 34, 930, 24),
                (c - 6, 1070, 18),
                (c - 40, 1190, 22),
            ],
            1.7,
        ),
    ):
        _ribbon(canvas, points, colour, phase)
    for colour, loop in (
        (
            white,
            [(c, 556, 9), (c + 60, 500, 22), (c + 112, 540, 20), (c + 50, 578, 14), (c, 562, 8)],
        ),
        (
            green,
            [(c, 556, 9), (c - 56, 596, 20), (c - 92, 560, 19), (c - 44, 528, 14), (c, 556, 8)],
        ),
    ):
        _ribbon(canvas, loop, colour, 0.6)
    knot = Relief(canvas, (c - 30, 530, c + 34, 590), 1)
    knot.ball((c, 558, 0), (17, 15, 14))
    knot.paint(Material(green, texture("knot", (16, 8), 1.5, 3)), LIGHT, 0.4, 8)


def _ribbon(
    canvas: Canvas, points: Sequence[tuple[float, float, float]], colour: Colour, phase: float
) -> None:
    """A satin strip that turns: the light on it is that of the turn."""
    line = spline(points, 24)
    step = np.gradient(line[:, :2], axis=0)
    step /= np.maximum(np.hypot(step[:, :1], step[:, 1:]), 1e-6)
    side = np.stack([-step[:, 1], step[:, 0]], -1) * line[:, 2:3]
    left, right = line[:, :2] - side, line[:, :2] + side
    corners: list[Point] = [(float(a), float(b)) for a, b in np.concatenate([left, right[::-1]])]
    window, cover = polygon(canvas, corners)
    times, scale = 4, 4 / canvas.reduce
    tone = Image.new("L", (window.shape[1] * times, window.shape[0] * times), 128)
    pen = ImageDraw.Draw(tone)
    origin = np.array([window.left, window.top]) * times
    for i in range(len(line) - 1):
        turn = 0.58 + 0.30 * np.sin(i * 0.16 + phase) - 0.20 * step[i, 0] + 0.10 * np.sin(i * 0.41)
        quad = [tuple(p * scale - origin) for p in (left[i], right[i], right[i + 1], left[i + 1])]
        pen.polygon([(float(a), float(b)) for a, b in quad], fill=int(np.clip(turn, 0.1, 1) * 255))
    small = tone.resize((window.shape[1], window.shape[0]), Image.Resampling.BOX)
    light = blur(np.asarray(small, np.float32) / 255, 2.0 / canvas.reduce)
    ribs = canvas.noise(window, (4, 4), f"satin {phase}", 2, 0.5) * np.float32(0.012)
    ink = np.asarray(colour, np.float32) * (light * 1.35 + ribs)[..., None]
    ink += (np.clip(light - 0.66, 0, 1) * 0.6)[..., None]
    dark = np.roll(blur(cover, 6 / canvas.reduce), (5, 5), (0, 1))
    canvas.stain(window, (0.2, 0.2, 0.22), dark * np.float32(0.4) * canvas.cover[window.slices])
    canvas.over(window, ink, cover)

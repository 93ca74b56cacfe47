"""A coxless four at the catch, seen from the bank."""

from pathlib import Path

import numpy as np

from scenery.canvas import Canvas, lettering, outline, place_mask, polygon, srgb
from scenery.cloth import cloth, texture
from scenery.crew import Frame, Look, rower
from scenery.files import develop, sensor_noise, write_oprgb_tiff
from scenery.nature import Reflection, Waves, clouds, floating, foliage, gradient, water, wood
from scenery.noise import blur, smoothstep, stream
from scenery.relief import Light, Material, Relief, stroke

SIZE = (6000, 4000)
HORIZON, BANK, WATERLINE = 1500.0, 1730.0, 2680.0
SEATS = (1200.0, 2160.0, 3120.0, 4080.0)
GREEN = np.array([-0.13, 0.60, 0.05], np.float32)  # outside sRGB
LIGHT = Light((-0.5, -0.62, 0.6), (1.08, 0.97, 0.80), (0.30, 0.36, 0.46), (0.17, 0.18, 0.16))
LOOKS = (
    Look(srgb("c9906c"), srgb("3a2416"), srgb("f0efe9")),
    Look(srgb("8a5a3c"), srgb("15100d"), None),
    Look(srgb("d7a283"), srgb("a06a32"), None, bun=True),
    Look(srgb("b77b56"), srgb("2a1a12"), np.array([-0.05, 0.30, 0.04], np.float32)),
)


def draw(path: Path, reduce: int = 1) -> None:
    """Sky and shore, the river, the boat over it, spray last."""
    canvas = Canvas(*SIZE, reduce)
    _shore(canvas)
    boat = Canvas(*SIZE, reduce, layer=True)
    _boat(boat)
    _river(canvas, boat)
    for seat in SEATS[1::2]:
        _splash(canvas, seat + 1060, 2572, f"splash {seat}", 0.55)
    canvas.lay(boat)
    for seat in SEATS[0::2]:
        _splash(canvas, seat + 1235, 2800, f"splash {seat}", 1.0)
    develop(canvas, 1.12, 0.80)
    sensor_noise(canvas, "catch-four", 0.006)
    write_oprgb_tiff(canvas, path)


def _shore(canvas: Canvas) -> None:
    sky = canvas.box(0, 0, 6000, BANK)
    gradient(canvas, sky, [(0, srgb("5f8fc4")), (700, srgb("9fc0dd")), (1500, srgb("e4e6de"))])
    clouds(canvas, canvas.box(0, 0, 6000, 1400), "four sky", (512, 1024), -0.25, opacity=0.85)
    far = wood("four far", -200, 6200, 1560, (150, 330), (150, 330), 90)
    haze = srgb("b9c7cf")
    greens = [srgb("4d6b35"), srgb("6b7d3a"), srgb("3c5a38")]
    foliage(canvas, far, "four far", greens, LIGHT, haze, 0.62, 12)
    near = wood("four near", -200, 2700, 1728, (240, 560), (130, 290), 150)
    near += wood("four right", 3900, 6300, 1728, (220, 470), (120, 260), 130)
    _field(canvas)
    _boathouse(canvas)
    foliage(canvas, near, "four near", greens, LIGHT, haze, 0.2, 18)
    low = wood("four reeds", -100, 6100, 1736, (28, 70), (60, 150), 60)
    foliage(
        canvas,
        low,
        "four low",
        [srgb("5b6b2c"), srgb("7d7a3a"), srgb("475c2c")],
        LIGHT,
        haze,
        0.12,
        9,
        4,
    )
    canvas.soften(canvas.box(0, 0, 6000, BANK + 10), 3.2)


def _field(canvas: Canvas) -> None:
    window = canvas.box(0, 1500, 6000, BANK + 8)
    grass = canvas.noise(window, (16, 128), "four grass", 6, 0.7)[..., None]
    y = canvas.y(window)
    colour = srgb("8a9a4e") * (1 + 0.16 * grass)
    cover = smoothstep(1548, 1562, y) * np.ones((1, window.shape[1]), np.float32)
    canvas.over(window, colour, cover)


def _boathouse(canvas: Canvas) -> None:
    rng = stream("boathouse")
    left, right, eaves, foot = 2960, 3760, 1470, 1716
    window = canvas.box(left, eaves, right, foot)
    x, y = canvas.x(window), canvas.y(window)
    boards = np.abs(np.sin(x * np.float32(np.pi / 18))) ** np.float32(0.3)
    worn = canvas.noise(window, (64, 16), "boathouse boards", 5, 0.6)
    eave_shadow = smoothstep(0, 60, y - eaves)
    tone = (0.75 + 0.3 * boards + 0.07 * worn) * (0.6 + 0.4 * eave_shadow)
    canvas.over(window, srgb("8d9ca0") * tone[..., None], np.ones(window.shape, np.float32))
    for i in range(3):
        a = left + 60 + i * 245
        w, cover = polygon(canvas, [(a, 1530), (a + 195, 1530), (a + 195, foot), (a, foot)])
        canvas.over(w, srgb("23312b") if i != 1 else srgb("101412"), cover)
        for k in range(1, 6):
            stroke(canvas, [(a + k * 32, 1532, 1.5), (a + k * 32, foot, 1.5)], srgb("3c4c44"), 0.7)
    roof = [
        (left - 50, eaves + 12),
        (left + 60, 1330),
        (right - 60, 1330),
        (right + 50, eaves + 12),
    ]
    w, cover = polygon(canvas, roof)
    slate = canvas.noise(w, (8, 32), "slate", 4, 0.7)[..., None]
    canvas.over(w, srgb("6a5f5c") * (1 + 0.13 * slate), cover)
    mask = lettering("TERN QUAY", 60, 0.1)
    w, cover = place_mask(canvas, mask, [(3180, 1484), (3540, 1484), (3540, 1520), (3180, 1520)])
    canvas.over(w, srgb("f2efe4"), cover)
    for _ in range(7):
        px = left + 20 + rng.uniform(0, 760)
        stroke(canvas, [(px, 1690, 5), (px + 3, 1742, 5)], srgb("3a332b"), 0.9)
    w, cover = polygon(canvas, [(2880, 1712), (3840, 1712), (3900, 1730), (2840, 1730)])
    canvas.over(w, srgb("8a8276"), cover)


def _river(canvas: Canvas, boat: Canvas) -> None:
    window = canvas.box(0, BANK, 6000, 4000)
    waves = Waves("four river", 1.75)
    slopes = waves.rows(canvas, window, HORIZON, 0.11, 0.30)
    slopes += 0.25 * waves.rows(canvas, window, HORIZON, 0.47, 0.36)
    patches = blur(canvas.noise(window, (256, 2048), "four wind", 4, 0.5), 8)
    slopes *= (0.62 + 0.22 * np.clip(patches, -1.5, 2))[..., None]
    x, y = canvas.x(window), canvas.y(window)
    wash = np.exp(-np.abs(y - WATERLINE - 26) / 42) * np.ones_like(x)
    slopes *= (1 + 0.4 * wash)[..., None]
    shore = canvas.rgb.copy()
    mirrored = [Reflection(shore, BANK, 0.72), floating(boat, WATERLINE, (0, 1900, 6000), 5)]
    water(canvas, window, HORIZON, slopes, mirrored, srgb("2c3a30") * 0.8, (40, 88), (0.90, 0.42))
    glint = smoothstep(1.5, 2.6, slopes[..., 1] + 0.4 * slopes[..., 0]) * smoothstep(1900, 3300, y)
    canvas.glow(window, (0.55, 0.55, 0.52), glint * 0.55)


def _boat(layer: Canvas) -> None:
    for seat, look, near in zip(SEATS, LOOKS, (True, False, True, False), strict=True):
        frame = Frame(layer, seat, 2592)
        rower(frame, look, LIGHT, "far")
        if not near:
            _oar(layer, [(seat - 690, 2233), (seat - 250, 2372), (seat + 1130, 2552)], 0.9, False)
        rower(frame, look, LIGHT, "near")
    _hull(layer)
    _towel(layer)
    for seat, near in zip(SEATS, (True, False, True, False), strict=True):
        _rigger(layer, seat, near)
        if near:
            _oar(layer, [(seat - 690, 2222), (seat - 235, 2438), (seat + 1290, 2800)], 1.08, True)


def _hull(layer: Canvas) -> None:
    top = [
        (-200, 2566),
        (800, 2562),
        (2400, 2560),
        (4300, 2562),
        (5100, 2586),
        (5560, 2618),
        (5800, 2650),
    ]
    foot = [(5790, 2662), (5500, 2686), (4800, 2702), (2400, 2706), (-200, 2706)]
    hull = Relief(layer, (-10, 2400, 5900, 2760), detail=4)
    hull.slab(outline([*top, *foot], 6), 0, 70, 60)
    varnish = Material(
        srgb("f1eee4") * 0.92,
        bump=texture("hull", (64, 512), 0.5, 3),
        gloss=0.5,
        shininess=60,
        wrap=(0.1, 0.1, 0.1),
    )
    hull.paint(varnish, LIGHT)
    line = [
        (-50.0, 2640.0, 7.0),
        (2400, 2638, 7),
        (4400, 2640, 7),
        (5300, 2652, 5),
        (5700, 2660, 3),
    ]
    stroke(layer, line, np.array([-0.04, 0.26, 0.04], np.float32), 1)
    rail = [
        (-50.0, 2564.0, 8.0),
        (2400, 2558, 8),
        (4300, 2560, 8),
        (5100, 2584, 7),
        (5560, 2616, 5),
    ]
    stroke(layer, rail, srgb("6b3f1f"), 1)
    stroke(layer, [(x, y - 4, 2) for x, y, _ in rail], srgb("c48a55"), 0.8)
    for text, left, width, y in (
        ("SALT WREN", 4700, 470, 2594),
        ("TERN QUAY R.C.", 640, 560, 2584),
    ):
        mask = lettering(text, 120, 0.08)
        corners = [(left, y), (left + width, y), (left + width, y + 40), (left, y + 40)]
        window, cover = place_mask(layer, mask, corners)
        layer.over(window, srgb("17243f"), cover * 0.95)
    ball = Relief(layer, (5660, 2600, 5780, 2700), detail=1)
    ball.ball((5716, 2652, 0), (19, 19, 19))
    ball.paint(Material(srgb("f7f7f4"), gloss=0.3), LIGHT)
    _waterline(layer)


def _waterline(layer: Canvas) -> None:
    """Wet the foot of the hull, and take away what is under water."""
    window = layer.box(0, WATERLINE - 12, 6000, 2760)
    y = layer.y(window)
    wet = smoothstep(WATERLINE - 12, WATERLINE + 10, y) * np.ones((1, window.shape[1]), np.float32)
    layer.stain(window, (0.5, 0.55, 0.52), wet)
    gone = 1 - smoothstep(
        WATERLINE + 4, WATERLINE + 8, y + layer.noise(window, (16, 64), "lap", 4) * 3
    )
    layer.rgb[window.slices] *= gone[..., None]
    layer.cover[window.slices] *= gone


def _towel(layer: Canvas) -> None:
    towel = Relief(layer, (4250, 2440, 4640, 2640), detail=2)
    edge = [(4300, 2540), (4360, 2514), (4440, 2522), (4520, 2510), (4590, 2538), (4606, 2604)]
    edge += [(4560, 2612), (4520, 2598), (4440, 2616), (4350, 2606), (4304, 2596)]
    towel.slab(outline(edge), 0, 40, 46)
    towel.tube([(4320, 2534, 26, 12), (4440, 2530, 34, 15), (4580, 2534, 26, 12)], 16)
    towel.paint(cloth(srgb("fbfaf6"), "towel", 8, 14, 110), LIGHT, cast=0.5, cast_reach=30)


def _rigger(layer: Canvas, seat: float, near: bool) -> None:
    steel = srgb("a9b0b5")
    pin = (seat - 238, 2440) if near else (seat - 250, 2392)
    for foot in (seat - 420, seat - 240, seat - 60):
        end = (foot, 2568)
        if near:
            stroke(layer, [(*end, 8), (*pin, 6)], srgb("3c4246"), 1)
            stroke(layer, [(end[0] - 2, end[1] - 3, 3), (pin[0] - 2, pin[1] - 2, 2)], steel, 0.9)
    if near:
        gate = Relief(layer, (pin[0] - 50, pin[1] - 60, pin[0] + 50, pin[1] + 50), detail=1)
        gate.tube([(pin[0], pin[1] - 40, 0, 8), (pin[0], pin[1] + 26, 0, 8)])
        gate.tube([(pin[0] - 24, pin[1] + 22, 0, 9), (pin[0] + 24, pin[1] + 22, 0, 9)], 4)
        gate.paint(Material(srgb("1d1f22"), gloss=0.4, shininess=30), LIGHT)


def _oar(layer: Canvas, line: list[tuple[float, float]], size: float, near: bool) -> None:
    (ax, ay), (px, py), (bx, by) = line
    shaft = Relief(layer, (ax - 40, min(ay, by) - 60, bx + 40, max(ay, by) + 80), detail=2)
    neck = (bx - 250 * size, by - 250 * size * (by - py) / (bx - px))
    shaft.tube([(ax, ay, 0, 17 * size), (px, py, 0, 15 * size)])
    shaft.tube([(px, py, 0, 15 * size), (neck[0], neck[1], 0, 11 * size)])
    shaft.paint(
        Material(srgb("d9d4c6"), gloss=0.4, shininess=40),
        LIGHT,
        cast=0.3 if near else 0,
        cast_reach=26,
    )
    grip = Relief(layer, (ax - 40, ay - 60, ax + 260, ay + 140), detail=2)
    slope = (py - ay) / (px - ax)
    grip.tube([(ax, ay, 2, 18.5 * size), (ax + 120, ay + 120 * slope, 2, 18.5 * size)])
    grip.paint(Material(srgb("20242a"), bump=texture("grip", (8, 8), 1.2, 3)), LIGHT)
    collar = Relief(layer, (px - 60, py - 50, px + 60, py + 50), detail=2)
    collar.tube(
        [(px - 42, py - 42 * slope, 3, 19 * size), (px + 14, py + 14 * slope, 3, 19 * size)]
    )
    collar.paint(Material(srgb("1b1e22"), gloss=0.3), LIGHT)
    h = 96 * size
    edge = [
        (-250, -10),
        (-170, -h * 0.55),
        (-60, -h * 0.86),
        (70, -h * 0.92),
        (120, -h * 0.7),
        (128, h * 0.3),
        (100, h * 0.72),
        (-40, h * 0.66),
        (-170, h * 0.28),
        (-250, 12),
    ]
    tilt = (by - py) / (bx - px) * 0.8
    points = [(bx + u * size, by + v + u * tilt * size) for u, v in edge]
    blade = Relief(layer, (bx - 320 * size, by - 200, bx + 180 * size, by + 200), detail=2)
    blade.slab(outline(points, 8), 0, 16, 40)
    blade.paint(
        Material(
            GREEN,
            bump=texture("blade", (64, 128), 1.2, 5),
            gloss=0.22,
            shininess=18,
            wrap=(0.2, 0.2, 0.2),
        ),
        LIGHT,
    )
    stroke(
        layer,
        [(bx - 230 * size, by - 230 * tilt, 4), (bx + 116 * size, by - 10 + 116 * tilt, 3)],
        srgb("e9f3e4"),
        0.75,
    )
    _drown(layer, bx, by + 34 * size, size)


def _drown(layer: Canvas, x: float, y: float, size: float) -> None:
    """Take away what of a blade is below the water."""
    window = layer.box(x - 260 * size, y - 40, x + 200 * size, y + 140)
    wobble = layer.noise(window, (16, 64), f"drown {x:.0f}", 4) * 5
    keep = 1 - smoothstep(-8, 8, layer.y(window) - np.float32(y) + wobble)
    layer.rgb[window.slices] *= keep[..., None]
    layer.cover[window.slices] *= keep


def _splash(canvas: Canvas, x: float, y: float, name: str, size: float) -> None:
    """Foam where the blade goes in, and drops thrown up and forward."""
    rng = stream(name)
    window = canvas.box(x - 330 * size, y - 240 * size, x + 330 * size, y + 130 * size)
    dx, dy = (
        (canvas.x(window) - np.float32(x)) / (250 * size),
        (canvas.y(window) - np.float32(y + 24)) / (34 * size),
    )
    foam = canvas.noise(window, (16, 48), name, 6, 0.75)
    cover = smoothstep(0.15, 1.5, foam * 0.55 + 1.25 - dx * dx * 1.2 - dy * dy)
    canvas.over(window, (0.80, 0.84, 0.86), cover * 0.85)
    sheet = canvas.noise(window, (64, 24), name + " sheet", 7, 0.75)
    up = (np.float32(y + 30) - canvas.y(window)) / (200 * size)
    lean = dx - 0.25 * up
    veil = smoothstep(0.5, 1.9, sheet * 0.7 + 1.1 - up * 1.3 - lean * lean * 3) * (up > -0.1)
    canvas.over(window, (0.86, 0.9, 0.93), veil * 0.5)
    for _ in range(int(850 * size)):
        u, v = rng.normal(0.15, 0.46), abs(rng.normal(0, 0.52))
        r = float(np.clip(rng.exponential(1.25), 0.7, 5)) * size
        cx, cy = x + u * 260 * size + v * 40, y + 20 - v * 260 * size * np.exp(-u * u * 2)
        _drop(canvas, cx, cy, r, rng.uniform(0.6, 1.0))


def _drop(canvas: Canvas, x: float, y: float, r: float, bright: float) -> None:
    window = canvas.box(x - r - 2, y - r - 2, x + r + 2, y + r + 2)
    if 0 in window.shape:
        return
    dx, dy = canvas.x(window) - np.float32(x), canvas.y(window) - np.float32(y)
    d = np.hypot(dx, dy)
    cover = np.clip((r - d) / canvas.reduce + 0.5, 0, 1) * min(1.0, (2 * r / canvas.reduce) ** 2)
    rim = np.clip(0.80 + 0.2 * (d / r) ** 2 - dy / (3 * r), 0.4, 1.1)[..., None]
    light = rim * np.array([0.93, 0.96, 1.0], np.float32)
    canvas.over(window, light * np.float32(bright), cover * np.float32(0.72))

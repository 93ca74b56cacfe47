"""The cox with a megaphone: a portrait, kept on its side as the camera kept it."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from scenery.canvas import Canvas, Point, lettering, outline, place_mask, polygon, spline, srgb
from scenery.cloth import creases, hair, knit, surroundings, texture, together, weave
from scenery.crew import Frame
from scenery.files import develop, eight_bit, exif, sensor_noise, write_jpeg
from scenery.nature import Reflection, Waves, clouds, foliage, gradient, water, wood
from scenery.noise import Field, enlarge, octaves, smoothstep, stream
from scenery.profiles import built_in
from scenery.relief import SKIN_WRAP, Light, Material, Paint, Relief, stroke

SIZE = (4000, 6000)
HORIZON, BANK = 2700.0, 3080.0
LIGHT = Light((-0.42, -0.66, 0.62), (1.08, 0.97, 0.82), (0.33, 0.38, 0.46), (0.18, 0.17, 0.15))
RED, CREAM, GREEN = srgb("b3202a"), srgb("efe8d6"), srgb("14603a")
SKIN = srgb("cf9a78")
HEAD = (1640.0, 2330.0)
MOUTH, BELL = (2262.0, 2742.0), (3830.0, 2500.0)
RADII = (92.0, 500.0)
LENS = surroundings(
    (0.55, 0.66, 0.80), (0.20, 0.30, 0.46), (0.015, 0.02, 0.016), (0.08, 0.09, 0.09)
)


def draw(path: Path, reduce: int = 1) -> None:
    """Background out of focus, then the cox from the neck outward."""
    canvas = _background(reduce)
    figure = Canvas(*SIZE, reduce, layer=True)
    _neck(figure)
    _jacket(figure)
    _rollneck(figure)
    _collar(figure)
    _head(figure)
    _glasses(figure)
    _hair(figure)
    _cap(figure)
    _rope(figure, [(1960, 3560), (1830, 4000), (1480, 4600), (960, 5080), (300, 5560), (-60, 5760)])
    _megaphone(figure)
    _near_arm(figure)
    _hand(figure)
    _lanyard(figure)
    canvas.lay(figure)
    develop(canvas, 1.08, 0.8)
    sensor_noise(canvas, "cox", 0.006)
    _write(canvas, path)


def _write(canvas: Canvas, path: Path) -> None:
    codes = np.ascontiguousarray(np.rot90(eight_bit(canvas, "cox")))
    main = {
        270: "Cox with megaphone, Tern Quay centenary regatta",
        271: "Marram",
        272: "Marram Field 2",
        274: 6,
        306: "2026:06:14 10:21:33",
        315: "Tern Quay Rowing Club",
        33432: "Drawn by a script; free to use (MIT)",
    }
    camera = {
        0x9003: "2026:06:14 10:21:33",
        0xA431: "TQ-0026-1926",
        0xA434: "Marram 85 mm f/2",
        0x829A: (1, 800),
        0x829D: (28, 10),
        0x8827: 100,
        0x920A: (85, 1),
        0xA001: 1,
    }
    write_jpeg(codes, path, 95, built_in("srgb"), exif(main, camera, gps=True))


def _background(reduce: int) -> Canvas:
    """Out of focus, so half the samples hold it all."""
    canvas = Canvas(*SIZE, reduce * 2)
    gradient(
        canvas,
        canvas.box(0, 0, 4000, BANK),
        [(0, srgb("4f83bd")), (1600, srgb("8fb5d8")), (2900, srgb("dfe4e2"))],
    )
    clouds(canvas, canvas.box(0, 0, 4000, 2600), "cox sky", (1024, 2048), 0.05, opacity=0.92)
    haze = srgb("b4c3cc")
    greens = [srgb("4a6a34"), srgb("69803c"), srgb("38573a")]
    far = wood("cox far", -200, 4200, 2990, (200, 420), (160, 330), 130)
    foliage(canvas, far, "cox far", greens, LIGHT, haze, 0.5, 16)
    near = wood("cox near", 2350, 4300, 3082, (300, 760), (180, 360), 200)
    near += wood("cox low", -300, 2600, 3084, (120, 330), (150, 300), 170)
    foliage(canvas, near, "cox near", greens, LIGHT, haze, 0.14, 22)
    shore = canvas.rgb[: canvas.box(0, 0, 1, BANK).bottom].copy()
    river = canvas.box(0, BANK, 4000, 6000)
    slopes = Waves("cox river", 1.7).rows(canvas, river, HORIZON, 0.10, 0.3)
    water(
        canvas,
        river,
        HORIZON,
        slopes,
        [Reflection(shore, BANK, 0.8)],
        srgb("33443c"),
        (50, 130),
        (0.9, 0.45),
    )
    canvas.soften(canvas.everything, 15)
    _glints(canvas)
    full = Canvas(0, 0)
    full.width, full.height, full.reduce = *SIZE, reduce
    full.rgb = enlarge(canvas.rgb, 2)
    return full


def _glints(canvas: Canvas) -> None:
    rng = stream("cox glints")
    for _ in range(150):
        gx, gy = rng.uniform(0, 4000), 3300 + 2700 * rng.random() ** 1.4
        r = 10 + 34 * (gy - 3000) / 3000
        part = canvas.box(gx - r - 6, gy - r - 6, gx + r + 6, gy + r + 6)
        d = np.hypot(canvas.x(part) - np.float32(gx), canvas.y(part) - np.float32(gy))
        disc = np.clip((r - d) / 5 + 0.5, 0, 1) * (0.7 + 0.3 * (d / r) ** 2)
        canvas.glow(part, (0.9, 0.92, 0.95), disc * np.float32(rng.uniform(0.03, 0.22)))


def _cloth_red(name: str, folds: float = 34, cell: float = 520) -> Material:
    """Canvas twill: diagonal ribs, folds, and a little fading on the ridges."""

    def twill(x: Field, y: Field) -> Field:
        return np.asarray(
            np.float32(0.55) * np.sin((x + y * np.float32(0.9)) * np.float32(0.72)), np.float32
        )

    def ink(x: Field, y: Field) -> Field:
        step = float(x[0, 1] - x[0, 0])
        n = octaves((y.shape[0], x.shape[1]), (256 / step, 256 / step), name + " fade", 7, 0.6)
        return np.asarray(RED * (1 + 0.07 * n)[..., None], np.float32)

    bump = together(
        twill, creases(name, (cell * 0.5, cell), folds), texture(name + " fine", (24, 24), 0.7, 3)
    )
    return Material(ink, bump, gloss=0.03, shininess=8, wrap=(0.12, 0.1, 0.1))


def _jacket(canvas: Canvas) -> None:
    body = Relief(canvas, (-10, 3000, 2700, 6010), 8)
    body.tube(
        [(1330, 3660, 0, 330), (1270, 4000, 40, 740), (1230, 4700, 60, 840), (1180, 6300, 40, 920)],
        steps=10,
    )
    body.ball((900, 3720, 60), (500, 400, 460), -16, 200)
    body.ball((1740, 3800, 40), (400, 420, 420), 20, 200)
    for x0, y0, x1, y1, r in (
        (1900, 4300, 1500, 4900, 60),
        (2010, 4750, 1560, 5200, 70),
        (700, 4900, 1250, 5350, 80),
        (560, 5300, 1180, 5700, 76),
        (2040, 5250, 1600, 5650, 60),
        (640, 4500, 980, 4980, 70),
    ):
        deep = 60 + 860 - 0.55 * abs((x0 + x1) / 2 - 1230) - r * 1.15
        middle = ((x0 + x1) / 2, (y0 + y1) / 2 + 40, deep, r)
        body.tube(
            [(x0, y0, deep - 200, r * 0.3), middle, (x1, y1, deep - 60, r * 0.2)], 130, steps=8
        )
    body.paint(_cloth_red("jacket", 30, 1024), LIGHT, 0.4, 120)
    _zip(canvas)
    _pocket(canvas)
    _badge(canvas)


def _pocket(canvas: Canvas) -> None:
    corners = [(700, 5240), (1180, 5330), (1168, 5440), (690, 5350)]
    flap = Relief(canvas, (640, 5160, 1260, 5520), 4)
    flap.slab(corners, 0, 16, 18)
    flap.paint(_cloth_red("flap", 8, 200), LIGHT, 0.7, 30)
    _stitches(canvas, [(722, 5340, 3), (1150, 5420, 3)])
    _stitches(canvas, [(690, 5372, 3), (700, 5800, 3), (720, 6040, 3)])
    _stitches(canvas, [(1170, 5462, 3), (1176, 5800, 3), (1180, 6040, 3)])


def _collar(canvas: Canvas) -> None:
    collar = Relief(canvas, (760, 3080, 2060, 3720), 4)
    collar.tube(
        [
            (930, 3300, 60, 110),
            (1120, 3490, 240, 112),
            (1420, 3565, 330, 110),
            (1720, 3510, 260, 104),
            (1850, 3380, 120, 92),
        ],
        steps=10,
    )
    collar.paint(_cloth_red("collar", 12, 260), LIGHT, 0.7, 60)
    _stitches(
        canvas, [(880, 3370, 3), (1090, 3576, 3), (1420, 3654, 3), (1740, 3592, 3), (1900, 3440, 3)]
    )


def _stitches(canvas: Canvas, line: Sequence[Sequence[float]]) -> None:
    points = spline(line, 60)
    for i in range(0, len(points) - 3, 4):
        a, b = points[i], points[i + 2]
        stroke(canvas, [(a[0], a[1] + 3, 5), (b[0], b[1] + 3, 5)], (0.10, 0.012, 0.016), 0.6)
        stroke(canvas, [(a[0], a[1], 3.6), (b[0], b[1], 3.6)], srgb("e0876f"), 0.9)


def _zip(canvas: Canvas) -> None:
    line = [(1640, 3640, 10.0), (1710, 4200, 10), (1730, 5000, 10), (1700, 6050, 10)]
    stroke(canvas, [(x, y, 44) for x, y, _ in line], srgb("6a1018"), 0.75)
    points = spline(line, 90)
    for i in range(0, len(points) - 1, 2):
        x, y = float(points[i, 0]), float(points[i, 1])
        side = 9 if (i // 2) % 2 else -9
        stroke(canvas, [(x + side - 12, y, 5.5), (x + side + 12, y, 5.5)], srgb("8d8a80") * 0.5, 1)
        stroke(
            canvas, [(x + side - 12, y - 3, 2.6), (x + side + 10, y - 3, 2.6)], srgb("e6e0cc"), 0.9
        )
    for side in (-64, 64):
        _stitches(canvas, [(x + side, y, 3) for x, y, _ in line])


def _badge(canvas: Canvas) -> None:
    x, y = 1400.0, 5120.0
    shield = [
        (x - 190, y - 210),
        (x + 190, y - 196),
        (x + 196, y + 60),
        (x + 4, y + 280),
        (x - 188, y + 50),
    ]
    badge = Relief(canvas, (x - 280, y - 300, x + 280, y + 360), 2)
    badge.slab(outline(shield, 3), 0, 14, 16)
    thread = together(weave(7, 1.6, 28), texture("badge", (120, 120), 3, 3))
    badge.paint(Material(srgb("182a4c"), thread, wrap=(0.1, 0.1, 0.1)), LIGHT, 0.6, 20)
    tern = [
        (x - 130, y - 70),
        (x - 30, y - 30),
        (x + 20, y - 60),
        (x + 130, y - 140),
        (x + 60, y - 20),
        (x + 120, y + 6),
        (x + 40, y + 20),
        (x - 20, y + 60),
        (x - 90, y + 66),
        (x - 40, y + 20),
    ]
    w, c = polygon(canvas, outline(tern, 4))
    satin = 0.72 + 0.14 * np.sin((canvas.x(w) * 2 + canvas.y(w)) * np.float32(0.55))
    canvas.over(w, np.stack([satin, satin * 0.98, satin * 0.92], -1), c)
    mask = lettering("T Q R C", 120, 0.02)
    w, c = place_mask(
        canvas,
        mask,
        [(x - 110, y + 110), (x + 118, y + 112), (x + 104, y + 170), (x - 98, y + 168)],
    )
    canvas.over(w, srgb("e8c35a") * np.float32(0.8), c)


def _skin(name: str, tone: float = 1.0) -> Material:
    warm = SKIN * np.float32(tone)

    def ink(x: Field, y: Field) -> Field:
        step = float(x[0, 1] - x[0, 0])
        shape = (y.shape[0], x.shape[1])
        n = octaves(shape, (256 / step, 256 / step), name, 8, 0.6)
        red = octaves(shape, (400 / step, 400 / step), name + " flush", 4, 0.5)
        freckle = smoothstep(
            2.1, 3.0, octaves(shape, (11 / step, 11 / step), name + " freckles", 2, 0.5)
        )
        out = (
            warm
            * (1 + 0.05 * n)[..., None]
            * (1 + np.array([0.015, -0.035, -0.045], np.float32) * red[..., None])
        )
        return np.asarray(
            out * (1 - np.array([0.22, 0.36, 0.42], np.float32) * freckle[..., None]), np.float32
        )

    bump = together(
        texture(name + " pores", (9, 9), 0.34, 3), texture(name + " lines", (60, 40), 0.22, 2)
    )
    return Material(ink, bump, gloss=0.13, shininess=12, wrap=SKIN_WRAP)


def _face_frame(canvas: Canvas) -> Frame:
    return Frame(canvas, HEAD[0], HEAD[1], 5.2)


def _neck(canvas: Canvas) -> None:
    f = _face_frame(canvas)
    neck = f.relief(-160, 30, 130, 260, 4)
    neck.tube(f.joints((-22, 66, 0, 66), (-40, 150, 0, 66), (-50, 250, 0, 80)), steps=8)
    neck.tube(f.joints((-40, 70, 52, 14), (-8, 130, 58, 15), (22, 196, 50, 13)), 90)
    neck.paint(_skin("neck", 0.92), LIGHT)
    w, c = polygon(
        canvas,
        outline(
            [
                (HEAD[0] - 200, HEAD[1] + 380),
                (HEAD[0] + 320, HEAD[1] + 560),
                (HEAD[0] + 160, HEAD[1] + 760),
                (HEAD[0] - 240, HEAD[1] + 600),
            ],
            8,
        ),
        50,
    )
    canvas.stain(w, (0.34, 0.22, 0.18), c * np.float32(0.8))


def _rollneck(canvas: Canvas) -> None:
    """A thick ribbed roll, knitted, above the collar."""
    roll = Relief(canvas, (900, 2880, 2060, 3620), 4)
    roll.tube(
        [
            (1040, 3040, 40, 120),
            (1140, 3240, 260, 126),
            (1420, 3330, 340, 126),
            (1700, 3270, 260, 118),
            (1790, 3130, 60, 104),
        ],
        steps=10,
    )
    roll.tube(
        [
            (1050, 3170, 30, 120),
            (1160, 3350, 240, 120),
            (1420, 3430, 320, 120),
            (1690, 3370, 250, 116),
            (1800, 3230, 60, 104),
        ],
        20,
        steps=10,
    )
    wool = roll.paint(
        Material(
            CREAM * np.float32(0.94),
            together(knit(42, 13, 2), texture("wool", (12, 12), 1.6, 4)),
            wrap=(0.2, 0.18, 0.16),
        ),
        LIGHT,
        0.7,
        60,
    )
    rng = stream("wool hairs")
    for _ in range(500):
        x, y = rng.uniform(980, 1860), rng.uniform(3000, 3480)
        row, column = (int(v / canvas.reduce) for v in (y, x))
        if wool[row - roll.window.top, column - roll.window.left] < 0.5:
            continue
        turn, long = rng.uniform(0, 6.28), rng.uniform(20, 60)
        stroke(
            canvas,
            [
                (x, y, 1.3),
                (x + np.cos(turn) * long * 0.5, y + np.sin(turn) * long * 0.5 + 5, 1.2),
                (x + np.cos(turn) * long, y + np.sin(turn) * long, 0.8),
            ],
            srgb("fffaf0"),
            rng.uniform(0.05, 0.25),
            3,
        )


def _head(canvas: Canvas) -> None:
    """In profile to the right; brows, nose and jaw melted into one form."""
    f = _face_frame(canvas)
    s = f.size
    head = f.relief(-170, -160, 180, 190, 4)
    head.ball(f.at(-14, -22), (104 * s, 98 * s, 92 * s), blend=30 * s)
    head.ball(f.at(34, 30), (64 * s, 80 * s, 66 * s), blend=30 * s)
    head.ball(f.at(46, -38), (50 * s, 52 * s, 62 * s), blend=26 * s)
    head.tube(f.joints((-24, 58, 16, 30), (14, 92, 14, 27), (58, 110, 2, 19)), 50 * s)
    head.ball(f.at(70, 104, 0), (22 * s, 21 * s, 26 * s), blend=34 * s)
    head.ball(f.at(78, 78, 0), (22 * s, 22 * s, 32 * s), blend=34 * s)
    head.ball(f.at(42, 28, 18), (46 * s, 40 * s, 40 * s), 16, 60 * s)
    head.tube(
        f.joints((90, -14, 8, 9), (99, 6, 9, 11), (109, 26, 10, 12), (116, 38, 8, 12)), 12 * s
    )
    head.ball(f.at(104, 43, 20), (11 * s, 8.5 * s, 9 * s), blend=8 * s)
    head.ball(f.at(86, -20, 30), (22 * s, 11 * s, 22 * s), 12, 14 * s)
    head.tube(f.joints((90, 62, 22, 7), (101, 60, 12, 8)), 9 * s)
    head.smooth(4.5 * s)
    head.paint(_skin("face"), LIGHT, 0.5, 100)
    _ear(f)
    f.line([(100, 48, 0.8), (104, 49.4, 1.5), (108, 48.6, 0.8)], (0.09, 0.03, 0.025), 0.6)
    f.line([(92, 38, 0.6), (93, 48, 1.2), (88, 58, 0.6)], (0.22, 0.09, 0.06), 0.5)
    for a, b in (((60, 12), (46, 8)), ((59, 17), (44, 18)), ((60, 21), (47, 27))):
        f.line(
            [(*a, 0.4), ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2 + 0.8, 0.8), (*b, 0.3)],
            (0.25, 0.11, 0.08),
            0.35,
        )


def _ear(f: Frame) -> None:
    s = f.size
    ear = f.relief(-70, -40, 40, 70, 2)
    ear.ball(f.at(-18, 12, 84), (18 * s, 28 * s, 8 * s), 12)
    ear.tube(
        f.joints(
            (-4, -2, 92, 4.5),
            (-9, -18, 96, 5.5),
            (-24, -19, 97, 6),
            (-37, -4, 97, 6),
            (-36, 16, 96, 5.5),
            (-26, 34, 95, 5),
            (-14, 42, 93, 6.5),
            (-7, 32, 91, 5),
        ),
        3 * s,
        steps=10,
    )
    ear.tube(
        f.joints((-10, -6, 94, 3), (-24, -4, 96, 4), (-26, 14, 95, 4), (-14, 24, 94, 4)), 4 * s
    )
    ear.ball(f.at(-3, 12, 92), (5.5 * s, 8 * s, 6 * s), blend=4 * s)
    ear.paint(_skin("ear", 0.97), LIGHT, 0.45, 26)
    w, c = polygon(
        f.canvas,
        outline(
            [
                f.at(-12, 4)[:2],
                f.at(-18, 2)[:2],
                f.at(-20, 14)[:2],
                f.at(-12, 20)[:2],
                f.at(-8, 12)[:2],
            ],
            6,
        ),
        8,
    )
    f.canvas.stain(w, (0.22, 0.09, 0.07), c * np.float32(0.85))


def _glasses(canvas: Canvas) -> None:
    """Dark glasses that hold a small picture of the river."""
    f = _face_frame(canvas)
    temple = f.relief(-60, -40, 120, 40, 2)
    temple.tube(f.joints((84, -6, 70, 4.2), (30, -7, 84, 4.2), (-6, -8, 92, 4.2)))
    temple.tube(f.joints((-6, -8, 92, 4.2), (-20, -6, 92, 4), (-30, 6, 88, 3)))
    black = Material(srgb("1a1a1c"), texture("temple", (64, 64), 0.2, 3), gloss=0.5, shininess=40)
    temple.paint(black, LIGHT, 0.5, 24)
    shape = [
        (52, -12),
        (68, -18),
        (94, -17),
        (105, -10),
        (103, 8),
        (95, 22),
        (79, 27),
        (62, 20),
        (53, 4),
    ]
    lens = f.relief(40, -40, 130, 40, 2)
    lens.slab(outline([f.at(x, y)[:2] for x, y in shape], 8), 0, 10 * f.size, 22 * f.size)
    lens.paint(
        Material((0.02, 0.022, 0.024), gloss=0.7, shininess=70, mirror=LENS, mirror_share=0.62),
        LIGHT,
        0.5,
        30,
    )
    ring = [(*f.at(x, y)[:2], 7.0) for x, y in [*shape, shape[0]]]
    stroke(canvas, ring, (0.012, 0.012, 0.013), 1, 10)
    stroke(canvas, [(x - 3, y - 3, 2.2) for x, y, _ in ring[:5]], (0.5, 0.52, 0.55), 0.6, 10)


def _hair(canvas: Canvas) -> None:
    f = _face_frame(canvas)
    back = f.relief(-180, -90, 60, 150, 4)
    back.tube(
        f.joints(
            (-30, -40, 78, 34),
            (-72, -10, 58, 42),
            (-84, 40, 30, 40),
            (-66, 88, 16, 30),
            (-58, 116, 8, 14),
        ),
        steps=8,
    )
    back.tube(f.joints((-46, -16, 84, 24), (-56, 28, 66, 28), (-48, 66, 52, 20)), 14 * f.size)
    brown = srgb("4a2e1c")
    back.paint(hair(brown, "cox hair", 420), LIGHT, 0.4, 40)
    side = f.relief(-30, -60, 60, 50, 2)
    side.tube(f.joints((10, -46, 88, 16), (16, -18, 88, 10), (12, 6, 86, 5), (12, 18, 84, 2)))
    side.paint(hair(brown, "sideburn", 200), LIGHT, 0.3, 14)
    rng = stream("cox strands")
    for _ in range(420):
        x, y = rng.uniform(-112, -44), rng.uniform(-40, 20)
        long, sway = rng.uniform(30, 84), rng.normal(0, 8)
        tone = brown * np.float32(rng.uniform(0.5, 2.6))
        f.line(
            [
                (x, y, 0.34),
                (x - 5 + sway * 0.4, y + long * 0.5, 0.34),
                (x + 8 + sway, y + long, 0.12),
            ],
            tone,
            rng.uniform(0.25, 0.8),
        )


def _cap(canvas: Canvas) -> None:
    f = _face_frame(canvas)
    s = f.size
    twill = together(weave(9, 1.5, 20), texture("cap folds", (400, 300), 7, 2))
    green = Material(GREEN, twill, wrap=(0.12, 0.12, 0.12))
    peak = f.relief(20, -100, 240, 20, 4)
    peak.tube(f.joints((70, -40, 40, 14), (128, -38, 44, 11), (182, -26, 30, 6)), steps=8)
    peak.tube(f.joints((70, -36, 56, 10), (124, -32, 60, 8), (170, -22, 40, 5)), 8 * s)
    peak.smooth(3.5 * s).paint(green, LIGHT, 0.75, 130)
    crown = f.relief(-170, -190, 150, 20, 4)
    crown.ball(f.at(-14, -64), (111 * s, 78 * s, 98 * s), -4)
    crown.tube(
        f.joints((92, -42, 26, 14), (30, -34, 92, 15), (-60, -26, 82, 15), (-114, -32, 14, 14)),
        18 * s,
    )
    crown.ball(f.at(34, -76), (66 * s, 56 * s, 80 * s), blend=30 * s)
    crown.smooth(4 * s).paint(green, LIGHT, 0.5, 60)
    button = f.relief(-40, -160, 30, -120, 2)
    button.ball(f.at(-8, -139, 0), (11 * s, 6 * s, 10 * s))
    button.paint(green, LIGHT, 0.5, 14)
    for line in (
        [(-8, -138, 1), (24, -104, 1), (46, -44, 1)],
        [(-8, -138, 1), (-56, -100, 1), (-76, -38, 1)],
    ):
        points = [(*f.at(x, y)[:2], 3.2) for x, y, _ in line]
        stroke(canvas, points, (0.004, 0.03, 0.016), 0.75, 12)
        for off in (-13, 13):
            _dashes(canvas, [(x + off, y, 2.6) for x, y, _ in points])
    _dashes(
        canvas,
        [(*f.at(x, y)[:2], 3.0) for x, y in ((100, -34), (30, -22), (-60, -14), (-122, -24))],
    )
    _dashes(canvas, [(*f.at(x, y)[:2], 3.0) for x, y in ((84, -47), (130, -45), (176, -32))])
    mask = lettering("TQ", 200, 0.04)
    corners = [f.at(60, -98)[:2], f.at(92, -86)[:2], f.at(88, -56)[:2], f.at(56, -62)[:2]]
    w, c = place_mask(canvas, mask, corners)
    thread = 0.78 + 0.12 * np.sin((canvas.x(w) - canvas.y(w)) * np.float32(0.6))
    canvas.over(w, np.stack([thread, thread * 0.97, thread * 0.88], -1), c)


def _dashes(canvas: Canvas, line: Sequence[Sequence[float]]) -> None:
    points = spline(line, 40)
    for i in range(0, len(points) - 2, 3):
        stroke(canvas, [points[i].tolist(), points[i + 1].tolist()], srgb("7fb08a"), 0.7)


def _rope(canvas: Canvas, line: Sequence[Point], radius: float = 40.0) -> None:
    """Three-strand rope: each turn of a strand is a small slanting body."""
    curve = spline([(float(x), float(y)) for x, y in line], 200)
    xs, ys = curve[:, 0], curve[:, 1]
    rope = Relief(
        canvas, (xs.min() - 90, ys.min() - 90, xs.max() + 90, min(6010, ys.max() + 90)), 2
    )
    walked = np.concatenate([[0], np.cumsum(np.hypot(np.diff(xs), np.diff(ys)))])
    for at in np.arange(0, walked[-1], radius * 0.72):
        i = min(int(np.searchsorted(walked, at)), len(xs) - 2)
        turn = np.degrees(np.arctan2(ys[i + 1] - ys[i], xs[i + 1] - xs[i]))
        rope.ball(
            (float(xs[i]), float(ys[i]), 0),
            (radius * 1.34, radius * 0.52, radius * 0.8),
            float(turn) + 42,
        )
    fibre = together(texture("rope", (6, 20), 0.9, 4), texture("rope hairs", (3, 12), 0.5, 2))
    rope.paint(Material(srgb("d6c29a"), fibre, wrap=(0.2, 0.18, 0.15)), LIGHT, 0.8, radius * 1.2)
    rng = stream(f"rope {line[0][0]:.0f}")
    for _ in range(int(walked[-1] / 7)):
        i = int(rng.integers(0, len(xs) - 2))
        side, long, turn = rng.uniform(-1, 1) * radius, rng.uniform(14, 60), rng.uniform(0, 6.28)
        x, y = float(xs[i]) + side, float(ys[i]) + side * 0.6
        stroke(
            canvas,
            [
                (x, y, 1.1),
                (x + np.cos(turn) * long * 0.5 + 4, y + np.sin(turn) * long * 0.5, 1.0),
                (x + np.cos(turn) * long, y + np.sin(turn) * long, 0.6),
            ],
            srgb("f1e3c0"),
            rng.uniform(0.2, 0.6),
            3,
        )


def _megaphone(canvas: Canvas) -> None:
    """A tin cone, cream with a green bell, lettered round its side."""
    ax = np.array(BELL) - np.array(MOUTH)
    length = float(np.hypot(*ax))
    ux, uy = (np.float32(v) for v in ax / length)
    window = canvas.box(MOUTH[0] - 260, BELL[1] - 640, 4000, BELL[1] + 640)
    x, y = canvas.x(window) - np.float32(MOUTH[0]), canvas.y(window) - np.float32(MOUTH[1])
    t, v = (x * ux + y * uy) / np.float32(length), y * ux - x * uy
    r = RADII[0] + (RADII[1] - RADII[0]) * np.clip(t, 0, 1) ** np.float32(1.15)
    across = np.clip(v / r, -1, 1)
    depth = np.sqrt(1 - across * across)
    along = t - np.float32(0.055) * depth * r / RADII[1]
    edge = np.float32(canvas.reduce)
    cover = np.clip((r - np.abs(v)) / edge + 0.5, 0, 1)
    cover *= np.clip((along + 0.055) * length / edge + 0.5, 0, 1) * np.clip(
        (1 - along) * length / edge + 0.5, 0, 1
    )
    ny, nz = across * np.float32(0.96), depth
    nx = np.float32(-0.26) * np.ones_like(ny)
    dents = canvas.noise(window, (256, 256), "tin", 5, 0.5) * np.float32(0.03)
    lx, ly, lz = LIGHT.toward
    facing = np.clip((nx + dents) * lx + (ny + dents) * ly + nz * lz, 0, 1)
    paint = _cone_paint(canvas, window.shape, along, across)
    shine = np.exp(-(((across + 0.50 + dents) / 0.085) ** 2)) * np.float32(0.42) + np.exp(
        -(((across - 0.80) / 0.05) ** 2)
    ) * np.float32(0.10)
    fill = (
        np.float32(0.20)
        + np.float32(0.20) * (np.float32(0.5) - np.float32(0.5) * ny)
        + 0.16 * np.clip(ny, 0, 1) ** 2
    )
    colour = paint * (facing * 1.05 + fill)[..., None] * np.array([1.03, 0.98, 0.90], np.float32)
    colour += shine[..., None] * np.array([0.95, 0.96, 1.0], np.float32)
    canvas.over(window, colour, cover)
    _bell_rim(canvas, length, (float(ux), float(uy)))
    _mouthpiece(canvas)


def _cone_paint(canvas: Canvas, shape: tuple[int, int], along: Field, across: Field) -> Field:
    worn = octaves(shape, (128 / canvas.reduce, 128 / canvas.reduce), "tin paint", 7, 0.65)
    base = np.broadcast_to(CREAM, (*shape, 3)) * (1 + 0.035 * worn)[..., None]

    def band(low: float, high: float, colour: Field, soft: float = 0.0012) -> None:
        inside = smoothstep(low - soft, low + soft, along) * (
            1 - smoothstep(high - soft, high + soft, along)
        )
        base[:] = base + (colour * (1 + 0.05 * worn)[..., None] - base) * inside[..., None]

    band(0.80, 1.1, GREEN)
    band(0.765, 0.782, RED)
    band(-0.1, 0.06, srgb("2a2623"))
    angle = np.arcsin(across)
    ink = srgb("17243f")
    for text, left, right, up, tall, colour in (
        ("TERN QUAY", 0.34, 0.75, -0.50, 0.56, ink),
        ("ROWING CLUB", 0.46, 0.74, 0.17, 0.17, ink),
        ("COX'S MEGAPHONE No. 7   RETURN TO THE BOATHOUSE", 0.46, 0.745, 0.42, 0.052, ink),
        ("WAY ENOUGH  EASY ALL  HOLD HER UP  SPIN TO STARBOARD", 0.46, 0.745, 0.52, 0.044, ink),
    ):
        mask = np.asarray(lettering(text, 220, 0.06), np.float32) / 255
        row = (angle - np.float32(up)) / np.float32(tall) * mask.shape[0]
        column = (along - np.float32(left)) / np.float32(right - left) * mask.shape[1]
        got = _looked_up(mask, row, column)
        flake = smoothstep(-3.2, -2.5, worn)
        base = base + (colour - base) * (got * flake)[..., None]
    chips = smoothstep(
        2.5,
        2.8,
        octaves(shape, (64 / canvas.reduce, 64 / canvas.reduce), "tin chips", 6, 0.7)
        + 6 * np.clip(along - 0.93, 0, 0.2),
    )
    return np.asarray(
        base + (srgb("5b4a3c") - base) * (chips * np.float32(0.8))[..., None], np.float32
    )


def _looked_up(mask: Field, row: Field, column: Field) -> Field:
    """Bilinear samples of a mask, zero outside."""
    good = (row > 0) & (row < mask.shape[0] - 2) & (column > 0) & (column < mask.shape[1] - 2)
    out = np.zeros(row.shape, np.float32)
    r, c = row[good], column[good]
    r0, c0 = r.astype(np.int32), c.astype(np.int32)
    fr, fc = r - r0, c - c0
    top = mask[r0, c0] * (1 - fc) + mask[r0, c0 + 1] * fc
    low = mask[r0 + 1, c0] * (1 - fc) + mask[r0 + 1, c0 + 1] * fc
    out[good] = top * (1 - fr) + low * fr
    return out


def _bell_rim(canvas: Canvas, length: float, u: tuple[float, float]) -> None:
    """The rolled edge of the bell, an ellipse seen nearly edge on."""
    turn = np.linspace(-np.pi / 2, np.pi / 2, 40)
    points = []
    for a in turn:
        v, d = np.sin(a) * RADII[1], np.cos(a) * RADII[1] * 0.055 * length / RADII[1] * 1.0
        points.append(
            (BELL[0] + u[0] * d - u[1] * v, BELL[1] + u[1] * d + u[0] * v, 40 * np.cos(a), 15.0)
        )
    rim = Relief(canvas, (BELL[0] - 120, BELL[1] - 620, 4000, BELL[1] + 620), 2)
    rim.tube([tuple(float(v) for v in p) for p in points], steps=3)
    rim.paint(Material(GREEN * np.float32(0.8), gloss=0.5, shininess=30), LIGHT, 0.4, 20)


def _mouthpiece(canvas: Canvas) -> None:
    piece = Relief(canvas, (MOUTH[0] - 160, MOUTH[1] - 240, MOUTH[0] + 180, MOUTH[1] + 240), 2)
    x, y = MOUTH
    piece.tube(
        [(x - 72, y - 116, 10, 30), (x - 62, y - 2, 90, 40), (x - 40, y + 128, 10, 30)], steps=8
    )
    piece.paint(
        Material(srgb("1d1b1a"), texture("rubber", (8, 8), 0.5, 3), gloss=0.25, shininess=16),
        LIGHT,
        0.5,
        30,
    )


def _near_arm(canvas: Canvas) -> None:
    arm = Relief(canvas, (300, 2980, 2800, 5100), 8)
    arm.tube([(800, 3740, 300, 390), (1060, 4240, 420, 335), (1400, 4640, 500, 285)], steps=10)
    arm.tube([(1400, 4640, 500, 280), (1960, 4080, 520, 246), (2390, 3430, 480, 190)], 90, steps=10)
    arm.paint(_cloth_red("sleeve", 30, 512), LIGHT, 0.75, 130)
    cuff = Relief(canvas, (2120, 2960, 2780, 3760), 4)
    cuff.tube([(2330, 3520, 480, 176), (2440, 3350, 480, 158), (2500, 3240, 480, 150)], steps=8)
    cuff.paint(
        Material(
            srgb("182a4c"),
            together(_ribs(58), texture("cuff wool", (10, 10), 1.2, 4)),
            wrap=(0.15, 0.15, 0.15),
        ),
        LIGHT,
        0.6,
        60,
    )


def _ribs(turn: float) -> Paint:
    c, s = np.float32(np.cos(np.radians(turn))), np.float32(np.sin(np.radians(turn)))

    def bump(x: Field, y: Field) -> Field:
        v = y * c + x * s
        u = x * c - y * s
        return np.asarray(
            9 * np.abs(np.sin(v * np.float32(0.085))) + 2.5 * np.sin(u * np.float32(0.3)),
            np.float32,
        )

    return bump


def _finger(hand: Relief, joints: Sequence[Sequence[float]]) -> None:
    hand.tube(joints, 24, steps=8)
    for x, y, z, r in joints[1:-1]:
        hand.ball((x, y, z + r * 0.12), (r * 1.05, r * 1.05, r), blend=20)


def _hand(canvas: Canvas) -> None:
    """Round the grip below the cone, the first finger up along the tin."""
    grip = Relief(canvas, (2480, 2700, 2980, 3420), 4)
    grip.tube([(2790, 2790, 300, 84), (2770, 3060, 320, 88), (2740, 3330, 300, 92)], steps=8)
    grip.paint(
        Material(srgb("2b2725"), texture("grip", (14, 14), 1.2, 4), gloss=0.2, shininess=18),
        LIGHT,
        0.5,
        50,
    )
    hand = Relief(canvas, (2320, 2560, 3180, 3480), 4)
    hand.tube([(2470, 3270, 470, 132), (2540, 3140, 500, 142), (2600, 3030, 510, 150)], steps=10)
    hand.ball((2590, 3060, 510), (170, 190, 120), 20, 70)
    fingers = [
        [
            (2680, 2886, 560, 70),
            (2822, 2836, 636, 64),
            (2900, 2888, 606, 56),
            (2884, 2944, 530, 48),
        ],
        [
            (2690, 2972, 570, 72),
            (2840, 2944, 640, 65),
            (2908, 3010, 600, 57),
            (2886, 3060, 520, 50),
        ],
        [
            (2684, 3064, 570, 70),
            (2828, 3066, 636, 63),
            (2892, 3132, 596, 55),
            (2866, 3180, 510, 48),
        ],
        [
            (2660, 3156, 556, 64),
            (2784, 3180, 616, 57),
            (2840, 3240, 576, 50),
            (2812, 3284, 500, 42),
        ],
    ]
    for joints in fingers:
        _finger(hand, joints)
    for joints, (wx, wy) in zip(
        fingers, ((2520, 3120), (2510, 3150), (2500, 3180), (2492, 3210)), strict=True
    ):
        kx, ky, kz, kr = joints[0]
        hand.tube(
            [
                (wx, wy, 600, 13),
                ((wx + kx) / 2, (wy + ky) / 2, 626, 16),
                (kx, ky, kz + kr * 0.8, 15),
            ],
            44,
        )
    hand.paint(_skin("hand", 0.98), LIGHT, 0.7, 90)
    f = Frame(canvas, 0, 0, 1)
    rng = stream("cox creases")
    for x, y, turn in (
        (2822, 2838, 8),
        (2842, 2944, 20),
        (2830, 3066, 24),
        (2786, 3180, 28),
        (2680, 2888, -10),
        (2694, 2972, 0),
        (2688, 3064, 6),
        (2664, 3156, 14),
    ):
        c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
        for k in range(4):
            u, half = (k - 1.5) * 13 + rng.normal(0, 2), rng.uniform(24, 44)
            line = [
                (x + u * c + half * s, y + u * s - half * c, 0.8),
                (x + (u + rng.normal(0, 4)) * c, y + u * s, 2.6),
                (x + u * c - half * s, y + u * s + half * c, 0.8),
            ]
            f.line(line, srgb("6d3d2a"), 0.4)
            f.line([(a + 4, b + 4, w) for a, b, w in line], srgb("f2caa8"), 0.2)


def _lanyard(canvas: Canvas) -> None:
    line = [
        (2750, 3400),
        (2790, 3640),
        (2700, 3960),
        (2560, 4300),
        (2600, 4620),
        (2740, 4560),
        (2720, 4200),
        (2700, 3760),
    ]
    _rope(canvas, line, 15)

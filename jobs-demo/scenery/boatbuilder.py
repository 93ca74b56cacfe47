"""A boatbuilder's hands, planing a cedar plank."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from scenery.canvas import Canvas, Point, lettering, outline, place_mask, polygon, spline, srgb
from scenery.cloth import cloth, fibres, surroundings, texture, timber
from scenery.files import develop, sensor_noise, write_cmyk_tiff
from scenery.nature import gradient
from scenery.noise import Field, octaves, smoothstep, stream
from scenery.relief import SKIN_WRAP, Light, Material, Paint, Relief, stroke

SIZE = (3200, 3200)
LIGHT = Light((-0.52, -0.62, 0.58), (1.12, 0.98, 0.78), (0.24, 0.25, 0.28), (0.17, 0.125, 0.085))
CEDAR, LATE = srgb("d09a68"), srgb("9a5a35")
STEEL = surroundings((0.62, 0.64, 0.66), (0.42, 0.44, 0.48), (0.09, 0.08, 0.07), (0.30, 0.20, 0.12))
Edge = tuple[float, float, float]  # x, y, half width
SKIN = srgb("c08a68")


def draw(path: Path, reduce: int = 1) -> None:
    """From the back of the workshop forward."""
    canvas = Canvas(*SIZE, reduce)
    _workshop(canvas)
    _plank(canvas)
    _shavings_behind(canvas)
    _dust(canvas)
    _plane(canvas)
    _left_hand(canvas)
    _sleeve(canvas, "left")
    _right_hand(canvas)
    _sleeve(canvas, "right")
    _curl(canvas)
    _loose(canvas)
    develop(canvas, 1.12, 0.8)
    sensor_noise(canvas, "hands", 0.006)
    write_cmyk_tiff(canvas, path)


def _workshop(canvas: Canvas) -> None:
    """Out of focus: a window, the ribs of a boat, tools on the wall."""
    gradient(
        canvas,
        canvas.everything,
        [(0, srgb("3a2f27")), (1500, srgb("5a4534")), (3200, srgb("2a1f17"))],
    )
    wall = canvas.box(0, 0, 3200, 1900)
    boards = canvas.noise(wall, (1024, 64), "shop wall", 5, 0.6)
    canvas.rgb[wall.slices] *= (1 + 0.22 * boards)[..., None]
    for x in (120.0, 480.0, 840.0):
        for y in (60.0, 460.0):
            w, c = polygon(canvas, [(x, y), (x + 320, y + 10), (x + 320, y + 370), (x, y + 360)])
            outside = np.array([0.74, 0.82, 0.86] if y < 300 else [0.62, 0.72, 0.55], np.float32)
            canvas.over(w, outside * np.float32(1.06), c)
    for i in range(7):
        x = 1500 + i * 290
        rib = [
            (x, 1750.0, 34.0),
            (x - 60 + 12 * i, 1180, 34),
            (x + 120 + 16 * i, 640 - 24 * i, 30),
            (x + 330 + 14 * i, 330 - 20 * i, 26),
        ]
        stroke(canvas, rib, srgb("a87343") * np.float32(0.75 - 0.05 * i), 1, 12)
    for i in range(4):
        strake = [
            (1350.0, 1240.0 + 150 * i, 26.0),
            (2200, 1130 + 165 * i, 26),
            (3260, 900 + 190 * i, 26),
        ]
        stroke(canvas, strake, srgb("bb8450") * np.float32(0.8), 1, 12)
    canvas.soften(canvas.box(0, 0, 3200, 1950), 44)
    rng = stream("motes")
    for _ in range(70):
        x, y, r = rng.uniform(0, 3200), rng.uniform(0, 1500), rng.uniform(8, 34)
        part = canvas.box(x - r - 4, y - r - 4, x + r + 4, y + r + 4)
        d = np.hypot(canvas.x(part) - np.float32(x), canvas.y(part) - np.float32(y))
        canvas.glow(
            part, (1.0, 0.8, 0.5), np.clip((r - d) / 4, 0, 1) * np.float32(rng.uniform(0.01, 0.05))
        )


TOP = ((-60.0, 1960.0), (3260.0, 1770.0), (3260.0, 2420.0), (-60.0, 2680.0))
FRONT = ((-60.0, 2680.0), (3260.0, 2420.0), (3260.0, 2610.0), (-60.0, 2890.0))
TURN = -4.0


def _plank(canvas: Canvas) -> None:
    bench = canvas.box(0, 1900, 3200, 3200)
    x, y = canvas.x(bench), canvas.y(bench)
    old = timber(srgb("7c5b3e"), srgb("3f2b1c"), "bench", 60, TURN - 1)(x, y)
    scuffs = canvas.noise(bench, (64, 256), "scuffs", 6, 0.65)
    dark = 0.30 + 0.25 * smoothstep(2500, 3200, y)
    lay = smoothstep(-12, 12, y - (np.float32(2010) - x * np.float32(0.057)))
    canvas.over(bench, old * (dark * (1 + 0.16 * scuffs))[..., None], lay)
    w, c = polygon(canvas, [(-60, 2880), (3260, 2600), (3260, 2760), (-60, 3080)], 36)
    canvas.stain(w, (0.05, 0.05, 0.06), c * np.float32(0.85))
    top = Relief(canvas, (-10, 1700, 3210, 2720), 8)
    top.slab(list(TOP), 0, 6, 12)
    rows = fibres("plank fibres", TURN, 0.32)
    grain = timber(CEDAR, LATE, "plank", 52, TURN)
    top.paint(
        Material(grain, rows, gloss=0.07, shininess=8, wrap=(0.1, 0.1, 0.1)),
        LIGHT,
        self_shadow=False,
    )
    front = Relief(canvas, (-10, 2380, 3210, 2920), 8)
    front.slab(list(FRONT), 0, 6, 10)
    edge = timber(CEDAR * 0.52, LATE * 0.5, "plank edge", 30, TURN - 0.6)
    front.paint(Material(edge, rows), LIGHT, self_shadow=False)
    stroke(canvas, [(-60, 2680, 3), (3260, 2420, 3)], srgb("f0cfa4"), 0.55)
    stroke(canvas, [(-60, 2480, 2), (1700, 2355, 1.6), (3260, 2245, 1.2)], (0.06, 0.05, 0.05), 0.55)
    mask = lettering("TERN QUAY  No. 3  STB'D", 90, 0.05)
    at = [(2330, 2330), (2960, 2283), (2963, 2330), (2333, 2379)]
    w, c = place_mask(canvas, mask, at)
    pencil = np.clip(0.5 + 0.3 * canvas.noise(w, (4, 4), "pencil", 3), 0, 1)
    canvas.stain(w, (0.22, 0.2, 0.2), c * pencil)
    canvas.soften(canvas.box(0, 1700, 3200, 1960), 3)


def _on_plane(*points: Point) -> list[Point]:
    """From the plane's own frame (along the sole, down) to the picture."""
    return [(760 + u, 2262 + v - 0.073 * u) for u, v in points]


def _plane(canvas: Canvas) -> None:
    """An iron bench plane, its sole on the plank, moving right."""
    w, c = polygon(canvas, [(620, 2290), (2420, 2160), (2560, 2240), (760, 2400)], 30)
    canvas.stain(w, (0.08, 0.05, 0.04), c * np.float32(0.85))

    p = _on_plane
    iron = Material(
        srgb("4b4e50"),
        texture("iron", (8, 128), 0.07, 4),
        gloss=0.35,
        shininess=26,
        mirror=STEEL,
        mirror_share=0.30,
    )
    far = Relief(canvas, (700, 1800, 2560, 2320), 4)
    far.slab(
        p(
            (30, -40),
            (560, -60),
            (640, -190),
            (900, -205),
            (1040, -90),
            (1700, -60),
            (1760, -20),
            (1700, 10),
            (40, 10),
        ),
        0,
        10,
        12,
    )
    far.paint(iron, LIGHT, self_shadow=False)
    _tote(canvas)
    _blade(canvas)
    knob = Relief(canvas, (2120, 1760, 2420, 2160), 4)
    kx, ky = p((1490, -60))[0]
    knob.tube(
        [
            (kx, ky, 0, 74),
            (kx + 2, ky - 60, 0, 50),
            (kx + 2, ky - 120, 0, 62),
            (kx, ky - 168, 0, 84),
            (kx, ky - 196, 0, 70),
        ],
        steps=10,
    )
    rose = timber(srgb("7a3a1e"), srgb("3a160b"), "knob", 26, 80, 512)
    knob.paint(Material(rose, gloss=0.45, shininess=40, wrap=(0.1, 0.08, 0.05)), LIGHT, 0.4, 30)
    side = Relief(canvas, (700, 1840, 2600, 2360), 4)
    cheek = [
        (0, -30),
        (120, -46),
        (540, -52),
        (640, -150),
        (740, -186),
        (900, -182),
        (1010, -90),
        (1120, -56),
        (1680, -52),
        (1776, -22),
        (1784, 34),
        (1720, 44),
        (20, 44),
        (-14, 10),
    ]
    side.slab(outline(p(*cheek), 5), 20, 20, 18)
    side.paint(iron, LIGHT, cast=0.5, cast_reach=30, self_shadow=False)
    ground = [(-10, 30), (1780, 30)]
    (ax, ay), (bx, by) = p(*ground)
    stroke(canvas, [(ax, ay, 9), (bx, by, 9)], (0.34, 0.35, 0.36), 0.9)
    stroke(canvas, [(ax, ay + 13, 4), (bx, by + 13, 4)], (0.02, 0.015, 0.012), 0.9)
    mask = lettering("TERN QUAY", 90, 0.16)
    w, c = place_mask(canvas, mask, p((1170, -30), (1420, -30), (1420, 6), (1170, 6)))
    canvas.over(w, (0.42, 0.43, 0.44), c * np.float32(0.75))


def _tote(canvas: Canvas) -> None:
    place = _on_plane
    tote = Relief(canvas, (700, 1560, 1320, 2260), 4)
    shape = place(
        (150, -50),
        (500, -60),
        (470, -120),
        (410, -190),
        (392, -290),
        (400, -370),
        (360, -430),
        (270, -440),
        (190, -410),
        (150, -430),
        (110, -400),
        (180, -330),
        (230, -240),
        (220, -140),
    )
    tote.slab(outline(shape, 8), 10, 46, 70)
    rose = timber(srgb("7a3a1e"), srgb("3a160b"), "tote", 30, 64, 512)
    tote.paint(Material(rose, gloss=0.4, shininess=30, wrap=(0.1, 0.08, 0.05)), LIGHT, 0.4, 30)


def _blade(canvas: Canvas) -> None:
    place = _on_plane
    iron = Relief(canvas, (1160, 1600, 1800, 2240), 4)
    shape = place((930, -70), (990, -110), (700, -420), (610, -440), (590, -400))
    iron.slab(shape, 5, 12, 12)
    steel = Material(
        srgb("8a8c8e"),
        texture("blade steel", (4, 128), 0.08, 3),
        gloss=0.4,
        shininess=20,
        mirror=STEEL,
        mirror_share=0.25,
    )
    iron.paint(steel, LIGHT, 0.3, 20, self_shadow=False)
    cap = Relief(canvas, (1160, 1640, 1800, 2240), 4)
    cap.tube(
        [
            (*place((900, -120))[0], 10, 26),
            (*place((760, -260))[0], 16, 34),
            (*place((690, -330))[0], 14, 22),
        ]
    )
    cap.paint(steel, LIGHT, 0.4, 20)
    wheel = Relief(canvas, (1160, 1900, 1500, 2260), 2)
    cx, cy = place((578, -84))[0]
    wheel.ball((cx, cy, 20), (44, 44, 20))
    wheel.ball((cx, cy, 34), (20, 20, 12))
    brass = Material(srgb("b08a3e"), texture("brass", (8, 8), 0.5, 3), gloss=0.5, shininess=24)
    wheel.paint(brass, LIGHT, 0.5, 16)


def _flesh(name: str, tone: float = 1.0) -> Material:
    """Working hands: mottled, creased, with a little dust in the creases."""
    warm = SKIN * np.float32(tone)

    def ink(x: Field, y: Field) -> Field:
        step = float(x[0, 1] - x[0, 0])
        shape = (y.shape[0], x.shape[1])
        n = octaves(shape, (150 / step, 150 / step), name, 7, 0.62)
        red = octaves(shape, (260 / step, 260 / step), name + " red", 4, 0.5)
        out = warm * (1 + 0.075 * n)[..., None]
        out *= 1 + np.array([0.02, -0.035, -0.045], np.float32) * red[..., None]
        return np.asarray(out, np.float32)

    pores = texture(name + " pores", (16, 24), 0.38, 5)
    lines = texture(name + " lines", (36, 16), 0.42, 3)
    return Material(
        ink, lambda x, y: pores(x, y) + lines(x, y), gloss=0.16, shininess=12, wrap=SKIN_WRAP
    )


FOREARM = {
    "left": [
        (1180, 60, -80, 200),
        (1560, 640, -60, 172),
        (1930, 1260, -20, 128),
        (2080, 1490, 10, 106),
    ],
    "right": [
        (-260, 560, 20, 220),
        (140, 940, 40, 194),
        (500, 1310, 56, 146),
        (640, 1462, 66, 122),
    ],
}
CUFF = {
    "left": [(560, -620, -40, 250), (1000, -160, -40, 250), (1260, 200, -40, 236)],
    "right": [(-760, -60, 60, 290), (-200, 470, 60, 284), (20, 700, 60, 262)],
}


def _sleeve(canvas: Canvas, which: str) -> None:
    """A shirt sleeve rolled to the elbow."""
    cuff = CUFF[which]
    (cx, cy, cz, _), (ex, ey, _, er) = cuff[1], cuff[2]
    roll = Relief(canvas, (cx - 500, max(-20, cy - 700), ex + 420, ey + 420), 8)
    roll.tube(cuff, steps=10)
    along = np.array([ex - cx, ey - cy]) / np.hypot(ex - cx, ey - cy)
    across = np.array([-along[1], along[0]])
    for k in range(3):
        mid = np.array([ex, ey]) - along * (60 * k)
        a, b = mid - across * er * 0.82, mid + across * er * 0.82
        crest = (mid[0] + along[0] * 60, mid[1] + along[1] * 60, cz + er * 0.75, 66)
        roll.tube([(a[0], a[1], cz + 30, 60), crest, (b[0], b[1], cz + 30, 60)], 26)
    roll.paint(cloth(_checked(along), f"{which} sleeve", 7, 22, 230), LIGHT, 0.7, 80)


def _checked(along: NDArray[np.float64]) -> Paint:
    base, line = srgb("5b7083"), srgb("c7d0d2")

    def ink(x: Field, y: Field) -> Field:
        u = x * np.float32(along[0]) + y * np.float32(along[1])
        v = y * np.float32(along[0]) - x * np.float32(along[1])
        bars = smoothstep(0.84, 0.90, np.sin(u * np.float32(0.052))) + smoothstep(
            0.84, 0.90, np.sin(v * np.float32(0.052))
        )
        return np.asarray(base + (line - base) * np.clip(bars * 0.55, 0, 1)[..., None], np.float32)

    return ink


def _hairs(canvas: Canvas, joints: Sequence[Sequence[float]], which: str) -> None:
    rng = stream(which + " hairs")
    line = spline(joints, 20)
    for _ in range(420):
        i = int(rng.integers(18, len(line) - 6))
        x, y, _, r = (float(v) for v in line[i])
        d = line[i + 1, :2] - line[i, :2]
        d /= max(float(np.hypot(*d)), 1e-6)
        t = rng.uniform(-0.85, 0.75)
        x0, y0 = x - d[1] * r * t, y + d[0] * r * t
        long, turn = rng.uniform(26, 58), rng.normal(0.35, 0.3)
        dx, dy = (
            d[0] * np.cos(turn) - d[1] * np.sin(turn),
            d[1] * np.cos(turn) + d[0] * np.sin(turn),
        )
        hair = [
            (x0, y0, 1.4),
            (x0 + dx * long * 0.5, y0 + dy * long * 0.5 + 3, 1.1),
            (x0 + dx * long, y0 + dy * long + 9, 0.5),
        ]
        stroke(canvas, hair, srgb("5a3d28"), rng.uniform(0.25, 0.6), 3)


def _finger(hand: Relief, joints: Sequence[Sequence[float]], blend: float = 16) -> None:
    hand.tube(joints, blend, steps=8)
    for x, y, z, r in joints[1:-1]:
        hand.ball((x, y, z + r * 0.15), (r * 1.06, r * 1.06, r * 1.0), blend=14)


def _nail(canvas: Canvas, x: float, y: float, turn: float, size: float) -> None:
    c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))

    def p(*points: Point) -> list[Point]:
        return [(x + (u * c - v * s) * size, y + (u * s + v * c) * size) for u, v in points]

    bed = p((-20, -15), (4, -19), (22, -14), (27, 0), (22, 14), (4, 19), (-20, 15), (-27, 0))
    w, cover = polygon(canvas, outline(bed, 6), 3)
    canvas.stain(w, (0.55, 0.42, 0.36), cover * np.float32(0.75))
    nail = Relief(canvas, (x - 60 * size, y - 60 * size, x + 60 * size, y + 60 * size), 1)
    nail.slab(
        outline(
            p((-17, -12), (4, -16), (19, -11), (23, 0), (19, 11), (4, 16), (-17, 12), (-23, 0)), 6
        ),
        0,
        7,
        16,
    )
    ridges = texture(f"nail {x:.0f}", (8, 32), 0.25, 3)
    nail.paint(Material(srgb("dba98e"), ridges, gloss=0.32, shininess=24, wrap=SKIN_WRAP), LIGHT)
    tip = [(*p((20, -9))[0], 1.6), (*p((25, 0))[0], 2.8), (*p((20, 9))[0], 1.6)]
    stroke(canvas, tip, srgb("efdcc6"), 0.6)


def _creases(canvas: Canvas, x: float, y: float, turn: float, size: float, count: int = 4) -> None:
    """Wrinkles over a knuckle."""
    c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    rng = stream(f"crease {x:.0f} {y:.0f}")
    for k in range(count):
        u = (k - (count - 1) / 2) * 10 * size + rng.normal(0, 1.2)
        half, bow = (
            (34 - abs(k - (count - 1) / 2) * 7) * size * rng.uniform(0.8, 1.1),
            rng.normal(0, 4),
        )
        line = [
            (x + a * c - v * s, y + a * s + v * c, w)
            for a, v, w in ((u, -half, 0.8), (u + bow, 0, 2.6 * size), (u, half, 0.8))
        ]
        stroke(canvas, line, srgb("5f3423"), 0.42)
        stroke(canvas, [(a + 3, b + 3, w * 0.7) for a, b, w in line], srgb("eec3a0"), 0.22)


def _right_hand(canvas: Canvas) -> None:
    """Wrapped round the tote, the first finger laid along the iron."""
    hand = Relief(canvas, (-20, 400, 1640, 2240), 4)
    hand.tube([*FOREARM["right"], (790, 1630, 92, 132), (900, 1740, 96, 120)], steps=10)
    hand.ball((900, 1720, 88), (176, 150, 112), 40, 60)
    hand.ball((862, 1830, 90), (92, 100, 84), 20, 80)
    fingers = (
        [
            (1010, 1668, 130, 62),
            (1160, 1690, 168, 56),
            (1290, 1742, 150, 50),
            (1400, 1800, 118, 42),
        ],
        [(1020, 1756, 140, 62), (1146, 1800, 196, 58), (1180, 1876, 150, 50), (1150, 1918, 90, 44)],
        [(1000, 1846, 136, 58), (1112, 1892, 186, 55), (1144, 1960, 140, 48), (1116, 2000, 84, 42)],
        [(956, 1930, 120, 52), (1056, 1976, 160, 48), (1084, 2034, 118, 42), (1060, 2066, 70, 36)],
    )
    for joints in fingers:
        _finger(hand, joints)
    hand.tube(
        [(830, 1560, 130, 66), (930, 1556, 170, 54), (1030, 1590, 176, 46), (1090, 1612, 160, 40)],
        30,
        8,
    )
    for (kx, ky, kz, kr), (wx, wy) in zip(
        [f[0] for f in fingers], ((770, 1580), (760, 1640), (750, 1690), (740, 1740)), strict=True
    ):
        hand.tube(
            [
                (wx, wy, 196, 12),
                ((wx + kx) / 2, (wy + ky) / 2, 200, 13),
                (kx, ky, kz + kr * 0.75, 12),
            ],
            34,
        )
    hand.tube(
        [(700, 1620, 190, 9), (800, 1700, 206, 11), (850, 1790, 196, 10), (930, 1850, 186, 8)], 14
    )
    hand.paint(_flesh("right hand"), LIGHT, 0.75, 60)
    _hairs(canvas, FOREARM["right"], "right")
    for x, y, turn in (
        (1170, 1680, 20),
        (1290, 1735, 28),
        (1150, 1792, 30),
        (1118, 1884, 32),
        (1062, 1966, 32),
    ):
        _creases(canvas, x, y, turn, 0.85)
    for x, y, turn in ((1015, 1650, 10), (1018, 1742, 18), (996, 1836, 22), (950, 1922, 26)):
        _creases(canvas, x, y, turn, 0.9, 3)
    _creases(canvas, 940, 1546, 10, 0.7, 3)
    _nail(canvas, 1388, 1782, 30, 1.15)
    _nail(canvas, 1078, 1598, 22, 1.05)


def _left_hand(canvas: Canvas) -> None:
    """Bearing down on the knob, fingers over its front, the thumb on the near side."""
    hand = Relief(canvas, (900, -20, 2720, 2240), 4)
    hand.tube([*FOREARM["left"], (2180, 1640, 50, 122), (2240, 1730, 70, 118)], steps=10)
    hand.ball((2246, 1720, 70), (150, 138, 100), 30, 60)
    fingers = (
        [(2350, 1690, 70, 56), (2470, 1740, 90, 51), (2524, 1850, 80, 46), (2508, 1944, 60, 38)],
        [(2340, 1738, 100, 58), (2440, 1800, 130, 53), (2478, 1916, 116, 47), (2458, 2010, 90, 40)],
        [
            (2310, 1790, 124, 56),
            (2392, 1862, 160, 51),
            (2416, 1972, 142, 46),
            (2392, 2056, 114, 39),
        ],
        [
            (2260, 1830, 134, 50),
            (2320, 1908, 168, 46),
            (2334, 2002, 150, 41),
            (2312, 2070, 124, 35),
        ],
    )
    for joints in fingers:
        _finger(hand, joints)
    hand.tube(
        [
            (2160, 1740, 140, 62),
            (2150, 1840, 176, 54),
            (2190, 1940, 180, 48),
            (2226, 2006, 166, 40),
        ],
        34,
        8,
    )
    for (kx, ky, kz, kr), (wx, wy) in zip(
        [f[0] for f in fingers],
        ((2170, 1570), (2150, 1600), (2130, 1630), (2110, 1660)),
        strict=True,
    ):
        hand.tube(
            [
                (wx, wy, 136, 10),
                ((wx + kx) / 2, (wy + ky) / 2, 160, 12),
                (kx, ky, kz + kr * 0.75, 12),
            ],
            34,
        )
    hand.paint(_flesh("left hand", 0.98), LIGHT, 0.75, 60)
    _hairs(canvas, FOREARM["left"], "left")
    for x, y, turn in (
        (2470, 1735, 50),
        (2440, 1795, 55),
        (2392, 1858, 58),
        (2320, 1904, 62),
        (2522, 1850, 92),
        (2478, 1914, 94),
        (2416, 1970, 96),
        (2336, 2000, 96),
    ):
        _creases(canvas, x, y, turn, 0.75)
    _creases(canvas, 2152, 1844, 70, 0.8, 4)
    _nail(canvas, 2504, 1948, 98, 0.95)
    _nail(canvas, 2452, 2016, 100, 1.0)
    _nail(canvas, 2386, 2060, 102, 0.98)
    _nail(canvas, 2306, 2074, 104, 0.88)
    _nail(canvas, 2222, 1996, 64, 1.1)


# --- shavings ---


def _strip(canvas: Canvas, points: list[Edge], bright: float = 1.0) -> None:
    """A thin curl of cedar: bright towards the light, glowing where it comes through."""
    line = spline(points, 16)
    d = np.gradient(line[:, :2], axis=0)
    d /= np.maximum(np.hypot(d[:, :1], d[:, 1:]), 1e-6)
    lean = np.array([0.30, 0.95])  # the strip's width, seen in perspective
    for i in range(len(line) - 1):
        a, b = line[i], line[i + 1]
        wa, wb = lean * a[2], lean * b[2]
        quad = [
            (float(q[0]), float(q[1])) for q in (a[:2] - wa, b[:2] - wb, b[:2] + wb, a[:2] + wa)
        ]
        facing = float(d[i, 1] * -0.55 + d[i, 0] * 0.62)
        light = 0.42 + 0.46 * max(facing, 0) + 0.20 * max(-facing, 0)
        w, cover = polygon(canvas, quad, 0.0)
        if 0 in w.shape:
            continue
        through = 0.16 * max(-facing, 0)
        base = (
            srgb("e7bd86") * np.float32(light)
            + np.array([0.30, 0.12, 0.02], np.float32) * np.float32(through)
        ) * np.float32(bright)
        along = (canvas.y(w) - canvas.x(w) * np.float32(0.3)) * np.float32(0.55)
        streak = np.sin(along) * np.float32(0.05) + np.sin(
            along * np.float32(2.7) + i * 0.05
        ) * np.float32(0.035)
        canvas.over(w, base * (1 + streak)[..., None], cover)
        for sign, ink in ((-1, srgb("fff0d0")), (1, srgb("8a5a34"))):
            ends = [(*(q[:2] + sign * lean * q[2]).tolist(), 1.5) for q in (a, b)]
            stroke(canvas, ends, ink, 0.55)


def _spiral(
    x: float, y: float, r: float, turns: float, start: float, width: float, drift: float
) -> list[Edge]:
    rng = stream(f"spiral {x:.0f} {y:.0f}")
    count = int(turns * 10)
    wobble = rng.normal(0, 0.10, count + 1).cumsum() * 0.4
    out = []
    for i in range(count + 1):
        t = i / count
        angle = start + t * turns * 2 * np.pi
        size = r * (1 - 0.45 * t + wobble[i] * 0.4)
        px = x + size * np.cos(angle) + drift * t * (1 + 0.5 * t)
        py = y + 0.8 * size * np.sin(angle) - 0.12 * drift * t
        taper = min(1.0, 4 * t + 0.25, 4 * (1 - t) + 0.2)
        out.append((float(px), float(py), float(width * taper)))
    return out


def _shadowed(canvas: Canvas, x: float, y: float, rx: float, ry: float) -> None:
    part = canvas.box(x - 2 * rx, y - 2 * ry, x + 2 * rx, y + 2 * ry)
    d = np.hypot((canvas.x(part) - np.float32(x)) / rx, (canvas.y(part) - np.float32(y)) / ry)
    canvas.stain(part, (0.15, 0.09, 0.06), np.exp(-d * d * 1.4) * np.float32(0.75))


def _shavings_behind(canvas: Canvas) -> None:
    for i, (x, y, r) in enumerate(
        ((380.0, 2060.0, 90.0), (2820.0, 1890.0, 80.0), (120.0, 2180.0, 70.0))
    ):
        _shadowed(canvas, x + 30, y + r * 0.8, r * 1.4, r * 0.4)
        _strip(canvas, _spiral(x, y, r, 1.7, 0.6 + i, 34, 200), 0.85)


def _curl(canvas: Canvas) -> None:
    """The shaving coming out of the mouth of the plane, over the near cheek."""
    points = [
        (1690, 2060, 52),
        (1730, 1960, 54),
        (1780, 1850, 56),
        (1880, 1780, 56),
        (1990, 1800, 54),
        (2030, 1890, 52),
        (1970, 1960, 50),
        (1880, 1940, 46),
        (1850, 1880, 42),
        (1890, 1840, 36),
        (1940, 1860, 28),
    ]
    _strip(canvas, [(float(a), float(b), float(c)) for a, b, c in points])


def _loose(canvas: Canvas) -> None:
    for i, (x, y, r, turns) in enumerate(
        (
            (420.0, 2440.0, 120.0, 2.2),
            (820.0, 2560.0, 96.0, 1.8),
            (2700.0, 2210.0, 110.0, 2.0),
            (1500.0, 2760.0, 130.0, 2.3),
            (2480.0, 2840.0, 140.0, 2.1),
            (300.0, 2960.0, 150.0, 1.9),
            (1020.0, 3010.0, 110.0, 1.6),
            (2960.0, 2700.0, 96.0, 1.7),
        )
    ):
        _shadowed(canvas, x + 40, y + r * 0.85, r * 1.5, r * 0.45)
        _strip(
            canvas,
            _spiral(x, y, r, turns, 0.4 + 1.1 * i, 34 + 4 * (i % 4), (250, 330, -280)[i % 3]),
        )


def _dust(canvas: Canvas) -> None:
    rng = stream("dust")
    for _ in range(900):
        x = rng.uniform(0, 3200)
        y = rng.uniform(1990, 2660) - x * 0.07
        long, turn = rng.exponential(9) + 2, rng.uniform(0, 3.1)
        stroke(
            canvas,
            [(x, y, 1.3), (x + np.cos(turn) * long, y + np.sin(turn) * long * 0.5, 1.0)],
            srgb("f0cf9e"),
            rng.uniform(0.3, 0.85),
        )

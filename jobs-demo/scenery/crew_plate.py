"""The crew of 1926 before the boathouse, as an old glass plate shows it."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from scenery.canvas import Canvas, lettering, outline, place_mask, polygon, srgb
from scenery.cloth import banded, cloth, hair, knit, planks, skin, texture, weave
from scenery.crew import Frame
from scenery.files import write_grey_png
from scenery.noise import Field, blur, grain, smoothstep, stream
from scenery.relief import Light, Material, Relief, stroke

SIZE = (2480, 3508)
LIGHT = Light((-0.38, -0.62, 0.68), (0.92, 0.92, 0.92), (0.42, 0.42, 0.44), (0.20, 0.20, 0.19))
PLATE_RESPONSE = (0.10, 0.38, 0.52)  # an old emulsion sees mostly blue
DARK, CREAM, NAVY = srgb("20242c"), srgb("d8d6cc"), srgb("2a3040")

TONES = tuple(srgb(code) for code in ("d0a184", "c79778", "d8ab90", "b98868"))


def draw(path: Path, reduce: int = 1) -> None:
    """The scene in colour first; then the plate that saw it."""
    canvas = Canvas(*SIZE, reduce)
    _boathouse(canvas)
    _ground(canvas)
    _oars(canvas)
    for i, x in enumerate((520.0, 985.0, 1475.0, 1945.0)):
        _standing(Frame(canvas, x, 1345 + 16 * ((i * 7) % 3), 1.13), i)
    _bench(canvas)
    for i, x in enumerate((350.0, 915.0, 1560.0, 2120.0)):
        _seated(Frame(canvas, x, 1830 + 14 * ((i * 5) % 3), 1.16), i + 4)
    _cox(Frame(canvas, 1238, 2420, 1.04))
    _plate(canvas)
    write_grey_png(canvas, path)


def _boathouse(canvas: Canvas) -> None:
    wall = canvas.box(0, 0, 2480, 2700)
    boards = planks(canvas, wall, (srgb("9a9c98"), srgb("63635f")), 74, "plate boards")
    canvas.rgb[wall.slices] = boards * np.float32(0.62)
    for left, right in ((250, 1190), (1290, 2230)):
        _door(canvas, left, right)
    board = [(560, 330), (1920, 330), (1920, 540), (560, 540)]
    w, cover = polygon(canvas, board)
    canvas.stain(
        w, (0.25, 0.25, 0.25), np.roll(blur(cover, 8 / canvas.reduce), 14 // canvas.reduce, 0)
    )
    worn = canvas.noise(w, (32, 128), "sign", 6, 0.65)[..., None]
    canvas.over(w, srgb("1b1d22") * (1 + 0.12 * worn), cover)
    for text, y, tall, half in (("TERN QUAY", 358, 96, 480), ("ROWING CLUB", 478, 40, 250)):
        mask = lettering(text, 150, 0.12)
        w, cover = place_mask(
            canvas,
            mask,
            [(1240 - half, y), (1240 + half, y), (1240 + half, y + tall), (1240 - half, y + tall)],
        )
        flake = smoothstep(-1.9, -0.9, canvas.noise(w, (16, 16), "flake " + text, 5, 0.7))
        canvas.over(w, srgb("e6e3d6") * np.float32(0.8), cover * flake)
    eave = canvas.box(0, 0, 2480, 240)
    canvas.stain(
        eave,
        (0.12, 0.12, 0.13),
        1 - smoothstep(70, 240, canvas.y(eave)) * np.ones((1, eave.shape[1]), np.float32),
    )
    canvas.soften(canvas.box(0, 0, 2480, 2700), 2.6)


def _door(canvas: Canvas, left: float, right: float) -> None:
    top, foot = 700.0, 2640.0
    w, cover = polygon(canvas, [(left, top), (right, top), (right, foot), (left, foot)])
    x, y = canvas.x(w), canvas.y(w)
    pitch = 78.0
    board = (x - np.float32(left)) / np.float32(pitch)
    gap = 1 - 0.75 * np.exp(-(((board - np.round(board)) * pitch / 3.5) ** 2))
    worn = canvas.noise(w, (512, 8), f"door {left}", 5, 0.6) * 0.10
    stained = canvas.noise(w, (256, 64), f"door damp {left}", 5, 0.6) * 0.10
    tone = (0.9 + worn + stained) * gap * np.ones_like(y)
    canvas.over(w, srgb("54564f") * np.maximum(tone, 0.05)[..., None], cover)
    for yy in (820.0, 1480.0):
        p, c = polygon(
            canvas, [(left + 6, yy), (right - 6, yy), (right - 6, yy + 96), (left + 6, yy + 96)]
        )
        canvas.stain(p, (0.3, 0.3, 0.3), np.roll(c, 10 // canvas.reduce, 0) * np.float32(0.8))
        rail = canvas.noise(p, (8, 512), f"rail {left} {yy}", 5, 0.6)[..., None]
        canvas.over(p, srgb("63655d") * (1 + 0.10 * rail), c)
        for bx in np.arange(left + 44, right, 156):
            stroke(canvas, [(bx, yy + 48, 6), (bx + 1, yy + 48, 6)], (0.03, 0.03, 0.03), 0.9)
    for edge in (left, right):
        p, c = polygon(
            canvas,
            [(edge - 26, top - 40), (edge + 26, top - 40), (edge + 26, foot), (edge - 26, foot)],
        )
        canvas.over(p, srgb("a8a79f") * np.float32(0.6), c)
    p, c = polygon(
        canvas,
        [
            (left - 26, top - 50),
            (right + 26, top - 50),
            (right + 26, top + 4),
            (left - 26, top + 4),
        ],
    )
    canvas.over(p, srgb("a8a79f") * np.float32(0.66), c)


def _ground(canvas: Canvas) -> None:
    window = canvas.box(0, 2560, 2480, 3508)
    y = canvas.y(window)
    near = np.clip((y - 2500) / 900, 0.05, 1.2)
    gravel = canvas.noise(window, (32, 64), "gravel", 6, 0.8)
    coarse = canvas.noise(window, (128, 512), "gravel wear", 5, 0.5)
    colour = srgb("8f8b82") * (0.60 + 0.12 * coarse + 0.24 * gravel * near)[..., None]
    canvas.over(
        window,
        np.maximum(colour, 0.01),
        smoothstep(2596, 2616, y) * np.ones((1, window.shape[1]), np.float32),
    )
    shade = 1 - smoothstep(2600, 2760, y)
    canvas.stain(window, (0.25, 0.25, 0.26), shade * np.ones((1, window.shape[1]), np.float32))


def _oars(canvas: Canvas) -> None:
    """Two pairs of oars crossed behind the crew."""
    for foot, head in ((120, 470), (2360, 2010), (760, 1180), (1720, 1300)):
        line = [(foot, 2640, 0.0, 15.0), (head, 860, 0, 13)]
        oar = Relief(canvas, (min(foot, head) - 80, 540, max(foot, head) + 80, 2660), 2)
        oar.tube(line)
        oar.paint(Material(srgb("8b7d66"), gloss=0.15), LIGHT, cast=0.5, cast_reach=40)
        slope = (head - foot) / (860 - 2640)
        tip = head + slope * (560 - 860)
        edge = [
            (head - 16, 880),
            (head - 52, 780),
            (tip - 62, 600),
            (tip - 50, 556),
            (tip + 50, 556),
            (tip + 62, 600),
            (head + 52, 780),
            (head + 16, 880),
        ]
        blade = Relief(canvas, (min(head, tip) - 120, 500, max(head, tip) + 120, 900), 2)
        blade.slab(outline(edge, 6), 0, 14, 26)
        ink = banded(CREAM, [(610, 700, NAVY)])
        blade.paint(
            Material(ink, texture(f"blade {foot}", (256, 16), 0.8, 4), gloss=0.1),
            LIGHT,
            cast=0.5,
            cast_reach=30,
        )


def _bench(canvas: Canvas) -> None:
    for y in (2395.0, 2425.0):
        w, cover = polygon(canvas, [(60, y), (2420, y), (2420, y + 26), (60, y + 26)])
        worn = canvas.noise(w, (8, 512), f"bench {y}", 5, 0.6)[..., None]
        canvas.over(w, srgb("5b5245") * (1 + 0.15 * worn), cover)


# --- people; lengths in their own units, the chin-to-crown height being about 185 ---


def _face(f: Frame, i: int) -> None:
    rng = stream(f"face {i}")
    s = f.size
    wide, long = rng.uniform(0.93, 1.06), rng.uniform(0.97, 1.07)
    tone = TONES[i % 4]
    head = f.relief(-130, -150, 130, 200, 2)
    for side in (-1, 1):
        head.ball(f.at(side * 70 * wide, 8, -20), (11 * s, 23 * s, 16 * s), side * 8, 5 * s)
    head.ball(f.at(0, -26), (70 * wide * s, 74 * s, 74 * s), blend=8 * s)
    head.ball(f.at(0, 22, 2), (61 * wide * s, 76 * long * s, 66 * s), blend=22 * s)
    head.ball(f.at(0, 76 * long, 12), (31 * wide * s, 24 * s, 44 * s), blend=26 * s)
    for side in (-1, 1):
        head.ball(f.at(side * 33 * wide, 26, 36), (19 * s, 17 * s, 24 * s), blend=18 * s)
        head.tube(
            f.joints((side * 12, -21, 58, 8), (side * 30, -25, 54, 8), (side * 48, -17, 44, 6)),
            12 * s,
        )
        head.ball(f.at(side * 26 * wide, -4, 47), (12 * s, 8 * s, 10 * s), blend=6 * s)
        head.ball(f.at(side * 9, 30, 66), (8 * s, 6.5 * s, 9 * s), blend=5 * s)
    head.tube(f.joints((0, -14, 60, 7), (0, 8, 66, 8), (0, 27, 72, 11)), 9 * s)
    head.ball(f.at(0, 51, 58), (21 * s, 5.5 * s, 9 * s), blend=5 * s)
    head.ball(f.at(0, 60, 56), (18 * s, 6 * s, 10 * s), blend=5 * s)
    head.smooth(2.6 * s).paint(skin(tone, f"face {i}", 0.5), LIGHT, cast=0.4, cast_reach=26 * s)
    _features(f, i, wide)


def _lowered(f: Frame) -> Frame:
    """Where the head sits: a little sunk between the shoulders."""
    return Frame(f.canvas, f.x, f.y + 30 * f.size, f.size)


def _neck(f: Frame, i: int) -> None:
    neck = f.relief(-130, 20, 130, 240, 2)
    neck.tube(f.joints((0, 60, -26, 45), (0, 130, -30, 50), (0, 170, -30, 60)))
    neck.paint(skin(TONES[i % 4] * np.float32(0.85), f"neck {i}", 0.5), LIGHT)


def _features(f: Frame, i: int, wide: float) -> None:
    rng = stream(f"features {i}")
    mane = srgb(("2a2019", "4b3626", "1b1613", "6b5136", "8a6a44")[i % 5])
    look = rng.uniform(-2.5, 2.5)
    for side in (-1, 1):
        x = side * 26 * wide
        f.line([(x - 10, 0, 2), (x, 0.5, 3.6), (x + 10, 0, 2)], (0.36, 0.34, 0.33), 0.8)
        f.line([(x + look, -1.4, 4.8), (x + look, -0.2, 4.8)], (0.03, 0.025, 0.025), 0.95)
        f.line([(x - 14, 0, 1.6), (x, -5.5, 3.6), (x + 14, 0, 1.6)], (0.035, 0.025, 0.02), 0.85)
        f.line([(x - 13, -9, 1.0), (x, -12, 1.6), (x + 13, -9, 1.0)], (0.10, 0.06, 0.05), 0.45)
        f.line([(x + look - 2, -4, 1.2), (x + look - 1.6, -4, 1.2)], (0.8, 0.8, 0.8), 0.9)
        f.line([(x - 12, 6, 1.2), (x, 8, 1.6), (x + 12, 6, 1.2)], (0.10, 0.06, 0.05), 0.5)
        lift = rng.uniform(-2, 2)
        f.line(
            [(x - side * 15, -21, 4.2), (x, -27 + lift, 4.6), (x + side * 20, -20, 2.0)],
            mane * 0.6,
            0.8,
        )
        f.line(
            [(side * 17, 34, 1.4), (side * 27, 48, 2.2), (side * 29, 58, 1.0)],
            (0.12, 0.07, 0.055),
            0.35,
        )
    f.line(
        [(-23, 54, 1.2), (-8, 55.5, 2.0), (8, 55.5, 2.0), (23, 54, 1.2)], (0.05, 0.02, 0.02), 0.85
    )
    f.line([(-7, 37, 2.4), (-4, 38, 1.6)], (0.05, 0.03, 0.025), 0.7)
    f.line([(7, 37, 2.4), (4, 38, 1.6)], (0.05, 0.03, 0.025), 0.7)
    if i in (1, 4, 6):
        lip = f.relief(-60, 20, 60, 90, 1)
        lip.tube(
            f.joints(
                (-34, 52, 56, 4), (-16, 44, 64, 8), (0, 42, 68, 7), (16, 44, 64, 8), (34, 52, 56, 4)
            )
        )
        lip.paint(hair(mane, f"lip {i}", 20), LIGHT)
    _crown(f, i, mane)


def _crown(f: Frame, i: int, mane: Field) -> None:
    s = f.size
    top = f.relief(-150, -190, 150, 60, 2)
    for side in (-1, 1):
        top.tube(
            f.joints((side * 58, -64, -6, 20), (side * 70, -26, -16, 13), (side * 68, 4, -22, 7))
        )
    part = (-24, 20, -8)[i % 3]
    top.tube(f.joints((part, -88, 22, 12), (-44, -84, 12, 24), (-64, -56, -6, 20)), 8 * s)
    top.tube(f.joints((part, -88, 22, 12), (36, -92, 10, 27), (62, -60, -6, 22)), 6 * s)
    top.ball(f.at(0, -74, -16), (66 * s, 42 * s, 50 * s), blend=10 * s)
    top.smooth(3 * s).paint(hair(mane, f"hair {i}", 70), LIGHT)
    if i in (0, 3, 5, 8):
        _cap(f, i)
    elif i == 2:
        _boater(f)


def _cap(f: Frame, i: int) -> None:
    s = f.size
    cap = f.relief(-150, -180, 150, 20, 2)
    cap.ball(f.at(0, -84, -6), (83 * s, 50 * s, 74 * s))
    cap.tube(f.joints((-72, -52, 10, 13), (0, -50, 62, 14), (72, -52, 10, 13)), 8 * s)
    ink = NAVY if i % 2 else banded(NAVY, [(f.y - 66 * s, f.y - 40 * s, CREAM)])
    cap.smooth(4 * s).paint(cloth(ink, f"cap {i}", 4, 2, 50), LIGHT, cast=0.45, cast_reach=20 * s)
    peak = f.relief(-120, -80, 120, 20, 2)
    peak.ball(f.at(0, -38, 60), (64 * s, 13 * s, 30 * s))
    peak.paint(cloth(NAVY * 0.7, f"peak {i}", 4, 1, 40), LIGHT, cast=0.6, cast_reach=18 * s)
    f.line([(0, -106, 9), (0.5, -92, 11), (0, -80, 8)], CREAM * np.float32(0.6), 0.85)


def _boater(f: Frame) -> None:
    s = f.size
    hat = f.relief(-190, -190, 190, 20, 2)
    hat.slab(
        [
            (x, y)
            for x, y in (
                (f.x - 68 * s, f.y - 62 * s),
                (f.x - 66 * s, f.y - 138 * s),
                (f.x + 66 * s, f.y - 138 * s),
                (f.x + 68 * s, f.y - 62 * s),
            )
        ],
        10,
        40 * s,
        40 * s,
    )
    ink = banded(srgb("cfc6a8"), [(f.y - 98 * s, f.y - 62 * s, NAVY)])
    hat.paint(Material(ink, weave(6, 1.0)), LIGHT)
    brim = f.relief(-190, -110, 190, 20, 2)
    brim.ball(f.at(0, -58, 30), (122 * s, 17 * s, 40 * s), 3)
    brim.paint(Material(srgb("cfc6a8"), weave(6, 0.9)), LIGHT, cast=0.6, cast_reach=26 * s)


def _body(f: Frame, i: int, low: float) -> None:
    """Jersey or blazer from the shoulders down."""
    s = f.size
    body = f.relief(-290, 60, 290, low + 80)
    body.tube(f.joints((-118, 196, -20, 62), (0, 168, -10, 66), (118, 196, -20, 62)))
    body.tube(f.joints((0, 220, 10, 138), (0, 380, 10, 132), (0, low, 0, 126)), 50 * s)
    body.tube(f.joints((-60, 230, 20, 96), (-52, 360, 10, 92), (-50, low, 0, 80)), 40 * s)
    body.tube(f.joints((60, 230, 20, 96), (52, 360, 10, 92), (50, low, 0, 80)), 40 * s)
    for side in (-1, 1):
        shoulder = (
            (side * 104, 198, -16, 58),
            (side * 164, 234, -8, 56),
            (side * 200, 340, 2, 49),
            (side * 200, 446, 30, 43),
        )
        body.tube(f.joints(*shoulder), 44 * s)
    if i % 2 == 0:
        coat = cloth(NAVY if i % 4 else DARK, f"coat {i}", 4, 10, 130)
        body.paint(coat, LIGHT, cast=0.5, cast_reach=50 * s)
        _blazer(f, i)
    else:
        ink = banded(CREAM, [(f.y + 300 * s, f.y + 352 * s, NAVY)])
        bump = knit(9, 0.8)
        fold = texture(f"jersey {i}", (150, 80), 6, 3)

        def both(x: Field, y: Field) -> Field:
            return bump(x, y) + fold(x, y)

        body.paint(Material(ink, both, wrap=(0.14,) * 3), LIGHT, cast=0.5, cast_reach=50 * s)
        roll = f.relief(-110, 80, 110, 200, 2)
        roll.tube(f.joints((-58, 128, 0, 20), (0, 146, 40, 23), (58, 128, 0, 20)))
        roll.tube(f.joints((-52, 112, 0, 16), (0, 126, 44, 18), (52, 112, 0, 16)), 4 * s)
        roll.paint(
            Material(CREAM, knit(8, 0.9), wrap=(0.14,) * 3), LIGHT, cast=0.4, cast_reach=18 * s
        )


def _blazer(f: Frame, i: int) -> None:
    def p(*points: tuple[float, float]) -> list[tuple[float, float]]:
        return [(f.x + x * f.size, f.y + y * f.size) for x, y in points]

    w, c = polygon(f.canvas, p((-44, 122), (44, 122), (8, 312), (-8, 312)), 1.0)
    shirt = 0.72 + 0.05 * f.canvas.noise(w, (64, 32), f"shirt {i}", 5, 0.6)
    f.canvas.over(w, np.repeat(shirt[..., None], 3, -1), c)
    w, c = polygon(
        f.canvas,
        outline(p((-13, 140), (13, 140), (9, 166), (15, 300), (0, 322), (-15, 300), (-9, 166)), 5),
        0.8,
    )
    stripe = 0.5 + 0.5 * np.sign(np.sin((f.canvas.x(w) + f.canvas.y(w)) * np.float32(0.26)))
    tie = srgb("343a4c") + (srgb("a9a594") - srgb("343a4c")) * (stripe * 0.8)[..., None]
    f.canvas.over(w, tie, c)
    for side in (-1, 1):
        lapel = f.relief(-130, 100, 130, 350, 2)
        lapel.slab(
            p(
                (side * 46, 112),
                (side * 84, 190),
                (side * 66, 214),
                (side * 74, 232),
                (side * 8, 338),
                (side * 28, 216),
            ),
            20,
            14 * f.size,
            14 * f.size,
        )
        lapel.paint(
            cloth(NAVY if i % 4 else DARK, f"lapel {i} {side}", 4, 2, 60),
            LIGHT,
            cast=0.7,
            cast_reach=14 * f.size,
        )
        w, c = polygon(
            f.canvas, p((side * 40, 108), (side * 12, 142), (side * 44, 164), (side * 60, 124)), 0.6
        )
        f.canvas.over(w, (0.74, 0.74, 0.74), c)
    for k in range(2):
        y = 366 + 62 * k
        f.line([(4, y, 7), (5, y, 7)], (0.32, 0.32, 0.31), 1)
        f.line([(2, y - 2, 2), (3, y - 2, 2)], (0.8, 0.8, 0.8), 0.8)
    w, c = polygon(f.canvas, p((58, 282), (110, 276), (112, 330), (60, 336)), 0.8)
    f.canvas.stain(w, (0.72, 0.72, 0.72), c)


def _sleeve(
    f: Frame, i: int, joints: Sequence[tuple[float, float, float, float]], name: str
) -> None:
    arm = f.relief(-300, 120, 300, 900)
    arm.tube(f.joints(*((x, y, z, r * 0.88) for x, y, z, r in joints)))
    if i % 2 == 0:
        material = cloth(NAVY if i % 4 else DARK, f"sleeve {name} {i}", 4, 9, 90)
    else:
        fold = texture(f"sleeve {name} {i}", (100, 60), 6, 3)
        rows = knit(9, 0.8)
        material = Material(CREAM, lambda x, y: fold(x, y) + rows(x, y), wrap=(0.14,) * 3)
    arm.paint(material, LIGHT, cast=0.3, cast_reach=30 * f.size)


def _hand(f: Frame, i: int, x: float, y: float, way: float, name: str) -> None:
    """A hand resting, fingers pointing down and `way` sideways."""
    tone = TONES[i % 4] * np.float32(0.9)
    s = f.size
    hand = f.relief(x - 110, y - 90, x + 110, y + 140, 2)
    hand.ball(f.at(x, y, 20), (40 * s, 44 * s, 26 * s))
    for k in range(4):
        u = (k - 1.5) * 19
        bend = way * (14 + 3 * k)
        hand.tube(
            f.joints(
                (x + u * 0.9, y + 24, 30, 12),
                (x + u + bend * 0.5, y + 62, 30, 10.5),
                (x + u + bend, y + 92 - abs(k - 1.3) * 7, 18, 9),
            ),
            5 * s,
        )
    hand.tube(
        f.joints(
            (x - way * 30, y - 4, 28, 13),
            (x - way * 50, y + 36, 30, 11),
            (x - way * 44, y + 62, 26, 9),
        ),
        8 * s,
    )
    hand.paint(skin(tone, f"hand {name} {i}", 0.4), LIGHT, cast=0.55, cast_reach=22 * s)


def _standing(f: Frame, i: int) -> None:
    legs = f.relief(-200, 560, 200, 1200)
    for side in (-1, 1):
        legs.tube(
            f.joints((side * 66, 580, 0, 88), (side * 70, 900, 0, 74), (side * 70, 1160, 0, 66))
        )
    legs.paint(cloth(CREAM * np.float32(0.9), f"legs {i}", 4, 8, 170), LIGHT, 0.4, 40)
    _neck(f, i)
    _body(f, i, 620)
    _sleeve(f, i, [(-196, 430, 40, 46), (-60, 426, 90, 44), (96, 388, 96, 38)], "left")
    _sleeve(f, i, [(196, 430, 60, 46), (60, 450, 120, 45), (-92, 398, 120, 38)], "right")
    _face(_lowered(f), i)


def _seated(f: Frame, i: int) -> None:
    _neck(f, i)
    _body(f, i, 520)
    s = f.size
    for side in (-1, 1):
        leg = f.relief(-280, 420, 280, 1120)
        leg.tube(
            f.joints(
                (side * 76, 540, 20, 96), (side * 104, 590, 110, 92), (side * 116, 640, 170, 80)
            )
        )
        leg.tube(
            f.joints(
                (side * 116, 640, 160, 78), (side * 112, 780, 110, 66), (side * 108, 1010, 70, 54)
            ),
            24 * s,
        )
        leg.paint(
            cloth(CREAM * np.float32(0.92), f"seat legs {i} {side}", 4, 13, 140),
            LIGHT,
            0.55,
            50 * s,
        )
        _crease(f, side)
        shoe = f.relief(-260, 980, 260, 1160, 2)
        shoe.ball(f.at(side * 122, 1066, 90), (56 * s, 36 * s, 60 * s), side * 14)
        shoe.ball(f.at(side * 112, 1030, 80), (44 * s, 38 * s, 44 * s), blend=20 * s)
        shoe.paint(
            Material(
                srgb("d9d6cc") if i % 2 else srgb("2b241f"),
                texture(f"shoe {i}", (32, 32), 1.2, 4),
                gloss=0.15,
            ),
            LIGHT,
            0.6,
            26 * s,
        )
        _sleeve(
            f,
            i,
            [
                (side * 206, 456, 60, 46),
                (side * 158, 560, 150, 38),
                (side * 134, 596, 180, 34),
            ],
            f"seat {side}",
        )
        _hand(f, i, side * 124, 622, -side * 0.5, f"{side}")
    _face(_lowered(f), i)


def _crease(f: Frame, side: int) -> None:
    f.line(
        [(side * 116, 650, 1), (side * 113, 800, 3), (side * 109, 1000, 2)], (0.8, 0.8, 0.78), 0.35
    )
    f.line(
        [(side * 122, 650, 1), (side * 119, 800, 3), (side * 115, 1000, 2)],
        (0.25, 0.25, 0.24),
        0.35,
    )


def _cox(f: Frame) -> None:
    s = f.size
    _neck(f, 8)
    _body(f, 8, 470)
    for side in (-1, 1):
        leg = f.relief(-380, 380, 380, 760)
        leg.tube(
            f.joints((side * 90, 510, 20, 84), (side * 210, 560, 70, 78), (side * 268, 590, 90, 66))
        )
        leg.tube(
            f.joints(
                (side * 268, 590, 90, 64), (side * 120, 640, 130, 54), (side * -40, 662, 140, 44)
            ),
            22 * s,
        )
        leg.paint(cloth(CREAM, f"cox legs {side}", 4, 11, 120), LIGHT, 0.6, 40 * s)
        _sleeve(
            f,
            8,
            [
                (side * 206, 450, 70, 43),
                (side * 176, 520, 140, 36),
            ],
            f"cox {side}",
        )
        _hand(f, 8, side * 168, 546, -side * 0.6, f"cox {side}")
    _face(_lowered(f), 8)
    w, cover = polygon(
        f.canvas,
        [
            (f.x - 210, f.y + 712),
            (f.x + 210, f.y + 712),
            (f.x + 216, f.y + 800),
            (f.x - 216, f.y + 800),
        ],
    )
    slate = f.canvas.noise(w, (16, 64), "slate board", 5, 0.6)[..., None]
    f.canvas.over(w, srgb("23252a") * (1 + 0.15 * slate), cover)
    mask = lettering("TERN QUAY 1926", 120, 0.08)
    w, cover = place_mask(
        f.canvas,
        mask,
        [
            (f.x - 180, f.y + 732),
            (f.x + 180, f.y + 732),
            (f.x + 180, f.y + 782),
            (f.x - 180, f.y + 782),
        ],
    )
    chalk = 0.75 + 0.2 * f.canvas.noise(w, (4, 8), "chalk", 3, 0.7)
    f.canvas.over(w, srgb("dcdad0"), cover * np.clip(chalk, 0, 1))


# --- the plate ---


def _plate(canvas: Canvas) -> None:
    """Emulsion: blue-sensitive, soft at the corners, grained in density, worn by a century."""
    window = canvas.everything
    grey = canvas.rgb @ np.array(PLATE_RESPONSE, np.float32)
    x, y = canvas.x(window) / SIZE[0] - 0.5, canvas.y(window) / SIZE[1] - 0.5
    corner = smoothstep(0.32, 0.70, np.hypot(x * 1.05, y))
    grey = blur(grey, 1.0 / canvas.reduce)
    soft = blur(grey, 5.0 / canvas.reduce)
    grey += (soft - grey) * corner
    halo = blur(np.clip(grey - 0.45, 0, 1), 34.0 / canvas.reduce)
    grey = (grey + 0.35 * halo) * (1 - 0.62 * corner**1.3)
    density = -np.log10(np.clip(grey * 1.55, 0.006, 1.5))
    clumps = blur(grain(window.shape, "plate grain"), 0.9 / canvas.reduce)
    clumps /= max(float(clumps[::4, ::4].std()), 1e-6)
    density += clumps * 0.030 * np.sqrt(np.clip(density, 0.05, 2))
    density = 1.95 * smoothstep(-0.45, 2.3, density)
    _stains(canvas, density)
    canvas.rgb[:] = (10**-density)[..., None]
    _damage(canvas)
    canvas.rgb[:] = np.clip(canvas.rgb, 0, 1)


def _stains(canvas: Canvas, density: Field) -> None:
    window = canvas.everything
    uneven = canvas.noise(window, (1024, 1024), "development", 4, 0.5)
    density += uneven * np.float32(0.020)
    ring = stream("stain")
    for _ in range(5):
        cx, cy, r = ring.uniform(0, 2480), ring.uniform(0, 3508), ring.uniform(90, 320)
        part = canvas.box(cx - 1.4 * r, cy - 1.4 * r, cx + 1.4 * r, cy + 1.4 * r)
        d = np.hypot(canvas.x(part) - np.float32(cx), canvas.y(part) - np.float32(cy)) / r
        d += canvas.noise(part, (256, 256), f"stain {cx:.0f}", 5, 0.5) * np.float32(0.06)
        density[part.slices] += 0.03 * (1 - smoothstep(0.8, 1.0, d)) + 0.05 * np.exp(
            -(((d - 0.97) / 0.03) ** 2)
        )


def _damage(canvas: Canvas) -> None:
    rng = stream("damage")
    white, black = (0.93, 0.93, 0.93), (0.02, 0.02, 0.02)
    for _ in range(46):
        x, y, turn = rng.uniform(0, 2480), rng.uniform(0, 3508), rng.normal(1.45, 0.5)
        long, w = rng.exponential(260) + 30, rng.uniform(0.5, 1.5)
        dx, dy = np.cos(turn) * long, np.sin(turn) * long
        bow = rng.normal(0, 0.05) * long
        line = [(x, y, w * 0.4), (x + dx * 0.5 + bow, y + dy * 0.5, w), (x + dx, y + dy, w * 0.3)]
        stroke(canvas, line, white if rng.random() < 0.7 else black, rng.uniform(0.25, 0.8))
    for _ in range(520):
        x, y, r = (
            rng.uniform(0, 2480),
            rng.uniform(0, 3508),
            float(np.clip(rng.exponential(1.7), 0.6, 9)),
        )
        mark = white if rng.random() < 0.62 else black
        stroke(
            canvas,
            [(x, y, r), (x + rng.normal(0, r), y + rng.normal(0, r), r * 0.7)],
            mark,
            rng.uniform(0.4, 0.95),
        )
    for _ in range(16):
        x, y = rng.uniform(100, 2380), rng.uniform(100, 3400)
        hair_line = [(x, y, 1.1)]
        for _ in range(4):
            x, y = x + rng.normal(0, 34), y + rng.normal(0, 34)
            hair_line.append((x, y, 1.1))
        stroke(canvas, hair_line, white if rng.random() < 0.5 else black, 0.7)
    _edge(canvas)
    mask = lettering("T.Q. 26  No. 8", 90, 0.02)
    place, cover = place_mask(canvas, mask, [(330, 3372), (700, 3358), (702, 3404), (332, 3418)])
    canvas.over(
        place, white, cover * np.clip(0.75 + 0.2 * canvas.noise(place, (8, 8), "ink", 3), 0, 1)
    )


def _edge(canvas: Canvas) -> None:
    """The emulsion stops short of the glass, chipped, silvered at the rim; one corner is gone."""
    window = canvas.everything
    x, y = canvas.x(window), canvas.y(window)
    inset = np.minimum(np.minimum(x, SIZE[0] - x), np.minimum(y, SIZE[1] - y))
    chip = canvas.noise(window, (128, 128), "chips", 8, 0.62)
    corner = (x + 0.8 * (SIZE[1] - y)) * np.float32(0.55) - 105
    inset = np.minimum(inset, corner) - 34 + chip * np.float32(5)
    mirror = np.exp(-np.maximum(inset, 0) / 46) * np.float32(0.34)
    silver = canvas.noise(window, (512, 512), "silvering", 6, 0.6)
    canvas.over(window, (0.50, 0.50, 0.50), np.clip(mirror * (1 + 0.6 * silver), 0, 0.6))
    bare = 1 - smoothstep(-1.5, 1.5, inset)
    canvas.over(window, (0.012, 0.012, 0.012), bare)
    lift = np.exp(-(((inset - 3) / 2.2) ** 2)) * smoothstep(-0.2, 0.8, chip)
    canvas.over(window, (0.8, 0.8, 0.8), lift * np.float32(0.45))

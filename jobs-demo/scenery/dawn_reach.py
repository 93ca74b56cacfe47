"""A reach of the river at dawn, in mist: a stitched panorama."""

from pathlib import Path

import numpy as np

from scenery.canvas import Canvas, Colour, outline, polygon, srgb
from scenery.cloth import texture
from scenery.files import develop, eight_bit, write_jpeg
from scenery.nature import Reflection, Tree, Waves, floating, foliage, gradient, water, wood
from scenery.noise import blur, smoothstep, stream
from scenery.profiles import built_in
from scenery.relief import Light, Material, Relief, stroke

SIZE = (11800, 3400)
HORIZON, BANK = 1780.0, 1890.0
SUN = (8150.0, 1130.0)
LIGHT = Light((0.45, -0.35, 0.35), (1.0, 0.72, 0.45), (0.46, 0.44, 0.48), (0.22, 0.2, 0.2))
MIST = srgb("e6d3c3")


def draw(path: Path, reduce: int = 1) -> None:
    """Sky, banks veiled row by row, boats, water, mist, reeds and birds."""
    canvas = Canvas(*SIZE, reduce)
    _sky(canvas)
    _banks(canvas)
    boats = Canvas(*SIZE, reduce, layer=True)
    _moorings(boats)
    _misted(boats)
    _river(canvas, boats)
    _rising_mist(canvas)
    canvas.lay(boats)
    _reeds(canvas)
    _birds(canvas)
    develop(canvas, 1.04, 0.82)
    codes = eight_bit(canvas, "dawn", 0.6)
    write_jpeg(codes, path, 95, built_in("srgb"))


def _sky(canvas: Canvas) -> None:
    window = canvas.box(0, 0, 11800, BANK)
    stops: list[tuple[float, Colour]] = [
        (0, srgb("7f93b4")),
        (600, srgb("b3b3c0")),
        (1100, srgb("e0c9b6")),
        (1500, srgb("f1d7b8")),
        (1890, srgb("ead6c6")),
    ]
    gradient(canvas, window, stops)
    _sunlight(canvas, 1.0)
    high = canvas.box(0, 0, 11800, 1000)
    wisps = blur(canvas.noise(high, (128, 2048), "dawn wisps", 6, 0.55), 14 / canvas.reduce)
    fade = 1 - smoothstep(350, 1000, canvas.y(high))
    canvas.over(high, srgb("f4cdb0"), smoothstep(-0.2, 2.2, wisps) * fade * np.float32(0.5))


def _sunlight(canvas: Canvas, strength: float) -> None:
    window = canvas.box(0, 0, 11800, BANK)
    for band_top in range(window.top, window.bottom, 256):
        band = type(window)(band_top, min(window.bottom, band_top + 256), 0, window.right)
        d = np.hypot((canvas.x(band) - SUN[0]) * np.float32(0.8), canvas.y(band) - SUN[1])
        wide = np.exp(-d / 1500) * np.float32(0.30) + np.exp(-d / 420) * np.float32(0.34)
        canvas.glow(band, srgb("ffc98a"), wide * np.float32(strength))
        disc = np.clip((118 - np.hypot(canvas.x(band) - SUN[0], canvas.y(band) - SUN[1])) / 9, 0, 1)
        canvas.over(band, (1.12, 1.02, 0.84), disc * np.float32(0.9))


def _banks(canvas: Canvas) -> None:
    """From the far hills to the near willows: each row is veiled more by the air before it."""
    green = [srgb("3d4a35"), srgb("4b4f36"), srgb("35443a")]
    rows = (
        ("hills", 1800, (330, 560), (420, 760), 300, 0.90, 14),
        ("far wood", 1830, (260, 520), (190, 380), 150, 0.78, 14),
        ("middle wood", 1850, (220, 560), (160, 330), 230, 0.58, 16),
    )
    for name, base, height, width, step, haze, leaf in rows:
        trees = wood("dawn " + name, -300, 12100, base, height, width, step)
        if name == "middle wood":
            trees = [t for t in trees if not 5200 < t.x < 9300]
        foliage(canvas, trees, "dawn " + name, green, LIGHT, MIST, haze, leaf, 8)
        _bank_mist(canvas, base, 330, 0.75, name)
    for name, left, right, tall, haze in (
        ("left willows", -400, 2700, (500, 1050), 0.26),
        ("right willows", 10150, 12200, (420, 880), 0.30),
        ("island", 4250, 5150, (220, 520), 0.36),
    ):
        trees = wood("dawn " + name, left, right, 1895, tall, (170, 360), 210)
        trees += [Tree(x, 1897, 170, 90, 1) for x in np.arange(left, right, 90.0)]
        foliage(canvas, trees, "dawn " + name, green, LIGHT, MIST, haze, 17, 8)
        _bank_mist(canvas, 1895, 240, 0.5, name)


def _bank_mist(canvas: Canvas, base: float, depth: float, strength: float, name: str) -> None:
    window = canvas.box(0, base - 3 * depth, 11800, BANK + 10)
    drift = blur(canvas.noise(window, (256, 2048), "mist " + name, 4, 0.45), 40 / canvas.reduce)
    height = (np.float32(base) - canvas.y(window)) / np.float32(depth)
    thick = np.exp(-np.maximum(height - drift * np.float32(0.22), 0) * np.float32(1.15))
    top = base - 3 * depth
    thick *= smoothstep(
        top, top + 1.6 * depth, canvas.y(window)
    )  # begins at nothing: no edge in the sky
    canvas.over(window, MIST, np.clip(thick * np.float32(strength), 0, 1))


def _river(canvas: Canvas, boats: Canvas) -> None:
    window = canvas.box(0, BANK, 11800, 3400)
    waves = Waves("dawn river", 2.3)
    slopes = waves.rows(canvas, window, HORIZON, 0.045, 0.22)
    slopes += 0.25 * waves.rows(canvas, window, HORIZON, 0.21, 0.3)
    patch = canvas.noise(window, (256, 4096), "dawn calm", 4, 0.5)
    slopes *= (0.30 + 0.38 * smoothstep(-0.2, 1.6, patch))[..., None]
    shore = canvas.rgb[: canvas.box(0, 0, 1, BANK).bottom].copy()
    mirrored = [Reflection(shore, BANK, 1.05)]
    mirrored += [
        floating(boats, line, (left, top, right), 4) for left, top, right, line in STRETCHES
    ]
    water(
        canvas,
        window,
        HORIZON,
        slopes,
        mirrored,
        srgb("4b545e"),
        (40, 95),
        (0.97, 0.62),
        (0.97, 0.97, 0.99),
    )


# (left, top, right, waterline) of the moorings
STRETCHES = (
    (1500.0, 2040.0, 3900.0, 2420.0),
    (5300.0, 1940.0, 6900.0, 2090.0),
    (9000.0, 2100.0, 11000.0, 2560.0),
)


def _moorings(layer: Canvas) -> None:
    _skiff(layer, 2650, 2420, 1.0, srgb("4d2f22"), 1)
    _post(layer, 1760, 2420, 330, 17)
    _post(layer, 3560, 2420, 270, 15)
    stroke(layer, [(2020, 2305, 3), (1900, 2330, 3), (1764, 2190, 3)], srgb("b7a789"), 0.9)
    _skiff(layer, 6050, 2090, 0.36, srgb("5b6470"), 1)
    _skiff(layer, 6480, 2090, 0.30, srgb("70564a"), -1)
    _post(layer, 5620, 2090, 110, 6)
    _skiff(layer, 9950, 2560, 1.22, srgb("274038"), -1)
    _post(layer, 10800, 2560, 400, 20)
    stroke(layer, [(10640, 2420, 3.5), (10730, 2440, 3.5), (10796, 2290, 3.5)], srgb("b7a789"), 0.9)


def _skiff(layer: Canvas, x: float, y: float, size: float, colour: Colour, way: int) -> None:
    def at(u: float, v: float) -> tuple[float, float]:
        return (x + way * u * size, y + v * size)

    inside = [
        at(-690, -128),
        at(-300, -96),
        at(200, -94),
        at(640, -130),
        at(200, -66),
        at(-300, -66),
    ]
    window, cover = polygon(layer, outline(inside))
    layer.over(window, srgb("20180f"), cover)
    for u in (-330.0, 20.0, 330.0):
        w, c = polygon(layer, [at(u + 8, -93), at(u + 74, -93), at(u + 66, -70), at(u, -70)])
        grain = layer.noise(w, (4, 64), f"thwart {x:.0f} {u}", 4, 0.6)[..., None]
        layer.over(w, srgb("8d6d4a") * (1 + 0.12 * grain), c)
    shape = [
        at(-700, -132),
        at(-420, -92),
        at(0, -72),
        at(400, -92),
        at(700, -142),
        at(640, -40),
        at(520, 14),
        at(0, 22),
        at(-520, 14),
        at(-660, -36),
    ]
    hull = Relief(layer, (x - 760 * size, y - 190 * size, x + 760 * size, y + 60 * size), 4)
    hull.slab(outline(shape, 8), 0, 60 * size, 60 * size)
    strakes = texture(f"skiff {x:.0f}", (30, 512), 0.8, 4)
    hull.paint(Material(colour, strakes, gloss=0.12, shininess=14, wrap=(0.3, 0.25, 0.2)), LIGHT)
    for k in range(1, 4):
        f = k / 4
        line = [
            (*at(-690 + 30 * f, -130 + 96 * f), 2.2 * size),
            (*at(0, -72 + 82 * f), 2.6 * size),
            (*at(690 - 30 * f, -138 + 100 * f), 2.2 * size),
        ]
        stroke(layer, line, (0.015, 0.012, 0.01), 0.55)
    rail = [
        (*at(-706, -134), 6 * size),
        (*at(-420, -95), 7 * size),
        (*at(0, -75), 7 * size),
        (*at(400, -95), 7 * size),
        (*at(706, -144), 6 * size),
    ]
    stroke(layer, rail, srgb("b99167"), 1)
    oars = [(*at(-240, -112), 7 * size), (*at(560, -146), 5 * size)]
    stroke(layer, oars, srgb("c9ad84"), 0.95)
    _cut_below(layer, x - 800 * size, x + 800 * size, y)


def _cut_below(layer: Canvas, left: float, right: float, y: float) -> None:
    window = layer.box(left, y - 6, right, y + 60)
    keep = 1 - smoothstep(-2.0, 2.0, layer.y(window) - np.float32(y))
    layer.rgb[window.slices] *= keep[..., None]
    layer.cover[window.slices] *= keep


def _post(layer: Canvas, x: float, y: float, tall: float, r: float) -> None:
    post = Relief(layer, (x - 3 * r, y - tall - 2 * r, x + 3 * r, y + 2 * r), 2)
    post.tube([(x + r * 0.3, y - tall, 0, r * 0.92), (x, y, 0, r)])
    bark = texture(f"post {x:.0f}", (128, 6), 1.2, 4)
    post.paint(Material(srgb("4a3d31"), bark, wrap=(0.25, 0.2, 0.16)), LIGHT)
    for k in range(3):
        yy = y - tall * 0.72 + k * r * 0.55
        stroke(
            layer,
            [(x - r, yy, r * 0.2), (x, yy + r * 0.3, r * 0.2), (x + r, yy, r * 0.2)],
            srgb("b7a789"),
            1,
        )
    _cut_below(layer, x - 3 * r, x + 3 * r, y)


def _rising_mist(canvas: Canvas) -> None:
    """Smoke on the water: low, drawn out, thicker far away."""
    window = canvas.box(0, BANK - 260, 11800, 2700)
    drift = blur(canvas.noise(window, (128, 1024), "smoke", 6, 0.5), 14 / canvas.reduce)
    y = canvas.y(window)
    shape = np.exp(-(((y - 1920) / 170) ** 2)) + np.float32(0.32) * np.exp(
        -(((y - 2180) / 260) ** 2)
    )
    ends = smoothstep(BANK - 260, BANK - 120, y) * (1 - smoothstep(2450, 2690, y))
    strength = np.clip(shape * ends * (np.float32(0.55) + np.float32(0.22) * drift), 0, 0.92)
    canvas.over(window, MIST * np.float32(1.02), strength)
    d = np.abs(canvas.x(window) - SUN[0])
    canvas.glow(window, srgb("ffb56b"), strength * np.exp(-d / 1500) * np.float32(0.16))


def _misted(layer: Canvas) -> None:
    """Boats far off are veiled more."""
    for band in layer.bands():
        if not layer.cover[band.slices].any():
            continue
        air = np.exp(-np.maximum(layer.y(band) - 1880, 0) / 420)[..., None] * np.float32(0.62)
        part = layer.rgb[band.slices]
        part *= 1 - air
        part += MIST * air * layer.cover[band.slices][..., None]


def _reeds(canvas: Canvas) -> None:
    rng = stream("dawn reeds")
    for left, right, count in ((-40, 1150, 330), (11000, 11850, 210)):
        for _ in range(count):
            x = rng.triangular(left, left if left < 0 else right, right)
            foot = 3400 + rng.uniform(-40, 60)
            tall, lean = rng.uniform(240, 760), rng.normal(40, 70)
            line = [
                (x, foot, 5.5),
                (x + lean * 0.3, foot - tall * 0.55, 4.2),
                (x + lean, foot - tall, 0.8),
            ]
            shade = rng.uniform(0.5, 1.3)
            stroke(canvas, line, srgb("4c4a33") * np.float32(shade), 0.96, 5)
            if rng.random() < 0.16:
                hx, hy = x + lean * 0.72, foot - tall * 0.82
                stroke(canvas, [(hx, hy, 9), (hx + lean * 0.1, hy - 90, 9)], srgb("2e2118"), 1)


def _birds(canvas: Canvas) -> None:
    rng = stream("dawn birds")
    for i in range(13):
        row = abs(i - 4)
        x, y = 6350 + (i - 4) * 118 + rng.normal(0, 16), 640 + row * 44 + rng.normal(0, 9)
        _bird(canvas, x, y, rng.uniform(30, 40), rng.uniform(-0.35, 0.75), srgb("3f4048"))
    for x, y, size in ((3300.0, 980.0, 66), (3620.0, 1110.0, 52), (9900.0, 760.0, 58)):
        _bird(canvas, x, y, size, 0.6, srgb("4a4a50"))
    for left, line, scale in ((7350.0, 2240.0, 1.0), (7560.0, 2262.0, 0.9), (7180.0, 2286.0, 1.05)):
        _duck(canvas, left, line, scale)


def _bird(canvas: Canvas, x: float, y: float, s: float, flap: float, colour: Colour) -> None:
    for side in (-1, 1):
        wing = [
            (x, y, s * 0.10),
            (x + side * s * 0.55, y - flap * s * 0.55, s * 0.085),
            (x + side * s * 1.25, y - flap * s * 0.32, s * 0.015),
        ]
        stroke(canvas, wing, colour, 0.95)
    stroke(
        canvas,
        [
            (x - s * 0.42, y + s * 0.05, s * 0.05),
            (x, y, s * 0.12),
            (x + s * 0.42, y - s * 0.05, s * 0.05),
        ],
        colour,
        0.95,
    )


def _duck(canvas: Canvas, x: float, y: float, s: float) -> None:
    dark = srgb("33302d")
    for k in range(1, 5):
        w = 30.0 * k * s
        stroke(
            canvas,
            [
                (x + 44 * s, y + 10, 1.2),
                (x - w, y + 8 + 5 * k, 1.6),
                (x - 2.4 * w, y + 14 + 11 * k, 0.6),
            ],
            srgb("d9c6b5"),
            0.35,
        )
    duck = Relief(canvas, (x - 80 * s, y - 80 * s, x + 90 * s, y + 30 * s), 1)
    duck.tube(
        [
            (x - 52 * s, y - 16 * s, 0, 5 * s),
            (x - 8 * s, y - 6 * s, 0, 19 * s),
            (x + 34 * s, y - 4 * s, 0, 15 * s),
        ]
    )
    duck.tube(
        [
            (x + 34 * s, y - 10 * s, 0, 9 * s),
            (x + 46 * s, y - 40 * s, 0, 10 * s),
            (x + 70 * s, y - 38 * s, 0, 3 * s),
        ],
        8 * s,
    )
    duck.paint(Material(dark, texture("duck", (6, 16), 0.6, 3), wrap=(0.3, 0.25, 0.2)), LIGHT)

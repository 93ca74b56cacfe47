"""Sky, foliage and water."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scenery.canvas import Canvas, Colour, Window
from scenery.noise import Field, blur, enlarge, smoothstep, stream
from scenery.relief import Light, Material, openness, shade, shadow, shifted


def gradient(canvas: Canvas, window: Window, stops: Sequence[tuple[float, Colour]]) -> None:
    """Fill with a smooth vertical gradient through (y, colour) stops."""
    y = canvas.y(window)[:, 0]
    places = [s[0] for s in stops]
    for i in range(3):
        values = [float(np.asarray(s[1])[i]) for s in stops]
        row = np.interp(y, places, values).astype(np.float32)
        canvas.rgb[window.slices][..., i] = row[:, None]


def clouds(
    canvas: Canvas,
    window: Window,
    name: str,
    cell: tuple[float, float],
    amount: float = 0.0,
    bright: Colour = (0.95, 0.93, 0.9),
    dark: Colour = (0.42, 0.46, 0.53),
    opacity: float = 1.0,
) -> None:
    """Cumulus: a thresholded fractal, lit from the upper left by its own slope."""
    body = canvas.noise(window, cell, name, 9, 0.54)
    billow = np.abs(canvas.noise(window, (cell[0] / 4, cell[1] / 4), name + " billow", 6, 0.55))
    thick = body + np.float32(amount) - billow * np.float32(0.35)
    cover = smoothstep(-0.15, 0.75, thick)
    reach = max(2, int(cell[0] * 0.10 / canvas.reduce))
    soft = blur(thick, reach * 0.35)
    toward = shifted(soft, -reach, -reach)
    light = np.clip(np.float32(0.62) + (soft - toward) * np.float32(0.75), 0, 1)
    light -= smoothstep(0.4, 2.2, soft) * np.float32(0.3)
    light = np.clip(light + billow * 0.06, 0, 1)[..., None]
    colour = np.asarray(dark, np.float32) * (1 - light) + np.asarray(bright, np.float32) * light
    canvas.over(window, colour, cover * np.float32(opacity))


@dataclass(frozen=True)
class Tree:
    """A crown that stands on its base; tint picks among three greens."""

    x: float
    base: float
    width: float
    height: float
    tint: int = 0


def wood(
    name: str,
    left: float,
    right: float,
    base: float,
    height: tuple[float, float],
    width: tuple[float, float],
    step: float,
) -> list[Tree]:
    """A row of trees of random size along a bank."""
    rng = stream(name)
    trees, x = [], left
    while x < right:
        tall = rng.uniform(*height) * (0.7 + 0.3 * np.sin(x / 900 + 1.3))
        trees.append(Tree(x, base, rng.uniform(*width), tall, int(rng.integers(0, 3))))
        x += step * rng.uniform(0.5, 1.5)
    return trees


def foliage(
    canvas: Canvas,
    trees: Sequence[Tree],
    name: str,
    colours: Sequence[Colour],
    light: Light,
    haze: Colour = (0.6, 0.65, 0.7),
    haze_share: float = 0.0,
    leaf: float = 24.0,
    detail: int = 8,
) -> None:
    """Crowns built of clusters of leaves, with ragged edges; one depth field for the row."""
    left = min(t.x - t.width for t in trees)
    right = max(t.x + t.width for t in trees)
    top = min(t.base - 1.25 * t.height for t in trees)
    bottom = max(t.base for t in trees)
    detail = max(1, detail // canvas.reduce)
    window = canvas.box(left, top, right, bottom, align=detail)
    if 0 in window.shape:
        return
    z, distance, tint = _crowns(canvas, window, trees, detail, name)
    rows, columns = window.shape
    coarse_lit = shadow(z, canvas.reduce * detail, light)
    coarse_open = openness(z, canvas.reduce * detail)
    z, distance, tint, lit, open_sky = (
        enlarge(f, detail)[:rows, :columns] for f in (z, distance, tint, coarse_lit, coarse_open)
    )
    rough = canvas.noise(window, (leaf * 4, leaf * 4), name + " leaves", 6, 0.70)
    cover = np.clip(0.5 - (distance + rough * np.float32(leaf * 0.62)) / (3 * canvas.reduce), 0, 1)
    z = z + rough * np.float32(leaf * 0.42)
    mix = np.clip(tint[..., None], 0, 2)
    a, b, c = (np.asarray(v, np.float32) for v in colours)
    base = a + (b - a) * np.clip(mix, 0, 1) + (c - b) * np.clip(mix - 1, 0, 1)
    base = base * (1 + np.float32(0.22) * np.clip(rough, -2, 2))[..., None]
    x, y = canvas.x(window), canvas.y(window)
    leaves = Material(base, wrap=(0.25, 0.3, 0.15))
    colour = shade(z, x, y, leaves, light, lit, open_sky * open_sky, canvas.reduce)
    colour += (np.asarray(haze, np.float32) - colour) * np.float32(haze_share)
    canvas.over(window, colour, cover)


def _crowns(
    canvas: Canvas, window: Window, trees: Sequence[Tree], detail: int, name: str
) -> tuple[Field, Field, Field]:
    step = np.float32(canvas.reduce * detail)
    rows, columns = (-(-n // detail) for n in window.shape)
    x = (np.arange(columns, dtype=np.float32) + 0.5) * step + window.left * canvas.reduce
    y = (np.arange(rows, dtype=np.float32) + 0.5) * step + window.top * canvas.reduce
    z = np.full((rows, columns), -2000, np.float32)
    distance = np.full((rows, columns), 1e4, np.float32)
    tint = np.zeros((rows, columns), np.float32)
    rng = stream(name + " crowns")
    for tree in trees:
        for cx, cy, r, depth in _clusters(tree, rng):
            pad = r + 60
            c0, c1 = np.searchsorted(x, (cx - pad, cx + pad))
            r0, r1 = np.searchsorted(y, (cy - pad, cy + pad))
            if c0 == c1 or r0 == r1:
                continue
            part = (slice(r0, r1), slice(c0, c1))
            d = np.hypot(x[None, c0:c1] - np.float32(cx), (y[r0:r1, None] - np.float32(cy)) * 1.15)
            dome = np.where(d < r, np.sqrt(np.maximum(r * r - d * d, 0)), 2 * (r - d)) + depth
            nearer = dome > z[part]
            z[part] = np.where(nearer, dome, z[part])
            tint[part] = np.where(nearer & (d < r), tree.tint, tint[part])
            distance[part] = np.minimum(distance[part], d - np.float32(r))
    return np.maximum(z, -400), distance, blur(tint, 1.0)


def _clusters(tree: Tree, rng: np.random.Generator) -> list[tuple[float, float, float, float]]:
    """(x, y, radius, depth) of the leaf clusters that make a crown down to its foot."""
    out = []
    count = int(40 + 14 * tree.height / tree.width)
    for i in range(count):
        up = 1 - (i / count) ** 1.3 if i < count - 6 else 0.0
        spread = tree.width * np.sqrt(max(0.05, 1 - (up * 1.02 - 0.25) ** 2 / 0.62)) * 0.62
        cx = tree.x + spread * rng.uniform(-1, 1)
        cy = tree.base - tree.height * (0.06 + 0.86 * up)
        r = tree.width * rng.uniform(0.11, 0.30)
        depth = rng.uniform(-0.4, 0.5) * tree.width + (0.25 - up) * tree.width * 0.3
        out.append((float(cx), float(cy), float(r), float(depth)))
    return out


class Waves:
    """Slopes of a wind-rippled plane, seen in perspective and averaged where they are fine."""

    size = 1024

    def __init__(self, name: str, roughness: float = 1.6) -> None:
        f = np.fft.fftfreq(self.size).astype(np.float32)
        fy, fx = f[:, None], f[None, :]
        k = np.hypot(fy * 0.8, fx) + 1e-6
        spectrum = np.exp(-((0.006 / k) ** 2)) / k**roughness
        noise = np.fft.fft2(stream(name).standard_normal((self.size, self.size)))
        height = noise * spectrum
        slopes = [np.real(np.fft.ifft2(height * 2j * np.pi * v)) for v in (fx, fy)]
        both = np.stack(slopes, axis=-1).astype(np.float32)
        both /= both.std()
        self.levels: dict[tuple[int, int], Field] = {(0, 0): both}

    def level(self, down: int, across: int) -> Field:
        """The slopes averaged over 2**down x 2**across texels."""
        if (down, across) not in self.levels:
            if down:
                a = self.level(down - 1, across)
                half = (a[0::2] + a[1::2]) * np.float32(0.5)
            else:
                a = self.level(down, across - 1)
                half = (a[:, 0::2] + a[:, 1::2]) * np.float32(0.5)
            self.levels[(down, across)] = half
        return self.levels[(down, across)]

    def rows(
        self, canvas: Canvas, window: Window, horizon: float, unit: float, squash: float = 0.35
    ) -> Field:
        """Slopes (across, along) for the pixels of a window.

        `unit` is how many texels a pixel spans 1000 pixels below the horizon; `squash` is the
        camera's height against the distance scale: small means long flat ripples.
        """
        out = np.empty((*window.shape, 2), np.float32)
        x = canvas.x(window)[0] - np.float32(canvas.width / 2)
        for i, y in enumerate(canvas.y(window)[:, 0]):
            near = max(float(y) - horizon, 2.0) / 1000
            du = unit / near
            dv = unit / squash / near**2
            v = unit * 1000 / squash / near
            out[i] = self._row(x * np.float32(du), v, du * canvas.reduce, dv * canvas.reduce)
        return out

    def _row(self, u: Field, v: float, du: float, dv: float) -> Field:
        across, down = (int(np.clip(np.floor(np.log2(max(s, 1e-6)) + 0.5), 0, 6)) for s in (du, dv))
        texture = self.level(down, across)
        n, m = texture.shape[:2]
        v = v / 2**down
        top = int(np.floor(v))
        part = np.float32(v - top)
        row = texture[top % n] * (1 - part) + texture[(top + 1) % n] * part
        u = u / np.float32(2**across)
        left = np.floor(u)
        share = (u - left)[:, None]
        index = left.astype(np.int64) % m
        near: Field = row[index] * (1 - share) + row[(index + 1) % m] * share
        return near


FACETS = (0.55, 1.0, 1.5)  # a pixel holds many small facets; these stand for them


@dataclass(frozen=True)
class Reflection:
    """What is mirrored in the water: an image and the waterline it stands on."""

    image: Field  # rows, columns, 3
    waterline: float
    squeeze: float = 1.0  # the far sky is seen from lower down than it was drawn from
    cover: Field | None = None  # of a layer, whose colour is premultiplied
    window: Window | None = None  # where the image lies, when it is not the whole canvas


def floating(
    layer: Canvas, waterline: float, box: tuple[float, float, float], sigma: float
) -> Reflection:
    """The reflection of what a layer holds in (left, top, right) above a waterline,
    blurred as a ruffled surface mirrors it."""
    left, top, right = box
    window = layer.box(left, top, right, waterline - 4)  # above where the layer was cut
    size = sigma / layer.reduce
    part = layer.rgb[window.slices]
    rgb = np.stack([blur(part[..., i], size) for i in range(3)], axis=-1)
    return Reflection(rgb, waterline, 1.0, blur(layer.cover[window.slices], size), window)


def water(
    canvas: Canvas,
    window: Window,
    horizon: float,
    slopes: Field,
    reflections: Sequence[Reflection],
    body: Colour,
    strength: tuple[float, float] = (60.0, 420.0),
    reflectance: tuple[float, float] = (0.92, 0.5),
    tint: Colour = (0.95, 0.98, 1.0),
) -> None:
    """Mirror the far shore and what floats in moving water, and let the depth show through.

    `strength` is the shift (across, along) per unit slope at 1000 pixels below the horizon;
    `reflectance` is that at the far and at the near edge.
    """
    x = canvas.x(window)
    floor, hue = np.asarray(body, np.float32), np.asarray(tint, np.float32)
    rows = 128
    for top in range(window.top, window.bottom, rows):
        part = Window(top, min(window.bottom, top + rows), window.left, window.right)
        y = canvas.y(part)
        s = slopes[part.top - window.top : part.bottom - window.top]
        near = np.maximum(y - np.float32(horizon), 1) / 1000
        seen = np.zeros((*part.shape, 3), np.float32)
        for facet in FACETS:
            seen += _mirrored(canvas, reflections, x, y, s * np.float32(facet), near, strength)
        seen *= np.float32(1 / len(FACETS))
        far = np.clip((y - window.top * canvas.reduce) / (window.shape[0] * canvas.reduce), 0, 1)
        share = reflectance[0] + (reflectance[1] - reflectance[0]) * np.sqrt(far)
        share = np.clip(share - s[..., 1] * np.float32(0.07), 0.05, 1)[..., None]
        canvas.rgb[part.slices] = seen * hue * share + floor * (1 - share)


def _mirrored(
    canvas: Canvas,
    reflections: Sequence[Reflection],
    x: Field,
    y: Field,
    slopes: Field,
    near: Field,
    strength: tuple[float, float],
) -> Field:
    seen = np.zeros((*slopes.shape[:2], 3), np.float32)
    for r in reflections:
        rows, columns = _reach(r, canvas, x, y)
        if rows.start >= rows.stop:
            continue
        part = slopes[rows, columns]
        here, down = near[rows], y[rows]
        below = np.maximum(down - np.float32(r.waterline), 0)
        lift = part[..., 1] * np.minimum(here * strength[1], below * 0.55 + 2)
        up = _index(r.waterline - (below - lift) * np.float32(r.squeeze), canvas.reduce)
        across = _index(
            x[:, columns] + part[..., 0] * here * np.float32(strength[0]), canvas.reduce
        )
        place = _flat(r, up, across, canvas)
        got = r.image.reshape(-1, 3).take(place, axis=0)
        if r.cover is None:
            seen[rows, columns] = got
        else:
            alpha = r.cover.reshape(-1).take(place) * (down > r.waterline - 2)
            hole = seen[rows, columns]
            hole *= (1 - alpha)[..., None]
            hole += got * (down > r.waterline - 2)[..., None]
    return seen


def _reach(r: Reflection, canvas: Canvas, x: Field, y: Field) -> tuple[slice, slice]:
    """The rows and columns of a band in which a reflection can be seen."""
    if r.window is None:
        return slice(0, y.shape[0]), slice(0, x.shape[1])
    margin = 240 // canvas.reduce
    depth = r.waterline * 2 - r.window.top * canvas.reduce + 260
    rows = np.flatnonzero((y[:, 0] > r.waterline - 2) & (y[:, 0] < depth))
    columns = slice(max(0, r.window.left - margin), min(x.shape[1], r.window.right + margin))
    return (slice(rows[0], rows[-1] + 1) if rows.size else slice(0, 0)), columns


def _flat(
    r: Reflection, up: NDArray[np.int32], across: NDArray[np.int32], canvas: Canvas
) -> NDArray[np.int32]:
    top, left = (0, 0) if r.window is None else (r.window.top, r.window.left)
    height, width = r.image.shape[:2]
    foot = min(height - 1, int(r.waterline / canvas.reduce) - 1 - top)
    row, column = np.clip(up - top, 0, foot), np.clip(across - left, 0, width - 1)
    return np.asarray(row * np.int32(width) + column, np.int32)


def _index(place: Field, reduce: int) -> NDArray[np.int32]:
    return np.asarray(np.floor(place * np.float32(1 / reduce)), np.int32)

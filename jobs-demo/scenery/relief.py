"""Shapes with depth: tubes, balls and slabs melted into one height field, lit and laid down.

x runs right, y down, z to the viewer. A relief is built on a coarse grid (its shapes are
smooth) and enlarged; the texture of its material is added at full size.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from scenery.canvas import Canvas, Colour, Point, Window, polygon, spline
from scenery.noise import Field, blur, enlarge, shrink, smoothstep

FAR = 1e4
Vector = tuple[float, float, float]
Paint = Callable[[Field, Field], Field]


@dataclass(frozen=True)
class Light:
    """A sun, and light from the sky above and the ground below."""

    toward: Vector = (-0.55, -0.6, 0.58)  # from the thing to the sun
    sun: Vector = (1.0, 0.93, 0.8)
    sky: Vector = (0.32, 0.37, 0.45)
    ground: Vector = (0.16, 0.15, 0.13)


@dataclass(frozen=True)
class Material:
    """What a surface is made of."""

    colour: Colour | Paint
    bump: Paint | None = None
    gloss: float = 0.0
    shininess: float = 20.0
    wrap: Vector = (0.0, 0.0, 0.0)  # light carried past the terminator, per channel
    mirror: Callable[[Field, Field], Field] | None = None  # (up, right) of the reflection
    mirror_share: float = 0.0


SKIN_WRAP = (0.34, 0.2, 0.15)


class Relief:
    """A height field over a box of a canvas."""

    def __init__(
        self,
        canvas: Canvas,
        box: tuple[float, float, float, float],
        detail: int = 4,
    ) -> None:
        self.canvas = canvas
        self.detail = max(1, detail // canvas.reduce)
        self.window = canvas.box(*box, align=self.detail)
        rows, columns = (-(-n // self.detail) for n in self.window.shape)
        step = self.step = np.float32(canvas.reduce * self.detail)
        left, top = (v * canvas.reduce for v in (self.window.left, self.window.top))
        self.x = ((np.arange(columns, dtype=np.float32) + np.float32(0.5)) * step + left)[None, :]
        self.y = ((np.arange(rows, dtype=np.float32) + np.float32(0.5)) * step + top)[:, None]
        self.z = np.full((rows, columns), -FAR, np.float32)
        self.distance = np.full((rows, columns), FAR, np.float32)

    def _part(self, left: float, top: float, right: float, bottom: float) -> tuple[slice, slice]:
        x0, y0 = float(self.x[0, 0]), float(self.y[0, 0])
        rows, columns = self.z.shape
        step = float(self.step)
        c0, c1 = (int(np.clip((v - x0) / step + i, 0, columns)) for v, i in ((left, 0), (right, 2)))
        r0, r1 = (int(np.clip((v - y0) / step + i, 0, rows)) for v, i in ((top, 0), (bottom, 2)))
        return slice(r0, r1), slice(c0, c1)

    def _melt(self, part: tuple[slice, slice], distance: Field, z: Field, blend: float) -> None:
        old_d, old_z = self.distance[part], self.z[part]
        if blend <= 0:
            self.z[part] = np.maximum(old_z, z)
            self.distance[part] = np.minimum(old_d, distance)
            return
        k = np.float32(blend)
        h = np.maximum(k - np.abs(old_d - distance), 0) / k
        self.distance[part] = np.minimum(old_d, distance) - h * h * k * np.float32(0.25)
        h = np.maximum(k - np.abs(old_z - z), 0) / k
        self.z[part] = np.maximum(old_z, z) + h * h * k * np.float32(0.25)

    def tube(
        self, points: Sequence[Sequence[float]], blend: float = 0.0, steps: int = 6
    ) -> "Relief":
        """A round limb along a smooth curve of (x, y, z, radius)."""
        line = spline(points, steps) if len(points) > 2 else np.asarray(points, np.float32)
        reach = float(line[:, 3].max()) + max(blend, 0) + 3 * float(self.step)
        low, high = line[:, :2].min(0) - reach, line[:, :2].max(0) + reach
        part = self._part(low[0], low[1], high[0], high[1])
        x, y = self.x[:, part[1]], self.y[part[0]]
        best_d = np.full((y.size, x.size), FAR, np.float32)
        best_z = np.full((y.size, x.size), -FAR, np.float32)
        for a, b in pairwise(line):
            d, z = _capsule(x, y, a, b)
            np.minimum(best_d, d, out=best_d)
            np.maximum(best_z, z, out=best_z)
        self._melt(part, best_d, best_z, blend)
        return self

    def ball(
        self,
        centre: Vector,
        radii: Vector,
        angle: float = 0.0,
        blend: float = 0.0,
    ) -> "Relief":
        """An ellipsoid; `angle` turns it in the picture, degrees clockwise."""
        reach = max(radii[:2]) + blend + 3 * float(self.step)
        cx, cy, cz = centre
        part = self._part(cx - reach, cy - reach, cx + reach, cy + reach)
        dx, dy = self.x[:, part[1]] - np.float32(cx), self.y[part[0]] - np.float32(cy)
        c, s = np.float32(np.cos(np.radians(angle))), np.float32(np.sin(np.radians(angle)))
        u = (dx * c + dy * s) / np.float32(radii[0])
        v = (dy * c - dx * s) / np.float32(radii[1])
        q = np.sqrt(u * u + v * v)
        small = np.float32(min(radii[:2]))
        slope = np.sqrt((u / np.float32(radii[0])) ** 2 + (v / np.float32(radii[1])) ** 2)
        d = np.where(q > 1e-3, q * (q - 1) / np.maximum(slope, 1e-6), -small)
        z = np.float32(cz) + _dome(1 - q * q, q - 1, np.float32(radii[2]))
        self._melt(part, d.astype(np.float32), z.astype(np.float32), blend)
        return self

    def slab(
        self,
        points: Sequence[Point],
        z: float = 0.0,
        thick: float = 20.0,
        edge: float = 10.0,
        blend: float = 0.0,
    ) -> "Relief":
        """A flat shape with a rounded edge of the given width."""
        window, cover = polygon(self.canvas, points, soft=edge * 0.45)
        full = np.zeros(self.window.shape, np.float32)
        w, v = window, self.window
        top, bottom = max(w.top, v.top), min(w.bottom, v.bottom)
        left, right = max(w.left, v.left), min(w.right, v.right)
        if top >= bottom or left >= right:
            return self
        full[top - v.top : bottom - v.top, left - v.left : right - v.left] = cover[
            top - w.top : bottom - w.top, left - w.left : right - w.left
        ]
        small = shrink(full, self.detail)
        d = (np.float32(0.5) - small) * np.float32(edge * 1.15)
        d = np.where(small < 0.01, np.float32(edge), d)
        height = z + thick * (2 * np.sqrt(np.clip(small - 0.5, 0, 0.5) * 2) - 1)
        height = np.where(small < 0.01, -FAR, height).astype(np.float32)
        self._melt((slice(None), slice(None)), d.astype(np.float32), height, blend)
        return self

    def smooth(self, sigma: float) -> "Relief":
        """Even out the seams between melted shapes; the silhouette stays."""
        inside = (self.distance < 0).astype(np.float32)
        size = sigma / float(self.step)
        share = blur(inside, size)
        even = blur(np.where(inside > 0, self.z, 0), size) / np.maximum(share, 1e-3)
        self.z = np.where(share > 0.05, even, self.z).astype(np.float32)
        return self

    def cover(self) -> Field:
        """How much of each pixel the shape covers."""
        rows, columns = self.window.shape
        d = enlarge(self.distance, self.detail)[:rows, :columns]
        cover: Field = np.clip(np.float32(0.5) - d / np.float32(self.canvas.reduce), 0, 1)
        return cover

    def paint(
        self,
        material: Material,
        light: Light,
        cast: float = 0.0,
        cast_reach: float = 40.0,
        self_shadow: bool = True,
    ) -> Field:
        """Light the relief and lay it on the canvas; returns its cover."""
        cover = self.cover()
        if 0 in cover.shape:
            return cover
        if cast > 0:
            self._cast(cover, light, cast, cast_reach)
        coarse = self._spread()
        lit = shadow(coarse, float(self.step), light) if self_shadow else np.ones_like(coarse)
        open_sky = openness(coarse, float(self.step))
        rows, columns = self.window.shape
        z, lit, open_sky = (
            enlarge(f, self.detail)[:rows, :columns] for f in (coarse, lit, open_sky)
        )
        x, y = self.canvas.x(self.window), self.canvas.y(self.window)
        colour = shade(z, x, y, material, light, lit, open_sky, self.canvas.reduce)
        self.canvas.over(self.window, colour, cover)
        return cover

    def _spread(self) -> Field:
        """Heights with no cliff at the silhouette, whose steps on the coarse grid would show."""
        inside = self.distance < 0
        low = float(self.z[inside].min()) if inside.any() else 0.0
        return blur(np.maximum(self.z, np.float32(low)), 0.9)

    def _cast(self, cover: Field, light: Light, strength: float, reach: float) -> None:
        """Darken what lies under the edge away from the sun."""
        pixels = reach / self.canvas.reduce
        pad = int(2.5 * pixels) + 2
        w = self.window
        rows, columns = self.canvas.rgb.shape[:2]
        wide = Window(
            max(0, w.top - pad),
            min(rows, w.bottom + pad),
            max(0, w.left - pad),
            min(columns, w.right + pad),
        )
        room = (
            (w.top - wide.top, wide.bottom - w.bottom),
            (w.left - wide.left, wide.right - w.right),
        )
        lx, ly, _ = light.toward
        dark = shifted(blur(np.pad(cover, room), pixels * 0.5), int(lx * pixels), int(ly * pixels))
        under = self.canvas.cover[wide.slices] if self.canvas.layer else np.float32(1)
        self.canvas.stain(wide, (0.12, 0.13, 0.17), dark * np.float32(strength) * under)


def _dome(inside: Field, beyond: Field, height: np.float32) -> Field:
    """Height of a round back: a circle's profile inside, falling steeply outside."""
    return np.where(inside > 0, np.sqrt(np.maximum(inside, 0)), -2 * beyond) * height


def _capsule(x: Field, y: Field, a: Field, b: Field) -> tuple[Field, Field]:
    dx, dy, dz, dr = (np.float32(v) for v in b - a)
    length = max(float(dx * dx + dy * dy), 1e-6)
    px, py = x - a[0], y - a[1]
    t = np.clip((px * dx + py * dy) / np.float32(length), 0, 1)
    d = np.hypot(px - t * dx, py - t * dy)
    r = a[3] + t * dr
    inside = r * r - d * d
    z = np.where(inside > 0, np.sqrt(np.maximum(inside, 0)), 2 * (r - d)) + a[2] + t * dz
    return d - r, z


def shifted(field: Field, dx: int, dy: int) -> Field:
    """field[y + dy, x + dx], edges repeated."""
    rows = np.clip(np.arange(field.shape[0]) + dy, 0, field.shape[0] - 1)
    columns = np.clip(np.arange(field.shape[1]) + dx, 0, field.shape[1] - 1)
    return field[rows[:, None], columns[None, :]]


def shadow(z: Field, step: float, light: Light, tries: int = 18) -> Field:
    """1 in the sun, 0 where something nearer the sun stands in the way."""
    lx, ly, lz = light.toward
    flat = max(float(np.hypot(lx, ly)), 1e-3)
    blocked = np.zeros_like(z)
    for i in range(1, tries + 1):
        cells = 1.35**i
        dx, dy = round(lx / flat * cells), round(ly / flat * cells)
        if max(abs(dx), abs(dy)) >= min(z.shape):
            break
        rise = cells * step * lz / flat
        np.maximum(blocked, (shifted(z, dx, dy) - z - rise) / np.float32(rise + step), out=blocked)
    return 1 - blur(smoothstep(0.0, 0.55, blocked), 1.2)


def openness(z: Field, step: float) -> Field:
    """Share of the sky seen from each place: hollows and creases are darker."""
    out = np.ones_like(z)
    for sigma, weight in ((2.0, 0.45), (8.0, 0.35)):
        hollow = (blur(z, sigma) - z) / np.float32(step * sigma)
        out -= np.float32(weight) * np.clip(hollow * np.float32(1.6), 0, 1)
    return np.clip(out, 0.15, 1)


def normals(z: Field, reduce: int) -> tuple[Field, Field, Field]:
    """Unit normals of a height field, pixel by pixel."""
    if min(z.shape) < 2:
        return np.zeros_like(z), np.zeros_like(z), np.ones_like(z)
    gy, gx = np.gradient(z)
    gy /= np.float32(reduce)
    gx /= np.float32(reduce)
    size = 1 / np.sqrt(gx * gx + gy * gy + 1)
    return -gx * size, -gy * size, size


def shade(
    z: Field,
    x: Field,
    y: Field,
    material: Material,
    light: Light,
    lit: Field,
    open_sky: Field,
    reduce: int,
) -> Field:
    """Colour of a lit surface: sun with wrap, sky and ground light, a highlight, a reflection."""
    if material.bump is not None:
        z = z + material.bump(x, y)
    nx, ny, nz = normals(z, reduce)
    ink = material.colour(x, y) if callable(material.colour) else material.colour
    base = np.asarray(ink, np.float32)
    size = float(np.linalg.norm(light.toward))
    lx, ly, lz = (np.float32(v / size) for v in light.toward)
    facing = nx * lx + ny * ly + nz * lz
    up = (np.float32(0.5) - np.float32(0.5) * ny) * open_sky
    out = np.empty((*z.shape, 3), np.float32)
    for i in range(3):
        wrap = np.float32(material.wrap[i])
        sun = np.clip((facing + wrap) / (1 + wrap), 0, 1) * (lit + (1 - lit) * wrap * 0.3)
        fill = light.ground[i] * open_sky + (light.sky[i] - light.ground[i]) * up
        out[..., i] = base[..., i] * (np.float32(light.sun[i]) * sun + fill)
    if material.gloss > 0:
        _highlight(out, (nx, ny, nz), (lx, ly, lz), material, light, lit)
    if material.mirror is not None:
        share = np.float32(material.mirror_share) * open_sky
        seen = material.mirror(-2 * ny * nz, 2 * nx * nz)
        out += (seen - out) * share[..., None]
    return out


def _highlight(
    out: Field,
    n: tuple[Field, Field, Field],
    toward: tuple[np.float32, np.float32, np.float32],
    material: Material,
    light: Light,
    lit: Field,
) -> None:
    hx, hy, hz = toward[0], toward[1], toward[2] + 1
    size = np.float32(1 / np.sqrt(hx * hx + hy * hy + hz * hz))
    near = np.clip((n[0] * hx + n[1] * hy + n[2] * hz) * size, 0, 1)
    shine = near ** np.float32(material.shininess) * lit * np.float32(material.gloss)
    for i in range(3):
        out[..., i] += shine * np.float32(light.sun[i])


def stroke(
    canvas: Canvas,
    points: Sequence[Sequence[float]],
    colour: Colour,
    opacity: float = 1.0,
    steps: int = 6,
) -> None:
    """A thin antialiased line along (x, y, half width)."""
    line = spline(points, steps) if len(points) > 2 else np.asarray(points, np.float32)
    pad = float(line[:, 2].max()) + 2 * canvas.reduce
    low, high = line[:, :2].min(0) - pad, line[:, :2].max(0) + pad
    window = canvas.box(low[0], low[1], high[0], high[1])
    if 0 in window.shape:
        return
    cover = np.zeros(window.shape, np.float32)
    for a, b in pairwise(line):
        lows, highs = np.minimum(a, b)[:2] - pad, np.maximum(a, b)[:2] + pad
        part = canvas.box(lows[0], lows[1], highs[0], highs[1])
        if 0 in part.shape:
            continue
        here = _line_cover(canvas, part, a, b)
        rows = slice(part.top - window.top, part.bottom - window.top)
        columns = slice(part.left - window.left, part.right - window.left)
        np.maximum(cover[rows, columns], here, out=cover[rows, columns])
    canvas.over(window, colour, cover * np.float32(opacity))


def _line_cover(canvas: Canvas, part: Window, a: Field, b: Field) -> Field:
    x, y = canvas.x(part) - a[0], canvas.y(part) - a[1]
    dx, dy = b[0] - a[0], b[1] - a[1]
    t = np.clip((x * dx + y * dy) / np.float32(max(dx * dx + dy * dy, 1e-6)), 0, 1)
    d = np.hypot(x - t * dx, y - t * dy)
    half = (a[2] + t * (b[2] - a[2])) / canvas.reduce
    # a line thinner than a pixel keeps its darkness, not its width
    thin = np.minimum(1, 2 * half)
    return np.asarray(
        np.clip(np.maximum(half, 0.5) - d / canvas.reduce + 0.5, 0, 1) * thin, np.float32
    )

"""A sheet of linear light to draw on.

Colours are linear, on sRGB primaries, and may leave 0..1: below 0 is a colour outside sRGB.
Places and lengths are full-size pixels whatever `reduce` is, so a small copy is drawn alike.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from scenery.noise import Field, blur, octaves

Colour = Sequence[float] | Field
Point = tuple[float, float]


@dataclass(frozen=True)
class Window:
    """A box of canvas pixels."""

    top: int
    bottom: int
    left: int
    right: int

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return (self.bottom - self.top, self.right - self.left)

    @property
    def slices(self) -> tuple[slice, slice]:
        """For indexing an array of the whole canvas."""
        return (slice(self.top, self.bottom), slice(self.left, self.right))


def srgb(code: str) -> Field:
    """Linear colour of an sRGB hex code such as `8a6b50`."""
    values = np.array([int(code[i : i + 2], 16) / 255 for i in (0, 2, 4)])
    linear = np.where(values <= 0.04045, values / 12.92, ((values + 0.055) / 1.055) ** 2.4)
    return linear.astype(np.float32)


@dataclass
class Canvas:
    """An image of linear light, or a layer to lay over one."""

    width: int
    height: int
    reduce: int = 1
    layer: bool = False  # a layer starts empty, keeps premultiplied colour and its own cover
    rgb: Field = field(init=False)
    cover: Field = field(init=False)

    def __post_init__(self) -> None:
        shape = (self.height // self.reduce, self.width // self.reduce)
        self.rgb = np.zeros((*shape, 3), np.float32)
        self.cover = np.zeros(shape if self.layer else (0, 0), np.float32)

    @property
    def everything(self) -> Window:
        """The whole canvas."""
        return Window(0, self.rgb.shape[0], 0, self.rgb.shape[1])

    def box(self, left: float, top: float, right: float, bottom: float, align: int = 1) -> Window:
        """The pixels that hold a box, cut to the canvas; corners on multiples of `align`."""
        step = self.reduce * align
        rows, columns = self.rgb.shape[:2]
        x0, y0 = (max(0, int(v // step) * align) for v in (left, top))
        x1 = min(columns, int(-(-right // step)) * align)
        y1 = min(rows, int(-(-bottom // step)) * align)
        return Window(y0, max(y0, y1), x0, max(x0, x1))

    def x(self, window: Window) -> Field:
        """Places of the columns, as one row."""
        pixels = np.arange(window.left, window.right, dtype=np.float32)
        return ((pixels + np.float32(0.5)) * np.float32(self.reduce))[None, :]

    def y(self, window: Window) -> Field:
        """Places of the rows, as one column."""
        pixels = np.arange(window.top, window.bottom, dtype=np.float32)
        return ((pixels + np.float32(0.5)) * np.float32(self.reduce))[:, None]

    def noise(
        self,
        window: Window,
        cell: tuple[float, float],
        name: str,
        count: int = 6,
        gain: float = 0.5,
    ) -> Field:
        """Fractal noise over a window; the cell is in full-size pixels (rows, columns)."""
        small = (cell[0] / self.reduce, cell[1] / self.reduce)
        return octaves(window.shape, small, name, count, gain)

    def over(self, window: Window, colour: Colour, alpha: Field) -> None:
        """Lay a colour over what is there."""
        part = self.rgb[window.slices]
        ink = np.asarray(colour, np.float32)
        keep = 1 - alpha
        for i in range(3):
            part[..., i] = part[..., i] * keep + ink[..., i] * alpha
        if self.layer:
            self.cover[window.slices] = self.cover[window.slices] * keep + alpha

    def stain(self, window: Window, transmission: Colour, strength: Field) -> None:
        """Darken as a dye or a shadow does: multiply by `transmission` where strength is 1."""
        part = self.rgb[window.slices]
        dye = np.asarray(transmission, np.float32)
        for i in range(3):
            part[..., i] *= 1 - strength * (1 - dye[..., i])

    def glow(self, window: Window, colour: Colour, strength: Field) -> None:
        """Add light."""
        part = self.rgb[window.slices]
        light = np.asarray(colour, np.float32)
        for i in range(3):
            part[..., i] += light[..., i] * strength

    def lay(self, layer: "Canvas") -> None:
        """Lay a whole layer over."""
        for band in self.bands():
            part = self.rgb[band.slices]
            part *= (1 - layer.cover[band.slices])[..., None]
            part += layer.rgb[band.slices]

    def soften(self, window: Window, sigma: float) -> None:
        """Blur a part, as a lens does what is out of focus."""
        part = self.rgb[window.slices]
        for i in range(3):
            part[..., i] = blur(part[..., i], sigma / self.reduce)

    def bands(self, rows: int = 256) -> Iterator[Window]:
        """The canvas in strips, so that no step needs a second copy of it."""
        height, width = self.rgb.shape[:2]
        for top in range(0, height, rows):
            yield Window(top, min(height, top + rows), 0, width)


def lettering(text: str, size: float, spacing: float = 0.0) -> Image.Image:
    """Text as a grey mask, tightly cut, with letter spacing as a fraction of the size."""
    font = ImageFont.load_default(size=size)
    steps = [font.getlength(letter) + spacing * size for letter in text]
    mask = Image.new("L", (int(sum(steps) + size), int(size * 1.6)))
    draw = ImageDraw.Draw(mask)
    place = size * 0.2
    for letter, step in zip(text, steps, strict=True):
        draw.text((place, size * 0.15), letter, fill=255, font=font)
        place += step
    return mask.crop(mask.getbbox())


def place_mask(canvas: Canvas, mask: Image.Image, corners: Sequence[Point]) -> tuple[Window, Field]:
    """Draw a mask into a quadrangle (top left, top right, bottom right, bottom left)."""
    xs, ys = [c[0] for c in corners], [c[1] for c in corners]
    window = canvas.box(min(xs), min(ys), max(xs), max(ys))
    if 0 in window.shape:
        return window, np.zeros(window.shape, np.float32)
    times = 2  # supersampled, since the bicubic filter alone would alias a shrunk text
    origin = np.array([window.left, window.top]) * canvas.reduce
    target = [(np.array(c) - origin) * times / canvas.reduce for c in corners]
    source = [(0, 0), (mask.width, 0), (mask.width, mask.height), (0, mask.height)]
    rows = []
    for (tx, ty), (sx, sy) in zip(target, source, strict=True):
        rows.append([tx, ty, 1, 0, 0, 0, -sx * tx, -sx * ty])
        rows.append([0, 0, 0, tx, ty, 1, -sy * tx, -sy * ty])
    data = np.linalg.solve(np.array(rows), np.array(source, np.float64).reshape(8))
    size = (window.shape[1] * times, window.shape[0] * times)
    big = mask.transform(size, Image.Transform.PERSPECTIVE, data.tolist(), Image.Resampling.BICUBIC)
    small = big.resize((window.shape[1], window.shape[0]), Image.Resampling.BOX)
    return window, np.asarray(small, np.float32) / np.float32(255)


def polygon(canvas: Canvas, points: Sequence[Point], soft: float = 0.0) -> tuple[Window, Field]:
    """Cover of a closed polygon, antialiased 4 x 4, with an optional soft edge."""
    xs, ys = [p[0] for p in points], [p[1] for p in points]
    pad = 3 * soft + 2 * canvas.reduce
    window = canvas.box(min(xs) - pad, min(ys) - pad, max(xs) + pad, max(ys) + pad)
    if 0 in window.shape:
        return window, np.zeros(window.shape, np.float32)
    times = 4
    big = Image.new("L", (window.shape[1] * times, window.shape[0] * times))
    scale = times / canvas.reduce
    ImageDraw.Draw(big).polygon(
        [(x * scale - window.left * times, y * scale - window.top * times) for x, y in points],
        fill=255,
    )
    small = big.resize((window.shape[1], window.shape[0]), Image.Resampling.BOX)
    cover = np.asarray(small, np.float32) / np.float32(255)
    return window, blur(cover, soft / canvas.reduce)


def spline(points: Sequence[Sequence[float]], steps: int = 8, closed: bool = False) -> Field:
    """Points along a Catmull-Rom curve through the given ones (any number of columns)."""
    p = np.asarray(points, np.float64)
    if closed:
        p = np.concatenate([p[-1:], p, p[:2]])
    else:
        p = np.concatenate([2 * p[:1] - p[1:2], p, 2 * p[-1:] - p[-2:-1]])
    t = np.linspace(0, 1, steps, endpoint=False)[:, None]
    pieces = []
    for a, b, c, d in zip(p[:-3], p[1:-2], p[2:-1], p[3:], strict=True):
        cubic = (-a + 3 * b - 3 * c + d) * t**3 + (2 * a - 5 * b + 4 * c - d) * t**2
        pieces.append(0.5 * (cubic + (c - a) * t + 2 * b))
    if not closed:
        pieces.append(p[-2:-1])
    return np.concatenate(pieces).astype(np.float32)


def outline(points: Sequence[Point], steps: int = 10) -> list[Point]:
    """A smooth closed outline through the points, for `polygon`."""
    return [(float(x), float(y)) for x, y in spline(points, steps, closed=True)]

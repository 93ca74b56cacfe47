"""What every subject has to print: one frozen `Spec`, shared by the subjects and the checks.

A *subject* is a script with `make_print(source, target, spec)`. A new row of the table is a new
`Spec` in `SPECS`; nothing else has to know about it.
"""

import os
from dataclasses import dataclass, replace
from fractions import Fraction
from math import floor, sqrt
from typing import NamedTuple

MM_PER_INCH = Fraction("25.4")

FLOOR = "floor"
PEERS = ("peer_opencv", "peer_skimage", "peer_pillow")
TUNED = "tuned_opencv"
"""The first peer with 16-bit tables for every function: how fast such a script can be made."""
OURS = "subject_sightsize"
SUBJECTS = (FLOOR, *PEERS, TUNED, OURS)
"""The modules that can be measured; the first peer that is at hand is the reference."""

LARGEST_DIFFERENCE_CODES = 2.0
DETAIL_RATIOS = (0.92, 1.08)
"""How far a print may stand from the reference: see `verify`."""


class Size(NamedTuple):
    """Width and height in pixels."""

    width: int
    height: int


class Box(NamedTuple):
    """A box of pixels, from the top left corner of what it lies in."""

    left: int
    top: int
    width: int
    height: int

    @property
    def slices(self) -> tuple[slice, slice]:
        """The box as the row and column slices of an array."""
        rows = slice(self.top, self.top + self.height)
        return rows, slice(self.left, self.left + self.width)


@dataclass(frozen=True, kw_only=True)
class Spec:
    """One black-and-white print: from which picture, how large, on which sheet, how finished."""

    name: str
    source: Size
    aperture_in: tuple[Fraction, Fraction]
    paper_in: tuple[Fraction, Fraction]
    overlap_mm: Fraction = Fraction(0)
    ppi: int = 300
    weights: tuple[float, float, float] = (0.2126, 0.7152, 0.0722)
    curve: tuple[tuple[float, float], ...] = ((0, 0), (4, 1), (50, 53), (96, 98), (100, 100))
    sharpen_radius_mm: Fraction = Fraction("0.10")
    sharpen_gain: float = 0.8
    quality: int = 95
    optimised_coding: bool = False

    @property
    def sheet(self) -> Size:
        """The sheet of paper."""
        return Size(*(round_half_up(side * self.ppi) for side in self.paper_in))

    @property
    def image_in(self) -> tuple[Fraction, Fraction]:
        """Width and height of the picture: the opening and what lies behind the mat round it."""
        width, height = (side + 2 * self.overlap_mm / MM_PER_INCH for side in self.aperture_in)
        return width, height

    @property
    def picture(self) -> Box:
        """The picture, centred on the sheet; an odd pixel goes right and bottom."""
        width, height = (round_half_up(side * self.ppi) for side in self.image_in)
        left, top = (self.sheet.width - width) // 2, (self.sheet.height - height) // 2
        return Box(left, top, width, height)

    @property
    def crop(self) -> Box:
        """The largest centred box of the picture's ratio in the source, to the nearest pixel."""
        ratio = self.image_in[0] / self.image_in[1]
        width = min(Fraction(self.source.width), self.source.height * ratio)
        left = round_half_up((self.source.width - width) / 2)
        top = round_half_up((self.source.height - width / ratio) / 2)
        return Box(left, top, self.source.width - 2 * left, self.source.height - 2 * top)

    @property
    def enlarges(self) -> bool:
        """Whether the picture has more pixels than the crop it is made from."""
        return self.picture.width >= self.crop.width

    @property
    def sharpen_sigma_px(self) -> float:
        """Standard deviation of the sharpening Gaussian in pixels of the print."""
        return float(self.sharpen_radius_mm / MM_PER_INCH * self.ppi)


def round_half_up(value: Fraction) -> int:
    """Round to the nearest whole number, a half upwards."""
    return floor(value + Fraction(1, 2))


def thread_count() -> int:
    """Threads that a subject may use; the runner sets it, alike for all."""
    return int(os.environ.get("BENCHMARK_THREADS", "2"))


MONO_24X16 = Spec(
    name="mono-24x16",
    source=Size(6000, 4000),
    aperture_in=(Fraction("20.125"), Fraction("11.375")),
    paper_in=(Fraction(24), Fraction(16)),
    overlap_mm=Fraction(3),
)


LARGEST_OPTIMISED_PX = 2**27 // 12
"""Sheets up to here get Huffman tables of their own from sightsize, so the spec asks for them."""


def scaled(megapixels: int) -> Spec:
    """The plain print with its source and its sheet larger or smaller alike, to whole pixels."""
    plain = MONO_24X16
    factor = sqrt(megapixels * 1e6 / (plain.source.width * plain.source.height))

    def inches(sides: tuple[Fraction, Fraction]) -> tuple[Fraction, Fraction]:
        pixels = (round_half_up(side * plain.ppi * Fraction(factor)) for side in sides)
        across, down = (Fraction(count, plain.ppi) for count in pixels)
        return across, down

    spec = replace(
        plain,
        name=f"mono-{megapixels}-megapixels",
        source=Size(*(round(side * factor) for side in plain.source)),
        aperture_in=inches(plain.image_in),
        paper_in=inches(plain.paper_in),
        overlap_mm=Fraction(0),
    )
    optimised = spec.sheet.width * spec.sheet.height <= LARGEST_OPTIMISED_PX
    return replace(spec, optimised_coding=optimised)


SCALED = {megapixels: scaled(megapixels) for megapixels in (5, 12, 24, 50, 100)}

LARGE_40X30 = replace(
    MONO_24X16,
    name="mono-40x30",
    source=SCALED[100].source,
    aperture_in=(Fraction(37), Fraction("27.75")),
    paper_in=(Fraction(40), Fraction(30)),
    overlap_mm=Fraction(0),
)

GIGAPIXEL = replace(
    MONO_24X16,
    name="mono-2-metres",
    source=Size(40960, 26368),
    aperture_in=(2000 / MM_PER_INCH, 1250 / MM_PER_INCH),
    paper_in=(2100 / MM_PER_INCH, 1350 / MM_PER_INCH),
    overlap_mm=Fraction(0),
)

SMALL = Size(480, 320)
"""The pictures of a job of many."""

SPECS = {
    spec.name: spec
    for spec in (
        MONO_24X16,
        replace(MONO_24X16, name="mono-24x16-optimised", optimised_coding=True),
        *SCALED.values(),
        LARGE_40X30,
        GIGAPIXEL,
    )
}

"""What every subject has to print: one frozen `Brief`, shared by the subjects and the checks.

A *subject* is a script with `make_print(source, target, brief)`. A new row of the table is a new
`Brief` in `BRIEFS`; nothing else has to know about it.
"""

import os
from dataclasses import dataclass, replace
from fractions import Fraction
from math import floor
from typing import NamedTuple

MM_PER_INCH = Fraction("25.4")

FLOOR = "floor"
PEERS = ("peer_opencv", "peer_skimage", "peer_pillow")
TUNED = "tuned_opencv"
"""The first peer with 16-bit tables for every function: how fast such a script can be made."""
SUBJECTS = (FLOOR, *PEERS, TUNED, "subject_sightsize")
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
class Brief:
    """One black-and-white print: from which picture, how large, on which sheet, how finished."""

    name: str
    source: Size
    aperture_in: tuple[Fraction, Fraction]
    paper_in: tuple[Fraction, Fraction]
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
    def picture(self) -> Box:
        """The picture, centred on the sheet; an odd pixel goes right and bottom."""
        width, height = (round_half_up(side * self.ppi) for side in self.aperture_in)
        left, top = (self.sheet.width - width) // 2, (self.sheet.height - height) // 2
        return Box(left, top, width, height)

    @property
    def crop(self) -> Box:
        """The largest centred box of the opening's ratio in the source, to the nearest pixel."""
        ratio = self.aperture_in[0] / self.aperture_in[1]
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


MONO_20X16 = Brief(
    name="mono-20x16",
    source=Size(6000, 4000),
    aperture_in=(Fraction("16.375"), Fraction("13.625")),
    paper_in=(Fraction(20), Fraction(16)),
)

BRIEFS = {
    brief.name: brief
    for brief in (
        MONO_20X16,
        replace(MONO_20X16, name="mono-20x16-optimised", optimised_coding=True),
    )
}

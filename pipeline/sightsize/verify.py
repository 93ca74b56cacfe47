"""Hold a written file against its plan: pixels, density, profile, orientation, overhang."""

from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import pyvips

from sightsize.job import BUILT_IN_PROFILES
from sightsize.picture.finish import output_profile
from sightsize.picture.source import last_word
from sightsize.plan import Box, Plan
from sightsize.units import MM_PER_INCH

_STRIP_PX = 16
_BLOCK_PX = 8
_PPI_WITHIN = 0.01


def verify_file(path: Path, plan: Plan, paper: list[int]) -> list[str]:
    """Return what differs between a file and its plan; an empty list when nothing does.

    In a JPEG the overhang is exact outside the 8-pixel blocks that the picture's edge runs
    through; inside those blocks the coding of the edge itself reaches over it. In a TIFF every
    pixel of the overhang is exact.
    """
    try:
        image = pyvips.Image.new_from_file(str(path), access="sequential", fail_on="error")
        return list(_header_differences(image, plan)) or list(_overhang(image, plan, paper))
    except pyvips.Error as error:
        return [f"it cannot be read again ({last_word(error)})"]


def _header_differences(image: pyvips.Image, plan: Plan) -> Iterator[str]:
    sheet, delivery = plan.sheet, plan.request.delivery
    if (image.width, image.height) != sheet.sheet_px:
        planned = f"{sheet.sheet_px[0]} x {sheet.sheet_px[1]}"
        yield f"{image.width} x {image.height} px, planned {planned}"
    depth = {"uchar": 8, "ushort": 16}.get(image.format, 0)
    if depth != delivery.bit_depth:
        yield f"{depth} bits, planned {delivery.bit_depth}"
    if delivery.profile in BUILT_IN_PROFILES:
        channels = 1 if delivery.profile == "gray" else 3
        if image.bands != channels:
            yield f"{image.bands} channels, planned {channels}"
    ppi = Fraction(image.xres) * MM_PER_INCH, Fraction(image.yres) * MM_PER_INCH
    wanted = delivery.ppi if delivery.format == "tiff" else Fraction(round(delivery.ppi))
    if any(abs(each - wanted) > _PPI_WITHIN for each in ppi):
        yield f"a density of {float(ppi[0]):.2f} ppi, planned {float(wanted):.2f}"
    if not image.get_typeof("icc-profile-data"):
        yield "no ICC profile"
    elif bytes(image.get("icc-profile-data")) != output_profile(delivery):
        yield "another ICC profile than planned"
    if image.get_typeof("orientation") and int(image.get("orientation")) != 1:
        yield "an orientation that turns it"


def _overhang(image: pyvips.Image, plan: Plan, paper: list[int]) -> Iterator[str]:
    box = plan.sheet.picture_box
    if plan.request.delivery.format == "jpeg":
        box = _whole_blocks(box, image.width, image.height)
    size = 2 if image.format == "ushort" else 1
    pixel = b"".join(value.to_bytes(size, "little") for value in paper)
    row = pixel * image.width
    left, right = box.left * len(pixel), (box.left + box.width) * len(pixel)
    for y, line in _lines(image, len(row)):
        inside = box.top <= y < box.top + box.height
        spans = [(0, left), (right, len(row))] if inside else [(0, len(row))]
        if any(bytes(line[start:end]) != row[start:end] for start, end in spans):
            yield f"row {y} of the overhang is not exact paper tone"
            return


def _lines(image: pyvips.Image, length: int) -> Iterator[tuple[int, memoryview]]:
    """Each row of pixels with its number, read in the strips in which a JPEG is decoded."""
    region = pyvips.Region.new(image)
    for top in range(0, image.height, _STRIP_PX):
        height = min(_STRIP_PX, image.height - top)
        strip = memoryview(region.fetch(0, top, image.width, height))
        for y in range(height):
            yield top + y, strip[y * length : (y + 1) * length]


def _whole_blocks(box: Box, width: int, height: int) -> Box:
    """The box grown to whole blocks of the JPEG grid, inside the sheet."""
    left, top = box.left // _BLOCK_PX * _BLOCK_PX, box.top // _BLOCK_PX * _BLOCK_PX
    right = min(-(-(box.left + box.width) // _BLOCK_PX) * _BLOCK_PX, width)
    bottom = min(-(-(box.top + box.height) // _BLOCK_PX) * _BLOCK_PX, height)
    return Box(left, top, right - left, bottom - top)

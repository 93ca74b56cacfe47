"""What a print takes: bytes of its file, and memory while it is made, on the high side.

The memory is held against measured prints by the tests.
"""

from math import dist, pi, radians, sin

from sightsize.model.header import RAW, Header
from sightsize.model.job import Look
from sightsize.model.settings import Delivery
from sightsize.plan.decode import is_streamed, needs_any_order, print_shrink
from sightsize.plan.picture import AnyPicture, PicturePlan
from sightsize.plan.sheet import FilePlan
from sightsize.plan.size import PictureSize

_MIB = 2**20
_PROGRAM_BYTES = 85 * _MIB
"""Python with libvips and numpy, and the tables of a print."""
_SCIPY_BYTES = 50 * _MIB
_FLOAT_BYTES = 4
_SOURCE_LINES = 250
_LEVEL_LINES = 600
_SLANTED = 3
"""A row of a picture turned level runs slanted through the source: so often is its rise held."""
_GREY_LINES = 2000
_COLOUR_LINES = 1500
_STAGE_LINES = 700
"""Lines of float that the stages hold together, as measured, of one channel: the threads' strips,
each with the lines that the sharpening and the like around it need. More threads hold hardly
more."""
_COEFFICIENT_BYTES = 2
_HELD_BYTES_A_PIXEL = {"WebP": 8, "HEIF": 15}
"""What the decoders of pictures that cannot stream were seen to take."""
_TILES_HELD, _MOST_HELD = 2.5, 1.5
"""Rows of tiles or strips that are held of a TIFF, and times the whole picture at most."""
_RAW_BYTES_A_PIXEL = 24
_MEMBRANE_BYTES_A_PIXEL = 1400
_CODING_BYTES_A_PIXEL = 12
_CODING_LIMIT = 128 * _MIB


def estimated_bytes(file: FilePlan[AnyPicture]) -> int:
    """Return a rough size of the file: bits for each picture pixel; white costs little."""
    return sum(
        _picture_bytes(each.request.look, each.picture.size, file.delivery)
        for each in file.pictures
    )


def _picture_bytes(look: Look, size: PictureSize, delivery: Delivery) -> int:
    """Bits for a pixel are as seen on the demo."""
    pixels = size.image_px[0] * size.image_px[1]
    channels = 1 if look.mono or delivery.profile == "grey" else 3
    if delivery.format == "tiff":
        return round(pixels * channels * delivery.bit_depth / 8 * 0.8)
    bits = 0.5 + 3.0 * (max(delivery.quality, 50) / 100) ** 6
    return round(pixels * bits / 8 * (1 if channels == 1 else 1.5))


def peak_bytes(file: FilePlan[PicturePlan]) -> int:
    """Return an estimate, on the high side, of what a process takes that makes this print alone."""
    width, height = file.sheet.stock.size_px
    total = _PROGRAM_BYTES
    for plan in (each.picture for each in file.pictures):
        total += _source_bytes(plan, file.delivery) + _print_bytes(plan, file.delivery)
    if any(_loads_scipy(each.picture) for each in file.pictures):
        total += _SCIPY_BYTES
    if file.delivery.format == "jpeg":
        total += coding_bytes(width, height) + estimated_bytes(file)
    return total


def coding_bytes(width_px: int, height_px: int) -> int:
    """Return what a JPEG's encoder holds to give the file Huffman tables of its own.

    They save 4 to 7 % of its size, for every coefficient in memory; 0 is for sheets so large that
    they do without.
    """
    held = width_px * height_px * _CODING_BYTES_A_PIXEL
    return held if held <= _CODING_LIMIT else 0


def _source_bytes(plan: PicturePlan, delivery: Delivery) -> int:
    """What of the source is held: lines on their way to light, and what stands decoded."""
    header, shrink = plan.header, _shrink(plan, delivery)
    lines = _SOURCE_LINES * (2 if header.bits == 16 else 1)
    width = header.upright_px[0] // shrink
    if plan.crop.level_degrees:
        rise = abs(sin(radians(plan.crop.level_degrees)))
        lines += _LEVEL_LINES + round(_SLANTED * rise * width)
    line = width * max(_channels(header), 1) * _FLOAT_BYTES
    decoded = _decoded_bytes(plan, shrink) + _decoder_bytes(plan)
    return line * lines + decoded + _membrane_bytes(plan)


def _membrane_bytes(plan: PicturePlan) -> int:
    """What the membrane over the largest mark takes; they are made one after the other."""
    areas = (
        2 * mark.radius_px * dist(mark.start, mark.end) + pi * mark.radius_px**2
        for mark in plan.marks
    )
    return round(max(areas, default=0) * _MEMBRANE_BYTES_A_PIXEL)


def _shrink(plan: PicturePlan, delivery: Delivery) -> int:
    """How many times smaller a source is decoded: not at all for its master."""
    return 1 if delivery.keep_master else print_shrink(plan)


def _channels(header: Header) -> int:
    return {"grey": 1, "rgb": 3, "cmyk": 4}[header.colour] + header.has_alpha


def _print_bytes(plan: PicturePlan, delivery: Delivery) -> int:
    """The lines of the picture on its way to the sheet, or to its master, which is in 16 bits."""
    grey = plan.mono is not None or plan.header.colour == "grey"
    lines = _GREY_LINES if grey else 3 * _COLOUR_LINES
    stages = (plan.shades or plan.edge_burn, plan.local_contrast, plan.grain, plan.sharpen)
    extra = _STAGE_LINES * sum(bool(each) for each in stages)

    def held(width_px: int, bits: int) -> int:
        return width_px * _FLOAT_BYTES * (lines * (2 if bits == 16 else 1) + extra)

    printed = held(plan.size.image_px[0], delivery.bit_depth)
    return max(printed, held(plan.crop.box.width, 16)) if delivery.keep_master else printed


def _decoded_bytes(plan: PicturePlan, shrink: int) -> int:
    """What of the source stands in memory to be read in any order: nothing while it streams."""
    header = plan.header
    pixels = header.width_px * header.height_px // shrink**2
    if header.format == RAW:
        return pixels * _RAW_BYTES_A_PIXEL
    if is_streamed(plan) and header.orientation == 1:
        return 0
    return pixels * _channels(header) * header.bits // 8


def _decoder_bytes(plan: PicturePlan) -> int:
    """What its decoder holds by itself, however much smaller it is asked to decode."""
    header = plan.header
    if header.rows_at_once == 1:
        return 0
    rows: float = header.rows_at_once
    a_pixel = _HELD_BYTES_A_PIXEL.get(header.format) or _channels(header) * header.bits // 8
    if header.format == "JPEG":
        a_pixel = _channels(header) * _COEFFICIENT_BYTES
    elif header.format == "TIFF":
        rows = min(rows * _TILES_HELD, header.height_px * _MOST_HELD)
    return round(header.width_px * rows * a_pixel)


def _loads_scipy(plan: PicturePlan) -> bool:
    skin = plan.sharpen is not None and plan.sharpen.skin < 1
    return bool(plan.shades or plan.edge_burn is not None or skin or needs_any_order(plan))

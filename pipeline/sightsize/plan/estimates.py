"""What a print takes: bytes of its file, and memory while it is made, on the high side.

The memory is held against measured prints by the tests.
"""

from sightsize.model.header import RAW
from sightsize.model.job import Look
from sightsize.model.settings import Delivery
from sightsize.plan.decode import is_streamed, needs_any_order, print_shrink
from sightsize.plan.picture import AnyPicture, PicturePlan
from sightsize.plan.sheet import FilePlan
from sightsize.plan.size import PictureSize

_MIB = 2**20
_PROGRAM_BYTES = 110 * _MIB
"""Python with libvips and numpy, and the tables of a print."""
_SCIPY_BYTES = 50 * _MIB
_LINES_IN_FLIGHT = 2200
"""Lines of float that the stages hold together, as measured: the threads' strips, each with the
lines that the reducing and the sharpening around it need. More threads hold hardly more."""
_RAW_BYTES_A_PIXEL = 24
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
    plans = [each.picture for each in file.pictures]
    shrinks = [_shrink(each, file) for each in plans]
    total = _PROGRAM_BYTES
    for plan, shrink in zip(plans, shrinks, strict=True):
        total += _line_bytes(plan, shrink, width) * _LINES_IN_FLIGHT + _decoded_bytes(plan, shrink)
    if any(_loads_scipy(each) for each in plans):
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


def _shrink(plan: PicturePlan, file: FilePlan[PicturePlan]) -> int:
    """How many times smaller a source is decoded: not at all for its master."""
    return 1 if file.delivery.keep_master else print_shrink(plan)


def _line_bytes(plan: PicturePlan, shrink: int, sheet_px: int) -> int:
    """A line of light: of the source as decoded, or half of one of the sheet if that is longer."""
    bands = 1 if plan.header.colour == "grey" else 3
    return max(plan.header.width_px // shrink, sheet_px // 2) * bands * 4


def _decoded_bytes(plan: PicturePlan, shrink: int) -> int:
    """What of the source stands in memory: nothing while it streams past."""
    header = plan.header
    pixels = header.width_px * header.height_px // shrink**2
    if header.format == RAW:
        return pixels * _RAW_BYTES_A_PIXEL
    if is_streamed(plan) and header.orientation == 1:
        return 0
    bands = {"grey": 1, "rgb": 3, "cmyk": 4}[header.colour] + header.has_alpha
    return pixels * bands * header.bits // 8


def _loads_scipy(plan: PicturePlan) -> bool:
    skin = plan.sharpen is not None and plan.sharpen.skin < 1
    return bool(plan.shades or plan.edge_burn is not None or skin or needs_any_order(plan))

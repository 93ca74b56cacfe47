"""How much memory a print takes at most, and how much this machine has.

The estimate is held against measured prints by the tests.
"""

import ctypes
import os
import re
from contextlib import suppress
from pathlib import Path

from sightsize.decoding import is_streamed, needs_any_order, print_shrink
from sightsize.errors import UnitError
from sightsize.header import RAW
from sightsize.plan import FilePlan, PicturePlan, estimated_bytes

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

_M_ARENA_MAX = -8
"""As glibc's malloc.h has it."""

_UNIT_BYTES = {
    "kB": 10**3, "MB": 10**6, "GB": 10**9, "TB": 10**12,
    "KiB": 2**10, "MiB": 2**20, "GiB": 2**30, "TiB": 2**40,
}  # fmt: skip
"""SI prefixes, and binary ones of IEC 80000-13."""

_SIZE = re.compile(r"\s*(?P<number>\d+(?:\.\d*)?|\.\d+)\s*(?P<unit>[A-Za-z]*)\s*")
_CONTROL_GROUP_LIMIT = Path("/sys/fs/cgroup/memory.max")


def share_one_heap() -> None:
    """Have glibc serve every thread from one heap, so that one uses what another has freed.

    With a heap for each thread, as it has them otherwise, a print with every stage was measured to
    take 350 MiB instead of 280, in the same time. Other C libraries are left alone.
    """
    if "MALLOC_ARENA_MAX" not in os.environ:
        with suppress(AttributeError, OSError, TypeError):
            ctypes.CDLL(None).mallopt(_M_ARENA_MAX, 1)


def parse_size_bytes(text: str) -> int:
    """Return the bytes of a size such as ``2 GiB``. Raises UnitError."""
    match = _SIZE.fullmatch(text)
    if match is None or match["unit"] not in _UNIT_BYTES:
        units = ", ".join(_UNIT_BYTES)
        raise UnitError(f"{text!r} is no size of memory: write a number and one of {units}")
    return round(float(match["number"]) * _UNIT_BYTES[match["unit"]])


def machine_bytes() -> int | None:
    """Return the memory of this machine, or of the container we are in; None when unknown."""
    sizes = []
    if hasattr(os, "sysconf") and "SC_PHYS_PAGES" in os.sysconf_names:
        sizes.append(os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE"))
    if _CONTROL_GROUP_LIMIT.is_file():
        limit = _CONTROL_GROUP_LIMIT.read_text(encoding="ascii").strip()
        sizes += [int(limit)] if limit.isdigit() else []
    return min(sizes, default=None)


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

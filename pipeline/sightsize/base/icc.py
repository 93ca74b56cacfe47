"""What an ICC profile says of itself: its colour model, its name, its tags (ICC.1)."""

import struct
from pathlib import Path
from typing import Literal

from sightsize.base.plain_text import one_line
from sightsize.base.reading import read_plain

ColourModel = Literal["rgb", "grey", "cmyk"]

_SPACES: dict[bytes, ColourModel] = {b"RGB ": "rgb", b"GRAY": "grey", b"CMYK": "cmyk"}
_MOST_TAGS = 200
MOST_PROFILE_BYTES = 16 * 2**20
"""The largest profiles of printers that were seen have 3 MB, those of wide presses 10."""
_LONGEST_NAME_BYTES = 1000


def read_profile(path: Path) -> bytes:
    """Return the bytes of a profile's file. Raises OSError, also for one that is too large."""
    return read_plain(path, MOST_PROFILE_BYTES)


def profile_colour(profile: bytes) -> ColourModel | None:
    """Return the colour model that a whole ICC profile's device side is for, None for any other.

    libvips would silently take sRGB in place of a profile that is damaged.
    """
    return _SPACES.get(profile[16:20]) if _is_whole(profile) else None


def file_colour(path: Path) -> ColourModel | None:
    """Return the colour model of a profile's file; None too for one that cannot be read."""
    try:
        return profile_colour(read_profile(path))
    except OSError:
        return None


def profile_name(profile: bytes) -> str:
    """Return the description of an ICC profile (tag ``desc``), or ``unnamed``."""
    try:
        return one_line(_description(tags(profile)[b"desc"])) or "unnamed"
    except (KeyError, struct.error):
        return "unnamed"


def has_perceptual_table(profile: bytes) -> bool:
    """Return whether a profile has a perceptual way of its own to its device (tag ``B2A0``).

    One of curves and a matrix has a single way for every intent.
    """
    try:
        return b"B2A0" in tags(profile)
    except struct.error:
        return False


def tags(profile: bytes) -> dict[bytes, memoryview]:
    """Return the data of each tag, not copied. Raises struct.error for a table cut short."""
    whole = memoryview(profile)
    return {name: whole[offset : offset + size] for name, offset, size in _table(profile)}


def _table(profile: bytes) -> list[tuple[bytes, int, int]]:
    """Name, offset and size of each tag."""
    (count,) = struct.unpack_from(">I", profile, 128)
    places = range(132, 132 + 12 * min(count, _MOST_TAGS), 12)
    return [struct.unpack_from(">4sII", profile, place) for place in places]


def _is_whole(profile: bytes) -> bool:
    """True when the signature is there and every tag of the table lies inside."""
    try:
        table = _table(profile)
    except struct.error:
        return False
    within = all(offset + size <= len(profile) for _, offset, size in table)
    return profile[36:40] == b"acsp" and bool(table) and within


def _description(tag: memoryview) -> str:
    if bytes(tag[:4]) == b"mluc":
        length, offset = struct.unpack_from(">II", tag, 20)
        encoding = "utf-16-be"
    else:
        (length,) = struct.unpack_from(">I", tag, 8)
        offset, encoding = 12, "ascii"
    name = bytes(tag[offset : offset + min(length, _LONGEST_NAME_BYTES)])
    return name.decode(encoding, "replace").strip("\0 ")

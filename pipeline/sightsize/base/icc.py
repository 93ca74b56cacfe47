"""What an ICC profile says of itself: its colour model, its name, its tags (ICC.1)."""

import struct
from typing import Literal

ColourModel = Literal["rgb", "grey", "cmyk"]

_SPACES: dict[bytes, ColourModel] = {b"RGB ": "rgb", b"GRAY": "grey", b"CMYK": "cmyk"}
_MOST_TAGS = 200


def profile_colour(profile: bytes) -> ColourModel | None:
    """Return the colour model that a whole ICC profile's device side is for, None for any other.

    libvips would silently take sRGB in place of a profile that is damaged.
    """
    return _SPACES.get(profile[16:20]) if _is_whole(profile) else None


def profile_name(profile: bytes) -> str:
    """Return the description of an ICC profile (tag ``desc``), or ``unnamed``."""
    try:
        return _description(tags(profile).get(b"desc", b"")) or "unnamed"
    except struct.error:
        return "unnamed"


def has_perceptual_table(profile: bytes) -> bool:
    """Return whether a profile has a perceptual way of its own to its device (tag ``B2A0``).

    One of curves and a matrix has a single way for every intent.
    """
    try:
        return b"B2A0" in tags(profile)
    except struct.error:
        return False


def tags(profile: bytes) -> dict[bytes, bytes]:
    """Return the data of each tag. Raises struct.error when the table is cut short."""
    return {name: profile[offset : offset + size] for name, offset, size in _table(profile)}


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


def _description(tag: bytes) -> str:
    if tag[:4] == b"mluc":
        length, offset = struct.unpack_from(">II", tag, 20)
        return tag[offset : offset + length].decode("utf-16-be", "replace").strip("\0 ")
    (length,) = struct.unpack_from(">I", tag, 8)
    return tag[12 : 12 + length].decode("ascii", "replace").strip("\0 ")

"""The wide colour space in which colour masters are held: ROMM RGB (ISO 22028-2).

Its primaries reach beyond all colours of real surfaces, so that none of a finished picture is cut
that a printer could show. Primaries and curve are from memory; the tests hold the profile against
another implementation of the standard.
"""

import struct
from functools import cache

import pyvips

from sightsize.imaging.colour.light import built_in_profile, in_primaries_of
from sightsize.imaging.raster.lookup_tables import LAST, look_up, tabulate, whole_steps

_GAMMA = 1.8
_SLOPE = 16.0
_STRAIGHT_BELOW = 1 / 512
"""Light up to which a code is ``_SLOPE`` times the light."""
_COLORANTS = ((0.7977, 0.2880, 0.0), (0.1352, 0.7119, 0.0), (0.0313, 0.0001, 0.8249))
"""XYZ of red, green and blue under D50; they sum to the white of ICC.1's connection space."""
_WHITE = (0.9642, 1.0, 0.8249)
_NAME = "ROMM RGB (ISO 22028-2)"


def master_profile(bands: int) -> bytes:
    """Return the profile of a master: grey with the tone response of sRGB, or ROMM RGB."""
    return built_in_profile("grey") if bands == 1 else wide_profile()


def wide_codes(light: pyvips.Image) -> pyvips.Image:
    """Return linear sRGB light as 16-bit ROMM RGB."""
    own = in_primaries_of(light, wide_profile())
    return whole_steps(look_up(own, _codes(), 0, 1))


@cache
def _codes() -> pyvips.Image:
    return tabulate(lambda light: LAST * _encode(light), 0, 1)


def _encode(light: float) -> float:
    return float(_SLOPE * light if light < _STRAIGHT_BELOW else light ** (1 / _GAMMA))


@cache
def wide_profile() -> bytes:
    """Return the ICC profile of ROMM RGB (version 4.3 of ICC.1)."""
    curve = _fixed_point(
        b"para\0\0\0\0\0\3\0\0", (_GAMMA, 1, 0, 1 / _SLOPE, _SLOPE * _STRAIGHT_BELOW)
    )
    tags = {
        b"desc": _words(_NAME),
        b"cprt": _words("No copyright, use freely"),
        b"wtpt": _fixed_point(b"XYZ \0\0\0\0", _WHITE),
        **{each + b"TRC": curve for each in (b"r", b"g", b"b")},
    }
    for name, xyz in zip((b"r", b"g", b"b"), _COLORANTS, strict=True):
        tags[name + b"XYZ"] = _fixed_point(b"XYZ \0\0\0\0", xyz)
    return _assemble(tags)


def _fixed_point(head: bytes, numbers: tuple[float, ...]) -> bytes:
    """A tag of s15Fixed16 numbers."""
    return head + struct.pack(f">{len(numbers)}i", *(round(each * 65536) for each in numbers))


def _words(text: str) -> bytes:
    """A tag of type ``mluc`` in one language."""
    data = text.encode("utf-16-be")
    return b"mluc\0\0\0\0" + struct.pack(">II4sII", 1, 12, b"enUS", len(data), 28) + data


def _assemble(tags: dict[bytes, bytes]) -> bytes:
    start = 128 + 4 + 12 * len(tags)
    table, body = struct.pack(">I", len(tags)), b""
    for name, data in tags.items():
        table += struct.pack(">4sII", name, start + len(body), len(data))
        body += data + bytes(-len(data) % 4)
    head = struct.pack(">I4xI4s4s4s", start + len(body), 0x04300000, b"mntr", b"RGB ", b"XYZ ")
    head += struct.pack(">6H4s", 2026, 1, 1, 0, 0, 0, b"acsp") + bytes(28)
    head += _fixed_point(b"", _WHITE)
    return head.ljust(128, b"\0") + table + body

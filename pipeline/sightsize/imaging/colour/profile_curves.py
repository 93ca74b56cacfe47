"""Tone curves of matrix and grey ICC profiles, read from the profile's own tags (ICC.1).

LittleCMS, as libvips calls it, interpolates every curve on a coarse grid: up to 0.0004 of light
beside the curve that the profile states, half an 8-bit code in the shadows.
"""

import struct
from collections.abc import Callable, Sequence

from sightsize.base.icc import ColourModel, tags

Curve = Callable[[float], float]

_MOST_SAMPLES = 2**16
_TAGS = {"rgb": (b"rTRC", b"gTRC", b"bTRC"), "grey": (b"kTRC",)}


def tone_curves(profile: bytes, colour: ColourModel) -> list[Curve] | None:
    """Return each channel's curve from device value to light, 0 to 1; None if any is not there."""
    try:
        stated = tags(profile)
        return [_curve(stated[name]) for name in _TAGS[colour]]
    except (KeyError, ValueError, struct.error):
        return None


def _curve(tag: memoryview) -> Curve:
    kind = bytes(tag[:4])
    if kind == b"curv":
        (count,) = struct.unpack_from(">I", tag, 8)
        if count > _MOST_SAMPLES:
            raise ValueError("more samples than 16 bits tell apart")
        return _sampled_curve(struct.unpack_from(f">{count}H", tag, 12))
    if kind == b"para":
        (form,) = struct.unpack_from(">H", tag, 8)
        return _parametric_curve(form, tag)
    raise ValueError("no curve of ICC.1")


def _sampled_curve(values: Sequence[int]) -> Curve:
    """The type ``curv``: nothing for the identity, one u8Fixed8 gamma, or samples."""
    if not values:
        return lambda x: x
    if len(values) == 1:
        gamma = values[0] / 256
        return lambda x: float(x**gamma)
    last = len(values) - 1

    def between(x: float) -> float:
        index = min(int(x * last), last - 1)
        share = x * last - index
        return (values[index] * (1 - share) + values[index + 1] * share) / 65535

    return between


def _parametric_curve(kind: int, tag: memoryview) -> Curve:
    """The type ``para``: (aX + b)^g + e from d upwards, cX + f below it."""
    count = {0: 1, 1: 3, 2: 4, 3: 5, 4: 7}[kind]
    g, *rest = (number / 65536 for number in struct.unpack_from(f">{count}i", tag, 12))
    a, b, c, d, e, f = (*rest, *(0.0,) * (6 - len(rest))) if rest else (1.0, *(0.0,) * 5)
    if kind in (1, 2):
        # Their third parameter is the constant of both branches, and they meet at -b/a.
        c, d, e, f = 0.0, -b / a, c, c

    def at(x: float) -> float:
        light = max(a * x + b, 0.0) ** g + e if x >= d else c * x + f
        return float(min(max(light, 0.0), 1.0))

    return at

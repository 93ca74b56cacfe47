"""ICC profiles for the tests, and LittleCMS as the judge of them.

The judge is Pillow's own copy of LittleCMS, not the one inside libvips that the program uses.
``lab_of`` reads colours as CIELAB floats, which Pillow cannot; it measures a result and its
reference alike.
"""

import struct
from collections.abc import Mapping
from functools import cache
from io import BytesIO
from typing import Any, cast

import numpy as np
import pyvips
from numpy.typing import NDArray
from PIL import Image, ImageCms
from skimage.color import deltaE_ciede2000

Floats = NDArray[np.float64]
Codes = NDArray[np.uint8]

D50 = np.array([0.9642, 1.0, 0.8249])  # ICC.1, PCS illuminant
D65 = np.array([0.3127 / 0.3290, 1.0, 0.3583 / 0.3290])  # IEC 61966-2-1, white x .3127 y .3290
BRADFORD = np.array(
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)
SRGB_XY = ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06))  # IEC 61966-2-1
OPRGB_XY = ((0.64, 0.33), (0.21, 0.71), (0.15, 0.06))  # IEC 61966-2-5
OPRGB_GAMMA = 563 / 256  # IEC 61966-2-5: 2.19921875
MODES = {1: "L", 3: "RGB", 4: "CMYK"}
_GRID = 21
_TABLE_BLACK = 0.004
_TABLE_GAMMA = 1.8
_TABLE_POWER = 1.25
_TABLE_MIX = np.array([[0.86, 0.10, 0.04], [0.06, 0.88, 0.06], [0.02, 0.14, 0.84]])


@cache
def built_in(name: str) -> bytes:
    """A profile that libvips carries, all of them public domain: srgb, p3, cmyk, sgrey."""
    return bytes(pyvips.Operation.call("profile_load", name))


def rgb_to_xyz(primaries: tuple[tuple[float, float], ...]) -> Floats:
    """Matrix from linear RGB to XYZ under D65."""
    columns = np.array([[x / y, 1, (1 - x - y) / y] for x, y in primaries]).T
    return np.asarray(columns * np.linalg.solve(columns, D65))


def to_d50() -> Floats:
    """Bradford adaptation from D65 to D50, as ICC.1 annex E has it."""
    gains = (BRADFORD @ D50) / (BRADFORD @ D65)
    return np.asarray(np.linalg.solve(BRADFORD, np.diag(gains) @ BRADFORD))


@cache
def oprgb() -> bytes:
    """The matrix profile of IEC 61966-2-5; its gamma fits u8Fixed8Number exactly."""
    colorants = to_d50() @ rgb_to_xyz(OPRGB_XY)
    curve = sampled(round(OPRGB_GAMMA * 256))
    tags = {name + b"TRC": curve for name in (b"r", b"g", b"b")}
    for name, xyz in zip((b"r", b"g", b"b"), colorants.T, strict=True):
        tags[name + b"XYZ"] = _xyz_tag(xyz)
    return _assemble(b"XYZ ", "opRGB", tags)


def grey(curve: bytes) -> bytes:
    """A grey profile with a curve of ICC.1."""
    return _assemble(b"XYZ ", "a grey", {b"kTRC": curve}, device=b"GRAY")


def sampled(*samples: int) -> bytes:
    """curveType of ICC.1: nothing, a gamma as u8Fixed8Number, or 16-bit samples."""
    return b"curv\0\0\0\0" + struct.pack(f">I{len(samples)}H", len(samples), *samples)


def parametric(kind: int, *parameters: float) -> bytes:
    """parametricCurveType of ICC.1."""
    numbers = (round(each * 65536) for each in parameters)
    return b"para\0\0\0\0" + struct.pack(f">Hxx{len(parameters)}i", kind, *numbers)


@cache
def table() -> bytes:
    """An RGB device made of tables only (lut16Type), with channels that do not add up."""
    steps = np.linspace(0, 1, _GRID)
    device = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), axis=-1).reshape(-1, 3)
    lab = device * [100, 255, 255] - [0, 128, 128]
    seen, wanted = _lut16(_lab_codes(table_lab(device))), _lut16(_table_device(lab) * 65535)
    # Both intents are named: LittleCMS compensates black only for an intent that is.
    tags = {b"A2B0": seen, b"A2B1": seen, b"B2A0": wanted, b"B2A1": wanted}
    return _assemble(b"Lab ", "a device of tables", tags)


def table_lab(device: Floats) -> Floats:
    """CIELAB under D50 of the table profile's device: curves, a mix, then a power."""
    light = (device**_TABLE_GAMMA @ _TABLE_MIX.T) ** _TABLE_POWER
    light = _TABLE_BLACK + (1 - _TABLE_BLACK) * light
    return _lab(light @ (to_d50() @ rgb_to_xyz(OPRGB_XY)).T)


def _table_device(lab: Floats) -> Floats:
    light = _xyz(lab) @ np.linalg.inv(to_d50() @ rgb_to_xyz(OPRGB_XY)).T
    light = np.clip((light - _TABLE_BLACK) / (1 - _TABLE_BLACK), 0, 1)
    mixed = light ** (1 / _TABLE_POWER) @ np.linalg.inv(_TABLE_MIX).T
    return np.asarray(np.clip(mixed, 0, 1) ** (1 / _TABLE_GAMMA))


def _lab(xyz: Floats) -> Floats:
    """CIE 15, CIELAB relative to D50."""
    t = xyz / D50
    f = np.where(t > (6 / 29) ** 3, np.cbrt(t), t * 841 / 108 + 4 / 29)
    return np.stack(
        [
            116 * f[..., 1] - 16,
            500 * (f[..., 0] - f[..., 1]),
            200 * (f[..., 1] - f[..., 2]),
        ],
        axis=-1,
    )


def _xyz(lab: Floats) -> Floats:
    y = (lab[..., 0] + 16) / 116
    f = np.stack([y + lab[..., 1] / 500, y, y - lab[..., 2] / 200], axis=-1)
    return np.asarray(np.where(f > 6 / 29, f**3, (f - 4 / 29) * 108 / 841) * D50)


def _lab_codes(lab: Floats) -> Floats:
    """The 16-bit Lab of lut16Type (ICC.1): L* 100 is FF00, a* and b* 0 are 8000."""
    return np.asarray(lab * [652.8, 256, 256] + [0, 32768, 32768])


def _lut16(values: Floats) -> bytes:
    """lut16Type of ICC.1 (``mft2``): identity matrix and curves around one three-way table."""
    head = b"mft2\0\0\0\0" + struct.pack(">BBBx", 3, 3, _GRID)
    identity = struct.pack(">9i", *(65536 if at % 4 == 0 else 0 for at in range(9)))
    straight = struct.pack(">6H", *(0, 65535) * 3)
    body = np.clip(np.round(values), 0, 65535).astype(">u2").tobytes()
    return head + identity + struct.pack(">HH", 2, 2) + straight + body + straight


def _xyz_tag(xyz: Floats) -> bytes:
    return b"XYZ \0\0\0\0" + struct.pack(">3i", *(round(float(each) * 65536) for each in xyz))


def _assemble(
    space: bytes, name: str, tags: Mapping[bytes, bytes], device: bytes = b"RGB "
) -> bytes:
    """A version 2.4 display profile (ICC.1:2001-04) with the tags that every profile needs."""
    text = name.encode("ascii") + b"\0"
    words = b"desc\0\0\0\0" + struct.pack(">I", len(text)) + text + bytes(4 + 4 + 2 + 1 + 67)
    all_tags = {
        b"desc": words,
        b"cprt": b"text\0\0\0\0No copyright, use freely\0",
        b"wtpt": _xyz_tag(D50),
        **tags,
    }
    entries, body = b"", b""
    start = 128 + 4 + 12 * len(all_tags)
    for signature, data in all_tags.items():
        entries += signature + struct.pack(">II", start + len(body), len(data))
        body += data + bytes(-len(data) % 4)
    head = struct.pack(">I4xI4s4s4s", start + len(body), 0x02400000, b"mntr", device, space)
    head += struct.pack(">6H4s", 2026, 1, 1, 0, 0, 0, b"acsp") + bytes(28)
    head += _xyz_tag(D50)[8:]
    return head.ljust(128, b"\0") + struct.pack(">I", len(all_tags)) + entries + body


INTENTS = {
    "perceptual": ImageCms.Intent.PERCEPTUAL,
    "relative": ImageCms.Intent.RELATIVE_COLORIMETRIC,
    "saturation": ImageCms.Intent.SATURATION,
    "absolute": ImageCms.Intent.ABSOLUTE_COLORIMETRIC,
}
"""The four rendering intents of ICC.1."""


def littlecms(
    codes: Codes,
    source: bytes,
    target: bytes,
    mode: str,
    *,
    intent: str = "relative",
    compensated: bool = True,
) -> Codes:
    """Device codes through Pillow's LittleCMS; ``compensated`` of the black point."""
    image = Image.fromarray(codes, MODES[codes.shape[2]] if codes.ndim == 3 else "L")
    flags = ImageCms.Flags.HIGHRESPRECALC | ImageCms.Flags.NOOPTIMIZE
    if compensated:
        flags |= ImageCms.Flags.BLACKPOINTCOMPENSATION
    done = ImageCms.profileToProfile(
        image,
        ImageCms.ImageCmsProfile(BytesIO(source)),
        ImageCms.ImageCmsProfile(BytesIO(target)),
        INTENTS[intent],
        mode,
        flags=flags,
    )
    assert done is not None
    return np.asarray(done)


def littlecms_lab(codes: Codes, source: bytes) -> Floats:
    """CIELAB of device codes through Pillow's LittleCMS, in its 8 bits: whole units of a*, b*."""
    image = Image.fromarray(codes, MODES[codes.shape[2]])
    profiles = ImageCms.ImageCmsProfile(BytesIO(source)), ImageCms.createProfile("LAB")
    done = ImageCms.profileToProfile(
        image,
        *profiles,
        ImageCms.Intent.RELATIVE_COLORIMETRIC,
        "LAB",
        flags=ImageCms.Flags.BLACKPOINTCOMPENSATION,
    )
    assert done is not None
    stored = np.asarray(done)
    signed = stored[..., 1:].astype(np.int8).astype(np.float64)
    return np.concatenate([stored[..., :1] * (100 / 255), signed], axis=-1)


def lab_of(codes: NDArray[Any], profile: bytes, *, compensated: bool = False) -> Floats:
    """CIELAB under D50 of device codes on the scale of 8 bits, which may have fractions."""
    wide = np.round(np.asarray(codes, np.float64) * 257).astype(np.uint16)
    spaces = {1: "grey16", 3: "rgb16", 4: "cmyk"}
    image = pyvips.Image.new_from_array(wide).copy(interpretation=spaces[wide.shape[2]])
    image.set_type(pyvips.GValue.blob_type, "icc-profile-data", cast(Any, profile))
    lab = image.icc_import(
        embedded=True, pcs="lab", intent="relative", black_point_compensation=compensated
    )
    return np.asarray(lab.numpy(), np.float64)


def colour_difference(one: Floats, other: Floats) -> Floats:
    """CIEDE2000 (Sharma, Wu and Dalal 2005), by scikit-image."""
    return np.asarray(deltaE_ciede2000(one, other), np.float64)

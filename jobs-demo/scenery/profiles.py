"""ICC profiles: opRGB written here, the others libvips' own built-in ones."""

import struct

import numpy as np
import pyvips
from numpy.typing import NDArray

Matrix = NDArray[np.float64]

# IEC 61966-2-5: primaries and white as CIE 1931 xy; gamma 563/256, which u8Fixed8 holds exactly.
OPRGB_PRIMARIES = ((0.64, 0.33), (0.21, 0.71), (0.15, 0.06))
SRGB_PRIMARIES = ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06))
D65 = (0.3127, 0.3290)
D50_XYZ = (0.9642, 1.0, 0.8249)  # ICC.1 profile connection space illuminant
OPRGB_GAMMA = 563 / 256
BRADFORD = np.array(
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)


def built_in(name: str) -> bytes:
    """Bytes of a profile that libvips carries."""
    return bytes(pyvips.Operation.call("profile_load", name))


def rgb_to_xyz(primaries: tuple[tuple[float, float], ...]) -> Matrix:
    """The matrix of a set of primaries on D65."""
    columns = np.array([_xyz(*p) for p in primaries]).T
    return np.asarray(columns * np.linalg.solve(columns, _xyz(*D65)), np.float64)


def srgb_to_oprgb() -> Matrix:
    """Linear light to linear light; both stand on D65."""
    return np.asarray(np.linalg.solve(rgb_to_xyz(OPRGB_PRIMARIES), rgb_to_xyz(SRGB_PRIMARIES)))


def oprgb() -> bytes:
    """A version 2 matrix profile, adapted to D50 by the Bradford transform."""
    colorants = _adaptation() @ rgb_to_xyz(OPRGB_PRIMARIES)
    curve = b"curv" + struct.pack(">IIH", 0, 1, round(OPRGB_GAMMA * 256))
    tags = {
        b"desc": _description("opRGB (IEC 61966-2-5)"),
        b"cprt": b"text\0\0\0\0" + b"CC0 1.0: no copyright, use freely\0",
        b"wtpt": _xyz_tag(_xyz(*D65)),
        b"rXYZ": _xyz_tag(colorants[:, 0]),
        b"gXYZ": _xyz_tag(colorants[:, 1]),
        b"bXYZ": _xyz_tag(colorants[:, 2]),
        b"rTRC": curve,
        b"gTRC": curve,
        b"bTRC": curve,
    }
    return _assemble(tags)


def _xyz(x: float, y: float) -> Matrix:
    return np.array([x / y, 1.0, (1 - x - y) / y])


def _adaptation() -> Matrix:
    gains = (BRADFORD @ np.array(D50_XYZ)) / (BRADFORD @ _xyz(*D65))
    return np.asarray(np.linalg.solve(BRADFORD, np.diag(gains) @ BRADFORD), np.float64)


def _fixed(value: float) -> bytes:
    return struct.pack(">i", round(value * 65536))


def _xyz_tag(xyz: Matrix) -> bytes:
    return b"XYZ \0\0\0\0" + b"".join(_fixed(float(v)) for v in xyz)


def _description(text: str) -> bytes:
    ascii_text = text.encode("ascii") + b"\0"
    unused = struct.pack(">IIHB", 0, 0, 0, 0) + bytes(67)  # no Unicode, no script code
    return b"desc" + struct.pack(">II", 0, len(ascii_text)) + ascii_text + unused


def _assemble(tags: dict[bytes, bytes]) -> bytes:
    offset = 128 + 4 + 12 * len(tags)
    table, body, places = struct.pack(">I", len(tags)), b"", dict[bytes, int]()
    for signature, data in tags.items():
        if data not in places:
            places[data] = offset + len(body)
            body += data + bytes(-len(data) % 4)
        table += signature + struct.pack(">II", places[data], len(data))
    header = struct.pack(
        ">I4sI4s4s4s", offset + len(body), bytes(4), 0x02400000, b"mntr", b"RGB ", b"XYZ "
    )
    header += struct.pack(">6H4s", 2026, 1, 1, 0, 0, 0, b"acsp")
    header += bytes(4 + 4 + 4 + 4 + 8 + 4)  # platform, flags, maker, model, attributes, perceptual
    header += b"".join(_fixed(v) for v in D50_XYZ) + bytes(4)
    return header.ljust(128, b"\0") + table + body

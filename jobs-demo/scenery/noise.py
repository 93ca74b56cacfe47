"""Seeded noise: smooth random fields of many octaves, and blurring.

Cells and blur radii are in pixels of the array asked for.
"""

import zlib
from typing import Any

import numpy as np
import pyvips
from numpy.typing import NDArray

Field = NDArray[np.floating[Any]]  # float32 throughout, though numpy's types promise less


def stream(name: str) -> np.random.Generator:
    """A random stream that depends on its name alone, so drawing order never matters."""
    return np.random.Generator(np.random.PCG64(zlib.crc32(name.encode())))


def double(field: Field, axis: int) -> Field:
    """Twice as many cell-centred samples along an axis, through a quadratic B-spline."""
    shape = list(field.shape)
    shape[axis] *= 2
    out = np.empty(shape, np.float32)
    quarter = field * np.float32(0.25)
    even, odd = (out[0::2], out[1::2]) if axis == 0 else (out[:, 0::2], out[:, 1::2])
    np.subtract(field, quarter, out=even)
    odd[...] = even
    if axis == 0:
        even[1:] += quarter[:-1]
        even[0] += quarter[0]
        odd[:-1] += quarter[1:]
        odd[-1] += quarter[-1]
    else:
        even[:, 1:] += quarter[:, :-1]
        even[:, 0] += quarter[:, 0]
        odd[:, :-1] += quarter[:, 1:]
        odd[:, -1] += quarter[:, -1]
    return out


def enlarge(field: Field, times: int) -> Field:
    """Enlarge both axes by a power of two."""
    while times > 1:
        field = double(double(field, 1), 0)
        times //= 2
    return field


def octaves(
    shape: tuple[int, int],
    cell: tuple[float, float],
    name: str,
    count: int = 6,
    gain: float = 0.5,
) -> Field:
    """Fractal noise, zero mean and unit deviation.

    `cell` is the (rows, columns) size of the coarsest octave, rounded to a power of two;
    each octave is half the size of the one before and `gain` times as strong.
    """
    rng = stream(name)
    ky, kx = (max(0, round(float(np.log2(max(c, 1.0))))) for c in cell)
    size = (-(-shape[0] // 2**ky) + 2, -(-shape[1] // 2**kx) + 2)
    field = rng.standard_normal(size, np.float32)
    strength = 1.0
    for octave in range(1, max(ky, kx) + 1):
        for axis, doublings in enumerate((ky, kx)):
            if octave <= doublings:
                field = double(field, axis)
        if octave < count:
            strength *= gain
            field = field + np.float32(strength) * rng.standard_normal(field.shape, np.float32)
    field = np.ascontiguousarray(_trim(field, shape, (2**ky, 2**kx)))
    return _normalise(field)


def _trim(field: Field, shape: tuple[int, int], cell: tuple[int, int]) -> Field:
    return field[cell[0] :, cell[1] :][: shape[0], : shape[1]]


def _normalise(field: Field) -> Field:
    sample = field[::3, ::3]
    field -= sample.mean()
    field /= max(float(sample.std()), 1e-6)
    return field


def grain(shape: tuple[int, ...], name: str) -> Field:
    """White Gaussian noise of unit deviation."""
    return stream(name).standard_normal(shape, np.float32)


def blur(field: Field, sigma: float) -> Field:
    """Gaussian blur; wide ones are done on a smaller copy, since nothing fine is left of them."""
    if sigma < 0.3:
        return field
    times = 1
    while sigma / times > 6:
        times *= 2
    small = shrink(field, times)
    image = pyvips.Image.new_from_array(np.ascontiguousarray(small))
    pad = int(3 * sigma / times) + 1
    padded = image.embed(pad, pad, image.width + 2 * pad, image.height + 2 * pad, extend="copy")
    soft = padded.gaussblur(sigma / times, precision="float")
    out = np.asarray(soft.crop(pad, pad, image.width, image.height).numpy(), np.float32)
    return enlarge(out, times)[: field.shape[0], : field.shape[1]]


def shrink(field: Field, times: int) -> Field:
    """Mean over blocks; the last row and column are repeated to fill the last block."""
    if times == 1:
        return field
    extra = [(0, -n % times) for n in field.shape[:2]] + [(0, 0)] * (field.ndim - 2)
    padded = np.pad(field, extra, mode="edge")
    rows, columns = padded.shape[0] // times, padded.shape[1] // times
    blocks = padded.reshape(rows, times, columns, times, *field.shape[2:])
    return np.asarray(blocks.mean(axis=(1, 3)), np.float32)


def smoothstep(low: float, high: float, value: Field) -> Field:
    """0 below `low`, 1 above `high`, a smooth rise between."""
    t = np.clip((value - np.float32(low)) * np.float32(1 / (high - low)), 0, 1)
    return np.asarray(t * t * (3 - 2 * t), np.float32)

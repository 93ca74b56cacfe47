"""Film grain on the print's lightness.

The fluctuation of density grows as its root, sigma = G sqrt(D) (Siedentopf, Phys. Z. 38, 1937), and
falls with the root of the aperture's area that sees it (E. W. H. Selwyn, A theory of graininess,
Photographic Journal 75, 1935). A pixel is such an aperture. Both sources from memory.

Bare paper has no grain: towards white the fluctuation falls off, so that none of it is ever cut
away, the mean lightness stays, and black and white stay as they are.

The field is a complex Gaussian tile, turned at every pixel by the phase that a second, slower tile
states, of which the real part is taken. The sizes of the tiles have no common factor: where one
comes round again, the other does not.
"""

from functools import lru_cache
from math import erf, exp, log, pi, sqrt

import numpy as np
import pyvips
from numpy.typing import NDArray

from sightsize.base.units import MM_PER_INCH
from sightsize.imaging.raster.lookup_tables import STEPS_PER_L, tabulate, whole_steps
from sightsize.model.settings import Grain
from sightsize.numbers import tones

_TILE, _PHASE_TILE = 768, 625
"""Sides in pixels, wide enough for grain up to 24 pixels; larger grain begins to repeat."""
_SLOWER = 4
"""The phase loses its correlation over this many grains, or pixels where those are larger."""
_PHASE_RADIANS = 3.0
"""RMS phase; its mean turn is then exp(-4.5), next to nothing."""
_LN_10 = log(10)
_LARGEST = 3.5
"""Largest fluctuation in units of its RMS; one pixel of 460 in a Gaussian tile lies beyond it."""
_UNIT = 1024
"""Whole steps in one unit of either tile. They take away the last bits of a Fourier transform and
of a sine, which may differ between machines, and a float holds their products exactly."""
_STEPS = _UNIT**2 / 2
"""Steps in one unit of the field, the mean of two products."""


def add_grain(lightness: pyvips.Image, grain: Grain, ppi: float, seed: int) -> pyvips.Image:
    """Return 16-bit lightness with grain; the same for the same seed, any number at or above 0.

    ``granularity`` is the RMS density at density 1 of a point; 0 is the identity. ``size_mm`` is
    the diameter of the circle as large as the area over which the grain is correlated, the
    integral of its autocorrelation exp(-(2 r / size)^2): an aperture of a much larger area A
    sees the RMS density granularity x sqrt(D pi size^2 / (4 A)).
    """
    if grain.granularity == 0:
        return lightness
    size_px = float(grain.size_mm / MM_PER_INCH) * ppi
    granularity = grain.granularity * _pixel_correlation(0, size_px)
    field = _field(lightness.width, lightness.height, size_px, seed)
    return whole_steps(lightness.maplut(_table(granularity)) * field + lightness)


def fluctuation(lightness: float, granularity: float) -> float:
    """Return the RMS of L* whose RMS density is ``granularity`` x sqrt(D).

    It is held so far from black and white that the largest fluctuation just reaches them.
    """
    luminance = tones.luminance(lightness)
    if not 0 < luminance < 1:
        return 0.0
    # dL*/d(ln Y) x d(ln Y)/dD x G sqrt(D), where D is -ln Y / ln 10.
    slope = (lightness + 16) / 3 if lightness > 8 else lightness
    lawful = slope * granularity * sqrt(-_LN_10 * log(luminance))
    return min(lawful, lightness / _LARGEST, (100 - lightness) / _LARGEST)


@lru_cache(maxsize=32)
def _table(granularity: float) -> pyvips.Image:
    """What one step of the field adds to a lightness, in 16-bit steps."""
    return tabulate(lambda each: fluctuation(each, granularity) * STEPS_PER_L / _STEPS, 0, 100)


def _field(width: int, height: int, size_px: float, seed: int) -> pyvips.Image:
    """A Gaussian field of unit variance, in steps of 1/_STEPS."""
    tile, turn = (
        each.replicate(-(-width // each.width), -(-height // each.height)).crop(0, 0, width, height)
        for each in _tiles(size_px, seed)
    )
    return (tile * turn).bandmean()


@lru_cache(maxsize=2)
def _tiles(size_px: float, seed: int) -> tuple[pyvips.Image, pyvips.Image]:
    """The complex tile and the turns, of which the conjugate is given, real and imaginary part.

    The real part of the complex product is then the sum of the parts' products. The turns narrow
    the field's correlation by a little; the tile is made wider by as much.
    """
    tile = _gaussian(_TILE, size_px / sqrt(1 - 1 / (2 * _SLOWER) ** 2), (seed, 0))
    phase = _gaussian(_PHASE_TILE, _phase_size(size_px), (seed, 1)).real * _PHASE_RADIANS
    tile /= np.maximum(np.abs(tile) / _LARGEST, 1)
    return _whole(tile), _whole(np.exp(-1j * phase))


def _phase_size(size_px: float) -> float:
    """The size of grain of the phase, whose turns have the correlation exp(-(r / distance)^2)."""
    return 2 * _PHASE_RADIANS * _SLOWER * max(size_px, 1)


def _whole(numbers: NDArray[np.complex128]) -> pyvips.Image:
    parts = np.stack([numbers.real, numbers.imag], axis=-1)
    return pyvips.Image.new_from_array(np.rint(parts * _UNIT).astype(np.float32))


def _gaussian(side: int, size_px: float, seed: tuple[int, int]) -> NDArray[np.complex128]:
    """A square that wraps round: complex, its parts of unit variance and correlated like grain.

    Even noise given to every frequency makes a Gaussian, by the central limit theorem. It is made
    of the whole numbers of PCG64, a stream that numpy promises never to change.
    """
    random = np.random.PCG64(np.random.SeedSequence(seed)).random_raw(side * side)
    noise = (random >> 32) - 2.0**31 + 1j * ((random & 0xFFFFFFFF) - 2.0**31)
    lags = [_pixel_correlation(min(at, side - at), size_px) for at in range(side)]
    strength = np.sqrt(np.maximum(np.fft.fft(lags).real, 0))
    field = np.fft.ifft2(np.outer(strength, strength) * noise.reshape(side, side))
    return np.asarray(field / np.sqrt(np.mean(np.abs(field) ** 2) / 2))


def _pixel_correlation(lag_px: int, size_px: float) -> float:
    """Covariance along a row of two pixels in a field of unit variance with grain of a size.

    The mean of exp(-(2 r / size)^2) over both pixels: the second difference of its second
    integral.
    """

    def integral(x: float) -> float:
        share = 2 * x / size_px
        return size_px * (x * sqrt(pi) / 4 * erf(share) + size_px / 8 * exp(-(share**2)))

    return integral(lag_px + 1) - 2 * integral(lag_px) + integral(lag_px - 1)

"""Sharpening for paper, on lightness, at the print's own size.

out = L + gain * detail, where detail = L - Gauss(L) (Petrou and Petrou, Image Processing: The
Fundamentals, 2nd ed. 2010, p. 357), faded out below the noise floor and held within 2 L* of the
lightest and darkest neighbour, so that no edge shows a line.
"""

from collections.abc import Callable
from functools import lru_cache

import pyvips

from sightsize.job import Sharpen
from sightsize.picture.table import STEPS_PER_L, look_up, tabulate, whole_steps

OVERSHOOT = 2.0
"""Largest overshoot beyond the 3 x 3 neighbourhood, in L*: common practice, no source."""

_LOWEST, _HIGHEST = -128.0, 128.0 - 1 / 256
"""Detail that the table spans in steps of 1/256 L*, so that no detail is one of its entries."""
_SMALLEST_WEIGHT = 0.005


def sharpen(lightness: pyvips.Image, sharpen: Sharpen, sigma_px: float) -> pyvips.Image:
    """Return 16-bit lightness sharpened with a Gaussian of ``sigma_px``; gain 0 is the identity."""
    if sharpen.gain == 0 or sigma_px == 0:
        return lightness
    detail = lightness - blur(lightness.cast("float"), sigma_px)
    low, high = _LOWEST * STEPS_PER_L, _HIGHEST * STEPS_PER_L
    sharp = whole_steps(lightness + look_up(detail, _table(sharpen), low, high))
    overshoot = round(OVERSHOOT * STEPS_PER_L)
    lowest = whole_steps(_of_neighbours(lightness, pyvips.Image.minpair), -overshoot)
    highest = whole_steps(_of_neighbours(lightness, pyvips.Image.maxpair), overshoot)
    return sharp.maxpair(lowest).minpair(highest)


def _of_neighbours(
    image: pyvips.Image, choose: Callable[[pyvips.Image, pyvips.Image], pyvips.Image]
) -> pyvips.Image:
    """The least or greatest of each pixel's 3 x 3 neighbourhood, rows and columns in turn."""
    width, height = image.width, image.height
    wider = image.embed(1, 1, width + 2, height + 2, extend="copy")
    across = [wider.crop(x, 0, width, height + 2) for x in range(3)]
    row = choose(choose(across[0], across[1]), across[2])
    down = [row.crop(0, y, width, height) for y in range(3)]
    return choose(choose(down[0], down[1]), down[2])


@lru_cache(maxsize=32)
def _table(sharpen: Sharpen) -> pyvips.Image:
    """What is added for a detail, in 16-bit steps."""
    return tabulate(lambda detail: emphasis(detail, sharpen) * STEPS_PER_L, _LOWEST, _HIGHEST)


def blur(image: pyvips.Image, sigma_px: float) -> pyvips.Image:
    """Return a Gaussian blur, its kernel cut only where a weight falls below half a percent.

    libvips' own default cuts at a fifth, which leaves no blur at all below a sigma of about 0.6.
    """
    kernel = pyvips.Image.gaussmat(sigma_px, _SMALLEST_WEIGHT, separable=True, precision="float")
    return image.convsep(kernel, precision="float")


def emphasis(detail: float, sharpen: Sharpen) -> float:
    """Return what is added for a detail in L*: nothing below the floor, all of it above twice."""
    floor = sharpen.noise_floor
    if floor == 0:
        return sharpen.gain * detail
    over = min(max((abs(detail) - floor) / floor, 0.0), 1.0)
    return sharpen.gain * detail * over * over * (3 - 2 * over)

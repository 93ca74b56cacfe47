"""Sharpening for paper, on lightness, at the print's own size.

out = L + gain * detail, where detail = L - Gauss(L) (Petrou and Petrou, Image Processing: The
Fundamentals, 2nd ed. 2010, p. 357), faded out below the noise floor and held within 2 L* of the
lightest and darkest neighbour, so that no edge shows a line. An enlargement's blur is undone in the
same pass. Where a share of the gain is wanted, on skin, detail counts for that share: less is
added, and only above a floor that is as much higher.
"""

from collections.abc import Callable
from dataclasses import dataclass, fields
from functools import lru_cache
from typing import Self

import pyvips

from sightsize.imaging.raster.lookup_tables import STEPS_PER_L, look_up, tabulate, whole_steps
from sightsize.numbers.sharpening import emphasis, one_pass
from sightsize.plan.picture import SharpenPlan

OVERSHOOT = 2.0
"""Largest overshoot beyond the 3 x 3 neighbourhood, in L*: common practice, no source."""

_LOWEST, _HIGHEST = -128.0, 128.0 - 1 / 256
"""Detail that the table spans in steps of 1/256 L*, a detail of 0 being one of its entries."""
_SMALLEST_WEIGHT = 0.005


@dataclass(frozen=True, kw_only=True)
class MeasuredSharpening:
    """Sharpening in pixels of the print and L*, every number known.

    A ``deblur_sigma_px`` of 0 undoes no blur.
    """

    sigma_px: float
    gain: float
    noise_floor: float
    deblur_sigma_px: float = 0.0

    @classmethod
    def of(cls, plan: SharpenPlan, **measured: float) -> Self:
        """Return a plan's sharpening, with what was measured in place of what was planned."""
        planned = {each.name: getattr(plan, each.name) for each in fields(cls)}
        return cls(**{**planned, **measured})


def sharpen(
    lightness: pyvips.Image, how: MeasuredSharpening, share: pyvips.Image | None = None
) -> pyvips.Image:
    """Return 16-bit lightness sharpened; without gain and deblurring it is the identity.

    ``share`` is a float map of the picture's size: how much of the gain is left, 0 to 1.
    """
    sigma_px, gain = one_pass(how.sigma_px, how.gain, how.deblur_sigma_px)
    if sigma_px == 0:
        return lightness
    detail = lightness - blur(lightness.cast("float"), sigma_px)
    if share is not None:
        detail = detail * share
    table = _table(gain, how.noise_floor)
    added = look_up(detail, table, _LOWEST * STEPS_PER_L, _HIGHEST * STEPS_PER_L)
    return _limit_overshoot(whole_steps(lightness + added), lightness)


def _limit_overshoot(sharp: pyvips.Image, lightness: pyvips.Image) -> pyvips.Image:
    """No pixel further than the overshoot beyond its neighbours' lightness."""
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
def _table(gain: float, floor: float) -> pyvips.Image:
    """What is added for a detail, in 16-bit steps."""
    bends = (-2 * floor, -floor, floor, 2 * floor)
    return tabulate(
        lambda detail: emphasis(detail, gain, floor) * STEPS_PER_L, _LOWEST, _HIGHEST, bends
    )


def blur(image: pyvips.Image, sigma_px: float) -> pyvips.Image:
    """Return a Gaussian blur, its kernel cut only where a weight falls below half a percent.

    libvips' own default cuts at a fifth, which leaves no blur at all below a sigma of about 0.6.
    """
    kernel = pyvips.Image.gaussmat(sigma_px, _SMALLEST_WEIGHT, separable=True, precision="float")
    return image.convsep(kernel, precision="float")

"""Metering: end points by area and patches on zones become numbers."""

from collections.abc import Callable

import numpy as np
import pyvips
from numpy.typing import NDArray

from sightsize.errors import SourceError, ZoneError
from sightsize.imaging.analysis.small_picture import SmallPrint, rows_of
from sightsize.imaging.colour.light import mix
from sightsize.imaging.raster.pixels import pixels
from sightsize.imaging.stages.tone import ToneScale, exposure_function, paper_function
from sightsize.model.picture import Zone
from sightsize.model.settings import AreaShare
from sightsize.numbers.tones import lightness, luminance
from sightsize.numbers.zones import place
from sightsize.plan.picture import PicturePlan

_NO_LIGHT = 1e-6


def meter(plan: PicturePlan, small: SmallPrint) -> ToneScale:
    """Return a print's tone with its end points in L* and its zones placed. Raises SourceError."""
    tone = plan.tone
    black, white = tone.black_point, tone.white_point
    if isinstance(black, AreaShare) or isinstance(white, AreaShare):
        seen = pixels(small.opening(small.luminance)) * 2**tone.exposure_stops
        black = _lightness_at(seen, black.share) if isinstance(black, AreaShare) else black
        white = _lightness_at(seen, 1 - white.share) if isinstance(white, AreaShare) else white
        if white - black < 1:
            raise SourceError(
                "the opening has only one tone; set tone.black_point and tone.white_point in L*, "
                "not as shares"
            )
    scale = ToneScale(tone, black, white)
    zones = plan.zones
    if not zones:
        return scale
    before = exposure_function(scale)
    patches = [(_patch_light(each, plan, small.whole, before), each.zone) for each in zones]
    try:
        return ToneScale(tone, black, white, place(patches, paper_function(tone)))
    except ZoneError as error:
        raise SourceError(f"zones of {plan.look.picture.name}: {error}") from error


def _lightness_at(light: NDArray[np.float32], share: float) -> float:
    """L* below which a share of the light lies; light beyond black and white is cut."""
    return lightness(min(max(float(np.quantile(light, share)), 0.0), 1.0))


def _patch_light(
    zone: Zone, plan: PicturePlan, whole: pyvips.Image, before: Callable[[float], float]
) -> float:
    """Geometric mean of a patch's light, after exposure and end points, 0 to 1."""
    side = min(max(round(float(zone.size) * whole.width), 1), whole.height)
    left = min(max(round(float(zone.at[0]) * whole.width - side / 2), 0), whole.width - side)
    top = min(max(round(float(zone.at[1]) * whole.height - side / 2), 0), whole.height - side)
    patch = mix(whole.crop(left, top, side, side), rows_of(plan))
    mean = float(np.exp(np.log(np.maximum(pixels(patch), _NO_LIGHT)).mean()))
    return luminance(before(mean))

"""What sharpening measures on a picture: noise floor and damping, from squares all over it."""

from collections.abc import Iterator
from math import ceil

import numpy as np
import pyvips
from numpy.typing import NDArray

from sightsize.imaging.analysis.noise_and_edges import edge_overshoot, noise_sigma
from sightsize.imaging.analysis.small_picture import rows_of
from sightsize.imaging.raster.lookup_tables import STEPS_PER_L
from sightsize.imaging.raster.resize import resize_to
from sightsize.imaging.source.open_upright import Upright
from sightsize.imaging.stages.tone import ToneScale, to_lightness
from sightsize.model.geometry import Box
from sightsize.numbers import sharpening
from sightsize.plan.picture import PicturePlan, SharpenPlan

_WINDOWS_EACH_WAY = 4
_WINDOW_PX = 160
_PRINTED_WINDOW_PX = 24
"""Side of a window at the print's size below which more of the source is looked at."""
_LEAST_WINDOW_PX = 12


def noise_floor_and_damping(
    plan: PicturePlan, sharpen: SharpenPlan, source: Upright, scale: ToneScale
) -> tuple[float, float]:
    """Return the noise floor (L*) and damping of a print, measured where the job asks for it."""
    floor, damping = sharpen.noise_floor, sharpen.already_sharpened
    windows = _windows(plan, source, scale)
    if floor is None:
        # Neighbouring pixels of an enlargement share their noise.
        spacing = max(1, ceil(plan.crop.magnification))
        floor = sharpening.noise_floor(noise_sigma(windows, spacing))
    if damping is None:
        damping = sharpening.damping(edge_overshoot(windows))
    return floor, damping


def _windows(plan: PicturePlan, source: Upright, scale: ToneScale) -> list[NDArray[np.float32]]:
    """Lightness of squares all over the crop, at the print's size."""
    crop = plan.crop
    enlarged = plan.size.image_px[0] / float(crop.exact.width)
    side = max(_WINDOW_PX, round(_PRINTED_WINDOW_PX / enlarged))
    box = crop.box
    side = min(side, box.width, box.height, source.image.width, source.image.height)
    printed_side = round(side * enlarged)
    if printed_side < _LEAST_WINDOW_PX:  # such a picture shows neither noise nor edges
        return []
    squares = [
        source.image.crop(left, top, side, side) for left, top in _places(box, side, source.image)
    ]
    # Joined, they become light and lightness in one go each, which takes half the time.
    light = source.light(pyvips.Image.arrayjoin(squares, across=1), rows_of(plan)).copy_memory()
    printed = [
        resize_to(light.crop(0, number * side, side, side), printed_side, printed_side)
        for number in range(len(squares))
    ]
    lightness = to_lightness(pyvips.Image.arrayjoin(printed, across=1), scale).numpy()
    return np.split(lightness / np.float32(STEPS_PER_L), len(squares))


def _places(box: Box, side: int, image: pyvips.Image) -> Iterator[tuple[int, int]]:
    """Left and top of squares all over a box, inside the image."""
    for row in range(_WINDOWS_EACH_WAY):
        for column in range(_WINDOWS_EACH_WAY):
            left = box.left + round((box.width - side) * (column + 0.5) / _WINDOWS_EACH_WAY)
            top = box.top + round((box.height - side) * (row + 0.5) / _WINDOWS_EACH_WAY)
            yield (
                min(max(left, 0), image.width - side),
                min(max(top, 0), image.height - side),
            )

"""What is looked for in a picture before it is printed: marks, tones, colours, skin.

Each is only looked for when the job asks for something that needs it, and the modules that need
scipy are only then loaded.
"""

from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass

import numpy as np
import pyvips
from numpy.typing import NDArray

from sightsize.base.icc import has_perceptual_table
from sightsize.imaging.analysis.metering import meter
from sightsize.imaging.analysis.small_picture import SmallPrint
from sightsize.imaging.colour.gamut import hold_in_gamut, leaves_gamut, missed_share
from sightsize.imaging.colour.light import COLOUR
from sightsize.imaging.colour.output import at_lightness, output_profile
from sightsize.imaging.raster.lookup_tables import STEPS_PER_L
from sightsize.imaging.raster.pixels import pixels
from sightsize.imaging.retouch.patches import Patch
from sightsize.imaging.source.open_upright import Upright
from sightsize.imaging.stages.local_contrast import base_coefficients, coarseness
from sightsize.imaging.stages.sharpen import MeasuredSharpening
from sightsize.imaging.stages.tone import ToneScale, extend_reach, to_lightness
from sightsize.model.geometry import Box
from sightsize.model.settings import Delivery
from sightsize.plan.decode import needs_any_order
from sightsize.plan.picture import PicturePlan

_GAMUT_PX = 400
"""Long side of the picture whose gamut is looked at."""


@dataclass(frozen=True)
class Study:
    """Everything found, ready to be used by the stages; what is not wanted is None.

    ``missed_share`` is the share of the opening whose colour the output cannot show, ``marks_left``
    a sentence for each mark that was left as it is.
    """

    patches: list[Patch]
    light_map: NDArray[np.float32] | None
    scale: ToneScale
    coefficients: NDArray[np.float32] | None
    gain_share: NDArray[np.float32] | None
    sharpening: MeasuredSharpening | None
    leaves_gamut: bool
    missed_share: float
    perceptual_may_help: bool
    marks_left: tuple[str, ...]


def study(plan: PicturePlan, source: Upright, delivery: Delivery) -> Study:
    """Look for everything that a print needs. Raises SourceError.

    What is read of the whole source is read beside the work on its small picture.
    """
    with ThreadPoolExecutor(max_workers=1) as beside:
        decoding = beside.submit(_decode, plan, source)
        clearing = beside.submit(_patches, plan, source)
        shading = _light_map(plan)
        small = SmallPrint(plan, shading)
        scale = extend_reach(meter(plan, small), 1.0 if shading is None else float(shading.max()))
        leaves_gamut, missed_share = _colours(plan, small, scale, delivery)
        coefficients, gain_share = _coefficients(plan, small, scale), _gain_share(plan, small)
        decoding.result()
        sharpening = _sharpening(plan, source, scale)
        patches, marks_left = clearing.result()
    return Study(
        patches=patches,
        light_map=shading,
        scale=scale,
        coefficients=coefficients,
        gain_share=gain_share,
        sharpening=sharpening,
        leaves_gamut=leaves_gamut,
        missed_share=missed_share,
        perceptual_may_help=missed_share > 0 and _perceptual_may_help(delivery),
        marks_left=tuple(marks_left),
    )


def _decode(plan: PicturePlan, source: Upright) -> None:
    """Decode the source where it is wanted in any order, so that nobody after waits for it."""
    if needs_any_order(plan):
        with suppress(pyvips.Error):  # which whoever reads the pixels will meet again
            source.image.crop(0, 0, 1, 1).avg()


def _patches(plan: PicturePlan, source: Upright) -> tuple[list[Patch], list[str]]:
    if not plan.marks:
        return [], []
    from sightsize.imaging.retouch.spotting import find_patches

    light = source.light(source.image, COLOUR)
    region = pyvips.Region.new(light)  # a pipeline made anew for each box takes thrice the time

    def read(box: Box) -> NDArray[np.float32]:
        data = region.fetch(box.left, box.top, box.width, box.height)
        return np.frombuffer(data, np.float32).reshape(box.height, box.width, light.bands)

    return find_patches(read, (source.image.width, source.image.height), plan.marks)


def _light_map(plan: PicturePlan) -> NDArray[np.float32] | None:
    if not plan.shades and plan.edge_burn is None:
        return None
    from sightsize.imaging.stages.dodge import light_map

    return light_map(plan.shades, plan.edge_burn, plan.size.image_px)


def _colours(
    plan: PicturePlan, small: SmallPrint, scale: ToneScale, delivery: Delivery
) -> tuple[bool, float]:
    """Whether the tone makes colours beyond the gamut, and what share of the opening is missed."""
    if plan.mono or small.whole.bands == 1:
        return False, 0.0
    lightness = to_lightness(small.luminance, scale)
    finished = at_lightness(small.printed, small.luminance, lightness)
    too_strong = leaves_gamut(small.printed, finished)
    if too_strong:
        finished = hold_in_gamut(small.printed, finished, lightness)
    opening = small.opening(finished)
    opening = opening.resize(min(_GAMUT_PX / max(opening.width, opening.height), 1.0))
    return too_strong, missed_share(opening, delivery)


def _perceptual_may_help(delivery: Delivery) -> bool:
    """Whether another rendering intent, which was not chosen yet, could keep more colours."""
    return delivery.rendering_intent == "relative" and has_perceptual_table(
        output_profile(delivery)
    )


def _coefficients(
    plan: PicturePlan, small: SmallPrint, scale: ToneScale
) -> NDArray[np.float32] | None:
    if plan.local_contrast is None:
        return None
    lightness = pixels(to_lightness(small.luminance, scale)) / np.float32(STEPS_PER_L)
    across = plan.local_contrast.neighbourhood_px
    radius = across / 2 * lightness.shape[1] / plan.size.image_px[0]
    every = coarseness(radius)
    return base_coefficients(lightness.astype(np.float32), radius, every=every)


def _gain_share(plan: PicturePlan, small: SmallPrint) -> NDArray[np.float32] | None:
    """How much of the sharpening's gain is left where: less on skin."""
    if plan.sharpen is None or plan.sharpen.skin == 1 or small.printed.bands != 3:
        return None
    from sightsize.imaging.analysis.skin import skin_map

    return np.float32(1) - np.float32(1 - plan.sharpen.skin) * skin_map(small.printed)


def _sharpening(plan: PicturePlan, source: Upright, scale: ToneScale) -> MeasuredSharpening | None:
    sharpen = plan.sharpen
    if sharpen is None:
        return None
    floor, damping = sharpen.noise_floor, sharpen.already_sharpened
    if floor is None or damping is None:
        from sightsize.imaging.analysis.sharpness import noise_floor_and_damping

        floor, damping = noise_floor_and_damping(plan, sharpen, source, scale)
    return MeasuredSharpening.of(sharpen, gain=sharpen.gain * damping, noise_floor=floor)

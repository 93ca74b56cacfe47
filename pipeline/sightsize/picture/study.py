"""What is looked for in a picture before it is printed: tones, zones, marks, noise, skin.

Each is only looked for when the job asks for something that needs it.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import ceil

import numpy as np
import pyvips
from numpy.typing import NDArray

from sightsize import acutance
from sightsize.job import AreaShare, Zone
from sightsize.picture.contrast import base_coefficients
from sightsize.picture.dodge import light_map
from sightsize.picture.finish import at_lightness
from sightsize.picture.gamut import VISIBLE, held_in, leaves, missed_share
from sightsize.picture.light import COLOUR, Rows, mix
from sightsize.picture.measure import edge_overshoot, noise_sigma
from sightsize.picture.resize import resize_to
from sightsize.picture.sharpen import Sharpening
from sightsize.picture.skin import skin_share
from sightsize.picture.small import printed_part, small_light
from sightsize.picture.source import SourceError
from sightsize.picture.spotting import Patch, find_patches
from sightsize.picture.table import STEPS_PER_L
from sightsize.picture.tone import ToneScale, exposed, printed, to_lightness
from sightsize.picture.upright import Upright
from sightsize.plan import Box, CropPlan, Plan
from sightsize.tones import RESPONSES, luminance
from sightsize.zones import ZoneError, place

_WINDOWS_EACH_WAY = 4
_WINDOW_PX = 160
_NO_LIGHT = 1e-6
_GAMUT_PX = 400
"""Long side of the picture whose gamut is looked at."""
_PRINTED_WINDOW_PX = 24
"""Least side of a window at the print's size that tells anything."""


@dataclass(frozen=True)
class Study:
    """Everything found, ready to be used by the stages."""

    patches: list[Patch]
    light_map: pyvips.Image | None
    scale: ToneScale
    coefficients: NDArray[np.float32] | None
    skin: pyvips.Image | None
    sharpening: Sharpening
    leaves_gamut: bool
    notes: tuple[str, ...]


def rows_of(plan: Plan) -> Rows:
    """Return the weights that make a print's one band of light out of red, green and blue."""
    return (plan.mono.weights if plan.mono else RESPONSES["panchromatic"],)


def needs_any_order(plan: Plan) -> bool:
    """Return whether parts of the source must be read out of order."""
    return bool(plan.marks) or plan.sharpen.noise_floor is None or plan.sharpen.damping is None


class Small:
    """The small picture of a print, made when something first asks for it."""

    def __init__(self, plan: Plan, crop: CropPlan) -> None:
        self._plan, self._crop = plan, crop
        self._printed: pyvips.Image | None = None

    @property
    def whole(self) -> pyvips.Image:
        """Light of the whole source, one band when it is grey."""
        assert self._plan.header is not None
        picture = self._plan.request.picture
        return small_light(picture, self._plan.header, picture.source.stat().st_mtime_ns)

    @property
    def printed(self) -> pyvips.Image:
        """Light of what is printed, before dodging and burning."""
        if self._printed is None:
            plan = self._plan
            assert plan.header is not None
            upright = plan.header.upright_px
            self._printed = printed_part(self.whole, self._crop, upright, plan.sheet.image_px)
        return self._printed

    def luminance(self, shading: pyvips.Image | None) -> pyvips.Image:
        """One band of the light printed, dodged and burned."""
        light = mix(self.printed, rows_of(self._plan))
        return light if shading is None else light * shading.resize(
            light.width / shading.width, vscale=light.height / shading.height, kernel="linear"
        )  # fmt: skip


def study(plan: Plan, crop: CropPlan, source: Upright) -> Study:
    """Look for everything that a print needs. Raises SourceError."""
    small = Small(plan, crop)
    patches, notes = _patches(plan, source)
    shading = light_map(plan.shades, plan.edge_burn, plan.sheet.image_px)
    scale = _tone_scale(plan, small, shading)
    leaves_gamut, gamut_notes = _colours(plan, small, shading, scale)
    return Study(
        patches=patches,
        light_map=shading,
        scale=scale,
        coefficients=_coefficients(plan, small, shading, scale),
        skin=_skin(plan, small),
        sharpening=_sharpening(plan, crop, source, scale),
        leaves_gamut=leaves_gamut,
        notes=(*notes, *gamut_notes),
    )


def _patches(plan: Plan, source: Upright) -> tuple[list[Patch], list[str]]:
    if not plan.marks:
        return [], []

    def read(box: Box) -> NDArray[np.float32]:
        part = source.image.crop(box.left, box.top, box.width, box.height)
        return np.atleast_3d(source.light(part, COLOUR).numpy())

    return find_patches(read, (source.image.width, source.image.height), plan.marks)


def _tone_scale(plan: Plan, small: Small, shading: pyvips.Image | None) -> ToneScale:
    tone = plan.request.tone
    black, white = tone.black_point, tone.white_point
    if isinstance(black, AreaShare) or isinstance(white, AreaShare):
        seen = _opening(small.luminance(shading), plan).numpy() * 2**tone.exposure_stops
        black = _lightness_at(seen, black.share) if isinstance(black, AreaShare) else black
        white = _lightness_at(seen, 1 - white.share) if isinstance(white, AreaShare) else white
        if white - black < 1:
            raise SourceError("the opening shows a single tone; give black_point and white_point")
    scale = ToneScale(tone, black, white)
    zones = plan.request.picture.zones
    if not zones:
        return scale
    before = exposed(scale)
    patches = [(_patch_light(each, plan, small.whole, before), each.zone) for each in zones]
    try:
        return ToneScale(tone, black, white, place(patches, printed(tone)))
    except ZoneError as error:
        raise SourceError(f"zones of {plan.request.picture.name}: {error}") from error


def _opening(printed_small: pyvips.Image, plan: Plan) -> pyvips.Image:
    """What the opening shows of a small picture of the print."""
    box, (width, height) = plan.opening, plan.sheet.image_px
    across, down = printed_small.width / width, printed_small.height / height
    left, top = round(box.left * across), round(box.top * down)
    return printed_small.crop(
        left,
        top,
        max(min(round(box.width * across), printed_small.width - left), 1),
        max(min(round(box.height * down), printed_small.height - top), 1),
    )


def _lightness_at(light: NDArray[np.float32], share: float) -> float:
    return float(_lightness(np.quantile(light, share)))


def _lightness(light: NDArray[np.float32] | np.floating) -> NDArray[np.float32]:
    """L* of light; light beyond black and white is cut."""
    cut = np.clip(light, 0, 1)
    dark = cut * (29 / 3) ** 3
    return np.asarray(np.where(cut > (6 / 29) ** 3, 116 * np.cbrt(cut) - 16, dark))


def _patch_light(
    zone: Zone, plan: Plan, whole: pyvips.Image, before: Callable[[float], float]
) -> float:
    """Geometric mean of a patch's light, after exposure and end points, 0 to 1."""
    side = max(round(float(zone.size) * whole.width), 1)
    left = min(max(round(float(zone.at[0]) * whole.width - side / 2), 0), whole.width - side)
    top = min(max(round(float(zone.at[1]) * whole.height - side / 2), 0), whole.height - side)
    patch = mix(whole.crop(left, top, side, min(side, whole.height)), rows_of(plan)).numpy()
    mean = float(np.exp(np.log(np.maximum(patch, _NO_LIGHT)).mean()))
    return luminance(before(mean))


def _colours(
    plan: Plan, small: Small, shading: pyvips.Image | None, scale: ToneScale
) -> tuple[bool, list[str]]:
    """Whether the tone makes colours beyond the gamut, and a warning for many that will not print.

    The warning counts what the output misses of the opening's colours.
    """
    if plan.mono or small.whole.bands == 1:
        return False, []
    luminance = small.luminance(shading)
    lightness = to_lightness(luminance, scale)
    finished = at_lightness(small.printed, luminance, lightness)
    too_strong = leaves(small.printed, finished)
    if too_strong:
        finished = held_in(small.printed, finished, lightness)
    opening = _opening(finished, plan)
    opening = opening.resize(min(_GAMUT_PX / max(opening.width, opening.height), 1.0))
    share = missed_share(opening, plan.request.delivery)
    if share <= plan.request.thresholds.gamut_warn:
        return too_strong, []
    intent = plan.request.delivery.rendering_intent
    hint = '; rendering_intent = "perceptual" may keep more' if intent == "relative" else ""
    return too_strong, [
        f"warn [gamut] the output profile misses the colour of {share:.1%} of the opening by more "
        f"than dE00 {VISIBLE:g}{hint}."
    ]


def _coefficients(
    plan: Plan, small: Small, shading: pyvips.Image | None, scale: ToneScale
) -> NDArray[np.float32] | None:
    if plan.request.local_contrast.gain == 0:
        return None
    luminance = small.luminance(shading)
    lightness = to_lightness(luminance, scale).numpy() / np.float32(STEPS_PER_L)
    radius = plan.neighbourhood_px / 2 * luminance.width / plan.sheet.image_px[0]
    return base_coefficients(lightness.astype(np.float32), radius)


def _skin(plan: Plan, small: Small) -> pyvips.Image | None:
    if plan.sharpen.skin == 1 or plan.sharpen.gain == 0 or small.printed.bands != 3:
        return None
    return pyvips.Image.new_from_array(skin_share(small.printed.numpy()))


def _sharpening(plan: Plan, crop: CropPlan, source: Upright, scale: ToneScale) -> Sharpening:
    sharpen = plan.sharpen
    floor, damping = sharpen.noise_floor, sharpen.damping
    if floor is None or damping is None:
        windows = _windows(plan, crop, source, scale)
        # Neighbouring pixels of an enlargement share their noise.
        spacing = max(1, ceil(crop.magnification))
        if floor is None:
            floor = acutance.noise_floor(noise_sigma(windows, spacing))
        damping = acutance.damping(edge_overshoot(windows)) if damping is None else damping
    return Sharpening(
        sigma_px=sharpen.sigma_px,
        gain=sharpen.gain * damping,
        noise_floor=floor,
        skin=sharpen.skin,
        deblur_sigma_px=sharpen.deblur_sigma_px,
    )


def _windows(
    plan: Plan, crop: CropPlan, source: Upright, scale: ToneScale
) -> list[NDArray[np.float32]]:
    """Lightness of squares all over the crop, at the print's size."""
    enlarged = plan.sheet.image_px[0] / float(crop.exact.width)
    side = max(_WINDOW_PX, round(_PRINTED_WINDOW_PX / enlarged))
    box = crop.box
    side = min(side, box.width, box.height, source.image.width, source.image.height)
    printed_side = max(round(side * enlarged), 1)
    windows = []
    for row in range(_WINDOWS_EACH_WAY):
        for column in range(_WINDOWS_EACH_WAY):
            left = box.left + round((box.width - side) * (column + 0.5) / _WINDOWS_EACH_WAY)
            top = box.top + round((box.height - side) * (row + 0.5) / _WINDOWS_EACH_WAY)
            left = min(max(left, 0), source.image.width - side)
            top = min(max(top, 0), source.image.height - side)
            light = source.light(source.image.crop(left, top, side, side), rows_of(plan))
            lightness = to_lightness(resize_to(light, printed_side, printed_side), scale)
            windows.append(lightness.numpy() / np.float32(STEPS_PER_L))
    return windows

"""The way of one print through the stages, from its source file to the finished sheet.

Some stages stand elsewhere than a reader of the order of operations might look, with the same
result: the crop comes before the profile, since cutting commutes with any point operation, and the
exposure is part of the tone table, since scaling light commutes with resizing it; dodging and
burning come after the resizing, since their maps are smooth. A picture that must be turned to level
it is brought to linear light first. A toner, which leaves lightness alone, is part of the last
table.
"""

from dataclasses import dataclass, replace

import pyvips

from sightsize.crop import CropPlan
from sightsize.decoding import is_streamed, print_shrink
from sightsize.identity import grain_seed
from sightsize.layout import Box
from sightsize.picture import finish, sheet
from sightsize.picture.contrast import more_local_contrast
from sightsize.picture.gamut import held_in
from sightsize.picture.grain import grainy
from sightsize.picture.level import level_and_crop
from sightsize.picture.light import COLOUR, Rows, mix
from sightsize.picture.patches import Patch, lay_patches
from sightsize.picture.resize import resize_to
from sightsize.picture.sharpen import sharpen
from sightsize.picture.small import rows_of
from sightsize.picture.spread import spread
from sightsize.picture.study import Study, study
from sightsize.picture.tone import to_lightness
from sightsize.picture.upright import Upright, open_source
from sightsize.picture.wide import wide_codes
from sightsize.plan import Plan


@dataclass(frozen=True)
class Sheet:
    """A finished sheet, whose pixels are made when it is written, and what was found for it."""

    image: pyvips.Image
    found: Study


def sheet_image(plan: Plan) -> Sheet:
    """Return the finished sheet of a plan that has a crop.

    Raises SourceError when the picture cannot be opened or does not hold what the job asks of it.
    """
    assert plan.header is not None
    assert plan.crop is not None
    shrink = print_shrink(plan)
    source = open_source(
        plan.request.picture, plan.header, streamed=is_streamed(plan), shrink=shrink
    )
    found = study(plan, plan.crop, source)
    light = _cropped_light(plan, plan.crop, source, found.patches, shrink)
    picture = _printed_picture(plan, resize_to(light, *plan.sheet.image_px), found)
    paper = finish.paper_value(plan.request)
    return Sheet(sheet.place(picture, plan.sheet, paper), found)


def master_image(plan: Plan, found: Study) -> pyvips.Image:
    """Return the picture with all its tones at the crop's own pixels, in 16 bits.

    It is the print's way without resizing, sharpening, grain and toner: grey with the tone response
    of sRGB, or ROMM RGB. Its source is opened anew, since it may have been shrunk for the print.
    """
    assert plan.header is not None
    assert plan.crop is not None
    source = open_source(plan.request.picture, plan.header, streamed=is_streamed(plan))
    light = _cropped_light(plan, plan.crop, source, found.patches, 1)
    luminance = mix(light, rows_of(plan))
    lightness = _toned_lightness(plan, luminance, found)
    if light.bands == 1:
        return finish.finish_mono(
            lightness, replace(plan.request.delivery, profile="gray", bit_depth=16)
        )
    return wide_codes(_coloured(light, luminance, lightness, found))


def _cropped_light(
    plan: Plan, crop: CropPlan, source: Upright, patches: list[Patch], shrink: int
) -> pyvips.Image:
    """Linear light of the cropped picture at its own size; one band when it is grey."""
    rows: Rows = rows_of(plan) if plan.mono else COLOUR
    box = _shrunk(crop.box, shrink)
    if crop.straighten_degrees == 0:
        light = source.light(level_and_crop(source.image, box, 0), rows)
        light = lay_patches(light, patches, rows, box.left, box.top)
    else:
        light = lay_patches(source.light(source.image, rows), patches, rows, 0, 0)
        light = level_and_crop(light, box, crop.straighten_degrees)
    return light


def _printed_picture(plan: Plan, light: pyvips.Image, found: Study) -> pyvips.Image:
    """The picture in the output's channels and bits."""
    request = plan.request
    luminance = mix(light, rows_of(plan))
    lightness = _on_paper(plan, _toned_lightness(plan, luminance, found), found)
    if light.bands == 1:
        return finish.finish_mono(lightness, request.delivery, request.toner)
    return finish.finish_colour(_coloured(light, luminance, lightness, found), request.delivery)


def _coloured(
    light: pyvips.Image, luminance: pyvips.Image, lightness: pyvips.Image, found: Study
) -> pyvips.Image:
    """Linear light in colour, at a new lightness."""
    toned = finish.at_lightness(light, luminance, lightness)
    return held_in(light, toned, lightness) if found.leaves_gamut else toned


def _toned_lightness(plan: Plan, luminance: pyvips.Image, found: Study) -> pyvips.Image:
    """The 16-bit lightness of everything that moves tones, at any size."""
    if found.light_map is not None:
        luminance = luminance * spread(found.light_map, luminance.width, luminance.height)
    lightness = to_lightness(luminance, found.scale)
    if found.coefficients is None:
        return lightness
    return more_local_contrast(lightness, found.coefficients, plan.request.local_contrast.gain)


def _on_paper(plan: Plan, lightness: pyvips.Image, found: Study) -> pyvips.Image:
    """Lightness at the print's size with what belongs to the paper: sharpening and grain."""
    request, size = plan.request, (lightness.width, lightness.height)
    if plan.mono:
        lightness = _kept_rows(lightness)
    share = None if found.gain_share is None else spread(found.gain_share, *size)
    lightness = sharpen(lightness, found.sharpening, share)
    if request.grain.granularity == 0:
        return lightness
    seed = grain_seed(plan)
    return grainy(lightness, request.grain, float(request.delivery.ppi), seed)


def _kept_rows(image: pyvips.Image) -> pyvips.Image:
    """The same picture, its last rows remembered while it streams past.

    Sharpening reads a pixel several times, and everything before it would be worked out anew. For
    one band this was measured to pay; for colour it was measured to gain nothing.
    """
    return image.linecache(tile_height=8, access="sequential", threaded=True)


def _shrunk(box: Box, factor: int) -> Box:
    left, top = round(box.left / factor), round(box.top / factor)
    right, bottom = (box.left + box.width) // factor, (box.top + box.height) // factor
    return Box(left, top, right - left, bottom - top)

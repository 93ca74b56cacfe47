"""The way of one print through the stages, from its source file to the finished sheet.

Some stages stand elsewhere than a reader of the order of operations might look, with the same
result: the crop comes before the profile, since cutting commutes with any point operation, and the
exposure is part of the tone table, since scaling light commutes with resizing it; dodging and
burning come after the resizing, since their maps are smooth. A picture that must be turned to level
it is brought to linear light first. A toner, which leaves lightness alone, is part of the last
table.
"""

from dataclasses import dataclass

import pyvips

from sightsize.crop import CropPlan
from sightsize.decoding import is_streamed, print_shrink
from sightsize.findings import Remark
from sightsize.identity import grain_seed
from sightsize.layout import Box
from sightsize.picture import finish, sheet
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
from sightsize.plan import Plan


@dataclass(frozen=True)
class Sheet:
    """A finished sheet, whose pixels are made when it is written, and what there is to say."""

    image: pyvips.Image
    remarks: tuple[Remark, ...]


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
    light = _printed_light(plan, plan.crop, source, found.patches, shrink)
    picture = _printed_picture(plan, light, found)
    paper = finish.paper_value(plan.request)
    return Sheet(sheet.place(picture, plan.sheet, paper), found.remarks)


def _printed_light(
    plan: Plan, crop: CropPlan, source: Upright, patches: list[Patch], shrink: int
) -> pyvips.Image:
    """Linear light of the cropped picture at the print's size; one band when it is grey."""
    rows: Rows = rows_of(plan) if plan.mono else COLOUR
    patches = [Patch(each.left, each.top, mix(each.light, rows)) for each in patches]
    box = _shrunk(crop.box, shrink)
    if crop.straighten_degrees == 0:
        light = source.light(level_and_crop(source.image, box, 0), rows)
        light = lay_patches(light, patches, box.left, box.top)
    else:
        light = lay_patches(source.light(source.image, rows), patches, 0, 0)
        light = level_and_crop(light, box, crop.straighten_degrees)
    return resize_to(light, *plan.sheet.image_px)


def _printed_picture(plan: Plan, light: pyvips.Image, found: Study) -> pyvips.Image:
    """The picture in the output's channels and bits."""
    request = plan.request
    if light.bands == 1:
        lightness = _printed_lightness(plan, light, found)
        return finish.finish_mono(lightness, request.delivery, request.toner)
    luminance = mix(light, rows_of(plan))
    lightness = _printed_lightness(plan, luminance, found)
    toned = finish.at_lightness(light, luminance, lightness)
    if found.leaves_gamut:
        toned = held_in(light, toned, lightness)
    return finish.finish_colour(toned, request.delivery)


def _printed_lightness(plan: Plan, luminance: pyvips.Image, found: Study) -> pyvips.Image:
    """The 16-bit lightness of everything that moves tones."""
    request, size = plan.request, (luminance.width, luminance.height)
    if found.light_map is not None:
        luminance = luminance * spread(found.light_map, *size)
    lightness = to_lightness(luminance, found.scale)
    if found.coefficients is not None:
        from sightsize.picture.contrast import more_local_contrast  # which loads scipy

        gain = request.local_contrast.gain
        lightness = more_local_contrast(lightness, found.coefficients, gain)
    if plan.mono:
        lightness = _kept_rows(lightness)
    skin = None if found.skin is None else spread(found.skin, *size)
    lightness = sharpen(lightness, found.sharpening, skin)
    if request.grain.granularity == 0:
        return lightness
    seed = grain_seed(request.picture.source)
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

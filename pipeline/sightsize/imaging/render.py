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

from sightsize.imaging.analysis.small_picture import rows_of
from sightsize.imaging.analysis.study import Study, study
from sightsize.imaging.colour import output
from sightsize.imaging.colour.gamut import hold_in_gamut
from sightsize.imaging.colour.light import COLOUR, Rows, mix
from sightsize.imaging.colour.master_colour import wide_codes
from sightsize.imaging.raster.resize import resize_to
from sightsize.imaging.raster.spread import spread
from sightsize.imaging.retouch.patches import Patch, lay_patches
from sightsize.imaging.source.open_upright import Upright, open_source
from sightsize.imaging.stages import sheet
from sightsize.imaging.stages.grain import add_grain
from sightsize.imaging.stages.level import level_and_crop
from sightsize.imaging.stages.local_contrast import raise_local_contrast
from sightsize.imaging.stages.sharpen import sharpen
from sightsize.imaging.stages.tone import to_lightness
from sightsize.model.geometry import Box
from sightsize.model.settings import Delivery
from sightsize.plan.decode import is_streamed, print_shrink
from sightsize.plan.identity import grain_seed
from sightsize.plan.picture import PicturePlan, at_size
from sightsize.plan.sheet import FilePlan
from sightsize.plan.size import PictureSize


@dataclass(frozen=True)
class Rendering:
    """A finished picture, whose pixels are made when they are read, and what was found for it."""

    image: pyvips.Image
    found: Study


@dataclass(frozen=True)
class Sheet:
    """A finished sheet, whose pixels are made when it is written, and what was found for it.

    What was found stands picture by picture, in their order on the sheet.
    """

    image: pyvips.Image
    found: tuple[Study, ...]


def sheet_image(file: FilePlan[PicturePlan]) -> Sheet:
    """Return the finished sheet of a file.

    Raises SourceError when a picture cannot be opened or does not hold what the job asks of it.
    """
    drawn = [render(each.picture, file.delivery) for each in file.pictures]
    image = sheet.lay_on_sheet([each.image for each in drawn], file.sheet, file.delivery)
    return Sheet(image, tuple(each.found for each in drawn))


def render(plan: PicturePlan, delivery: Delivery, size: PictureSize | None = None) -> Rendering:
    """Return a picture as it is printed, in the delivery's channels and bits.

    It has the size of its plan, or another one that is given, such as a preview's. Raises
    SourceError when the picture cannot be opened or does not hold what the job asks of it.
    """
    plan = plan if size is None else at_size(plan, size)
    shrink = print_shrink(plan)
    source = open_source(plan.look.picture, plan.header, streamed=is_streamed(plan), shrink=shrink)
    found = study(plan, source, delivery)
    light = _cropped_light(plan, source, found.patches, shrink)
    return Rendering(
        _printed_picture(plan, resize_to(light, *plan.size.image_px), found, delivery), found
    )


def master_image(plan: PicturePlan, delivery: Delivery, found: Study) -> pyvips.Image:
    """Return the picture with all its tones at the crop's own pixels, in 16 bits.

    It is the print's way without resizing, sharpening, grain and toner: grey with the tone response
    of sRGB, or ROMM RGB. Its source is opened anew, since it may have been shrunk for the print.
    """
    source = open_source(plan.look.picture, plan.header, streamed=is_streamed(plan))
    light = _cropped_light(plan, source, found.patches, 1)
    luminance = mix(light, rows_of(plan))
    lightness = _toned_lightness(plan, luminance, found)
    if light.bands == 1:
        return output.finish_mono(lightness, replace(delivery, profile="grey", bit_depth=16))
    return wide_codes(_colour_at(light, luminance, lightness, found))


def _cropped_light(
    plan: PicturePlan, source: Upright, patches: list[Patch], shrink: int
) -> pyvips.Image:
    """Linear light of the cropped picture at its own size; one band when it is grey."""
    rows: Rows = rows_of(plan) if plan.mono else COLOUR
    crop = plan.crop
    box = _shrink_box(crop.box, shrink)
    if crop.level_degrees == 0:
        light = source.light(level_and_crop(source.image, box, 0), rows)
        light = lay_patches(light, patches, rows, box.left, box.top)
    else:
        light = lay_patches(source.light(source.image, rows), patches, rows, 0, 0)
        light = level_and_crop(light, box, crop.level_degrees)
    return light


def _printed_picture(
    plan: PicturePlan, light: pyvips.Image, found: Study, delivery: Delivery
) -> pyvips.Image:
    """The picture in the output's channels and bits."""
    luminance = mix(light, rows_of(plan))
    lightness = _on_paper(plan, _toned_lightness(plan, luminance, found), found)
    if light.bands == 1:
        return output.finish_mono(lightness, delivery, plan.toner)
    return output.finish_colour(_colour_at(light, luminance, lightness, found), delivery)


def _colour_at(
    light: pyvips.Image, luminance: pyvips.Image, lightness: pyvips.Image, found: Study
) -> pyvips.Image:
    """Linear light in colour, at a new lightness."""
    toned = output.at_lightness(light, luminance, lightness)
    return hold_in_gamut(light, toned, lightness) if found.leaves_gamut else toned


def _toned_lightness(plan: PicturePlan, luminance: pyvips.Image, found: Study) -> pyvips.Image:
    """The 16-bit lightness of everything that moves tones, at any size."""
    if found.light_map is not None:
        luminance = luminance * spread(found.light_map, luminance.width, luminance.height)
    lightness = to_lightness(luminance, found.scale)
    if plan.local_contrast is None or found.coefficients is None:
        return lightness
    return raise_local_contrast(lightness, found.coefficients, plan.local_contrast.gain)


def _on_paper(plan: PicturePlan, lightness: pyvips.Image, found: Study) -> pyvips.Image:
    """Lightness at the print's size with what belongs to the paper: sharpening and grain."""
    size = lightness.width, lightness.height
    if plan.mono:
        lightness = _keep_rows(lightness)
    if found.sharpening is not None:
        share = None if found.gain_share is None else spread(found.gain_share, *size)
        lightness = sharpen(lightness, found.sharpening, share)
    if plan.grain is None:
        return lightness
    return add_grain(lightness, plan.grain, float(plan.size.ppi), grain_seed(plan))


def _keep_rows(image: pyvips.Image) -> pyvips.Image:
    """The same picture, its last rows remembered while it streams past.

    Sharpening reads a pixel several times, and everything before it would be worked out anew. For
    one band this was measured to pay; for colour it was measured to gain nothing.
    """
    return image.linecache(tile_height=8, access="sequential", threaded=True)


def _shrink_box(box: Box, factor: int) -> Box:
    left, top = round(box.left / factor), round(box.top / factor)
    right, bottom = (box.left + box.width) // factor, (box.top + box.height) // factor
    return Box(left, top, right - left, bottom - top)

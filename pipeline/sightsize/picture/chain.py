"""The way of one print through the stages, from its source file to the finished sheet.

Two stages stand elsewhere than a reader of the order of operations might look, with the same
result: the crop comes before the profile, since cutting commutes with any point operation, and the
exposure is part of the tone table, since scaling light commutes with resizing it. A picture that
must be turned to level it is brought to linear light first.
"""

from pathlib import Path

import pyvips

from sightsize.header import Header
from sightsize.job import BUILT_IN_PROFILES
from sightsize.picture import finish, sheet
from sightsize.picture.icc import profile_colour
from sightsize.picture.level import level_and_crop
from sightsize.picture.light import COLOUR, Rows, built_in_profile, to_light
from sightsize.picture.resize import resize_to
from sightsize.picture.sharpen import sharpen
from sightsize.picture.source import SourceError, embedded_profile, open_upright
from sightsize.picture.tone import to_lightness
from sightsize.plan import Box, CropPlan, Plan
from sightsize.tones import RESPONSES

_LEFT_AFTER_DECODING = 2
"""A JPEG is shrunk while decoding only as far as leaves this many times the pixels needed."""


def sheet_image(plan: Plan) -> pyvips.Image:
    """Return the finished sheet of a plan that has a crop; pixels are made when it is written.

    Raises SourceError when the picture cannot be opened.
    """
    assert plan.header is not None
    assert plan.crop is not None
    light = _printed_light(plan, plan.header, plan.crop)
    picture = _printed_picture(plan, light)
    return sheet.place(picture, plan.sheet, finish.paper_value(plan.request))


def _printed_light(plan: Plan, header: Header, crop: CropPlan) -> pyvips.Image:
    """Linear light of the cropped picture at the print's size; one band when it is grey."""
    rows: Rows = (plan.mono.weights,) if plan.mono else COLOUR
    shrink = _shrink_while_decoding(plan, header, crop)
    box = _shrunk(crop.box, shrink)
    level = crop.straighten_degrees == 0
    image = open_upright(plan.request.picture.source, header, level=level, shrink=shrink)
    profile = _source_profile(image, header, plan.request.picture.assume_profile)
    if level:
        cut = level_and_crop(image, box, 0)
        light = to_light(cut, header.colour, profile, rows)
    else:
        light = to_light(image, header.colour, profile, rows)
        light = level_and_crop(light, box, crop.straighten_degrees)
    return resize_to(light, *plan.sheet.image_px)


def _printed_picture(plan: Plan, light: pyvips.Image) -> pyvips.Image:
    """The picture in the output's channels and bits."""
    request = plan.request
    if light.bands == 1:
        lightness = _kept_rows(to_lightness(light, request.tone))
        lightness = sharpen(lightness, request.sharpen, plan.sharpen_sigma_px)
        return finish.finish_mono(lightness, request.delivery)
    luminance = light.recomb(pyvips.Image.new_from_array([list(RESPONSES["panchromatic"])]))
    lightness = to_lightness(luminance, request.tone)
    lightness = sharpen(lightness, request.sharpen, plan.sharpen_sigma_px)
    return finish.finish_colour(light, luminance, lightness, request.delivery)


def _kept_rows(image: pyvips.Image) -> pyvips.Image:
    """The same picture, its last rows remembered while it streams past.

    Sharpening reads a pixel several times. For one band this was measured to save an eighth of a
    print's time; for colour it gains nothing.
    """
    return image.linecache(tile_height=16, access="sequential", threaded=True)


def _source_profile(image: pyvips.Image, header: Header, assumed: str | None) -> bytes:
    """The embedded profile, else the one the job assumes, else sRGB or its grey twin."""
    embedded = embedded_profile(image, header.colour)
    if embedded is not None:
        return embedded
    if assumed is not None and assumed not in BUILT_IN_PROFILES:
        profile = Path(assumed).read_bytes()
        if profile_colour(profile) != header.colour:
            raise SourceError(f"assume_profile {assumed} is not a profile for {header.colour}")
        return profile
    if header.colour == "cmyk":
        raise SourceError("CMYK without profile; give assume_profile a path to a CMYK profile")
    return built_in_profile("gray" if header.colour == "grey" else "srgb")


def _shrink_while_decoding(plan: Plan, header: Header, crop: CropPlan) -> int:
    if header.format != "JPEG":
        return 1
    width, height = plan.sheet.image_px
    spare = min(crop.box.width / width, crop.box.height / height) / _LEFT_AFTER_DECODING
    return max(factor for factor in (1, 2, 4, 8) if factor == 1 or factor <= spare)


def _shrunk(box: Box, factor: int) -> Box:
    left, top = round(box.left / factor), round(box.top / factor)
    right, bottom = (box.left + box.width) // factor, (box.top + box.height) // factor
    return Box(left, top, right - left, bottom - top)

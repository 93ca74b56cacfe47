"""From finished light or lightness to the output's own numbers, dithered to its bits.

The only rounding to the output's bits in the whole chain happens here.
"""

import random
from array import array
from dataclasses import replace
from functools import cache, lru_cache
from pathlib import Path

import pyvips

from sightsize.base.icc import profile_colour, read_profile
from sightsize.imaging.colour.light import COLOUR, built_in_profile, rgb_to_xyz, to_light
from sightsize.imaging.raster.header_fields import set_blob
from sightsize.imaging.raster.lookup_tables import (
    LAST,
    STEPS_PER_L,
    look_up,
    tabulate,
    tabulate_bands,
    whole_steps,
)
from sightsize.imaging.raster.pixels import at_least, at_most, three_alike
from sightsize.model.settings import BUILT_IN_PROFILES, Delivery, Toner
from sightsize.numbers import tones
from sightsize.numbers.toning import toned_light

_TILE = 256
_SEED = 1931
_NEXT_TO_BLACK = 1e-3
"""Light, about L* 1, below which a change of lightness is more and more grey added."""


def output_profile(delivery: Delivery) -> bytes:
    """Return the ICC profile that the file carries. Raises OSError."""
    if delivery.profile in BUILT_IN_PROFILES:
        return built_in_profile(delivery.profile)
    return read_profile(Path(delivery.profile))


def finish_mono(
    lightness: pyvips.Image, delivery: Delivery, toner: Toner | None = None
) -> pyvips.Image:
    """Return 16-bit lightness in the output's channels and bits.

    R = G = B where they are RGB, unless a toner tints them.
    """
    if toner is not None and toner.is_tinted:
        return _finish_toned(lightness, delivery, toner)
    if delivery.profile in BUILT_IN_PROFILES:
        value = _round(lightness.maplut(_lightness_to_code(delivery.bit_depth)), delivery.bit_depth)
        return value if delivery.profile == "grey" else three_alike(value)
    light = light_of(lightness)
    return finish_colour(three_alike(light), delivery)


def _finish_toned(lightness: pyvips.Image, delivery: Delivery, toner: Toner) -> pyvips.Image:
    if delivery.profile == "srgb":
        codes = lightness.maplut(_toned_codes(delivery.bit_depth, toner))
        return _round(codes, delivery.bit_depth)
    return finish_colour(lightness.maplut(_toned_light(toner)), delivery)


@lru_cache(maxsize=8)
def _toned_light(toner: Toner) -> pyvips.Image:
    return tabulate_bands(lambda each: toned_light(each, toner), 0, 100)


@lru_cache(maxsize=8)
def _toned_codes(bits: int, toner: Toner) -> pyvips.Image:
    return look_up(_toned_light(toner), _light_to_code(bits), 0, 1).copy_memory()


def finish_colour(light: pyvips.Image, delivery: Delivery) -> pyvips.Image:
    """Return linear RGB in the output's channels and bits."""
    if delivery.profile == "srgb":
        codes = look_up(light, _light_to_code(delivery.bit_depth), 0, 1)
        return _round(codes, delivery.bit_depth)
    return _round_from_16(_through_profile(light, delivery), delivery.bit_depth)


def show_through_profile(light: pyvips.Image, delivery: Delivery) -> pyvips.Image:
    """Return linear RGB as the output's profile shows it, before its bits."""
    if delivery.profile == "srgb":
        return at_most(at_least(light, 0), 1)
    profile = output_profile(delivery)
    colour = profile_colour(profile)
    assert colour is not None
    return to_light(_through_profile(light, delivery), colour, profile, COLOUR)


def at_lightness(
    light: pyvips.Image, luminance: pyvips.Image, lightness: pyvips.Image
) -> pyvips.Image:
    """Return linear RGB brought to a new 16-bit lightness.

    Red, green and blue are scaled alike, so hue and saturation of the light stay; what scaling
    cannot reach next to black is added as grey. Light whose lightness stays as it was stays too.
    """
    wanted = light_of(lightness)
    seen = at_least(luminance, 0)  # colours that no eye can see may have luminance below black
    scale = wanted.linear([1], [_NEXT_TO_BLACK]) / seen.linear([1], [_NEXT_TO_BLACK])
    return light * scale + (wanted - seen * scale)


def light_of(lightness: pyvips.Image) -> pyvips.Image:
    """Return the linear light of 16-bit lightness."""
    return lightness.maplut(_lightness_to_light())


@cache
def _light_to_code(bits: int) -> pyvips.Image:
    return tabulate(lambda light: _last(bits) * tones.srgb_encode(light), 0, 1)


@cache
def _lightness_to_code(bits: int) -> pyvips.Image:
    last = _last(bits)
    return tabulate(lambda each: last * tones.srgb_encode(tones.luminance(each)), 0, 100)


def _last(bits: int) -> int:
    return int(2**bits - 1)


@cache
def _lightness_to_light() -> pyvips.Image:
    return tabulate(tones.luminance, 0, 100)


def border_value(lightness: float, delivery: Delivery) -> list[int]:
    """Return the device value of a border's lightness (L*) in the output's channels.

    Paper white is every channel full (no ink in CMYK), whatever the profile says of white.
    """
    patch = whole_steps(pyvips.Image.black(1, 1) + lightness * STEPS_PER_L)
    value = finish_mono(patch, replace(delivery, bit_depth=16))(0, 0)
    if lightness == 100:
        value = [0 if len(value) == 4 else LAST] * len(value)
    return [round(each / LAST * _last(delivery.bit_depth)) for each in value]


def _through_profile(light: pyvips.Image, delivery: Delivery) -> pyvips.Image:
    """Linear RGB in the 16-bit numbers of a profile."""
    xyz = light.recomb(pyvips.Image.new_from_array([list(row) for row in rgb_to_xyz()]))
    xyz = xyz.copy(interpretation="xyz")
    set_blob(xyz, "icc-profile-data", output_profile(delivery))
    return xyz.icc_export(
        intent=delivery.rendering_intent,
        black_point_compensation=delivery.black_point_compensation,
        pcs="xyz",
        depth=16,
    )


def _round_from_16(device: pyvips.Image, bits: int) -> pyvips.Image:
    return _round(device * (_last(bits) / LAST), bits)


def _round(codes: pyvips.Image, bits: int) -> pyvips.Image:
    """Round codes to 8 bits with dither, or to 16, where rounding is finer than any paper."""
    if bits == 16:
        return whole_steps(codes)
    return (codes + _noise(codes.width, codes.height, codes.bands)).cast("uchar")


def _noise(width: int, height: int, bands: int) -> pyvips.Image:
    """A repeating tile of even noise from 0 to just below 1, the same in every run.

    Added before the fraction is cut off it makes the mean of a flat tone exact (rectangular
    dither; Lipshitz, Wannamaker and Vanderkooy, J. Audio Eng. Soc. 40, 1992). Tones that need no
    rounding, black and white among them, stay untouched.
    """
    across, down = -(-width // _TILE), -(-height // _TILE)
    return _noise_tile(bands).replicate(across, down).crop(0, 0, width, height)


@cache
def _noise_tile(bands: int) -> pyvips.Image:
    """All bands alike: libvips would make them anew of one for every pixel of the print."""
    draw = random.Random(_SEED).random
    drawn = (min(draw(), 0.999) for _ in range(_TILE * _TILE))
    flat = array("f", [value for value in drawn for _ in range(bands)])
    return pyvips.Image.new_from_memory(flat.tobytes(), _TILE, _TILE, bands, "float")

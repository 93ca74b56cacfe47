"""Checks of a picture: whether its file, its crop and its marks are good enough for the print."""

from collections.abc import Iterator
from fractions import Fraction

from sightsize.base.findings import Finding
from sightsize.base.units import mm_text
from sightsize.checks.lengths import apart
from sightsize.checks.registry import check, say
from sightsize.model.header import RAW
from sightsize.model.picture import AS_THE_CAMERA
from sightsize.plan.crop import ACUITY_MM_PPI
from sightsize.plan.picture import PicturePlan
from sightsize.plan.sheet import PlacedPicture

_NORMAL_DISTANCE_MM = 300

_ONE_CHANNEL = 0.85
_INSET_REVEAL_MM = 6
_MUCH_TURNED_DEGREES = 10


@check(
    "source-size",
    "picture",
    "picture.source",
    "a source larger than the job's limit",
    "refuse",
    is_acceptable=False,
)
def _source_size(placed: PlacedPicture[PicturePlan]) -> Iterator[Finding]:
    megapixels = placed.picture.header.width_px * placed.picture.header.height_px / 1e6
    limit = placed.request.limits.source_megapixels
    if megapixels > limit:
        yield say(
            "refuse",
            f"{placed.picture.look.picture.source.name} has {megapixels:,.2f} megapixels; "
            f"the limit is {limit:,g}.",
            "Raise limits.source_megapixels if the picture really is that large.",
        )


@check(
    "no-profile",
    "picture",
    "picture.source",
    "a picture without a profile, so its colours are a guess",
    "refuse",
)
def _no_profile(placed: PlacedPicture[PicturePlan]) -> Iterator[Finding]:
    header = placed.picture.header
    if header.profile or header.says_srgb or placed.picture.look.picture.assume_profile:
        return
    if header.colour != "cmyk":
        yield say(
            "refuse",
            "the picture has no colour profile and does not say it is sRGB, so its colours are a "
            "guess.",
            'Set assume_profile = "srgb" for the picture if you know it is sRGB, or add '
            '"no-profile" to checks.accept.',
        )


@check(
    "ink-profile",
    "picture",
    "picture.source",
    "a CMYK picture without its profile",
    "refuse",
    is_acceptable=False,
)
def _ink_profile(placed: PlacedPicture[PicturePlan]) -> Iterator[Finding]:
    header = placed.picture.header
    if header.colour != "cmyk" or header.profile:
        return
    if not placed.picture.look.picture.assume_profile:
        yield say(
            "refuse",
            "the CMYK picture has no colour profile, so its colours are unknown.",
            "Ask for the file with its profile, or set assume_profile for the picture.",
        )


@check("alpha", "picture", "picture.source", "transparency, which cannot be printed", "warn")
def _alpha(placed: PlacedPicture[PicturePlan]) -> Iterator[Finding]:
    if placed.picture.header.has_alpha:
        yield say("warn", "the picture has transparency; it is printed on white.")


@check(
    "crop-loss",
    "picture",
    "aperture.width",
    "a crop that loses more of the picture than intended",
    "note",
    "warn",
    "refuse",
)
def _crop_loss(placed: PlacedPicture[PicturePlan]) -> Iterator[Finding]:
    thresholds, loss = placed.request.thresholds, float(placed.picture.crop.crop_loss)
    text = f"the crop loses {loss:.1%} of the picture."
    if placed.picture.look.picture.crop is not None:
        return
    if loss > thresholds.crop_loss_refuse:
        yield say("refuse", text, " ".join(_instead_of_cropping(placed)))
    elif loss > thresholds.crop_loss_warn:
        remedies = list(_swapped_sides(placed))
        if placed.picture.look.picture.centre_on is None:
            remedies.append("Set centre_on to the point to keep.")
        yield say("warn", text, " ".join(remedies))
    elif loss > thresholds.crop_loss_note:
        yield say("note", text)


def _instead_of_cropping(placed: PlacedPicture[PicturePlan]) -> Iterator[str]:
    """What could be done when picture and opening do not match: swap, inset, or say the crop."""
    yield from _swapped_sides(placed)
    degrees = placed.picture.look.picture.level_degrees
    if abs(degrees) > _MUCH_TURNED_DEGREES:
        yield f"Levelling by {degrees:g} degrees takes most of it: turn it less."
    elif min(placed.picture.size.opening_mm) > 2 * _INSET_REVEAL_MM:
        yield _inset_offer(placed)
    yield 'Or set a crop for the picture, or add "crop-loss" to checks.accept.'


def _swapped_sides(placed: PlacedPicture[PicturePlan]) -> Iterator[str]:
    """A question where the picture lies along the other side than the opening."""
    (width, height), upright = placed.picture.size.opening_mm, placed.picture.header.upright_px
    if (width - height) * (upright[0] - upright[1]) < 0:
        yield (
            f"Are width and height swapped (opening {mm_text(width)} x {mm_text(height)} mm, "
            f"picture {upright[0]} x {upright[1]} px)?"
        )


def _inset_offer(placed: PlacedPicture[PicturePlan]) -> str:
    """The whole picture inside the opening, with the usual reveal on the sides it comes near."""
    width, height = placed.picture.size.opening_mm
    ratio = Fraction(*placed.picture.header.upright_px)
    reveals = 2 * _INSET_REVEAL_MM
    inset_width = min(width - reveals, (height - reveals) * ratio)
    inset_height = inset_width / ratio
    aside, above = (width - inset_width) / 2, (height - inset_height) / 2
    return (
        f'To show it whole, set aperture.reveal = {{ left = "{mm_text(aside, 2)} mm", '
        f'right = "{mm_text(aside, 2)} mm", top = "{mm_text(above, 2)} mm", '
        f'bottom = "{mm_text(above, 2)} mm" }}, for a picture of {mm_text(inset_width, 2)} x '
        f"{mm_text(inset_height, 2)} mm with {mm_text(above)} mm of white above and below and "
        f"{mm_text(aside)} mm at the sides."
    )


@check(
    "resolution",
    "picture",
    "delivery.resolution",
    "too few pixels for the print size and viewing distance",
    "note",
    "warn",
    "refuse",
)
def _resolution(placed: PlacedPicture[PicturePlan]) -> Iterator[Finding]:
    thresholds, file_ppi = placed.request.thresholds, placed.request.delivery.ppi
    detail = placed.picture.crop.effective_ppi
    # At the resolution that labs usually ask for, the file is not what limits a print.
    limited = file_ppi < min(detail, thresholds.resolution_note_ppi)
    detail = file_ppi if limited else detail
    distance = placed.picture.look.aperture.viewing_distance_mm
    seen = detail * distance / _NORMAL_DISTANCE_MM
    text = (
        f"{float(detail):.0f} ppi of real detail looks sharp from "
        f"{mm_text(ACUITY_MM_PPI / detail, 0)} mm away; this print is viewed from "
        f"{mm_text(distance, 0)} mm."
    )
    remedy = "Print smaller, crop less, find a larger source, or correct aperture.viewing_distance."
    if limited:
        remedy = "delivery.resolution is the limit: raise it if the lab accepts more."
    if seen < thresholds.resolution_refuse_ppi:
        yield say("refuse", text, remedy)
    elif seen < thresholds.resolution_warn_ppi:
        yield say("warn", text, remedy)
    elif min(seen, detail) < thresholds.resolution_note_ppi:
        yield say("note", text)


@check(
    "keep-clear",
    "picture",
    "picture.keep_clear",
    "a face, a hand or lettering cut by the mat",
    "refuse",
)
def _keep_clear(placed: PlacedPicture[PicturePlan]) -> Iterator[Finding]:
    for part in placed.picture.crop.clearances:
        if part.distance_mm < part.wanted_mm:
            found, wanted = apart(part.distance_mm, part.wanted_mm)
            edge = cutting_edge(placed)
            yield say(
                "refuse",
                f"{part.label} is {found} mm inside {edge}; it needs {wanted} mm."
                if part.distance_mm >= 0
                else f"{part.label} extends {apart(-part.distance_mm, Fraction(0))[0]} mm beyond "
                f"{edge}.",
                'Move centre_on, crop less, or add "keep-clear" to checks.accept.',
            )


@check("not-raw", "picture", "picture.source", "raw settings for a file that is not raw", "warn")
def _not_raw(placed: PlacedPicture[PicturePlan]) -> Iterator[Finding]:
    if placed.picture.header.format != RAW and placed.picture.look.picture.raw != AS_THE_CAMERA:
        yield say(
            "warn",
            f"{placed.picture.look.picture.source.name} is not a raw camera file; its raw "
            "settings do nothing.",
            "Remove the raw table, or name the raw file.",
        )


def cutting_edge(placed: PlacedPicture[PicturePlan]) -> str:
    """Return what cuts the picture off for the eye: the mat, or with a reveal its own edge."""
    return "the opening's edge" if placed.picture.look.aperture.overlap_mm else "the picture's edge"


@check("one-channel", "picture", "mono.filter", "black-and-white from one noisy channel", "warn")
def _one_channel(placed: PlacedPicture[PicturePlan]) -> Iterator[Finding]:
    mono = placed.picture.look.mono
    if mono is None or placed.picture.mono is None or placed.picture.header.colour == "grey":
        return
    heaviest = max(placed.picture.mono.weights)
    if heaviest > _ONE_CHANNEL:
        name = ("red", "green", "blue")[placed.picture.mono.weights.index(heaviest)]
        yield say(
            "warn",
            f"{heaviest:.0%} of the tone comes from the {name} channel alone; expect its noise "
            "and blotchy skin.",
            "Choose another response."
            if mono.filter == "none"
            else "Lower filter_strength or choose a weaker filter.",
        )

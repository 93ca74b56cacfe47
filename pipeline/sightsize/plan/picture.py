"""Every number of a picture at one size: from how it is to look and its file's header.

A ``PicturePlan`` is the same whatever it is drawn for: a sheet, a preview, a test strip.
"""

from dataclasses import dataclass, replace
from fractions import Fraction

from sightsize.base.units import MM_PER_INCH
from sightsize.model.header import RAW, Header
from sightsize.model.job import Look
from sightsize.model.picture import RawDevelopment, Zone
from sightsize.model.settings import Grain, Tone, Toner
from sightsize.numbers.sharpening import SURFACE_GAIN, deblur_sigma_px, radius_mm
from sightsize.numbers.tones import mono_weights
from sightsize.plan.crop import CropPlan, plan_crop
from sightsize.plan.places import (
    EdgeBurnPlan,
    Mark,
    ShadePlan,
    camera_of,
    edge_burn_of,
    marks_of,
    reach_px,
    shade_of,
)
from sightsize.plan.size import PictureSize


@dataclass(frozen=True, kw_only=True)
class MonoPlan:
    """Resolved weights of linear red, green and blue, and the filter factor in stops."""

    weights: tuple[float, float, float]
    filter_factor_stops: float


@dataclass(frozen=True, kw_only=True)
class LocalContrastPlan:
    """Contrast within a neighbourhood in pixels of the picture on paper."""

    gain: float
    neighbourhood_px: float


@dataclass(frozen=True, kw_only=True)
class SharpenPlan:
    """Sharpening in pixels of the print and L*.

    ``noise_floor`` and ``already_sharpened`` are None when they are measured on the picture; the
    latter, and ``skin``, are shares of the gain. ``deblur_sigma_px`` is 0 for nothing to deblur.
    """

    sigma_px: float
    gain: float
    noise_floor: float | None
    skin: float
    already_sharpened: float | None
    deblur_sigma_px: float

    @property
    def is_measured(self) -> bool:
        """True when some of it is measured on the picture."""
        return self.noise_floor is None or self.already_sharpened is None


@dataclass(frozen=True, kw_only=True)
class UnopenedPicture:
    """A picture whose file was not opened: its size on paper is known, nothing of its pixels."""

    look: Look
    size: PictureSize


@dataclass(frozen=True, kw_only=True)
class PicturePlan:
    """Every number of a picture at one size. A stage that does nothing is None or empty.

    Whatever is not said to be set aside counts for the identity of a print.
    """

    look: Look
    size: PictureSize
    header: Header
    crop: CropPlan
    raw: RawDevelopment | None
    marks: tuple[Mark, ...]
    dust_of: str
    mono: MonoPlan | None
    zones: tuple[Zone, ...]
    shades: tuple[ShadePlan, ...]
    edge_burn: EdgeBurnPlan | None
    tone: Tone
    local_contrast: LocalContrastPlan | None
    toner: Toner | None
    sharpen: SharpenPlan | None
    grain: Grain | None
    grain_of: str = ""
    """SHA-256 that grain is drawn from, where that is not the source's own: a print from a master
    has the grain of the first one."""


AnyPicture = UnopenedPicture | PicturePlan


def plan_picture(look: Look, header: Header, size: PictureSize) -> PicturePlan:
    """Return the plan of a picture at a size that is not empty."""
    picture = look.picture
    crop = plan_crop(picture, header.upright_px, size, look.aperture)
    camera = camera_of(picture, header)
    shades = (shade_of(each, picture, header, crop, size) for each in picture.shades if each.stops)
    return PicturePlan(
        look=look,
        size=size,
        header=header,
        crop=crop,
        raw=picture.raw if header.format == RAW else None,
        marks=tuple(marks_of(picture, header, crop, camera)),
        dust_of=camera.name if camera else "",
        mono=_plan_mono(look),
        zones=picture.zones,
        shades=tuple(shades),
        edge_burn=edge_burn_of(look.tone.edge_burn, size),
        tone=replace(look.tone, edge_burn=None),
        local_contrast=_plan_local_contrast(look, size),
        toner=look.toner if look.toner.is_tinted else None,
        sharpen=_plan_sharpen(look, size, crop),
        grain=look.grain if look.grain.granularity else None,
    )


def at_size(plan: PicturePlan, size: PictureSize) -> PicturePlan:
    """Return the same part of the same picture planned at another size, such as a preview's."""
    planned = plan_picture(plan.look, plan.header, size)
    crop = replace(
        planned.crop, exact=plan.crop.exact, box=plan.crop.box, crop_loss=plan.crop.crop_loss
    )
    return replace(planned, crop=crop, grain_of=plan.grain_of)


def _plan_local_contrast(look: Look, size: PictureSize) -> LocalContrastPlan | None:
    local = look.local_contrast
    if local.gain == 0:
        return None
    across = reach_px(local.neighbourhood, Fraction(min(size.image_px)), size.ppi)
    return LocalContrastPlan(gain=local.gain, neighbourhood_px=across)


def _plan_sharpen(look: Look, size: PictureSize, crop: CropPlan) -> SharpenPlan | None:
    sharpen, ppi = look.sharpen, float(size.ppi)
    gain = SURFACE_GAIN[look.surface] if sharpen.gain is None else sharpen.gain
    if gain == 0:
        return None
    radius = sharpen.radius_mm
    sigma_mm = radius_mm(float(look.aperture.viewing_distance_mm)) if radius is None else radius
    effective = float(crop.effective_ppi)
    return SharpenPlan(
        sigma_px=float(sigma_mm) / float(MM_PER_INCH) * ppi,
        gain=gain,
        noise_floor=sharpen.noise_floor,
        skin=sharpen.skin,
        already_sharpened=sharpen.already_sharpened,
        deblur_sigma_px=deblur_sigma_px(effective, ppi) if sharpen.deblur else 0.0,
    )


def _plan_mono(look: Look) -> MonoPlan | None:
    mono = look.mono
    if mono is None:
        return None
    weights, stops = mono_weights(mono.response, mono.filter, mono.filter_strength)
    return MonoPlan(weights=weights, filter_factor_stops=stops)

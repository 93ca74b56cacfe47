"""The plan of a print: every number of it, from a request and a picture's header.

Lengths are rational millimetres; whole pixels appear only at the end and are rounded half up. The
sheet needs no picture; the crop and what lies on it need a header.
"""

from dataclasses import dataclass
from fractions import Fraction

from sightsize.acutance import SURFACE_GAIN, deblur_sigma_px, radius_mm
from sightsize.crop import CropPlan, plan_crop
from sightsize.header import Header
from sightsize.job import PrintRequest
from sightsize.layout import Box, SheetPlan, opening_px, plan_sheet
from sightsize.placing import (
    EdgeBurnPlan,
    Mark,
    ShadePlan,
    camera_of,
    edge_burn_of,
    marks_of,
    reach_px,
    shade_of,
)
from sightsize.tones import mono_weights
from sightsize.units import MM_PER_INCH


@dataclass(frozen=True, kw_only=True)
class MonoPlan:
    """Resolved weights of linear red, green and blue, and the filter factor in stops."""

    weights: tuple[float, float, float]
    filter_factor_stops: float


@dataclass(frozen=True, kw_only=True)
class SharpenPlan:
    """Sharpening in pixels of the print and L*.

    ``noise_floor`` and ``damping`` are None when they are measured on the picture. ``skin`` is the
    share of the gain that is left on skin. ``deblur_sigma_px`` is 0 when nothing is deblurred.
    """

    sigma_px: float
    gain: float
    noise_floor: float | None
    skin: float
    damping: float | None
    deblur_sigma_px: float


@dataclass(frozen=True, kw_only=True)
class Plan:
    """Every number of one print.

    ``header`` is None when no picture was read; ``crop`` is None then too, or when a reveal leaves
    no picture to crop. ``opening`` is what of the picture the mat leaves to see, in pixels of the
    picture. ``grain_of`` is the SHA-256 that grain is drawn from where that is not the source's
    own: a print from a master has the grain of the first one.
    """

    request: PrintRequest
    sheet: SheetPlan
    header: Header | None
    crop: CropPlan | None
    mono: MonoPlan | None
    opening: Box
    marks: tuple[Mark, ...]
    dust_of: str
    shades: tuple[ShadePlan, ...]
    edge_burn: EdgeBurnPlan | None
    neighbourhood_px: float
    sharpen: SharpenPlan
    estimated_bytes: int
    grain_of: str = ""


def plan_print(request: PrintRequest, header: Header | None) -> Plan:
    """Return the plan of one print."""
    sheet = plan_sheet(request.aperture, request.paper, request.delivery.ppi, request.frame)
    crop = None
    marks: tuple[Mark, ...] = ()
    shades: tuple[ShadePlan, ...] = ()
    camera = camera_of(request.picture, header)
    if header is not None and min(sheet.image_mm) > 0:
        crop = plan_crop(request.picture, header.upright_px, sheet, request.aperture)
        marks = tuple(marks_of(request.picture, header, crop, camera))
        shades = tuple(
            shade_of(each, request.picture, header, crop, sheet) for each in request.picture.shades
        )
    opening = opening_px(request.aperture, sheet)
    return Plan(
        request=request,
        sheet=sheet,
        header=header,
        crop=crop,
        mono=_plan_mono(request),
        opening=opening,
        marks=marks,
        dust_of=camera.name if camera else "",
        shades=shades,
        edge_burn=edge_burn_of(request.tone.edge_burn, opening, sheet.ppi),
        neighbourhood_px=_neighbourhood_px(request, sheet),
        sharpen=_plan_sharpen(request, crop),
        estimated_bytes=_estimated_bytes(request, sheet),
    )


def _neighbourhood_px(request: PrintRequest, sheet: SheetPlan) -> float:
    reach = request.local_contrast.neighbourhood
    return reach_px(reach, Fraction(min(sheet.image_px)), sheet.ppi)


def _plan_sharpen(request: PrintRequest, crop: CropPlan | None) -> SharpenPlan:
    sharpen, ppi = request.sharpen, float(request.delivery.ppi)
    radius = sharpen.radius_mm
    sigma_mm = radius_mm(float(request.aperture.viewing_distance_mm)) if radius is None else radius
    gain = sharpen.gain
    effective = float(crop.effective_ppi) if crop else ppi
    return SharpenPlan(
        sigma_px=float(sigma_mm) / float(MM_PER_INCH) * ppi,
        gain=SURFACE_GAIN[request.paper.surface] if gain is None else gain,
        noise_floor=sharpen.noise_floor,
        skin=sharpen.skin,
        damping=sharpen.damping,
        deblur_sigma_px=deblur_sigma_px(effective, ppi) if sharpen.deblur and gain != 0 else 0.0,
    )


def _plan_mono(request: PrintRequest) -> MonoPlan | None:
    mono = request.mono
    if mono is None:
        return None
    weights, stops = mono_weights(mono.response, mono.filter, mono.filter_strength)
    return MonoPlan(weights=weights, filter_factor_stops=stops)


def _estimated_bytes(request: PrintRequest, sheet: SheetPlan) -> int:
    """A rough size: bits for each picture pixel as seen on the demo; white costs little."""
    pixels = sheet.image_px[0] * sheet.image_px[1]
    channels = 1 if request.mono or request.delivery.profile == "gray" else 3
    if request.delivery.format == "tiff":
        return round(pixels * channels * request.delivery.bit_depth / 8 * 0.8)
    bits = 0.5 + 3.0 * (max(request.delivery.quality, 50) / 100) ** 6
    return round(pixels * bits / 8 * (1 if channels == 1 else 1.5))

"""The plan of a print: every number of it, from a request and the headers of its pictures.

A ``PicturePlan`` is how one picture comes to look at one size, whatever it is drawn for. A
``SheetPlan`` has one or several of them placed on a stock sheet. A ``FilePlan`` is a sheet as the
lab gets it: what is written, verified and recorded. Both hold either pictures that were opened or
pictures that were not.
"""

from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Generic, TypeVar

from sightsize.acutance import SURFACE_GAIN, deblur_sigma_px, radius_mm
from sightsize.crop import CropPlan, plan_crop
from sightsize.geometry import Box
from sightsize.header import RAW, Header
from sightsize.job import Delivery, Grain, Look, PrintRequest, Tone, Toner, Zone
from sightsize.layout import Place, Stock
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
from sightsize.size import PictureSize
from sightsize.tones import mono_weights
from sightsize.units import MM_PER_INCH
from sightsize.white_balance import RawDevelopment


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

    ``noise_floor`` and ``damping`` are None when they are measured on the picture. ``skin`` is the
    share of the gain that is left on skin. ``deblur_sigma_px`` is 0 when nothing is deblurred.
    """

    sigma_px: float
    gain: float
    noise_floor: float | None
    skin: float
    damping: float | None
    deblur_sigma_px: float

    @property
    def is_measured(self) -> bool:
        """True when some of it is measured on the picture."""
        return self.noise_floor is None or self.damping is None


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
P = TypeVar("P", bound=UnopenedPicture | PicturePlan, covariant=True)


@dataclass(frozen=True, kw_only=True)
class PlacedPicture(Generic[P]):
    """A picture at its place on a sheet, and the request that it answers."""

    request: PrintRequest
    picture: P
    place: Place


@dataclass(frozen=True, kw_only=True)
class BorderMark:
    """A box of one lightness (L*) drawn into the border."""

    box: Box
    lightness: float


@dataclass(frozen=True, kw_only=True)
class SheetPlan(Generic[P]):
    """A stock sheet, the pictures on it, and the marks in its border.

    All that is neither picture nor mark is border, of ``border_lightness`` (L*).
    """

    stock: Stock
    border_lightness: float
    pictures: tuple[PlacedPicture[P], ...]
    marks: tuple[BorderMark, ...] = ()

    @property
    def drawn_boxes(self) -> tuple[Box, ...]:
        """What of the sheet is not border."""
        return tuple(each.place.box for each in self.pictures) + tuple(
            each.box for each in self.marks
        )


@dataclass(frozen=True, kw_only=True)
class FilePlan(Generic[P]):
    """A sheet as the lab gets it: ``copies`` of one file."""

    name: str
    sheet: SheetPlan[P]
    delivery: Delivery
    copies: int

    @property
    def pictures(self) -> tuple[PlacedPicture[P], ...]:
        """The pictures on the sheet."""
        return self.sheet.pictures

    def with_pictures(
        self, pictures: "tuple[PlacedPicture[PicturePlan], ...]"
    ) -> "FilePlan[PicturePlan]":
        """Return the same file with its pictures opened."""
        sheet = SheetPlan(
            stock=self.sheet.stock,
            border_lightness=self.sheet.border_lightness,
            pictures=pictures,
            marks=self.sheet.marks,
        )
        return FilePlan(name=self.name, sheet=sheet, delivery=self.delivery, copies=self.copies)

    @property
    def request(self) -> PrintRequest:
        """The request that the file is known by: that of its first picture."""
        return self.sheet.pictures[0].request


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
    """Return the same picture planned at another size, such as a preview's."""
    return replace(plan_picture(plan.look, plan.header, size), grain_of=plan.grain_of)


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
        damping=sharpen.damping,
        deblur_sigma_px=deblur_sigma_px(effective, ppi) if sharpen.deblur else 0.0,
    )


def _plan_mono(look: Look) -> MonoPlan | None:
    mono = look.mono
    if mono is None:
        return None
    weights, stops = mono_weights(mono.response, mono.filter, mono.filter_strength)
    return MonoPlan(weights=weights, filter_factor_stops=stops)


def estimated_bytes(file: FilePlan[AnyPicture]) -> int:
    """Return a rough size of the file: bits for each picture pixel; white costs little."""
    return sum(
        _picture_bytes(each.request.look, each.picture.size, file.delivery)
        for each in file.pictures
    )


def _picture_bytes(look: Look, size: PictureSize, delivery: Delivery) -> int:
    """Bits for a pixel are as seen on the demo."""
    pixels = size.image_px[0] * size.image_px[1]
    channels = 1 if look.mono or delivery.profile == "gray" else 3
    if delivery.format == "tiff":
        return round(pixels * channels * delivery.bit_depth / 8 * 0.8)
    bits = 0.5 + 3.0 * (max(delivery.quality, 50) / 100) ** 6
    return round(pixels * bits / 8 * (1 if channels == 1 else 1.5))

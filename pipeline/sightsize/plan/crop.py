"""What is taken from the picture: the largest box of the image's ratio, and what it cuts.

Exact pixels of the upright picture, turned about its middle to level it.
"""

from dataclasses import dataclass
from fractions import Fraction
from math import cos, radians, sin, tan

from sightsize.base.units import MM_PER_INCH, round_half_up
from sightsize.model.geometry import Box, Size, SizePx
from sightsize.model.picture import KeepClear, Picture
from sightsize.model.settings import Aperture, Edges
from sightsize.plan.size import PictureSize

ACUITY_MM_PPI = MM_PER_INCH / Fraction(tan(radians(1 / 60)))
"""Pixels per inch times viewing distance in mm at which a pixel spans one arc minute."""


@dataclass(frozen=True)
class ExactBox:
    """Exact pixels of the upright picture after it is turned about its middle to level it."""

    left: Fraction
    top: Fraction
    width: Fraction
    height: Fraction


@dataclass(frozen=True)
class Clearance:
    """Distance on paper from a part's box to the opening's edge; negative when it is hidden."""

    label: str
    distance_mm: Fraction
    wanted_mm: Fraction


@dataclass(frozen=True, kw_only=True)
class CropPlan:
    """What is taken from the picture, and how large it becomes."""

    exact: ExactBox
    box: Box
    level_degrees: float
    crop_loss: Fraction
    magnification: Fraction
    effective_ppi: Fraction
    enough_from_mm: Fraction
    clearances: tuple[Clearance, ...]


def plan_crop(
    picture: Picture, upright_px: SizePx, size: PictureSize, aperture: Aperture
) -> CropPlan:
    """Return the largest box of the image's exact ratio inside the picture or its crop region.

    ``centre_on`` stands as near the box's middle as fits. ``upright_px`` is the picture's size once
    its orientation is applied.
    """
    exact = _largest_box(picture, upright_px, size.image_mm)
    effective_ppi = exact.width / (size.image_mm[0] / MM_PER_INCH)
    return CropPlan(
        exact=exact,
        box=_whole_box(exact, upright_px, level=picture.level_degrees == 0),
        level_degrees=picture.level_degrees,
        crop_loss=1 - exact.width * exact.height / (upright_px[0] * upright_px[1]),
        magnification=size.ppi / effective_ppi,
        effective_ppi=effective_ppi,
        enough_from_mm=ACUITY_MM_PPI / effective_ppi,
        clearances=tuple(
            _clearance(part, picture, upright_px, exact, size, aperture)
            for part in picture.keep_clear
        ),
    )


def _largest_box(picture: Picture, upright_px: SizePx, image: Size) -> ExactBox:
    """The largest box of the image's ratio inside a region that is turned with the picture.

    A box of sides (w, h) fits in a rectangle (W, H) turned by an angle when
    w cos + h sin <= W and w sin + h cos <= H; what is left over on the rectangle's own axes is
    how far its middle may move.
    """
    cosine, sine = _turn(picture.level_degrees)
    across = abs(sine)
    region_width, region_height, middle = _region_px(picture, upright_px)
    ratio = image[0] / image[1]
    width = min(region_width / (cosine + across / ratio), region_height / (across + cosine / ratio))
    height = width / ratio
    slack_x = (region_width - (width * cosine + height * across)) / 2
    slack_y = (region_height - (width * across + height * cosine)) / 2
    centre = _centre_px(picture, upright_px)
    x = middle[0] + _clamp(centre[0] - middle[0], slack_x)
    y = middle[1] + _clamp(centre[1] - middle[1], slack_y)
    turned_x, turned_y = turn_point((x, y), upright_px, picture.level_degrees)
    return ExactBox(turned_x - width / 2, turned_y - height / 2, width, height)


def _region_px(
    picture: Picture, upright_px: SizePx
) -> tuple[Fraction, Fraction, tuple[Fraction, Fraction]]:
    """Width, height and middle of the region the crop may use."""
    width, height = Fraction(upright_px[0]), Fraction(upright_px[1])
    crop = picture.crop
    if crop is None:
        return width, height, (width / 2, height / 2)
    middle = (crop.left + crop.width / 2) * width, (crop.top + crop.height / 2) * height
    return crop.width * width, crop.height * height, middle


def _centre_px(picture: Picture, upright_px: SizePx) -> tuple[Fraction, Fraction]:
    if picture.centre_on is not None:
        return picture.centre_on[0] * upright_px[0], picture.centre_on[1] * upright_px[1]
    return _region_px(picture, upright_px)[2]


def _turn(degrees: float) -> tuple[Fraction, Fraction]:
    angle = radians(degrees)
    return Fraction(cos(angle)), Fraction(sin(angle))


def turn_point(
    point: tuple[Fraction, Fraction], upright_px: SizePx, degrees: float
) -> tuple[Fraction, Fraction]:
    """Where a point of the upright picture goes when it is turned clockwise about its middle."""
    cosine, sine = _turn(degrees)
    middle_x, middle_y = Fraction(upright_px[0], 2), Fraction(upright_px[1], 2)
    x, y = point[0] - middle_x, point[1] - middle_y
    return middle_x + x * cosine - y * sine, middle_y + x * sine + y * cosine


def _clamp(value: Fraction, limit: Fraction) -> Fraction:
    return max(-limit, min(limit, value))


def _whole_box(exact: ExactBox, upright_px: SizePx, *, level: bool) -> Box:
    left, top = round_half_up(exact.left), round_half_up(exact.top)
    right, bottom = (
        round_half_up(exact.left + exact.width),
        round_half_up(exact.top + exact.height),
    )
    if level:
        left, top = max(left, 0), max(top, 0)
        right, bottom = min(right, upright_px[0]), min(bottom, upright_px[1])
    return Box(left, top, max(right - left, 1), max(bottom - top, 1))


def _clearance(
    part: KeepClear,
    picture: Picture,
    upright_px: SizePx,
    crop: ExactBox,
    size: PictureSize,
    aperture: Aperture,
) -> Clearance:
    box = part.box
    xs = [box.left * upright_px[0], (box.left + box.width) * upright_px[0]]
    ys = [box.top * upright_px[1], (box.top + box.height) * upright_px[1]]
    corners = [turn_point((x, y), upright_px, picture.level_degrees) for x in xs for y in ys]
    scale = size.image_mm[0] / crop.width
    left = (min(x for x, _ in corners) - crop.left) * scale
    top = (min(y for _, y in corners) - crop.top) * scale
    right = size.image_mm[0] - (max(x for x, _ in corners) - crop.left) * scale
    bottom = size.image_mm[1] - (max(y for _, y in corners) - crop.top) * scale
    # With a reveal the picture's own edge is what cuts.
    hidden = aperture.overlap_mm or Edges(*(Fraction(0),) * 4)
    distance = min(
        left - hidden.left, top - hidden.top, right - hidden.right, bottom - hidden.bottom
    )
    return Clearance(part.label, distance, part.clearance_mm)

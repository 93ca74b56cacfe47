"""The size of a picture on paper, from its opening: exact mm, whole pixels only at the end.

An opening of 13 3/8 x 10 5/8 in without overlap at 300 ppi is a picture of 4013 x 3188 px.
"""

from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from sightsize.base.units import to_px
from sightsize.model.geometry import Box, Size, SizePx
from sightsize.model.settings import Aperture


@dataclass(frozen=True, kw_only=True)
class PictureSize:
    """A picture on paper: its opening and itself in mm, itself in pixels.

    ``opening_px`` is what the mat leaves to see, in pixels of the picture.
    """

    ppi: Fraction
    opening_mm: Size
    image_mm: Size
    image_px: SizePx
    opening_px: Box

    @property
    def is_empty(self) -> bool:
        """True when a reveal leaves no picture."""
        return min(self.image_mm) <= 0 or min(self.image_px) < 1


@lru_cache(maxsize=64)
def plan_size(aperture: Aperture, ppi: Fraction) -> PictureSize:
    """Return the size of the picture that an opening asks for."""
    image = image_mm(aperture)
    image_px = to_px(image[0], ppi), to_px(image[1], ppi)
    return PictureSize(
        ppi=ppi,
        opening_mm=opening_mm(aperture),
        image_mm=image,
        image_px=image_px,
        opening_px=_opening_px(aperture, image_px, ppi),
    )


def opening_mm(aperture: Aperture) -> Size:
    """Return the opening at the back of the bevel, as it hangs.

    A 45 degree bevel makes the opening one board thickness smaller on each side at the back.
    """
    less = 2 * (aperture.mat_thickness_mm or 0) if aperture.measured_at == "face" else 0
    return aperture.width_mm - less, aperture.height_mm - less


def image_mm(aperture: Aperture) -> Size:
    """Return the picture's size on paper: the opening and the overlap, or less the reveal."""
    width, height = opening_mm(aperture)
    edges, sign = aperture.edges_mm
    return (
        width + sign * (edges.left + edges.right),
        height + sign * (edges.top + edges.bottom),
    )


def _opening_px(aperture: Aperture, image_px: SizePx, ppi: Fraction) -> Box:
    """The opening on the picture; with a reveal all of the picture is seen."""
    width, height = image_px
    hidden = aperture.overlap_mm
    if hidden is None:
        return Box(0, 0, width, height)
    left, top = to_px(hidden.left, ppi), to_px(hidden.top, ppi)
    right, bottom = to_px(hidden.right, ppi), to_px(hidden.bottom, ppi)
    return Box(left, top, max(width - left - right, 1), max(height - top - bottom, 1))

"""Facts of a picture, whatever sizes it is printed at: places are shares of its upright sides."""

from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Literal

from sightsize.model.settings import Reach

Highlights = Literal["white", "mixed", "rebuilt"]
Point = tuple[Fraction, Fraction]


@dataclass(frozen=True)
class Region:
    """A box in fractions of the upright, untouched source."""

    left: Fraction
    top: Fraction
    width: Fraction
    height: Fraction


@dataclass(frozen=True, kw_only=True)
class KeepClear:
    """A part that must stand ``clearance_mm`` inside the opening."""

    box: Region
    clearance_mm: Fraction
    label: str


@dataclass(frozen=True, kw_only=True)
class Spot:
    """A mark to clear; both ends are the same for a round one, a share is of the upright width.

    ``in_faces`` counts the pictures of the job whose face has a mark at the same place.
    """

    start: Point
    end: Point
    radius: Reach
    donor: Point | None = None
    strength: float
    in_faces: int = 0


@dataclass(frozen=True)
class Dust:
    """A speck on a sensor: in fractions of the stored picture, radius of its longer side."""

    at: Point
    radius: Fraction


@dataclass(frozen=True, kw_only=True)
class Camera:
    """A camera and its dust; model and serial number are empty when any will do."""

    name: str
    model: str = ""
    serial: str = ""
    dust: tuple[Dust, ...]


@dataclass(frozen=True, kw_only=True)
class Zone:
    """A square patch, its side a share of the upright width, and the zone to print it on."""

    at: Point
    size: Fraction
    zone: float


@dataclass(frozen=True, kw_only=True)
class Shade:
    """A dodge (positive stops) or a burn (negative): a shape by its points.

    An ellipse has the four corners of its box, an edge a point on it and one on its treated side.
    """

    stops: float
    shape: Literal["ellipse", "polygon", "edge"]
    points: tuple[Point, ...]
    softness_mm: Fraction


@dataclass(frozen=True, kw_only=True)
class RawDevelopment:
    """How a raw picture is developed; ``kelvin`` is None for the white balance as shot."""

    kelvin: float | None = field(metadata={"key": "white_balance"})
    duv: float
    exposure_stops: float
    highlights: Highlights


AS_THE_CAMERA = RawDevelopment(kelvin=None, duv=0.0, exposure_stops=0.0, highlights="white")
"""A development that changes nothing."""


@dataclass(frozen=True, kw_only=True)
class Picture:
    """Facts of a picture whatever sizes it is printed at; ``centre_on`` is None when not given.

    ``cameras`` are those whose dust may lie on it: the one named, or all that files are held
    against.
    """

    name: str
    source: Path
    level_degrees: float
    centre_on: Point | None
    crop: Region | None = None
    keep_clear: tuple[KeepClear, ...]
    assume_profile: str | None
    cameras: tuple[Camera, ...] = ()
    spotting: tuple[Spot, ...] = ()
    zones: tuple[Zone, ...] = ()
    shades: tuple[Shade, ...] = ()
    raw: RawDevelopment = AS_THE_CAMERA

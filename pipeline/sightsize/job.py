"""A job as frozen objects: every default filled, every length exact, every name resolved.

Lengths are exact millimetres (Fraction) and say so in their names.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Literal, get_args

Edge = Literal["top", "right", "bottom", "left"]
EDGES: tuple[Edge, ...] = get_args(Edge)
BUILT_IN_PROFILES = ("srgb", "gray")
"""Profiles that a job may name; any other is a path."""

Point = tuple[Fraction, Fraction]


@dataclass(frozen=True)
class Edges:
    """A length in mm at each edge."""

    top: Fraction
    right: Fraction
    bottom: Fraction
    left: Fraction


@dataclass(frozen=True, kw_only=True)
class Aperture:
    """The mat opening as measured; exactly one of overlap and reveal is set."""

    width_mm: Fraction
    height_mm: Fraction
    overlap_mm: Edges | None
    reveal_mm: Edges | None
    measured_at: Literal["back", "face"]
    mat_thickness_mm: Fraction | None
    viewing_distance_mm: Fraction

    @property
    def edges_mm(self) -> tuple[Edges, Literal[1, -1]]:
        """The overlap and 1, or the reveal and -1: what is added at each edge of the opening."""
        if self.overlap_mm is not None:
            return self.overlap_mm, 1
        assert self.reveal_mm is not None
        return self.reveal_mm, -1


@dataclass(frozen=True, kw_only=True)
class Paper:
    """The stock sheet; ``placement_mm`` is None when the picture is centred."""

    size_mm: tuple[Fraction, Fraction]
    label: str
    orientation: Literal["auto", "portrait", "landscape"]
    surface: str
    placement_mm: tuple[Fraction, Fraction] | None
    hinge_edge: Edge
    hinge_margin_mm: Fraction
    margin_mm: Fraction
    tone_lightness: float


@dataclass(frozen=True, kw_only=True)
class Mono:
    """Black-and-white conversion: a response by name or as weights, and a filter before it."""

    response: str | tuple[float, float, float]
    filter: str
    filter_strength: float


@dataclass(frozen=True, kw_only=True)
class Tone:
    """Exposure in stops, paper grade, and curve points (L* in, L* out)."""

    exposure_stops: float
    grade: float
    curve: tuple[tuple[float, float], ...]


@dataclass(frozen=True, kw_only=True)
class Sharpen:
    """Sharpening on paper: Gaussian sigma in mm, gain as a ratio, noise floor in L*."""

    radius_mm: Fraction
    gain: float
    noise_floor: float


@dataclass(frozen=True, kw_only=True)
class Delivery:
    """The file as the lab wants it; ``profile`` is srgb, gray or an absolute path."""

    ppi: Fraction
    format: Literal["jpeg", "tiff"]
    quality: int
    bit_depth: Literal[8, 16]
    profile: str
    rendering_intent: Literal["perceptual", "relative", "saturation", "absolute"]
    black_point_compensation: bool
    location: bool
    serial_numbers: bool

    @property
    def suffix(self) -> str:
        """File name ending of the format."""
        return ".jpg" if self.format == "jpeg" else ".tif"


@dataclass(frozen=True, kw_only=True)
class Thresholds:
    """The numbers the checks hold a plan against, and the checks this print accepts."""

    accept: tuple[str, ...]
    strict: bool
    crop_loss_note: float
    crop_loss_warn: float
    crop_loss_stop: float
    resolution_note_ppi: Fraction
    resolution_warn_ppi: Fraction
    resolution_stop_ppi: Fraction
    overlap_warn_mm: Fraction
    overlap_stop_mm: Fraction
    reveal_warn_mm: Fraction
    rebate_clearance_mm: Fraction
    source_limit_megapixels: float


@dataclass(frozen=True, kw_only=True)
class Frame:
    """A frame's own facts beside its opening."""

    name: str
    rebate_mm: tuple[Fraction, Fraction] | None
    bottom_weight_mm: Fraction
    moulding_width_mm: Fraction | None


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
class Picture:
    """Facts of a picture whatever sizes it is printed at; ``focus`` is None when not given."""

    name: str
    source: Path
    straighten_degrees: float
    focus: Point | None
    crop: Region | None
    keep_clear: tuple[KeepClear, ...]
    assume_profile: str | None


@dataclass(frozen=True)
class Origin:
    """Where a value was set: its key as people write it, and its line and column."""

    key: str
    line: int
    column: int


@dataclass(frozen=True, kw_only=True)
class PrintRequest:
    """One print, resolved: everything the job says about it."""

    number: int
    name: str
    picture: Picture
    frame: Frame | None
    recipe: str
    copies: int
    aperture: Aperture
    paper: Paper
    mono: Mono | None
    tone: Tone
    sharpen: Sharpen
    delivery: Delivery
    thresholds: Thresholds
    origins: Mapping[str, Origin]

    def origin(self, key: str) -> Origin:
        """Return where ``table.key`` was set, or where the print stands when it is a default."""
        return self.origins.get(key) or self.origins[""]


@dataclass(frozen=True, kw_only=True)
class Job:
    """A job file, resolved."""

    path: Path
    title: str
    reference: str
    client: str
    output: Path
    prints: tuple[PrintRequest, ...]

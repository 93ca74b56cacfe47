"""The settings of a print, a class for each table: defaults filled, lengths exact.

Lengths are exact millimetres (Fraction) and say so in their names.
"""

from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal, get_args

Edge = Literal["top", "right", "bottom", "left"]
EDGES: tuple[Edge, ...] = get_args(Edge)
BUILT_IN_PROFILES = ("srgb", "grey")
"""Profiles that a job may name; any other is a path."""


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
    reveal_mm: Edges | None = None
    measured_at: Literal["back", "face"]
    mat_thickness_mm: Fraction | None = None
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
class SplitGrade:
    """A grade for dark tones and one for light tones, mixed between two lightnesses (L*)."""

    dark: float
    light: float
    start: float = field(metadata={"key": "from"})
    end: float = field(metadata={"key": "to"})


@dataclass(frozen=True)
class AreaShare:
    """A tone given by the share of the opening's area that lies beyond it."""

    share: float


@dataclass(frozen=True, kw_only=True)
class EdgeBurn:
    """Darkening at the opening's edge, which fades to nothing ``width_mm`` inside it."""

    stops: float
    width_mm: Fraction


@dataclass(frozen=True, kw_only=True)
class Tone:
    """Exposure in stops, black and white point, paper grade or grades, curve (L* in, L* out)."""

    exposure_stops: float
    black_point: float | AreaShare
    white_point: float | AreaShare
    grade: float
    split_grade: SplitGrade | None = None
    pivot: float
    curve: tuple[tuple[float, float], ...]
    edge_burn: EdgeBurn | None = None


@dataclass(frozen=True, kw_only=True)
class Sharpen:
    """Sharpening on paper: Gaussian sigma in mm, gain as a ratio, noise floor in L*.

    None leaves the radius to the viewing distance, the gain to the surface, and the noise floor and
    the share for a source that is already sharpened to what is measured on the picture.
    """

    radius_mm: Fraction | None
    gain: float | None
    noise_floor: float | None
    skin: float
    already_sharpened: float | None
    deblur: bool


@dataclass(frozen=True)
class Reach:
    """A length in the picture: mm on paper, or a share of the picture. Exactly one is set."""

    mm: Fraction | None
    share: Fraction | None


@dataclass(frozen=True, kw_only=True)
class LocalContrast:
    """Contrast within a neighbourhood; a share is one of the picture's shorter side."""

    neighbourhood: Reach
    gain: float


@dataclass(frozen=True)
class Tint:
    """A colour laid over a neutral tone: CIELAB hue angle in degrees and chroma C*."""

    hue_degrees: float
    chroma: float


@dataclass(frozen=True, kw_only=True)
class Toner:
    """A tint for dark tones and one for light tones, which meet about ``split`` (L*)."""

    dark: Tint
    light: Tint
    split: float
    crossover: float

    @property
    def is_tinted(self) -> bool:
        """False when it leaves every tone neutral."""
        return self.dark.chroma > 0 or self.light.chroma > 0


@dataclass(frozen=True, kw_only=True)
class Grain:
    """Film grain: RMS density at density 1, and the size of a grain on paper."""

    granularity: float
    size_mm: Fraction


@dataclass(frozen=True, kw_only=True)
class Delivery:
    """The file as the lab wants it; ``profile`` is srgb, grey or an absolute path."""

    ppi: Fraction = field(metadata={"key": "resolution"})
    format: Literal["jpeg", "tiff"]
    quality: int
    bit_depth: Literal[8, 16]
    profile: str
    rendering_intent: Literal["perceptual", "relative", "saturation", "absolute"]
    black_point_compensation: bool
    location: bool
    serial_numbers: bool
    keep_master: bool

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
    crop_loss_refuse: float
    resolution_note_ppi: Fraction
    resolution_warn_ppi: Fraction
    resolution_refuse_ppi: Fraction
    overlap_warn_mm: Fraction
    overlap_refuse_mm: Fraction
    reveal_warn_mm: Fraction
    rebate_clearance_mm: Fraction
    clipping_warn: float
    clipping_refuse: float
    gamut_warn: float


@dataclass(frozen=True, kw_only=True)
class PrintLimits:
    """What a print may cost: the sizes of its source and its sheet, and its time, None for any."""

    source_megapixels: float
    sheet_megapixels: float
    seconds: float | None = None


@dataclass(frozen=True, kw_only=True)
class Frame:
    """A frame's own facts beside its opening."""

    name: str
    rebate_mm: tuple[Fraction, Fraction] | None = None
    bottom_weight_mm: Fraction
    moulding_width_mm: Fraction | None = None

"""A job as frozen objects: every default filled, every length exact, every name resolved.

Lengths are exact millimetres (Fraction) and say so in their names. A field is named after the key
that sets it, with its unit, unless ``key`` in its metadata says which one does (see ``convert``).
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any, Literal, get_args

Edge = Literal["top", "right", "bottom", "left"]
EDGES: tuple[Edge, ...] = get_args(Edge)
BUILT_IN_PROFILES = ("srgb", "grey")
"""Profiles that a job may name; any other is a path."""

Highlights = Literal["white", "mixed", "rebuilt"]
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
    """What a print may cost: the size of its source, and its time; None for as long as it takes."""

    source_megapixels: float
    seconds: float | None = None


@dataclass(frozen=True, kw_only=True)
class Frame:
    """A frame's own facts beside its opening."""

    name: str
    rebate_mm: tuple[Fraction, Fraction] | None = None
    bottom_weight_mm: Fraction
    moulding_width_mm: Fraction | None = None


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


@dataclass(frozen=True)
class Origin:
    """Where a value was set: its key as people write it, and its line and column."""

    key: str
    line: int
    column: int


@dataclass(frozen=True, kw_only=True)
class Look:
    """How a picture is to look on paper: its source, its opening, and each table that moves tones.

    ``surface`` is that of the paper, which decides how much sharpening it takes.
    """

    picture: Picture
    aperture: Aperture
    surface: str
    mono: Mono | None
    tone: Tone
    local_contrast: LocalContrast
    toner: Toner
    sharpen: Sharpen
    grain: Grain


@dataclass(frozen=True, kw_only=True)
class PrintRequest:
    """One print as the job asks for it: how its picture looks, its paper and its file."""

    number: int
    look: Look
    frame: Frame | None
    recipe: str
    step: str
    copies: int
    paper: Paper
    delivery: Delivery
    name: str
    """Template of the file's name."""
    thresholds: Thresholds
    limits: PrintLimits
    origins: Mapping[str, Origin]
    own_job: Mapping[str, Any]
    """The print as a job of its own, every default filled in, in the job file's grammar."""

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

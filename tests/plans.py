"""Plans from a few lines of TOML and a header, so that geometry is tested without pictures."""

from fractions import Fraction
from pathlib import Path
from tempfile import TemporaryDirectory

from sightsize.batch import PlannedPrint
from sightsize.checks import check_ids, run_checks
from sightsize.crop import CropPlan
from sightsize.findings import Finding
from sightsize.header import ColourModel, Header
from sightsize.job import Job, PrintRequest, Tone
from sightsize.load import load_job
from sightsize.plan import Plan, plan_print

ONE_PRINT = '[[prints]]\nsource = "catch-four.tif"\n'

# The frames of the Tern Quay job, and the paper for each.
LOBBY_OAK = """
[frames.lobby-oak]
aperture = { width = "7 1/4 in", height = "9 5/8 in" }
paper = { size = "12x8 in" }
rebate = { width = "305 mm", height = "406 mm" }
moulding_width = "22 mm"
"""
TROPHY_CABINET = """
[aperture]
width = "143 mm"
height = "198 mm"
[paper]
size = "10x8 in"
"""
LAUNCH_ROOM = """
[frames.launch-room]
aperture = { width = "6 7/8 in", height = "9 3/8 in" }
paper = { size = "12x8 in" }
rebate = { width = "11 in", height = "14 in" }
bottom_weight = "12 mm"
"""


def header(
    width: int,
    height: int,
    orientation: int = 1,
    *,
    colour: ColourModel = "rgb",
    profile: str = "sRGB",
    says_srgb: bool = False,
    has_alpha: bool = False,
) -> Header:
    """A picture's header; ``profile`` empty for none."""
    return Header(
        width_px=width,
        height_px=height,
        orientation=orientation,
        colour=colour,
        bits=8,
        has_alpha=has_alpha,
        format="JPEG",
        profile=profile,
        says_srgb=says_srgb,
        bytes=1_000_000,
    )


# The pictures of the Tern Quay job.
CATCH_FOUR = header(6000, 4000)
COX_MEGAPHONE = header(6000, 4000, orientation=6)
DAWN_MIST_REACH = header(11800, 3400)
CREW_1926_PLATE = header(2480, 3508, colour="grey")
BOATBUILDER_HANDS = header(3200, 3200, colour="cmyk")
CUP_ON_SLIPWAY = header(1200, 1600)


def job(toml: str) -> Job:
    """The job of a text; ``sightsize = 1`` and a print of one picture are added when missing."""
    text = toml if "[[prints]]" in toml else toml + ONE_PRINT
    with TemporaryDirectory() as folder:
        path = Path(folder) / "job.toml"
        path.write_text(f"sightsize = 1\n{text}", encoding="utf-8")
        return load_job(path, check_ids())


def request(toml: str) -> PrintRequest:
    """The only print of a job."""
    (only,) = job(toml).prints
    return only


def plan(toml: str, picture: Header | None = None) -> Plan:
    """The plan of the only print of a job."""
    return plan_print(request(toml), picture)


def crop(toml: str, picture: Header) -> CropPlan:
    """The crop of the only print of a job."""
    planned = plan(toml, picture).crop
    assert planned is not None
    return planned


def planned_print(toml: str, picture: Header | None) -> PlannedPrint:
    """The only print of a job, planned and checked."""
    made = plan(toml, picture)
    return PlannedPrint(made.request, made, tuple(run_checks(made, "job.toml")))


def findings(toml: str, picture: Header | None = None) -> list[Finding]:
    """Every finding about the only print of a job."""
    return list(planned_print(toml, picture).findings)


NEUTRAL_TONE = Tone(
    exposure_stops=0.0,
    black_point=0.0,
    white_point=100.0,
    grade=2.0,
    split_grade=None,
    pivot=50.0,
    curve=((0.0, 0.0), (100.0, 100.0)),
    edge_burn=None,
)
"""A tone that changes nothing."""


def mm(text: str) -> Fraction:
    """A decimal number of mm exactly."""
    return Fraction(text)

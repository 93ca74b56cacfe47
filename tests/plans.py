"""Plans from a few lines of TOML and a header, so that geometry is tested without pictures."""

from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from tempfile import TemporaryDirectory

from sightsize.base.findings import Finding
from sightsize.base.icc import ColourModel
from sightsize.checks.run import check_file, check_ids, check_opened
from sightsize.job.load import load_job
from sightsize.model.header import Header
from sightsize.model.job import Job, PrintRequest
from sightsize.model.settings import Tone
from sightsize.plan.arrange import arrange
from sightsize.plan.crop import CropPlan
from sightsize.plan.layout import Place, Stock
from sightsize.plan.picture import PicturePlan, UnopenedPicture, plan_picture
from sightsize.plan.sheet import FilePlan, PlacedPicture
from sightsize.plan.size import PictureSize
from sightsize.run.planned_print import PlannedPrint

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


@dataclass(frozen=True)
class Laid:
    """The one picture of a file on its sheet: its size, its place, and the stock."""

    size: PictureSize
    place: Place
    stock: Stock


def file_of(toml: str) -> FilePlan[UnopenedPicture]:
    """The only file of a job, before its picture is opened."""
    (only,) = arrange(job(toml))
    return only


def laid(toml: str) -> Laid:
    """The geometry of the only print of a job, which needs no picture."""
    file = file_of(toml)
    (placed,) = file.pictures
    return Laid(placed.picture.size, placed.place, file.sheet.stock)


def opened(toml: str, picture: Header) -> FilePlan[PicturePlan]:
    """The plan of the only file of a job."""
    return with_header(file_of(toml), picture)


def with_header(file: FilePlan[UnopenedPicture], picture: Header) -> FilePlan[PicturePlan]:
    """A file of one picture, opened: the picture is known by its header alone."""
    (placed,) = file.pictures
    plan = plan_picture(placed.request.look, picture, placed.picture.size)
    place = PlacedPicture(request=placed.request, picture=plan, place=placed.place)
    return file.with_pictures((place,))


def plan(toml: str, picture: Header) -> PicturePlan:
    """The plan of the picture of the only print of a job."""
    return opened(toml, picture).pictures[0].picture


def crop(toml: str, picture: Header) -> CropPlan:
    """The crop of the only print of a job."""
    return plan(toml, picture).crop


def planned_print(toml: str, picture: Header | None) -> PlannedPrint:
    """The only print of a job, planned and checked."""
    file = file_of(toml)
    found = list(check_file(file, "job.toml"))
    if picture is None or file.pictures[0].picture.size.is_empty:
        return PlannedPrint(file, None, tuple(found))
    made = opened(toml, picture)
    return PlannedPrint(file, made, (*found, *check_opened(made, "job.toml")))


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

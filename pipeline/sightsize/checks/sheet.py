"""Checks of the sheet: whether pictures stand well on it, and it fits the frame and its file."""

from collections.abc import Iterator, Mapping
from fractions import Fraction

from sightsize.base.findings import Finding, Level
from sightsize.base.paper_sizes import smallest_stock
from sightsize.checks.lengths import apart, at_edges, at_least
from sightsize.checks.registry import check, say
from sightsize.plan.layout import least_margins, rebate_room, short_margins
from sightsize.plan.picture import AnyPicture
from sightsize.plan.sheet import FilePlan, PlacedPicture

_FILE_PPI = (100, 1440)
"""What lies beyond these is a slip more often than not: common practice."""
_LONGEST_JPEG_PX = 65_500
"""JPEG_MAX_DIMENSION in the jmorecfg.h of libjpeg and libjpeg-turbo; 16 bits would hold 65,535."""


@check(
    "off-sheet",
    "sheet",
    "paper.size",
    "a picture that runs off its sheet",
    "refuse",
    is_acceptable=False,
)
def _off_sheet(placed: PlacedPicture[AnyPicture]) -> Iterator[Finding]:
    rows = short_margins(placed.place, placed.picture.look.aperture, placed.request.paper)
    over = {edge: f"{apart(-margin, Fraction(0))[0]} mm" for edge, margin, _ in rows if margin < 0}
    if over:
        yield say(
            "refuse", f"the picture runs off the sheet by {at_edges(over)}.", _larger_paper(placed)
        )


@check(
    "sheet-margin",
    "sheet",
    "paper.size",
    "a border too narrow to hinge or to handle",
    "warn",
    "refuse",
)
def _sheet_margin(placed: PlacedPicture[AnyPicture]) -> Iterator[Finding]:
    aperture, paper = placed.picture.look.aperture, placed.request.paper
    narrow = {
        edge: apart(margin, least)
        for edge, margin, least in short_margins(placed.place, aperture, paper)
        if margin >= 0
    }
    if not narrow:
        return
    level: Level = "warn"
    why = "it is narrow to handle"
    if aperture.reveal_mm and any(
        getattr(placed.place.margins_mm, edge) < getattr(aperture.reveal_mm, edge)
        for edge in narrow
    ):
        why, level = "the sheet's edge shows in the opening", "refuse"
    elif paper.hinge_edge in narrow:
        why, level = "it is too narrow to hinge", "refuse"
    yield say(level, f"{_say_narrow(narrow)}; {why}.", _larger_paper(placed))


def _say_narrow(narrow: Mapping[str, tuple[str, str]]) -> str:
    """The borders that are too narrow, in one clause."""
    if len(narrow) == 1:
        ((edge, (found, wanted)),) = narrow.items()
        return f"the {edge} border is {found} mm and needs {wanted} mm"
    rows = {edge: f"{found} mm instead of {wanted} mm" for edge, (found, wanted) in narrow.items()}
    return f"the border is {at_edges(rows)}"


def _larger_paper(placed: PlacedPicture[AnyPicture]) -> str:
    """The smallest sheet that a centred picture stands well on."""
    (width, height), paper = placed.picture.size.image_mm, placed.request.paper
    least = least_margins(placed.picture.look.aperture, paper)
    width += 2 * max(least.left, least.right)
    height += 2 * max(least.top, least.bottom)
    size = f"at least {at_least(width)} x {at_least(height)} mm{_such_as(placed, width, height)}"
    if paper.placement_mm is not None:
        return f"Move paper.placement, or centre the picture on a sheet of {size}."
    return f"Use a sheet of {size}."


def _such_as(placed: PlacedPicture[AnyPicture], width: Fraction, height: Fraction) -> str:
    """A listed sheet that is large enough, turned as the job has it, and goes into the frame."""
    paper, frame = placed.request.paper, placed.request.frame
    if paper.orientation != "auto" and (paper.orientation == "portrait") != (width <= height):
        return ""
    room = None
    if frame is not None and frame.rebate_mm is not None:
        clear = 2 * placed.request.thresholds.rebate_clearance_mm
        room = frame.rebate_mm[0] - clear, frame.rebate_mm[1] - clear - frame.bottom_weight_mm
    label = smallest_stock((width, height), room, paper.label)
    return f", such as {label}" if label else ""


@check("rebate", "sheet", "paper.size", "a sheet that does not fit the frame", "refuse")
def _rebate(placed: PlacedPicture[AnyPicture]) -> Iterator[Finding]:
    room_at = rebate_room(
        placed.place, placed.picture.size, placed.picture.look.aperture, placed.request.frame
    )
    clearance = placed.request.thresholds.rebate_clearance_mm
    tight = {edge: free for edge, free in room_at.items() if free < clearance}
    beyond = {edge: -free for edge, free in tight.items() if free < 0}
    said = []
    if beyond:
        lengths = {edge: f"{apart(each, Fraction(0))[0]} mm" for edge, each in beyond.items()}
        said.append(f"the sheet extends beyond the rebate by {at_edges(lengths)}")
    if len(tight) > len(beyond):
        lengths = {
            edge: f"{apart(free, clearance)[0]} mm"
            for edge, free in tight.items()
            if edge not in beyond
        }
        wanted = apart(min(tight.values()), clearance)[1]
        said.append(
            f"between sheet and rebate only {at_edges(lengths)} is free; it needs {wanted} mm"
        )
    if said:
        trims = {edge: f"{at_least(clearance - free)} mm" for edge, free in tight.items()}
        yield say(
            "refuse",
            f"{'; '.join(said)}.",
            f"Choose a smaller sheet, or trim at least {at_edges(trims)} (along a steel rule, "
            'away from your hand) and add "rebate" to checks.accept.',
        )


@check(
    "file-resolution",
    "sheet",
    "delivery.resolution",
    "a resolution no lab asks for, probably a typing error",
    "warn",
)
def _file_resolution(placed: PlacedPicture[AnyPicture]) -> Iterator[Finding]:
    least, most = _FILE_PPI
    ppi = float(placed.request.delivery.ppi)
    if not least <= ppi <= most:
        yield say(
            "warn",
            f"the file would have {ppi:g} ppi; labs ask for {least} to {most} ppi, usually 300.",
            "Use the resolution your lab asks for.",
        )


@check(
    "sheet-size",
    "file",
    "delivery.resolution",
    "a sheet larger than the job's limit",
    "refuse",
    is_acceptable=False,
)
def _sheet_size(file: FilePlan[AnyPicture]) -> Iterator[Finding]:
    width, height = file.sheet.stock.size_px
    megapixels, limit = width * height / 1e6, file.request.limits.sheet_megapixels
    if megapixels > limit:
        yield say(
            "refuse",
            f"the sheet would have {width:,} x {height:,} px, {megapixels:,.2f} megapixels; the "
            f"limit is {limit:,g}.",
            "Lower delivery.resolution, correct paper.size, or raise limits.sheet_megapixels if "
            "the sheet really is that large.",
        )


@check(
    "jpeg-size",
    "file",
    "delivery.format",
    "a sheet longer than a JPEG can be",
    "refuse",
    is_acceptable=False,
)
def _jpeg_size(file: FilePlan[AnyPicture]) -> Iterator[Finding]:
    longest = max(file.sheet.stock.size_px)
    if file.delivery.format == "jpeg" and longest > _LONGEST_JPEG_PX:
        yield say(
            "refuse",
            f"the sheet is {longest:,} px long, and a JPEG can have {_LONGEST_JPEG_PX:,} at most.",
            'Write format = "tiff", or lower delivery.resolution.',
        )

"""A dry run's account of prints: every computed dimension."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import get_args

from sightsize.base.findings import Level
from sightsize.base.plain_text import paragraph
from sightsize.base.units import MM_PER_INCH, inch_text, mm_text
from sightsize.base.words import count_text
from sightsize.checks.picture import cutting_edge
from sightsize.model.geometry import Size
from sightsize.model.header import Header
from sightsize.model.job import Job
from sightsize.model.settings import Aperture, Frame
from sightsize.plan.crop import CropPlan
from sightsize.plan.estimates import estimated_bytes
from sightsize.plan.file_names import masters_of
from sightsize.plan.layout import Stock, rebate_room
from sightsize.plan.picture import AnyPicture, PicturePlan
from sightsize.plan.sheet import FilePlan, PlacedPicture
from sightsize.report.look import look_rows
from sightsize.report.text import about
from sightsize.run.planned_print import PlannedPrint

_LABEL = 12
LONG_JOB = 20
"""Above this many prints the dry run gives one line a print."""
Rows = list[tuple[str, str]]
"""Labels and texts."""


def plan_text(planned: PlannedPrint, job: Job) -> str:
    """Return a dry run's account of one print: every computed dimension."""
    rows = _known_rows(planned) if planned.plan is None else _all_rows(planned.plan, job)
    accepted = dict.fromkeys(each.check for each in planned.findings if each.level == "accepted")
    rows += [("accepted", ", ".join(accepted))] if accepted else []
    lines = [_title(planned), *(f"  {label:<{_LABEL}}{text}" for label, text in rows)]
    lines += [f"  {each.sentence()}" for each in planned.findings if each.level != "accepted"]
    return paragraph(lines)


def _known_rows(planned: PlannedPrint) -> Rows:
    """What is known of a print before its pictures are opened, or where they cannot be."""
    file = planned.file
    return [
        row
        for each in file.pictures
        for row in (_sheet_rows if not each.picture.size.is_empty else _empty_rows)(each, file)
    ]


def _all_rows(plan: FilePlan[PicturePlan], job: Job) -> Rows:
    size = about(estimated_bytes(plan))
    notes = dict.fromkeys(note for each in plan.pictures for note in frame_notes(each))
    return [
        *(row for each in plan.pictures for row in _picture_rows(each, plan)),
        ("output", f"{job.output.name}/{plan.name}, {size}"),
        *_master_rows(plan),
        *(("frame", note) for note in notes),
    ]


_CARE = (
    "print: hinge it, put no tape on it; where no mat keeps it off the glass, fit a spacer",
    "glass: wear gloves, use no plate with a chipped edge; check that hook and wall bear the "
    "weight; local rules and the tools' instructions come first",
)
"""The usual caution of framing: common practice, no source."""


def frame_notes(placed: PlacedPicture[AnyPicture]) -> list[str]:
    """Return lines for whoever frames the print: the moulding to buy, and the usual caution."""
    return [] if placed.request.frame is None else [*_moulding(placed.request.frame), *_CARE]


def _moulding(frame: Frame) -> list[str]:
    if frame.rebate_mm is None or frame.moulding_width_mm is None:
        return []
    # Stick length 2 (w + h) + 8 face widths: a published framing formula, seen in secondary text.
    width, height = frame.rebate_mm
    stick = 2 * (width + height) + 8 * frame.moulding_width_mm
    return [
        f"moulding: {mm_text(stick)} mm of stick ({inch_text(stick)} in) makes this frame; keep "
        "hands clear of the mitre saw"
    ]


def _picture_rows(placed: PlacedPicture[PicturePlan], file: FilePlan[PicturePlan]) -> Rows:
    return [*_source_rows(placed), *_sheet_rows(placed, file), *look_rows(placed.picture)]


def _title(planned: PlannedPrint) -> str:
    request = planned.file.request
    where = f" for {request.frame.name}" if request.frame else ""
    copies = f", {request.copies} copies" if request.copies > 1 else ""
    refused = "  REFUSED" if planned.refused else ""
    return f"print {request.number}: {request.look.picture.name}{where}{copies}{refused}"


def _master_rows(file: FilePlan[PicturePlan]) -> Rows:
    if not file.delivery.keep_master:
        return []
    paths = masters_of(Path(file.name), len(file.pictures))
    return [
        ("master", _master_text(path, each.picture))
        for path, each in zip(paths, file.pictures, strict=True)
    ]


def _master_text(path: Path, plan: PicturePlan) -> str:
    bands = "grey" if plan.mono or plan.header.colour == "grey" else "colour"
    box = plan.crop.box
    return f"{path.as_posix()}, {box.width} x {box.height} px, 16-bit {bands}"


def _source_rows(placed: PlacedPicture[PicturePlan]) -> Rows:
    source = placed.picture.look.picture.source.name
    text = f"{source}: {_header_text(placed.picture.header)}"
    return [("source", text), *_crop_rows(placed)]


def _header_text(header: Header) -> str:
    profile = header.profile or ("sRGB (stated by the file)" if header.says_srgb else "no profile")
    width, height = header.upright_px
    upright = f" (upright {width} x {height})" if header.orientation != 1 else ""
    return (
        f"{header.width_px} x {header.height_px} px {header.format}, "
        f"{header.bits}-bit {header.colour}, {profile}, orientation {header.orientation}{upright}"
    )


def _crop_rows(placed: PlacedPicture[PicturePlan]) -> Rows:
    crop, aperture = placed.picture.crop, placed.picture.look.aperture
    scale = (
        f"magnification {float(crop.magnification):.3f}, effective "
        f"{float(crop.effective_ppi):.0f} ppi, sharp from {mm_text(crop.enough_from_mm, 0)} mm, "
        f"viewed from {mm_text(aperture.viewing_distance_mm, 0)} mm"
    )
    clear = [
        f"{each.label} {mm_text(abs(each.distance_mm))} mm "
        f"{'inside' if each.distance_mm >= 0 else 'beyond'} {cutting_edge(placed)}"
        for each in crop.clearances
    ]
    return [("crop", _crop_text(crop)), ("scale", scale), *(("clear", text) for text in clear)]


def _crop_text(crop: CropPlan) -> str:
    box = crop.box
    turned = f", turned {crop.level_degrees:g} degrees" if crop.level_degrees else ""
    return (
        f"{box.width} x {box.height} px at ({box.left}, {box.top}){turned}, "
        f"loses {float(crop.crop_loss):.1%}"
    )


def _empty_rows(placed: PlacedPicture[AnyPicture], file: FilePlan[AnyPicture]) -> Rows:
    """The rows of a print whose opening leaves no picture."""
    return [_aperture_row(placed), ("sheet", _sheet_text(file.sheet.stock))]


def _aperture_row(placed: PlacedPicture[AnyPicture]) -> tuple[str, str]:
    look, size = placed.picture.look, placed.picture.size
    return "aperture", f"{_both_units(size.opening_mm)}, {_edges_text(look.aperture)}"


def _sheet_text(stock: Stock) -> str:
    """A sheet by its size, in the unit that it is sold in, and then by its standard name."""
    width, height = stock.size_px
    listed = "" if stock.media_name.startswith("custom_") else f"; {stock.media_name}"
    return (
        f"{_sheet_size(stock.size_mm, spelled_out=True)}, {width} x {height} px at "
        f"{float(stock.ppi):g} ppi, {stock.surface}{listed}"
    )


def _sheet_size(size: Size, *, spelled_out: bool = False) -> str:
    """A sheet as a lab sells it: ``8x12 in`` where that is exact, else ``210x297 mm``."""
    inches = [inch_text(side) for side in size]
    mm = [mm_text(side, 3) for side in size]
    in_inches = all(side % (MM_PER_INCH / 16) == 0 for side in size)
    (sold, unit), (other, its_unit) = (
        ((inches, "in"), (mm, "mm")) if in_inches else ((mm, "mm"), (inches, "in"))
    )
    text = f"{(' x ' if ' ' in ''.join(sold) else 'x').join(sold)} {unit}"
    return f"{text} ({' x '.join(other)} {its_unit})" if spelled_out else text


def _sheet_rows(placed: PlacedPicture[AnyPicture], file: FilePlan[AnyPicture]) -> Rows:
    size, place = placed.picture.size, placed.place
    box, px, mm = place.box, place.margins_px, place.margins_mm
    rows = [
        _aperture_row(placed),
        ("image", f"{_both_units(size.image_mm)}, {size.image_px[0]} x {size.image_px[1]} px"),
        ("sheet", _sheet_text(file.sheet.stock)),
        (
            "offset",
            f"left {box.left}, top {box.top} px = {mm_text(mm.left)}, {mm_text(mm.top)} mm",
        ),
        (
            "margins",
            f"top {px.top}, right {px.right}, bottom {px.bottom}, left {px.left} px = "
            f"{mm_text(mm.top)}, {mm_text(mm.right)}, {mm_text(mm.bottom)}, {mm_text(mm.left)} mm",
        ),
        (
            "off centre",
            f"{mm_text(place.residual_mm[0], 2)} mm across, "
            f"{mm_text(place.residual_mm[1], 2)} mm down",
        ),
    ]
    return rows + _rebate_rows(placed)


def _edges_text(aperture: Aperture) -> str:
    edges, sign = aperture.edges_mm
    word = "overlap" if sign == 1 else "reveal"
    lengths = {edge: mm_text(length, 3) for edge, length in asdict(edges).items()}
    if len(set(lengths.values())) == 1:
        return f"{word} {lengths['top']} mm"
    return f"{word} {', '.join(f'{edge} {length}' for edge, length in lengths.items())} mm"


def _rebate_rows(placed: PlacedPicture[AnyPicture]) -> Rows:
    frame, size = placed.request.frame, placed.picture.size
    if frame is None or frame.rebate_mm is None:
        return []
    room = rebate_room(placed.place, size, placed.picture.look.aperture, frame)
    free = ", ".join(f"{edge} {mm_text(length)}" for edge, length in room.items())
    return [("rebate", f"{_both_units(frame.rebate_mm)}, free: {free} mm")]


def _both_units(size: Size) -> str:
    width, height = size
    return (
        f"{mm_text(width, 3)} x {mm_text(height, 3)} mm "
        f"({inch_text(width)} x {inch_text(height)} in)"
    )


def plan_line(planned: PlannedPrint) -> str:
    """Return a dry run's account of one print in one line, for long jobs."""
    request, plan = planned.file.request, planned.plan
    counts = Counter(finding.level for finding in planned.findings)
    marks = " ".join(f"{counts[each]} {each}" for each in get_args(Level)[::-1] if counts[each])
    if plan is None:
        return f"{request.number:>5} {planned.name}  {_why_no_plan(planned)}  {marks}".rstrip()
    pictures = ", ".join(_line_of(each) for each in plan.pictures)
    across, down = plan.sheet.stock.size_px
    crops = "".join(
        f"  loses {float(each.picture.crop.crop_loss):.1%}, "
        f"{float(each.picture.crop.effective_ppi):.0f} ppi"
        for each in plan.pictures
    )
    head = f"{request.number:>5} {planned.name}  {pictures} on {across}x{down}"
    return f"{head}{crops}  {marks}".rstrip()


def _why_no_plan(planned: PlannedPrint) -> str:
    if any(each.picture.size.is_empty for each in planned.file.pictures):
        return "no picture left in the opening"
    return "the picture cannot be opened"


def _line_of(placed: PlacedPicture[PicturePlan]) -> str:
    box = placed.place.box
    return f"{box.width}x{box.height} at ({box.left},{box.top})"


def totals_text(prints: Sequence[PlannedPrint]) -> str:
    """Return the totals of a dry run."""
    plans = [each.plan for each in prints if each.plan is not None and not each.refused]
    sheets: Counter[str] = Counter()
    for plan in plans:
        sheets[_stock_name(plan.sheet.stock)] += plan.copies
    refused = sum(each.refused for each in prints)
    size = about(sum(estimated_bytes(plan) for plan in plans))
    copies = sum(sheets.values())
    total = f"{count_text(len(plans), 'file')}, {count_text(copies, 'sheet')}"
    lines = [f"{total}, {size}; {refused} refused"]
    lines += [f"  {count} x {name}" for name, count in sorted(sheets.items())]
    return paragraph(lines)


def _stock_name(stock: Stock) -> str:
    """A sheet to order, whichever way round it is used."""
    short, long = sorted(stock.size_mm)
    listed = "" if stock.media_name.startswith("custom_") else f" ({stock.media_name})"
    return f"{_sheet_size((short, long))} {stock.surface}{listed}"

"""A dry run's account of prints: every computed dimension."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path

from sightsize.base.units import inch_text, mm_text
from sightsize.checks.picture import cutting_edge
from sightsize.model.geometry import Size
from sightsize.model.header import Header
from sightsize.model.job import Job
from sightsize.model.settings import Aperture
from sightsize.plan.crop import CropPlan
from sightsize.plan.estimates import estimated_bytes
from sightsize.plan.file import FilePlan, PlacedPicture
from sightsize.plan.file_names import masters_of
from sightsize.plan.picture import AnyPicture, PicturePlan
from sightsize.plan.sheet import rebate_room
from sightsize.report.look import look_rows
from sightsize.report.text import about, count_text
from sightsize.run.planned import PlannedPrint

_LABEL = 12
LONG_JOB = 20
"""Above this many prints the dry run gives one line a print."""


def plan_text(planned: PlannedPrint, job: Job) -> str:
    """Return a dry run's account of one print: every computed dimension."""
    file, plan = planned.file, planned.plan
    if plan is None:
        return "\n".join([_title(planned), *(f"  {each.sentence()}" for each in planned.findings)])
    rows = [row for each in plan.pictures for row in _picture_rows(each, plan)]
    rows += [
        ("output", f"{job.output.name}/{file.name}, {about(estimated_bytes(file))}"),
        *_master_rows(plan),
    ]
    lines = [_title(planned), *(f"  {label:<{_LABEL}}{text}" for label, text in rows)]
    lines += [
        f"  {'frame':<{_LABEL}}{note}" for each in plan.pictures for note in frame_notes(each)
    ]
    lines += [f"  {each.sentence()}" for each in planned.findings]
    return "\n".join(lines)


def frame_notes(placed: PlacedPicture[AnyPicture]) -> list[str]:
    """Return lines about the frame for whoever frames the print, with the usual caution."""
    frame = placed.request.frame
    if frame is None or frame.rebate_mm is None or frame.moulding_width_mm is None:
        return []
    # Stick length 2 (w + h) + 8 face widths: a published framing formula, seen in secondary text.
    width, height = frame.rebate_mm
    stick = 2 * (width + height) + 8 * frame.moulding_width_mm
    return [
        f"moulding: {mm_text(stick)} mm of stick ({inch_text(stick)} in) cuts this frame; mitre "
        "saws and glass cut, follow the tool's and your local safety rules"
    ]


def _picture_rows(
    placed: PlacedPicture[PicturePlan], file: FilePlan[PicturePlan]
) -> list[tuple[str, str]]:
    return [*_source_rows(placed), *_sheet_rows(placed, file), *look_rows(placed.picture)]


def _title(planned: PlannedPrint) -> str:
    request = planned.file.request
    where = f" for {request.frame.name}" if request.frame else ""
    copies = f", {request.copies} copies" if request.copies > 1 else ""
    refused = "  REFUSED" if planned.refused else ""
    return f"print {request.number}: {request.look.picture.name}{where}{copies}{refused}"


def _master_rows(file: FilePlan[PicturePlan]) -> list[tuple[str, str]]:
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


def _source_rows(placed: PlacedPicture[PicturePlan]) -> list[tuple[str, str]]:
    source = placed.picture.look.picture.source.name
    text = f"{source}: {_header_text(placed.picture.header)}"
    return [("source", text), *_crop_rows(placed)]


def _header_text(header: Header) -> str:
    profile = header.profile or ("sRGB by its own word" if header.says_srgb else "no profile")
    width, height = header.upright_px
    upright = f" (upright {width} x {height})" if header.orientation != 1 else ""
    return (
        f"{header.width_px} x {header.height_px} px {header.format}, "
        f"{header.bits}-bit {header.colour}, {profile}, orientation {header.orientation}{upright}"
    )


def _crop_rows(placed: PlacedPicture[PicturePlan]) -> list[tuple[str, str]]:
    crop, aperture = placed.picture.crop, placed.picture.look.aperture
    scale = (
        f"magnification {float(crop.magnification):.3f}, effective "
        f"{float(crop.effective_ppi):.0f} ppi, fine from {mm_text(crop.enough_from_mm, 0)} mm, "
        f"looked at from {mm_text(aperture.viewing_distance_mm, 0)} mm"
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


def _sheet_rows(
    placed: PlacedPicture[PicturePlan], file: FilePlan[PicturePlan]
) -> list[tuple[str, str]]:
    stock, size, place = file.sheet.stock, placed.picture.size, placed.place
    box, px, mm = place.box, place.margins_px, place.margins_mm
    aperture = placed.picture.look.aperture
    rows = [
        ("aperture", f"{_both_units(size.opening_mm)}, {_edges_text(aperture)}"),
        ("image", f"{_both_units(size.image_mm)}, {size.image_px[0]} x {size.image_px[1]} px"),
        (
            "sheet",
            f"{_both_units(stock.size_mm)}, {stock.size_px[0]} x {stock.size_px[1]} px at "
            f"{float(stock.ppi):g} ppi, {stock.media_name}, {stock.surface}",
        ),
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
            "residual",
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


def _rebate_rows(placed: PlacedPicture[PicturePlan]) -> list[tuple[str, str]]:
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
    marks = " ".join(
        f"{counts[level]} {level}" for level in ("refuse", "warn", "note") if counts[level]
    )
    if plan is None:
        return f"{request.number:>5} {planned.name}  not readable  {marks}"
    pictures = ", ".join(_line_of(each) for each in plan.pictures)
    across, down = plan.sheet.stock.size_px
    crops = "".join(
        f"  {float(each.picture.crop.crop_loss):.1%} off "
        f"{float(each.picture.crop.effective_ppi):.0f} ppi"
        for each in plan.pictures
    )
    head = f"{request.number:>5} {planned.name}  {pictures} on {across}x{down}"
    return f"{head}{crops}  {marks}".rstrip()


def _line_of(placed: PlacedPicture[PicturePlan]) -> str:
    box = placed.place.box
    return f"{box.width}x{box.height} at ({box.left},{box.top})"


def totals_text(prints: Sequence[PlannedPrint]) -> str:
    """Return the totals of a dry run."""
    plans = [each.plan for each in prints if each.plan is not None and not each.refused]
    sheets: Counter[str] = Counter()
    for plan in plans:
        sheets[f"{plan.sheet.stock.media_name} {plan.sheet.stock.surface}"] += plan.copies
    refused = sum(each.refused for each in prints)
    size = about(sum(estimated_bytes(plan) for plan in plans))
    copies = sum(sheets.values())
    total = f"{count_text(len(plans), 'file')}, {count_text(copies, 'sheet')}"
    lines = [f"{total}, {size}; {refused} refused"]
    lines += [f"  {count} x {name}" for name, count in sorted(sheets.items())]
    return "\n".join(lines)

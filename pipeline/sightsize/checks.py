"""The checks: pure rules over a plan, each with an id, a threshold and a sentence.

A rule yields at most a few findings. A stop refuses its print unless the job accepts the rule's id
in ``checks.accept``; then it is shown as a note. With ``checks.strict`` every warning is a stop.
What cannot be printed at all, or is beyond the job's limits, stays a stop whatever it accepts.
"""

from collections.abc import Callable, Iterator
from dataclasses import replace
from fractions import Fraction
from functools import cache
from math import ceil

from sightsize.crop import ACUITY_MM_PPI
from sightsize.findings import Finding, Level, Remark
from sightsize.header import RAW
from sightsize.job import EDGES, Edges
from sightsize.layout import least_margins, rebate_room, short_margins
from sightsize.plan import Plan
from sightsize.retouching import face_of
from sightsize.units import inch_text, mm_text
from sightsize.white_balance import AS_SHOT

Rule = Callable[[Plan], Iterator[Finding]]

_RULES: dict[str, tuple[Rule, str, str, tuple[Level, ...]]] = {}
_NORMAL_DISTANCE_MM = 300
_LARGEST_MARK = 0.03
_LEAST_MARK_PX = 0.8
_PERMANENT_RADIUS = 0.015
_PERMANENT_FACES = 3
"""Radius as a share of the face, and pictures with a mark at one place: common practice."""

_ONE_CHANNEL = 0.85
_INSET_REVEAL_MM = 6
_MUCH_TURNED_DEGREES = 10
_MOST_OVERLAP_MM = 10
_FILE_PPI = (100, 1440)
"""What lies beyond these is a slip more often than not: common practice."""
_NEVER_ACCEPTED = ("image-size", "off-sheet", "mark-size", "donor", "ink-profile", "source-size")

_NOMINAL_INCHES = (
    (4, 6),
    (5, 7),
    (8, 10),
    (8, 12),
    (11, 14),
    (12, 16),
    (16, 20),
    (20, 24),
    (24, 36),
)
_NOMINAL_CM = ((10, 15), (13, 18), (18, 24), (20, 30), (24, 30), (30, 40), (40, 50), (50, 70))


_LATE: dict[str, tuple[str, tuple[Level, ...]]] = {
    "clipping": ("bare white or solid black in the finished print", ("warn", "stop")),
    "gamut": ("colours that the output profile cannot show", ("warn",)),
}
"""Checks that can only be made on the finished picture: what they guard against, how they speak."""


def check_ids() -> frozenset[str]:
    """Return the ids of all checks, as ``checks.accept`` may name them."""
    return frozenset({*_RULES, *_LATE})


def check_help() -> dict[str, str]:
    """Return each check's id and what it guards against."""
    late = {name: text for name, (text, _) in _LATE.items()}
    return {name: text for name, (_, _, text, _) in _RULES.items()} | late


def check_levels(name: str) -> tuple[Level, ...]:
    """Return the levels at which a check speaks when a job changes none."""
    return _RULES[name][3] if name in _RULES else _LATE[name][1]


def is_acceptable(name: str) -> bool:
    """Return whether ``checks.accept`` turns a check's stop into a note."""
    return name not in _NEVER_ACCEPTED


def run_checks(plan: Plan, job_file: str) -> list[Finding]:
    """Return every finding about a plan, placed where the job set what it is about."""
    findings = []
    for name, (rule, key, _, _) in _RULES.items():
        origin = plan.request.origin(key)
        for finding in rule(plan):
            placed = replace(finding, check=name).at(
                job_file, origin.line, origin.column, origin.key
            )
            findings.append(_weighed(placed, plan))
    return findings


def remark_finding(remark: Remark, plan: Plan) -> Finding:
    """Return what was found on a finished picture, with the level that the job gives it."""
    finding = Finding(
        level=remark.level, check=remark.check, message=remark.message, remedy=remark.remedy
    )
    return _weighed(finding, plan)


def _weighed(finding: Finding, plan: Plan) -> Finding:
    thresholds = plan.request.thresholds
    level = finding.level
    if level == "warn" and thresholds.strict:
        level = "stop"
    accepted = finding.check in thresholds.accept and is_acceptable(finding.check)
    if level == "stop" and accepted:
        return replace(finding, level="note", message=f"accepted: {finding.message}", remedy="")
    return replace(finding, level=level)


def _rule(name: str, key: str, text: str, *levels: Level) -> Callable[[Rule], Rule]:
    """Register a rule: its id, the key it is about, what it guards against, how it speaks."""

    def register(rule: Rule) -> Rule:
        _RULES[name] = (rule, key, text, levels)
        return rule

    return register


def _say(level: Level, message: str, remedy: str = "") -> Finding:
    return Finding(level=level, check="", message=message, remedy=remedy)


def _apart(length: Fraction, limit: Fraction) -> tuple[str, str]:
    """Return both lengths in mm as texts with no more places than it takes to tell them apart."""
    for places in (1, 2, 3):
        texts = mm_text(length, places), mm_text(limit, places)
        if texts[0] != texts[1]:
            break
    return texts


def _at_least(length: Fraction) -> str:
    """Return a length in mm as a text that is never less, to a tenth."""
    return mm_text(Fraction(ceil(length * 10), 10))


# The opening.


@_rule(
    "unit-slip",
    "aperture.width",
    "an opening of a size no frame has, so a slip of the unit",
    "stop",
)
def _unit_slip(plan: Plan) -> Iterator[Finding]:
    for side, length in zip(("wide", "high"), plan.sheet.opening_mm, strict=True):
        if not 40 <= length <= 1500:
            yield _say(
                "stop",
                f"an opening {mm_text(length)} mm {side} is outside 40 to 1500 mm.",
                "Was it measured in another unit? Correct it, or accept unit-slip.",
            )


@_rule(
    "nominal-size",
    "aperture.width",
    "a frame's label size in place of its measured opening",
    "warn",
)
def _nominal_size(plan: Plan) -> Iterator[Finding]:
    aperture = plan.request.aperture
    measured = sorted((aperture.width_mm, aperture.height_mm))
    for label, sides in _nominal_sizes():
        if all(abs(a - b) <= 1 for a, b in zip(measured, sides, strict=True)):
            yield _say(
                "warn",
                f"the opening is within 1 mm of the nominal {label}: is it the label's size?",
                "Measure the opening itself: what is sold as 10x8 opens to about 9 5/8 x 7 1/4 in.",
            )


@cache
def _nominal_sizes() -> list[tuple[str, tuple[Fraction, Fraction]]]:
    inches = [
        (f"{long}x{short} in", (Fraction(short * 254, 10), Fraction(long * 254, 10)))
        for short, long in _NOMINAL_INCHES
    ]
    return inches + [
        (f"{long}x{short} cm", (Fraction(short * 10), Fraction(long * 10)))
        for short, long in _NOMINAL_CM
    ]


@_rule(
    "overlap",
    "aperture.overlap",
    "too little picture behind the mat to hide cutting and placing, or a slip of its unit",
    "warn",
    "stop",
)
def _overlap(plan: Plan) -> Iterator[Finding]:
    edges, thresholds = plan.request.aperture.overlap_mm, plan.request.thresholds
    if edges is None:
        return
    where, least = _least(edges)
    if least < thresholds.overlap_stop_mm:
        found, wanted = _apart(least, thresholds.overlap_stop_mm)
        yield _say(
            "stop",
            f"only {found} mm of picture lies behind the mat {where}; under {wanted} mm, errors in "
            "cutting, the lab's placing and hinging let white show.",
            "3 mm is usual.",
        )
    elif least < thresholds.overlap_warn_mm:
        found, _ = _apart(least, thresholds.overlap_warn_mm)
        yield _say(
            "warn", f"only {found} mm of picture lies behind the mat {where}.", "3 mm is usual."
        )
    most = max(getattr(edges, edge) for edge in EDGES)
    if most > _MOST_OVERLAP_MM:
        yield _say(
            "warn",
            f"{mm_text(most)} mm of picture would lie behind the mat.",
            "Is the unit right? 3 mm is usual.",
        )


@_rule("reveal", "aperture.reveal", "a white border so thin that every error shows", "warn")
def _reveal(plan: Plan) -> Iterator[Finding]:
    edges = plan.request.aperture.reveal_mm
    if edges is None:
        return
    where, least = _least(edges)
    wanted = plan.request.thresholds.reveal_warn_mm
    if least < wanted:
        yield _say(
            "warn",
            f"a reveal of {_apart(least, wanted)[0]} mm {where} shows every placing error.",
            "6 mm, and 8 to 10 mm at the bottom, is usual.",
        )


def _least(edges: Edges) -> tuple[str, Fraction]:
    """Where the least of four lengths is, in words, and how long it is."""
    lengths: dict[str, Fraction] = {edge: getattr(edges, edge) for edge in EDGES}
    least = min(lengths.values())
    where = [edge for edge, length in lengths.items() if length == least]
    return "at each edge" if len(where) == 4 else f"at the {' and '.join(where)}", least


@_rule("image-size", "aperture.width", "a reveal that leaves no picture", "stop")
def _image_size(plan: Plan) -> Iterator[Finding]:
    if min(plan.sheet.image_mm) <= 0 or min(plan.sheet.image_px) < 1:
        yield _say(
            "stop",
            "no picture is left inside the opening.",
            "Make the reveal smaller, or correct the opening.",
        )


# The sheet.


@_rule("off-sheet", "paper.size", "a picture that runs off its sheet", "stop")
def _off_sheet(plan: Plan) -> Iterator[Finding]:
    over = [
        f"{_apart(-margin, Fraction(0))[0]} mm at the {edge}"
        for edge, margin, _ in short_margins(plan.sheet, plan.request.aperture, plan.request.paper)
        if margin < 0
    ]
    if over:
        yield _say(
            "stop",
            f"the picture runs off the sheet by {' and '.join(over)}.",
            _larger_paper(plan),
        )


@_rule(
    "sheet-margin", "paper.size", "white overhang too narrow to hinge or to handle", "warn", "stop"
)
def _sheet_margin(plan: Plan) -> Iterator[Finding]:
    aperture, paper = plan.request.aperture, plan.request.paper
    for edge, margin, least in short_margins(plan.sheet, aperture, paper):
        if margin < 0:
            continue
        found, wanted = _apart(margin, least)
        text = f"{edge} margin {found} < {wanted} mm"
        if aperture.reveal_mm and margin < getattr(aperture.reveal_mm, edge):
            yield _say(
                "stop", f"{text}: the sheet's edge shows in the opening.", _larger_paper(plan)
            )
        elif edge == paper.hinge_edge:
            yield _say("stop", f"{text}: too little white to hinge.", _larger_paper(plan))
        else:
            yield _say("warn", f"{text}: little white to hold and to tape.", _larger_paper(plan))


def _larger_paper(plan: Plan) -> str:
    """The smallest sheet that a centred picture stands well on."""
    (width, height), paper = plan.sheet.image_mm, plan.request.paper
    least = least_margins(plan.request.aperture, paper)
    width += 2 * max(least.left, least.right)
    height += 2 * max(least.top, least.bottom)
    size = f"at least {_at_least(width)} x {_at_least(height)} mm"
    if paper.placement_mm is not None:
        return f"Move paper.placement, or centre the picture on a sheet of {size}."
    return f"The sheet should be {size}."


@_rule("rebate", "paper.size", "a sheet that does not go into the frame", "stop")
def _rebate(plan: Plan) -> Iterator[Finding]:
    room_at = rebate_room(plan.sheet, plan.request.aperture, plan.request.frame)
    for edge, free in room_at.items():
        clearance = plan.request.thresholds.rebate_clearance_mm
        if free < clearance:
            room, wanted = _apart(free, clearance)
            yield _say(
                "stop",
                f"only {room} mm stay free between sheet and rebate at the {edge}; "
                f"{wanted} mm should."
                if free >= 0
                else f"the sheet stands {_apart(-free, Fraction(0))[0]} mm beyond the rebate at "
                f"the {edge}.",
                f"Choose a smaller sheet, or trim at least {_at_least(clearance - free)} mm there "
                "(a mat knife is sharp: cut away from the hand, along a steel rule) and accept "
                "rebate.",
            )


# The picture.


@_rule("source-size", "picture.source", "a source larger than the job allows to be opened", "stop")
def _source_size(plan: Plan) -> Iterator[Finding]:
    if plan.header is None:
        return
    megapixels = plan.header.width_px * plan.header.height_px / 1e6
    limit = plan.request.limits.source_megapixels
    if megapixels > limit:
        yield _say(
            "stop",
            f"{plan.request.picture.source.name} has {megapixels:,.2f} megapixels; the limit is "
            f"{limit:,g}.",
            "Raise limits.source_megapixels if the picture is as large as it says.",
        )


@_rule(
    "no-profile", "picture.source", "a picture whose colours mean nothing without a profile", "stop"
)
def _no_profile(plan: Plan) -> Iterator[Finding]:
    header = plan.header
    if header is None or header.profile or header.says_srgb or plan.request.picture.assume_profile:
        return
    if header.colour != "cmyk":
        yield _say(
            "stop",
            "no ICC profile is embedded and the file does not say that it is sRGB.",
            'Give assume_profile = "srgb" for the picture if you know it, or accept no-profile.',
        )


@_rule("ink-profile", "picture.source", "ink numbers without the profile that they mean", "stop")
def _ink_profile(plan: Plan) -> Iterator[Finding]:
    header = plan.header
    if header is None or header.colour != "cmyk" or header.profile:
        return
    if not plan.request.picture.assume_profile:
        yield _say(
            "stop",
            "CMYK without profile: ink numbers alone are no colour.",
            "Ask for the file with its profile, or give assume_profile for the picture.",
        )


@_rule("alpha", "picture.source", "transparency, which paper does not have", "warn")
def _alpha(plan: Plan) -> Iterator[Finding]:
    if plan.header is not None and plan.header.has_alpha:
        yield _say("warn", "the picture has transparency; it is laid onto white.")


@_rule(
    "crop-loss",
    "aperture.width",
    "a crop that cuts away more than was meant",
    "note",
    "warn",
    "stop",
)
def _crop_loss(plan: Plan) -> Iterator[Finding]:
    if plan.crop is None:
        return
    thresholds, loss = plan.request.thresholds, float(plan.crop.crop_loss)
    text = f"the crop loses {loss:.1%} of the picture."
    if plan.request.picture.crop is not None:
        return
    if loss > thresholds.crop_loss_stop:
        yield _say("stop", text, " ".join(_instead_of_cropping(plan)))
    elif loss > thresholds.crop_loss_warn:
        remedies = list(_swapped_sides(plan))
        if plan.request.picture.focus is None:
            remedies.append("Give the picture a focus to keep.")
        yield _say("warn", text, " ".join(remedies))
    elif loss > thresholds.crop_loss_note:
        yield _say("note", text)


def _instead_of_cropping(plan: Plan) -> Iterator[str]:
    """What could be done when picture and opening do not match: swap, inset, or say the crop."""
    yield from _swapped_sides(plan)
    degrees = plan.request.picture.straighten_degrees
    if abs(degrees) > _MUCH_TURNED_DEGREES:
        yield f"Turning by {degrees:g} degrees takes most of it: straighten by less."
    elif min(plan.sheet.opening_mm) > 2 * _INSET_REVEAL_MM:
        yield _inset_offer(plan)
    yield "Or give the picture an explicit crop, or accept crop-loss."


def _swapped_sides(plan: Plan) -> Iterator[str]:
    """A question where the picture lies along the other side than the opening."""
    assert plan.header is not None
    (width, height), upright = plan.sheet.opening_mm, plan.header.upright_px
    if (width - height) * (upright[0] - upright[1]) < 0:
        yield (
            f"Are width and height swapped (opening {mm_text(width)} x {mm_text(height)} mm, "
            f"picture {upright[0]} x {upright[1]} px)?"
        )


def _inset_offer(plan: Plan) -> str:
    """The whole picture inside the opening, with the usual reveal on the sides it comes near."""
    assert plan.header is not None
    width, height = plan.sheet.opening_mm
    ratio = Fraction(*plan.header.upright_px)
    reveals = 2 * _INSET_REVEAL_MM
    inset_width = min(width - reveals, (height - reveals) * ratio)
    inset_height = inset_width / ratio
    aside, above = (width - inset_width) / 2, (height - inset_height) / 2
    return (
        f'To show it whole: aperture.reveal = {{ left = "{mm_text(aside, 2)} mm", '
        f'right = "{mm_text(aside, 2)} mm", top = "{mm_text(above, 2)} mm", '
        f'bottom = "{mm_text(above, 2)} mm" }} makes a picture of {mm_text(inset_width, 2)} x '
        f"{mm_text(inset_height, 2)} mm with {mm_text(above)} mm of white above and below and "
        f"{mm_text(aside)} mm at the sides."
    )


@_rule(
    "resolution",
    "delivery.resolution",
    "too few pixels for the size and the viewing distance",
    "note",
    "warn",
    "stop",
)
def _resolution(plan: Plan) -> Iterator[Finding]:
    if plan.crop is None:
        return
    thresholds, file_ppi = plan.request.thresholds, plan.request.delivery.ppi
    detail = plan.crop.effective_ppi
    # At the resolution that labs usually ask for, the file is not what limits a print.
    limited = file_ppi < min(detail, thresholds.resolution_note_ppi)
    detail = file_ppi if limited else detail
    distance = plan.request.aperture.viewing_distance_mm
    seen = detail * distance / _NORMAL_DISTANCE_MM
    text = (
        f"{float(detail):.0f} ppi of real detail is fine from "
        f"{mm_text(ACUITY_MM_PPI / detail, 0)} mm; this print is looked at from "
        f"{mm_text(distance, 0)} mm."
    )
    remedy = "Print smaller, crop less, find a larger source, or correct aperture.viewing_distance."
    if limited:
        remedy = "The file holds no more: raise delivery.resolution, if the lab takes it."
    if seen < thresholds.resolution_stop_ppi:
        yield _say("stop", text, remedy)
    elif seen < thresholds.resolution_warn_ppi:
        yield _say("warn", text, remedy)
    elif min(seen, detail) < thresholds.resolution_note_ppi:
        yield _say("note", text)


@_rule(
    "file-resolution",
    "delivery.resolution",
    "a resolution that no lab asks for, so a slip in writing",
    "warn",
)
def _file_resolution(plan: Plan) -> Iterator[Finding]:
    least, most = _FILE_PPI
    ppi = float(plan.request.delivery.ppi)
    if not least <= ppi <= most:
        yield _say(
            "warn",
            f"a file of {ppi:g} ppi; labs ask for {least} to {most}, most of them for 300.",
            "Write the resolution that your lab names.",
        )


@_rule("keep-clear", "picture.keep_clear", "a face, a hand or lettering behind the mat", "stop")
def _keep_clear(plan: Plan) -> Iterator[Finding]:
    if plan.crop is None:
        return
    for part in plan.crop.clearances:
        if part.distance_mm < part.wanted_mm:
            found, wanted = _apart(part.distance_mm, part.wanted_mm)
            edge = cutting_edge(plan)
            yield _say(
                "stop",
                f"{part.label} stands {found} mm inside {edge}; {wanted} mm are wanted."
                if part.distance_mm >= 0
                else f"{part.label} runs {_apart(-part.distance_mm, Fraction(0))[0]} mm beyond "
                f"{edge}.",
                "Move the focus, crop less, or accept keep-clear.",
            )


@_rule("mark-size", "picture.spotting", "a mark too large to be spotted out unseen", "stop")
def _mark_size(plan: Plan) -> Iterator[Finding]:
    if plan.header is None or plan.crop is None:
        return
    limit = _LARGEST_MARK * plan.header.upright_px[0]
    for mark in plan.marks:
        if mark.required and mark.radius_px > limit:
            yield _say(
                "stop",
                f"{mark.label} reaches {mark.radius_px:.3g} px from its middle; at most "
                f"{_LARGEST_MARK:.0%} of the width, {limit:.3g} px, are spotted out.",
                "Make it smaller, or clear it in several marks.",
            )


@_rule("tiny-mark", "picture.spotting", "a mark too small to cover a pixel", "warn")
def _tiny_mark(plan: Plan) -> Iterator[Finding]:
    for mark in plan.marks:
        if mark.required and mark.radius_px < _LEAST_MARK_PX:
            yield _say(
                "warn",
                f"{mark.label} reaches {mark.radius_px:.2g} px from its middle and clears nothing.",
                "Make its radius or width larger.",
            )


@_rule("donor", "picture.spotting", "a donor that has no clean picture to give", "stop")
def _donor(plan: Plan) -> Iterator[Finding]:
    if plan.header is None or all(mark.donor is None for mark in plan.marks):
        return
    from sightsize.marks import donor_faults  # and numpy, which few jobs need for their checks

    for mark, fault in donor_faults(plan.marks, plan.header.upright_px):
        yield _say("stop", f"{mark.label} cannot be cleared: {fault}.", "Name another donor.")


@_rule("not-raw", "picture.source", "a raw development of a file that is not raw", "warn")
def _not_raw(plan: Plan) -> Iterator[Finding]:
    if (
        plan.header is not None
        and plan.header.format != RAW
        and plan.request.picture.raw != AS_SHOT
    ):
        yield _say(
            "warn",
            f"{plan.request.picture.source.name} is not a raw camera file; its raw table does "
            "nothing.",
            "Remove the table, or name the raw file.",
        )


@_rule(
    "permanent-mark", "picture.spotting", "a mole or a scar taken away as if it were a spot", "warn"
)
def _permanent_mark(plan: Plan) -> Iterator[Finding]:
    if plan.header is None or plan.crop is None:
        return
    picture, marks = plan.request.picture, [mark for mark in plan.marks if mark.required]
    for number, (spot, mark) in enumerate(zip(picture.spotting, marks, strict=True), start=1):
        face = face_of(spot, picture)
        if face is None or spot.strength < 1:
            continue
        share = mark.radius_px / float(face.box.width * plan.header.upright_px[0])
        if share > _PERMANENT_RADIUS or spot.in_faces >= _PERMANENT_FACES:
            why = (
                f"its radius is {share:.1%} of the face's width"
                if share > _PERMANENT_RADIUS
                else f"a mark lies at the same place in {spot.in_faces} pictures"
            )
            yield _say(
                "warn",
                f"spot {number} on {face.label} may be permanent: {why}.",
                "Ask before taking it away; a strength of 0.5 only reduces it.",
            )


def cutting_edge(plan: Plan) -> str:
    """Return what cuts the picture off for the eye: the mat, or with a reveal its own edge."""
    return "the opening's edge" if plan.request.aperture.overlap_mm else "the picture's edge"


@_rule("one-channel", "mono.filter", "black-and-white from one noisy channel", "warn")
def _one_channel(plan: Plan) -> Iterator[Finding]:
    mono = plan.request.mono
    if mono is None or plan.mono is None or plan.header is None or plan.header.colour == "grey":
        return
    heaviest = max(plan.mono.weights)
    if heaviest > _ONE_CHANNEL:
        name = ("red", "green", "blue")[plan.mono.weights.index(heaviest)]
        yield _say(
            "warn",
            f"{heaviest:.0%} of the tone comes from {name} alone: expect its noise and blotchy "
            "skin.",
            "Choose another response."
            if mono.filter == "none"
            else "Lower filter_strength or choose a milder filter.",
        )


def frame_notes(plan: Plan) -> list[str]:
    """Return lines about the frame for whoever frames the print, with the usual caution."""
    frame = plan.request.frame
    if frame is None or frame.rebate_mm is None or frame.moulding_width_mm is None:
        return []
    # Stick length 2 (w + h) + 8 face widths: a published framing formula, seen in secondary text.
    width, height = frame.rebate_mm
    stick = 2 * (width + height) + 8 * frame.moulding_width_mm
    return [
        f"moulding: {mm_text(stick)} mm of stick ({inch_text(stick)} in) cuts this frame; mitre "
        "saws and glass cut, follow the tool's and your local safety rules"
    ]

"""Each check on both sides of its threshold, with the sentence a photographer reads.

The thresholds themselves are common practice of the trade, no source.
"""

import re
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from plans import (
    BOATBUILDER_HANDS,
    CATCH_FOUR,
    COX_MEGAPHONE,
    CUP_ON_SLIPWAY,
    DAWN_MIST_REACH,
    LAUNCH_ROOM,
    LOBBY_OAK,
    TROPHY_CABINET,
    file_of,
    findings,
    header,
    laid,
    planned_print,
)
from sightsize.base.findings import Finding
from sightsize.checks.run import all_checks, check_ids
from sightsize.model.geometry import Box
from sightsize.model.header import Header
from sightsize.plan.layout import rebate_room
from sightsize.report.dry_run import frame_notes

PRINT_LOBBY_OAK = '[[prints]]\nsource = "cox-megaphone.jpg"\nframe = "lobby-oak"\n'
PRINT_LAUNCH_ROOM = '[[prints]]\nsource = "cox-megaphone.jpg"\nframe = "launch-room"\n'


def job(
    aperture: str = 'width = "143 mm"\nheight = "198 mm"',
    paper: str = 'size = "10x8 in"',
    checks: str = "",
    rest: str = "",
) -> str:
    """The trophy cabinet's job with any of its tables changed."""
    tables = f"[aperture]\n{aperture}\n[paper]\n{paper}\n[checks]\n{checks}\n"
    return tables + rest


def picture_print(keys: str) -> str:
    """A print of a picture with a table of its own."""
    return f'[pictures.cox]\nsource = "cox.jpg"\n{keys}\n[[prints]]\npicture = "cox"\n'


def about(check: str, toml: str, picture: Header | None = None) -> list[Finding]:
    return [each for each in findings(toml, picture) if each.check == check]


def only(check: str, toml: str, picture: Header | None = None) -> Finding:
    (finding,) = about(check, toml, picture)
    return finding


def level(check: str, toml: str, picture: Header | None = None) -> str:
    """The level of a check's only finding, empty when it has none."""
    found = about(check, toml, picture)
    assert len(found) <= 1
    return found[0].level if found else ""


def test_a_good_print_has_nothing_to_say() -> None:
    assert findings(LOBBY_OAK + PRINT_LOBBY_OAK, header(3600, 4800)) == []


def test_every_check_says_what_it_guards_against() -> None:
    guarded = {name: each.guards_against for name, each in all_checks().items()}
    assert set(guarded) == check_ids()
    assert all(guarded.values())


# Levels, acceptance and places.


def test_strict_makes_a_stop_of_a_warning() -> None:
    thin = 'width = "143 mm"\nheight = "198 mm"\noverlap = "1.5 mm"'
    assert level("overlap", job(thin)) == "warn"
    assert level("overlap", job(thin, checks="strict = true")) == "refuse"


def test_what_the_job_accepts_is_neither_a_refusal_nor_a_warning() -> None:
    thin = 'width = "143 mm"\nheight = "198 mm"\noverlap = "1 mm"'
    accepted = only("overlap", job(thin, checks='accept = ["overlap"]'))
    assert accepted.level == "accepted"
    assert accepted.message.startswith("only 1 mm of picture is hidden behind the mat")
    assert accepted.remedy == ""
    assert level("overlap", job(thin, checks='accept = ["reveal"]')) == "refuse"


def test_acceptance_holds_under_strict_and_for_warnings_and_notes() -> None:
    thin = 'width = "143 mm"\nheight = "198 mm"\noverlap = "1.5 mm"'
    assert level("overlap", job(thin)) == "warn"
    assert level("overlap", job(thin, checks='accept = ["overlap"]')) == "accepted"
    assert level("overlap", job(thin, checks='strict = true\naccept = ["overlap"]')) == "accepted"
    low = 'width = "143 mm"\nheight = "165 mm"'
    assert level("crop-loss", job(low), header(1500, 2000)) == "note"
    accepted = job(low, checks='accept = ["crop-loss"]')
    assert level("crop-loss", accepted, header(1500, 2000)) == "accepted"


def test_a_stop_refuses_the_print_and_a_warning_does_not() -> None:
    thin = 'width = "143 mm"\nheight = "198 mm"\noverlap = "{} mm"'
    upright = header(1500, 2000)
    assert planned_print(job(thin.format(1)), upright).refused
    assert not planned_print(job(thin.format("1.5")), upright).refused


def test_a_finding_stands_where_its_key_was_set() -> None:
    finding = only("overlap", job('width = "143 mm"\nheight = "198 mm"\noverlap = "1 mm"'))
    assert (finding.file, finding.line, finding.column) == ("job.toml", 5, 1)
    assert finding.key == "aperture.overlap"
    by_default = only("overlap", job(checks='overlap_refuse = "4 mm"'))
    assert (by_default.line, by_default.key) == (9, "prints[1]")


# The opening.


@pytest.mark.parametrize(
    ("width", "found"),
    [("40 mm", ""), ("39.9 mm", "refuse"), ("1500 mm", ""), ("1500.1 mm", "refuse")],
)
def test_unit_slip(width: str, found: str) -> None:
    toml = job(f'width = "{width}"\nheight = "198 mm"', 'size = "1600 x 1600 mm"')
    assert level("unit-slip", toml) == found


def test_unit_slip_says_which_side() -> None:
    finding = only("unit-slip", job('width = "198 mm"\nheight = "9.625 mm"'))
    assert finding.message == "the opening is 9.6 mm high, outside 40 to 1500 mm."
    assert finding.remedy == 'Check the unit, or add "unit-slip" to checks.accept.'


@pytest.mark.parametrize(
    ("width", "height", "label"),
    [
        ("8 in", "10 in", "10x8 in"),
        ("10 in", "8 in", "10x8 in"),
        ("203 mm", "254 mm", "10x8 in"),
        ("204.2 mm", "253 mm", "10x8 in"),
        ("300 mm", "401 mm", "40x30 cm"),
        ("204.21 mm", "254 mm", ""),
        ("203.2 mm", "252.99 mm", ""),
        ("7 1/4 in", "9 5/8 in", ""),
    ],
)
def test_nominal_size(width: str, height: str, label: str) -> None:
    toml = job(f'width = "{width}"\nheight = "{height}"', 'size = "18x14 in"')
    messages = [each.message for each in about("nominal-size", toml)]
    said = (
        f"the opening is within 1 mm of {label}, a nominal frame size; was it read off the label?"
    )
    assert messages == ([said] if label else [])


# What frames are sold as, short side first: common practice, no source.
LABELS = [
    *((short, long, "in") for short, long in [
        (4, 6), (5, 7), (8, 10), (8, 12), (11, 14), (12, 16), (16, 20), (20, 24), (24, 36),
    ]),
    *((short, long, "cm") for short, long in [
        (10, 15), (13, 18), (18, 24), (20, 30), (24, 30), (30, 40), (40, 50), (50, 70),
    ]),
]  # fmt: skip


@pytest.mark.parametrize(("short", "long", "unit"), LABELS)
def test_every_label_is_known_either_way_round(short: int, long: int, unit: str) -> None:
    said = f"within 1 mm of {long}x{short} {unit}, a nominal frame size"
    for width, height in ((short, long), (long, short)):
        toml = job(f'width = "{width} {unit}"\nheight = "{height} {unit}"', 'size = "30x40 in"')
        assert any(said in each.message for each in about("nominal-size", toml))


OVERLAPS = [("2 mm", ""), ("1.99 mm", "warn"), ("1.2 mm", "warn"), ("1.19 mm", "refuse")]


@pytest.mark.parametrize(("overlap", "found"), [*OVERLAPS, ("0 mm", "refuse"), ("3 mm", "")])
def test_overlap(overlap: str, found: str) -> None:
    toml = job(f'width = "143 mm"\nheight = "198 mm"\noverlap = "{overlap}"')
    assert level("overlap", toml) == found


def test_overlap_sentences() -> None:
    size = 'width = "143 mm"\nheight = "198 mm"\n'
    stop = only("overlap", job(size + 'overlap = "1.19 mm"'))
    assert stop.message == (
        "only 1.19 mm of picture is hidden behind the mat at each edge; below 1.2 mm, errors in "
        "cutting, printing and hinging let white show."
    )
    edges = 'overlap = { top = "3 mm", right = "1.5 mm", bottom = "4 mm", left = "1.5 mm" }'
    warn = only("overlap", job(size + edges))
    assert warn.message == "only 1.5 mm of picture is hidden behind the mat at the right and left."
    assert warn.remedy == "3 mm is usual."


def test_overlap_thresholds_are_keys() -> None:
    three = 'width = "143 mm"\nheight = "198 mm"\noverlap = "3 mm"'
    assert level("overlap", job(three, checks='overlap_warn = "3 mm"')) == ""
    assert level("overlap", job(three, checks='overlap_warn = "3.1 mm"')) == "warn"
    assert level("overlap", job(three, checks='overlap_refuse = "3.1 mm"')) == "refuse"


@pytest.mark.parametrize(
    ("reveal", "keys", "found"),
    [
        ("4 mm", "", ""),
        ("3.99 mm", "", "warn"),
        ("4 mm", 'reveal_warn = "5 mm"', "warn"),
        ("0 mm", 'reveal_warn = "0 mm"', ""),
    ],
)
def test_reveal(reveal: str, keys: str, found: str) -> None:
    toml = job(f'width = "143 mm"\nheight = "198 mm"\nreveal = "{reveal}"', checks=keys)
    assert level("reveal", toml) == found
    assert about("overlap", toml) == []


def test_reveal_sentence() -> None:
    edges = 'reveal = { top = "6 mm", right = "6 mm", bottom = "3 mm", left = "6 mm" }'
    finding = only("reveal", job(f'width = "143 mm"\nheight = "198 mm"\n{edges}'))
    assert finding.message == "a reveal of 3 mm at the bottom shows every placing error."


@pytest.mark.parametrize(
    ("reveal", "found"), [("71.4 mm", ""), ("71.5 mm", "refuse"), ("80 mm", "refuse")]
)
def test_image_size_cannot_be_accepted(reveal: str, found: str) -> None:
    toml = job(
        f'width = "143 mm"\nheight = "198 mm"\nreveal = "{reveal}"',
        checks='accept = ["image-size"]',
    )
    assert level("image-size", toml, COX_MEGAPHONE) == found


# The sheet.


def margin_rows(toml: str) -> list[tuple[str, str]]:
    """Edges and level of the margins that are too small."""
    found = about("sheet-margin", toml)
    return [
        (" ".join(re.findall("top|right|bottom|left", each.message)), each.level) for each in found
    ]


@pytest.mark.parametrize(
    ("height", "found"),
    [
        ("224 mm", []),
        ("224.01 mm", [("top", "refuse")]),
        ("238 mm", [("top", "refuse")]),
        ("238.01 mm", [("top bottom", "refuse")]),
        ("248 mm", [("top bottom", "refuse")]),
        ("248.01 mm", []),
    ],
)
def test_margins_of_a_hinged_sheet(height: str, found: list[tuple[str, str]]) -> None:
    """254 mm of paper less picture (opening and 6 mm), halved: 12 mm at 224 mm, 5 at 238 mm."""
    toml = job(f'width = "143 mm"\nheight = "{height}"')
    assert margin_rows(toml) == found
    assert bool(about("off-sheet", toml)) == (height == "248.01 mm")


def test_hinges_at_a_side() -> None:
    keys = 'size = "10x8 in"\norientation = "portrait"\nhinge_edge = "left"'
    assert margin_rows(job('width = "173.2 mm"\nheight = "238 mm"', keys)) == []
    assert margin_rows(job('width = "173.3 mm"\nheight = "238 mm"', keys)) == [("left", "refuse")]


def test_a_sheet_is_rejected_with_the_numbers() -> None:
    toml = LOBBY_OAK.replace("12x8 in", "10x8 in") + PRINT_LOBBY_OAK
    finding = only("sheet-margin", toml)
    assert finding.level == "refuse"
    assert finding.message == (
        "the border is 1.8 mm instead of 12 mm at the top and 1.8 mm instead of 5 mm at the "
        "bottom; it is too narrow to hinge."
    )
    assert finding.remedy == "Use a sheet of at least 200.2 x 274.5 mm, such as 12x8 in."


def test_one_border_that_is_narrow_is_told_by_itself() -> None:
    toml = job('width = "143 mm"\nheight = "230 mm"')
    assert only("sheet-margin", toml).message == (
        "the top border is 9 mm and needs 12 mm; it is too narrow to hinge."
    )


def test_a_margin_short_by_a_hair_shows_the_hair() -> None:
    finding = only("sheet-margin", job(paper='size = "158.98 x 300 mm"'))
    assert finding.level == "warn"
    assert finding.message == (
        "the border is 4.99 mm instead of 5 mm at the right and left; it is narrow to handle."
    )


def test_with_a_reveal_the_sheet_reaches_behind_the_mat() -> None:
    """10x8 in paper, upright: 203.2 mm covers an opening of 193.2 mm with 5 mm each side."""
    aperture = 'width = "{}"\nheight = "230 mm"\nreveal = "20 mm"'
    assert margin_rows(job(aperture.format("193.2 mm"))) == []
    assert margin_rows(job(aperture.format("193.3 mm"))) == [("right left", "warn")]
    assert margin_rows(job(aperture.format("203.2 mm"))) == [("right left", "warn")]
    finding = only("sheet-margin", job(aperture.format("203.4 mm")))
    assert finding.level == "refuse"
    assert finding.message == (
        "the border is 19.9 mm instead of 25 mm at the right and left; the sheet's edge shows in "
        "the opening."
    )
    assert finding.remedy == "Use a sheet of at least 213.4 x 240 mm, such as 12x10 in."


def test_auto_stands_the_sheet_as_the_opening_stands_when_white_shows() -> None:
    """A wide picture floats in an upright opening, which only an upright sheet covers."""
    edges = 'reveal = { top = "60 mm", right = "6 mm", bottom = "60 mm", left = "6 mm" }'
    toml = job(f'width = "180 mm"\nheight = "230 mm"\n{edges}')
    across, down = laid(toml).size.image_px
    assert across > down
    assert laid(toml).stock.size_px == (2400, 3000)


def test_margins_are_keys() -> None:
    keys = 'size = "10x8 in"\nhinge_margin = "{}"\nmargin = "{}"'
    assert about("sheet-margin", job(paper=keys.format("25 mm", "25 mm"))) == []
    assert level("sheet-margin", job(paper=keys.format("25.1 mm", "5 mm"))) == "refuse"
    thin = margin_rows(job(paper=keys.format("12 mm", "27.2 mm")))
    assert thin == [("right left bottom", "warn")]


def test_a_picture_off_its_sheet_cannot_be_accepted() -> None:
    checks = 'accept = ["off-sheet", "sheet-margin"]'
    finding = only("off-sheet", job('width = "143 mm"\nheight = "250 mm"', checks=checks))
    assert finding.level == "refuse"
    assert finding.message == ("the picture runs off the sheet by 1 mm at the top and bottom.")
    assert finding.remedy == "Use a sheet of at least 159 x 280 mm, such as 12x8 in."


def test_a_picture_placed_badly_may_be_moved() -> None:
    keys = 'size = "10x8 in"\nplacement = { x = "60 mm", y = "20 mm" }'
    finding = only("off-sheet", job(paper=keys))
    assert finding.message == "the picture runs off the sheet by 5.8 mm at the right."
    assert finding.remedy.startswith("Move paper.placement, or centre the picture on a sheet of")


lengths = st.integers(4000, 60_000).map(lambda number: f"{number / 100} mm")


@given(lengths, lengths, st.sampled_from(["top", "right", "bottom", "left"]))
def test_the_sheet_that_is_asked_for_is_large_enough(width: str, height: str, edge: str) -> None:
    """Whatever rounding to pixels does, what the remedy says is accepted."""
    size = f'width = "{width}"\nheight = "{height}"'
    small = f'size = "30 x 30 mm"\nhinge_edge = "{edge}"'
    remedy = about("off-sheet", job(size, small))[0].remedy
    asked, _, stock = (
        remedy.removeprefix("Use a sheet of at least ").removesuffix(".").partition(", such as ")
    )
    wide, high = (float(side) for side in asked.removesuffix(" mm").split(" x "))
    way = "portrait" if wide <= high else "landscape"
    paper = f'size = "{asked}"\nhinge_edge = "{edge}"\norientation = "{way}"'
    for each in (paper, f'size = "{stock}"\nhinge_edge = "{edge}"' if stock else paper):
        found = {each.check for each in findings(job(size, each))}
        assert found.isdisjoint({"off-sheet", "sheet-margin"})


def test_no_sheet_is_named_that_does_not_go_into_the_frame() -> None:
    toml = rebate_job("230 mm", "282 mm").replace("143 mm", "190 mm").replace("198 mm", "240 mm")
    assert only("sheet-margin", toml).remedy == "Use a sheet of at least 206 x 270 mm."
    wide = toml.replace("230 mm", "280 mm").replace("282 mm", "320 mm")
    assert only("sheet-margin", wide).remedy.endswith(", such as 12x10 in.")


# The frame.


def room_in_frame(toml: str) -> dict[str, Fraction]:
    (placed,) = file_of(toml).pictures
    size, aperture = placed.picture.size, placed.picture.look.aperture
    return rebate_room(placed.place, size, aperture, placed.request.frame)


def test_a_bottom_weighted_mat_lifts_the_sheet() -> None:
    """Opening 6 7/8 x 9 3/8 in in an 11 x 14 in mat, 12 mm bottom weight, 12x8 in paper upright.

    The mat's top border is (355.6 - 238.125 - 12) / 2 = 52.7375 mm; less 3 mm overlap and the
    sheet's margin of (304.8 - 244.125) / 2 = 30.3375 mm, 19.4 mm stay free above the sheet.
    """
    room = room_in_frame(LAUNCH_ROOM + PRINT_LAUNCH_ROOM)
    assert room == {
        "top": Fraction("19.4"),
        "right": Fraction("38.1"),
        "bottom": Fraction("31.4"),
        "left": Fraction("38.1"),
    }
    assert about("rebate", LAUNCH_ROOM + PRINT_LAUNCH_ROOM) == []


@pytest.mark.parametrize(
    ("width", "height", "sheet_px"),
    [("206 mm", "260 mm", (2400, 3000)), ("260 mm", "206 mm", (3000, 2400))],
)
def test_auto_turns_the_sheet_for_the_rebate(
    width: str, height: str, sheet_px: tuple[int, int]
) -> None:
    toml = rebate_job(width, height).replace("198 mm", "143 mm")
    assert laid(toml).stock.size_px == sheet_px
    assert about("rebate", toml) == []


def test_a_sheet_as_large_as_the_mat_stands_above_it() -> None:
    toml = LAUNCH_ROOM.replace("12x8 in", "14x11 in") + PRINT_LAUNCH_ROOM
    finding = only("rebate", toml)
    assert finding.level == "refuse"
    assert finding.message == (
        "the sheet extends beyond the rebate by 6 mm at the top; between sheet and rebate only "
        "0 mm at the right and left is free; it needs 1 mm."
    )
    assert finding.remedy.startswith(
        "Choose a smaller sheet, or trim at least 7 mm at the top and 1 mm at the right and left ("
    )


def rebate_job(width: str, height: str, checks: str = "", overlap: str = '"3 mm"') -> str:
    """143 x 198 mm on upright 10x8 in paper, in a rebate of the size given."""
    return (
        f"[checks]\n{checks}\n[frames.trophy-cabinet]\n"
        f'aperture = {{ width = "143 mm", height = "198 mm", overlap = {overlap} }}\n'
        f'paper = {{ size = "10x8 in" }}\nrebate = {{ width = "{width}", height = "{height}" }}\n'
        '[[prints]]\nsource = "crew-1926-plate.png"\nframe = "trophy-cabinet"\n'
    )


@pytest.mark.parametrize(
    ("width", "height", "edges"),
    [
        ("205.2 mm", "256 mm", []),
        ("205.18 mm", "256 mm", ["right and left"]),
        ("205.2 mm", "255.98 mm", ["top and bottom"]),
    ],
)
def test_rebate_clearance(width: str, height: str, edges: list[str]) -> None:
    """10x8 in paper is 203.2 x 254 mm: a millimetre each side is 205.2 x 256 mm."""
    messages = [each.message for each in about("rebate", rebate_job(width, height))]
    assert messages == [
        f"between sheet and rebate only 0.99 mm at the {edge} is free; it needs 1 mm."
        for edge in edges
    ]


def test_rebate_clearance_is_a_key() -> None:
    assert about("rebate", rebate_job("203.2 mm", "254 mm", 'rebate_clearance = "0 mm"')) == []
    finding = only("rebate", rebate_job("205.2 mm", "256 mm", 'rebate_clearance = "2 mm"'))
    assert "only 1 mm at each edge is free; it needs 2 mm" in finding.message


def test_uneven_overlap_moves_the_sheet_in_the_frame() -> None:
    """10 mm more overlap below and left: the sheet's middle goes 5 mm down and 5 mm left."""
    overlap = '{ top = "2 mm", right = "2 mm", bottom = "12 mm", left = "12 mm" }'
    room = room_in_frame(rebate_job("254 mm", "305 mm", overlap=overlap))
    side, upright = Fraction("25.4"), Fraction("25.5")
    assert room == {
        "top": upright + 5,
        "right": side + 5,
        "bottom": upright - 5,
        "left": side - 5,
    }


def test_uneven_reveal_moves_the_sheet_the_other_way() -> None:
    reveal = 'aperture.reveal = { top = "6 mm", right = "6 mm", bottom = "10 mm", left = "6 mm" }\n'
    room = room_in_frame(rebate_job("254 mm", "305 mm") + reveal)
    assert (room["top"], room["bottom"]) == (Fraction("23.5"), Fraction("27.5"))


def test_a_frame_without_rebate_is_not_checked() -> None:
    toml = LAUNCH_ROOM.replace("12x8 in", "18x14 in") + PRINT_LAUNCH_ROOM
    assert about("rebate", toml)
    bare = "\n".join(line for line in toml.split("\n") if "rebate" not in line)
    assert about("rebate", bare) == []


def test_a_stick_of_moulding() -> None:
    """12x16 in with a 2 in face takes 72 in: 2 (w + h) + 8 faces, a published framers' sum."""
    toml = LOBBY_OAK + PRINT_LOBBY_OAK
    for mm, inches in (("305 mm", "12 in"), ("406 mm", "16 in"), ("22 mm", "2 in")):
        toml = toml.replace(mm, inches)
    (placed,) = file_of(toml).pictures
    stick, *care = frame_notes(placed)
    assert stick.startswith("moulding: 1828.8 mm of stick (72 in) makes this frame; keep hands")
    (placed,) = file_of(LAUNCH_ROOM + PRINT_LAUNCH_ROOM).pictures
    assert frame_notes(placed) == care


def test_a_print_for_a_frame_comes_with_the_usual_caution() -> None:
    """Hinges, no tape, a spacer, glass, weight; local rules: common practice, no source."""
    (placed,) = file_of(LAUNCH_ROOM + PRINT_LAUNCH_ROOM).pictures
    said = " ".join(frame_notes(placed))
    for word in ("hinge", "no tape", "spacer", "chipped edge", "weight", "local rules", "tools'"):
        assert word in said
    (placed,) = file_of(TROPHY_CABINET).pictures
    assert frame_notes(placed) == []


# The picture's file.


@pytest.mark.parametrize(
    ("width", "keys", "said"),
    [
        (50_000, "", ""),
        (50_001, "", "catch-four.tif has 2,000.04 megapixels; the limit is 2,000."),
        (1000, "source_megapixels = 40", ""),
        (1001, "source_megapixels = 40", "catch-four.tif has 40.04 megapixels; the limit is 40."),
        (13, "source_megapixels = 0.5", "catch-four.tif has 0.52 megapixels; the limit is 0.5."),
    ],
)
def test_source_size(width: int, keys: str, said: str) -> None:
    messages = [
        each.message
        for each in about("source-size", job(rest=f"[limits]\n{keys}\n"), header(width, 40_000))
    ]
    assert messages == ([said] if said else [])


@pytest.mark.parametrize(
    ("side_mm", "ppi", "limit", "said"),
    [
        # 7.2 megapixels: 10 x 8 in at 300 ppi.
        ("254 mm x 203.2 mm", 300, "sheet_megapixels = 7.2", ""),
        ("254 mm x 203.2 mm", 300, "sheet_megapixels = 7.19", "2,400 x 3,000 px, 7.20 megapixels"),
        ("10 m x 1.8288 m", 300, "", ""),
        ("100 m x 100 m", 10_000, "", "39,370,079 x 39,370,079 px, 1,550,003,120.47"),
    ],
)
def test_sheet_size(side_mm: str, ppi: int, limit: str, said: str) -> None:
    """The job's own limit; without one, the widest rolls are well inside."""
    rest = f'[delivery]\nformat = "tiff"\nresolution = "{ppi} ppi"\n[limits]\n{limit}\n'
    found = about("sheet-size", job(paper=f'size = "{side_mm}"', rest=rest))
    assert [said in each.message for each in found] == ([True] if said else [])
    assert all("raise limits.sheet_megapixels" in each.remedy for each in found)


@pytest.mark.parametrize(
    ("px", "form", "refused"),
    [(65_500, "jpeg", False), (65_501, "jpeg", True), (65_501, "tiff", False)],
)
def test_jpeg_size(px: int, form: str, *, refused: bool) -> None:
    """libjpeg's JPEG_MAX_DIMENSION, in its jmorecfg.h."""
    rest = f'[delivery]\nformat = "{form}"\nresolution = "254 ppi"\n'
    toml = job(paper=f'size = "{px / 10} mm x 203 mm"', rest=rest)
    found = about("jpeg-size", toml)
    assert bool(found) == refused
    for each in found:
        assert each.message == "the sheet is 65,501 px long, and a JPEG can have 65,500 at most."


def test_no_profile() -> None:
    bare = header(1500, 2000, profile="")
    assert only("no-profile", TROPHY_CABINET, bare).message == (
        "the picture has no colour profile and does not say it is sRGB, so its colours are a guess."
    )
    assert level("no-profile", TROPHY_CABINET, header(1500, 2000)) == ""
    assert level("no-profile", TROPHY_CABINET, header(1500, 2000, profile="", says_srgb=True)) == ""
    assumed = TROPHY_CABINET + picture_print('assume_profile = "srgb"')
    assert level("no-profile", assumed, bare) == ""
    assert level("no-profile", job(checks='accept = ["no-profile"]'), bare) == "accepted"


def test_cmyk_without_profile_stops() -> None:
    ink = header(3200, 3200, colour="cmyk", profile="")
    for toml in (TROPHY_CABINET, job(checks='accept = ["no-profile", "ink-profile"]')):
        finding = only("ink-profile", toml, ink)
        assert finding.level == "refuse"
        assert (
            finding.message == "the CMYK picture has no colour profile, so its colours are unknown."
        )
    assert level("ink-profile", TROPHY_CABINET, BOATBUILDER_HANDS) == ""


def test_alpha_warns() -> None:
    see_through = header(1500, 2000, has_alpha=True)
    finding = only("alpha", TROPHY_CABINET, see_through)
    assert finding.level == "warn"
    assert finding.message == "the picture has transparency; it is printed on white."
    assert level("alpha", TROPHY_CABINET, header(1500, 2000)) == ""


# The crop.

SQUARE = job('width = "194 mm"\nheight = "194 mm"', 'size = "12x10 in"')
"""A square image of 200 mm: a picture of w x h loses 1 - h / w."""


@pytest.mark.parametrize(
    ("width", "found"),
    [
        (2000, ""),
        (2222, ""),
        (2223, "note"),
        (2500, "note"),
        (2501, "warn"),
        (3333, "warn"),
        (3334, "refuse"),
    ],
)
def test_crop_loss(width: int, found: str) -> None:
    """10 % above 2222.2 px of width to 2000 of height, 20 % above 2500, 40 % above 3333.3."""
    assert level("crop-loss", SQUARE, header(width, 2000)) == found


def test_crop_loss_thresholds_are_keys() -> None:
    keys = "crop_loss_note = {}\ncrop_loss_warn = {}\ncrop_loss_refuse = {}"
    square = SQUARE.replace("[checks]\n", "[checks]\n" + keys)
    wide = header(2500, 2000)
    assert level("crop-loss", square.format(0.2, 0.3, 0.4), wide) == ""
    assert level("crop-loss", square.format(0.19, 0.3, 0.4), wide) == "note"
    assert level("crop-loss", square.format(0.1, 0.19, 0.4), wide) == "warn"
    assert level("crop-loss", square.format(0.1, 0.15, 0.19), wide) == "refuse"


def test_crop_loss_asks_for_a_focus() -> None:
    wide = header(3000, 2000)
    finding = only("crop-loss", SQUARE, wide)
    assert finding.message == "the crop loses 33.3% of the picture."
    assert finding.remedy == "Set centre_on to the point to keep."
    focused = SQUARE + picture_print("centre_on = [0.4, 0.5]")
    assert only("crop-loss", focused, wide).remedy == ""


@pytest.mark.parametrize(("degrees", "offered"), [(10, "inset"), (-10, "inset"), (10.5, "less")])
def test_a_picture_turned_far_is_not_offered_an_inset(degrees: float, offered: str) -> None:
    """From 10 degrees up the turn is what takes most of a picture: common practice, no source."""
    keys = "crop_loss_note = 0.1\ncrop_loss_warn = 0.1\ncrop_loss_refuse = 0.2\n"
    toml = SQUARE.replace("[checks]\n", "[checks]\n" + keys)
    remedy = only("crop-loss", toml + picture_print(f"level = {degrees}"), UPRIGHT).remedy
    assert (f"Levelling by {degrees:g} degrees takes most of it" in remedy) == (offered == "less")
    assert ("To show it whole, set aperture.reveal" in remedy) == (offered == "inset")


def test_an_explicit_crop_is_not_questioned() -> None:
    region = "crop = { left = 0.3, top = 0, width = 0.4, height = 1 }"
    toml = LOBBY_OAK + picture_print(region) + 'frame = "lobby-oak"\n'
    assert about("crop-loss", toml, CATCH_FOUR) == []


def test_a_wide_picture_in_an_upright_frame_is_offered_an_inset() -> None:
    finding = only("crop-loss", LOBBY_OAK + PRINT_LOBBY_OAK, CATCH_FOUR)
    assert finding.level == "refuse"
    assert finding.message == "the crop loses 49.4% of the picture."
    assert finding.remedy == (
        "Are width and height swapped (opening 184.2 x 244.5 mm, picture 6000 x 4000 px)? "
        'To show it whole, set aperture.reveal = { left = "6 mm", right = "6 mm", '
        'top = "64.85 mm", bottom = "64.85 mm" }, for a picture of 172.15 x 114.77 mm '
        "with 64.9 mm of white above and below and 6 mm at the sides. "
        'Or set a crop for the picture, or add "crop-loss" to checks.accept.'
    )


def test_the_offered_inset_can_be_planned() -> None:
    remedy = only("crop-loss", LOBBY_OAK + PRINT_LOBBY_OAK, CATCH_FOUR).remedy
    offer = remedy[remedy.index("aperture.reveal") : remedy.index("}") + 1]
    planned = planned_print(f"{LOBBY_OAK}{PRINT_LOBBY_OAK}{offer}\n", CATCH_FOUR)
    assert planned.findings == ()
    assert planned.plan is not None
    assert planned.plan.sheet.stock.size_px == (2400, 3600)
    (placed,) = planned.plan.pictures
    assert placed.place.box == Box(183, 1122, 2033, 1356)
    assert placed.picture.crop.crop_loss < Fraction(1, 10_000)


def test_a_square_opening_is_not_asked_about_swapped_sides() -> None:
    finding = only("crop-loss", SQUARE, DAWN_MIST_REACH)
    assert finding.level == "refuse"
    assert finding.remedy.startswith("To show it whole, set aperture.reveal")


def test_sides_that_lie_alike_are_not_asked_about() -> None:
    """A panorama in a wide opening is long, not turned."""
    finding = only("crop-loss", job('width = "198 mm"\nheight = "143 mm"'), DAWN_MIST_REACH)
    assert finding.level == "refuse"
    assert finding.remedy.startswith("To show it whole, set aperture.reveal")


def test_no_inset_is_offered_in_an_opening_too_small_for_one() -> None:
    """Inches taken for millimetres: the wrong unit is what there is to put right."""
    toml = job('width = "7.25 mm"\nheight = "9.625 mm"')
    assert "aperture.reveal" not in only("crop-loss", toml, CATCH_FOUR).remedy
    assert only("unit-slip", toml, CATCH_FOUR).message == (
        "the opening is 7.2 mm wide and 9.6 mm high, outside 40 to 1500 mm."
    )


# Resolution.

TEN_INCHES = job('width = "248 mm"\nheight = "248 mm"', 'size = "18x14 in"')
"""A square image of 254 mm: a picture of n px has n / 10 ppi."""


def seen_from(distance: str, checks: str = "") -> str:
    size = f'width = "248 mm"\nheight = "248 mm"\nviewing_distance = "{distance}"'
    return job(size, 'size = "18x14 in"', checks)


@pytest.mark.parametrize(
    ("px", "found"),
    [
        (2400, ""),
        (2399, "note"),
        (1800, "note"),
        (1799, "warn"),
        (1200, "warn"),
        (1199, "refuse"),
    ],
)
def test_resolution(px: int, found: str) -> None:
    assert level("resolution", TEN_INCHES, header(px, px)) == found


@pytest.mark.parametrize(
    ("distance", "px", "found"),
    [
        ("600 mm", 1200, "note"),
        ("600 mm", 900, "note"),
        ("600 mm", 899, "warn"),
        ("600 mm", 600, "warn"),
        ("600 mm", 599, "refuse"),
        ("600 mm", 2400, ""),
        ("150 mm", 3600, "note"),
        ("150 mm", 3599, "warn"),
        ("150 mm", 4800, ""),
    ],
)
def test_resolution_scales_with_the_viewing_distance(distance: str, px: int, found: str) -> None:
    assert level("resolution", seen_from(distance), header(px, px)) == found


@pytest.mark.parametrize(
    ("file", "found"), [("240 ppi", ""), ("200 ppi", "note"), ("99 ppi", "refuse")]
)
def test_a_file_holds_no_more_than_its_own_resolution(file: str, found: str) -> None:
    finding = about(
        "resolution", f'{TEN_INCHES}[delivery]\nresolution = "{file}"\n', header(3000, 3000)
    )
    assert [each.level for each in finding] == ([found] if found else [])
    assert all(each.message.startswith(f"{file} of real detail") for each in finding)
    assert all(
        "delivery.resolution is the limit: raise it" in each.remedy
        for each in finding
        if found == "refuse"
    )


def test_resolution_thresholds_are_keys() -> None:
    picture, near = header(2000, 2000), "300 mm"
    assert level("resolution", seen_from(near, 'resolution_note = "200 ppi"'), picture) == ""
    assert level("resolution", seen_from(near, 'resolution_warn = "201 ppi"'), picture) == "warn"
    assert (
        level("resolution", seen_from(near, 'resolution_refuse = "201 ppi"'), picture) == "refuse"
    )


def test_a_small_picture_in_the_lobby_frame() -> None:
    """1200 x 1600 px on 190.15 mm of paper: 160 ppi, which one arc minute allows from 545 mm."""
    lobby = LOBBY_OAK + PRINT_LOBBY_OAK
    finding = only("resolution", lobby, CUP_ON_SLIPWAY)
    assert finding.level == "warn"
    assert finding.message == (
        "160 ppi of real detail looks sharp from 545 mm away; this print is viewed from 300 mm."
    )
    assert level("resolution", "[checks]\nstrict = true\n" + lobby, CUP_ON_SLIPWAY) == "refuse"
    further = only(
        "resolution", '[aperture]\nviewing_distance = "600 mm"\n' + lobby, CUP_ON_SLIPWAY
    )
    assert further.level == "note"
    assert further.message.endswith("sharp from 545 mm away; this print is viewed from 600 mm.")


# Parts that must stay clear.


def keep_clear(part: str, aperture: str = "") -> str:
    """1900 x 2504.75 px make 190 x 250.475 mm of image: 0.01 of the width is 1.9 mm on paper."""
    return (
        f'[aperture]\nwidth = "184 mm"\nheight = "244.475 mm"\n{aperture}\n'
        f'[paper]\nsize = "12x8 in"\n{picture_print(f"keep_clear = [{{ {part} }}]")}'
    )


COX = header(7600, 10019)
"""Within a hundredth of a pixel of the ratio 190 : 250.475, and cropped by no more."""


@pytest.mark.parametrize(
    ("left", "found"),
    [
        (0.0475, ""),
        (0.0473, "the cox is 5.99 mm inside the opening's edge; it needs 6 mm."),
        (0.02, "the cox is 0.8 mm inside the opening's edge; it needs 6 mm."),
        (0.01, "the cox extends 1.1 mm beyond the opening's edge."),
        (0.0, "the cox extends 3 mm beyond the opening's edge."),
    ],
)
def test_keep_clear_is_held_against_the_opening(left: float, found: str) -> None:
    """9.025 mm inside the image is 6.025 inside the opening: the overlap is hidden."""
    toml = keep_clear(f"box = [{left}, 0.4, 0.2, 0.2], label = 'the cox'")
    messages = [each.message for each in about("keep-clear", toml, COX)]
    assert messages == ([found] if found else [])


@pytest.mark.parametrize(("clearance", "found"), [("6 mm", ""), ("6.1 mm", "refuse")])
def test_keep_clear_has_its_own_distance(clearance: str, found: str) -> None:
    toml = keep_clear(f"box = [0.0475, 0.4, 0.2, 0.2], clearance = '{clearance}'")
    assert level("keep-clear", toml, COX) == found


def test_keep_clear_with_a_reveal_is_held_against_the_picture() -> None:
    """The same image of 190 x 250.475 mm, now 6 mm inside its opening: nothing is hidden."""
    aperture = 'width = "202 mm"\nheight = "262.475 mm"\nreveal = "6 mm"'
    toml = keep_clear("box = [0.02, 0.4, 0.2, 0.2]").replace(
        'width = "184 mm"\nheight = "244.475 mm"', aperture
    )
    finding = only("keep-clear", toml, COX)
    assert finding.message == "part is 3.8 mm inside the picture's edge; it needs 6 mm."


@pytest.mark.parametrize("box", ["0.4, 0, 0.2, 0.2", "0.4, 0.8, 0.2, 0.2", "0.8, 0.4, 0.2, 0.2"])
def test_keep_clear_watches_every_edge(box: str) -> None:
    finding = only("keep-clear", keep_clear(f"box = [{box}]"), COX)
    assert finding.level == "refuse"
    assert finding.message == "part extends 3 mm beyond the opening's edge."


# Black-and-white.


def mono(keys: str) -> str:
    return TROPHY_CABINET + f"[mono]\n{keys}\n"


@pytest.mark.parametrize(
    ("keys", "found"),
    [
        ("", ""),
        ("response = [85, 10, 5]", ""),
        ("response = [86, 9, 5]", "warn"),
        ('filter = "orange"', ""),
        ('response = "panchromatic_film"\nfilter = "red"', "warn"),
        ('response = "blue_sensitive"', "warn"),
    ],
)
def test_one_channel(keys: str, found: str) -> None:
    assert level("one-channel", mono(keys), COX) == found


def test_one_channel_sentences() -> None:
    filtered = only("one-channel", mono('response = "panchromatic_film"\nfilter = "red"'), COX)
    # 0.32 / (0.32 + 0.36 x 0.12 + 0.32 x 0.02) = 86.6 %.
    assert filtered.message == (
        "87% of the tone comes from the red channel alone; expect its noise and blotchy skin."
    )
    assert filtered.remedy == "Lower filter_strength or choose a weaker filter."
    bare = only("one-channel", mono('response = "blue_sensitive"'), COX)
    # 0.94 of 0.00 + 0.06 + 0.94: common practice, no source.
    assert bare.message.startswith("94% of the tone comes from the blue channel alone")
    assert bare.remedy == "Choose another response."


def test_a_grey_picture_has_no_noisier_channel() -> None:
    grey = header(1500, 2000, colour="grey")
    assert about("one-channel", mono('response = "blue_sensitive"'), grey) == []


def test_checks_need_no_picture() -> None:
    """What the job alone decides is found without opening a file."""
    toml = LOBBY_OAK.replace("12x8 in", "10x8 in") + PRINT_LOBBY_OAK
    assert {each.check for each in findings(toml)} == {"sheet-margin"}


def test_the_least_margin_counts_when_nothing_fits() -> None:
    """No way round holds the picture well, so the sheet stands the better of the two ways."""
    sheet = laid(job('width = "180 mm"\nheight = "240 mm"'))
    assert sheet.stock.size_px == (2400, 3000)


@pytest.mark.parametrize(
    ("resolution", "said"), [("99 ppi", 1), ("100 ppi", 0), ("1440 ppi", 0), ("1441 ppi", 1)]
)
def test_a_resolution_that_no_lab_asks_for(resolution: str, said: int) -> None:
    toml = job(rest=f'[delivery]\nresolution = "{resolution}"\n{PRINT_LOBBY_OAK}')
    toml = toml.replace('frame = "lobby-oak"\n', "")
    found = about("file-resolution", toml)
    assert [each.level for each in found] == ["warn"] * said
    assert all(resolution.split()[0] + " ppi" in each.message for each in found)


@pytest.mark.parametrize(("overlap", "level_said"), [("10 mm", ""), ("10.1 mm", "warn")])
def test_an_overlap_of_centimetres(overlap: str, level_said: str) -> None:
    assert level("overlap", job(f'width = "90 mm"\nheight = "120 mm"\noverlap = "{overlap}"'
                                )) == level_said  # fmt: skip


def overlapped(overlap: str) -> str:
    return job(f'width = "143 mm"\nheight = "198 mm"\noverlap = "{overlap}"')


def revealed(reveal: str) -> str:
    return job(f'width = "143 mm"\nheight = "198 mm"\nreveal = "{reveal}"')


def with_cox(facts: str) -> str:
    return TROPHY_CABINET + picture_print(facts)


FACE = 'keep_clear = [{ box = [0.3, 0.3, 0.2, 0.2], label = "face" }]\n'
UPRIGHT = header(1500, 2000)
SPOKEN: list[tuple[str, str, str, Header | None]] = [
    ("unit-slip", "refuse", job('width = "143 mm"\nheight = "9.625 mm"'), None),
    ("nominal-size", "warn", job('width = "8 in"\nheight = "10 in"'), None),
    ("overlap", "warn", overlapped("1.5 mm"), None),
    ("overlap", "refuse", overlapped("1 mm"), None),
    ("reveal", "warn", revealed("2 mm"), None),
    ("image-size", "refuse", revealed("80 mm"), None),
    ("off-sheet", "refuse", job('width = "143 mm"\nheight = "260 mm"'), None),
    ("sheet-margin", "refuse", job('width = "143 mm"\nheight = "245 mm"'), None),
    ("sheet-margin", "warn", job('width = "194 mm"\nheight = "198 mm"'), None),
    ("rebate", "refuse", LAUNCH_ROOM.replace("12x8", "18x14") + PRINT_LAUNCH_ROOM, None),
    ("source-size", "refuse", TROPHY_CABINET, header(50000, 50000)),
    ("no-profile", "refuse", TROPHY_CABINET, header(1500, 2000, profile="")),
    ("ink-profile", "refuse", TROPHY_CABINET, header(1500, 2000, colour="cmyk", profile="")),
    ("alpha", "warn", TROPHY_CABINET, header(1500, 2000, has_alpha=True)),
    ("crop-loss", "note", SQUARE, header(2250, 2000)),
    ("crop-loss", "warn", SQUARE, header(2700, 2000)),
    ("crop-loss", "refuse", SQUARE, header(4000, 2000)),
    ("resolution", "note", TEN_INCHES, header(2000, 2000)),
    ("resolution", "warn", TEN_INCHES, header(1500, 1500)),
    ("resolution", "refuse", TEN_INCHES, header(1000, 1000)),
    ("file-resolution", "warn", job(rest='[delivery]\nresolution = "30 ppi"\n'), None),
    ("sheet-size", "refuse", job(rest="[limits]\nsheet_megapixels = 7\n"), None),
    ("jpeg-size", "refuse", job(rest='[delivery]\nresolution = "9000 ppi"\n'), None),
    ("keep-clear", "refuse", with_cox("keep_clear = [{ box = [0, 0, 0.2, 0.2] }]"), UPRIGHT),
    (
        "mark-size",
        "refuse",
        with_cox("spotting = [{ at = [0.5, 0.5], radius = '30 mm' }]"),
        UPRIGHT,
    ),
    ("tiny-mark", "warn", with_cox("spotting = [{ at = [0.5, 0.5], radius = 0.0001 }]"), UPRIGHT),
    (
        "donor",
        "refuse",
        with_cox("spotting = [{ at = [0.5, 0.5], radius = 0.01, donor = [0.5, 0.501] }]"),
        UPRIGHT,
    ),
    ("not-raw", "warn", with_cox("raw = { exposure = 0.5 }"), UPRIGHT),
    (
        "permanent-mark",
        "warn",
        with_cox(f"{FACE}spotting = [{{ at = [0.4, 0.4], radius = 0.01 }}]"),
        UPRIGHT,
    ),
    ("one-channel", "warn", mono('response = "blue_sensitive"'), UPRIGHT),
]
"""A job, and a picture, of which each check speaks at each of its levels."""


@pytest.mark.parametrize(("radius", "found"), [(0.0008, ""), (0.00079, "warn")])
def test_a_mark_of_less_than_eight_tenths_of_a_pixel(radius: float, found: str) -> None:
    """Of 1000 px across; below it no pixel's middle need be reached: common practice, no source."""
    toml = with_cox(f"spotting = [{{ at = [0.5, 0.5], radius = {radius} }}]")
    assert level("tiny-mark", toml, header(1000, 1400)) == found


@pytest.mark.parametrize(("check", "spoken", "toml", "picture"), SPOKEN)
def test_a_check_speaks_at_this_level(
    check: str, spoken: str, toml: str, picture: Header | None
) -> None:
    assert spoken in {each.level for each in about(check, toml, picture)}


def test_every_check_declares_the_levels_it_speaks_at() -> None:
    on_finished_pictures = {
        "clipping": {"warn", "refuse"},
        "gamut": {"warn"},
        "spotting": {"note"},
    }
    spoken = {name: {row[1] for row in SPOKEN if row[0] == name} for name, *_ in SPOKEN}
    declared = {name: set(each.levels) for name, each in all_checks().items()}
    assert declared == spoken | on_finished_pictures

"""Worked prints: lengths, pixels, crops and resolutions that can be checked with a pocket sum.

Frames, pictures and papers are those of the invented Tern Quay job; unless another source stands
beside it, an expected number was worked out by hand from the lengths as written.
"""

from fractions import Fraction
from math import sqrt

import pytest

from plans import (
    BOATBUILDER_HANDS,
    CATCH_FOUR,
    COX_MEGAPHONE,
    CREW_1926_PLATE,
    CUP_ON_SLIPWAY,
    DAWN_MIST_REACH,
    LOBBY_OAK,
    TROPHY_CABINET,
    crop,
    file_of,
    header,
    laid,
    mm,
    opened,
    plan,
    with_header,
)
from sightsize.base.units import px_to_mm
from sightsize.model.geometry import Box, EdgesPx
from sightsize.model.header import Header
from sightsize.model.settings import Edges
from sightsize.plan.crop import ACUITY_MM_PPI
from sightsize.plan.estimates import estimated_bytes
from sightsize.plan.picture import PicturePlan, UnopenedPicture


def opening(width: str, height: str, paper: str, aperture: str = "", paper_keys: str = "") -> str:
    """A job of one opening on one paper; further keys as TOML."""
    return (
        f'[aperture]\nwidth = "{width}"\nheight = "{height}"\n{aperture}\n'
        f'[paper]\nsize = "{paper}"\n{paper_keys}\n'
    )


LOBBY_OAK_OPENING = opening("7 1/4 in", "9 5/8 in", "12x8 in")


def whole_sheet(short_in: int, long_in: int) -> str:
    """A job whose picture covers its whole upright sheet."""
    size = f'width = "{short_in} in"\nheight = "{long_in} in"\noverlap = "0 mm"'
    return f'[aperture]\n{size}\n[paper]\nsize = "{long_in}x{short_in} in"\n'


# Sheets.


def test_a_half_pixel_rounds_up_and_the_odd_one_goes_right() -> None:
    sheet = laid(opening("13 3/8 in", "10 5/8 in", "18x14 in", 'overlap = "0 mm"'))
    # 13 3/8 x 300 = 4012.5 and 10 5/8 x 300 = 3187.5.
    assert sheet.size.image_px == (4013, 3188)
    assert sheet.stock.size_px == (5400, 4200)
    assert sheet.place.box == Box(693, 506, 4013, 3188)
    assert sheet.place.margins_px == EdgesPx(top=506, right=694, bottom=506, left=693)
    assert sheet.place.residual_mm == (Fraction(254, 6000), Fraction(0))


FRAMES = {
    "lobby-oak": (
        opening("7 1/4 in", "9 5/8 in", "12x8 in"),
        ("190.15", "250.475"),
        (2400, 3600),
        Box(77, 321, 2246, 2958),
        EdgesPx(top=321, right=77, bottom=321, left=77),
        ("27.1625", "6.525"),
    ),
    "trophy-cabinet": (
        opening("143 mm", "198 mm", "10x8 in"),
        ("149", "204"),
        (2400, 3000),
        Box(320, 295, 1760, 2409),
        EdgesPx(top=295, right=320, bottom=296, left=320),
        ("25", "27.1"),
    ),
    "stair-panorama": (
        opening("610 mm", "178 mm", "700 x 254 mm"),
        ("616", "184"),
        (8268, 3000),
        Box(496, 413, 7276, 2173),
        EdgesPx(top=413, right=496, bottom=414, left=496),
        ("35", "42"),
    ),
    "bar-square": (
        opening("8 3/8 in", "8 3/8 in", "12x10 in"),
        ("218.725", "218.725"),
        (3000, 3600),
        Box(208, 508, 2583, 2583),
        EdgesPx(top=508, right=209, bottom=509, left=208),
        ("43.0375", "17.6375"),
    ),
    "launch-room": (
        opening("6 7/8 in", "9 3/8 in", "12x8 in"),
        ("180.625", "244.125"),
        (2400, 3600),
        Box(133, 358, 2133, 2883),
        EdgesPx(top=358, right=134, bottom=359, left=133),
        ("30.3375", "11.2875"),
    ),
}


@pytest.mark.parametrize("name", FRAMES)
def test_sheets_of_the_frames(name: str) -> None:
    toml, image, sheet_px, box, margins_px, (top, side) = FRAMES[name]
    sheet = laid(toml)
    assert sheet.size.image_mm == (mm(image[0]), mm(image[1]))
    assert sheet.stock.size_px == sheet_px
    assert sheet.place.box == box
    assert sheet.place.margins_px == margins_px
    assert sheet.place.margins_mm == Edges(mm(top), mm(side), mm(top), mm(side))


def test_the_odd_pixel_is_reported_as_a_residual() -> None:
    across, down = laid(TROPHY_CABINET).place.residual_mm
    # 3000 - 2409 = 591 px: half a pixel at 300 ppi is 25.4 / 600 mm.
    assert across == 0
    assert down == Fraction(254, 6000)
    assert f"{float(down):.2f}" == "0.04"


@pytest.mark.parametrize(
    ("size", "name", "sheet_px"),
    [
        ("10x8 in", "na_govt-letter_8x10in", (2400, 3000)),
        ("na_govt-letter_8x10in", "na_govt-letter_8x10in", (2400, 3000)),
        ("12x8 in", "oe_photo-s8r_8x12in", (2400, 3600)),
        ("304.8 x 203.2 mm", "oe_photo-s8r_8x12in", (2400, 3600)),
        # ISO 216 sizes at 300 ppi: 210 / 25.4 x 300 = 2480.3, 297 / 25.4 x 300 = 3507.9.
        ("A4", "iso_a4_210x297mm", (2480, 3508)),
        ("250 x 330 mm", "custom_sheet_250x330mm", (2953, 3898)),
    ],
)
def test_paper_by_size_or_by_name(size: str, name: str, sheet_px: tuple[int, int]) -> None:
    sheet = laid(opening("143 mm", "198 mm", size))
    assert sheet.stock.media_name == name
    assert sheet.stock.size_px == sheet_px


def test_resolution_is_exact_in_any_unit() -> None:
    sheet = laid(TROPHY_CABINET + '[delivery]\nresolution = "100 px/cm"\n')
    assert sheet.stock.ppi == sheet.size.ppi == 254
    assert sheet.size.image_px == (1490, 2040)
    assert sheet.stock.size_px == (2032, 2540)


# The opening and the picture's edges.


def test_a_face_measurement_loses_two_boards() -> None:
    bevelled = 'measured_at = "face"\nmat_thickness = "1.4 mm"'
    sheet = laid(opening("7 1/4 in", "9 5/8 in", "12x8 in", bevelled))
    assert sheet.size.opening_mm == (mm("184.15") - mm("2.8"), mm("244.475") - mm("2.8"))
    assert sheet.size.image_mm == (mm("187.35"), mm("247.675"))


def test_a_back_measurement_is_the_opening_whatever_the_board() -> None:
    sheet = laid(opening("7 1/4 in", "9 5/8 in", "12x8 in", 'mat_thickness = "1.4 mm"'))
    assert sheet.size.opening_mm == (mm("184.15"), mm("244.475"))


def test_a_reveal_makes_the_picture_smaller_than_the_opening() -> None:
    sheet = laid(opening("7 1/4 in", "9 5/8 in", "12x8 in", 'reveal = "6 mm"'))
    assert sheet.size.opening_mm == (mm("184.15"), mm("244.475"))
    assert sheet.size.image_mm == (mm("172.15"), mm("232.475"))


@pytest.mark.parametrize(
    ("word", "image"), [("overlap", ("153", "205")), ("reveal", ("133", "191"))]
)
def test_each_edge_has_its_own_length(word: str, image: tuple[str, str]) -> None:
    edges = f'{word} = {{ top = "2 mm", right = "4 mm", bottom = "5 mm", left = "6 mm" }}'
    sheet = laid(opening("143 mm", "198 mm", "10x8 in", edges))
    assert sheet.size.image_mm == (mm(image[0]), mm(image[1]))


# Where the picture stands.


@pytest.mark.parametrize(
    ("opens", "orientation", "sheet_px"),
    [
        (("143 mm", "198 mm"), "auto", (2400, 3000)),
        (("198 mm", "143 mm"), "auto", (3000, 2400)),
        (("143 mm", "198 mm"), "portrait", (2400, 3000)),
        (("198 mm", "143 mm"), "portrait", (2400, 3000)),
        (("143 mm", "198 mm"), "landscape", (3000, 2400)),
        (("198 mm", "143 mm"), "landscape", (3000, 2400)),
    ],
)
@pytest.mark.parametrize("size", ["10x8 in", "8x10 in"])
def test_the_way_round_of_the_sheet(
    opens: tuple[str, str], orientation: str, sheet_px: tuple[int, int], size: str
) -> None:
    toml = opening(*opens, size, paper_keys=f'orientation = "{orientation}"')
    assert laid(toml).stock.size_px == sheet_px


@pytest.mark.parametrize(("edge", "sheet_px"), [("top", (2400, 3000)), ("left", (3000, 2400))])
def test_auto_turns_the_sheet_for_its_hinges(edge: str, sheet_px: tuple[int, int]) -> None:
    """182 x 182 mm on 10x8 in leaves 36 mm at two edges but 10.6 at the others, of 12 wanted."""
    toml = opening("176 mm", "176 mm", "10x8 in", paper_keys=f'hinge_edge = "{edge}"')
    assert laid(toml).stock.size_px == sheet_px


def test_two_pictures_placed_on_one_sheet() -> None:
    """Openings 4 3/8 x 6 1/4 in with an inch of bar: their middles are 136.525 mm apart."""
    lefts = (mm("25.575"), mm("25.575") + mm("136.525"))
    boxes = []
    for left in lefts:
        place = f'placement = {{ x = "{float(left)} mm", y = "19.225 mm" }}'
        keys = f'orientation = "landscape"\n{place}'
        sheet = laid(opening("4 3/8 in", "6 1/4 in", "12x8 in", paper_keys=keys))
        assert sheet.stock.size_px == (3600, 2400)
        assert sheet.place.margins_mm.left == left
        assert sheet.place.residual_mm == (Fraction(0), Fraction(0))
        boxes.append(sheet.place.box)
    assert [(box.width, box.height, box.top) for box in boxes] == [(1383, 1946, 227)] * 2
    apart = px_to_mm(boxes[1].left - boxes[0].left, Fraction(300))
    assert abs(apart - mm("136.525")) <= px_to_mm(Fraction(1, 2), Fraction(300))


# Crops.


def test_an_upright_picture_in_the_lobby_frame() -> None:
    found = crop(LOBBY_OAK_OPENING, COX_MEGAPHONE)
    # 4000 x 6000 upright; 190.15 : 250.475 keeps the whole width.
    assert found.exact.width == 4000
    assert f"{float(found.crop_loss):.1%}" == "12.2%"
    assert round(found.effective_ppi) == 534
    assert found.box == Box(0, 366, 4000, 5268)


def test_a_wide_picture_in_an_upright_opening_loses_half() -> None:
    assert f"{float(crop(LOBBY_OAK_OPENING, CATCH_FOUR).crop_loss):.1%}" == "49.4%"


def test_a_small_picture_is_fine_from_further_away() -> None:
    found = crop(LOBBY_OAK_OPENING, CUP_ON_SLIPWAY)
    assert round(found.effective_ppi) == 160
    assert round(found.enough_from_mm) == 545
    in_committee_room = crop(opening("4 3/8 in", "6 1/4 in", "8x6 in"), CUP_ON_SLIPWAY)
    assert round(in_committee_room.effective_ppi) == 247


def test_the_panorama() -> None:
    found = crop(opening("610 mm", "178 mm", "700 x 254 mm"), DAWN_MIST_REACH)
    assert found.exact.height == 3400
    assert f"{1 - float(found.exact.width) / 11800:.1%}" == "3.5%"
    assert round(found.effective_ppi) == 469


def test_the_plate_and_the_hands() -> None:
    plate = crop(TROPHY_CABINET, CREW_1926_PLATE)
    assert plate.exact.width == 2480
    assert plate.exact.height == 2480 * Fraction(204, 149)
    hands = crop(opening("8 3/8 in", "8 3/8 in", "12x10 in"), BOATBUILDER_HANDS)
    assert hands.box == Box(0, 0, 3200, 3200)
    assert hands.crop_loss == 0


def test_a_borderless_sheet_with_bleed() -> None:
    """10x8 in and 24 px (2.032 mm) of bleed at each edge."""
    size = 'width = "10 in"\nheight = "8 in"\noverlap = "2.032 mm"'
    toml = f'[aperture]\n{size}\n[paper]\nsize = "258.064 x 207.264 mm"\n'
    sheet = laid(toml)
    assert sheet.place.box == Box(0, 0, 3048, 2448)
    assert sheet.stock.size_px == (3048, 2448)
    assert round(float(crop(toml, CATCH_FOUR).crop_loss), 2) == 0.17


SIZES = {
    (4, 6): "0.0%",
    (5, 7): "6.7%",
    (8, 10): "16.7%",
    (11, 14): "15.2%",
    (14, 18): "14.3%",
}


@pytest.mark.parametrize("sides", SIZES)
def test_one_picture_at_every_size(sides: tuple[int, int]) -> None:
    planned = plan(whole_sheet(*sides), COX_MEGAPHONE)
    assert f"{float(planned.crop.crop_loss):.1%}" == SIZES[sides]
    assert planned.crop.effective_ppi == Fraction(4000, sides[0])
    # 0.10 mm at 300 ppi, on every size alike.
    assert planned.sharpen is not None
    assert planned.sharpen.sigma_px == pytest.approx(1.1811, abs=5e-5)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_sides_swap_with_the_orientation(orientation: int) -> None:
    """Exif 2.3, tag 0x0112: values 5 to 8 turn a picture onto its side (from memory)."""
    found = crop(LOBBY_OAK_OPENING, header(6000, 4000, orientation))
    upright = crop(LOBBY_OAK_OPENING, header(4000, 6000) if orientation > 4 else header(6000, 4000))
    assert found == upright


def picture_job(keys: str) -> str:
    """The lobby frame's opening with a picture table of the keys given."""
    table = f'[pictures.cox-megaphone]\nsource = "cox-megaphone.jpg"\n{keys}\n'
    return LOBBY_OAK_OPENING + table + '[[prints]]\npicture = "cox-megaphone"\n'


def test_the_focus_moves_the_crop_as_far_as_it_fits() -> None:
    height = 4000 / (mm("190.15") / mm("250.475"))
    near_the_middle = crop(picture_job("centre_on = [0.9, 0.49]"), COX_MEGAPHONE).exact
    assert near_the_middle.top == Fraction("0.49") * 6000 - height / 2
    assert near_the_middle.left == 0
    assert crop(picture_job("centre_on = [0.42, 0.38]"), COX_MEGAPHONE).exact.top == 0
    at_the_foot = crop(picture_job("centre_on = [0.5, 1.0]"), COX_MEGAPHONE).exact
    assert at_the_foot.top + at_the_foot.height == 6000


def test_the_crop_stays_in_its_region() -> None:
    region = "crop = { left = 0.05, top = 0.10, width = 0.8, height = 0.7 }"
    found = crop(picture_job(region), COX_MEGAPHONE)
    # The region is 3200 x 4200 px; 4200 px high is wide enough at 190.15 : 250.475.
    assert found.exact.height == 4200
    assert found.exact.top == 600
    assert found.exact.left + found.exact.width / 2 == 200 + 1600
    assert found.crop_loss == 1 - found.exact.width * 4200 / (4000 * 6000)


@pytest.mark.parametrize("degrees", [45, -45])
def test_a_square_turned_by_half_a_right_angle(degrees: int) -> None:
    """The largest upright square in a square standing on its corner: its side over root two."""
    square = opening("8 3/8 in", "8 3/8 in", "12x10 in")
    table = f'[pictures.hands]\nsource = "boatbuilder-hands.tif"\nlevel = {degrees}\n'
    found = crop(square + table + '[[prints]]\npicture = "hands"\n', BOATBUILDER_HANDS)
    assert float(found.exact.width) == pytest.approx(3200 / sqrt(2), rel=1e-12)
    assert float(found.exact.left) == pytest.approx(1600 - 1600 / sqrt(2), rel=1e-12)
    assert float(found.crop_loss) == pytest.approx(0.5, rel=1e-12)


def test_clearance_is_measured_on_paper_from_the_opening() -> None:
    """A box 400 px inside the crop's left edge, at 4000 px across 190.15 mm, less 3 mm overlap."""
    box = "keep_clear = [{ box = [0.1, 0.4, 0.2, 0.1], label = 'cox' }]"
    (found,) = crop(picture_job(box), COX_MEGAPHONE).clearances
    assert found.distance_mm == mm("190.15") / 10 - 3
    assert found.wanted_mm == 6
    assert found.label == "cox"


def test_opening_a_picture_leaves_its_size_and_its_sheet_as_they_were() -> None:
    unopened = file_of(LOBBY_OAK_OPENING)
    file = with_header(unopened, COX_MEGAPHONE)
    (before,), (after,) = unopened.pictures, file.pictures
    assert isinstance(before.picture, UnopenedPicture)
    assert isinstance(after.picture, PicturePlan)
    assert (after.picture.look, after.picture.size) == (before.picture.look, before.picture.size)
    assert (after.place, after.request) == (before.place, before.request)
    assert (file.name, file.delivery, file.copies) == (
        unopened.name,
        unopened.delivery,
        unopened.copies,
    )
    assert (file.sheet.stock, file.sheet.border_lightness, file.sheet.marks) == (
        unopened.sheet.stock,
        unopened.sheet.border_lightness,
        unopened.sheet.marks,
    )


@pytest.mark.parametrize(
    ("box", "distance"),
    [
        # 108 x 156 mm of image at 10 px in a mm: the box's edge, less what the mat hides there.
        ("[0.10, 0.40, 0.2, 0.2]", "5.8"),  # 10.8 - 5 at the left
        ("[0.70, 0.40, 0.2, 0.2]", "7.8"),  # 10.8 - 3 at the right
        ("[0.40, 0.05, 0.2, 0.2]", "5.8"),  # 7.8 - 2 at the top
        ("[0.40, 0.75, 0.2, 0.2]", "3.8"),  # 7.8 - 4 at the bottom
    ],
)
def test_each_edge_hides_its_own_overlap(box: str, distance: str) -> None:
    overlap = 'overlap = { top = "2 mm", right = "3 mm", bottom = "4 mm", left = "5 mm" }'
    toml = opening("100 mm", "150 mm", "12x8 in", overlap)
    toml += f'[pictures.p]\nsource = "a.tif"\nkeep_clear = [{{ box = {box} }}]\n'
    (found,) = crop(toml + '[[prints]]\npicture = "p"\n', header(1080, 1560)).clearances
    assert found.distance_mm == mm(distance)


def test_the_opening_on_the_picture_leaves_out_each_overlap() -> None:
    overlap = 'overlap = { top = "2 mm", right = "3 mm", bottom = "4 mm", left = "5 mm" }'
    delivery = '[delivery]\nresolution = "254 ppi"\n'
    size = laid(opening("100 mm", "150 mm", "12x8 in", overlap) + delivery).size
    assert size.image_px == (1080, 1560)
    assert size.opening_px == Box(50, 20, 1000, 1500)


def test_widths_of_burns_are_lengths_on_paper() -> None:
    # 25.4 mm at 300 ppi are 300 px.
    toml = opening("100 mm", "150 mm", "12x8 in")
    toml += '[delivery]\nresolution = "300 ppi"\n'
    toml += '[tone]\nedge_burn = { stops = 0.2, width = "25.4 mm" }\n[pictures.p]\n'
    toml += 'source = "a.tif"\nburn = [{ stops = 0.3, edge = [[0.5, 0.5], [0.5, 0.9]], '
    toml += 'softness = "12.7 mm" }]\n[[prints]]\npicture = "p"\n'
    planned = plan(toml, header(1060, 1560))
    assert planned.edge_burn is not None
    assert planned.edge_burn.width_px == pytest.approx(300)
    (burn,) = planned.shades
    assert burn.softness_px == pytest.approx(150)


def test_with_a_reveal_all_of_the_picture_is_seen() -> None:
    reveal = opening("100 mm", "150 mm", "12x8 in", 'reveal = "6 mm"')
    size = laid(reveal + '[delivery]\nresolution = "254 ppi"\n').size
    assert size.opening_px == Box(0, 0, 880, 1380)


@pytest.mark.parametrize(
    ("degrees", "distance"),
    [
        # A square of 1000 px holds one of 1000 / (cos 10 + sin 10) = 863.216 px, which becomes
        # 100 mm. From its middle the part reaches 200 to 400 px right and 0 to 200 px down; turned
        # clockwise its right edge is at 400 cos 10 = 393.923, anticlockwise at
        # 400 cos 10 + 200 sin 10 = 428.653. (431.608 - 393.923) x 100 / 863.216 - 2 = 2.3657.
        (10, 2.3657),
        (-10, -1.6577),
    ],
)
def test_a_part_turns_with_its_picture(degrees: float, distance: float) -> None:
    toml = opening("96 mm", "96 mm", "12x8 in", 'overlap = "2 mm"')
    toml += f'[pictures.p]\nsource = "a.tif"\nlevel = {degrees}\n'
    toml += "keep_clear = [{ box = [0.7, 0.5, 0.2, 0.2] }]\n"
    (found,) = crop(toml + '[[prints]]\npicture = "p"\n', header(1000, 1000)).clearances
    assert float(found.distance_mm) == pytest.approx(distance, abs=1e-3)


@pytest.mark.parametrize("reveal", ["92.075 mm", "122 mm"])
def test_a_reveal_that_leaves_no_picture_has_an_empty_size_and_no_plan(reveal: str) -> None:
    toml = opening("7 1/4 in", "9 5/8 in", "12x8 in", f'reveal = "{reveal}"')
    size = laid(toml).size
    assert min(size.image_mm) <= 0
    assert size.is_empty
    assert not laid(LOBBY_OAK_OPENING).size.is_empty


def test_the_frame_gives_its_opening_to_the_print() -> None:
    toml = LOBBY_OAK + '[[prints]]\nsource = "cox-megaphone.jpg"\nframe = "lobby-oak"\n'
    assert laid(toml) == laid(LOBBY_OAK_OPENING)


# Published figures.


@pytest.mark.parametrize(("long_in", "short_in", "ppi"), [(5, 4, 1600), (7, 5, 1100)])
def test_archive_guideline_resolutions(long_in: int, short_in: int, ppi: int) -> None:
    """US National Archives product sheet AEF-P2: 8000 px on the long side of a print.

    It says "approx. 1600 ppi" for 4x5 in and "approx. 1100 ppi" for 5x7 in.
    """
    size = f'width = "{long_in} in"\nheight = "{short_in} in"\noverlap = "0 mm"'
    toml = f'[aperture]\n{size}\n[paper]\nsize = "{long_in}x{short_in} in"\n'
    found = crop(toml, header(8000, -(-8000 * short_in // long_in)))
    assert found.effective_ppi == Fraction(8000, long_in)
    assert round(found.effective_ppi, -2) == ppi


@pytest.mark.parametrize(
    ("distance_mm", "ppi"),
    [
        (250, 349),
        (300, 291),
        (400, 218),
        (500, 175),
        (600, 146),
        (750, 116),
        (1000, 87),
        (1500, 58),
        (2000, 44),
        (3000, 29),
    ],
)
def test_resolution_that_one_arc_minute_asks_for(distance_mm: int, ppi: int) -> None:
    """ppi = 3438 / distance in inches, a published rule of thumb for one arc minute."""
    assert round(ACUITY_MM_PPI / distance_mm) == ppi
    assert float(ACUITY_MM_PPI / distance_mm) == pytest.approx(
        3438 / (distance_mm / 25.4), rel=1e-4
    )


@pytest.mark.parametrize(("inches", "ppi"), [("11.46", 300), ("24", 143.2)])
def test_published_viewing_distances(inches: str, ppi: float) -> None:
    """3438 / 300 = 11.46 in and 3438 / 24 in = 143 ppi, as published for the same rule."""
    assert float(ACUITY_MM_PPI / (mm(inches) * mm("25.4"))) == pytest.approx(ppi, rel=1e-3)


# Black-and-white and file size.


def test_mono_is_planned_only_when_asked_for() -> None:
    assert plan(LOBBY_OAK_OPENING, COX_MEGAPHONE).mono is None
    mono = plan(LOBBY_OAK_OPENING + "[mono]\n", COX_MEGAPHONE).mono
    assert mono is not None
    assert mono.weights == pytest.approx((0.2126, 0.7152, 0.0722))
    assert mono.filter_factor_stops == pytest.approx(0)


def estimate(keys: str, picture: Header = COX_MEGAPHONE) -> int:
    return estimated_bytes(opened(LOBBY_OAK_OPENING + f"[delivery]\n{keys}\n", picture))


def test_a_better_file_is_estimated_larger() -> None:
    assert estimate("quality = 70") < estimate("quality = 90") < estimate("quality = 100")
    assert estimate("quality = 95") < estimate('format = "tiff"')
    assert estimate('format = "tiff"\nbit_depth = 16') == 2 * estimate('format = "tiff"')

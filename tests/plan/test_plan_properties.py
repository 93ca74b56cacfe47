"""What holds for every sheet and every crop, whatever the lengths.

The largest crop and the nearest place to the centre_on are held against a linear programme (scipy's
HiGHS solver) that knows the crop's corners and the picture's sides only.
"""

from dataclasses import replace
from fractions import Fraction
from math import cos, inf, radians, sin
from typing import Literal

import numpy as np
from hypothesis import assume, example, given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.optimize import linprog

from plans import TROPHY_CABINET, Laid, request
from sightsize.base.units import MM_PER_INCH, px_to_mm
from sightsize.model.picture import Picture, Region
from sightsize.model.settings import Aperture, Edges, Paper
from sightsize.plan.crop import CropPlan, ExactBox, plan_crop
from sightsize.plan.layout import lay_out
from sightsize.plan.size import PictureSize, plan_size

BASE = request(TROPHY_CABINET)
UprightPx = tuple[int, int]


def hundredths(low: int, high: int) -> st.SearchStrategy[Fraction]:
    return st.integers(low * 100, high * 100).map(lambda number: Fraction(number, 100))


def edges(most_mm: int) -> st.SearchStrategy[Edges]:
    return st.builds(Edges, *[hundredths(0, most_mm)] * 4)


@st.composite
def apertures(draw: st.DrawFn) -> Aperture:
    """An opening with an overlap or with a reveal that leaves at least 20 mm of picture."""
    overlap = draw(st.booleans())
    lengths = draw(edges(10))
    return replace(
        BASE.look.aperture,
        width_mm=draw(hundredths(40, 1500)),
        height_mm=draw(hundredths(40, 1500)),
        overlap_mm=lengths if overlap else None,
        reveal_mm=None if overlap else lengths,
    )


@st.composite
def papers(draw: st.DrawFn) -> Paper:
    """Any sheet, larger or smaller than the picture, the picture centred."""
    return replace(
        BASE.paper,
        size_mm=(draw(hundredths(40, 1600)), draw(hundredths(40, 1600))),
        orientation=draw(st.sampled_from(["auto", "portrait", "landscape"])),
        hinge_edge=draw(st.sampled_from(["top", "right", "bottom", "left"])),
    )


resolutions = st.integers(72, 1200).map(Fraction) | st.sampled_from(
    [Fraction(254), Fraction(118 * 254, 100), Fraction(12 * 254, 10)]
)

shares = st.integers(0, 1000).map(lambda number: Fraction(number, 1000))


@st.composite
def regions(draw: st.DrawFn) -> Region:
    left, top = draw(st.integers(0, 900)), draw(st.integers(0, 900))
    width, height = draw(st.integers(50, 1000 - left)), draw(st.integers(50, 1000 - top))
    return Region(*(Fraction(number, 1000) for number in (left, top, width, height)))


angles = st.just(0.0) | st.floats(-45, 45).map(lambda degrees: round(degrees, 3))


@st.composite
def pictures(draw: st.DrawFn) -> Picture:
    return replace(
        BASE.look.picture,
        level_degrees=draw(angles),
        centre_on=draw(st.none() | st.tuples(shares, shares)),
        crop=draw(st.none() | regions()),
    )


uprights = st.tuples(st.integers(200, 20_000), st.integers(200, 20_000))


def size_of(aperture: Aperture) -> PictureSize:
    return plan_size(aperture, Fraction(300))


def laid(aperture: Aperture, paper: Paper, ppi: Fraction) -> Laid:
    """A picture on a sheet without a frame."""
    size = plan_size(aperture, ppi)
    stock, place = lay_out(size, aperture, paper)
    return Laid(size, place, stock)


def crop_of(picture: Picture, upright: UprightPx, aperture: Aperture) -> CropPlan:
    return plan_crop(picture, upright, size_of(aperture), aperture)


# Sheets.


@given(apertures(), papers(), resolutions)
def test_margins_and_picture_make_the_sheet(
    aperture: Aperture, paper: Paper, ppi: Fraction
) -> None:
    sheet = laid(aperture, paper, ppi)
    px, mm, box = sheet.place.margins_px, sheet.place.margins_mm, sheet.place.box
    assert px.left + box.width + px.right == sheet.stock.size_px[0]
    assert px.top + box.height + px.bottom == sheet.stock.size_px[1]
    assert (px.left, px.top) == (box.left, box.top)
    assert mm.left + sheet.size.image_mm[0] + mm.right == sheet.stock.size_mm[0]
    assert mm.top + sheet.size.image_mm[1] + mm.bottom == sheet.stock.size_mm[1]
    assert sorted(sheet.stock.size_mm) == sorted(paper.size_mm)


@given(apertures(), papers(), resolutions)
def test_a_centred_picture_is_centred_to_half_a_pixel(
    aperture: Aperture, paper: Paper, ppi: Fraction
) -> None:
    sheet = laid(aperture, paper, ppi)
    px = sheet.place.margins_px
    odd = px.right - px.left, px.bottom - px.top
    assert set(odd) <= {0, 1}
    assert sheet.place.residual_mm == tuple(px_to_mm(Fraction(each, 2), ppi) for each in odd)


@given(apertures(), papers(), resolutions)
def test_pixels_are_rounded_and_never_grown_for_parity(
    aperture: Aperture, paper: Paper, ppi: Fraction
) -> None:
    sheet = laid(aperture, paper, ppi)
    lengths_mm, lengths_px = (
        sheet.size.image_mm + sheet.stock.size_mm,
        sheet.size.image_px + sheet.stock.size_px,
    )
    for length, px in zip(lengths_mm, lengths_px, strict=True):
        assert -Fraction(1, 2) <= length / MM_PER_INCH * ppi - px < Fraction(1, 2)


# 149 mm is 1759.84 px, its place 10.04 mm is 118.58 px, and both round up; their sum rounds down.
@example(
    BASE.look.aperture, Fraction(300), (Fraction(1), Fraction(0)), Fraction("10.04"), Fraction(0)
)
@given(apertures(), resolutions, st.tuples(shares, shares), hundredths(0, 200), hundredths(0, 200))
def test_a_picture_placed_on_its_sheet_stays_on_it(
    aperture: Aperture,
    ppi: Fraction,
    place: tuple[Fraction, Fraction],
    spare_width: Fraction,
    spare_height: Fraction,
) -> None:
    image = size_of(aperture).image_mm
    size = image[0] + spare_width, image[1] + spare_height
    at = spare_width * place[0], spare_height * place[1]
    orientation: Literal["portrait", "landscape"]
    orientation = "portrait" if size[0] <= size[1] else "landscape"
    paper = replace(BASE.paper, size_mm=size, orientation=orientation, placement_mm=at)
    sheet = laid(aperture, paper, ppi)
    px, mm = sheet.place.margins_px, sheet.place.margins_mm
    assert (mm.left, mm.top) == at
    assert min(px.top, px.right, px.bottom, px.left) >= 0
    assert abs(px_to_mm(px.left, ppi) - mm.left) <= px_to_mm(1, ppi)
    assert abs(px_to_mm(px.top, ppi) - mm.top) <= px_to_mm(1, ppi)


# Crops, by sums.


@given(pictures(), uprights, apertures())
def test_the_crop_has_the_exact_ratio(
    picture: Picture, upright: UprightPx, aperture: Aperture
) -> None:
    box, image = crop_of(picture, upright, aperture).exact, size_of(aperture).image_mm
    assert box.width / box.height == image[0] / image[1]


@given(pictures(), uprights, apertures())
def test_scales_multiply_out(picture: Picture, upright: UprightPx, aperture: Aperture) -> None:
    crop, size = crop_of(picture, upright, aperture), size_of(aperture)
    assert crop.magnification * crop.effective_ppi == size.ppi
    assert crop.effective_ppi * size.image_mm[0] / MM_PER_INCH == crop.exact.width
    assert crop.effective_ppi * size.image_mm[1] / MM_PER_INCH == crop.exact.height


@given(pictures(), uprights, apertures())
def test_the_loss_is_a_share(picture: Picture, upright: UprightPx, aperture: Aperture) -> None:
    crop = crop_of(picture, upright, aperture)
    kept = crop.exact.width * crop.exact.height / (upright[0] * upright[1])
    assert 0 <= crop.crop_loss < 1
    assert crop.crop_loss + kept == 1


@given(pictures(), uprights, apertures())
def test_whole_pixels_are_the_exact_box_rounded(
    picture: Picture, upright: UprightPx, aperture: Aperture
) -> None:
    crop = crop_of(picture, upright, aperture)
    exact, box = crop.exact, crop.box
    assume(min(exact.width, exact.height) >= 1)
    half = Fraction(1, 2)
    assert abs(box.left - exact.left) <= half
    assert abs(box.top - exact.top) <= half
    assert abs(box.left + box.width - exact.left - exact.width) <= half
    assert abs(box.top + box.height - exact.top - exact.height) <= half
    if picture.level_degrees == 0:
        assert box.left >= 0
        assert box.top >= 0
        assert box.left + box.width <= upright[0]
        assert box.top + box.height <= upright[1]


@given(pictures(), uprights, apertures(), st.integers(2, 5))
def test_a_larger_source_scales_the_crop(
    picture: Picture, upright: UprightPx, aperture: Aperture, times: int
) -> None:
    small = crop_of(picture, upright, aperture)
    large = crop_of(picture, (upright[0] * times, upright[1] * times), aperture)
    assert large.exact == _scaled(small.exact, times)
    assert large.crop_loss == small.crop_loss
    assert large.effective_ppi == small.effective_ppi * times


def _scaled(box: ExactBox, times: int) -> ExactBox:
    return ExactBox(box.left * times, box.top * times, box.width * times, box.height * times)


@given(pictures(), uprights, apertures())
def test_a_mirrored_picture_has_the_mirrored_crop(
    picture: Picture, upright: UprightPx, aperture: Aperture
) -> None:
    box = crop_of(picture, upright, aperture).exact
    found = crop_of(_mirrored(picture), upright, aperture).exact
    assert found == replace(box, left=upright[0] - box.left - box.width)


def _mirrored(picture: Picture) -> Picture:
    centre_on, crop = picture.centre_on, picture.crop
    return replace(
        picture,
        level_degrees=-picture.level_degrees,
        centre_on=centre_on and (1 - centre_on[0], centre_on[1]),
        crop=crop and replace(crop, left=1 - crop.left - crop.width),
    )


@given(uprights, apertures(), angles)
def test_turning_either_way_costs_the_same(
    upright: UprightPx, aperture: Aperture, degrees: float
) -> None:
    there = crop_of(replace(BASE.look.picture, level_degrees=degrees), upright, aperture)
    back = crop_of(replace(BASE.look.picture, level_degrees=-degrees), upright, aperture)
    assert there.exact == back.exact
    assert there.crop_loss == back.crop_loss


@given(pictures(), uprights, apertures())
def test_turning_by_nothing_is_not_turning(
    picture: Picture, upright: UprightPx, aperture: Aperture
) -> None:
    """The level crop is a side of the region and the ratio; a hair's turn moves it by a hair."""
    level = crop_of(replace(picture, level_degrees=0.0), upright, aperture)
    region, image = _region(picture, upright), size_of(aperture).image_mm
    ratio = image[0] / image[1]
    width = min(region.width, region.height * ratio)
    assert (level.exact.width, level.exact.height) == (width, width / ratio)
    hair = crop_of(replace(picture, level_degrees=1e-9), upright, aperture)
    assert np.allclose(_numbers(hair.exact), _numbers(level.exact), rtol=0, atol=1e-5)


def _numbers(box: ExactBox) -> list[float]:
    return [float(each) for each in (box.left, box.top, box.width, box.height)]


def _region(picture: Picture, upright: UprightPx) -> ExactBox:
    width, height = upright
    crop = picture.crop or Region(Fraction(0), Fraction(0), Fraction(1), Fraction(1))
    return ExactBox(crop.left * width, crop.top * height, crop.width * width, crop.height * height)


# Crops, by their corners. A crop is (x, y, w): middle in the turned picture, and width. Each of
# its corners, turned back, must stand inside the region: rows of A (x, y, w) <= b.


def _constraints(
    picture: Picture, upright: UprightPx, ratio: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Rows in units of the picture's longer side, about the picture's middle."""
    unit = max(upright)
    region = _region(picture, upright)
    left = float(region.left - Fraction(upright[0], 2)) / unit
    top = float(region.top - Fraction(upright[1], 2)) / unit
    right, bottom = left + float(region.width) / unit, top + float(region.height) / unit
    angle = radians(picture.level_degrees)
    rows, limits = [], []
    for across, down in ((-0.5, -0.5), (-0.5, 0.5), (0.5, -0.5), (0.5, 0.5)):
        corner_x = np.array([1, 0, across])
        corner_y = np.array([0, 1, down / ratio])
        back_x = cos(angle) * corner_x + sin(angle) * corner_y
        back_y = -sin(angle) * corner_x + cos(angle) * corner_y
        rows += [back_x, -back_x, back_y, -back_y]
        limits += [right, -left, bottom, -top]
    return np.array(rows), np.array(limits)


def _crop_vector(box: ExactBox, upright: UprightPx) -> NDArray[np.float64]:
    x = box.left + (box.width - upright[0]) / 2
    y = box.top + (box.height - upright[1]) / 2
    return np.array([float(each / max(upright)) for each in (x, y, box.width)])


def _ratio(aperture: Aperture) -> float:
    width, height = size_of(aperture).image_mm
    return float(width / height)


@given(pictures(), uprights, apertures())
def test_all_four_corners_stand_in_the_turned_region(
    picture: Picture, upright: UprightPx, aperture: Aperture
) -> None:
    rows, limits = _constraints(picture, upright, _ratio(aperture))
    crop = _crop_vector(crop_of(picture, upright, aperture).exact, upright)
    assert np.max(rows @ crop - limits) < 1e-9


@given(pictures(), uprights, apertures())
def test_no_larger_crop_fits(picture: Picture, upright: UprightPx, aperture: Aperture) -> None:
    rows, limits = _constraints(picture, upright, _ratio(aperture))
    crop = _crop_vector(crop_of(picture, upright, aperture).exact, upright)
    best = linprog([0, 0, -1], A_ub=rows, b_ub=limits, bounds=[(-inf, inf), (-inf, inf), (0, inf)])
    assert best.status == 0
    assert abs(best.x[2] - crop[2]) < 1e-6


@given(pictures(), uprights, apertures())
def test_no_crop_of_that_size_stands_nearer_to_the_focus(
    picture: Picture, upright: UprightPx, aperture: Aperture
) -> None:
    """The nearest point of a convex set: nothing in the set lies further towards the centre_on."""
    rows, limits = _constraints(picture, upright, _ratio(aperture))
    x, y, width = _crop_vector(crop_of(picture, upright, aperture).exact, upright)
    towards = _focus_vector(picture, upright) - np.array([x, y])
    best = linprog(
        -towards,
        A_ub=rows[:, :2],
        # A hair narrower, since the widest crop leaves no room along one side.
        b_ub=limits - rows[:, 2] * width * (1 - 1e-6),
        bounds=[(-inf, inf), (-inf, inf)],
    )
    assert best.status == 0
    assert -best.fun <= towards @ [x, y] + 3e-6


def _focus_vector(picture: Picture, upright: UprightPx) -> NDArray[np.float64]:
    """The centre_on, or the region's middle, in the turned picture."""
    region = _region(picture, upright)
    centre_on = picture.centre_on
    x = centre_on[0] * upright[0] if centre_on else region.left + region.width / 2
    y = centre_on[1] * upright[1] if centre_on else region.top + region.height / 2
    across = float(x - Fraction(upright[0], 2)) / max(upright)
    down = float(y - Fraction(upright[1], 2)) / max(upright)
    angle = radians(picture.level_degrees)
    return np.array(
        [
            across * cos(angle) - down * sin(angle),
            across * sin(angle) + down * cos(angle),
        ]
    )

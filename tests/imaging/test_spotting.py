"""Spotting against dense solves, OpenCV, and pictures whose clean state is known."""

from collections.abc import Callable, Sequence
from functools import partial
from itertools import pairwise
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
import pyvips
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation, gaussian_filter
from skimage.color import deltaE_ciede2000, rgb2lab

from icc_profiles import Floats
from sightsize.errors import SourceError, SpottingError
from sightsize.imaging.colour.light import COLOUR
from sightsize.imaging.retouch.donor import Search, find_donor
from sightsize.imaging.retouch.membrane import membrane
from sightsize.imaging.retouch.patches import Patch, lay_patches
from sightsize.imaging.retouch.spotting import find_patches
from sightsize.model.geometry import Box
from sightsize.plan.mark_shapes import Marks, depth
from sightsize.plan.places import Mark

Light = NDArray[np.float32]
Mask = NDArray[np.bool_]
RNG = np.random.default_rng(26)


def spot(x: float, y: float, radius: float, **changes: Any) -> Mark:
    return line((x, y), (x, y), radius, **changes)


def line(
    start: tuple[float, float], end: tuple[float, float], radius: float, **changes: Any
) -> Mark:
    facts: dict[str, Any] = {"donor": None, "strength": 1.0, "label": "spot 1", "required": True}
    return Mark(start=start, end=end, radius_px=radius, **{**facts, **changes})


def reader(picture: Light) -> Callable[[Box], Light]:
    def read(box: Box) -> Light:
        rows, columns = picture.shape[:2]
        assert box.left >= 0
        assert box.top >= 0
        assert box.left + box.width <= columns
        assert box.top + box.height <= rows
        return picture[box.top : box.top + box.height, box.left : box.left + box.width]

    return read


def image(picture: Light) -> pyvips.Image:
    rows, columns, bands = picture.shape
    return pyvips.Image.new_from_memory(picture.tobytes(), columns, rows, bands, "float")


def cleared(picture: Light, *marks: Mark) -> Light:
    """The picture after its marks are cleared; nothing may be left as it is."""
    patches, notes = find_patches(reader(picture), picture.shape[1::-1], marks)
    assert notes == []
    return np.atleast_3d(lay_patches(image(picture), patches, COLOUR, 0, 0).numpy())


def depths(picture: Light, mark: Mark) -> Floats:
    rows, columns = picture.shape[:2]
    y, x = np.mgrid[:rows, :columns] + 0.5
    return depth(x + 1j * y, mark)


def disc(radius: float, size: int) -> Mask:
    y, x = np.mgrid[:size, :size] - (size - 1) / 2
    return np.asarray(x * x + y * y <= radius * radius)


def dense(shape: Mask, known: Mask, values: Floats) -> Floats:
    """The same equations one by one, solved by numpy."""
    pixels = [(int(row), int(column)) for row, column in np.argwhere(shape)]
    number = {pixel: at for at, pixel in enumerate(pixels)}
    matrix, right = np.zeros((len(pixels),) * 2), np.zeros((len(pixels), values.shape[2]))
    for (row, column), at in number.items():
        for other in ((row - 1, column), (row + 1, column), (row, column - 1), (row, column + 1)):
            inside = 0 <= other[0] < shape.shape[0] and 0 <= other[1] < shape.shape[1]
            if other in number:
                matrix[at, at] += 1
                matrix[at, number[other]] -= 1
            elif inside and known[other]:
                matrix[at, at] += 1
                right[at] += values[other]
    result = np.zeros_like(values)
    result[shape] = np.linalg.solve(matrix, right)
    return result


def shapes() -> dict[str, tuple[Mask, Mask]]:
    """Shapes and their known surroundings, with free edges among them."""
    round_shape = disc(9.3, 23)
    corner, bar = np.zeros((20, 16), bool), np.zeros((30, 12), bool)
    corner[:9, :7] = True
    bar[2:28, 4:7] = True
    free = ~bar
    free[:8] = False
    thin = np.eye(12, dtype=bool)
    return {
        "disc": (round_shape, ~round_shape),
        "corner of the picture": (corner, ~corner),
        "bar with an unknown end": (bar, free),
        "pixels that meet at corners": (thin, ~thin),
        "one pixel": (disc(0.4, 3), ~disc(0.4, 3)),
    }


@pytest.mark.parametrize("effort", [1e12, 0.0], ids=["banded", "sparse"])
@pytest.mark.parametrize("name", shapes())
def test_membrane_equals_a_dense_solve(name: str, effort: float) -> None:
    # The discrete Poisson equation for the donor's gradients: Perez, Gangnet and Blake, Poisson
    # Image Editing, SIGGRAPH 2003 (from memory).
    shape, known = shapes()[name]
    values = RNG.normal(size=(*shape.shape, 3))
    found = membrane(shape, known, values, effort)
    assert np.abs(found - dense(shape, known, values)).max() < 1e-5
    assert (found[~shape] == 0).all()


def test_large_and_small_solvers_agree_where_they_meet() -> None:
    shape = disc(44, 95)
    values = RNG.normal(size=(95, 95, 1)) + np.arange(95)[:, None, None] / 10
    banded, sparse = (membrane(shape, ~shape, values, effort) for effort in (1e12, 0.0))
    assert np.abs(banded - sparse).max() < 1e-5 * np.abs(values).max()


@settings(max_examples=25)
@given(st.tuples(*[st.floats(-2, 2)] * 3), st.floats(0.5, 8), st.sampled_from([1e12, 0.0]))
def test_membrane_of_a_plane_is_the_plane(
    plane: tuple[float, float, float], radius: float, effort: float
) -> None:
    y, x = np.mgrid[:19, :19] / 19
    values = (plane[0] + plane[1] * x + plane[2] * y)[..., None]
    shape = disc(radius, 19) | (disc(0.1, 19))
    found = membrane(shape, ~shape, values, effort)
    assert found[shape] == pytest.approx(values[shape], abs=1e-6)


@settings(max_examples=25)
@given(st.integers(0, 2**32 - 1), st.floats(0.5, 8), st.sampled_from([1e12, 0.0]))
def test_membrane_stays_between_its_outline(seed: int, radius: float, effort: float) -> None:
    # The maximum principle of harmonic functions, which holds for four neighbours too.
    values = np.random.default_rng(seed).uniform(-1, 1, size=(19, 19, 1))
    shape = disc(radius, 19) | disc(0.1, 19)
    outline = binary_dilation(shape) & ~shape
    found = membrane(shape, ~shape, values, effort)[shape]
    assert found.min() >= values[outline].min() - 1e-6
    assert found.max() <= values[outline].max() + 1e-6


def test_opencv_clones_the_same_smooth_patch() -> None:
    # cv2.seamlessClone, NORMAL_CLONE: the Poisson clone of the same paper, in 8 bits. It holds the
    # outline of the mask's box and takes the donor's gradients from three pixels inside the mask
    # on; so squares of smooth pictures are compared, within a fifth of what cloning changes.
    y, x = np.mgrid[:96, :96]
    target = np.stack([90 + 0.5 * x + 8 * np.sin(y / 23), 120 + 0.3 * y, 150 - 0.4 * x], axis=2)
    donor = np.stack([90 + 20 * np.sin(x / 14), 99 + 20 * np.cos(y / 14), 99 + 0.6 * x], axis=2)
    shape = np.zeros((96, 96), bool)
    shape[11:84, 11:84] = True
    wanted = cv2.seamlessClone(
        np.rint(donor).astype(np.uint8),
        np.rint(target).astype(np.uint8),
        binary_dilation(shape, np.ones((3, 3)), 2).astype(np.uint8) * 255,
        (47, 47),
        cv2.NORMAL_CLONE,
    )
    found = donor + membrane(shape, ~shape, target - donor)
    off = np.abs(found - wanted)[shape]
    change = np.abs(target - found)[shape]
    assert off.max() < min(4, change.max() / 5)
    assert off.mean() < min(1, change.mean() / 5)


def plane(rows: int, columns: int, *slopes: float) -> Light:
    y, x = np.mgrid[:rows, :columns]
    bands = [0.2 + slope * x / columns - slope / 2 * y / rows for slope in slopes]
    return np.stack(bands, axis=2).astype(np.float32)


PLACES = [(60.0, 50.0), (60.3, 49.8), (0.0, 0.0), (119.5, 99.0), (3.0, 50.0), (60.0, 98.5)]


@pytest.mark.parametrize("place", PLACES, ids=str)
@pytest.mark.parametrize("bands", [1, 3])
def test_flat_and_sloping_pictures_come_back_exactly(
    place: tuple[float, float], bands: int
) -> None:
    # At the picture's edge the membrane hangs free, which keeps constants but bends slopes.
    inside = min(place[0], place[1], 120 - place[0], 100 - place[1]) > 9
    clean = plane(100, 120, *((0.1, 0.3, -0.1)[:bands] if inside else (0.0,) * bands))
    mark = spot(*place, 8)
    dirty = clean.copy()
    dirty[depths(clean, mark) > 1.2] = 0.9
    assert np.abs(dirty - clean).max() > 0.3
    assert cleared(dirty, mark) == pytest.approx(clean, abs=2e-6)


def skin(rows: int, columns: int, seed: int) -> Light:
    """A synthetic cheek: smooth shading, correlated pores, redness in blotches."""
    random = np.random.default_rng(seed)

    def texture(sigma: float) -> Floats:
        field = gaussian_filter(random.normal(size=(rows, columns)), sigma)
        return np.asarray(field / field.std())[..., None]

    y, x = np.mgrid[:rows, :columns]
    shade = 0.75 + 0.35 * np.cos((x - columns / 2) / 260) * np.cos((y - 90) / 280) - 0.0004 * x
    detail = 0.045 * texture(1.3) * [0.9, 1, 1.05] + 0.02 * texture(9) * [0.7, 1, 1.1]
    return np.asarray(np.array([0.47, 0.26, 0.19]) * shade[..., None] * np.exp(detail), np.float32)


def blemished(clean: Light, mark: Mark) -> Light:
    """A red, soft-edged blemish that the mark's radius exceeds by 30 %."""
    inside = depths(clean, mark) - 0.3 / 1.3 * mark.radius_px
    share = 0.8 * np.clip(inside / (0.3 * mark.radius_px), 0, 1)[..., None]
    return np.asarray(clean * (1 - share + share * [0.75, 0.42, 0.42]), np.float32)


def lab(light: Light) -> Floats:
    low = np.clip(light, 0, 1)
    encoded = np.where(low <= 0.0031308, 12.92 * low, 1.055 * low ** (1 / 2.4) - 0.055)
    return np.asarray(rgb2lab(encoded))


def test_a_blemish_on_skin_leaves_no_trace() -> None:
    clean = skin(420, 560, 5)
    marks = [spot(70 + 105 * (n % 5), 70 + 93 * (n // 5), 8 + n) for n in range(20)]
    dirty = clean
    for mark in marks:
        dirty = blemished(dirty, mark)
    found = cleared(dirty, *marks)
    clean_l, found_l = lab(clean)[..., 0], lab(found)[..., 0]
    fine = [each - gaussian_filter(each, 3) for each in (clean_l, found_l)]
    variances, steps = [], []
    for mark in marks:
        inside = depths(clean, mark)
        assert difference(clean, dirty, inside >= 0).mean() > 3
        assert difference(clean, found, inside >= 0).mean() < 1.5
        variances.append([each[inside >= 0].var() for each in fine])
        steps.append(
            [profile_steps(each, inside) for each in (clean_l, found_l - clean_l, found_l)]
        )
    clean_variance, found_variance = np.mean(variances, axis=0)
    assert found_variance == pytest.approx(clean_variance, rel=0.2)
    # No ring: none that all spots share, and no more of a step than the skin has by itself.
    assert np.abs(np.mean(steps, axis=0)[1]).max() < 0.5
    natural, _, left = np.sqrt(np.square(steps).mean(axis=(0, 2)))
    assert left < 1.25 * natural


def difference(one: Light, other: Light, where: Mask) -> Floats:
    """CIEDE2000 at some pixels."""
    return np.asarray(deltaE_ciede2000(lab(one[where]), lab(other[where])))


def profile_steps(lightness: Floats, inside: Floats) -> list[float]:
    """The steps of the mean radial profile across a spot's outline, 2 px at a time."""
    rings = [lightness[(inside >= at) & (inside < at + 2)].mean() for at in range(-6, 6, 2)]
    return [float(b - a) for a, b in pairwise(rings)]


def test_a_scratch_across_the_picture() -> None:
    clean = skin(300, 460, 8)
    mark = line((0, 40), (460, 250), 4)
    dirty = clean.copy()
    dirty[depths(clean, mark) > 1.2] = 0.95
    found = cleared(dirty, mark)
    on_it = depths(clean, mark) >= 0
    assert difference(clean, dirty, on_it).mean() > 15
    assert difference(clean, found, on_it).mean() < 1.5
    assert difference(clean, found, on_it).max() < 8
    assert (found[~on_it] == clean[~on_it]).all()


@pytest.mark.parametrize(
    "ends", [((60, 60), (60, 240)), ((30, 90), (270, 90)), ((40, 40), (260, 250))]
)
def test_a_scratch_is_reduced_alike_along_its_length(
    ends: tuple[tuple[float, float], tuple[float, float]],
) -> None:
    # It is cleared in pieces; where two meet, nothing may be reduced twice.
    clean = np.full((300, 300, 1), 0.3, np.float32)
    mark = line(*ends, 4, strength=0.5)
    dirty = clean.copy()
    middle = depths(clean, mark) > 1.5
    dirty[middle] = 0.5
    assert cleared(dirty, mark)[middle] == pytest.approx(0.4, abs=1e-6)


def test_strength_blends_old_and_new() -> None:
    dirty = blemished(skin(120, 140, 3), spot(70, 60, 9))
    nothing, half, all_of_it = (
        cleared(dirty, spot(70, 60, 9, strength=strength)) for strength in (0.0, 0.5, 1.0)
    )
    assert (nothing == dirty).all()
    assert np.abs(all_of_it - dirty).max() > 0.05
    assert half == pytest.approx((dirty + all_of_it) / 2, abs=1e-6)


def test_only_the_mark_changes_and_every_run_is_the_same() -> None:
    dirty = blemished(skin(120, 140, 3), spot(70, 60, 9))
    found = cleared(dirty, spot(70, 60, 9))
    outside = depths(dirty, spot(70, 60, 9)) < 0
    assert (found[outside] == dirty[outside]).all()
    assert (found[~outside] != dirty[~outside]).any(axis=1).mean() > 0.95
    assert (cleared(dirty, spot(70, 60, 9)) == found).all()


def test_the_edge_is_soft() -> None:
    # A picture that the mark makes lighter all over: new light comes in over 0.15 r.
    clean = np.full((100, 200, 1), 0.3, np.float32)
    mark = spot(50, 50, 20)
    dirty = np.where(depths(clean, mark)[..., None] >= 0, np.float32(0.5), clean)
    row = cleared(dirty, mark)[50, 30:35, 0]  # depths 0.5, 1.5, 2.5, 3.5 and 4.5 of 3 px
    share = np.clip(np.arange(0.5, 5) / 3, 0, 1)
    assert row == pytest.approx(0.5 - 0.2 * share, abs=2e-3)


def test_a_named_donor_is_used() -> None:
    picture = np.full((120, 160, 1), 0.3, np.float32)
    picture[:, 100:] += 0.02 * RNG.normal(size=(120, 60, 1)).astype(np.float32)
    found = cleared(picture, spot(40, 60, 10, donor=(130.0, 60.0)))
    core = depths(picture, spot(40, 60, 10)) >= 3
    taken = np.roll(picture, -90, axis=1)
    # The donor's texture, on a membrane: its gradients are there to the last digit.
    shift = (found - taken)[core].std()
    assert found[core].std() > 0.01
    assert shift < 0.35 * taken[core].std()
    assert cleared(picture, spot(40, 60, 10))[core].std() < 1e-6  # left to itself it stays flat


def checkerboard(side: int) -> Light:
    y, x = np.mgrid[:300, :300] // side
    turned = (x + y + (x // 3) * (y // 2) + x * x * y // 5) % 2
    return np.asarray(0.1 + 0.7 * turned[..., None], np.float32)


def refused(picture: Light, mark: Mark) -> str:
    with pytest.raises(SpottingError) as caught:
        find_patches(reader(picture), picture.shape[1::-1], [mark])
    assert isinstance(caught.value, SourceError)
    return str(caught.value)


@pytest.mark.parametrize("side", [8, 14, 25, 40])
def test_no_clean_donor_among_squares(side: int) -> None:
    said = refused(checkerboard(side), spot(150, 150, 20, label="pictures.mira spot 2"))
    assert said.startswith(
        "pictures.mira spot 2 cannot be cleared: the best place nearby differs too much from"
    )
    assert said.endswith(
        "; name a donor, or increase the radius if the mark extends beyond it, or reduce it if "
        "it touches an edge"
    )


def test_no_clean_donor_without_room() -> None:
    flat = np.full((80, 80, 1), 0.3, np.float32)
    for radius in (25, 40, 120):
        assert "no unmarked place of its size nearby" in refused(flat, spot(40, 40, radius))
    assert "no unmarked place of its size nearby" in refused(flat, line((0, 40), (80, 40), 14))


def test_a_named_donor_must_be_in_the_picture_and_off_the_mark() -> None:
    flat = np.full((80, 80, 1), 0.3, np.float32)
    assert "beyond the picture's edge" in refused(flat, spot(40, 40, 10, donor=(75.0, 40.0)))
    assert "lies on the mark itself" in refused(flat, spot(40, 40, 10, donor=(50.0, 40.0)))
    assert "name another donor" in refused(flat, spot(40, 40, 10, donor=(50.0, 40.0)))


def test_dust_without_a_donor_is_noted_and_left() -> None:
    picture = checkerboard(25)
    dust = spot(150, 150, 20, required=False, label="dust 3")
    patches, notes = find_patches(reader(picture), (300, 300), [dust])
    assert patches == []
    assert len(notes) == 1
    assert notes[0].startswith(
        "dust 3 was left as it is: the best place nearby differs too much from"
    )


def test_an_edge_in_the_ring_is_no_excuse() -> None:
    # A step across the mark at an angle that no donor continues: the texture is quiet, the step is
    # large, so that a mismatch may not hide in the ring's variance.
    y, x = np.mgrid[:300, :300]
    curve = np.hypot(x - 150, y - 138) < 14
    picture = np.where(curve, 0.6, 0.2)[..., None] + 0.002 * RNG.normal(size=(300, 300, 1))
    assert "differs too much from" in refused(picture.astype(np.float32), spot(150, 150, 12))


@pytest.mark.parametrize("sigma", [0.0, 0.7, 1.3, 2.5, 5.0])
@pytest.mark.parametrize("radius", [4.0, 20.0])
def test_clean_texture_is_not_refused(sigma: float, radius: float) -> None:
    field = gaussian_filter(RNG.normal(size=(400, 400)), sigma)
    picture = (0.3 + 0.02 * field / field.std())[..., None].astype(np.float32)
    for _ in range(12):
        x, y = RNG.uniform(0, 400, size=2)
        found = cleared(picture, spot(x, y, radius))
        assert np.abs(found - picture).max() < 0.25


def test_overlapping_marks_see_what_earlier_ones_left() -> None:
    clean = skin(200, 240, 4)
    marks = [spot(100, 100, 14), spot(118, 106, 12), spot(109, 118, 3), spot(105, 98, 30)]
    dirty = clean.copy()
    for mark in marks[:2]:
        dirty[depths(clean, mark) > 0.15 * mark.radius_px] = 0.01
    for chosen in (marks[:2], marks[1::-1], marks[:3], marks):
        found = cleared(dirty, *chosen)
        on_them = np.max([depths(clean, mark) for mark in chosen], axis=0) >= 0
        off = difference(clean, found, on_them)
        assert off.mean() < 1.5
        assert off.max() < 8
        assert (found[~on_them] == clean[~on_them]).all()


def test_marks_side_by_side_do_not_bleed_into_each_other() -> None:
    clean = np.full((120, 200, 3), 0.3, np.float32)
    marks = [spot(80, 60, 10), spot(100.3, 60, 10), spot(90, 77.6, 10)]
    dirty = clean.copy()
    for mark in marks:
        dirty[depths(clean, mark) >= 1.5] = (0.9, 0.1, 0.0)
    assert cleared(dirty, *marks) == pytest.approx(clean, abs=1e-5)


@given(st.integers(0, 2**32 - 1))
def test_donors_lie_in_the_picture_and_off_every_mark(seed: int) -> None:
    random = np.random.default_rng(seed)
    picture = (0.3 + 0.02 * random.normal(size=(200, 260, 1))).astype(np.float32)
    starts = random.uniform(0, 260, 6) + 1j * random.uniform(0, 200, 6)
    ends = starts + random.choice([0, 1], 6) * random.normal(size=6) * 25j ** random.uniform(0, 1)
    marks = Marks(starts, ends, random.uniform(1, 14, 6))
    start, end, radius = complex(starts[0]), complex(ends[0]), float(marks.radii[0])
    mark = line((start.real, start.imag), (end.real, end.imag), radius)
    rows, columns = np.nonzero(depths(picture, mark) >= 0)
    clean = partial(np.zeros_like, dtype=bool)
    donor = find_donor(
        reader(picture), (260, 200), Search(start, end, radius, (columns, rows), clean, marks)
    )
    assume(donor is not None)
    assert donor is not None
    columns, rows = columns + donor.shift[0], rows + donor.shift[1]
    assert min(columns.min(), rows.min()) >= 0
    assert columns.max() < 260
    assert rows.max() < 200
    assert not marks.cover(columns + 0.5 + 1j * (rows + 0.5)).any()


@settings(max_examples=20)
@given(st.integers(0, 2**32 - 1))
def test_patches_lie_anywhere_on_a_crop_and_in_any_order(seed: int) -> None:
    random = np.random.default_rng(seed)
    picture = (0.3 + 0.02 * random.normal(size=(90, 130, 3))).astype(np.float32)
    places = random.uniform(0, (130, 90), size=(6, 2))
    dust = [spot(float(x), float(y), random.uniform(1, 9), required=False) for x, y in places]
    patches, _ = find_patches(reader(picture), (130, 90), dust)
    whole = lay_patches(image(picture), patches, COLOUR, 0, 0).numpy()
    left, top, right, bottom = 30, 25, 100, 70
    crop = image(picture).crop(left, top, right - left, bottom - top)
    for order in (patches, patches[::-1]):
        laid = lay_patches(crop, order, COLOUR, left, top)
        assert (laid.width, laid.height, laid.bands, laid.format) == (70, 45, 3, "float")
        assert (laid.numpy() == whole[top:bottom, left:right]).all()


def test_patches_are_laid_on_a_picture_that_streams(tmp_path: Path) -> None:
    codes = RNG.integers(0, 255, size=(1400, 900, 3), dtype=np.uint8)
    file = str(tmp_path / "source.tif")
    pyvips.Image.new_from_array(codes).tiffsave(file)
    grey = np.full((41, 41, 3), 0.25, np.float32)
    places = RNG.integers((-30, -30), (890, 1390), size=(50, 2))
    patches = [Patch(int(x), int(y), grey) for x, y in places]
    streamed = pyvips.Image.new_from_file(file, access="sequential").linear([1 / 255], [0])
    laid = lay_patches(streamed.crop(20, 30, 860, 1340), patches, COLOUR, 20, 30)
    wanted = codes.astype(np.float32) / 255
    for x, y in places:
        wanted[max(y, 0) : y + 41, max(x, 0) : x + 41] = 0.25
    assert np.abs(laid.numpy() - wanted[30:1370, 20:880]).max() < 1e-6


def test_large_marks_are_bounded() -> None:
    # Too large for one factorisation, and for one window round all donors.
    y, x = np.mgrid[:1500, :1500] / 1500
    clean = (0.3 + 0.2 * x * y)[..., None].astype(np.float32)
    mark = spot(750, 750, 130)
    dirty = clean.copy()
    dirty[depths(clean, mark) > 0.15 * mark.radius_px] = 0.9
    seen: list[Box] = []

    def read(box: Box) -> Light:
        seen.append(box)
        return reader(dirty)(box)

    patches, _ = find_patches(read, (1500, 1500), [mark])
    found = np.atleast_3d(lay_patches(image(dirty), patches, COLOUR, 0, 0).numpy())
    assert np.abs(found - clean).max() < 2e-3
    assert max(box.width * box.height for box in seen) <= 4_000_000


def test_marks_beyond_the_picture_are_nothing() -> None:
    flat = np.full((50, 50, 1), 0.3, np.float32)
    marks: Sequence[Mark] = [spot(-30, 20, 5), spot(25, 90, 9), spot(20.0, 20.0, 0.2)]
    assert find_patches(reader(flat), (50, 50), marks) == ([], [])
    assert find_patches(reader(flat), (50, 50), []) == ([], [])

"""Marks in a job: where they lie in the print, whose dust it is, and what may be permanent."""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image, ImageOps

from pictures import Pixels, job, make, picture_of, printed, save
from plans import CATCH_FOUR, COX_MEGAPHONE, findings, plan, with_header
from plans import job as job_of
from sightsize.checks.run import check_opened
from sightsize.errors import SpottingError
from sightsize.imaging.retouch.spotting import find_patches
from sightsize.model.header import Header
from sightsize.plan.arrange import arrange
from sightsize.plan.mark_shapes import as_arrays, distance, donor_fault, donor_shift
from sightsize.plan.places import Mark, upright_point

SHEET = """
[aperture]
width = "143 mm"
height = "198 mm"
[paper]
size = "10x8 in"
"""


def with_picture(facts: str, cameras: str = "") -> str:
    print_entry = '[[prints]]\npicture = "cox"\n'
    return f'{SHEET}{print_entry}{cameras}\n[pictures.cox]\nsource = "cox.jpg"\n{facts}\n'


# Where marks lie, and their donors.


def test_a_round_mark_in_pixels() -> None:
    spotted = plan(
        with_picture("spotting = [{ at = [0.42, 0.31], radius = 0.004, donor = [0.5, 0.31] }]"),
        COX_MEGAPHONE,
    )
    (mark,) = spotted.marks
    assert mark.start == mark.end == (1680, 1860)  # of 4000 x 6000 upright
    assert mark.radius_px == pytest.approx(16)
    assert mark.donor == (2000, 1860)
    assert (mark.strength, mark.label, mark.required) == (1.0, "spot 1 of cox", True)


DONORS = {
    "at = [0.5, 0.5], radius = 0.01, donor = [0.54, 0.5]": "",
    "at = [0.5, 0.5], radius = 0.01, donor = [0.52, 0.5]": "lies on the mark itself",
    "at = [0.5, 0.5], radius = 0.01, donor = [0.995, 0.5]": "reaches beyond the picture's edge",
    "at = [0.5, 0.5], radius = 0.01, donor = [0.5, 0.002]": "reaches beyond the picture's edge",
    "at = [0.5, 0.5], radius = 0.01, donor = [0.71, 0.5]": "a mark that is cleared later",
    # Only half of a mark at the edge stands in the picture, and no more is wanted of its donor.
    "at = [0.0, 0.5], radius = 0.01, donor = [0.001, 0.6]": "",
    # A scratch is shifted as a whole: its donor may lie along it, but not across it.
    "line = [[0.3, 0.3], [0.3, 0.5]], width = 0.004, donor = [0.33, 0.4]": "",
    "line = [[0.3, 0.3], [0.3, 0.5]], width = 0.004, donor = [0.3, 0.45]": "on the mark itself",
    "line = [[0.6, 0.2], [0.8, 0.2]], width = 0.004, donor = [0.7, 0.5]": "is cleared later",
}


@pytest.mark.parametrize(("mark", "fault"), DONORS.items())
def test_a_donor_without_clean_picture_is_told_before_any_pixel(mark: str, fault: str) -> None:
    later = "{ line = [[0.7, 0.4], [0.7, 0.6]], width = 0.02 }"
    toml = with_picture(f"spotting = [{{ {mark} }}, {later}]")
    found = [each for each in findings(toml, COX_MEGAPHONE) if each.check == "donor"]
    assert [each.level for each in found] == (["refuse"] if fault else [])
    assert all(fault in each.message and "spot 1 of cox" in each.message for each in found)


PLACES = st.tuples(st.floats(0, 60), st.floats(0, 60))
MARKS = st.builds(
    Mark,
    start=PLACES,
    end=PLACES,
    radius_px=st.floats(0.5, 9),
    donor=PLACES,
    strength=st.just(1.0),
    label=st.just("spot 1"),
    required=st.just(True),
)


@given(MARKS, MARKS)
def test_what_a_donor_gives_lies_in_the_picture_and_off_the_marks(mark: Mark, later: Mark) -> None:
    rows, columns = np.mgrid[:60, :60] + 0.5
    middles = columns + 1j * rows

    def reach(points: NDArray[np.complex128], one: Mark) -> NDArray[np.float64]:
        return one.radius_px - distance(points, complex(*one.start), complex(*one.end))

    taken = middles[reach(middles, mark) >= 0] + complex(*donor_shift(mark))
    assume(len(taken) > 0)  # a mark may cover no pixel's middle
    inside = (taken.real > 0) & (taken.real < 60) & (taken.imag > 0) & (taken.imag < 60)
    clean = reach(taken, mark).max() <= -1.5 and reach(taken, later).max() < 0
    well_inside = (np.abs(taken.real - 30) < 28).all() and (np.abs(taken.imag - 30) < 28).all()
    if donor_fault(mark, as_arrays([later]), (60, 60)):
        assert not (clean and well_inside)
    else:
        assert clean
        assert inside.all()


def test_a_radius_on_paper_follows_the_size_of_the_print() -> None:
    facts = 'spotting = [{ at = [0.4, 0.3], radius = "1 mm" }]'
    spotted = plan(with_picture(facts), COX_MEGAPHONE)
    assert spotted.crop is not None
    assert spotted.marks[0].radius_px == pytest.approx(float(spotted.crop.effective_ppi) / 25.4)


def test_a_scratch_has_two_ends_and_half_its_width() -> None:
    facts = "spotting = [{ line = [[0.1, 0.2], [0.3, 0.9]], width = 0.002 }]"
    (mark,) = plan(with_picture(facts), COX_MEGAPHONE).marks
    assert (mark.start, mark.end) == ((400, 1200), (1200, 5400))
    assert mark.radius_px == pytest.approx(4)


@given(st.integers(1, 8), st.fractions(0, 1), st.fractions(0, 1))
def test_upright_points_are_where_pillow_turns_them(
    orientation: int, x: Fraction, y: Fraction
) -> None:
    # Exif 2.3, Orientation, as Pillow's exif_transpose applies it.
    width, height = 30, 20
    column, row = min(int(x * width), width - 1), min(int(y * height), height - 1)
    pixels = np.zeros((height, width), np.uint8)
    pixels[row, column] = 255
    image = Image.fromarray(pixels)
    exif = image.getexif()
    exif[0x0112] = orientation
    image.info["exif"] = exif.tobytes()
    turned = np.asarray(ImageOps.exif_transpose(image))
    middle = Fraction(2 * column + 1, 2 * width), Fraction(2 * row + 1, 2 * height)
    across, down = upright_point(middle, orientation)
    found_row, found_column = np.argwhere(turned == 255)[0]
    assert int(across * turned.shape[1]) == found_column
    assert int(down * turned.shape[0]) == found_row


# Dust.

BODY = """
[cameras.launch-body]
model = "{}"
serial = "{}"
dust = [{{ at = [0.25, 0.1], radius = 0.002 }}]
"""


def taken(header: Header, model: str = "", serial: str = "") -> Header:
    return replace(header, camera_model=model, camera_serial=serial)


@pytest.mark.parametrize(
    ("model", "serial", "count"),
    [("LB-2", "7031", 1), ("LB-2", "7032", 0), ("LB-3", "7031", 0), ("", "", 0)],
)
def test_dust_goes_by_model_and_serial_number(model: str, serial: str, count: int) -> None:
    text = with_picture("", BODY.format("LB-2", "7031"))
    assert len(plan(text, taken(CATCH_FOUR, model, serial)).marks) == count


def test_dust_of_a_named_camera_needs_no_match() -> None:
    dust = "[cameras.launch-body]\ndust = [{ at = [0.25, 0.1], radius = 0.002 }]\n"
    assert len(plan(with_picture('camera = "launch-body"', dust), CATCH_FOUR).marks) == 1
    assert len(plan(with_picture("", dust), CATCH_FOUR).marks) == 0


def test_dust_stands_on_the_sensor() -> None:
    text = with_picture("", BODY.format("LB-2", "7031"))
    level = plan(text, taken(CATCH_FOUR, "LB-2", "7031")).marks[0]
    turned = plan(text, taken(COX_MEGAPHONE, "LB-2", "7031")).marks[0]
    assert level.start == (1500, 400)  # of 6000 x 4000
    assert turned.start == (4000 - 400, 1500)  # orientation 6: a quarter turn clockwise
    assert level.radius_px == turned.radius_px == pytest.approx(12)
    assert not level.required


def test_dust_applies_to_pictures_without_a_table() -> None:
    text = SHEET + '[[prints]]\nsource = "cox.jpg"\n' + BODY.format("LB-2", "")
    (only,) = job_of(text.replace('serial = ""\n', "")).prints
    assert [camera.name for camera in only.look.picture.cameras] == ["launch-body"]


# What may be permanent.

FACE = 'keep_clear = [{ box = [0.3, 0.2, 0.2, 0.25], label = "the cox\'s face" }]\n'


def permanent(text: str) -> list[str]:
    return [
        each.message for each in findings(text, COX_MEGAPHONE) if each.check == "permanent-mark"
    ]


@pytest.mark.parametrize(
    ("spot", "count"),
    [
        ("at = [0.42, 0.31], radius = 0.0029", 0),  # 1.45 % of the face's width
        ("at = [0.42, 0.31], radius = 0.0031", 1),
        ("at = [0.42, 0.31], radius = 0.0031, strength = 0.5", 0),
        ("at = [0.42, 0.31], radius = 0.0031, strength = 0.99", 0),
        ("at = [0.72, 0.31], radius = 0.0031", 0),
        ("at = [0.42, 0.19], radius = 0.0031", 0),  # above the face, and below it
        ("at = [0.42, 0.46], radius = 0.0031", 0),
        # A scratch lies where its middle does.
        ("line = [[0.25, 0.31], [0.39, 0.31]], width = 0.007", 1),
        ("line = [[0.42, 0.31], [0.70, 0.31]], width = 0.007", 0),
    ],
)
def test_a_large_mark_on_a_face_may_be_permanent(spot: str, count: int) -> None:
    assert len(permanent(with_picture(f"{FACE}spotting = [{{ {spot} }}]"))) == count


def crew(*places: tuple[float, float]) -> Any:
    """A job of portraits whose face has a small mark at a place, 0 to 1 across and down."""
    text = SHEET + "".join(f'[[prints]]\npicture = "p{n}"\n' for n in range(len(places)))
    for number, (x, y) in enumerate(places):
        left = 0.1 * number
        spot = f"{{ at = [{left + 0.2 * x:.4f}, {0.2 + 0.25 * y:.4f}], radius = 0.001 }}"
        text += (
            f'[pictures.p{number}]\nsource = "p{number}.jpg"\nspotting = [{spot}]\n'
            f'keep_clear = [{{ box = [{left}, 0.2, 0.2, 0.25], label = "Face" }}]\n'
        )
    return job_of(text)


def test_the_same_place_in_three_faces_is_counted() -> None:
    counts = [
        each.look.picture.spotting[0].in_faces
        for each in crew((0.5, 0.5), (0.51, 0.5), (0.5, 0.49), (0.2, 0.8)).prints
    ]
    assert counts == [3, 3, 3, 1]


@pytest.mark.parametrize(("across", "counts"), [(0.529, [2, 2]), (0.531, [1, 1])])
def test_one_place_is_three_hundredths_of_the_face(across: float, counts: list[int]) -> None:
    # Common practice, no source.
    prints = crew((0.5, 0.5), (across, 0.5)).prints
    assert [each.look.picture.spotting[0].in_faces for each in prints] == counts


def test_two_marks_side_by_side_in_one_face_are_one_picture() -> None:
    spot = "{{ at = [{}, 0.3], radius = 0.001 }}"
    facts = f"{FACE}spotting = [{spot.format(0.4)}, {spot.format(0.402)}]"
    (only,) = job_of(with_picture(facts)).prints
    assert [each.in_faces for each in only.look.picture.spotting] == [1, 1]


@pytest.mark.parametrize(("faces", "said"), [(2, 0), (3, 3)])
def test_a_small_mark_in_three_faces_may_be_permanent(faces: int, said: int) -> None:
    # Common practice, no source. Each mark has half a percent of its face's width.
    found = [
        finding.message
        for each in arrange(crew(*[(0.5, 0.5)] * faces))
        for finding in check_opened(with_header(each, COX_MEGAPHONE), "job.toml")
        if finding.check == "permanent-mark"
    ]
    why = "a mark sits at the same place in 3 pictures."
    assert found == [f"spot 1 on Face may be permanent: {why}"] * said


# In the print.


def blemished() -> tuple[Pixels, Pixels]:
    """A soft ramp with fine texture, and the same with a dark spot and a scratch."""
    rng = np.random.default_rng(7)
    y, x = np.mgrid[0:240, 0:320]
    clean = 120 + 40 * x / 320 + 20 * y / 240 + rng.normal(0, 1.5, (240, 320))
    marked = clean.copy()
    marked[np.hypot(x - 100, y - 80) < 6] -= 60
    marked[(np.abs(x - 220) <= 1) & (y > 40) & (y < 200)] += 50
    return _grey_pixels(clean), _grey_pixels(marked)


def _grey_pixels(tones: Any) -> Pixels:
    return np.repeat(tones.clip(0, 255).astype(np.uint8)[..., None], 3, axis=2)


SPOTS = [
    {"at": [100.5 / 320, 80.5 / 240], "radius": 9 / 320},
    {"line": [[220.5 / 320, 38 / 240], [220.5 / 320, 202 / 240]], "width": 6 / 320},
]


@pytest.mark.parametrize("tables", [{}, {"mono": {"filter": "yellow"}}])
def test_marks_are_gone_from_the_print(tmp_path: Path, tables: dict[str, Any]) -> None:
    clean, marked = blemished()
    px = (320, 240)
    wanted = picture_of(printed(tmp_path, save(tmp_path / "clean.tif", clean), px, **tables), px)
    facts = {"spotting": SPOTS}
    found = picture_of(
        printed(tmp_path, save(tmp_path / "marked.tif", marked), px, facts, **tables), px
    )
    off = np.abs(found.astype(int) - wanted)
    assert off[60:100, 80:120].max() < 12
    assert off[30:210, 212:230].max() < 12
    untouched = np.ones((240, 320), bool)
    untouched[60:100, 80:120] = untouched[30:210, 212:230] = False
    assert off[untouched].max() == 0


def test_marks_follow_crop_turn_and_orientation(tmp_path: Path) -> None:
    clean, marked = blemished()
    px = (200, 150)
    turned = {"level": 4.0, "crop": {"left": 0.1, "top": 0.1, "width": 0.8, "height": 0.8}}
    wanted = picture_of(printed(tmp_path, save(tmp_path / "clean.tif", clean), px, turned), px)
    facts = {**turned, "spotting": SPOTS}
    exif = Image.Exif()
    exif[0x0112] = 6
    # Stored a quarter turn back: upright it is the same picture.
    stored = np.ascontiguousarray(np.rot90(marked, 1))
    source = save(tmp_path / "turned.jpg", stored, quality=100, subsampling=0, exif=exif.tobytes())
    found = picture_of(printed(tmp_path, source, px, facts), px)
    assert np.abs(found.astype(int) - wanted).max() < 14


def thick(spacing: float, radius: float) -> list[dict[str, Any]]:
    """Marks round the middle, the middle one first, so thick that no donor is free of them."""
    steps = sorted(range(-4, 5), key=abs)
    return [
        {"at": [0.5 + x * spacing, 0.5 + y * spacing], "radius": radius}
        for y in steps
        for x in steps
    ]


def grey_picture(folder: Path) -> Path:
    return save(folder / "grey.tif", np.full((400, 400, 3), 120, np.uint8))


def test_without_a_clean_donor_the_print_is_refused(tmp_path: Path) -> None:
    facts = {"source": grey_picture(tmp_path).name, "spotting": thick(0.09, 0.03)}
    (outcome,) = make(job(tmp_path, {"grey": facts}, (400, 400)))
    assert outcome.status == "failed"
    assert outcome.message.startswith(
        "spot 1 of grey cannot be cleared: there is no unmarked place"
    )
    assert "name a donor" in outcome.message
    assert list((tmp_path / "prints").iterdir()) == []


def test_a_named_donor_is_taken(tmp_path: Path) -> None:
    first, *others = thick(0.09, 0.03)
    named = [{**each, "donor": [0.5, 0.05]} for each in (first, *others)]
    facts = {"source": grey_picture(tmp_path).name, "spotting": named}
    (outcome,) = make(job(tmp_path, {"grey": facts}, (400, 400)))
    assert outcome.status == "made", outcome.message


def test_dust_without_a_clean_donor_is_left_and_said(tmp_path: Path) -> None:
    facts = {"source": grey_picture(tmp_path).name, "camera": "launch-body"}
    cameras = {"launch-body": {"dust": thick(0.03, 0.01)}}
    (outcome,) = make(job(tmp_path, {"grey": facts}, (400, 400), cameras=cameras))
    assert outcome.status == "made"
    said = outcome.findings[0].sentence()
    assert "dust 1 of launch-body" in said
    assert "left as it is" in said


def test_a_mark_on_paper_can_be_too_large(tmp_path: Path) -> None:
    spot = {"at": [0.5, 0.5], "radius": "2 mm"}
    facts = {"source": grey_picture(tmp_path).name, "spotting": [spot]}
    (outcome,) = make(job(tmp_path, {"grey": facts}, (400, 400)))
    assert outcome.status == "refused"
    assert outcome.message.startswith(
        "spot 1 of grey reaches 20 px from its centre; the limit is 3%"
    )


def test_a_donor_on_a_mark_still_to_be_cleared_is_refused(tmp_path: Path) -> None:
    second = {"at": [0.7, 0.5], "radius": 0.02}
    first = {"at": [0.3, 0.5], "radius": 0.02, "donor": second["at"]}
    facts = {"source": grey_picture(tmp_path).name, "spotting": [first, second]}
    (outcome,) = make(job(tmp_path, {"grey": facts}, (400, 400)))
    assert outcome.status == "refused"
    assert "lies on a mark that is cleared later." in outcome.message


def test_many_refusals_are_told_in_one_message(tmp_path: Path) -> None:
    facts = {"source": grey_picture(tmp_path).name, "spotting": thick(0.09, 0.03)}
    (outcome,) = make(job(tmp_path, {"grey": facts}, (400, 400)))
    assert outcome.message.count("cannot be cleared") == 10
    assert "more marks" in outcome.message


def test_a_mark_too_large_to_be_cleared_is_a_sentence() -> None:
    spotted = plan(with_picture("spotting = [{ at = [0.5, 0.5], radius = 0.03 }]"), COX_MEGAPHONE)
    (mark,) = spotted.marks
    said = (
        r"spot 1 of cox cannot be cleared: its radius of 501 px is above 500; name several smaller "
        "marks, or reduce the radius"
    )
    with pytest.raises(SpottingError, match=said):
        find_patches(lambda _: pytest.fail("read"), (4000, 6000), [replace(mark, radius_px=501)])

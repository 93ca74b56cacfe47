"""Two pictures on one sheet: each as it is alone, the border and the marks between them exact.

The sheet is laid out by hand, on the 8-pixel grid of JPEG (ISO/IEC 10918-1), so that no block of
one picture's coding reaches into another or into the border.
"""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import pyvips
from jsonschema import Draft202012Validator

from icc_profiles import built_in, colour_difference, lab_of
from pictures import Pixels, job, patches, planned_file, planned_picture, read, save
from sightsize.archive.audit import audit_docket
from sightsize.archive.reprint import reprint_docket
from sightsize.base.hashes import file_sha256
from sightsize.base.schemas import schema_file
from sightsize.base.units import px_to_mm
from sightsize.checks.finished import FinishedPicture
from sightsize.checks.run import check_finished
from sightsize.delivery.deliver import deliver
from sightsize.delivery.delivered import Delivered
from sightsize.delivery.ground import Ground
from sightsize.delivery.verify import verify_file
from sightsize.docket.recall import is_recorded
from sightsize.docket.record import print_record
from sightsize.docket.store import Docket
from sightsize.docket.store import Record as DocketRecord
from sightsize.imaging.colour.output import border_value
from sightsize.imaging.raster.resize import resize_to
from sightsize.imaging.render import render, sheet_image
from sightsize.model.geometry import Box, EdgesPx, turn_box
from sightsize.model.settings import Edges
from sightsize.plan.estimates import peak_bytes
from sightsize.plan.file_names import files_of
from sightsize.plan.identity import print_identity
from sightsize.plan.layout import Place, Stock
from sightsize.plan.picture import PicturePlan
from sightsize.plan.sheet import BorderMark, FilePlan, PlacedPicture, SheetPlan
from sightsize.plan.size import plan_size

PPI = Fraction(254)
STOCK_PX = (320, 160)
LEFT, RIGHT = (104, 80), (88, 64)
"""Pictures in pixels; turned a quarter, the right one is 64 x 88."""
LEFT_AT, RIGHT_AT = (32, 40), (184, 40)
MARK = BorderMark(box=Box(152, 8, 16, 24), lightness=40)
BORDER = {"left of both": (0, 80), "between": (160, 80), "right of both": (312, 80)}
"""Pixels of the border beside the two pictures, each at the beginning of a block."""
TONE = 90.0
LOOKS: dict[str, dict[str, Any]] = {
    "left": {
        "sharpen": {"gain": 0.8},
        "local_contrast": {"gain": 0.2},
        "tone": {"grade": 3, "edge_burn": {"stops": 0.2, "width": "2 mm"}},
    },
    "right": {
        "mono": {"filter": "yellow"},
        "toner": {"kind": "sepia"},
        "grain": {"granularity": 0.03},
    },
}

File = FilePlan[PicturePlan]


def scene(seed: int) -> Pixels:
    return np.random.default_rng(seed).integers(40, 200, (160, 208, 3)).astype(np.uint8)


def opened(folder: Path, name: str, px: tuple[int, int], **delivery: Any) -> FilePlan[PicturePlan]:
    """One picture as a job plans it, on a sheet of its own."""
    if not (folder / f"{name}.tif").exists():
        save(folder / f"{name}.tif", scene(len(name)))
    facts = {name: {"source": f"{name}.tif"}}
    return planned_file(job(folder, facts, px, **LOOKS[name], delivery=delivery))


def placed_at(alone: File, at: tuple[int, int], turns: int = 0) -> PlacedPicture[PicturePlan]:
    (placed,) = alone.pictures
    width, height = placed.picture.size.image_px
    across, down = (width, height) if turns % 2 == 0 else (height, width)
    box = Box(*at, across, down)
    margins = box.top, STOCK_PX[0] - box.right, STOCK_PX[1] - box.bottom, box.left
    place = Place(
        box=box,
        quarter_turns=turns,
        margins_px=EdgesPx(*margins),
        margins_mm=Edges(*(px_to_mm(each, PPI) for each in margins)),
        residual_mm=(Fraction(0), Fraction(0)),
    )
    return replace(placed, place=place)


def two_pictures(
    folder: Path, turns: int = 0, marks: tuple[BorderMark, ...] = (MARK,), **delivery: Any
) -> File:
    """The left and the right picture on one sheet, the right one turned by quarters."""
    left, right = opened(folder, "left", LEFT, **delivery), opened(folder, "right", RIGHT)
    stock = Stock(
        ppi=PPI,
        size_mm=(px_to_mm(STOCK_PX[0], PPI), px_to_mm(STOCK_PX[1], PPI)),
        size_px=STOCK_PX,
        media_name="custom",
        surface="lustre",
    )
    sheet = SheetPlan(
        stock=stock,
        border_lightness=TONE,
        pictures=(placed_at(left, LEFT_AT), placed_at(right, RIGHT_AT, turns)),
        marks=marks,
    )
    return FilePlan(
        name=f"two{left.delivery.suffix}", sheet=sheet, delivery=left.delivery, copies=1
    )


def part(sheet: Pixels, box: Box) -> Pixels:
    return sheet[box.top : box.bottom, box.left : box.right]


def alone(file: File, number: int) -> Pixels:
    """A picture of a sheet rendered by itself, turned as it stands there."""
    placed = file.pictures[number]
    image = render(placed.picture, file.delivery).image
    return np.rot90(image.numpy(), -placed.place.quarter_turns)


def coded(pixels: Pixels, folder: Path, quality: int) -> Pixels:
    """Pixels after they were a JPEG of their own."""
    path = folder / "alone.jpg"
    image = pyvips.Image.new_from_array(np.ascontiguousarray(pixels), interpretation="srgb")
    image.jpegsave(str(path), Q=quality, subsample_mode="off")
    return read(path)


def written(file: File, folder: Path) -> Path:
    """The sheet of a file, delivered."""
    prints = folder / "prints"
    prints.mkdir(exist_ok=True)
    return deliver(file, Ground(folder=prints)).path


# Pixels.


@pytest.mark.parametrize("turns", range(4))
@pytest.mark.parametrize("format_name", ["tiff", "jpeg"])
def test_each_picture_on_a_sheet_is_the_one_it_is_alone(
    tmp_path: Path, format_name: str, turns: int
) -> None:
    file = two_pictures(tmp_path, turns, format=format_name)
    drawn, delivered = sheet_image(file).image.numpy(), read(written(file, tmp_path))
    for number, placed in enumerate(file.pictures):
        wanted = alone(file, number)
        assert wanted.std() > 10
        assert (part(drawn, placed.place.box) == wanted).all()
        if format_name == "jpeg":
            wanted = coded(wanted, tmp_path, file.delivery.quality)
        assert (part(delivered, placed.place.box) == wanted).all()


@pytest.mark.parametrize("turns", [0, 1])
@pytest.mark.parametrize("format_name", ["tiff", "jpeg"])
def test_border_and_marks_are_exact(tmp_path: Path, format_name: str, turns: int) -> None:
    # IEC 61966-2-1 and CIE 15: L* 90 encodes as 226.33, L* 40 as 93.9.
    file = two_pictures(tmp_path, turns, format=format_name)
    assert border_value(TONE, file.delivery) == [226] * 3
    sheet = read(written(file, tmp_path)).copy()
    assert sheet.shape == (STOCK_PX[1], STOCK_PX[0], 3)
    assert (part(sheet, MARK.box) == 94).all()
    for box in file.sheet.drawn_boxes:
        part(sheet, box)[:] = 226
    assert (sheet == 226).all()


@pytest.mark.parametrize("turns", range(-1, 5))
def test_a_box_is_turned_with_its_picture(turns: int) -> None:
    box, (width, height) = Box(3, 5, 7, 11), (20, 30)
    mask = np.zeros((height, width), bool)
    part(mask, box)[:] = True
    rows, columns = np.nonzero(np.rot90(mask, -turns))
    found = turn_box(box, (width, height), turns)
    assert (found.left, found.right) == (columns.min(), columns.max() + 1)
    assert (found.top, found.bottom) == (rows.min(), rows.max() + 1)


# The file held against its plan.


def rewritten(path: Path, image: pyvips.Image) -> None:
    """Write a file anew with all that it says of itself."""
    if path.suffix == ".tif":
        image.tiffsave(str(path), compression="deflate")
    else:
        image.jpegsave(str(path), Q=95, subsample_mode="off", keep=pyvips.ForeignKeep.ALL)


def differences(path: Path, file: File) -> tuple[str, ...]:
    return tuple(each.message for each in verify_file(path, file).differences)


@pytest.mark.parametrize("turns", [0, 1])
@pytest.mark.parametrize("format_name", ["tiff", "jpeg"])
@pytest.mark.parametrize("where", BORDER)
def test_a_changed_border_beside_two_pictures_is_found(
    tmp_path: Path, where: str, format_name: str, turns: int
) -> None:
    file = two_pictures(tmp_path, turns, format=format_name, quality=95)
    path = written(file, tmp_path)
    assert differences(path, file) == ()
    image = pyvips.Image.new_from_file(str(path)).copy_memory()
    rewritten(path, image)
    assert differences(path, file) == ()
    column, row = BORDER[where]
    side = 1 if format_name == "tiff" else 8
    darker = image.crop(column, row, side, side).linear([1], [-4]).cast("uchar")
    rewritten(path, image.insert(darker, column, row))
    assert differences(path, file) == (f"row {row} of its border is not exactly the paper tone",)


@pytest.mark.parametrize("format_name", ["tiff", "jpeg"])
def test_a_mark_that_is_not_planned_is_found(tmp_path: Path, format_name: str) -> None:
    file = two_pictures(tmp_path, format=format_name)
    path = written(file, tmp_path)
    assert differences(path, file) == ()
    without = replace(file, sheet=replace(file.sheet, marks=()))
    said = f"row {MARK.box.top} of its border is not exactly the paper tone"
    assert differences(path, without) == (said,)


@pytest.mark.parametrize("turns", [0, 1, 2, 3])
def test_clipping_is_counted_picture_by_picture_in_the_turned_opening(
    tmp_path: Path, turns: int
) -> None:
    # A quarter of the right opening is blank white, at its right; so is all that the mat hides. All
    # of it stands on the squares of 16 px by which clipping is counted.
    pixels = np.full((64, 96, 3), 120, np.uint8)
    pixels[:, :32] = pixels[:, 80:] = 255
    save(tmp_path / "right.tif", pixels)
    save(tmp_path / "left.tif", patches(np.array([[120] * 3], np.uint8), 1, 104))
    facts = {"right": {"source": "right.tif"}}
    overlap = {"left": "3.2 mm", "right": "0 mm", "top": "0 mm", "bottom": "0 mm"}
    aperture = {"width": "6.4 mm", "height": "6.4 mm", "overlap": overlap}
    narrow = planned_file(job(tmp_path, facts, (96, 64), aperture=aperture))
    file = two_pictures(tmp_path)
    left = planned_file(job(tmp_path, {"left": {"source": "left.tif"}}, LEFT))
    file = file.with_pictures((placed_at(left, LEFT_AT), placed_at(narrow, (184, 48), turns)))
    assert verify_file(written(file, tmp_path), file).clipped == ((0, 0), (0.25, 0))


# What is delivered and recorded.


def recorded(file: File, folder: Path) -> tuple[Delivered, DocketRecord]:
    """Deliver a file into ``folder`` and note it in a docket there."""
    folder.mkdir(exist_ok=True)
    done = deliver(file, Ground(folder=folder))
    with Docket(folder / "docket.toml") as docket:
        docket.note(print_record(file, done, 1.0, folder))
    (folder / ".docket.json").unlink()  # so that the docket itself is read
    (record,) = Docket(folder / "docket.toml").records.values()
    return done, record


def test_the_record_has_both_sources(tmp_path: Path) -> None:
    folder = tmp_path / "prints"
    done, record = recorded(two_pictures(tmp_path), folder)
    assert done.status == "made"
    assert [each["picture"] for each in record["sources"]] == ["left", "right"]
    for noted in record["sources"]:
        path = folder / noted["path"]
        assert path.resolve() == tmp_path / f"{noted['picture']}.tif"
        assert noted["sha256"] == file_sha256(path)
        assert noted["header"]["bytes"] == noted["bytes"] == path.stat().st_size
    assert [each["picture_px"] for each in record["plan"]["pictures"]] == [
        [*LEFT_AT, *LEFT],
        [*RIGHT_AT, *RIGHT],
    ]
    Draft202012Validator(schema_file("docket")).validate({"docket": 2, "prints": [record]})


def test_a_second_plan_is_recognised_as_recorded(tmp_path: Path) -> None:
    folder = tmp_path / "prints"
    done, record = recorded(two_pictures(tmp_path), folder)
    again = two_pictures(tmp_path)
    assert is_recorded(record, again, done.path)
    assert deliver(again, Ground(folder=folder)).status == "kept"
    assert [(each.file, each.state) for each in audit_docket(Docket(folder / "docket.toml"))] == [
        ("two.tif", "whole")
    ]
    assert not is_recorded(record, two_pictures(tmp_path, turns=2), done.path)
    assert not is_recorded(record, two_pictures(tmp_path, marks=()), done.path)


@pytest.mark.parametrize("name", ["left", "right"])
def test_a_change_of_either_source_is_seen(tmp_path: Path, name: str) -> None:
    folder = tmp_path / "prints"
    file = two_pictures(tmp_path)
    before = print_identity(file)
    done, record = recorded(file, folder)
    save(tmp_path / f"{name}.tif", scene(99))
    again = two_pictures(tmp_path)
    assert print_identity(again) != before
    assert not is_recorded(record, again, done.path)


def test_where_and_how_a_picture_stands_is_part_of_a_print(tmp_path: Path) -> None:
    file = two_pictures(tmp_path)
    left, right = file.pictures
    moved = replace(right, place=replace(right.place, box=Box(192, 40, *RIGHT)))
    turned = replace(right, place=replace(right.place, quarter_turns=2))
    wider = replace(MARK, box=replace(MARK.box, width=24))
    others = [
        file,
        file.with_pictures((left, moved)),
        file.with_pictures((left, turned)),
        file.with_pictures((left,)),
        replace(file, sheet=replace(file.sheet, marks=())),
        replace(file, sheet=replace(file.sheet, marks=(wider,))),
        replace(file, sheet=replace(file.sheet, marks=(replace(MARK, lightness=41),))),
        replace(file, sheet=replace(file.sheet, border_lightness=91)),
    ]
    assert len({print_identity(each) for each in others}) == len(others)
    assert print_identity(replace(file, name="other.tif", copies=3)) == print_identity(file)


@pytest.mark.parametrize("format_name", ["tiff", "jpeg"])
def test_two_pictures_are_estimated_to_take_more_memory_than_either(
    tmp_path: Path, format_name: str
) -> None:
    file = two_pictures(tmp_path, format=format_name)
    for placed in file.pictures:
        assert peak_bytes(file) > peak_bytes(file.with_pictures((placed,)))
    assert peak_bytes(file) > peak_bytes(opened(tmp_path, "left", LEFT, format=format_name))
    assert peak_bytes(file) > peak_bytes(opened(tmp_path, "right", RIGHT, format=format_name))


def test_each_picture_has_a_master_of_its_own(tmp_path: Path) -> None:
    folder = tmp_path / "prints"
    file = two_pictures(tmp_path, keep_master=True, bit_depth=16)
    targets = files_of(file, folder)
    assert [each.relative_to(folder).as_posix() for each in targets] == [
        "two.tif",
        "masters/two-1.tif",
        "masters/two-2.tif",
    ]
    done, record = recorded(file, folder)
    assert [(each["picture"], each["file"]) for each in record["masters"]] == [
        ("left", "masters/two-1.tif"),
        ("right", "masters/two-2.tif"),
    ]
    for placed, master, noted in zip(file.pictures, targets[1:], record["masters"], strict=True):
        crop = placed.picture.crop.box
        bands = 1 if placed.picture.mono else 3
        assert read(master).shape == (crop.height, crop.width, bands)
        assert noted["sha256"] == file_sha256(master)
    assert {each.state for each in audit_docket(Docket(folder / "docket.toml"))} == {"whole"}
    assert is_recorded(record, file, done.path)
    targets[2].unlink()
    assert not is_recorded(record, file, done.path)


@pytest.mark.parametrize("match", [False, True])
def test_a_sheet_of_several_pictures_is_not_made_again_from_its_docket(
    tmp_path: Path, match: bool
) -> None:
    folder, again = tmp_path / "prints", tmp_path / "again"
    recorded(two_pictures(tmp_path), folder)
    docket = Docket(folder / "docket.toml")
    (result,) = reprint_docket(docket, [], [], again, match=match)
    assert (result.file, result.state) == ("two.tif", "failed")
    assert result.message == (
        "a sheet of several pictures cannot be made again from its docket yet; make it with its job"
    )
    assert not again.exists()


def test_a_finding_of_a_finished_sheet_names_its_picture(tmp_path: Path) -> None:
    left, right = two_pictures(tmp_path).pictures
    clipped = FinishedPicture(placed=right, white_share=0.25)
    (alone,) = check_finished([clipped])
    (finding,) = check_finished([FinishedPicture(placed=left), clipped])
    assert alone.message.startswith("25.0% of the opening is blank white")
    assert finding.message == f"right: {alone.message}"
    assert (finding.level, finding.check) == (alone.level, "clipping")


# The same picture at another size.


def test_a_smaller_rendering_looks_like_the_print(tmp_path: Path) -> None:
    # The print is shrunk in linear light. Measured: dE00 0.32 on average and 1.7 at most, of which
    # 0.28 is the dither of both.
    y, x = np.mgrid[:800, :1200]
    waves = np.stack([np.sin(x / 90) + np.cos(y / 70), np.sin(x / 40), np.cos(y / 33)], axis=-1)
    noise = np.random.default_rng(5).normal(0, 4, (800, 1200, 1))
    save(tmp_path / "left.tif", np.clip(120 + 30 * waves + noise, 0, 255).astype(np.uint8))
    facts = {"left": {"source": "left.tif"}}
    made = job(tmp_path, facts, (1200, 800), **LOOKS["left"])
    plan, delivery = planned_picture(made), planned_file(made).delivery
    whole = render(plan, delivery).image
    small = render(plan, delivery, plan_size(plan.look.aperture, PPI / 4)).image
    assert (small.width, small.height, small.bands) == (300, 200, 3)
    assert small.format == whole.format
    shrunk = resize_to(whole.colourspace("scrgb"), 300, 200).colourspace("srgb")
    labs = [lab_of(each.numpy(), built_in("srgb")) for each in (small, shrunk)]
    apart = colour_difference(*labs)
    assert apart.mean() < 0.35
    assert apart.max() < 2

"""A print's identity changes with everything that changes its pixels, and with nothing else."""

from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

import every_key
from dng import mosaic, neutral, seen, write_dng
from pictures import job as job_of
from pictures import planned_file, save
from sightsize.plan.identity import print_identity
from sightsize.plan.picture import PicturePlan
from sightsize.plan.sheet import FilePlan

PX = (60, 40)
NAMED = {"cameras": {"launch-body": {"dust": [{"at": [0.3, 0.3], "radius": 0.01}]}}}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    save(tmp_path / "cox.tif", np.full((80, 120, 3), 120, np.uint8))
    return tmp_path


def planned(
    folder: Path, facts: dict[str, Any] | None = None, **tables: Any
) -> FilePlan[PicturePlan]:
    made = job_of(folder, {"cox": {"source": "cox.tif", **(facts or {})}}, PX, **tables)
    return planned_file(made)


def identity(folder: Path, facts: dict[str, Any] | None = None, **tables: Any) -> str:
    base = {"mono": {"filter": "none"}, "sharpen": {"gain": 0.8}}
    return print_identity(planned(folder, facts, **{**base, **tables}))


SPOT = {"at": [0.4, 0.3], "radius": 0.02}
ELLIPSE = [0.2, 0.2, 0.3, 0.3]

CHANGES: dict[str, tuple[dict[str, Any], dict[str, Any]]] = {
    "level": ({"level": 1.0}, {}),
    "crop": ({"crop": {"left": 0.1, "top": 0.1, "width": 0.8, "height": 0.8}}, {}),
    "spotting": ({"spotting": [SPOT]}, {}),
    "spotting strength": ({"spotting": [{**SPOT, "strength": 0.5}]}, {}),
    "spotting donor": ({"spotting": [{**SPOT, "donor": [0.7, 0.7]}]}, {}),
    "dust": ({"camera": "launch-body"}, NAMED),
    "zones": ({"zones": [{"at": [0.4, 0.3], "zone": 6}]}, {}),
    "dodge": ({"dodge": [{"stops": 0.3, "ellipse": ELLIPSE}]}, {}),
    "burn": ({"burn": [{"stops": 0.3, "ellipse": ELLIPSE}]}, {}),
    "colour": ({}, {"mono": {"filter": "red"}}),
    "exposure": ({}, {"tone": {"exposure": 0.1}}),
    "black point": ({}, {"tone": {"black_point": 3}}),
    "white point by area": ({}, {"tone": {"white_point": {"share": 0.01}}}),
    "grade": ({}, {"tone": {"grade": 3}}),
    "split grade": ({}, {"tone": {"split_grade": {"dark": 3, "light": 2}}}),
    "edge burn": ({}, {"tone": {"edge_burn": {"stops": 0.2}}}),
    "local contrast": ({}, {"local_contrast": {"gain": 0.2}}),
    "toner": ({}, {"toner": {"kind": "sepia"}}),
    "sharpening": ({}, {"sharpen": {"gain": 0.9}}),
    "measured noise": ({}, {"sharpen": {"gain": 0.8, "noise_floor": "measured"}}),
    "skin": ({}, {"sharpen": {"gain": 0.8, "skin": 0.5}}),
    "surface": ({}, {"sharpen": {"gain": "surface"}, "paper": {"surface": "cotton"}}),
    "distance": ({}, {"aperture": {"viewing_distance": "600 mm"}}),
    "grain": ({}, {"grain": {"granularity": 0.02}}),
    "paper tone": ({}, {"paper": {"tone": 90}}),
    "quality": ({}, {"delivery": {"quality": 80}}),
}


def test_every_change_gives_another_identity(folder: Path) -> None:
    found = [identity(folder, facts, **tables) for facts, tables in CHANGES.values()]
    assert len(set(found)) == len(found)


@pytest.mark.parametrize("name", CHANGES)
def test_a_change_of_pixels_is_seen(folder: Path, name: str) -> None:
    facts, tables = CHANGES[name]
    base = {"sharpen": {"gain": 0.8}} if "sharpen" in tables else {}
    assert identity(folder, facts, **tables) != identity(folder, **base)


SAME: dict[str, tuple[dict[str, Any], dict[str, Any]]] = {
    "keep clear": ({"keep_clear": [{"box": [0.4, 0.4, 0.1, 0.1]}]}, {}),
    "accepted checks": ({}, {"checks": {"crop_loss_note": 0.2}}),
    "raw of a file that is not": ({"raw": {"exposure": 1.0}}, {}),
    "no dodge": ({"dodge": [{"stops": 0, "ellipse": ELLIPSE}]}, {}),
    "no edge burn": ({}, {"tone": {"edge_burn": {"stops": 0}}}),
    "size of no grain": ({}, {"grain": {"size": "0.2 mm"}}),
    "neighbourhood of no contrast": ({}, {"local_contrast": {"neighbourhood": "4 mm"}}),
    "split of no toner": ({}, {"toner": {"split": 40}}),
}


@pytest.mark.parametrize("name", SAME)
def test_what_changes_no_pixel_is_not(folder: Path, name: str) -> None:
    facts, tables = SAME[name]
    assert identity(folder, facts, **tables) == identity(folder)


def test_sharpening_that_does_nothing_does_not_count(folder: Path) -> None:
    none = {"gain": 0}
    assert identity(folder, sharpen=none) == identity(folder, sharpen={**none, "skin": 0.5})


def test_the_name_of_a_marked_picture_does_not_count(folder: Path) -> None:
    file = planned(folder, {"spotting": [SPOT]})
    (placed,) = file.pictures
    (mark,) = placed.picture.marks
    renamed = replace(placed.picture, marks=(replace(mark, label="spot 1 of another"),))
    moved = replace(placed.picture, marks=(replace(mark, radius_px=mark.radius_px + 1),))
    assert print_identity(_showing(file, renamed)) == print_identity(file)
    assert print_identity(_showing(file, moved)) != print_identity(file)


def _showing(file: FilePlan[PicturePlan], picture: PicturePlan) -> FilePlan[PicturePlan]:
    """A file of one picture with another in its place."""
    (placed,) = file.pictures
    return file.with_pictures((replace(placed, picture=picture),))


def test_the_exact_crop_counts_where_the_small_picture_is_used(folder: Path) -> None:
    # Rounded to whole pixels both boxes are the same; the maps are cut from the exact one.
    narrow = {"crop": {"left": 0.1, "top": 0.1, "width": 0.7, "height": 0.8}}
    moved = {"crop": {"left": 0.101, "top": 0.1, "width": 0.7, "height": 0.8}}
    both = [planned(folder, each).pictures[0].picture.crop for each in (narrow, moved)]
    assert both[0].exact != both[1].exact
    assert both[0].box == both[1].box
    assert identity(folder, narrow) == identity(folder, moved)
    contrast = {"local_contrast": {"gain": 0.2}}
    assert identity(folder, narrow, **contrast) != identity(folder, moved, **contrast)


@pytest.mark.parametrize("key", ["noise_floor", "already_sharpened"])
def test_the_exact_crop_counts_where_sharpening_is_measured(folder: Path, key: str) -> None:
    # Squares all over the exact crop are looked at, at the magnification that it has.
    measured = {"sharpen": {"gain": 0.8, key: "measured"}}
    narrow = {"crop": {"left": 0.1, "top": 0.1, "width": 0.7, "height": 0.8}}
    moved = {"crop": {"left": 0.101, "top": 0.1, "width": 0.7, "height": 0.8}}
    assert identity(folder, narrow, **measured) != identity(folder, moved, **measured)


def test_an_assumed_profile_counts_for_files_without_one(folder: Path) -> None:
    assumed = {"assume_profile": "srgb"}
    assert identity(folder, assumed) == identity(folder)
    bare = np.full((80, 120, 3), 120, np.uint8)
    Image.fromarray(bare).save(folder / "cox.tif")
    accepted = {"checks": {"accept": ["no-profile"]}}
    assert identity(folder, assumed, **accepted) != identity(folder, **accepted)


def test_the_source_counts(folder: Path) -> None:
    before = identity(folder)
    save(folder / "cox.tif", np.full((80, 120, 3), 121, np.uint8))
    assert identity(folder) != before


def test_a_raw_development_counts_for_raw_files(tmp_path: Path) -> None:
    scene = seen(np.full((80, 120, 3), 0.18))
    write_dng(tmp_path / "plate.dng", mosaic(scene), neutral())

    def of(raw: dict[str, Any]) -> str:
        values = job_of(tmp_path, {"plate": {"source": "plate.dng", "raw": raw}}, PX)
        return print_identity(planned_file(values))

    assert of({}) != of({"exposure": 0.5})
    assert of({}) == of({"exposure": 0.0})


# A key that the identity forgets is caught.


@pytest.fixture(scope="module")
def sources(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("every-key")
    every_key.write_sources(folder)
    return folder


KEYS = sorted(every_key.keys_of_a_print())


@pytest.mark.parametrize("key", KEYS)
def test_every_key_counts_unless_the_schema_sets_it_aside(sources: Path, key: str) -> None:
    assert key in every_key.CHANGED, (
        f"{key} has no entry in tests/every_key.py: give CHANGED another valid value for it, and "
        'have BASE use it; if it changes no byte of a print, write "x-same-print": true beside '
        "it in schemas/job.schema.json"
    )
    values = every_key.with_needs(key)
    before = print_identity(planned_file(every_key.job_of(sources, values)))
    every_key.set_at(values, key, every_key.CHANGED[key])
    after = print_identity(planned_file(every_key.job_of(sources, values)))
    same = every_key.makes_the_same_print(key)
    assert (after == before) == same, (
        f'{key} is set aside by "x-same-print" in the schema, but it changes a print'
        if same
        else f"{key} changes a print, and sightsize/plan/identity.py does not see it"
    )


def test_every_changed_key_is_one_of_the_schema() -> None:
    assert every_key.CHANGED.keys() == set(KEYS)


def test_every_stage_is_at_work_in_the_base_job(sources: Path) -> None:
    file = planned_file(every_key.job_of(sources, every_key.BASE))
    (placed,) = file.pictures
    at_work = asdict(placed.picture)
    idle = {name for name, each in at_work.items() if not each}
    # A raw file has a job of its own; only a print from a master has the grain of another.
    assert idle == {"raw", "grain_of"}

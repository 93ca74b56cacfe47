"""Masters beside prints, and prints matched from them when their source is gone."""

import json
import subprocess
import sys
from functools import cache
from pathlib import Path
from typing import Any, cast, get_args

import numpy as np
import pytest
import pyvips
from typer.testing import CliRunner

from icc_profiles import (
    Floats,
    built_in,
    colour_difference,
    lab_of,
    littlecms_lab,
    oprgb,
)
from pictures import BORDER_PX, Pixels, fail_on_full_disk, job, picture_of, read, save, save_16
from sightsize.archive.audit import audit_docket
from sightsize.archive.reprint import Reprinted, reprint_docket
from sightsize.base.atomic import remove_leftovers
from sightsize.cli import app
from sightsize.commands.shared import hold_folder
from sightsize.delivery.ground import Replace
from sightsize.docket.store import Docket
from sightsize.imaging.colour.master_colour import wide_codes, wide_profile
from sightsize.model.job import Job
from sightsize.plan.arrange import arrange
from sightsize.report.dry_run import plan_text
from sightsize.run.batch import make_prints
from sightsize.run.planner import plan_prints
from sightsize.run.worker import Outcome
from speed import first_is_quick

PX = (180, 120)
SOURCE_PX = (540, 360)
KEPT = {"delivery": {"keep_master": True, "bit_depth": 16}}
TURNED: dict[str, Any] = {
    "level": 1.5,
    "crop": {"left": 0.05, "top": 0.1, "width": 0.8, "height": 0.8},
    "dodge": [{"stops": 0.4, "ellipse": [0.3, 0.3, 0.2, 0.2], "softness": "2 mm"}],
    "zones": [{"at": [0.6, 0.5], "zone": 6}],
    "spotting": [{"at": [0.5, 0.5], "radius": 0.01}],
}
TONES: dict[str, Any] = {
    "tone": {
        "exposure": 0.1,
        "split_grade": {"dark": 3, "light": 2.4},
        "edge_burn": {"stops": 0.2},
    },
    "local_contrast": {"gain": 0.2},
}
MONO: dict[str, Any] = {**TONES, "mono": {"filter": "yellow"}}
PAPER: dict[str, Any] = {
    "sharpen": {"gain": 0.8, "noise_floor": "measured", "already_sharpened": "measured"},
    "grain": {"granularity": 0.02},
}
KINDS: dict[str, dict[str, Any]] = {
    "mono": MONO,
    "toned, with grain": {**MONO, **PAPER, "toner": {"kind": "sepia"}},
    "colour": TONES,
    "colour, with grain": {**TONES, **PAPER},
}


@cache
def scene() -> Pixels:
    """Something like a photograph: detail that falls with its frequency, edges, soft light."""
    width, height = SOURCE_PX
    rng = np.random.default_rng(3)
    down, across = np.fft.fftfreq(height)[:, None], np.fft.fftfreq(width)[None]
    fall = 1 / np.maximum(np.hypot(down, across), 1 / width) ** 1.3
    bands = []
    for _ in range(3):
        field = np.fft.ifft2(np.fft.fft2(rng.standard_normal((height, width))) * fall).real
        bands.append(field / field.std())
    y, x = np.mgrid[:height, :width]
    shape = 40 * ((x // 90 + y // 70) % 2)[..., None]
    picture = 95 + 24 * (0.8 * bands[0][..., None] + 0.4 * np.stack(bands, axis=-1)) + shape
    return np.asarray(np.clip(picture, 2, 253), np.uint8)


def planned(folder: Path, facts: dict[str, Any] | None = None, **tables: Any) -> Job:
    if not (folder / "cox.tif").exists():
        save(folder / "cox.tif", scene())
    return job(folder, {"cox": {"source": "cox.tif", **(facts or {})}}, PX, **tables)


def run(made: Job, *, replace: Replace = "nothing") -> Outcome:
    made.output.mkdir(exist_ok=True)
    with docket_of(made) as docket:
        (outcome,) = make_prints(
            made,
            plan_prints(made, arrange(made), docket=docket),
            replace=replace,
            workers=1,
            docket=docket,
        )
    return outcome


def kept(folder: Path, facts: dict[str, Any] | None = None, **tables: Any) -> Job:
    """A print made with its master."""
    made = planned(folder, facts, **{**KEPT, **tables})
    outcome = run(made)
    assert outcome.status == "made", outcome.message
    return made


def docket_of(made: Job) -> Docket:
    return Docket(made.output / "docket.toml")


def master_of(made: Job) -> Path:
    return made.output / "masters" / "cox.tif"


def matched(made: Job) -> Reprinted:
    (result,) = reprint_docket(docket_of(made), [], [], made.output / "again", match=True)
    return result


def files(folder: Path) -> list[str]:
    return sorted(str(each.relative_to(folder)) for each in folder.rglob("*") if each.is_file())


# What a master is.


def test_a_master_is_kept_only_when_asked_for(tmp_path: Path) -> None:
    made = planned(tmp_path)
    assert run(made).status == "made"
    assert files(made.output) == [".docket.json", "cox.tif", "docket.toml"]
    assert "masters" not in docket_of(made).records["cox.tif"]


@pytest.mark.parametrize("kind", first_is_quick(reversed(KINDS)))
def test_a_print_is_the_same_with_a_master_and_without(tmp_path: Path, kind: str) -> None:
    depth = {"delivery": {"bit_depth": 16}}
    for name, delivery in (("with", KEPT), ("without", depth)):
        (tmp_path / name).mkdir()
        run(planned(tmp_path / name, **KINDS[kind], **delivery))
    prints = [tmp_path / name / "prints" / "cox.tif" for name in ("with", "without")]
    assert prints[0].read_bytes() == prints[1].read_bytes()


@pytest.mark.parametrize(("kind", "bands"), [("mono", 1), ("colour", 3)])
def test_a_master_is_the_crop_at_its_own_size(tmp_path: Path, kind: str, bands: int) -> None:
    made = kept(tmp_path, {"crop": TURNED["crop"]}, **KINDS[kind])
    record = docket_of(made).records["cox.tif"]
    (numbers,), (master,) = record["plan"]["pictures"], record["masters"]
    image = pyvips.Image.new_from_file(str(master_of(made)))
    assert [image.width, image.height] == numbers["crop_px"][2:] == [432, 288]
    assert (image.bands, image.format) == (bands, "ushort")
    profile = built_in("sgrey") if bands == 1 else wide_profile()
    assert bytes(cast(Any, image.get("icc-profile-data"))) == profile
    assert image.xres * 25.4 == pytest.approx(numbers["effective_ppi"], abs=0.01)
    assert (numbers["picture"], master["picture"]) == ("cox", "cox")
    assert master["file"] == "masters/cox.tif"
    assert master["bytes"] == master_of(made).stat().st_size


RESIZED: dict[str, dict[str, Any]] = {
    "mono": MONO,
    "colour": TONES,
    "hard": {"tone": {"grade": 4.5}},
}


@pytest.mark.parametrize("kind", RESIZED)
def test_a_master_resized_is_the_print_unsharpened(tmp_path: Path, kind: str) -> None:
    made = kept(tmp_path, TURNED, **RESIZED[kind])
    master = read(master_of(made))
    grey = master.shape[2] == 1
    light = pyvips.Image.new_from_array(_decoded(master / 65535, grey).astype(np.float32))
    scale = PX[0] / light.width
    small = light.resize(scale, vscale=PX[1] / light.height, kernel="lanczos2", gap=0)
    codes = 255 * _encoded(np.clip(np.atleast_3d(small.numpy()), 0, 1), grey)
    seen = lab_of(codes, built_in("sgrey") if grey else wide_profile())
    first = lab_of(picture_of(made.output / "cox.tif", PX) / 257, built_in("srgb"))
    apart = colour_difference(seen, first)
    # Measured on average: mono 0.02, colour 0.04, grade 4.5 0.20. Tones come before the resizing
    # here, after it there.
    assert apart.mean() < (0.4 if kind == "hard" else 0.1)
    assert np.quantile(apart, 0.99) < 2


def _decoded(codes: Floats, grey: bool) -> Floats:
    """Light of codes of sRGB (IEC 61966-2-1) or ROMM RGB (ISO 22028-2)."""
    if grey:
        return np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)
    return np.where(codes < 1 / 32, codes / 16, codes**1.8)


def _encoded(light: Floats, grey: bool) -> Floats:
    if grey:
        return np.where(light <= 0.0031308, light * 12.92, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.where(light < 1 / 512, light * 16, light ** (1 / 1.8))


@pytest.mark.parametrize("kind", first_is_quick(KINDS))
def test_a_master_has_no_grain_and_no_sharpening(tmp_path: Path, kind: str) -> None:
    plain = {key: each for key, each in KINDS[kind].items() if key not in ("toner", *PAPER)}
    for name, tables in (("plain", plain), ("whole", {**plain, **PAPER})):
        (tmp_path / name).mkdir()
        kept(tmp_path / name, **tables)
    plain_pixels, pixels = (
        read(tmp_path / name / "prints/masters/cox.tif") for name in ("plain", "whole")
    )
    assert np.array_equal(plain_pixels, pixels)


# The wide profile.


def test_the_wide_profile_is_romm_rgb() -> None:
    # Against colour-science's ROMM RGB (ISO 22028-2), and Pillow's LittleCMS.
    import colour

    codes = np.random.default_rng(1).integers(0, 256, (64, 1, 3)).astype(np.uint8)
    codes[:2, 0] = [[0, 0, 0], [255, 255, 255]]
    xyz = colour.RGB_to_XYZ(codes / 255, "ROMM RGB", apply_cctf_decoding=True)
    wanted = colour.XYZ_to_Lab(
        xyz, colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D50"]
    )
    seen = littlecms_lab(codes, wide_profile())
    inside = (np.abs(wanted[..., 1:]) < 127).all(axis=-1)
    assert inside.sum() > 30
    assert np.abs(seen - wanted)[inside].max() < 1.0  # Pillow reads whole units


def test_light_in_the_wide_space_comes_back() -> None:
    from sightsize.imaging.colour.light import COLOUR, to_light

    light = np.random.default_rng(2).uniform(0.02, 0.9, (40, 40, 3)).astype(np.float32)
    image = pyvips.Image.new_from_array(light)
    back = to_light(wide_codes(image), "rgb", wide_profile(), COLOUR).numpy()
    assert np.abs(back - light).max() < 1e-4


def test_colours_beyond_srgb_are_not_cut(tmp_path: Path) -> None:
    codes = np.zeros((*SOURCE_PX[::-1], 3), np.uint16)
    codes[..., 1], codes[..., 0] = 50000, 4000
    save_16(tmp_path / "cox.tif", codes, oprgb())
    made = kept(tmp_path, tone={"exposure": 0.0}, checks={"gamut_warn": 1})
    first, master = read(tmp_path / "cox.tif")[0, 0], read(master_of(made))[0, 0]
    seen = [
        lab_of(each.reshape(1, 1, 3) / 257, profile)
        for each, profile in ((first, oprgb()), (master, wide_profile()))
    ]
    assert colour_difference(*seen).max() < 0.3
    print_lab = lab_of(picture_of(made.output / "cox.tif", PX)[:1, :1] / 257, built_in("srgb"))
    assert colour_difference(seen[0], print_lab).max() > 3  # which sRGB cannot hold


# Reruns, and what stands in a master's way.


def test_a_rerun_makes_a_missing_master(tmp_path: Path) -> None:
    made = kept(tmp_path, **MONO)
    before = [each.read_bytes() for each in (made.output / "cox.tif", master_of(made))]
    assert run(made).status == "kept"
    master_of(made).unlink()
    assert run(made).status == "made"
    assert [each.read_bytes() for each in (made.output / "cox.tif", master_of(made))] == before
    assert run(made).status == "kept"


def test_a_master_asked_for_later_is_made(tmp_path: Path) -> None:
    assert run(planned(tmp_path)).status == "made"
    assert run(planned(tmp_path, delivery={"keep_master": True})).status == "made"
    assert run(planned(tmp_path)).status == "kept"
    assert "masters" in docket_of(planned(tmp_path)).records["cox.tif"]


def test_a_print_made_again_without_a_master_keeps_the_one_it_had(tmp_path: Path) -> None:
    made = kept(tmp_path)
    masters = docket_of(made).records["cox.tif"]["masters"]
    (made.output / "cox.tif").unlink()
    assert run(planned(tmp_path, delivery={"bit_depth": 16})).status == "made"
    assert docket_of(made).records["cox.tif"]["masters"] == masters


def test_a_master_somebody_worked_on_is_not_written_over(tmp_path: Path) -> None:
    made = kept(tmp_path)
    first = (made.output / "cox.tif").read_bytes()
    master_of(made).write_bytes(b"worked on")
    outcome = run(made)
    assert outcome.status == "failed"
    assert "masters/cox.tif was changed after it was made; use --replace" in outcome.message
    assert master_of(made).read_bytes() == b"worked on"
    assert (made.output / "cox.tif").read_bytes() == first
    assert run(made, replace="altered too").status == "made"
    assert {each.state for each in audit_docket(docket_of(made))} == {"whole"}


@pytest.mark.parametrize("measured", [False, True])
def test_a_print_with_its_master_is_kept_where_a_killed_run_did_not_note_it(
    tmp_path: Path, measured: bool
) -> None:
    floor = "measured" if measured else 0.8
    made = kept(tmp_path, **MONO, sharpen={"gain": 0.8, "noise_floor": floor})
    (before,) = docket_of(made).records["cox.tif"]["masters"]
    delivered = made.output / "cox.tif", master_of(made)
    stamps = [each.stat().st_mtime_ns for each in delivered]
    for each in made.output.glob("*docket*"):
        each.unlink()
    assert run(made).status == "kept"
    (after,) = docket_of(made).records["cox.tif"]["masters"]
    assert after == before
    assert ("sharpening" in after) == measured
    assert stamps == [each.stat().st_mtime_ns for each in delivered]


def test_a_master_that_is_a_link_or_in_a_linked_folder_is_never_written_through(
    tmp_path: Path,
) -> None:
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    (elsewhere / "cox.tif").write_text("not ours")
    (elsewhere / ".cox.tif.999999999-ab.part").write_text("not ours either")
    (tmp_path / "prints").mkdir()
    masters = tmp_path / "prints" / "masters"
    masters.symlink_to(elsewhere)
    made = planned(tmp_path, delivery={"keep_master": True})
    for replace in get_args(Replace):
        with hold_folder(made.output, {}):
            outcome = run(made, replace=replace)
        assert outcome.message == "masters is a link, so masters cannot be kept in it; move it away"
    masters.unlink()
    masters.mkdir()
    (masters / "cox.tif").symlink_to(elsewhere / "cox.tif")
    outcome = run(made, replace="altered too")
    assert outcome.message == "masters/cox.tif is a link; move it away"
    assert {each.name: each.read_text() for each in elsewhere.iterdir()} == {
        "cox.tif": "not ours",
        ".cox.tif.999999999-ab.part": "not ours either",
    }


def test_a_master_never_takes_a_sources_name(tmp_path: Path) -> None:
    source = tmp_path / "prints" / "masters" / "cox.tif"
    source.parent.mkdir(parents=True)
    before = save(source, scene()).read_bytes()
    pictures = {"cox": {"source": "prints/masters/cox.tif"}}
    outcome = run(job(tmp_path, pictures, PX, **KEPT), replace="altered too")
    assert outcome.status == "refused"
    assert "is a source picture of this job" in outcome.message
    assert source.read_bytes() == before
    assert files(tmp_path / "prints") == ["masters/cox.tif"]


def test_a_file_in_place_of_the_folder(tmp_path: Path) -> None:
    made = planned(tmp_path, **KEPT)
    made.output.mkdir()
    (made.output / "masters").write_text("no folder")
    outcome = run(made)
    assert outcome.status == "failed"
    assert "masters is not a folder, so masters cannot be kept in it" in outcome.message
    assert files(made.output) == ["masters"]


def test_a_full_disk_leaves_neither_print_nor_master(tmp_path: Path) -> None:
    # There is room for the print, not for the master.
    made = kept(tmp_path)
    sizes = (made.output / "cox.tif").stat().st_size, master_of(made).stat().st_size
    assert sizes[0] < sizes[1]
    for name in files(made.output):
        (made.output / name).unlink()
    fail_on_full_disk(made, sum(sizes) // 2)
    assert files(made.output) == []


def test_what_a_dead_run_left_among_masters_is_removed(tmp_path: Path) -> None:
    (tmp_path / "masters").mkdir()
    dead = subprocess.Popen([sys.executable, "-c", ""])
    dead.wait()
    left = tmp_path / "masters" / f".cox.tif.{dead.pid}-00ff00ff.part"
    left.touch()
    remove_leftovers(tmp_path, tmp_path / "masters")
    assert files(tmp_path) == []


def test_a_dry_run_says_what_master_is_kept(tmp_path: Path) -> None:
    made = planned(tmp_path, **KEPT)
    (each,) = plan_prints(made, arrange(made))
    assert (
        "  master      masters/cox.tif, 540 x 360 px, 16-bit colour\n"
        in plan_text(each, made) + "\n"
    )
    assert "master " not in plan_text(*_one(planned(tmp_path)))


def _one(made: Job) -> tuple[Any, Job]:
    (each,) = plan_prints(made, arrange(made))
    return each, made


# The audit.


def test_an_audit_knows_masters(tmp_path: Path) -> None:
    made = kept(tmp_path)
    (made.output / "masters" / "other.tif").write_bytes(b"x")
    assert standing(made) == {
        "cox.tif": "whole",
        "masters/cox.tif": "whole",
        "masters/other.tif": "extra",
    }
    (made.output / "masters" / "other.tif").unlink()
    spoil(master_of(made))
    assert standing(made) == {"cox.tif": "whole", "masters/cox.tif": "altered"}
    master_of(made).unlink()
    assert standing(made) == {"cox.tif": "whole", "masters/cox.tif": "missing"}


def standing(made: Job) -> dict[str, str]:
    return {each.file: each.state for each in audit_docket(docket_of(made))}


def spoil(path: Path) -> None:
    with path.open("r+b") as file:
        file.seek(200)
        file.write(b"\0\1\2")


# Matching.


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("facts", [{}, TURNED], ids=["whole", "turned"])
def test_a_print_is_matched_without_its_source(
    tmp_path: Path, kind: str, facts: dict[str, Any]
) -> None:
    made = kept(tmp_path, facts, **KINDS[kind])
    (tmp_path / "cox.tif").unlink()
    result = matched(made)
    assert result.state == "matched", result
    assert result.mean_difference is not None
    assert result.mean_difference < 0.5
    pictures = [picture_of(made.output / each, PX) for each in ("cox.tif", "again/cox.tif")]
    labs = [lab_of(each / 257, built_in("srgb")) for each in pictures]
    assert colour_difference(*labs).mean() == pytest.approx(result.mean_difference, abs=0.01)
    border = read(made.output / "again" / "cox.tif")[:BORDER_PX]
    assert (border == border[0, 0]).all()
    assert files(made.output / "again") == ["cox.tif"]


def test_an_enlargement_is_matched(tmp_path: Path) -> None:
    save(tmp_path / "cox.tif", scene()[:90, :135])
    made = kept(tmp_path, **MONO, **PAPER)
    (tmp_path / "cox.tif").unlink()
    result = matched(made)
    assert result.state == "matched", result
    assert result.mean_difference is not None
    assert result.mean_difference < 0.5


@pytest.mark.parametrize("mono", [{}, {"mono": {"filter": "none"}}], ids=["colour", "mono"])
def test_grain_is_the_same(tmp_path: Path, mono: dict[str, Any]) -> None:
    save(tmp_path / "cox.tif", np.full((*SOURCE_PX[::-1], 3), 120, np.uint8))
    made = kept(tmp_path, **mono, grain={"granularity": 0.05})
    (tmp_path / "cox.tif").unlink()
    assert matched(made).state == "matched"
    first, again = (picture_of(made.output / each, PX) for each in ("cox.tif", "again/cox.tif"))
    assert first.std() > 500
    apart = first.astype(np.int32) - again.astype(np.int32)
    assert np.abs(apart).max() <= 8  # of 65535: the master's own rounding


def test_what_was_measured_on_the_source_is_not_measured_again(tmp_path: Path) -> None:
    made = kept(tmp_path, **MONO, sharpen={"gain": 0.8, "noise_floor": "measured"})
    record = docket_of(made).records["cox.tif"]
    (master,) = record["masters"]
    measured = master["sharpening"]
    assert measured["noise_floor"] >= 0.8
    result = matched(made)
    assert result.state == "matched"
    mean = result.mean_difference
    docket = docket_of(made)
    (master,) = docket.records["cox.tif"]["masters"]
    master["sharpening"] = {"gain": 0.0, "noise_floor": 0.8}
    (without,) = reprint_docket(docket, [], [], made.output / "once more", match=True)
    assert without.mean_difference is not None
    assert mean is not None
    assert without.mean_difference > 2 * mean  # so that the record is what is taken


def test_a_match_that_is_none_warns(tmp_path: Path) -> None:
    made = kept(tmp_path, **MONO)
    docket = docket_of(made)
    docket.records["cox.tif"]["job"]["toner"] |= {"kind": "sepia"}
    (result,) = reprint_docket(docket, [], [], tmp_path / "again", match=True)
    assert result.state == "different"
    assert "above 1 on average" in result.message


def test_skin_that_a_grey_master_does_not_show_is_said(tmp_path: Path) -> None:
    sharpen = {"sharpen": {"gain": 0.8, "skin": 0.5}}
    for name, tables in (("mono", MONO), ("colour", TONES)):
        (tmp_path / name).mkdir()
        made = kept(tmp_path / name, **tables, **sharpen)
        said = [each for each in matched(made).changes if "skin cannot be told apart" in each]
        assert len(said) == (name == "mono")


def test_without_the_first_print_a_match_is_not_measured(tmp_path: Path) -> None:
    made = kept(tmp_path)
    (made.output / "cox.tif").unlink()
    result = matched(made)
    assert (result.state, result.mean_difference) == ("matched", None)
    assert "missing or changed, so there is nothing to compare with" in result.message


def test_an_altered_master_is_refused(tmp_path: Path) -> None:
    made = kept(tmp_path)
    spoil(master_of(made))
    result = matched(made)
    assert result.state == "failed"
    assert result.message.startswith(
        "its master masters/cox.tif is altered: its contents have changed"
    )
    master_of(made).unlink()
    assert "its master masters/cox.tif is missing" in matched(made).message
    assert not (made.output / "again").exists()


@pytest.mark.parametrize("job", [{}, {"delivery": 1}, {"pictures": {}}], ids=str)
@pytest.mark.parametrize("match", [False, True])
def test_a_docket_without_a_whole_job(tmp_path: Path, job: dict[str, Any], match: bool) -> None:
    docket = docket_of(kept(tmp_path))
    own = docket.records["cox.tif"]["job"]
    docket.records["cox.tif"]["job"] = {**own, **job} if job else {}
    (result,) = reprint_docket(docket, [], [], tmp_path / "again", match=match)
    assert (result.state, "its job in the docket is incomplete" in result.message) == (
        "failed",
        True,
    )


def test_without_a_master_nothing_is_matched(tmp_path: Path) -> None:
    made = planned(tmp_path)
    run(made)
    result = matched(made)
    assert result.state == "failed"
    assert result.message.startswith("no master was kept")


# What an ordinary reprint says of masters.


def test_a_lost_source_is_offered_a_match(tmp_path: Path) -> None:
    made = kept(tmp_path)
    (tmp_path / "cox.tif").unlink()
    assert reprint_message(made).endswith("--look-in; use --match to make it from its master")
    spoil(master_of(made))
    assert reprint_message(made).endswith("; its master masters/cox.tif is altered")


def test_a_lost_source_without_a_master(tmp_path: Path) -> None:
    made = planned(tmp_path)
    run(made)
    (tmp_path / "cox.tif").unlink()
    assert reprint_message(made).endswith("; no master was kept")


def test_a_print_that_differs_is_offered_a_match(tmp_path: Path) -> None:
    made = kept(tmp_path)
    docket = docket_of(made)
    docket.records["cox.tif"]["job"]["tone"]["exposure"] = 0.3
    (result,) = reprint_docket(docket, [], [], tmp_path / "again")
    assert result.state == "different"
    assert result.message.endswith("; use --match to make it from its master")
    assert result.mean_difference is not None
    assert files(tmp_path / "again") == ["cox.tif"]  # a reprint keeps no master


def reprint_message(made: Job) -> str:
    (result,) = reprint_docket(docket_of(made), [], [], made.output / "again")
    assert result.state == "failed"
    return result.message


# The command.


def test_the_command_matches(tmp_path: Path) -> None:
    made = kept(tmp_path, **MONO)
    (tmp_path / "cox.tif").unlink()
    docket = str(made.output / "docket.toml")
    done = CliRunner().invoke(app, ["reprint", docket, "--match", "--json"])
    assert done.exit_code == 0
    (result,) = json.loads(done.stdout)
    assert result["state"] == "matched"
    assert 0 < result["mean_difference"] < result["largest_difference"]
    done = CliRunner().invoke(app, ["reprint", docket, "--match"])
    assert done.stdout.startswith("matched     cox.tif  dE00 0.")
    done = CliRunner().invoke(app, ["reprint", docket, "--match", "--look-in", str(tmp_path)])
    assert (done.exit_code, "--match uses no sources" in done.stderr) == (2, True)
    assert CliRunner().invoke(app, ["reprint", docket]).exit_code == 1


@pytest.mark.parametrize("match", [[], ["--match"]])
def test_first_prints_are_not_written_over(tmp_path: Path, match: list[str]) -> None:
    made = kept(tmp_path)
    before = (made.output / "cox.tif").stat().st_mtime_ns
    arguments = [str(made.output / "docket.toml"), "--output", str(made.output), *match]
    done = CliRunner().invoke(app, ["reprint", *arguments])
    assert (done.exit_code, "name another folder" in done.stderr) == (2, True)
    assert (made.output / "cox.tif").stat().st_mtime_ns == before

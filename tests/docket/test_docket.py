"""The docket, what it lets a rerun skip, the audit and the reprint."""

import json
import os
import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import pyvips
import tomli_w
from jsonschema import Draft202012Validator
from typer.testing import CliRunner

from pictures import Pixels, job, save
from sightsize import __version__
from sightsize.archive.audit import audit_docket
from sightsize.archive.reprint import reprint_docket
from sightsize.base import hashes
from sightsize.base.schemas import schema_file
from sightsize.checks.run import check_ids
from sightsize.cli import app
from sightsize.delivery.ground import Replace
from sightsize.docket.store import Docket
from sightsize.docket.versions import VERSION
from sightsize.errors import DocketError
from sightsize.model.job import Job
from sightsize.plan.arrange import arrange
from sightsize.run.batch import make_prints
from sightsize.run.planner import plan_prints
from sightsize.run.worker import Outcome

PX = (96, 64)
CRAFT: dict[str, Any] = {
    "mono": {"filter": "yellow"},
    "tone": {"split_grade": {"dark": 3, "light": 2}, "edge_burn": {"stops": 0.2}},
    "local_contrast": {"gain": 0.2},
    "toner": {"kind": "sepia"},
    "sharpen": {"gain": 0.8},
    "grain": {"granularity": 0.02},
}


def picture(seed: int) -> Pixels:
    return np.random.default_rng(seed).integers(40, 200, (128, 192, 3)).astype(np.uint8)


def prints_of(folder: Path, **tables: Any) -> Job:
    for number in (1, 2):
        if not (folder / f"p{number}.tif").exists():
            save(folder / f"p{number}.tif", picture(number))
    facts = {f"p{number}": {"source": f"p{number}.tif"} for number in (1, 2)}
    facts["p1"]["spotting"] = [{"at": [0.5, 0.5], "radius": 0.02, "donor": [0.7, 0.5]}]  # type: ignore[assignment]
    return job(folder, facts, PX, **{**CRAFT, **tables})


def run(made: Job, *, replace: Replace = "nothing") -> list[Outcome]:
    made.output.mkdir(exist_ok=True)
    with Docket(made.output / "docket.toml") as docket:
        return make_prints(
            made,
            plan_prints(made, arrange(made), docket=docket),
            replace=replace,
            workers=2,
            docket=docket,
        )


def states(outcomes: list[Outcome]) -> list[str]:
    return [each.status for each in outcomes]


def docket_of(made: Job) -> Docket:
    return Docket(made.output / "docket.toml")


# What is written.


def test_the_docket_keeps_to_its_schema(tmp_path: Path) -> None:
    made = prints_of(tmp_path)
    assert states(run(made)) == ["made", "made"]
    values = tomllib.loads((made.output / "docket.toml").read_text(encoding="utf-8"))
    Draft202012Validator.check_schema(schema_file("docket"))
    Draft202012Validator(schema_file("docket")).validate(values)
    assert sorted(each["file"] for each in values["prints"]) == ["p1.tif", "p2.tif"]


def test_hashes_are_those_of_the_files(tmp_path: Path) -> None:
    import hashlib

    import pyvips

    made = prints_of(tmp_path)
    run(made)
    for name, record in docket_of(made).records.items():
        path = made.output / name
        assert hashlib.sha256(path.read_bytes()).hexdigest() == record["output"]["sha256"]
        pixels = pyvips.Image.new_from_file(str(path)).write_to_memory()
        assert hashlib.sha256(pixels).hexdigest() == record["output"]["pixels_sha256"]
        (noted,) = record["sources"]
        assert noted["picture"] == Path(name).stem
        source = (made.output / noted["path"]).resolve()
        assert hashlib.sha256(source.read_bytes()).hexdigest() == noted["sha256"]


def test_the_mirror_is_only_a_mirror(tmp_path: Path) -> None:
    made = prints_of(tmp_path)
    run(made)
    mirrored = docket_of(made).records
    (made.output / ".docket.json").write_text("not json")
    assert docket_of(made).records == mirrored
    (made.output / ".docket.json").write_text(json.dumps([1, 2, []]))
    assert docket_of(made).records == mirrored


def set_mirror(folder: Path, version: int, records: Sequence[Any]) -> None:
    """Write a mirror by hand, with the hash of the docket that stands."""
    head = {
        "docket": version,
        "mirrors": hashes.file_sha256(folder / "docket.toml"),
        "prints": len(records),
    }
    lines = [json.dumps(each) for each in (head, *({"print": each} for each in records))]
    (folder / ".docket.json").write_text("\n".join(lines), encoding="utf-8")


def test_a_mirror_is_read_if_it_is_of_today(tmp_path: Path) -> None:
    made = prints_of(tmp_path)
    run(made)
    records = docket_of(made).records
    told = [{**each, "made": "by the mirror"} for each in records.values()]
    set_mirror(made.output, VERSION, told)
    assert {each["made"] for each in docket_of(made).records.values()} == {"by the mirror"}
    for version in (VERSION - 1, VERSION + 1):
        set_mirror(made.output, version, told)
        assert docket_of(made).records == records


@pytest.mark.parametrize(
    "spoilt",
    [
        {"sources": 3},
        {"sources": []},
        {"sources": [{}]},
        {"sources": {}},
        {"sources": ["p1.tif"]},
        {"output": {}},
        {"output": 3},
        {"masters": [{}]},
        {"job": None},
        {"identity": 5},
        {"file": "../p1.tif"},
    ],
)
def test_a_mirror_of_another_shape_is_not_read(tmp_path: Path, spoilt: dict[str, Any]) -> None:
    made = prints_of(tmp_path)
    run(made)
    records = docket_of(made).records
    set_mirror(made.output, VERSION, [{**each, **spoilt} for each in records.values()])
    assert docket_of(made).records == records
    result = CliRunner().invoke(app, ["audit", str(made.path)])
    assert (result.exit_code, ": 2 whole\n" in result.stdout) == (0, True)


@pytest.mark.parametrize("key", ["output", "sources", "job", "identity"])
def test_a_mirror_that_lacks_a_key_is_not_read(tmp_path: Path, key: str) -> None:
    made = prints_of(tmp_path)
    run(made)
    records = docket_of(made).records
    set_mirror(made.output, VERSION, [_without(each, key) for each in records.values()])
    assert docket_of(made).records == records


def test_what_was_measured_is_kept_while_the_print_is_the_same(tmp_path: Path) -> None:
    made = prints_of(tmp_path)
    run(made)
    path = made.output / "docket.toml"
    values = tomllib.loads(path.read_text(encoding="utf-8"))
    for each in values["prints"]:
        each["measured"] = {"on": "2026-05-04", "width": "9.6 mm"}
    path.write_text(tomli_w.dumps(values), encoding="utf-8")
    (made.output / "p1.tif").unlink()
    assert states(run(made)) == ["made", "kept"]
    records = docket_of(made).records
    assert records["p1.tif"]["measured"]["width"] == "9.6 mm"
    assert records["p2.tif"]["measured"]["width"] == "9.6 mm"


def test_what_was_measured_is_kept_while_the_pixels_are_the_same(tmp_path: Path) -> None:
    made = prints_of(tmp_path)
    run(made)
    docket = docket_of(made)
    measured = {"on": "2026-05-04", "width": "9.6 mm"}
    first = {**docket.records["p1.tif"], "measured": measured}
    docket.note(first)
    # Made anew by another version: another identity, the same picture on paper.
    docket.note({**_unmeasured(first), "identity": f"sha256:{'0' * 64}"})
    assert docket_of(made).records["p1.tif"]["measured"] == measured
    other = {**first["output"], "pixels_sha256": "0" * 64}
    docket.note({**_unmeasured(first), "identity": f"sha256:{'1' * 64}", "output": other})
    assert "measured" not in docket_of(made).records["p1.tif"]


def _unmeasured(record: dict[str, Any]) -> dict[str, Any]:
    return {key: each for key, each in record.items() if key != "measured"}


@pytest.mark.parametrize("text", ["docket = ", "docket = 0\nprints = []\n", "docket = 1\n", "\xff"])
def test_a_docket_that_cannot_be_used(tmp_path: Path, text: str) -> None:
    path = tmp_path / "docket.toml"
    path.write_bytes(text.encode("latin-1"))
    with pytest.raises(DocketError, match="fix it, or move it away"):
        Docket(path)


def test_a_docket_of_a_newer_version_says_what_wrote_it(tmp_path: Path) -> None:
    path = tmp_path / "docket.toml"
    path.write_text("docket = 3\nprints = []\n")
    with pytest.raises(DocketError) as refused:
        Docket(path)
    assert str(refused.value) == (
        f"{path} is a docket of version 3, written by a newer sightsize; this one reads versions "
        "up to 2. Update sightsize, or move the docket away"
    )


def test_a_folder_of_the_dockets_name_is_said(tmp_path: Path) -> None:
    made = prints_of(tmp_path)
    path = made.output / "docket.toml"
    path.mkdir(parents=True)
    said = f"{path} is a folder, but a docket is a file; move the folder away"
    with pytest.raises(DocketError) as refused:
        Docket(path)
    assert str(refused.value) == said
    for command in (["audit", str(made.path)], ["audit", str(path)], ["make", str(made.path)]):
        result = CliRunner().invoke(app, command)
        assert (result.exit_code, said in result.stderr) == (2, True)


def test_a_mistake_in_a_docket_is_placed_by_entries_from_1(tmp_path: Path) -> None:
    made = prints_of(tmp_path)
    run(made)
    path = made.output / "docket.toml"
    values = tomllib.loads(path.read_text(encoding="utf-8"))
    values["prints"][1]["sources"][0]["bytes"] = "many"
    path.write_text(tomli_w.dumps(values), encoding="utf-8")
    with pytest.raises(DocketError, match=r": prints\[2\]\.sources\[1\]\.bytes: "):
        Docket(path)


def as_version_1(made: Job) -> list[dict[str, Any]]:
    """Rewrite a job's docket as version 1 had it, mirror and all; return its records."""
    path = made.output / "docket.toml"
    values = tomllib.loads(path.read_text(encoding="utf-8"))
    records = [_record_of_version_1(each) for each in values["prints"]]
    path.write_text(tomli_w.dumps({"docket": 1, "prints": records}), encoding="utf-8")
    status = path.stat()
    mirrored = [status.st_size, status.st_mtime_ns, records]
    (made.output / ".docket.json").write_text(json.dumps(mirrored), encoding="utf-8")
    return records


def _record_of_version_1(record: dict[str, Any]) -> dict[str, Any]:
    """One source and one master as tables without a name, and the picture's numbers in the plan."""
    (source,), (numbers,) = record["sources"], record["plan"]["pictures"]
    sheet = {key: each for key, each in record["plan"].items() if key != "pictures"}
    moved = ("sources", "masters")
    old = {key: each for key, each in record.items() if key not in moved}
    for master in record.get("masters", ()):
        old["master"] = _nameless(master)
    return {**old, "source": _nameless(source), "plan": {**sheet, **_nameless(numbers)}}


def _nameless(table: dict[str, Any]) -> dict[str, Any]:
    return {key: each for key, each in table.items() if key != "picture"}


@pytest.mark.parametrize("mirror", [False, True])
def test_a_docket_of_version_1_is_read(tmp_path: Path, mirror: bool) -> None:
    made = prints_of(tmp_path, delivery={"keep_master": True})
    run(made)
    today = docket_of(made).records
    old = as_version_1(made)
    assert all({"source", "master"} <= each.keys() for each in old)
    assert all({"sources", "masters"}.isdisjoint(each) for each in old)
    if not mirror:
        (made.output / ".docket.json").unlink()
    found = docket_of(made).records
    for name, record in found.items():
        assert {**record, "plan": today[name]["plan"]} == today[name]
    assert found.keys() == today.keys()
    assert {each.state for each in audit_docket(docket_of(made))} == {"whole"}


def test_prints_of_version_1_are_reprinted_and_matched(tmp_path: Path) -> None:
    made = prints_of(tmp_path, delivery={"keep_master": True, "bit_depth": 16})
    run(made)
    as_version_1(made)
    docket = docket_of(made)
    again = list(reprint_docket(docket, [], [], tmp_path / "again"))
    assert [each.state for each in again] == ["identical", "identical"]
    for name in ("p1.tif", "p2.tif"):
        first, second = (folder / name for folder in (made.output, tmp_path / "again"))
        assert first.read_bytes() == second.read_bytes()
        (tmp_path / name).unlink()
    found = list(reprint_docket(docket, [], [], tmp_path / "matched", match=True))
    assert [each.state for each in found] == ["matched", "matched"]


def test_a_docket_of_version_1_goes_on_as_one_of_today(tmp_path: Path) -> None:
    made = prints_of(tmp_path)
    run(made)
    as_version_1(made)
    assert states(run(made)) == ["kept", "kept"]
    (made.output / "p1.tif").unlink()
    assert states(run(made)) == ["made", "kept"]
    values = tomllib.loads((made.output / "docket.toml").read_text(encoding="utf-8"))
    Draft202012Validator(schema_file("docket")).validate(values)
    assert values["docket"] == 2


def test_a_job_of_version_1_has_the_keys_of_today(tmp_path: Path) -> None:
    made = prints_of(tmp_path)
    run(made)
    record = as_version_1(made)[0]
    limits = record["job"].pop("limits")
    checks = record["job"]["checks"]
    checks["source_limit"] = limits["source_megapixels"]
    checks["crop_loss_stop"] = checks.pop("crop_loss_refuse")
    path = made.output / "docket.toml"
    path.write_text(tomli_w.dumps({"docket": 1, "prints": [record]}), encoding="utf-8")
    (found,) = docket_of(made).records.values()
    assert found["job"]["limits"] == {"source_megapixels": limits["source_megapixels"]}
    assert "crop_loss_refuse" in found["job"]["checks"]
    again = list(reprint_docket(docket_of(made), [], [], tmp_path / "again"))
    assert [each.state for each in again] == ["identical"]


def test_a_print_of_version_1_that_is_not_whole_is_refused(tmp_path: Path) -> None:
    made = prints_of(tmp_path)
    run(made)
    records = as_version_1(made)
    path = made.output / "docket.toml"
    for spoilt in ({**records[0], "source": "p1.tif"}, _without(records[0], "source"), "p1.tif"):
        path.write_text(tomli_w.dumps({"docket": 1, "prints": [spoilt]}), encoding="utf-8")
        with pytest.raises(DocketError, match="fix it, or move it away"):
            Docket(path)


def _without(record: dict[str, Any], key: str) -> dict[str, Any]:
    return {name: each for name, each in record.items() if name != key}


# Reruns.


def test_a_rerun_decodes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    made = prints_of(tmp_path)
    run(made)

    def opened(*_: object, **__: object) -> None:
        raise AssertionError("a picture was opened")

    monkeypatch.setattr("sightsize.imaging.source.image_file.open_plain", opened)
    assert states(run(made)) == ["kept", "kept"]


def test_a_touched_source_is_hashed_and_kept(tmp_path: Path) -> None:
    made = prints_of(tmp_path)
    run(made)
    os.utime(tmp_path / "p1.tif", (1, 1))
    assert states(run(made)) == ["kept", "kept"]


@pytest.mark.parametrize("second", [-1, 0, 2**33])
def test_a_clock_that_is_wrong(tmp_path: Path, second: int) -> None:
    # Before 1970, at its beginning, and in 2242: times are only ever compared for being the same.
    made = prints_of(tmp_path)
    os.utime(tmp_path / "p1.tif", (second, second))
    assert states(run(made)) == ["made", "made"]
    os.utime(made.output / "p2.tif", (second, second))
    assert states(run(made)) == ["kept", "kept"]
    (made.output / ".docket.json").unlink()
    records = docket_of(made).records
    assert [each["changed_ns"] for each in records["p1.tif"]["sources"]] == [second * 10**9]
    assert records["p2.tif"]["output"]["changed_ns"] == second * 10**9
    assert states(run(made)) == ["kept", "kept"]
    assert [each.state for each in audit_docket(docket_of(made))] == ["whole", "whole"]


def rewrite_unseen(path: Path, data: bytes) -> None:
    """Write other bytes of the same size under the same time."""
    status = path.stat()
    assert len(data) == status.st_size
    path.write_bytes(data)
    os.utime(path, ns=(status.st_atime_ns, status.st_mtime_ns))


def test_another_source_of_the_same_size_and_time_is_seen_once_it_is_printed(
    tmp_path: Path,
) -> None:
    made = prints_of(tmp_path)
    run(made)
    rewrite_unseen(tmp_path / "p1.tif", save(tmp_path / "other.tif", picture(9)).read_bytes())
    assert states(run(made)) == ["kept", "kept"]
    (made.output / "p1.tif").unlink()
    hashes._sha256_of.cache_clear()  # as in a new process
    assert states(run(made)) == ["made", "kept"]
    (noted,) = docket_of(made).records["p1.tif"]["sources"]
    assert noted["sha256"] == hashes.file_sha256(tmp_path / "p1.tif")


def test_another_print_of_the_same_size_and_time_is_seen_by_the_audit(tmp_path: Path) -> None:
    made = prints_of(tmp_path)
    run(made)
    data = bytearray((made.output / "p1.tif").read_bytes())
    data[len(data) // 2] ^= 1
    rewrite_unseen(made.output / "p1.tif", bytes(data))
    assert states(run(made)) == ["kept", "kept"]
    states_by_file = {each.file: each.state for each in audit_docket(docket_of(made))}
    assert states_by_file == {"p1.tif": "altered", "p2.tif": "whole"}


def test_a_changed_source_is_seen(tmp_path: Path) -> None:
    made = prints_of(tmp_path)
    run(made)
    save(tmp_path / "p1.tif", picture(9))
    assert states(run(made)) == ["failed", "kept"]
    assert states(run(made, replace="altered too")) == ["made", "kept"]


def test_a_spoilt_print_is_not_kept(tmp_path: Path) -> None:
    made = prints_of(tmp_path)
    run(made)
    data = (made.output / "p2.tif").read_bytes()
    (made.output / "p2.tif").write_bytes(data[:-400])
    assert states(run(made, replace="altered too")) == ["kept", "made"]


@pytest.mark.parametrize("keep_master", [False, True])
def test_a_print_that_somebody_worked_on_is_left_alone(tmp_path: Path, keep_master: bool) -> None:
    made = prints_of(tmp_path, delivery={"keep_master": keep_master})
    run(made)
    path = made.output / "p2.tif"
    # Size, density, profile, border and the identity in it stay: a patch is lighter.
    image = pyvips.Image.new_from_file(str(path)).copy_memory()
    x, y = image.width // 2, image.height // 2
    lighter = image.crop(x, y, 4, 4).linear([1], [60]).cast(image.format)
    image.insert(lighter, x, y).tiffsave(str(path), compression="deflate")
    worked_on = path.read_bytes()
    outcomes = run(made)
    assert states(outcomes) == ["kept", "failed"]
    assert "changed after it was made; use --replace" in outcomes[1].message
    assert path.read_bytes() == worked_on


def test_prints_without_a_docket_are_recognised_and_noted(tmp_path: Path) -> None:
    made = prints_of(tmp_path)
    run(made)
    (made.output / "docket.toml").unlink()
    assert states(run(made)) == ["kept", "kept"]
    assert sorted(docket_of(made).records) == ["p1.tif", "p2.tif"]


# The audit.


def test_an_audit_finds_what_is_missing_altered_and_extra(tmp_path: Path) -> None:
    made = prints_of(tmp_path)
    run(made)
    assert {each.state for each in audit_docket(docket_of(made))} == {"whole"}
    (made.output / "p1.tif").unlink()
    with (made.output / "p2.tif").open("r+b") as file:
        file.seek(200)
        file.write(b"\0\1\2")
    (made.output / "other.jpg").write_bytes(b"x")
    found = {each.file: each.state for each in audit_docket(docket_of(made))}
    assert found == {"p1.tif": "missing", "p2.tif": "altered", "other.jpg": "extra"}


def audited_with(made: Job) -> set[tuple[str, str]]:
    """Files and states of an audit that has the job, too."""
    docket = docket_of(made)
    found = audit_docket(docket, plan_prints(made, arrange(made), docket=docket))
    return {(each.file, each.state) for each in found}


def test_an_audit_of_a_job_tells_what_it_asks_for_by_now(tmp_path: Path) -> None:
    made = prints_of(tmp_path)
    run(made)
    assert {state for _, state in audited_with(made)} == {"whole"}
    changed = prints_of(tmp_path, tone={"grade": 3})
    assert audited_with(changed) >= {("p1.tif", "outdated"), ("p2.tif", "outdated")}
    docket = docket_of(made)
    docket.records.pop("p1.tif")
    found = audit_docket(docket, plan_prints(made, arrange(made), docket=docket))
    assert ("p1.tif", "missing") in {(each.file, each.state) for each in found}


def test_an_audit_says_which_version_made_an_outdated_print(tmp_path: Path) -> None:
    made = prints_of(tmp_path)
    run(made)
    docket = docket_of(made)
    old = docket.records["p1.tif"]
    old["identity"] = f"sha256:{'0' * 64}"
    old["versions"]["sightsize"] = "0.3.0"
    found = audit_docket(docket, plan_prints(made, arrange(made), docket=docket))
    (said,) = [each.message for each in found if each.state == "outdated"]
    assert said == f"sightsize 0.3.0 made it; this version, {__version__}, would make it anew"


@pytest.mark.parametrize(
    "tables", [{"checks": {"crop_loss_warn": 0.3}}, {"paper": {"surface": "matte"}}]
)
def test_what_a_rerun_keeps_no_audit_calls_outdated(tmp_path: Path, tables: dict[str, Any]) -> None:
    run(prints_of(tmp_path))
    changed = prints_of(tmp_path, **tables)
    assert {state for _, state in audited_with(changed)} == {"whole"}
    assert states(run(changed)) == ["kept", "kept"]


def test_the_audit_command(tmp_path: Path) -> None:
    made = prints_of(tmp_path)
    run(made)
    result = CliRunner().invoke(app, ["audit", str(made.path)])
    assert (result.exit_code, ": 2 whole\n" in result.stdout) == (0, True)
    (made.output / "p1.tif").unlink()
    result = CliRunner().invoke(app, ["audit", str(made.output / "docket.toml"), "--json"])
    assert result.exit_code == 1
    assert {each["state"] for each in json.loads(result.stdout)["files"]} == {"whole", "missing"}
    assert CliRunner().invoke(app, ["audit", str(tmp_path / "docket.toml")]).exit_code == 2


def test_an_audit_of_what_is_no_file_says_what_it_takes(tmp_path: Path) -> None:
    made = prints_of(tmp_path)
    run(made)
    (tmp_path / "pics").mkdir()
    for name, said in (
        ("nope.toml", f"there is no file {tmp_path / 'nope.toml'}; name a job file or a docket"),
        ("pics", f"{tmp_path / 'pics'} is a folder; name a job file or a docket"),
        (
            made.output.name,
            f"{made.output} is a folder; name a job file or a docket such as "
            f"{made.output / 'docket.toml'}",
        ),
    ):
        result = CliRunner().invoke(app, ["audit", str(tmp_path / name)])
        assert (result.exit_code, result.stderr) == (2, f"{said}\n")


# The reprint.


def test_the_same_print_again_bit_for_bit(tmp_path: Path) -> None:
    made = prints_of(tmp_path)
    run(made)
    made.path.unlink()  # the docket is enough
    again = list(reprint_docket(docket_of(made), [], [], tmp_path / "again"))
    assert [each.state for each in again] == ["identical", "identical"]
    for name in ("p1.tif", "p2.tif"):
        first, second = (folder / name for folder in (made.output, tmp_path / "again"))
        assert first.read_bytes() == second.read_bytes()


def test_a_moved_source_is_found_by_its_hash(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = prints_of(tmp_path)
    run(made)
    archive = tmp_path / "archive" / "2026"
    archive.mkdir(parents=True)
    (tmp_path / "p1.tif").rename(archive / "renamed.tif")
    docket = docket_of(made)
    (lost,) = reprint_docket(docket, ["p1"], [], tmp_path / "again")
    assert lost.state == "failed"
    assert "is missing" in lost.message
    assert "--look-in" in lost.message
    monkeypatch.chdir(tmp_path)
    for place in (tmp_path / "archive", Path("archive")):
        (found,) = reprint_docket(docket, ["p1*"], [place], tmp_path / "again")
        assert found.state == "identical"


def test_a_changed_source_is_not_reprinted(tmp_path: Path) -> None:
    made = prints_of(tmp_path)
    run(made)
    save(tmp_path / "p1.tif", picture(9))
    (result,) = reprint_docket(docket_of(made), ["p1"], [], tmp_path / "again")
    assert (result.state, "has changed" in result.message) == ("failed", True)


def test_other_versions_are_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    made = prints_of(tmp_path)
    run(made)
    newer = {**docket_of(made).records["p1.tif"]["versions"], "libvips": "9.0.0"}
    monkeypatch.setattr("sightsize.archive.reprint.versions", lambda: newer)
    (result,) = reprint_docket(docket_of(made), ["p1"], [], tmp_path / "again")
    assert any(each.startswith("libvips was 8.") for each in result.changes)
    assert result.state == "identical"  # what is said is not what is decided by


def test_a_print_that_differs_is_measured(tmp_path: Path) -> None:
    made = prints_of(tmp_path)
    run(made)
    docket = docket_of(made)
    docket.records["p1.tif"]["job"]["tone"]["exposure"] = 0.2
    (result,) = reprint_docket(docket, ["p1"], [], tmp_path / "again")
    assert result.state == "different"
    assert result.message.startswith("dE00 ")


def test_the_reprint_command(tmp_path: Path) -> None:
    made = prints_of(tmp_path)
    run(made)
    docket = str(made.output / "docket.toml")
    result = CliRunner().invoke(app, ["reprint", docket, "--only", "p2"])
    assert result.exit_code == 0
    assert result.stdout.splitlines() == [
        "identical   p2.tif",
        f"1 identical; files in {made.output / 'reprints'}",
    ]
    assert (made.output / "reprints" / "p2.tif").is_file()
    assert CliRunner().invoke(app, ["reprint", docket, "--only", "p9"]).exit_code == 2


def test_a_folder_that_nothing_was_put_in_does_not_stay(tmp_path: Path) -> None:
    made = prints_of(tmp_path)
    run(made)
    for name in ("p1.tif", "p2.tif"):
        (tmp_path / name).unlink()
    command = ["reprint", str(made.output / "docket.toml"), "--output", str(tmp_path / "again")]
    result = CliRunner().invoke(app, command)
    assert (result.exit_code, result.stdout.splitlines()[-1]) == (1, "2 failed")
    assert not (tmp_path / "again").exists()
    (tmp_path / "again").mkdir()  # a folder that stood before is the photographer's
    CliRunner().invoke(app, command)
    assert (tmp_path / "again").is_dir()


def test_a_run_that_makes_nothing_leaves_no_folder(tmp_path: Path) -> None:
    made = prints_of(tmp_path)
    for name in ("p1.tif", "p2.tif"):
        (tmp_path / name).write_bytes((tmp_path / name).read_bytes()[:-1000])
    result = CliRunner().invoke(app, ["make", str(made.path)])
    assert (result.exit_code, result.stdout.splitlines()[-1][:6]) == (1, "0 made")
    assert "files in" not in result.stdout
    assert not made.output.exists()


def test_a_docket_that_cannot_be_written_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = prints_of(tmp_path)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("sightsize.docket.hidden_file.write_whole", full)
    outcomes = run(made)
    assert states(outcomes) == ["failed", "failed"]
    assert outcomes[0].message == (
        "it was made, but cannot be noted in the docket: No space left on device"
    )
    assert not (made.output / "docket.toml").exists()


def test_links_in_a_circle_are_no_source(tmp_path: Path) -> None:
    made = prints_of(tmp_path)
    (tmp_path / "p1.tif").unlink()
    (tmp_path / "p1.tif").symlink_to(tmp_path / "p1.tif")
    first, second = run(made)
    assert (first.status, second.status) == ("refused", "made")


def test_a_reprint_is_not_stopped_by_what_checks_say_by_now(tmp_path: Path) -> None:
    source = save(tmp_path / "white.tif", np.full((256, 256, 3), 255, np.uint8))
    accepting = job(
        tmp_path, {"white": {"source": source.name}}, (256, 256),
        checks={"accept": sorted(check_ids())},
    )  # fmt: skip
    docket = Docket(accepting.output / "docket.toml")
    accepting.output.mkdir()
    make_prints(accepting, plan_prints(accepting, arrange(accepting)), replace="nothing", workers=1,
                docket=docket)  # fmt: skip
    (record,) = docket.records.values()
    record["job"]["checks"] = {"accept": [], "strict": True}  # as if made before these checks
    (result,) = reprint_docket(docket, [], [], tmp_path / "again")
    assert result.state == "identical", result


def test_an_audit_does_not_call_a_source_extra(tmp_path: Path) -> None:
    save(tmp_path / "cox.tif", np.full((256, 256, 3), 120, np.uint8))
    made = job(
        tmp_path, {"cox": {"source": "cox.tif"}}, (256, 256),
        job={"output": "."}, delivery={"name": "sheet"}, checks={"accept": sorted(check_ids())},
    )  # fmt: skip
    docket = Docket(made.output / "docket.toml")
    make_prints(made, plan_prints(made, arrange(made)), replace="nothing", workers=1, docket=docket)
    save(tmp_path / "stray.tif", np.full((9, 9, 3), 120, np.uint8))
    states = {each.file: each.state for each in audit_docket(docket)}
    assert states == {"sheet.tif": "whole", "stray.tif": "extra"}

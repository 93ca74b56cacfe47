"""Whatever stands in a job or a docket, the answer is one of the two that are promised."""

import json
from pathlib import Path
from typing import Any

import pytest
import tomli_w
from hypothesis import HealthCheck, given, settings

from generated import dockets, jobs, load_and_plan, read_and_audit
from sightsize.checks.run import check_ids
from sightsize.docket.store import Docket
from sightsize.docket.versions import VERSION
from sightsize.errors import DocketError, JobError
from sightsize.job.load import load_job

HUNDRED = settings(max_examples=100, suppress_health_check=list(HealthCheck))
TEN = settings(HUNDRED, max_examples=10)
WHOLE_JOB = """sightsize = 1
aperture = { width = "143 mm", height = "198 mm" }
paper.size = "10x8 in"
"""


@pytest.mark.slow
@HUNDRED
@given(values=jobs())
def test_a_generated_job_is_loaded_or_answered(values: Any, tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    path.write_text(tomli_w.dumps(values), encoding="utf-8")
    load_and_plan(path)


@TEN
@given(values=jobs())
def test_a_few_generated_jobs_are_loaded_or_answered(values: Any, tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    path.write_text(tomli_w.dumps(values), encoding="utf-8")
    load_and_plan(path)


@pytest.mark.slow
@HUNDRED
@given(values=dockets())
def test_a_generated_docket_is_read_or_answered(values: Any, tmp_path: Path) -> None:
    path = tmp_path / "docket.toml"
    path.write_text(tomli_w.dumps(values), encoding="utf-8")
    read_and_audit(path)


@TEN
@given(values=dockets())
def test_a_few_generated_dockets_are_read_or_answered(values: Any, tmp_path: Path) -> None:
    path = tmp_path / "docket.toml"
    path.write_text(tomli_w.dumps(values), encoding="utf-8")
    read_and_audit(path)


def nested(depth: int) -> str:
    return "deep = " + "[" * depth + "]" * depth + "\n"


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("long = " + "1" * 5000, "too many digits"),
        (nested(20_000), "nested too deeply"),
        (nested(400), ""),
        (nested(200), ""),
        ("a." * 3000 + "b = 1", "more than 100 parts"),
        ("a." * 300 + "b = 1", ""),
    ],
)
def test_toml_that_asks_too_much(line: str, said: str, tmp_path: Path) -> None:
    job, docket = tmp_path / "job.toml", tmp_path / "docket.toml"
    job.write_text(line + "\n" + WHOLE_JOB)
    with pytest.raises(JobError) as refused:
        load_job(job, check_ids())
    assert said in refused.value.findings[0].message
    docket.write_text("docket = 1\nprints = []\n" + line)
    assert not read_and_audit(docket)


@pytest.mark.parametrize("path", ["a\0b.jpg", "a\nb.jpg", "\x1b[2J", "x" * 256, "é" * 128])
@pytest.mark.parametrize("key", ["source", "profile", "assume_profile", "output"])
def test_a_path_that_can_be_none_is_refused_in_a_sentence(
    path: str, key: str, tmp_path: Path
) -> None:
    values: dict[str, Any] = {
        "sightsize": 1,
        "job": {"output": "prints"},
        "aperture": {"width": "143 mm", "height": "198 mm"},
        "paper": {"size": "10x8 in"},
        "delivery": {"profile": "srgb"},
        "pictures": {"cox": {"source": "cox.jpg", "assume_profile": "srgb"}},
        "prints": [{"picture": "cox"}],
    }
    tables = {"output": "job", "profile": "delivery"}
    table = values[tables[key]] if key in tables else values["pictures"]["cox"]
    table[key] = path
    job = tmp_path / "job.toml"
    job.write_text(tomli_w.dumps(values), encoding="utf-8")
    with pytest.raises(JobError) as refused:
        load_job(job, check_ids())
    (finding,) = refused.value.findings
    assert finding.key.endswith(key)
    assert "the path" in finding.message


def test_a_path_too_long_for_the_system_has_no_file(tmp_path: Path) -> None:
    job = tmp_path / "job.toml"
    deep = "/".join(["tern-quay"] * 39)
    job.write_text(f'{WHOLE_JOB}prints = [{{ source = "{deep}/cox.jpg" }}]\n')
    assert load_and_plan(job)


MIRRORS = [b"", b"[]", b"{}", b"[1,2]", b"[2,1,2]", b"\xff", b"[" * 100_000, b"null"]
RECORDS: list[Any] = [None, 1, "text", {}, [[]], [{"file": 1}], [None]]


@pytest.mark.parametrize("mirror", MIRRORS)
def test_a_damaged_mirror_does_not_count(mirror: bytes, tmp_path: Path) -> None:
    (tmp_path / "docket.toml").write_text("docket = 1\nprints = []\n")
    (tmp_path / ".docket.json").write_bytes(mirror)
    assert Docket(tmp_path / "docket.toml").records == {}


@pytest.mark.parametrize("records", RECORDS)
def test_a_mirror_of_something_else_does_not_count(records: Any, tmp_path: Path) -> None:
    docket = tmp_path / "docket.toml"
    docket.write_text("docket = 1\nprints = []\n")
    status = docket.stat()
    mirrored = [VERSION, status.st_size, status.st_mtime_ns, records]
    (tmp_path / ".docket.json").write_text(json.dumps(mirrored))
    assert Docket(docket).records == {}


@pytest.mark.parametrize("file", ["../a.jpg", "/etc/passwd", "a/b.jpg", "", ".hidden.jpg", "a\\b"])
def test_a_docket_names_no_file_elsewhere(file: str, tmp_path: Path) -> None:
    record = tomli_w.dumps({"docket": 1, "prints": [{"file": file}]})
    (tmp_path / "docket.toml").write_text(record)
    with pytest.raises(DocketError, match=r"docket\.toml"):
        Docket(tmp_path / "docket.toml")

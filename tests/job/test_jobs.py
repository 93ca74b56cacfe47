"""Whole job files: valid ones load; each invalid one is answered by one exact sentence.

A case is a file: tests/jobs/invalid/NAME.toml has one mistake, on the line marked "# wrong" (or
missing just below it), and NAME.txt holds the sentence a photographer is told.
"""

import tomllib
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
import tomli_w
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sightsize.base.findings import Finding
from sightsize.base.paths import say_missing
from sightsize.checks.run import check_file, check_ids
from sightsize.errors import JobError
from sightsize.job.load import load_job
from sightsize.model.job import PrintRequest
from sightsize.plan.arrange import arrange
from sightsize.run.planner import plan_prints

JOBS = Path(__file__).parents[1] / "jobs"
VALID = sorted(JOBS.glob("valid/*.toml"))
INVALID = sorted(JOBS.glob("invalid/*.toml"))
REFUSED = sorted(JOBS.glob("refused/*.toml"))


def marked_line(job: Path) -> int:
    lines = job.read_text(encoding="utf-8").split("\n")
    (number,) = [number for number, line in enumerate(lines, 1) if "# wrong" in line]
    return number


def expected(job: Path) -> str:
    return job.with_suffix(".txt").read_text(encoding="utf-8").rstrip("\n")


def assert_says(finding: Finding, job: Path) -> None:
    assert finding.sentence() == expected(job)
    assert finding.line == marked_line(job)
    assert finding.level == "refuse"


@pytest.mark.parametrize("job", INVALID, ids=lambda job: job.stem)
def test_invalid_job_is_answered_by_one_sentence(
    job: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(job.parent)
    with pytest.raises(JobError) as caught:
        arrange(load_job(Path(job.name), check_ids()))
    (finding,) = caught.value.findings
    assert_says(finding, job)
    text = job.read_text(encoding="utf-8").split("\n")[finding.line - 1]
    assert 1 <= finding.column <= len(text)


@pytest.mark.parametrize("job", REFUSED, ids=lambda job: job.stem)
def test_missing_picture_is_a_finding_of_the_plan(
    job: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(job.parent)
    loaded = load_job(Path(job.name), check_ids())
    (planned,) = plan_prints(loaded, arrange(loaded))
    assert planned.refused
    assert planned.plan is None
    (finding,) = planned.findings
    assert_says(finding, job)


def test_there_are_cases() -> None:
    assert len(INVALID) >= 34
    assert len(VALID) >= 5
    assert REFUSED
    jobs = {job.with_suffix("") for job in [*INVALID, *REFUSED]}
    assert {text.with_suffix("") for text in JOBS.glob("*/*.txt")} == jobs


@pytest.mark.parametrize("job", VALID, ids=lambda job: job.stem)
def test_valid_job_loads(job: Path) -> None:
    assert arrange(load_job(job, check_ids()))


@pytest.mark.parametrize("job", VALID, ids=lambda job: job.stem)
def test_line_ends_and_byte_order_mark_change_nothing(job: Path, tmp_path: Path) -> None:
    text = job.read_text(encoding="utf-8")
    plain, windows = tmp_path / "plain" / "job.toml", tmp_path / "windows" / "job.toml"
    for path in (plain, windows):
        path.parent.mkdir()
    plain.write_text(text, encoding="utf-8", newline="\n")
    windows.write_text(text, encoding="utf-8-sig", newline="\r\n")
    first_job, second_job = (load_job(path, check_ids()) for path in (plain, windows))
    assert [each.name for each in arrange(second_job)] == [each.name for each in arrange(first_job)]
    first, second = (each.prints[0].origins for each in (first_job, second_job))
    assert first == second


def test_every_mistake_of_a_file_is_reported_in_its_order(tmp_path: Path) -> None:
    job = tmp_path / "job.toml"
    job.write_text(
        "sightsize = 1\n"
        'aperture = { width = 7, heigth = "9 in" }\n'
        'paper = { size = "12x8" }\n'
        "[[prints]]\n"
        "copies = 0\n"
    )
    with pytest.raises(JobError) as caught:
        load_job(job)
    places = [(finding.line, finding.key) for finding in caught.value.findings]
    assert places == [
        (2, "aperture.width"),
        (2, "aperture.heigth"),
        (3, "paper.size"),
        (5, "prints[1].copies"),
    ]
    assert str(caught.value).count("\n") == 3


def test_a_name_clash_is_said_once_for_a_glob(tmp_path: Path) -> None:
    for number in range(5):
        (tmp_path / f"{number}.jpg").touch()
    job = tmp_path / "job.toml"
    job.write_text(
        'sightsize = 1\naperture = { width = "7 in", height = "9 in" }\npaper.size = "12x8 in"\n'
        '[[prints]]\nsource = "*.jpg"\ndelivery.name = "album"\n'
    )
    with pytest.raises(JobError) as caught:
        arrange(load_job(job))
    (finding,) = caught.value.findings
    assert "prints 1 and 2 would both be named 'album'" in finding.message


PICTURES = """sightsize = 1
[aperture]
width = "143 mm"
height = "198 mm"
[paper]
size = "10x8 in"
[pictures.bride]
source = "in/bride.jpg"
zones = [{ at = [0.5, 0.5], zone = 6 }]
spotting = [{ at = [0.3, 0.3], radius = 0.01 }]
"""


def loaded(folder: Path, text: str) -> tuple[PrintRequest, ...]:
    (folder / "in").mkdir()
    for name in ("bride.jpg", "groom.jpg"):
        (folder / "in" / name).touch()
    (folder / "job.toml").write_text(PICTURES + text, encoding="utf-8")
    return load_job(folder / "job.toml", check_ids()).prints


@pytest.mark.parametrize("source", ["in/*.jpg", "in/../in/bride.jpg"])
def test_what_a_table_says_of_a_file_holds_where_a_print_names_the_file(
    tmp_path: Path, source: str
) -> None:
    bride, *groom = loaded(tmp_path, f'[[prints]]\nsource = "{source}"\n')
    assert (bride.look.picture.name, len(bride.look.picture.spotting)) == ("bride", 1)
    assert bride.own_job["pictures"]["bride"]["spotting"]
    assert bride.origin("picture.zones").key == "pictures.bride.zones"
    assert [each.look.picture.spotting for each in groom] == [()] * len(groom)


@pytest.mark.parametrize(
    ("rest", "said"),
    [
        (
            '[pictures.again]\nsource = "in/bride.jpg"\n[[prints]]\nsource = "in/bride.jpg"\n',
            "prints[1].source: pictures.bride and pictures.again both describe in/bride.jpg",
        ),
        (
            '[[prints]]\npicture = "bride"\nladder = { exposure = [-0.3, 0, 0.3] }\n',
            "prints[1].ladder.exposure: the zones of bride already set its exposure",
        ),
        (
            '[[prints]]\nsource = "in/*.jpg"\n[job]\noutput = "in"\n',
            "prints[1].source: 'in/*.jpg' includes the output folder, so the next run",
        ),
    ],
)
def test_what_would_print_something_else_is_refused(tmp_path: Path, rest: str, said: str) -> None:
    with pytest.raises(JobError) as refused:
        loaded(tmp_path, rest)
    assert said in str(refused.value)


def test_a_glob_is_in_natural_order_and_brackets_are_a_name_first(tmp_path: Path) -> None:
    for name in ("10.jpg", "2.jpg", "[2].jpg", "notes.txt"):
        (tmp_path / name).touch()
    job = tmp_path / "job.toml"
    head = 'sightsize = 1\naperture = { width = "7 in", height = "9 in" }\npaper.size = "12x8 in"\n'
    job.write_text(f'{head}delivery.name = "{{number}}"\n[[prints]]\nsource = "*.jpg"\n')
    assert [each.look.picture.name for each in load_job(job).prints] == ["2", "10", "[2]"]
    job.write_text(f'{head}[[prints]]\nsource = "[2].jpg"\n')
    assert [each.look.picture.source.name for each in load_job(job).prints] == ["[2].jpg"]


@pytest.mark.parametrize(
    ("written", "beside", "remedy"),
    [
        (
            "cox-megafone.jpg",
            ["cox-megaphone.jpg", "quay.jpg"],
            "did you mean 'cox-megaphone.jpg'?",
        ),
        ("cox.jpeg", ["cox.tif", "cox.JPG"], "did you mean 'cox.tif'?"),
        ("cox.jpg", ["cox.tif", "Cox.JPG"], "did you mean 'Cox.JPG'?"),
        ("TQ_0412.jpg", ["TQ_0411.jpg", "TQ_0413.jpg"], "put it there or correct the path"),
        ("a.jpg", ["b.jpg", ".a.jpg"], "put it there or correct the path"),
    ],
)
def test_a_misspelt_file_is_told_the_one_beside_it(
    written: str, beside: list[str], remedy: str, tmp_path: Path
) -> None:
    for name in beside:
        (tmp_path / name).touch()
    (tmp_path / "cox-megafonee.jpg").mkdir()
    assert say_missing(tmp_path / written) == (f"there is no file {tmp_path / written}; {remedy}")


def test_a_picture_that_is_a_folder_is_told_so(tmp_path: Path) -> None:
    assert say_missing(tmp_path) == f"{tmp_path} is a folder; name a file in it"


@pytest.mark.parametrize(
    ("content", "sentence"),
    [
        (b"sightsize = 1\n\xff", "the file is not UTF-8 text; save it as UTF-8."),
        (
            b"a = " + b"[" * 20_000,
            "lists or tables are nested too deeply; no key needs more than 7.",
        ),
    ],
    ids=["not UTF-8", "deep"],
)
def test_a_file_that_is_no_toml_at_all(tmp_path: Path, content: bytes, sentence: str) -> None:
    job = tmp_path / "job.toml"
    job.write_bytes(content)
    with pytest.raises(JobError) as caught:
        load_job(job)
    (finding,) = caught.value.findings
    assert finding.message == sentence


def test_a_job_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(JobError, match="cannot read the file: no such file or directory"):
        load_job(tmp_path / "none.toml")


WRONG_VALUES = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(10**30), 10**30),
    st.floats(),
    st.sampled_from(["", "0 mm", "9" * 400 + " mm", "1x1 in", "grey", "../x", "{", "\x00", "*"]),
    st.just(date(2026, 5, 1)),
    st.lists(
        st.one_of(st.floats(0, 1), st.text(max_size=3), st.lists(st.floats(0, 1))), max_size=4
    ),
    st.dictionaries(st.sampled_from(["x", "width", "top", "a b"]), st.integers(0, 1), max_size=2),
)


def tables_of(value: object) -> Iterator[Any]:
    """Yield every table and list inside a value."""
    if isinstance(value, dict | list):
        yield value
        for child in value.values() if isinstance(value, dict) else value:
            yield from tables_of(child)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_a_wrong_value_anywhere_is_loaded_or_answered(data: st.DataObject, tmp_path: Path) -> None:
    values = tomllib.loads((JOBS / "valid" / "whole-job.toml").read_text(encoding="utf-8"))
    table = data.draw(st.sampled_from([each for each in tables_of(values) if each]))
    key = data.draw(st.sampled_from(list(table) if isinstance(table, dict) else range(len(table))))
    wrong = data.draw(WRONG_VALUES)
    if wrong is None:
        del table[key]
    else:
        table[key] = wrong
    job = tmp_path / "job.toml"
    job.write_text(tomli_w.dumps(values), encoding="utf-8")
    try:
        files = arrange(load_job(job, check_ids()))
    except JobError as error:
        findings = error.findings
    else:
        for file in files:
            list(check_file(file, str(job)))
        return
    assert findings
    for finding in findings:
        assert finding.line >= 1
        assert finding.message.endswith((".", "?"))

"""The command line: exit codes, reports for people and for programs, help."""

import json
import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from plans import TROPHY_CABINET, planned_print
from sightsize import __version__
from sightsize.base.schemas import known_keys, moved_names, schema
from sightsize.checks.run import check_ids
from sightsize.cli import app
from sightsize.report.progress import Progress

WriteJob = Callable[..., Path]

GOOD = """sightsize = 1

[aperture]
width = "7 1/4 in"
height = "9 5/8 in"

[paper]
size = "12x8 in"

[[prints]]
source = "pictures/cox-megaphone.jpg"
"""
BAD = GOOD.replace('"7 1/4 in"', "184")
# An overlap too small to hide the cut is refused by a check.
REFUSED = GOOD.replace("[paper]", 'overlap = "0.5 mm"\n\n[paper]')


def run(*arguments: object) -> Result:
    return CliRunner().invoke(app, [str(each) for each in arguments])


def run_module(*arguments: object, cwd: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "sightsize", *(str(each) for each in arguments)],
        capture_output=True,
        text=True,
        cwd=cwd,
    )


@pytest.mark.parametrize(
    ("texts", "code"),
    [
        ([GOOD], 0),
        ([REFUSED], 1),
        ([BAD], 2),
        ([GOOD, REFUSED], 1),
        ([BAD, GOOD, REFUSED], 2),
        (["not TOML"], 2),
    ],
    ids=["good", "refused", "bad", "good and refused", "all three", "not TOML"],
)
def test_check_exit_codes(texts: list[str], code: int, write_job: WriteJob) -> None:
    jobs = [write_job(text, f"{number}.toml") for number, text in enumerate(texts)]
    result = run("check", "--no-pictures", *jobs)
    assert result.exit_code == code
    assert [str(job) in result.stdout for job in jobs] == [True] * len(jobs)


def test_check_says_where_and_how_many(write_job: WriteJob) -> None:
    job = write_job(BAD)
    assert run("check", job).stdout.splitlines() == [
        f"{job}:4:1: refuse [grammar] aperture.width: found 184, but this takes a length with a "
        'unit, such as "3 mm" or "7 1/4 in". A number needs its unit: write "184 mm" if you '
        "mean mm.",
        f"{job}: 1 mistake to fix",
    ]


def test_a_missing_picture_refuses_its_print_only(write_job: WriteJob) -> None:
    job = write_job(GOOD)
    result = run("check", job)
    assert result.exit_code == 1
    assert f"{job}:11:1: refuse [source] prints[1].source: there is no file" in result.stdout
    assert result.stdout.splitlines()[-1] == f"{job}: 1 refused, 1 print"
    assert run("check", "--no-pictures", job).exit_code == 0


def test_accepting_a_check_makes_the_print_pass(write_job: WriteJob, tmp_path: Path) -> None:
    job, junit = write_job(REFUSED + '[checks]\naccept = ["overlap"]\n'), tmp_path / "report.xml"
    result = run("check", "--no-pictures", "--junit", junit, job)
    assert result.exit_code == 0
    assert result.stdout == f"{job}: note: accepted overlap\n{job}: valid, 1 print\n"
    (suite,) = ET.parse(junit).getroot()
    assert (suite.get("failures"), [len(case) for case in suite]) == ("0", [0])
    (data,) = json.loads(run("check", "--no-pictures", "--json", job).stdout)
    (finding,) = data["prints"][0]["findings"]
    assert (finding["level"], finding["check"], finding["remedy"]) == ("accepted", "overlap", "")
    dry = run("make", "--dry-run", job).stdout
    assert dry.count("overlap\n") == dry.count("  accepted    overlap\n") == 1


def test_check_as_json(write_job: WriteJob) -> None:
    good, bad = write_job(GOOD, "good.toml"), write_job(BAD, "bad.toml")
    result = run("check", "--no-pictures", "--json", good, bad)
    assert result.exit_code == 2
    first, second = json.loads(result.stdout)
    assert first["job"] == str(good)
    assert first["findings"] == []
    (printed,) = first["prints"]
    assert printed["output"] == "cox-megaphone-12x8in.jpg"
    assert printed["sheet"]["size_px"] == [2400, 3600]
    assert second["prints"] == []
    (finding,) = second["findings"]
    assert finding["key"] == "aperture.width"
    assert (finding["line"], finding["column"], finding["found"]) == (4, 1, "184")
    assert finding["level"] == "refuse"


@pytest.mark.parametrize("command", [["check"], ["make"], ["make", "--dry-run"]], ids=" ".join)
def test_a_bad_job_is_json_too(command: list[str], write_job: WriteJob) -> None:
    result = run(*command, "--json", write_job(BAD))
    assert result.exit_code == 2
    data = json.loads(result.stdout)
    entry: dict[str, Any] = data[0] if isinstance(data, list) else data
    assert [finding["check"] for finding in entry["findings"]] == ["grammar"]


def test_check_writes_junit_xml(write_job: WriteJob, tmp_path: Path) -> None:
    jobs = [write_job(GOOD, "good.toml"), write_job(REFUSED, "refused.toml")]
    jobs.append(write_job(BAD.replace("cox", "<&>"), "bad.toml"))
    report = tmp_path / "report.xml"
    result = run("check", "--no-pictures", "--junit", report, *jobs)
    assert result.exit_code == 2
    suites = ET.parse(report).getroot().findall("testsuite")
    assert [suite.get("name") for suite in suites] == [str(job) for job in jobs]
    assert [(suite.get("tests"), suite.get("failures")) for suite in suites] == [
        ("1", "0"),
        ("1", "1"),
        ("1", "1"),
    ]
    failures = [failure for suite in suites for failure in suite.iter("failure")]
    assert [(failure.text or "") in result.stdout for failure in failures] == [True, True]
    assert "aperture.width" in (failures[1].text or "")


def test_a_report_that_cannot_be_written(write_job: WriteJob, tmp_path: Path) -> None:
    result = run("check", "--no-pictures", "--junit", tmp_path / "none" / "x.xml", write_job(GOOD))
    assert result.exit_code == 2
    assert result.stderr.startswith("cannot write ")


def test_make_refuses_a_bad_job_and_an_empty_choice(write_job: WriteJob, tmp_path: Path) -> None:
    assert run("make", write_job(BAD)).exit_code == 2
    result = run("make", "--only", "catch-four", write_job(GOOD))
    assert result.exit_code == 2
    assert "matches --only catch-four" in result.stderr
    assert not (tmp_path / "prints").exists()


def test_make_of_a_print_without_its_picture(write_job: WriteJob, tmp_path: Path) -> None:
    job = write_job(GOOD)
    dry = run("make", "--dry-run", job)
    assert dry.exit_code == 1
    assert "REFUSED" in dry.stdout
    assert not (tmp_path / "prints").exists()
    result = run("make", job)
    assert result.exit_code == 1
    assert "there is no file" in result.stdout
    assert not (tmp_path / "prints").exists()


@pytest.mark.parametrize(
    "arguments",
    [[], ["check"], ["chek", "job.toml"], ["check", "--jsn", "job.toml"], ["make", "a", "b"]],
    ids=" ".join,
)
def test_a_wrong_command_line_is_2(arguments: list[str]) -> None:
    assert run(*arguments).exit_code == 2


def test_help_lists_the_commands() -> None:
    result = run("--help")
    assert result.exit_code == 0
    for command in ("new", "check", "make", "explain"):
        assert f"\n  {command} " in result.stdout
        assert run(command, "--help").exit_code == 0


def test_version() -> None:
    assert run("--version").stdout == f"sightsize {__version__}\n"


# explain


def test_explain_lists_every_key_and_check() -> None:
    result = run("explain")
    assert result.exit_code == 0
    first_words = {line.split(" ", 1)[0] for line in result.stdout.splitlines()}
    assert {name for name, _ in known_keys()} <= first_words
    assert check_ids() <= first_words


def test_explain_a_key() -> None:
    assert run("explain", "tone.grade").stdout.splitlines() == [
        "tone.grade",
        "  Paper grade: 0 soft to 5 hard; 2 changes nothing.",
        "  takes    a number",
        "  range    0 to 5 (paper grade)",
        "  default  2.0",
    ]


@pytest.mark.parametrize("name", [name for name, _ in known_keys()])
def test_explain_any_key(name: str) -> None:
    result = run("explain", name)
    assert result.exit_code == 0
    first, description, takes, *_ = result.stdout.splitlines()
    assert first == name
    assert description.strip().endswith(".")
    assert len(takes.split()) > 1


def test_explain_a_last_word_alone() -> None:
    assert run("explain", "grade").stdout == run("explain", "tone.grade").stdout


def test_explain_a_table_lists_its_keys() -> None:
    lines = run("explain", "mono").stdout.splitlines()
    assert lines[0] == "mono"
    assert [line.split()[0] for line in lines[3:]] == [
        "mono.response",
        "mono.filter",
        "mono.filter_strength",
    ]


def check_lines(name: str) -> list[str]:
    """What is explained of a check, without a key of the same name."""
    return run("explain", name).stdout.split("\n\n")[-1].splitlines()


@pytest.mark.parametrize("name", sorted(check_ids()))
def test_explain_a_check(name: str) -> None:
    result = run("explain", name)
    assert result.exit_code == 0
    head, guards, level, *_ = check_lines(name)
    assert head == f"check {name}"
    assert guards.startswith("  guards against ")
    assert level.startswith("  level    ")


def test_explain_a_check_says_what_sets_it() -> None:
    lines = check_lines("crop-loss")
    assert lines[2] == "  level    note, warn or refuse"
    keys = ["checks.crop_loss_note", "checks.crop_loss_warn", "checks.crop_loss_refuse"]
    assert [line.split()[0] for line in lines[3:]] == keys
    assert [line.split()[-1] for line in lines[3:]] == ["0.1.", "0.2.", "0.4."]
    assert check_lines("keep-clear")[2:] == ["  level    refuse"]
    assert check_lines("clipping")[2] == "  level    warn or refuse"
    assert "checks.accept cannot change it" in run("explain", "off-sheet").stdout


def heads(*words: str) -> list[str]:
    """The first line of each thing that words are explained by."""
    result = run("explain", *words)
    assert result.exit_code == 0
    return [part.split("\n")[0] for part in result.stdout.split("\n\n")]


def test_explain_a_name_that_is_a_key_and_a_check() -> None:
    leaves = {name.rpartition(".")[2] for name, _ in known_keys()}
    both = [name for name in sorted(check_ids()) if name.replace("-", "_") in leaves]
    assert {"overlap", "reveal", "rebate", "spotting", "keep-clear", "resolution"} <= {*both}
    for name in both:
        key, *_, check = heads(name)
        assert key.endswith(name.replace("-", "_"))
        assert check == f"check {name}"
    assert heads("overlap") == ["aperture.overlap", "check overlap"]


@pytest.mark.parametrize(
    ("word", "keys"),
    [
        ("brightness", ["tone.exposure"]),
        ("contrast", ["tone.grade", "local_contrast.gain"]),
        ("crop", ["pictures.NAME.crop"]),
        ("mat", ["aperture"]),
        ("opening", ["aperture"]),
        ("margin", ["paper.margin"]),
        ("border", ["paper.hinge_margin", "paper.margin"]),
        ("black and white", ["mono"]),
        ("Black-and-White", ["mono"]),
        ("dust", ["cameras.NAME.dust", "pictures.NAME.spotting"]),
        ("spots", ["cameras.NAME.dust", "pictures.NAME.spotting"]),
        ("dodge", ["pictures.NAME.dodge"]),
        ("burn", ["pictures.NAME.burn"]),
        ("resolution", ["delivery.resolution", "check resolution"]),
        ("dpi", ["delivery.resolution"]),
        ("name", ["delivery.name"]),
        ("paper", ["paper"]),
        ("sharpening", ["sharpen"]),
        ("white balance", ["pictures.NAME.raw.white_balance"]),
    ],
)
def test_explain_a_photographers_word(word: str, keys: list[str]) -> None:
    assert sorted(heads(word)) == sorted(keys)
    assert heads(*word.split()) == heads(word)


@pytest.mark.parametrize(
    ("word", "keys"),
    [
        ("damping", ["sharpen.already_sharpened"]),
        ("sharpen.damping", ["sharpen.already_sharpened"]),
        ("focus", ["pictures.NAME.centre_on"]),
        ("straighten", ["pictures.NAME.level"]),
        ("variants", ["prints.ladder"]),
        ("crop_loss_stop", ["checks.crop_loss_refuse"]),
        ("source-limit", ["limits.source_megapixels"]),
    ],
)
def test_explain_a_key_by_the_name_it_had(word: str, keys: list[str]) -> None:
    line, *found = heads(word)
    old = word.rpartition(".")[2].replace("-", "_")
    assert line == f"{old} is now called {keys[0]}."
    assert found == keys


@pytest.mark.parametrize(
    ("word", "line", "keys"),
    [
        ("gray", '"gray" is now called "grey".', ["delivery.profile", "assume_profile"]),
        ("panchromatic", '"panchromatic" is now called "luminance".', ["mono.response"]),
        ("as_shot", '"as_shot" is now called "camera".', ["pictures.NAME.raw.white_balance"]),
        ("variant", '"{variant}" is now called "{step}".', ["delivery.name"]),
        ("{variant}", '"{variant}" is now called "{step}".', ["delivery.name"]),
    ],
)
def test_explain_a_value_by_the_name_it_had(word: str, line: str, keys: list[str]) -> None:
    said, *found = heads(word)
    assert said == line
    assert [each.endswith(key) for each, key in zip(found, keys, strict=True)] == [True] * len(keys)


def test_every_name_that_moved_leads_to_a_key_of_today() -> None:
    known, moved = dict(known_keys()), list(moved_names())
    assert len(moved) > 10
    for old, new, key in moved:
        assert key in known
        assert old not in known
        line, *found = heads(old)
        assert "is now called" in line
        assert new in line
        assert key in found


def test_explain_the_step_of_a_ladder() -> None:
    assert sorted(heads("step")) == ["delivery.name", "prints.ladder"]


def test_explain_what_no_key_does() -> None:
    (borderless,) = heads("borderless")
    assert "not available yet" in borderless
    assert "paper.margin" in borderless
    (places,) = heads("coordinates")
    assert "from its left and top edges" in places
    punch, *keys = heads("punch")
    assert "tone.grade to 2.3 to 2.6" in punch
    assert keys == ["tone.grade", "tone.curve", "local_contrast.gain"]


def test_every_word_of_the_schema_is_explained_and_every_key_it_names_exists() -> None:
    known = dict(known_keys())
    words = {word for node in known.values() for word in node.get("x-words", ())}
    words |= {word for each in schema()["x-answers"] for word in each["words"]}
    assert len(words) > 50
    for word in words:
        assert heads(word)
    for each in schema()["x-answers"]:
        named = re.findall(r"[a-z_]+\.[a-z_]+", each["answer"])
        assert set(named) <= set(known)


def test_a_picture_without_a_border_is_refused_as_explain_says() -> None:
    toml = TROPHY_CABINET.replace("10x8 in", "204 x 149 mm")  # 143 x 198 mm and 3 mm of overlap
    found = planned_print(toml, None).findings
    assert {each.check for each in found if each.level == "refuse"} == {"sheet-margin"}
    smaller = planned_print(toml.replace("204 x", "203 x"), None).findings
    assert "off-sheet" in {each.check for each in smaller}


def test_every_threshold_is_explained_with_its_check() -> None:
    told = [line.split()[0] for name in check_ids() for line in check_lines(name)[3:]]
    thresholds = {name for name, _ in known_keys() if name.startswith("checks.")}
    assert sorted(told) == sorted(thresholds - {"checks.accept", "checks.strict"})


@pytest.mark.parametrize(
    ("key", "sentence"),
    [
        ("tone.grad", "there is no key 'tone.grad'; did you mean 'tone.grade'?\n"),
        ("zzz", "there is no key 'zzz'; sightsize explain lists all keys\n"),
        ("width", "'width' could be "),
    ],
)
def test_explain_an_unknown_key(key: str, sentence: str) -> None:
    result = run("explain", key)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert result.stderr.startswith(sentence)


# new


@pytest.fixture
def pictures(tmp_path: Path) -> Path:
    folder = tmp_path / "album"
    folder.mkdir()
    for name in ("10.jpg", "9.JPG", "cox [1].tif", "notes.txt"):
        (folder / name).touch()
    return folder


def test_new_then_check(pictures: Path, tmp_path: Path) -> None:
    job = tmp_path / "job.toml"
    result = run("new", pictures, "--job", job)
    assert result.exit_code == 0
    assert "with 3 pictures" in result.stdout
    text = job.read_text(encoding="utf-8")
    assert [line for line in text.splitlines() if line.startswith("source")] == [
        'source = "album/9.JPG"',
        'source = "album/10.jpg"',
        'source = "album/cox [1].tif"',
    ]
    # Nobody's opening is guessed: check asks for what must be measured, once.
    unmeasured = run("check", "--no-pictures", job)
    assert unmeasured.exit_code == 2
    assert "measure the mat opening" in unmeasured.stdout
    assert f"{job}: 2 mistakes to fix" in unmeasured.stdout
    for mark in ("# width", "# height", "# size"):
        assert mark in text
        text = text.replace(mark, mark[2:])
    job.write_text(text, encoding="utf-8")
    measured = run("check", "--no-pictures", job)
    assert measured.exit_code == 0
    assert f"{job}: valid, 3 prints" in measured.stdout


def test_new_never_overwrites(pictures: Path, write_job: WriteJob) -> None:
    job = write_job(GOOD)
    result = run("new", pictures, "--job", job)
    assert result.exit_code == 2
    assert "exists" in result.stderr
    assert job.read_text(encoding="utf-8") == GOOD


def test_new_without_pictures(tmp_path: Path) -> None:
    assert run("new", tmp_path, "--job", tmp_path / "job.toml").exit_code == 2
    assert run("new", tmp_path / "none", "--job", tmp_path / "job.toml").exit_code == 2
    assert list(tmp_path.iterdir()) == []


# The installed program.


def test_the_program_reports_on_stdout_and_exits(write_job: WriteJob, tmp_path: Path) -> None:
    for name, text, code in (("good", GOOD, 0), ("refused", REFUSED, 1), ("bad", BAD, 2)):
        write_job(text, f"{name}.toml")
        done = run_module("check", "--no-pictures", f"{name}.toml", cwd=tmp_path)
        assert (done.returncode, done.stderr) == (code, "")
        assert done.stdout.splitlines()[-1].startswith(f"{name}.toml: ")
        assert "\x1b" not in done.stdout


def test_the_program_has_no_traceback_for_a_wrong_argument(tmp_path: Path) -> None:
    done = run_module("make", "none.toml", cwd=tmp_path)
    assert done.returncode == 2
    assert done.stdout == (
        "none.toml: refuse [toml] cannot read the file: no such file or directory; name a job file "
        "that can be read.\n"
    )
    assert "Traceback" not in done.stderr


def test_a_report_that_has_nowhere_to_go_is_a_sentence(write_job: WriteJob, tmp_path: Path) -> None:
    if not (full := Path("/dev/full")).exists():
        pytest.skip("this system has no device that is always full")
    write_job(GOOD)
    command = [sys.executable, "-m", "sightsize", "check", "--no-pictures", "job.toml"]
    with full.open("w") as nowhere:
        done = subprocess.run(
            command, cwd=tmp_path, stdout=nowhere, stderr=subprocess.PIPE, text=True, check=False
        )
    assert (done.returncode, done.stderr) == (1, "cannot continue: no space left on device\n")


def test_progress_that_nobody_reads_ends_no_run(monkeypatch: pytest.MonkeyPatch) -> None:
    def closed(*_: object, **__: object) -> None:
        raise BrokenPipeError

    monkeypatch.setattr(sys.stdout, "write", closed)
    with Progress(2) as progress:
        progress.finish("cox.jpg", "made     cox.jpg")
        progress.finish("plate.jpg", "failed   plate.jpg")

"""No command writes over what is not its own: reports, starter jobs, reprints."""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner, Result

from pictures import job, make, save
from sightsize.base.lock import hold_lock
from sightsize.cli import app
from sightsize.model.job import Job

SCENE = np.random.default_rng(5).integers(40, 200, (48, 64, 3)).astype(np.uint8)
PX = (64, 48)
REPORT = "<?xml version='1.0' encoding='utf-8'?>\n<testsuites><testsuite /></testsuites>"


def run(*arguments: object) -> Result:
    return CliRunner().invoke(app, [str(each) for each in arguments])


def one_print(folder: Path, **tables: object) -> Job:
    save(folder / "p.tif", SCENE)
    return job(folder, {"print": {"source": "p.tif"}}, PX, **tables)


# A report of CI.


@pytest.mark.parametrize("name", ["p.tif", "job.toml", "notes.txt", "page.html", "link.xml"])
def test_a_report_is_never_written_over_another_file(tmp_path: Path, name: str) -> None:
    planned = one_print(tmp_path)
    (tmp_path / "notes.txt").write_text("testsuites")
    (tmp_path / "page.html").write_text("<?xml version='1.0'?><html/>")
    (tmp_path / "report.xml").write_text(REPORT)
    (tmp_path / "link.xml").symlink_to(tmp_path / "report.xml")
    path = planned.path if name == "job.toml" else tmp_path / name
    before = path.read_bytes()
    done = run("check", planned.path, "--junit", path)
    assert done.exit_code == 2
    assert f"{path} is not a JUnit report, so it is not written over" in done.stderr
    assert path.read_bytes() == before


@pytest.mark.parametrize("before", [None, "", REPORT, "<testsuite name='pytest' />"])
def test_a_report_takes_the_place_of_an_earlier_one(tmp_path: Path, before: str | None) -> None:
    planned = one_print(tmp_path)
    path = tmp_path / "report.xml"
    if before is not None:
        path.write_text(before)
    assert run("check", planned.path, "--junit", path).exit_code == 0
    assert 'name="print.tif"' in path.read_text()


# Whole files only.


def on_full_disk(*arguments: object) -> "subprocess.CompletedProcess[str]":
    """Run a command where no file can have a single byte."""
    script = (
        "import resource; resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0));"
        "from sightsize.cli import main; main()"
    )
    return subprocess.run(
        [sys.executable, "-B", "-c", script, *map(str, arguments)],
        capture_output=True,
        text=True,
        check=False,
        stdin=subprocess.DEVNULL,
    )


def test_a_full_disk_leaves_no_starter_job(tmp_path: Path) -> None:
    save(tmp_path / "p.tif", SCENE)
    done = on_full_disk("new", tmp_path, "--job", tmp_path / "wall.toml")
    assert done.returncode == 2, done.stderr
    assert "cannot write" in done.stderr
    assert [each.name for each in tmp_path.iterdir()] == ["p.tif"]


@pytest.mark.parametrize("earlier", [False, True])
def test_a_full_disk_leaves_no_half_report(tmp_path: Path, earlier: bool) -> None:
    planned = one_print(tmp_path)
    path = tmp_path / "report.xml"
    if earlier:
        path.write_text(REPORT)
    before = sorted(each.name for each in tmp_path.iterdir())
    done = on_full_disk("check", planned.path, "--junit", path)
    assert done.returncode == 2, done.stderr
    assert sorted(each.name for each in tmp_path.iterdir()) == before
    assert not earlier or path.read_text() == REPORT


# Reprints.


def test_a_reprint_never_takes_a_sources_place(tmp_path: Path) -> None:
    """Print b comes from pics/a, print c from pics/b; the new b.tif would be c's source."""
    pics = tmp_path / "pics"
    pics.mkdir()
    for name in ("a.tif", "b.tif"):
        save(pics / name, SCENE)
    planned = job(tmp_path, {"b": {"source": "pics/a.tif"}, "c": {"source": "pics/b.tif"}}, PX)
    make(planned, noted=True)
    before = {each.name: each.read_bytes() for each in pics.iterdir()}
    done = run("reprint", planned.output / "docket.toml", "--output", pics)
    assert done.exit_code == 1
    assert "b.tif exists" in done.stdout
    assert {each.name: (pics / each.name).read_bytes() for each in pics.glob("[ab].tif")} == before
    assert (pics / "c.tif").read_bytes() == (planned.output / "c.tif").read_bytes()


def test_a_reprint_never_takes_a_strangers_place(tmp_path: Path) -> None:
    planned = one_print(tmp_path)
    make(planned, noted=True)
    folder = tmp_path / "again"
    folder.mkdir()
    (folder / "print.tif").write_text("not ours")
    assert run("reprint", planned.output / "docket.toml", "--output", folder).exit_code == 1
    assert (folder / "print.tif").read_text() == "not ours"


def test_reprints_can_be_made_twice(tmp_path: Path) -> None:
    planned = one_print(tmp_path)
    make(planned, noted=True)
    for _ in range(2):
        done = run("reprint", planned.output / "docket.toml")
        assert done.exit_code == 0, done.stdout
        assert "identical   print.tif" in done.stdout


def test_a_link_named_reprints_is_not_followed(tmp_path: Path) -> None:
    planned = one_print(tmp_path)
    make(planned, noted=True)
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    leftover = elsewhere / ".print.tif.999999999-ab.part"
    leftover.write_text("not ours")
    (planned.output / "reprints").symlink_to(elsewhere)
    done = run("reprint", planned.output / "docket.toml")
    assert done.exit_code == 2
    assert "reprints is a link; name the folder that you mean with --output" in done.stderr
    assert [each.name for each in elsewhere.iterdir()] == [leftover.name]


# Names that a run writes to itself.


@pytest.mark.parametrize("of", ["job", "source"])
@pytest.mark.parametrize("name", [".run.lock", ".docket.json", "docket.toml"])
def test_a_job_or_a_source_of_a_runs_own_name_stays(tmp_path: Path, name: str, of: str) -> None:
    planned = one_print(tmp_path, job={"output": "."})
    path, job_file = tmp_path / name, planned.path
    if of == "job":
        job_file = planned.path.rename(path)
    else:
        (tmp_path / "p.tif").rename(path)
        job_file.write_text(job_file.read_text().replace("p.tif", name))
    before = path.read_bytes()
    done = run("make", job_file)
    assert done.exit_code == 2
    what = "this job's own file" if of == "job" else "a source picture of this job"
    assert f"{path} is {what}, but a run writes a file of that name" in done.output
    assert path.read_bytes() == before
    assert not (tmp_path / "print.tif").exists()


def test_a_source_that_is_called_like_a_leftover_stays(tmp_path: Path) -> None:
    source = save(tmp_path / "a.tif", SCENE).rename(tmp_path / ".print.tif.999999999-ab.part")
    planned = job(tmp_path, {"print": {"source": source.name}}, PX, job={"output": "."})
    before = source.read_bytes()
    assert run("make", planned.path).exit_code == 0
    assert run("reprint", tmp_path / "docket.toml").exit_code == 0
    assert source.read_bytes() == before


@pytest.mark.parametrize("name", [".run.lock", ".docket.json"])
@pytest.mark.parametrize("text", ["not ours", "[job]\n", "sightsize = 1\n"])
def test_a_strangers_file_of_a_runs_own_name_stays(tmp_path: Path, name: str, text: str) -> None:
    planned = one_print(tmp_path)
    planned.output.mkdir()
    path = planned.output / name
    path.write_text(text)
    done = run("make", planned.path)
    assert done.exit_code != 0
    assert f"{path} is not" in done.output
    assert path.read_text() == text
    assert not (planned.output / "print.tif").exists()


# The folder of a run that was renamed meanwhile.


def test_a_lock_removes_only_itself(tmp_path: Path) -> None:
    folder = tmp_path / "prints"
    folder.mkdir()
    with hold_lock(folder):
        folder.rename(tmp_path / "old")
        folder.mkdir()
        with hold_lock(folder):
            inner = (folder / ".run.lock").stat()
        (folder / ".run.lock").write_text("another run's")
        other = (folder / ".run.lock").stat()
    assert inner.st_size > 0
    assert (folder / ".run.lock").stat().st_ino == other.st_ino

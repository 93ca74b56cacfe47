"""Links, folders and files that are not what they were, and names that mean harm."""

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import get_args

import numpy as np
import pytest
import pyvips

from pictures import job, make, save
from sightsize.archive.audit import audit_docket
from sightsize.base.paths import read_path
from sightsize.checks.run import check_ids
from sightsize.delivery import deliver, encode
from sightsize.delivery.ground import Ground, Replace
from sightsize.docket.store import Docket
from sightsize.errors import JobError, SourceError
from sightsize.imaging.source.picture_file import read_header
from sightsize.job.load import load_job
from sightsize.model.job import Job
from sightsize.plan.arrange import arrange
from sightsize.plan.picture import PicturePlan
from sightsize.plan.sheet import FilePlan
from sightsize.run.batch import make_prints
from sightsize.run.planner import plan_prints
from sightsize.run.worker import Outcome
from speed import first_is_quick

PX = (64, 48)
SCENE = np.random.default_rng(31).integers(40, 200, (48, 64, 3)).astype(np.uint8)


def two_prints(folder: Path) -> Job:
    for name in ("a.tif", "b.tif"):
        save(folder / name, SCENE)
    pictures = {"first": {"source": "a.tif"}, "second": {"source": "b.tif"}}
    return job(folder, pictures, PX)


def names(folder: Path) -> list[str]:
    return sorted(each.name for each in folder.iterdir())


def with_docket(planned: Job, started: Callable[[str], None]) -> list[Outcome]:
    """Make prints with a docket, calling ``started`` before each."""
    planned.output.mkdir(exist_ok=True)
    with Docket(planned.output / "docket.toml") as docket:
        return make_prints(
            planned,
            plan_prints(planned, arrange(planned)),
            replace="altered too",
            workers=1,
            started=started,
            docket=docket,
        )


# Links. A name that is a link is replaced as a name or refused; nothing is written through it.


@pytest.mark.parametrize("replace", get_args(Replace))
@pytest.mark.parametrize("kind", ["file", "nothing", "folder", "circle"])
def test_a_link_in_place_of_a_print_is_never_written_through(
    tmp_path: Path, kind: str, replace: Replace
) -> None:
    planned = two_prints(tmp_path)
    planned.output.mkdir()
    elsewhere, target = tmp_path / "elsewhere", planned.output / "first.tif"
    if kind == "file":
        elsewhere.write_text("not ours")
    elif kind == "folder":
        elsewhere.mkdir()
    target.symlink_to(target if kind == "circle" else elsewhere)
    first, second = make(planned, replace=replace)
    assert first.message == "first.tif is a link; move it away"
    assert second.status == "made"
    assert target.is_symlink()
    if kind == "file":
        assert elsewhere.read_text() == "not ours"
    elif kind == "folder":
        assert names(elsewhere) == []
    else:
        assert not elsewhere.exists()


@pytest.mark.parametrize("name", ["docket.toml", ".docket.json"])
def test_a_link_in_place_of_the_docket_is_refused(tmp_path: Path, name: str) -> None:
    planned = two_prints(tmp_path)
    planned.output.mkdir()
    (planned.output / name).symlink_to(tmp_path / "elsewhere")
    done = command(planned.path)
    said = f"{planned.output / name} is a link to another file; remove the link\n"
    assert (done.returncode, done.stdout, done.stderr) == (2, "", said)
    assert names(planned.output) == [name]
    assert "elsewhere" not in names(tmp_path)


def test_the_folder_itself_may_be_a_link(tmp_path: Path) -> None:
    (tmp_path / "disk").mkdir()
    (tmp_path / "prints").symlink_to(tmp_path / "disk")
    assert [each.status for each in make(two_prints(tmp_path))] == ["made", "made"]
    assert (tmp_path / "prints").is_symlink()
    assert names(tmp_path / "disk") == ["first.tif", "second.tif"]


def test_a_folder_that_is_a_circle_of_links(tmp_path: Path) -> None:
    (tmp_path / "prints").symlink_to(tmp_path / "prints")
    planned = two_prints(tmp_path)
    done = command(planned.path)
    assert done.returncode == 1
    assert done.stderr.count("\n") == 1
    assert "cannot write in" in done.stderr


def test_a_folder_in_place_of_a_print(tmp_path: Path) -> None:
    planned = two_prints(tmp_path)
    (planned.output / "first.tif").mkdir(parents=True)
    first, second = make(planned, replace="altered too")
    assert (first.status, second.status) == ("failed", "made")
    assert names(planned.output) == ["first.tif", "second.tif"]
    assert names(planned.output / "first.tif") == []


# What vanishes or changes while prints are made.


def test_a_folder_that_vanishes_between_prints(tmp_path: Path) -> None:
    planned = two_prints(tmp_path)

    def started(name: str) -> None:
        if name == "second.tif":
            shutil.rmtree(planned.output)

    first, second = with_docket(planned, started)
    for outcome in (first, second):  # the first has nowhere left to be noted
        assert outcome.status == "failed"
        assert len(outcome.message.splitlines()) == 1
    assert not planned.output.exists()


def vanish(source: Path) -> None:
    source.unlink()


def become_larger(source: Path) -> None:
    save(source, np.kron(SCENE, np.ones((2, 2, 1), np.uint8)))


def become_longer(source: Path) -> None:
    with source.open("ab") as file:
        file.write(b"\0")


def become_text(source: Path) -> None:
    source.write_text("This is no picture any more.\n")


CHANGES = [vanish, become_larger, become_longer, become_text]


@pytest.mark.parametrize("change", CHANGES)
def test_a_source_that_changes_after_it_was_planned(
    tmp_path: Path, change: Callable[[Path], None]
) -> None:
    planned = two_prints(tmp_path)

    def started(name: str) -> None:
        if name == "second.tif":
            change(tmp_path / "b.tif")

    first, second = with_docket(planned, started)
    assert (first.status, second.status) == ("made", "failed")
    assert len(second.message.splitlines()) == 1
    assert "fault in sightsize" not in second.message
    assert names(planned.output) == [".docket.json", "docket.toml", "first.tif"]


@pytest.mark.parametrize("change", CHANGES)
def test_a_source_that_changes_while_it_is_printed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, change: Callable[[Path], None]
) -> None:
    planned = two_prints(tmp_path)
    write = encode.write_file

    def write_and_change(plan: FilePlan[PicturePlan], part: Path, identity: str) -> object:
        remarks = write(plan, part, identity)
        change(plan.request.look.picture.source)
        return remarks

    monkeypatch.setattr(deliver, "write_file", write_and_change)
    for outcome in make(planned):
        assert outcome.status == "failed"
        assert "fault in sightsize" not in outcome.message
    assert names(planned.output) == []


def test_another_picture_of_as_many_bytes_is_not_cropped_as_planned(tmp_path: Path) -> None:
    for name, shape in (("a.tif", (48, 64)), ("other.tif", (64, 48))):
        image = pyvips.Image.black(shape[1], shape[0], bands=3)
        image.copy(interpretation="srgb").tiffsave(str(tmp_path / name))
    sizes = {(tmp_path / name).stat().st_size for name in ("a.tif", "other.tif")}
    assert len(sizes) == 1
    planned = job(tmp_path, {"first": {"source": "a.tif", "assume_profile": "srgb"}}, PX)
    prints = plan_prints(planned, arrange(planned))
    (tmp_path / "other.tif").replace(tmp_path / "a.tif")
    plan = prints[0].plan
    assert plan is not None
    planned.output.mkdir()
    with pytest.raises(SourceError, match="changed while the job was running"):
        deliver.deliver(plan, Ground(folder=planned.output))
    assert names(planned.output) == []


def test_a_source_that_vanishes_while_its_header_is_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    source = save(tmp_path / "a.tif", SCENE)
    monkeypatch.setattr(
        "sightsize.imaging.source.picture_file.embedded_profile", lambda *_: source.unlink()
    )
    with pytest.raises(SourceError, match=r"a\.tif cannot be read"):
        read_header(source)


# Folders and files that this user may not touch.


SETPRIV = shutil.which("setpriv")
without_rights = pytest.mark.skipif(
    os.geteuid() == 0 and SETPRIV is None, reason="root may do everything"
)


def command(path: Path) -> subprocess.CompletedProcess[str]:
    """Run a job, print by print; as root without root's right to pass over permissions."""
    rights = "-dac_override,-dac_read_search"
    dropped = [str(SETPRIV), "--bounding-set", rights] if os.geteuid() == 0 and SETPRIV else []
    return subprocess.run(
        [*dropped, sys.executable, "-B", "-m", "sightsize", "make", str(path), "--workers", "1"],
        capture_output=True,
        text=True,
        check=False,
    )


@without_rights
def test_a_folder_that_may_not_be_written(tmp_path: Path) -> None:
    planned = two_prints(tmp_path)
    planned.output.mkdir()
    planned.output.chmod(0o555)
    done = command(planned.path)
    planned.output.chmod(0o755)
    assert done.returncode == 1
    assert "ermission denied" in done.stdout + done.stderr
    assert "Traceback" not in done.stderr
    assert names(planned.output) == []


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of its own for the prints, in memory, with room for one of two and its note."""
    place = tmp_path / "prints"
    place.mkdir()
    if os.geteuid() or os.sysconf("SC_PAGE_SIZE") != 4096:
        pytest.skip("only root mounts disks, and their size here is in pages of 4 KiB")
    if mount("-t", "tmpfs", "-o", "size=32k", "tmpfs", str(place)):
        pytest.skip("no disk can be mounted here")
    yield place
    subprocess.run(["umount", str(place)], check=True)


def mount(*words: str) -> int:
    if shutil.which("mount") is None:
        return 1
    return subprocess.run(["mount", *words], capture_output=True, check=False).returncode


@pytest.mark.parametrize("size", first_is_quick(["28k", "32k", "36k"]))
def test_a_disk_that_is_full_and_then_is_not(tmp_path: Path, small_disk: Path, size: str) -> None:
    planned = two_prints(tmp_path)
    assert mount("-o", f"remount,size={size}", str(small_disk)) == 0
    done = command(planned.path)
    assert done.returncode == 1
    assert "Traceback" not in done.stderr
    # In 28k there is room for one print, its note and the docket; in 32k for another print, but not
    # for its note; in 36k for both notes, but not for the docket.
    more = [] if size == "28k" else ["second.tif"]
    noted = ["first.tif", "second.tif"] if size == "36k" else ["first.tif"]
    docket = ["docket.toml"] if size == "28k" else []
    assert names(small_disk) == [".docket.json", *docket, "first.tif", *more]
    counts = f"{len(noted)} made, 0 kept, 0 refused, {2 - len(noted)} failed"
    assert counts in done.stdout
    assert ("it was made, but cannot be noted" in done.stdout) == (size == "32k")
    full = "docket.toml cannot be written (no space left on device); what was made"
    assert (full in done.stderr) == (not docket)
    found = {each.file: each.state for each in audit_docket(Docket(small_disk / "docket.toml"))}
    assert found == {name: "whole" if name in noted else "extra" for name in ("first.tif", *more)}
    before = {name: (small_disk / name).stat() for name in ("first.tif", *more)}
    assert mount("-o", "remount,size=10m", str(small_disk)) == 0
    again = command(planned.path)
    assert f"{2 - len(before)} made, {len(before)} kept, 0 refused, 0 failed" in again.stdout
    assert names(small_disk) == [".docket.json", "docket.toml", "first.tif", "second.tif"]
    for name, status in before.items():
        assert (small_disk / name).stat().st_mtime_ns == status.st_mtime_ns


def test_a_disk_that_may_only_be_read(tmp_path: Path, small_disk: Path) -> None:
    planned = two_prints(tmp_path)
    assert mount("-o", "remount,ro", str(small_disk)) == 0
    done = command(planned.path)
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr.endswith(f"cannot write in {small_disk}: read-only file system\n")
    assert names(small_disk) == []


@without_rights
def test_a_source_that_may_not_be_read(tmp_path: Path) -> None:
    planned = two_prints(tmp_path)
    (tmp_path / "a.tif").chmod(0)
    done = command(planned.path)
    assert done.returncode == 1
    assert "Traceback" not in done.stderr
    assert "a.tif" in done.stdout
    assert [name for name in names(planned.output) if name.endswith(".tif")] == ["second.tif"]


# Names that mean harm.

HARMFUL = ["a\nb", "a\x1b[2Jb", "\u202egpj.b", "a\u2066b", "a\x7f", "a\x9bb"]
PLAIN = ["a b", "-rf", "$(touch x)", "a;b", "ø漢字", "a'b\"c", "con", "a[1]", "x" * 200, "..a"]


@pytest.mark.parametrize("stem", HARMFUL)
def test_a_file_whose_name_means_harm_is_named_in_a_sentence(tmp_path: Path, stem: str) -> None:
    save(tmp_path / f"{stem}.tif", SCENE)
    (finding,) = refused(tmp_path, "*.tif")
    assert "control character" in finding
    assert finding.isprintable()


def test_a_file_whose_name_is_no_text(tmp_path: Path) -> None:
    source = save(tmp_path / "a.tif", SCENE)
    try:
        source.rename(os.fsdecode(os.fsencode(tmp_path) + b"/a\xff.tif"))
    except OSError:
        pytest.skip("this file system takes UTF-8 only")
    (finding,) = refused(tmp_path, "*.tif")
    assert "is not UTF-8 text" in finding
    assert finding.isprintable()


def refused(folder: Path, pattern: str) -> list[str]:
    path = folder / "job.toml"
    path.write_text(
        f'sightsize = 1\naperture = {{ width = "143 mm", height = "198 mm" }}\n'
        f'paper.size = "10x8 in"\nprints = [{{ source = "{pattern}" }}]\n'
    )
    with pytest.raises(JobError) as error:
        arrange(load_job(path, check_ids()))
    return [finding.message for finding in error.value.findings]


@pytest.mark.parametrize("text", HARMFUL)
@pytest.mark.parametrize("place", ["title", "key", "label"])
def test_a_text_that_would_move_the_terminal_is_refused(
    tmp_path: Path, text: str, place: str
) -> None:
    harm = json.dumps(text).replace("\x7f", "\\u007f")
    texts = {"title": '""', "key": "a", "label": '""', place: harm}
    path = tmp_path / "job.toml"
    path.write_text(
        f"sightsize = 1\njob.title = {texts['title']}\n"
        'aperture = { width = "143 mm", height = "198 mm" }\npaper.size = "10x8 in"\n'
        f"[pictures.{texts['key']}]\nsource = 'a.jpg'\n"
        f"keep_clear = [{{ box = [0, 0, 0.5, 0.5], label = {texts['label']} }}]\n"
        f"[[prints]]\nsource = 'a.jpg'\n",
        encoding="utf-8",
    )
    if "\n" in text and place != "key":  # lines are no harm in a text
        loaded = load_job(path, check_ids())
        arrange(loaded)
        (part,) = loaded.prints[0].look.picture.keep_clear
        assert (loaded.title if place == "title" else part.label) == text
        return
    with pytest.raises(JobError) as error:
        load_job(path, check_ids())
    (finding,) = error.value.findings
    assert finding.message == "this text contains a control character; remove it."
    assert finding.sentence().isprintable()


@pytest.mark.parametrize("stem", PLAIN)
def test_a_file_of_any_other_name_is_printed_inside_the_folder(tmp_path: Path, stem: str) -> None:
    save(tmp_path / f"{stem}.tif", SCENE)
    pictures = {stem: {"source": f"{stem}.tif"}}
    planned = job(tmp_path, pictures, PX, delivery={"name": "print-{number}"})
    (outcome,) = make(planned)
    assert outcome.status == "made", outcome.message
    assert names(planned.output) == ["print-0001.tif"]
    assert names(tmp_path) == sorted([f"{stem}.tif", "job.toml", "prints"])


@pytest.mark.parametrize("path", ["cox.jpg", "../archive/cox.jpg", "a\\b.jpg", "é" * 127, "日本"])
def test_paths_that_can_be(tmp_path: Path, path: str) -> None:
    read_path(path)
    job_file = tmp_path / "job.toml"
    job_file.write_text(
        'sightsize = 1\naperture = { width = "143 mm", height = "198 mm" }\n'
        'paper.size = "10x8 in"\ndelivery.name = "a"\n'
        f"prints = [{{ source = {json.dumps(path)} }}]\n",
        encoding="utf-8",
    )
    assert load_job(job_file, check_ids()).prints[0].look.picture.source == tmp_path / path


@pytest.mark.parametrize("path", ["a\0", "\r", "é" * 128, "a/" + "x" * 256, "\udcff"])
def test_paths_that_cannot_be(path: str) -> None:
    with pytest.raises(ValueError, match="the path") as said:
        read_path(path)
    assert str(said.value).isprintable()

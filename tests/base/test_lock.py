"""One run at a time on an output folder, and no dead run in the way of the next."""

import errno
import os
import signal
import socket
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from pictures import job, save
from sightsize.base.lock import NAME, hold_lock
from sightsize.errors import LockedError
from sightsize.model.job import Job
from speed import first_is_quick

HOLD = (
    "import sys; from pathlib import Path; from sightsize.base.lock import hold_lock\n"
    "with hold_lock(Path(sys.argv[1])): print('held', flush=True); sys.stdin.read()"
)


def holder(folder: Path) -> subprocess.Popen[str]:
    """Another process that holds a folder until its standard input ends."""
    process = subprocess.Popen(
        [sys.executable, "-c", HOLD, str(folder)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "held\n"
    return process


def one_print(folder: Path) -> Job:
    save(folder / "a.tif", np.full((48, 64, 3), 120, np.uint8))
    planned = job(folder, {"print": {"source": "a.tif"}}, (64, 48))
    planned.output.mkdir()
    return planned


def command(planned: Job, *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "sightsize", *words, str(planned.path)],
        capture_output=True,
        text=True,
        check=False,
    )


def test_the_second_run_says_who_holds_the_folder(tmp_path: Path) -> None:
    planned = one_print(tmp_path)
    with holder(planned.output) as first:
        before = (planned.output / NAME).read_bytes()
        second = command(planned, "make")
        assert (second.returncode, second.stdout) == (1, "")
        assert f"process {first.pid} on {socket.gethostname()} is making prints" in second.stderr
        assert [each.name for each in planned.output.iterdir()] == [NAME]
        assert (planned.output / NAME).read_bytes() == before
        assert command(planned, "check").returncode == 0
        assert command(planned, "make", "--dry-run").returncode == 0
        first.communicate("")
    assert command(planned, "make").returncode == 0
    assert not (planned.output / NAME).exists()


@pytest.mark.slow
def test_a_second_reprint_says_who_holds_its_folder(tmp_path: Path) -> None:
    planned = one_print(tmp_path)
    assert command(planned, "make").returncode == 0
    again, docket = tmp_path / "again", planned.output / "docket.toml"
    again.mkdir()
    reprint = [sys.executable, "-m", "sightsize", "reprint", str(docket), "--output", str(again)]
    with holder(again) as first:
        second = subprocess.run(reprint, capture_output=True, text=True, check=False)
        assert (second.returncode, second.stdout) == (1, "")
        assert f"process {first.pid} on {socket.gethostname()} is making prints" in second.stderr
        assert [each.name for each in again.iterdir()] == [NAME]
    done = subprocess.run(reprint, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout.split()[0]) == (0, "identical")


def test_what_a_killed_run_left_does_not_block(tmp_path: Path) -> None:
    with holder(tmp_path) as first:
        first.send_signal(signal.SIGKILL)
    assert (tmp_path / NAME).exists()
    with hold_lock(tmp_path):
        assert f"process {os.getpid()} " in (tmp_path / NAME).read_text()
    assert list(tmp_path.iterdir()) == []


def test_a_lock_is_held_once_in_a_process_too(tmp_path: Path) -> None:
    with hold_lock(tmp_path):
        with pytest.raises(LockedError, match="wait until it finishes"), hold_lock(tmp_path):
            raise AssertionError("held twice")
        assert (tmp_path / NAME).exists()


@pytest.mark.parametrize("link", first_is_quick(["symbolic", "hard", "to nothing"]))
def test_a_link_in_place_of_the_lock_is_never_written_through(tmp_path: Path, link: str) -> None:
    planned = one_print(tmp_path)
    before = (tmp_path / "a.tif").read_bytes()
    if link == "hard":
        (planned.output / NAME).hardlink_to(tmp_path / "a.tif")
    else:
        (planned.output / NAME).symlink_to(tmp_path / ("a.tif" if link == "symbolic" else "none"))
    done = command(planned, "make")
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr == f"{planned.output / NAME} is a link to another file; remove it\n"
    assert (tmp_path / "a.tif").read_bytes() == before
    assert not (tmp_path / "none").exists()
    assert [each.name for each in planned.output.iterdir()] == [NAME]


def test_a_lock_is_let_go_after_an_error(tmp_path: Path) -> None:
    with pytest.raises(RuntimeError), hold_lock(tmp_path):
        raise RuntimeError
    with hold_lock(tmp_path):
        pass


def test_without_locks_of_the_system_the_holder_s_name_counts(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_locks(_: int) -> None:
        raise OSError(errno.ENOLCK, "No locks available")

    monkeypatch.setattr("sightsize.base.lock._lock", no_locks)
    gone = subprocess.Popen([sys.executable, "-c", ""])
    gone.wait()
    (tmp_path / NAME).write_text(f"process {gone.pid} on {socket.gethostname()}")
    with hold_lock(tmp_path):
        with pytest.raises(LockedError, match=f"process {os.getpid()} on "), hold_lock(tmp_path):
            raise AssertionError("held twice")
        assert (tmp_path / NAME).exists()
    assert list(tmp_path.iterdir()) == []

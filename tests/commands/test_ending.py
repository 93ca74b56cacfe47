"""How a process ends: by real signals, threads, streams and faults; never in a traceback."""

import fcntl
import os
import re
import signal
import subprocess
import sys
import termios
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest

from pictures import job, save
from sightsize.errors import INTERRUPTED
from sightsize.model.job import Job

pytestmark = pytest.mark.skipif(os.name != "posix", reason="signals between processes are POSIX")

WAIT_SECONDS = 60
BETWEEN_SECONDS = 1.0
"""Long enough apart that two signals are two."""

EXPLAIN = """
import sys
import sightsize.commands.explain as command
from sightsize.__main__ import main
def run(words):
    {body}
command.run = run
sys.argv = ["sightsize", "explain"]
main()
"""

SLOW = """
import os, sys, time
from pathlib import Path
from sightsize.__main__ import main
from sightsize.run import worker
folder = Path(sys.argv[1]).parent
def make(order):
    (order.ground.folder / f".{order.planned.name}.{os.getpid()}-ab.part").touch()
    (folder / "begun").touch()
    while not (folder / "go").exists():
        time.sleep(0.01)
    (order.ground.folder / f".{order.planned.name}.{os.getpid()}-ab.part").unlink()
    return worker.Outcome(planned=order.planned, status="made")
worker._make = make
sys.argv = ["sightsize", "make", "--workers", "1", sys.argv[1]]
main()
"""


def explain(*body: str, **options: object) -> subprocess.CompletedProcess[str]:
    """Run the command line with another body of ``explain``."""
    script = EXPLAIN.format(body="\n    ".join(body))
    return subprocess.run(  # type: ignore[call-overload,no-any-return]
        [sys.executable, "-c", script],
        capture_output=True,
        text=True,
        timeout=WAIT_SECONDS,
        **options,
    )


def three_prints(folder: Path) -> Job:
    save(folder / "a.tif", np.full((48, 64, 3), 120, np.uint8))
    return job(folder, {f"p{at}": {"source": "a.tif"} for at in range(3)}, (64, 48))


@contextmanager
def in_first_print(
    planned: Job, stderr: int = subprocess.PIPE, **options: object
) -> Iterator[subprocess.Popen[str]]:
    """A run that is in its first of three prints, and stays there until ``go`` stands there."""
    process: subprocess.Popen[str] = subprocess.Popen(  # type: ignore[call-overload]
        [sys.executable, "-c", SLOW, str(planned.path)],
        stdout=subprocess.PIPE,
        stderr=stderr,
        text=True,
        **options,
    )
    try:
        until = time.monotonic() + WAIT_SECONDS
        while not (planned.path.parent / "begun").exists():
            assert time.monotonic() < until, "no print was begun"
            time.sleep(0.01)
        yield process
    finally:
        process.kill()
        process.communicate()


def let_go(planned: Job) -> None:
    (planned.path.parent / "go").touch()


def wait_for(process: subprocess.Popen[str], words: str) -> None:
    """Read standard error until a line has these words."""
    assert process.stderr is not None
    for line in process.stderr:
        if words in line:
            return
    raise AssertionError(f"it never said {words!r}")


# Signals.


@pytest.mark.parametrize(
    ("number", "code"),
    [(signal.SIGINT, INTERRUPTED), (signal.SIGTERM, 143), (signal.SIGHUP, 129)],
)
def test_the_first_finishes_the_prints_in_hand(
    tmp_path: Path, number: signal.Signals, code: int
) -> None:
    planned = three_prints(tmp_path)
    with in_first_print(planned) as process:
        process.send_signal(number)
        wait_for(process, "finishing 1 print in hand; Ctrl-C once more stops at once")
        let_go(planned)
        stdout, stderr = process.communicate(timeout=WAIT_SECONDS)
    assert process.returncode == code
    assert stdout.splitlines()[1:] == ["made     p0.tif  0.0 MB in 0.0 s"]  # after what is accepted
    assert stderr == "interrupted; run the same command to continue\n"
    assert not planned.output.exists()


@pytest.mark.parametrize(("number", "code"), [(signal.SIGINT, INTERRUPTED), (signal.SIGTERM, 143)])
def test_the_second_stops_at_once_and_the_next_run_clears_up(
    tmp_path: Path, number: signal.Signals, code: int
) -> None:
    planned = three_prints(tmp_path)
    with in_first_print(planned) as process:
        process.send_signal(signal.SIGINT)
        wait_for(process, "finishing")
        time.sleep(BETWEEN_SECONDS)
        process.send_signal(number)
        stdout, stderr = process.communicate(timeout=WAIT_SECONDS)
    assert process.returncode == code
    assert "made" not in stdout
    assert stderr == "stopped at once; run the same command to carry on\n"
    assert list(planned.output.glob("*.part"))
    again = subprocess.run(
        [sys.executable, "-m", "sightsize", "make", str(planned.path)], capture_output=True
    )
    assert again.returncode == 0
    names = sorted(each.name for each in planned.output.iterdir())
    assert names == [".docket.json", "docket.toml", "p0.tif", "p1.tif", "p2.tif"]


@pytest.mark.parametrize(
    ("numbers", "apart"),
    [
        ([signal.SIGINT] * 2, 0.0),  # as timeout sends them, to the process and to its group
        ([signal.SIGHUP] * 3, BETWEEN_SECONDS),  # as shell and system tell a closed terminal
    ],
)
def test_several_that_mean_one(tmp_path: Path, numbers: list[signal.Signals], apart: float) -> None:
    planned = three_prints(tmp_path)
    with in_first_print(planned) as process:
        for number in numbers:
            process.send_signal(number)
            time.sleep(apart)
        wait_for(process, "finishing 1 print in hand")
        let_go(planned)
        _, stderr = process.communicate(timeout=WAIT_SECONDS)
    assert process.returncode == 128 + numbers[0]
    assert stderr.endswith("interrupted; run the same command to continue\n")


def test_a_hang_up_that_was_switched_off_stays_off(tmp_path: Path) -> None:
    planned = three_prints(tmp_path)
    hang_up_is_off = lambda: signal.signal(signal.SIGHUP, signal.SIG_IGN)  # noqa: E731  # nohup
    with in_first_print(planned, preexec_fn=hang_up_is_off) as process:
        process.send_signal(signal.SIGHUP)
        let_go(planned)
        stdout, _ = process.communicate(timeout=WAIT_SECONDS)
    assert process.returncode == 0
    assert "3 made" in stdout


def test_a_library_that_lets_no_python_run_is_stopped_by_the_second() -> None:
    done = explain(
        "import hashlib, os, signal, threading, time",
        "def press():",
        "    for _ in range(2):",
        f"        time.sleep({BETWEEN_SECONDS}); os.kill(os.getpid(), signal.SIGINT)",
        "threading.Thread(target=press, daemon=True).start()",
        "hashlib.pbkdf2_hmac('sha256', b'x', b'y', 3 * 10**7)",
    )
    assert done.returncode == INTERRUPTED
    assert done.stderr == "stopped at once; run the same command to carry on\n"


def test_an_interrupt_that_python_drops_comes_again() -> None:
    done = explain(
        "import signal, time",
        "class Dying:",
        "    def __del__(self):",
        "        signal.raise_signal(signal.SIGINT)",
        "        for _ in range(1000): pass",
        "Dying()",
        "time.sleep(50)",
    )
    assert (done.returncode, done.stderr) == (INTERRUPTED, "interrupted\n")


def test_what_goes_wrong_after_an_interrupt_is_the_interrupt() -> None:
    done = explain(
        "import signal",
        "try:",
        "    signal.raise_signal(signal.SIGTERM)",
        "    while True: pass",
        "except KeyboardInterrupt as error:",
        "    raise ImportError('numpy did not load') from error",
    )
    assert (done.returncode, done.stderr) == (143, "interrupted\n")


@pytest.mark.slow
@pytest.mark.parametrize("apart", [0.0, 0.01, 0.1, 0.3])
@pytest.mark.parametrize("after", [0.3, 0.8, 1.5, 2.5])
def test_five_in_a_row_at_any_time(tmp_path: Path, after: float, apart: float) -> None:
    save(tmp_path / "a.tif", np.full((200, 200, 3), 120, np.uint8))
    pictures = {f"p{at}": {"source": "a.tif"} for at in range(6)}
    planned = job(tmp_path, pictures, (1200, 1200), sharpen={"gain": 0.8})
    command = [sys.executable, "-m", "sightsize", "make", str(planned.path)]
    process = subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True
    )
    time.sleep(after)
    for _ in range(5):
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGINT)
        time.sleep(apart)
    _, stderr = process.communicate(timeout=WAIT_SECONDS)
    assert process.returncode in (0, INTERRUPTED, -signal.SIGINT), stderr  # -: still loading
    assert "Traceback" not in stderr
    assert "Exception" not in stderr


# Faults, threads and libraries.


def test_a_thread_that_breaks_is_a_sentence(tmp_path: Path) -> None:
    done = explain(
        "import threading",
        "def broken(): raise RuntimeError('a screw came loose')",
        "thread = threading.Thread(target=broken)",
        "thread.start(); thread.join()",
        "return 0",
        env={**os.environ, "TMPDIR": str(tmp_path)},
    )
    (report,) = tmp_path.glob("sightsize-fault-*.txt")
    said = f"a fault in sightsize (RuntimeError); please report it with {report}\n"
    assert (done.returncode, done.stderr) == (0, said)
    assert "a screw came loose" in report.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("body", "code", "said"),
    [
        (["def deep(): deep()", "deep()"], 3, "a fault in sightsize (RecursionError); please"),
        (["raise MemoryError"], 1, "not enough memory; close other programs, or add --workers 1"),
        (["raise BrokenPipeError"], 1, ""),
        (["raise PermissionError(13, 'Permission denied', 'a\\x1bb')"], 1, r"denied (a\x1bb)"),
        (["raise ValueError('embedded null byte')"], 3, "a fault in sightsize (ValueError)"),
        (["raise SystemExit('why')"], 1, ""),
        (["import nowhere"], 3, "a fault in sightsize (ModuleNotFoundError)"),
        (["import atexit", "atexit.register(int, 'x')", "return 0"], 0, ""),
        (["class Dying:", "    def __del__(self): 1 / 0", "Dying()", "return 0"], 0, ""),
        (["import logging", "logging.getLogger('tornado').error('noise')", "return 0"], 0, ""),
        (["import warnings", "warnings.warn('noise')", "return 0"], 0, ""),
        (["import threading", "threading.Timer(500, int).start()", "return 0"], 0, ""),
    ],
)
def test_whatever_happens_ends_in_a_sentence(
    tmp_path: Path, body: list[str], code: int, said: str
) -> None:
    done = explain(*body, env={**os.environ, "TMPDIR": str(tmp_path)})
    assert (done.returncode, done.stdout) == (code, "")
    assert done.stderr.count("\n") == (1 if said else 0)
    assert said in done.stderr
    assert not re.search("Traceback|Exception ignored", done.stderr)


# A terminal that is closed.


@pytest.mark.parametrize(("ours", "code"), [(True, 129), (False, 0)])
def test_a_closed_terminal_ends_the_run_in_order_if_it_is_ours(
    tmp_path: Path, ours: bool, code: int
) -> None:
    """One that only shows what standard error says ends nothing."""
    planned = three_prints(tmp_path)
    screen, terminal = os.openpty()

    def take_terminal() -> None:
        os.setsid()
        if ours:
            fcntl.ioctl(terminal, termios.TIOCSCTTY)

    with in_first_print(planned, terminal, preexec_fn=take_terminal) as process:
        os.close(terminal)
        os.read(screen, 100)
        os.close(screen)
        time.sleep(BETWEEN_SECONDS)
        let_go(planned)
        stdout, _ = process.communicate(timeout=WAIT_SECONDS)
    assert process.returncode == code
    assert ("3 made" in stdout) != ours
    assert not list(tmp_path.rglob("*.part"))


# Streams that are not there, or take nothing.


@pytest.mark.parametrize("closed", ["<&-", ">&-", "2>&-", "<&- >&- 2>&-"])
def test_closed_streams_never_lead_into_a_file(tmp_path: Path, closed: str) -> None:
    """What a library in C says on descriptor 2 must not be written into the next open file."""
    body = "\n    ".join(
        [
            "import os",
            f"print_file = open({str(tmp_path / 'print')!r}, 'wb')",
            "for number in range(1, 3): os.write(number, b'warning')",
            "return 0",
        ]
    )
    (tmp_path / "run.py").write_text(EXPLAIN.format(body=body), encoding="utf-8")
    command = f"exec '{sys.executable}' '{tmp_path / 'run.py'}' {closed}"
    done = subprocess.run(["sh", "-c", command], capture_output=True)
    assert done.returncode == 0
    assert (tmp_path / "print").read_bytes() == b""


def test_a_reader_that_has_seen_enough_ends_it_without_a_word() -> None:
    command = f"'{sys.executable}' -m sightsize explain; echo $? >&2"
    done = subprocess.run(["bash", "-c", f"({command}) | true"], capture_output=True, text=True)
    assert done.stderr == "1\n"

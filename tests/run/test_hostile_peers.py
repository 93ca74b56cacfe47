"""Schedulers and workers that hang, lie, freeze or die: each run ends in a sentence, in time.

The limits are shortened for the tests; that the real ones end is tested with one of them.
"""

import os
import secrets
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from threading import Thread

import pytest

from clusters import many_prints, scheduler, wait_for_part, worker
from sightsize.errors import INTERRUPTED
from sightsize.model.job import Job
from speed import first_is_quick

pytest.importorskip("distributed", reason="distributed is not installed")
pytestmark = pytest.mark.skipif(os.name != "posix", reason="processes are frozen by POSIX signals")

END_SECONDS = 90
"""Within this every run must end, on a busy machine too; the limits add up to less than half."""

CLIENT = """
import sys
from sightsize.__main__ import main
from sightsize.run import dask, queue, watch
dask.ANSWER_SECONDS, dask.JOIN_SECONDS, dask.CLOSE_SECONDS = {answer}, {join}, 1.0
watch.ASK_SECONDS, watch.ANSWER_SECONDS = 0.5, {lost}
watch.WORKERS_SECONDS, watch.SILENT_SECONDS = 4.0, {silent}
sys.argv = ["sightsize", "make", sys.argv[1], "--scheduler", sys.argv[2]]
main()
"""


def start(
    planned: Job,
    address: str,
    *,
    answer: float = 3.0,
    join: float = 15.0,
    lost: float = 4.0,
    silent: float = 4.0,
) -> subprocess.Popen[str]:
    script = CLIENT.format(answer=answer, join=join, lost=lost, silent=silent)
    return subprocess.Popen(
        [sys.executable, "-c", script, str(planned.path), address],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def ending(run: subprocess.Popen[str]) -> tuple[int, str, str]:
    try:
        stdout, stderr = run.communicate(timeout=END_SECONDS)
    finally:
        run.kill()
    assert "Traceback" not in stderr
    return run.returncode, stdout, stderr


@contextmanager
def peer(speak: Callable[[socket.socket], None]) -> Iterator[str]:
    """Something that listens, and does with each connection what it likes."""

    def serve(there: socket.socket) -> None:
        with there, suppress(OSError):
            speak(there)

    def accept() -> None:
        with suppress(OSError):
            while True:
                Thread(target=serve, args=(listening.accept()[0],), daemon=True).start()

    with socket.create_server(("127.0.0.1", 0)) as listening:
        Thread(target=accept, daemon=True).start()
        yield f"tcp://127.0.0.1:{listening.getsockname()[1]}"
        listening.shutdown(socket.SHUT_RDWR)


def hold(there: socket.socket) -> None:
    """Hear whatever comes, and say nothing."""
    while there.recv(2**16):
        pass


def drip(there: socket.socket, data: bytes) -> None:
    for byte in data:
        there.sendall(bytes([byte]))
        time.sleep(1)
    hold(there)


def flood(there: socket.socket) -> None:
    while True:
        there.sendall(b"\x00" * 2**16)


@pytest.fixture(scope="module")
def greeting() -> bytes:
    """What a real scheduler says first."""
    with scheduler() as address:
        host, _, port = address.removeprefix("tcp://").rpartition(":")
        until = time.monotonic() + 30
        while time.monotonic() < until:
            with suppress(OSError), socket.create_connection((host, int(port)), 5) as there:
                head = there.recv(8, socket.MSG_WAITALL)
                length = int.from_bytes(head, sys.byteorder)
                return head + there.recv(length, socket.MSG_WAITALL)
            time.sleep(0.1)
    raise AssertionError("no scheduler greeted")


Speak = Callable[[socket.socket, bytes], None]


def says(*parts: slice | bytes, then: Callable[[socket.socket], None]) -> Speak:
    """One that says parts of the greeting, or what else it likes, and goes on otherwise."""

    def speak(there: socket.socket, hello: bytes) -> None:
        for part in parts:
            there.sendall(part if isinstance(part, bytes) else hello[part])
        then(there)

    return speak


def hang_up(_: socket.socket) -> None:
    pass


def babble(there: socket.socket) -> None:
    while True:
        there.sendall(secrets.token_bytes(2**12))


WHOLE = slice(None)
TERABYTE = (2**40).to_bytes(8, sys.byteorder)
ENDLESS_FRAMES = (16).to_bytes(8, sys.byteorder) + b"\xff" * 16
PEERS: dict[str, Speak] = {
    "greets and says no more": says(WHOLE, then=hold),
    "eight bytes and no more": says(slice(8), then=hold),
    "never speaks": says(then=hold),
    "speaks something else": says(b"HTTP/1.1 400 Bad Request\r\n\r\n", then=hang_up),
    "greets a byte a second": drip,
    "greets and floods": says(WHOLE, then=flood),
    "floods": says(then=flood),
    "greets and hangs up": says(WHOLE, then=hang_up),
    "greets and announces a terabyte": says(WHOLE, TERABYTE, then=hold),
    "greets and announces endless frames": says(WHOLE, ENDLESS_FRAMES, then=hold),
    "greets and talks nonsense": says(WHOLE, then=babble),
    "cuts its greeting short": says(slice(-3), then=hold),
}


@pytest.mark.parametrize("kind", first_is_quick(PEERS))
def test_a_peer_that_is_no_scheduler(tmp_path: Path, greeting: bytes, kind: str) -> None:
    planned = many_prints(tmp_path)
    with peer(lambda there: PEERS[kind](there, greeting)) as address:
        code, stdout, stderr = ending(start(planned, address))
    assert (code, stdout) == (2, "")
    assert stderr.startswith(f"no scheduler answers at {address} (")
    assert stderr.count("\n") == 1
    assert not planned.output.exists()


@pytest.mark.slow
def test_the_real_limits_end_a_run_too(tmp_path: Path, greeting: bytes) -> None:
    planned = many_prints(tmp_path)
    with peer(lambda there: PEERS["greets and says no more"](there, greeting)) as address:
        command = [sys.executable, "-m", "sightsize", "make", str(planned.path)]
        begin = time.monotonic()
        done = subprocess.run(
            [*command, "--scheduler", address], capture_output=True, text=True, timeout=END_SECONDS
        )
    print(f"ended after {time.monotonic() - begin:.0f} s")
    assert done.returncode == 2
    assert done.stderr.startswith(f"no scheduler answers at {address} (")


# Real schedulers and workers that come to harm.


def through(address: str, bytes_back: int) -> Callable[[socket.socket], None]:
    """A way to a real scheduler that lets so many bytes of each answer pass, and then none."""

    def speak(there: socket.socket) -> None:
        host, _, port = address.removeprefix("tcp://").rpartition(":")
        with socket.create_connection((host, int(port))) as real:

            def forth() -> None:
                with suppress(OSError):
                    while data := there.recv(2**16):
                        real.sendall(data)

            Thread(target=forth, daemon=True).start()
            left = bytes_back
            while left and (data := real.recv(min(left, 2**16))):
                there.sendall(data)
                left -= len(data)
            hold_back = Thread(target=time.sleep, args=(END_SECONDS,), daemon=True)
            hold_back.start()
            hold_back.join()

    return speak


@pytest.mark.slow
@pytest.mark.parametrize("bytes_back", [200, 600, 1500])
def test_a_scheduler_that_stops_in_the_middle_of_joining(tmp_path: Path, bytes_back: int) -> None:
    planned = many_prints(tmp_path)
    with scheduler() as real, worker(real), peer(through(real, bytes_back)) as address:
        code, _, stderr = ending(start(planned, address))
    assert code == 2, stderr
    assert stderr.count("\n") == 1
    assert "scheduler" in stderr or "worker" in stderr
    assert address in stderr


@pytest.mark.slow
def test_workers_that_never_come(tmp_path: Path) -> None:
    planned = many_prints(tmp_path)
    with scheduler() as address:
        code, _, stderr = ending(start(planned, address))
    assert (code, stderr.count("\n")) == (2, 1)
    assert f"the scheduler at {address} has no workers; start some with dask worker" in stderr


@pytest.mark.slow
def test_a_worker_that_is_frozen_from_the_start(tmp_path: Path) -> None:
    planned = many_prints(tmp_path)
    with scheduler() as address, worker(address) as only:
        wait_until_there(address)
        only.send_signal(signal.SIGSTOP)
        code, _, stderr = ending(start(planned, address, join=6.0))
    assert (code, stderr.count("\n")) == (2, 1)
    assert f"a worker of {address} does not answer within 6 s; start it again" in stderr


def wait_until_there(address: str) -> None:
    """Wait for a worker."""
    script = (
        "import sys; from distributed import Client\n"
        "with Client(sys.argv[1], timeout=30) as client: client.wait_for_workers(1, timeout=30)"
    )
    subprocess.run([sys.executable, "-c", script, address], check=True, capture_output=True)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("victim", "number", "said"),
    [
        ("scheduler", signal.SIGKILL, "scheduler"),
        ("scheduler", signal.SIGSTOP, "has not answered for 4 s"),
        ("worker", signal.SIGKILL, "has had no worker for 4 s"),
        ("worker", signal.SIGSTOP, "has had no worker for 4 s"),
    ],
)
def test_what_comes_to_harm_during_a_run(
    tmp_path: Path, victim: str, number: signal.Signals, said: str
) -> None:
    """Prints that were made stay made, and the same command makes the others."""
    planned = many_prints(tmp_path)
    with scheduler() as address, worker(address) as only:
        run = start(planned, address)
        wait_for_prints(planned, 1)
        wait_for_part(planned.output, only)
        the_scheduler = scheduler_of(address)
        os.kill(only.pid if victim == "worker" else the_scheduler, number)
        code, stdout, stderr = ending(run)
    assert code == 1, stderr
    assert said in stdout
    assert "run the same command to continue" in stdout
    made = int(stdout.splitlines()[-1].split(" made")[0])
    assert made >= 1
    assert len([*planned.output.glob("p*.tif")]) >= made
    again = subprocess.run(
        [sys.executable, "-m", "sightsize", "make", str(planned.path)],
        capture_output=True,
        text=True,
    )
    assert again.returncode == 0, again.stdout
    assert not list(planned.output.glob("*.part"))


def wait_for_prints(planned: Job, count: int) -> None:
    until = time.monotonic() + END_SECONDS
    while len([*planned.output.glob("p*.tif")]) < count:
        assert time.monotonic() < until, "no print was made"
        time.sleep(0.01)


def scheduler_of(address: str) -> int:
    """The process that listens at an address, told by its command line."""
    port = address.rpartition(":")[2]
    for folder in Path("/proc").glob("[0-9]*"):
        with suppress(OSError):
            words = (folder / "cmdline").read_bytes().split(b"\0")
            if b"distributed.cli.dask_scheduler" in words and port.encode() in words:
                return int(folder.name)
    raise AssertionError("no such scheduler")


SLOW_WORKER = """
import sys, time
from sightsize.run import worker
make = worker._make
def slowly(order):
    time.sleep(12)
    return make(order)
worker._make = slowly
from distributed.cli.dask_worker import main
sys.argv = ["dask-worker", *sys.argv[1:]]
main()
"""


@pytest.mark.slow
def test_a_slow_print_on_a_living_worker_is_waited_for(tmp_path: Path) -> None:
    """It takes three times as long as a worker may be silent, or a scheduler may not answer."""
    planned = many_prints(tmp_path, 1)
    alone = ("--nthreads", "1", "--no-nanny", "--no-dashboard", "--host", "127.0.0.1")
    with scheduler() as address:
        slow = subprocess.Popen(
            [sys.executable, "-c", SLOW_WORKER, address, *alone],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        try:
            code, stdout, stderr = ending(start(planned, address, answer=10.0))
        finally:
            slow.kill()
            slow.wait()
    assert code == 0, stderr + stdout
    assert "1 made" in stdout


@pytest.mark.slow
def test_an_interrupt_beside_a_frozen_scheduler(tmp_path: Path) -> None:
    planned = many_prints(tmp_path)
    with scheduler() as address, worker(address) as only:
        run = start(planned, address, lost=600.0)
        wait_for_part(planned.output, only)
        os.kill(scheduler_of(address), signal.SIGSTOP)
        time.sleep(1)
        run.send_signal(signal.SIGINT)
        code, _, stderr = ending(run)
    assert code == INTERRUPTED
    assert stderr.endswith("interrupted; run the same command to continue\n")

"""Schedulers and workers on this machine, for tests, and a job for them."""

import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

import numpy as np

from pictures import job, save
from sightsize.model.job import Job

PRINTS = 6
PX = (1200, 1200)
QUIET = {**os.environ, "DASK_DISTRIBUTED__LOGGING__DISTRIBUTED": "error"}


def free_port() -> int:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return int(found.getsockname()[1])


@contextmanager
def running(
    *arguments: str, environment: Mapping[str, str] = QUIET
) -> Iterator[subprocess.Popen[bytes]]:
    """A part of the cluster, killed at the end."""
    command = [sys.executable, "-m", "distributed.cli." + arguments[0], *arguments[1:]]
    process = subprocess.Popen(
        command, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    try:
        yield process
    finally:
        process.kill()
        process.wait()


@contextmanager
def scheduler(protocol: str = "tcp", environment: Mapping[str, str] = QUIET) -> Iterator[str]:
    port = str(free_port())
    here = ("--host", "127.0.0.1", "--port", port, "--no-dashboard", "--no-show")
    with running("dask_scheduler", "--protocol", protocol, *here, environment=environment):
        yield f"{protocol}://127.0.0.1:{port}"


@contextmanager
def worker(
    address: str, environment: Mapping[str, str] = QUIET
) -> Iterator[subprocess.Popen[bytes]]:
    """One process that makes one print at a time, and is not started again when it dies."""
    alone = ("--nthreads", "1", "--no-nanny", "--no-dashboard")
    host = f"{address.partition(':')[0]}://127.0.0.1"
    with running(
        "dask_worker", address, *alone, "--host", host, environment=environment
    ) as process:
        yield process


def many_prints(folder: Path, count: int = PRINTS) -> Job:
    """A job of some prints that take a while each."""
    pixels = np.random.default_rng(5).integers(40, 200, (400, 400, 3)).astype(np.uint8)
    save(folder / "a.tif", pixels)
    pictures = {f"p{at}": {"source": "a.tif", "centre_on": [at / 9, 0.5]} for at in range(count)}
    return job(folder, pictures, PX, sharpen={"gain": 0.8})


def parts_of(folder: Path, process: subprocess.Popen[bytes]) -> list[Path]:
    return list(folder.glob(f".*.tif.{process.pid}-*.part"))


def wait_for_part(folder: Path, process: subprocess.Popen[bytes]) -> None:
    until = time.monotonic() + 25
    while not parts_of(folder, process):
        assert time.monotonic() < until, "the worker never began a print"
        time.sleep(0.002)

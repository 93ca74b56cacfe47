"""Prints made by the workers of a scheduler, on this machine or others that share its folders.

distributed is an extra and is loaded only when a scheduler is named. It gives a print whose worker
dies to another worker; a file that stands whole under its name by then is kept, as in any rerun.
"""

import os
import re
import secrets
import socket
import sys
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from sightsize import __version__
from sightsize.errors import ClusterError
from sightsize.run.queue import Make
from sightsize.run.watch import Watch, within
from sightsize.run.worker import Order, Outcome, cores, failed, make_print, set_libvips_threads

if TYPE_CHECKING:
    from distributed import Client

ANSWER_SECONDS = 10.0
"""For a scheduler to greet."""

JOIN_SECONDS = 30.0
"""For all else at the beginning, such as a first worker to come: machines may be busy."""

CLOSE_SECONDS = 5.0
_RETRIES = 2
_ADDRESS = re.compile(r"(?:(tcp|tls)://)?([^\s:/?#@\[\]]+|\[[0-9A-Fa-f:.]+\]):(\d{1,5})")
_LONGEST_GREETING = 2**20
_LONGEST_SAID = 200
_KEYS = (
    "name their files in Dask's configuration, under distributed.comm.tls: ca-file, client.cert "
    "and client.key"
)
_ROOM_FOR_LATER = 16
_IN_STOCK = 2
"""Prints handed out for each thread, so that none waits for its next one to travel; and at least so
many, for workers that join later."""


@dataclass(frozen=True)
class Cluster:
    """An executor whose workers see the output folder, and what it is to run."""

    executor: Executor
    make: Make
    prints_at_once: int
    lost: Callable[[], str]


class _Worker(NamedTuple):
    """What a worker says of itself."""

    host: str
    cores: int
    threads: int
    version: str
    sees_folder: bool


@contextmanager
def join_cluster(address: str, folder: Path) -> Iterator[Cluster]:
    """Join the scheduler at ``address`` to make prints in ``folder``. Raises ClusterError."""
    with _client(address) as client, _token(folder) as token:
        workers = _workers(client, address, token)
        for name, worker in workers.items():
            _require_fit(name, worker, folder)
        make = partial(make_on_worker, token=token, libvips_threads=_shares([*workers.values()]))
        threads = sum(worker.threads for worker in workers.values())
        executor = client.get_executor(pure=False, retries=_RETRIES)
        watch = Watch(client, address)
        try:
            room = max(threads * _IN_STOCK, _ROOM_FOR_LATER)
            yield Cluster(executor, make, room, watch.trouble)
        finally:
            watch.stop()


def make_on_worker(order: Order, *, token: Path, libvips_threads: Mapping[str, int]) -> Outcome:
    """Make a print on a worker, which may have joined after the others were asked."""
    host = socket.gethostname()
    if not token.exists():
        return failed(order.planned, _not_shared(host, token.parent))
    set_libvips_threads(libvips_threads.get(host, 1))
    return make_print(order)


@contextmanager
def _client(address: str) -> "Iterator[Client]":
    try:
        from distributed import Client
    except ImportError:
        raise ClusterError(
            "--scheduler needs the package distributed; install sightsize[cluster]"
        ) from None
    scheme, host, port = _parts(address)
    if scheme == "tls":
        _require_certificates()
    try:
        within(ANSWER_SECONDS, lambda: _hear_greeting(scheme, host, port))
        client = within(
            JOIN_SECONDS,
            lambda: Client(address, timeout=ANSWER_SECONDS, set_as_default=False),
        )
    except Exception as error:  # whatever comes of one that greets otherwise
        raise ClusterError(_no_answer(address, error)) from error
    try:
        yield client
    finally:
        with suppress(Exception):  # a scheduler that answers no more
            within(CLOSE_SECONDS, client.close)


def _require_certificates() -> None:
    """Raise ClusterError where Dask's configuration has none for us."""
    from distributed.security import Security

    try:
        there = Security().get_connection_args("client").get("ssl_context") is not None
    except Exception as error:  # a file that is not there, or is none
        raise ClusterError(
            f"the certificates cannot be read ({_reason(error)}); {_KEYS}"
        ) from error
    if not there:
        raise ClusterError(f"a tls:// address takes certificates; {_KEYS}")


def _parts(address: str) -> tuple[str, str, int]:
    """Scheme, host and port of a scheduler's address. Raises ClusterError."""
    parts = _ADDRESS.fullmatch(address)
    if parts is None or not 0 < int(parts[3]) < 2**16:
        raise ClusterError(
            f"{address[:_LONGEST_SAID]!r} is not a scheduler's address; write it as tcp://host:port"
        )
    return parts[1] or "tcp", parts[2].strip("[]"), int(parts[3])


def _hear_greeting(scheme: str, host: str, port: int) -> None:
    """Raise an error where no scheduler speaks: distributed would try, and read, for longer.

    A scheduler greets whoever connects, the greeting's length before it; with TLS it waits.
    """
    with socket.create_connection((host, port), ANSWER_SECONDS) as there:
        if scheme != "tls":
            length = int.from_bytes(_read(there, 8), sys.byteorder)
            if not 0 < length < _LONGEST_GREETING:
                raise ConnectionError("what listens there is no scheduler")


def _read(there: socket.socket, count: int) -> bytes:
    """So many bytes, or what came before the other end hung up."""
    found = b""
    while len(found) < count and (more := there.recv(count - len(found))):
        found += more
    return found


def _no_answer(address: str, error: BaseException) -> str:
    secret = address.startswith("tls:")
    what = "have its certificate and ours signed by one authority, " if secret else ""
    return (
        f"no scheduler answers at {address} ({_reason(error)}); start one with dask scheduler, "
        f"{what}or correct the address"
    )


def _reason(error: BaseException) -> str:
    """What lies at the bottom of an error, in few words."""
    while error.__cause__ is not None:
        error = error.__cause__
    said = " ".join(str(error).split())[:_LONGEST_SAID]
    return said or ("timed out" if isinstance(error, TimeoutError) else type(error).__name__)


@contextmanager
def _token(folder: Path) -> Iterator[Path]:
    """A file by which a worker knows the folder; named so that a later run clears it away."""
    token = folder / f".shared.{os.getpid()}-{secrets.token_hex(4)}.part"
    token.touch()
    try:
        yield token
    finally:
        token.unlink(missing_ok=True)


def _workers(client: "Client", address: str, token: Path) -> dict[str, _Worker]:
    try:
        within(JOIN_SECONDS, lambda: client.wait_for_workers(1))
        threads = within(JOIN_SECONDS, client.nthreads)
    except TimeoutError as error:
        raise ClusterError(
            f"the scheduler at {address} has no workers; start some with dask worker {address}"
        ) from error
    except Exception as error:
        raise ClusterError(_no_answer(address, error)) from error
    try:
        found = within(JOIN_SECONDS, lambda: client.run(_look, token))
    except TimeoutError as error:
        raise ClusterError(
            f"a worker of {address} does not answer within {JOIN_SECONDS:g} s; start it again"
        ) from error
    except Exception as error:  # whatever was raised on a worker
        raise ClusterError(
            f"a worker of {address} cannot run sightsize ({_reason(error)}); install the same "
            "version there"
        ) from error
    return {
        name: _Worker(host, cores, threads.get(name, 1), version, sees_folder)
        for name, (host, cores, version, sees_folder) in found.items()
    }


def _look(token: Path) -> tuple[str, int, str, bool]:
    """Run on a worker: its host, cores and version, and whether it sees the token."""
    return socket.gethostname(), cores(), __version__, token.exists()


def _require_fit(name: str, worker: _Worker, folder: Path) -> None:
    where = f"{name} on {worker.host}"
    if worker.version != __version__:
        raise ClusterError(
            f"{where} has sightsize {worker.version}, this is {__version__}; install the same "
            "version"
        )
    if not worker.sees_folder:
        raise ClusterError(_not_shared(where, folder))


def _not_shared(worker: str, folder: Path) -> str:
    return (
        f"worker {worker} cannot see {folder}; every machine must have the job's folders at the "
        "same paths"
    )


def _shares(workers: Sequence[_Worker]) -> dict[str, int]:
    """The threads that libvips gets for each print, by host."""
    prints: Counter[str] = Counter()
    for worker in workers:
        prints[worker.host] += worker.threads
    return {worker.host: max(worker.cores // prints[worker.host], 1) for worker in workers}

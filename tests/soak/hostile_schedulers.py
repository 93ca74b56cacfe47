"""Point ``make --scheduler`` at servers that are none; by hand.

Each must end in one sentence in bounded time, with nothing made, left behind or touched.
"""

import argparse
import os
import random
import socket
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import msgpack  # type: ignore[import-untyped]
from guarded import Table, half, run, tree, wrong
from worlds import warm_world

Serve = Callable[[socket.socket], None]
_MOST_WALL_SECONDS = 60


def _frames(*frames: bytes) -> bytes:
    """A message as Dask's comms frame it: the total length, then count, lengths and frames."""
    body = len(frames).to_bytes(8, "little") + b"".join(
        len(f).to_bytes(8, "little") for f in frames
    )
    body += b"".join(frames)
    return len(body).to_bytes(8, "little") + body


def _greeting() -> bytes:
    shake = {"compression": None, "python": [3, 11, 0], "pickle-protocol": 5}
    return _frames(msgpack.packb({}), msgpack.packb(shake))


def _drain(there: socket.socket, seconds: float = 100) -> None:
    there.settimeout(seconds)
    while there.recv(65536):
        pass


def _silent(there: socket.socket) -> None:
    _drain(there)


def _hangs_up(there: socket.socket) -> None:
    there.close()


def _http(there: socket.socket) -> None:
    there.sendall(b"HTTP/1.1 400 Bad Request\r\nContent-Length: 0\r\n\r\n")
    _drain(there)


def _ssh(there: socket.socket) -> None:
    there.sendall(b"SSH-2.0-OpenSSH_9.2p1 Debian-2\r\n")
    _drain(there)


def _endless_zeros(there: socket.socket) -> None:
    while True:
        there.sendall(bytes(65536))


def _endless_noise(there: socket.socket) -> None:
    dice = random.Random(1)
    while True:
        there.sendall(dice.randbytes(65536))


def _drips(there: socket.socket) -> None:
    for byte in _greeting() + bytes(1000):
        there.sendall(bytes([byte]))
        time.sleep(1)


def _greets_only(there: socket.socket) -> None:
    there.sendall(_greeting())
    _drain(there)


def _greets_and_hangs_up(there: socket.socket) -> None:
    there.sendall(_greeting())
    time.sleep(0.2)
    there.close()


def _states_much(there: socket.socket) -> None:
    """A greeting of nearly a mebibyte that never comes, or of 2**40 bytes."""
    there.sendall((2**20 - 1).to_bytes(8, "little") + b"\x02")
    _drain(there)


def _states_far_too_much(there: socket.socket) -> None:
    there.sendall((2**40).to_bytes(8, "little") + bytes(1000))
    _drain(there)


def _half_a_length(there: socket.socket) -> None:
    there.sendall(b"\x10\0\0")
    _drain(there)


def _greets_then_noise(there: socket.socket) -> None:
    there.sendall(_greeting())
    there.sendall(_frames(b"\xc1" * 50, os.urandom(500)))
    _drain(there)


def _greets_then_endless(there: socket.socket) -> None:
    there.sendall(_greeting())
    there.sendall((2**38).to_bytes(8, "little"))
    while True:
        there.sendall(bytes(65536))


def _strange_greeting(there: socket.socket) -> None:
    strange = {"compression": "nothing", "python": "x", "pickle-protocol": -1}
    there.sendall(_frames(msgpack.packb({}), msgpack.packb(strange)))
    _drain(there)


def _greets_and_answers_ok(there: socket.socket) -> None:
    """It says ok to everything, in Dask's own frames, and never has a worker."""
    there.sendall(_greeting())
    there.settimeout(100)
    while there.recv(65536):
        there.sendall(_frames(msgpack.packb({}), msgpack.packb("OK")))


def _echo(there: socket.socket) -> None:
    there.sendall(_greeting())
    there.settimeout(100)
    while data := there.recv(65536):
        there.sendall(data)


SERVERS: dict[str, Serve] = {
    name.strip("_").replace("_", " "): serve
    for name, serve in list(globals().items())
    if name.startswith("_")
    and getattr(serve, "__annotations__", {}).get("there") is socket.socket
    and name != "_drain"
}

ADDRESSES = (
    "",
    "x",
    "tcp://",
    "tcp://:",
    "127.0.0.1",
    "127.0.0.1:0",
    "127.0.0.1:99999",
    "tcp://127.0.0.1:1",
    "http://127.0.0.1:80",
    "tcp://[::1]:1",
    "tcp://nowhere.invalid:8786",
    "a\nb:1",
    "\x1b[31m:1",
    "tcp://127.0.0.1:1/path",
    "ucx://127.0.0.1:1",
    "inproc://x",
    "tcp://" + "x" * 5000 + ":1",
    "tcp://٣:1",
    "127.0.0.1:٣",
    "tcp://a b:1",
    "tls://127.0.0.1:1",
    "tcp://.:1",
    "tcp://é" * 60 + ":1",
)


class Server:
    """A server on a free port, in a process of its own."""

    def __init__(self, serve: Serve) -> None:
        """Listen, and serve each that connects."""
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = self._listener.getsockname()[1]
        self.pid = os.fork()
        if self.pid == 0:
            while True:
                there, _ = self._listener.accept()
                threading.Thread(target=_quietly, args=(serve, there), daemon=True).start()
        self._listener.close()

    def end(self) -> None:
        """Stop it."""
        os.kill(self.pid, 9)
        os.waitpid(self.pid, 0)


def _quietly(serve: Serve, there: socket.socket) -> None:
    try:
        serve(there)
    except OSError:
        pass
    finally:
        there.close()


def main() -> None:
    """Try every server and address and report."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", default="")
    chosen = parser.parse_args()
    table = Table()
    with warm_world() as world:
        world.set_job()

        def attack(address: str) -> list[str]:
            before = tree(world.folder)
            ran = run(["make", world.job, "--scheduler", address], world.folder, 120)
            faults = wrong(ran, seconds=10)
            if ran.code == 0:
                faults.append("it went ahead")
            if ran.seconds > _MOST_WALL_SECONDS:
                faults.append(f"took {ran.seconds:.0f} s")
            said = ran.err.strip().splitlines()
            if len([line for line in said if "note [" not in line and "warn [" not in line]) > 1:
                faults.append(f"more than a sentence: {ran.err.strip()[-400:]!r}")
            if before != tree(world.folder):
                faults.append("something was left or touched")
            return faults + half(world.out)

        for name, serve in SERVERS.items():
            if chosen.only in name:
                for scheme in ("", "tls://"):
                    server = Server(serve)
                    table.add(
                        "servers", f"{scheme}{name}", attack(f"{scheme}127.0.0.1:{server.port}")
                    )
                    server.end()
        for address in ADDRESSES:
            if not chosen.only:
                table.add("addresses", repr(address)[:60], attack(address))
    table.end()


if __name__ == "__main__":
    main()

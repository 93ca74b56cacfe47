"""Run every command that writes on a small disk that is nearly full; by hand.

As root the disk is a small tmpfs; anyone else gets a limit on the size of files instead. No file
stays empty or half, sources stay as they are, and every failure is a sentence.
"""

import argparse
import os
import random
import resource
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from guarded import Table, half, run, tree, wrong
from worlds import World, warm_world

COMMANDS = (
    "make",
    "make with masters",
    "reprint",
    "new",
    "check --junit",
    "make on",
    "reprint --match",
)
_DISK_BYTES = 4 * 2**20


class Disk:
    """A small disk, or where there may be none, a limit on the size of a file."""

    def __init__(self, folder: Path) -> None:
        """Mount it, where that is allowed."""
        self.folder = folder
        folder.mkdir()
        words = ["mount", "-t", "tmpfs", "-o", f"size={_DISK_BYTES}", "none", str(folder)]
        self.is_one = subprocess.run(words, check=False, capture_output=True).returncode == 0

    def leave_bytes(self, free: int) -> Callable[[], None]:
        """Fill it but for so many bytes; return what a run has to do besides."""
        if not self.is_one:
            signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
            return lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (max(free, 1), max(free, 1)))
        status = os.statvfs(self.folder)
        with (self.folder / "ballast").open("wb") as file:
            file.write(b"x" * max(status.f_bavail * status.f_frsize - free, 0))
        return lambda: None

    def end(self) -> None:
        """Take it away."""
        if self.is_one:
            subprocess.run(["umount", str(self.folder)], check=False)


def attacked(origin: World, command: str, free: int, disk: Disk) -> list[str]:
    """Run a command with so little room; return what was wrong."""
    world = World(disk.folder / "world")
    shutil.copytree(origin.folder, world.folder, symlinks=True)
    world.set_job(
        delivery={"keep_master": "masters" in command or "match" in command}, px=(240, 160)
    )
    docket = world.out / "docket.toml"
    words: list[Any] = ["make", world.job, "--workers", "1"]
    has_prints = command in ("reprint", "make on", "reprint --match")
    if has_prints and run(words, world.folder, 60).code:
        return ["the first run failed"]
    if command == "make on":
        (world.out / "b.jpg").unlink()
        words.append("--replace")
    elif command.startswith("reprint"):
        words = ["reprint", docket, *command.split()[1:]]
    elif command == "new":
        words = ["new", world.sources, "--job", world.folder / "new.toml"]
    elif command == "check --junit":
        words = ["check", world.job, "--junit", world.folder / "report.xml"]
        (world.folder / "report.xml").write_text("<testsuites />" + " " * 4000)
    before = tree(world.folder, without=[world.out])
    held = (
        {path: path.read_bytes() for path in world.out.rglob("*.toml")}
        if world.out.is_dir()
        else {}
    )
    limit = disk.leave_bytes(free)
    ran = run(words, world.folder, 60, in_child=limit)
    faults = wrong(ran, seconds=20)
    after = tree(world.folder, without=[world.out])
    for name in before.keys() | after.keys():
        if before.get(name) == after.get(name):
            continue
        path = Path(name)
        mine = path in (world.folder / "new.toml", world.folder / "report.xml")
        if not (mine and ran.code == 0):
            size = path.stat().st_size if path.exists() else "gone"
            faults.append(f"{path.relative_to(world.folder)} is now {size}, exit code {ran.code}")
    faults += half(world.out)
    for path, data in held.items():
        if not path.exists() or len(path.read_bytes()) < len(data) // 3:
            faults.append(f"{path.name} was lost or cut")
    for path in world.folder.rglob("*"):
        if path.is_file() and path.stat().st_size == 0:
            faults.append(f"empty: {path.relative_to(world.folder)}")
    (disk.folder / "ballast").unlink(missing_ok=True)
    again = run(words, world.folder, 60)
    if command != "new" or not (world.folder / "new.toml").exists():
        codes = (0, 1) if command == "check --junit" else (0,)
        faults += [f"with room again: {each}" for each in wrong(again, seconds=20, codes=codes)]
    faults += half(world.out)
    return faults


def main() -> None:
    """Fill so many disks and report."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=35)
    parser.add_argument("--first", type=int, default=0, help="seed")
    parser.add_argument("--command", choices=COMMANDS, action="append")
    chosen = parser.parse_args()
    table = Table()
    with warm_world() as world:
        for number in range(chosen.first, chosen.first + chosen.count):
            dice = random.Random(f"disk {number}")
            commands = chosen.command or COMMANDS
            command = commands[number % len(commands)]
            largest = 12000 if command in ("new", "check --junit") else 400000
            free = dice.choice([0, 1, 4096, dice.randrange(largest), dice.randrange(largest)])
            disk = Disk(world.folder.with_name(f"disk-{number}"))
            try:
                faults = attacked(world, command, free, disk)
            finally:
                disk.end()
            faults = [each.replace(str(disk.folder), ".") for each in faults]
            table.add(command, f"number {number}, {free} bytes free", faults)
    table.end()


if __name__ == "__main__":
    main()

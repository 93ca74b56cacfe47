"""Send signals to runs at random moments, then run again; by hand.

INT, TERM, HUP, KILL, STOP with CONT, and several INTs quickly. What has a name is always whole,
the program ends soon, an interrupt leaves nothing behind, and the next run carries on.
"""

import argparse
import random
import shutil
import signal
import sys
import time
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from guarded import Run, Table, Tree, half, run, tree, wrong
from worlds import World, copied, warm_world

from sightsize.docket.store import Docket

WAYS = ("INT", "TERM", "HUP", "KILL", "STOP+CONT", "INT INT", "INT INT INT", "INT x 5", "INT TERM",
        "QUIT", "PIPE", "USR1")  # fmt: skip
_SOFT = {"INT", "INT INT", "INT INT INT", "INT x 5", "STOP+CONT", "PIPE"}
"""After these nothing may be left behind; TERM, HUP and the others end a program at once."""


def signals_of(way: str) -> list[int]:
    """The signals of a way, in turn."""
    if way == "INT x 5":
        return [signal.SIGINT] * 5
    names = way.replace("+", " ").split()
    return [int(getattr(signal, f"SIG{name}")) for name in names]


def attacked(
    world: World, way: str, command: str, dice: random.Random, longest: float
) -> list[str]:
    """Signal a run; return what was wrong with it, and with the run after it."""
    words: list[Any] = ["make", world.job, "--workers", str(dice.choice([1, 2]))]
    out = world.out
    if command == "reprint":
        made = run(["make", world.job], world.folder, 120)
        if made.code:
            return [f"make before: {made.said[-200:]}"]
        words, out = ["reprint", world.out / "docket.toml"], world.out / "reprints"
    before = tree(world.folder, without=[world.out])
    under_way = Run(words, world.folder)
    begin, moment = time.monotonic(), dice.uniform(0.0, 1.1) * longest
    while under_way.running() and time.monotonic() - begin < moment:
        time.sleep(0.002)
    for number in signals_of(way):
        under_way.send(number)
        time.sleep(dice.choice([0.0, 0.01, 0.1, 0.4]))
    sent = time.monotonic()
    ran = under_way.end(60)
    took = time.monotonic() - sent
    ended_by = {-number for number in signals_of(way)}
    faults = []
    if ran.code < 0 and ran.code not in ended_by:
        faults.append(f"died of signal {-ran.code}")
    if ran.code >= 0:
        faults += wrong(ran, seconds=60, codes=(0, 130, 1, 129, 143))
    if "Traceback" in ran.said:
        faults.append(f"a traceback after {way}: {ran.said.strip().splitlines()[-1]}")
    if way.startswith("INT") and ran.code == 130 and "interrupted" not in ran.said:
        faults.append(f"nothing said: {ran.said[-200:]!r}")
    if took > 20:
        faults.append(f"went on for {took:.0f} s after the signal")
    faults += half(world.out, parts=way not in _SOFT or ran.code < 0)
    faults += [
        f"changed: {name}" for name in _differences(before, tree(world.folder, without=[world.out]))
    ]
    seen = {path.name: path.stat().st_ino for path in out.glob("[ab]*.jpg")} if out.is_dir() else {}
    recorded = _recorded(world) if command == "make" else set()
    again = run(words, world.folder, 120)
    faults += [f"rerun: {each}" for each in wrong(again, seconds=60, codes=(0,))]
    faults += [f"after the rerun: {each}" for each in half(world.out)]
    if command == "make":
        for name, inode in seen.items():
            if name in recorded and (out / name).stat().st_ino != inode:
                faults.append(f"{name} was recorded, and made again")
        audited = run(["audit", world.job], world.folder)
        if audited.code:
            faults.append(f"audit after the rerun: {audited.said.strip()[-200:]}")
    return faults


def _recorded(world: World) -> set[str]:
    try:
        return set(Docket(world.out / "docket.toml").records)
    except Exception:
        return set()


def _differences(before: Tree, after: Tree) -> list[str]:
    return [name for name in before.keys() | after.keys() if before.get(name) != after.get(name)]


def main() -> None:
    """Send so many signals and report."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=120)
    parser.add_argument("--first", type=int, default=0, help="seed")
    parser.add_argument("--way", choices=WAYS, action="append")
    chosen = parser.parse_args()
    table = Table()
    ways = chosen.way or WAYS
    with warm_world() as world:
        prints = [{"source": f"../sources/{name}"} for name in ("a.jpg", "b.tif", "a.tif", "b.jpg")]
        world.set_job(
            prints=prints, px=(600, 400), sharpen={"gain": 0.8},
            delivery={"name": "{picture}-{number}", "keep_master": True},
        )  # fmt: skip
        place = copied(world, world.folder.with_name("world"))
        longest = run(["make", place.job, "--workers", "1"], place.folder, 120).seconds
        for number in range(chosen.first, chosen.first + chosen.count):
            dice = random.Random(f"signal {number}")
            way, command = ways[number % len(ways)], "reprint" if dice.random() < 0.2 else "make"
            place = copied(world, world.folder.with_name("world"))
            faults = attacked(place, way, command, dice, longest)
            faults = [each.replace(str(place.folder), ".") for each in faults]
            table.add(f"{way} at {command}", f"number {number}", faults)
        shutil.rmtree(world.folder.with_name("world"))
    table.end()


if __name__ == "__main__":
    main()

"""Tamper with a docket and its hidden mirror, then run every command that reads them; by hand."""

import argparse
import json
import os
import random
import sys
import tomllib
from pathlib import Path
from typing import Any

import tomli_w

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from guarded import Table, run
from worlds import STAGES, Watch, World, copied, warm_world

HOSTILE: list[Any] = [
    "", "x" * 5000, "../../sources/a.jpg", "../../outside/precious.txt", "/etc/passwd", "/dev/zero",
    "a\x00b", "a\nb", "\x1b[31mred", "\u202egpj", "..", ".", "*", "masters", "docket.toml", "~",
    0, -1, 2**63, 10**30, 1e308, float("nan"), float("inf"), True, [], {}, [[]], [{}], {"a": 1},
    "-1 mm", "1e9 m", "9" * 400, "{picture}", "../out/a.jpg", "masters/../../job.toml", "A" * 64,
    "0" * 64, ["x"] * 1000,
]  # fmt: skip


def places(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Every place in a document."""
    found = [path] if path else []
    items = (
        value.items()
        if isinstance(value, dict)
        else enumerate(value)
        if isinstance(value, list)
        else ()
    )
    for key, inside in items:
        found += places(inside, (*path, key))
    return found


def altered(values: Any, dice: random.Random) -> Any:
    """A document with one to three places altered, emptied, doubled, or gone."""
    for _ in range(dice.choice([1, 1, 1, 2, 3])):
        path = dice.choice(places(values))
        inside = values
        for key in path[:-1]:
            inside = inside[key]
        match dice.choice(["set", "set", "set", "gone", "more", "swap"]):
            case "gone":
                del inside[path[-1]]
            case "more" if isinstance(inside, dict):
                inside[dice.choice(["new", "", "a.b", "é", "\x7f"])] = dice.choice(HOSTILE)
            case "swap" if isinstance(inside, dict):
                inside[path[-1]] = inside[dice.choice(sorted(inside))]
            case _:
                inside[path[-1]] = dice.choice(HOSTILE)
    return values


def _toml(values: Any) -> bytes:
    try:
        return tomli_w.dumps(values).encode("utf-8", "surrogatepass")
    except (TypeError, ValueError):
        return b"docket = 2\n"


def _lines(lines: list[Any], dice: random.Random) -> list[Any]:
    """The lines of a mirror, its head mostly left as it is so that the rest counts."""
    match dice.choice(["record", "record", "record", "head", "more", "noted", "other", "twice"]):
        case "record":
            return [lines[0], *altered(lines[1:], dice)]
        case "head":
            return [altered(lines[0], dice), *lines[1:]]
        case "more":
            return [*lines, dice.choice(HOSTILE)]
        case "noted":
            noted = [{"noted": each.get("print", each)} for each in lines[1:]]
            return [*lines, *altered(noted, dice)]
        case "other":
            return [dice.choice(HOSTILE), *lines[1:]]
    return [*lines, *lines]


def tamper(world: World, dice: random.Random) -> str:
    """Tamper with the docket, or the mirror as if it were the docket's; say how."""
    docket, mirror = world.out / "docket.toml", world.out / ".docket.json"
    text, lines = (
        docket.read_bytes(),
        [json.loads(each) for each in mirror.read_text().splitlines()],
    )
    how = dice.choice(["values", "values", "values", "mirror", "mirror", "mirror", "bytes", "file"])
    if how == "values":
        docket.write_bytes(_toml(altered(tomllib.loads(text.decode()), dice)))
    elif how == "mirror":
        lines = _lines(lines, dice)
        mirror.write_text("".join(f"{json.dumps(each)}\n" for each in lines))
    elif how == "bytes":
        target = dice.choice([docket, mirror])
        data = bytearray(target.read_bytes())
        for _ in range(dice.choice([1, 3, 50])):
            data[dice.randrange(len(data))] = dice.randrange(256)
        keep = target.stat()
        target.write_bytes(bytes(data[: dice.choice([len(data), len(data) // 2])]))
        os.utime(target, ns=(keep.st_atime_ns, keep.st_mtime_ns))
    else:
        target = dice.choice([docket, mirror])
        target.unlink()
        how = dice.choice(["pipe", "folder", "device", "nested", "huge", "link", "empty", "utf-16",
                           "many", "long line", "bom", "version", "sparse"])  # fmt: skip
        match how:
            case "pipe":
                os.mkfifo(target)
            case "folder":
                target.mkdir()
            case "device":
                target.symlink_to("/dev/zero")
            case "nested":
                target.write_bytes(
                    (b"a = " if target is docket else b"") + b"[" * 100000 + b"]" * 100000
                )
            case "huge":
                target.write_bytes(b"#" * (300 * 2**20))
            case "sparse":
                with target.open("wb") as file:
                    file.truncate(3 * 2**30)
            case "link":
                target.symlink_to(world.sources / "a.jpg")
            case "empty":
                target.touch()
            case "utf-16":
                target.write_text(text.decode(), encoding="utf-16")
            case "many":
                record = text[text.index(b"[[prints]]") :]
                target.write_bytes(b"docket = 2\n" + record * 2000)
            case "long line":
                target.write_bytes(b'docket = "' + b"x" * 10**7 + b'"\n')
            case "bom":
                target.write_bytes(b"\xef\xbb\xbf" + text)
            case "version":
                versions = [b"0", b"-1", b"1", b"99", b"true", b'"2"', b"2.0", b"[2]", b"9" * 5000]
                target.write_bytes(
                    text.replace(b"docket = 2", b"docket = " + dice.choice(versions), 1)
                )
    return how


def attacked(world: World, dice: random.Random) -> tuple[str, list[str]]:
    """Tamper and run every command; return how, and what was wrong."""
    if dice.random() < 0.5:
        (world.out / "a.jpg").unlink()
    how = tamper(world, dice)
    docket = world.out / "docket.toml"
    faults = []
    before = {path: path.read_bytes() for path in world.out.glob("[ab].jpg")}
    watch = Watch(world, may_change=[world.out])
    for words in (
        ["make", world.job, "--dry-run"], ["audit", world.job], ["audit", docket, "--json"],
        ["reprint", docket], ["reprint", docket, "--match"], ["make", world.job], ["audit", docket],
    ):  # fmt: skip
        ran = run(words, world.folder, 25)
        faults += [
            f"{words[0]} {' '.join(map(str, words[2:]))}: {each}"
            for each in watch.faults(ran, seconds=15)
        ]
    for path, data in before.items():
        if not path.is_file() or path.read_bytes() != data:
            faults.append(f"{path.name} was touched without --replace")
    kept = ["docket.toml", ".docket.json"]
    faults += watch.halves(world.out, kept)
    return how, faults


def main() -> None:
    """Tamper so often and report."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=100)
    parser.add_argument("--first", type=int, default=0, help="seed")
    chosen = parser.parse_args()
    table = Table()
    with warm_world() as world:
        world.set_job(delivery={"keep_master": True}, **STAGES)
        made = run(["make", world.job], world.folder)
        if made.code:
            raise SystemExit(str(made))
        for seed in range(chosen.first, chosen.first + chosen.count):
            place = copied(world, world.folder.with_name("world"))
            dice = random.Random(f"docket {seed}")
            how, faults = attacked(place, dice)
            table.add(
                how, f"seed {seed}", [each.replace(str(place.folder), ".") for each in faults]
            )
    table.end()


if __name__ == "__main__":
    main()

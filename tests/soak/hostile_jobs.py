"""Check, plan and make a thousand hostile jobs: texts, numbers, nesting, globs, pipes; by hand.

Each ends in prints or in sentences within ten seconds of the processor; nothing is touched.
"""

import argparse
import os
import random
import shutil
import sys
import tomllib
from pathlib import Path
from typing import Any

import tomli_w

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from guarded import Table, half, run
from tampered_dockets import places
from worlds import STAGES, Watch, World, copied, job_values, warm_world

from every_key import BASE

_MOST_MIB = 400
_TEXTS = (
    "",
    " ",
    "x" * 10**6,
    "9" * 10000,
    "1/" + "0" * 400 + "1 in",
    "1e400 mm",
    "-0 mm",
    "nan mm",
    "٣ mm",
    "1_0 mm",
    "3 mm\n",
    "\x00",
    "\x1b[2J",
    "\u202e",
    "\ufeff",
    "\ud7ff",
    "💥" * 500,
    "{" * 200,
    "{picture!r}",
    "{picture.__class__}",
    "{0}",
    "{number:>1000000}",
    "%s%n",
    "../../../x",
    "/etc/passwd",
    "/dev/zero",
    "/dev/stdin",
    "/proc/self/mem",
    "file:///x",
    "~root",
    "$HOME",
    "a.jpg[page=1]",
    "[",
    "[!",
    "**",
    "**/**/**/*",
    "[a-" * 50,
    "*" * 200,
    "?" * 5000,
    "*/../*/../*/../*",
    "CON",
    "x/" * 2000,
    "0x0 mm",
    "1e-320 in",
    "1" * 309 + " mm",
    "1/3" * 100,
    "20 by 16",
    "auto",
    "iso_a4_210x297mm",
    "a" * 255 + ".jpg",
)
_VALUES: tuple[Any, ...] = (
    *_TEXTS,
    0,
    -1,
    1,
    2,
    2**31,
    2**63,
    2**64,
    10**30,
    10**4000,
    1e308,
    5e-324,
    -0.0,
    float("nan"),
    float("inf"),
    True,
    False,
    [],
    {},
    [[]],
    [{}],
    {"": {}},
    [0] * 20000,
    [[0.1, 0.2]] * 5000,
    ["x"] * 3,
    {"a" * 1000: 1},
    {str(n): n for n in range(3000)},
)
_SOURCES = (
    "a.jpg",
    "b.tif",
    "*.jpg",
    "**/*.jpg",
    "**",
    "**/*",
    "loop/**/*.jpg",
    "pipe.jpg",
    "device.jpg",
    "huge.jpg",
    "huge.tif",
    "huge.dng",
    "huge.png",
    "folder.jpg",
    "nowhere.jpg",
    "self.jpg",
    "socket.jpg",
    "[ab].jpg",
    "?.*",
    "loop/loop/loop/a.jpg",
    "../sources/../sources/a.jpg",
    "/proc/self/environ",
    "/proc/*/status",
    "/dev/*",
    "/sys/**/size",
    "/**/*.jpg",
    "many/*.jpg",
    "deep/**/*.jpg",
    "empty.jpg",
)
_PROFILES = (
    "pipe.icc",
    "device.icc",
    "huge.icc",
    "folder.icc",
    "nowhere.icc",
    "a.jpg",
    "empty.icc",
    "noise.icc",
    "self.icc",
    "cut.icc",
    "/proc/self/mem",
    "/dev/random",
    "socket.jpg",
    "",
)
_NOT_JOBS = (
    "pipe",
    "device",
    "huge",
    "folder",
    "link to itself",
    "empty",
    "utf-16",
    "nul",
    "latin-1",
    "bom",
    "picture",
    "nested arrays",
    "nested tables",
    "long line",
    "many tables",
    "many keys",
    "deep dotted",
    "many prints",
    "carriage returns",
    "mixed newlines",
    "comment only",
    "json",
    "long string",
    "zip",
    "random",
    "huge number",
    "ladder",
    "deep headers",
    "same keys",
    "socket",
    "growing",
)


def furnish(world: World) -> None:
    """Put what is strange among the sources."""
    from icc_profiles import built_in

    folder = world.sources
    for ending in ("jpg", "icc"):
        os.mkfifo(folder / f"pipe.{ending}")
        (folder / f"device.{ending}").symlink_to("/dev/zero")
        (folder / f"folder.{ending}").mkdir()
        (folder / f"nowhere.{ending}").symlink_to("nix")
        (folder / f"self.{ending}").symlink_to(f"self.{ending}")
        (folder / f"empty.{ending}").touch()
    for ending in ("jpg", "tif", "dng", "png", "icc"):
        with (folder / f"huge.{ending}").open("wb") as file:
            heads = {
                "tif": b"II*\0\x08\0\0\0",
                "dng": b"II*\0\0\0\0\xb0",
                "jpg": b"\xff\xd8\xff\xe0",
                "png": b"\x89PNG\r\n\x1a\n",
                "icc": b"\0\0\0\x80",
            }
            file.write(heads[ending])
            file.truncate(3 * 2**30)
    (folder / "noise.icc").write_bytes(random.Random(3).randbytes(4000))
    (folder / "cut.icc").write_bytes(built_in("srgb")[:200])
    (folder / "loop").symlink_to(".")
    deep = folder / "deep"
    for _ in range(40):
        deep /= "d"
    deep.mkdir(parents=True)
    (deep / "up").symlink_to(folder / "deep")
    (folder / "many").mkdir()
    for number in range(300):
        os.link(folder / "a.jpg", folder / "many" / f"{number}.jpg")


def draw(dice: random.Random) -> tuple[str, bytes]:
    """A hostile job and its kind."""
    kind = dice.choice(
        ["value", "value", "value", "text", "text", "source", "profile", "not a job"]
    )
    if kind == "not a job":
        return kind, b""
    values = _base(dice)
    if kind in ("value", "text"):
        for _ in range(dice.choice([1, 1, 2, 5])):
            _alter(values, dice, _VALUES if kind == "value" else _TEXTS)
    elif kind == "source":
        values["prints"] = [
            {"source": f"{dice.choice(_SOURCES)}"} for _ in range(dice.choice([1, 1, 3]))
        ]
        values["prints"] = [
            each if each["source"].startswith("/") else {"source": f"../sources/{each['source']}"}
            for each in values["prints"]
        ]
    else:
        profile = dice.choice(_PROFILES)
        place = profile if profile.startswith("/") or not profile else f"../sources/{profile}"
        if dice.random() < 0.5:
            values.setdefault("delivery", {})["profile"] = place
        else:
            values["pictures"] = {"p": {"source": "../sources/a.jpg", "assume_profile": place}}
            values["prints"] = [{"picture": "p"}]
    try:
        data = tomli_w.dumps(values).encode("utf-8", "surrogatepass")
    except (TypeError, ValueError, RecursionError):
        data = b"sightsize = 1\n"
    if kind == "text" and dice.random() < 0.3:
        held = bytearray(data)
        for _ in range(dice.choice([1, 4, 30])):
            held[dice.randrange(len(held))] = dice.randrange(256)
        data = bytes(held)
    return kind, data


def _base(dice: random.Random) -> dict[str, Any]:
    import copy

    if dice.random() < 0.5:
        values: dict[str, Any] = copy.deepcopy(BASE)
        values["pictures"]["NAME"]["source"] = "../sources/a.jpg"
        values["job"] = {"output": "out"}
        return values
    prints = [{"source": "../sources/a.jpg"}, {"source": "../sources/b.tif"}]
    return tomllib.loads(
        tomli_w.dumps(job_values(prints, job={"output": "out"}, **copy.deepcopy(STAGES)))
    )


def _alter(values: dict[str, Any], dice: random.Random, hostile: tuple[Any, ...]) -> None:
    path = dice.choice(places(values))
    inside: Any = values
    for key in path[:-1]:
        inside = inside[key]
    draw_at = dice.random()
    if draw_at < 0.15 and isinstance(inside, dict):
        inside[dice.choice(["", "new", "x" * 3000, "a.b", "\x7f", "é", "\u202e"])] = dice.choice(
            hostile
        )
    elif draw_at < 0.25:
        del inside[path[-1]]
    else:
        inside[path[-1]] = dice.choice(hostile)


def write_no_job(path: Path, kind: str) -> None:
    """Put something under the job's name that is hardly a job."""
    path.unlink()
    head = b"sightsize = 1\n"
    texts = {
        "empty": b"",
        "utf-16": head.decode().encode("utf-16"),
        "nul": b"a = \0\n",
        "latin-1": b"a = '\xe9'\n",
        "bom": b"\xef\xbb\xbf" + head,
        "picture": os.urandom(5000),
        "comment only": b"# nothing\n",
        "nested arrays": b"a = " + b"[" * 100000 + b"]" * 100000,
        "json": b'{"sightsize": 1}',
        "nested tables": b"a = " + b"{a = " * 20000 + b"1" + b"}" * 20000,
        "long line": b"a = '" + b"x" * 10**7 + b"'",
        "many tables": head + b"".join(b"[recipes.r%d]\n" % n for n in range(20000)),
        "many keys": head + b"".join(b"k%d = 1\n" % n for n in range(20000)),
        "deep dotted": b".".join([b"a"] * 20000) + b" = 1\n",
        "carriage returns": b"a = 1\rb = 2\r",
        "many prints": head + b"[[prints]]\nsource='../sources/a.jpg'\n" * 5000,
        "mixed newlines": b"a = 1\r\nb = 2\n\rc\x85\xe2\x80\xa8 = 3",
        "long string": b'a = """' + b"\\u0041" * 10**6 + b'"""',
        "zip": b"PK\3\4" + bytes(1000),
        "random": os.urandom(10**6),
        "huge number": b"a = " + b"9" * 10**6,
        "deep headers": b"[" + b".".join([b"a"] * 5000) + b"]\n",
        "same keys": b"a = 1\n" * 10000,
        "ladder": head
        + b"[[prints]]\nsource='../sources/a.jpg'\nladder = {exposure = ["
        + b",".join(b"%f" % (n / 5000) for n in range(5000))
        + b"], grade = [0,1,2,3,4,5]}\n",
    }
    match kind:
        case "pipe":
            os.mkfifo(path)
        case "device":
            path.symlink_to("/dev/zero")
        case "huge":
            with path.open("wb") as file:
                file.truncate(3 * 2**30)
        case "folder":
            path.mkdir()
        case "link to itself":
            path.symlink_to(path.name)
        case "socket":
            import socket

            os.chdir(path.parent)
            socket.socket(socket.AF_UNIX).bind(path.name)
        case "growing":
            path.symlink_to("/proc/self/maps")
        case _:
            path.write_bytes(texts[kind])


def attacked(world: World, dice: random.Random, number: int) -> tuple[str, list[str]]:
    """Write a hostile job and run it; return its kind and what was wrong."""
    kind, data = draw(dice)
    if kind == "not a job":
        kind = f"not a job: {_NOT_JOBS[number % len(_NOT_JOBS)]}"
        write_no_job(world.job, kind.removeprefix("not a job: "))
    else:
        world.job.write_bytes(data)
    watch = Watch(world, may_change=[world.out])
    faults = []
    commands: list[list[Any]] = [["check", world.job]]
    if dice.random() < 0.5:
        commands.append(["make", world.job, "--dry-run"])
    if dice.random() < 0.3 or kind in ("source", "profile"):
        commands.append(["make", world.job, "--workers", "2"])
    if dice.random() < 0.1 or kind.startswith("not"):
        commands.append(["audit", world.job])
    for words in commands:
        ran = run(words, world.folder, 40)
        name = " ".join([words[0], *words[2:3]])
        faults += [
            f"{name}: {each}"
            for each in watch.faults(ran, seconds=60 if "make" in name and ran.code == 0 else 10)
        ]
        if ran.peak_mib > max(_MOST_MIB, ran.estimate_mib + 50) and "workers" not in name:
            faults.append(f"{name} took {ran.peak_mib:.0f} MiB")
    faults += half(world.out)
    return kind, faults


def main() -> None:
    """Run so many jobs and report."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=1000)
    parser.add_argument("--first", type=int, default=0, help="seed")
    parser.add_argument("--keep", type=Path, help="folder for the jobs that are wrong")
    chosen = parser.parse_args()
    table = Table()
    with warm_world() as world:
        world.set_job()
        place = copied(world, world.folder.with_name("world"))
        furnish(place)
        for seed in range(chosen.first, chosen.first + chosen.count):
            dice = random.Random(f"job {seed}")
            kind, faults = attacked(place, dice, seed)
            if faults and chosen.keep and place.job.is_file() and place.job.stat().st_size < 2**24:
                chosen.keep.mkdir(exist_ok=True)
                shutil.copyfile(place.job, chosen.keep / f"{seed}.toml")
            table.add(
                kind, f"seed {seed}", [each.replace(str(place.folder), ".") for each in faults]
            )
            if place.job.is_dir():
                place.job.rmdir()
            place.job.unlink(missing_ok=True)
            place.job.touch()
            shutil.rmtree(place.out, ignore_errors=True)
    table.end()


if __name__ == "__main__":
    main()

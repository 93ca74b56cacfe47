"""Runs in places that are not what they seem: links, pipes, strangers' files; by hand.

Whatever stands outside the output folder must stay as it is, and so must a stranger's file inside.
"""

import argparse
import os
import signal
import socket
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from guarded import Run, Table, load_all, run
from worlds import Watch, World, build, copied

Case = Callable[[World], Iterator[str]]
CASES: dict[str, Case] = {}
_PRECIOUS = b"somebody's work, not to be lost"


def case(name: str) -> Callable[[Case], Case]:
    """Register a case: an attack and what is told apart within it, with a slash between."""

    def add(function: Case) -> Case:
        CASES[name] = function
        return function

    return add


def plant(path: Path, kind: str, world: World) -> None:
    """Put something of a kind under a name."""
    path.parent.mkdir(parents=True, exist_ok=True)
    match kind:
        case "file":
            path.write_bytes(_PRECIOUS)
        case "empty file":
            path.touch()
        case "folder":
            path.mkdir()
        case "full folder":
            path.mkdir()
            (path / "inside.txt").write_bytes(_PRECIOUS)
        case "pipe":
            os.mkfifo(path)
        case "socket":
            here = Path.cwd()
            os.chdir(path.parent)
            socket.socket(socket.AF_UNIX).bind(path.name)
            os.chdir(here)
        case "link to a source":
            path.symlink_to(world.sources / "a.jpg")
        case "link outside":
            path.symlink_to(world.outside / "precious.txt")
        case "link nowhere":
            path.symlink_to(world.outside / "nowhere")
        case "link to itself":
            path.symlink_to(path.name)
        case "link to a device":
            path.symlink_to("/dev/zero")
        case "hard link to a source":
            os.link(world.sources / "a.jpg", path)
        case "hard link outside":
            os.link(world.outside / "precious.txt", path)
        case "another picture":
            path.write_bytes((world.sources / "b.jpg").read_bytes())


KINDS = (
    "file",
    "empty file",
    "folder",
    "full folder",
    "pipe",
    "socket",
    "link to a source",
    "link outside",
    "link nowhere",
    "link to itself",
    "link to a device",
    "hard link to a source",
    "hard link outside",
    "another picture",
)


def made(world: World) -> None:
    """Make the job's prints, as a first run does."""
    ran = run(["make", world.job, "--workers", "1"], world.folder)
    if ran.code:
        raise SystemExit(f"the first run failed: {ran}")


def watched(
    world: World, *commands: list[Any], keep: list[Path] | None = None, **how: Any
) -> Iterator[str]:
    """Run commands; what is outside the output folder, and what is to be kept, must not change."""
    kept = keep or []
    watch = Watch(world, may_change=[world.out], keep=kept)
    foreign = [str(path.relative_to(world.out)) for path in kept if world.out in path.parents]
    for words in commands:
        ran = run(words, world.folder, 25, **how)
        yield from (f"{words[0]}: {each}" for each in watch.faults(ran))
    yield from watch.halves(world.out, foreign)


# Something stands under a name that the program writes.

_NAMES = {
    "print": "a.jpg",
    "docket": "docket.toml",
    "mirror": ".docket.json",
    "lock": ".run.lock",
    "master": "masters/a.tif",
    "masters": "masters",
}


def _planted(name: str, kind: str, *more: str) -> Case:
    def attack(world: World) -> Iterator[str]:
        world.set_job(delivery={"keep_master": "master" in name})
        target = world.out / name_of(name)
        plant(target, kind, world)
        kept = [target] if name != "mirror" or kind != "file" else []
        commands = [["make", world.job, *more, "--workers", "1"], ["make", world.job, "--dry-run"]]
        if name in ("docket", "mirror"):
            commands += [["audit", world.job], ["reprint", world.out / "docket.toml"]]
        yield from watched(world, *commands, keep=kept)

    return attack


def name_of(name: str) -> str:
    """The file of a thing that is written."""
    return _NAMES[name]


for _name in _NAMES:
    for _kind in KINDS:
        CASES[f"names that stand/{_name} is a {_kind}"] = _planted(_name, _kind)


def _replaced(name: str, kind: str) -> Case:
    """With --replace a plain file may go, but no folder, and nothing that a link leads to."""

    def attack(world: World) -> Iterator[str]:
        world.set_job(delivery={"keep_master": name == "master"})
        plant(world.out / name_of(name), kind, world)
        kept = [world.out / name_of(name)]  # the program made none of these
        yield from watched(world, ["make", world.job, "--replace"], keep=kept)

    return attack


for _name in ("print", "master"):
    for _kind in KINDS:
        CASES[f"names that stand, --replace/{_name} is a {_kind}"] = _replaced(_name, _kind)


# The output folder, or a folder in it, is something else.


def _output(kind: str, inner: str = "") -> Case:
    def attack(world: World) -> Iterator[str]:
        world.set_job(delivery={"keep_master": True})
        if inner == "reprints":
            made(world)
        target = world.out / inner if inner else world.out
        leads = {
            "sources": world.sources,
            "outside": world.outside,
            "nowhere": world.outside / "nowhere",
            "itself": target,
            "job folder": world.job.parent,
            "a file": world.outside / "precious.txt",
            "root's devices": Path("/dev"),
            "processes": Path("/proc/self"),
        }
        target.parent.mkdir(exist_ok=True)
        target.symlink_to(leads[kind])
        docket = world.out / "docket.toml"
        commands: list[list[Any]] = [["make", world.job, "--workers", "1"]]
        if inner == "reprints":
            commands = [["reprint", docket], ["reprint", docket, "--match"]]
        else:
            commands += [["make", world.job, "--dry-run"], ["audit", world.job]]
        # An output folder that a user links to another disk is that folder: new files may be there.
        own_choice = not inner and kind in ("outside", "nowhere", "job folder", "sources")
        watch = Watch(world, may_change=[world.out])
        for words in commands:
            ran = run(words, world.folder, 25)
            faults = list(watch.faults(ran))
            if own_choice:
                faults = [f for f in faults if not f.startswith("new: ") and ".part" not in f]
            yield from (f"{words[0]}: {each}" for each in faults)

    return attack


for _kind in (
    "sources",
    "outside",
    "nowhere",
    "itself",
    "job folder",
    "a file",
    "root's devices",
    "processes",
):
    CASES[f"folders are links/output to {_kind}"] = _output(_kind)
    for _inner in ("masters", "reprints"):
        CASES[f"folders are links/{_inner} to {_kind}"] = _output(_kind, _inner)


def _outputs(text: str) -> Case:
    def attack(world: World) -> Iterator[str]:
        output = text.replace("OUTSIDE", str(world.outside)).replace("SOURCES", str(world.sources))
        world.set_job(job={"output": output}, delivery={"keep_master": True})
        watch = Watch(world, may_change=[world.out])
        for words in (
            ["make", world.job],
            ["make", world.job, "--replace"],
            ["audit", world.job],
            ["make", world.job, "--dry-run"],
            ["check", world.job],
        ):
            ran = run(words, world.folder, 25)
            faults = [each for each in watch.faults(ran) if not each.startswith("new: ")]
            yield from (f"{' '.join(map(str, [words[0], *words[2:]]))}: {each}" for each in faults)

    return attack


for _text in (
    "SOURCES",
    ".",
    "..",
    "../sources",
    "OUTSIDE",
    "OUTSIDE/precious.txt",
    "/dev/null",
    "/dev/null/x",
    "/proc/self/x",
    "/sys/x",
    "x/" * 300,
    "x" * 300,
    "~",
    "out/../out",
    "out/./.",
    "../job/out",
    "OUTSIDE/a.jpg/x",
):
    CASES[f"outputs/{_text[:30]}"] = _outputs(_text)


def _same_name(job_name: str) -> Case:
    """A job or a source has a name that the program writes in its output folder."""

    def attack(world: World) -> Iterator[str]:
        path = world.set_job(job_name, job={"output": "."})
        watch = Watch(world, keep=[path])
        for words in (["make", path], ["make", path, "--replace"], ["audit", path]):
            ran = run(words, world.folder, 25)
            faults = [each for each in watch.faults(ran) if not each.startswith("new: ")]
            yield from (f"{words[0]}: {each}" for each in faults)

    return attack


for _text in (
    "docket.toml",
    ".docket.json",
    ".run.lock",
    "a.jpg",
    "b.tif",
    "a",
    ".a.jpg.1-ab.part",
    f".x.{2**22 - 3}-ab.part",
):
    CASES[f"a job of such a name/{_text}"] = _same_name(_text)


@case("a source of such a name/docket.toml and lock")
def _source_named_docket(world: World) -> Iterator[str]:
    names = ("docket.toml", ".docket.json", ".run.lock", f".p.{2**22 - 3}-ab.part")
    picture = (world.sources / "a.jpg").read_bytes()
    for name in names:
        (world.sources / name).write_bytes(picture)
    for name in names:
        pictures = {"p": {"source": f"../sources/{name}"}}
        world.set_job(job={"output": "../sources"}, pictures=pictures, prints=[{"picture": "p"}])
        watch = Watch(world, keep=[world.sources / each for each in names])
        ran = run(["make", world.job], world.folder, 25)
        faults = [each for each in watch.faults(ran) if not each.startswith("new: ")]
        yield from (f"{name}: {each}" for each in faults)


def _clash(template: str, form: str, *, masters: bool, output: str) -> Case:
    def attack(world: World) -> Iterator[str]:
        world.set_job(
            job={"output": output},
            delivery={"name": template, "format": form, "keep_master": masters},
        )
        if output.endswith("deep"):
            (world.sources / "deep").mkdir()
            (world.sources / "deep" / "masters").symlink_to(world.sources)
        watch = Watch(world, may_change=[world.out])
        for words in (["make", world.job], ["make", world.job, "--replace"]):
            ran = run(words, world.folder, 25)
            faults = [each for each in watch.faults(ran) if not each.startswith("new: ")]
            yield from (f"{' '.join(words[2:])}: {each}" for each in faults)

    return attack


for _form in ("jpeg", "tiff"):
    for _masters in (False, True):
        for _where in ("../sources", "../sources/deep"):
            CASES[f"output among the sources/{_form} {_where} masters={_masters}"] = _clash(
                "{picture}", _form, masters=_masters, output=_where
            )


# Something appears while the program runs.


def _appears(name: str, kind: str, *more: str) -> Case:
    def attack(world: World) -> Iterator[str]:
        world.set_job(
            px=(1500, 1000), delivery={"keep_master": name == "master"}, sharpen={"skin": 0.5}
        )
        target = world.out / name_of(name)
        watch = Watch(world, may_change=[world.out])
        under_way = Run(["make", world.job, "--workers", "1", *more], world.folder)
        while under_way.running():
            if any(".a." in each.name for each in target.parent.glob(".*.part")):
                plant(target, kind, world)
                break
            time.sleep(0.001)
        planted = target.lstat().st_ino if os.path.lexists(target) else None
        ran = under_way.end(40)
        yield from watch.faults(ran, seconds=30)
        if planted is not None and (
            not os.path.lexists(target) or target.lstat().st_ino != planted
        ):
            yield f"a stranger's {name} ({kind}) that appeared during the run was lost"
        if planted is None:
            yield "the attack came too late"

    return attack


for _name in ("print", "master", "docket"):
    for _kind in ("file", "full folder", "pipe", "link to a source", "another picture"):
        CASES[f"appears during the run/{_name} as {_kind}"] = _appears(_name, _kind)


def _moved_away(how: str) -> Case:
    def attack(world: World) -> Iterator[str]:
        world.set_job(px=(1500, 1000), delivery={"keep_master": True})
        away = world.folder / "job" / "away"
        watch = Watch(world, may_change=[world.out, away])
        under_way = Run(["make", world.job, "--workers", "1"], world.folder, as_anyone=True)
        while under_way.running():
            if any(".a." in each.name for each in world.out.glob(".*.part")):
                match how:
                    case "renamed":
                        world.out.rename(away)
                    case "renamed, a link to the sources in its place":
                        world.out.rename(away)
                        world.out.symlink_to(world.sources)
                    case "renamed, a link outside in its place":
                        world.out.rename(away)
                        world.out.symlink_to(world.outside)
                    case "removed":
                        import shutil

                        shutil.rmtree(world.out, ignore_errors=True)
                    case "made read-only":
                        world.out.chmod(0o500)
                    case "masters become a link":
                        (world.out / "masters").rename(world.out / "moved")
                        (world.out / "masters").symlink_to(world.sources)
                break
            time.sleep(0.001)
        ran = under_way.end(40)
        if world.out.is_dir() and not world.out.is_symlink():
            world.out.chmod(0o755)
        yield from watch.faults(ran, seconds=30)
        again = run(["make", world.job, "--workers", "1"], world.folder, 40)
        yield from (f"rerun: {each}" for each in watch.faults(again, seconds=30))

    return attack


for _how in (
    "renamed",
    "renamed, a link to the sources in its place",
    "removed",
    "made read-only",
    "renamed, a link outside in its place",
    "masters become a link",
):
    CASES[f"output changes during the run/{_how}"] = _moved_away(_how)


@case("two runs at once/make beside make, reprint, audit")
def _two_runs(world: World) -> Iterator[str]:
    world.set_job(px=(1500, 1000))
    watch = Watch(world, may_change=[world.out])
    first = Run(["make", world.job, "--workers", "1"], world.folder)
    while not (world.out / ".run.lock").exists() and first.running():
        time.sleep(0.001)
    for words in (
        ["make", world.job],
        ["make", world.job, "--replace"],
        ["audit", world.job],
        ["reprint", world.out / "docket.toml", "--output", world.out],
    ):
        ran = run(words, world.folder, 25)
        yield from (f"second {words[0]}: {each}" for each in watch.faults(ran))
        if words[0] == "make" and ran.code == 0:
            yield "a second run went ahead"
    yield from watch.faults(first.end(40), seconds=30)
    yield from watch.halves(world.out)


@case("two runs at once/started in the same moment, ten times")
def _same_moment(world: World) -> Iterator[str]:
    for _ in range(10):
        watch = Watch(world, may_change=[world.out])
        both = [Run(["make", world.job, "--replace"], world.folder) for _ in range(2)]
        ended = [each.end(30) for each in both]
        for ran in ended:
            yield from watch.faults(ran)
        if not any(ran.code == 0 for ran in ended):
            yield f"neither got through: {[ran.said[-200:] for ran in ended]}"
        yield from watch.halves(world.out)


@case("planted parts/of the run's own number")
def _planted_parts(world: World) -> Iterator[str]:
    made(world)
    (world.out / "a.jpg").unlink()
    for kind in ("file", "folder", "full folder", "pipe", "link to a source", "link to itself"):
        name = kind.replace(" ", "-")
        plant(world.out / f".{name}.{os.getpid()}-abcd1234.part", kind, world)
        plant(world.out / f".{name}.{2**22 - 3}-abcd1234.part", kind, world)
    watch = Watch(world, may_change=[world.out])
    ran = run(["make", world.job], world.folder, 25)
    yield from watch.faults(ran)
    if ran.code:
        yield f"the run did not get through: {ran.said[-200:]}"


@case("planted parts/names of numbers that are none")
def _strange_numbers(world: World) -> Iterator[str]:
    world.out.mkdir()
    for number in ("0", "00", "1", "-1", "999999999", "4294967296", "٣", "2147483648", "4194301"):
        (world.out / f".a.jpg.{number}-abcd1234.part").write_bytes(b"x")
    yield from (
        each for each in watched(world, ["make", world.job]) if not each.startswith("left behind")
    )


# Commands that write where they are told.


def _junit(kind: str) -> Case:
    def attack(world: World) -> Iterator[str]:
        made(world)
        target = world.folder / "job" / "report.xml"
        told = {
            "a source": world.sources / "a.jpg",
            "the job": world.job,
            "the docket": world.out / "docket.toml",
            "the mirror": world.out / ".docket.json",
            "a print": world.out / "a.jpg",
            "a stranger's text": world.outside / "precious.txt",
            "a missing folder": world.folder / "no" / "report.xml",
            "a name too long": world.folder / ("x" * 300),
            "full device": Path("/dev/full"),
            "the job by another way": world.job.parent / ".." / "job" / "job.toml",
        }
        if kind in told:
            target = told[kind]
        else:
            plant(target, kind, world)
        allowed = [] if kind in told else [target]
        keep = [target] if kind in (*told, "pipe", "socket", "full folder") else []
        if kind in ("a stranger's text", "full device"):
            keep = []
            allowed = [target]
        watch = Watch(world, may_change=allowed, keep=keep)
        for words in (
            ["check", world.job, "--junit", target],
            ["check", world.job.parent / "nix.toml", "--junit", target],
        ):
            yield from watch.faults(run(words, world.folder, 15))
        if world.out.exists():
            yield from watch.halves(world.out)

    return attack


for _kind in (
    *KINDS,
    "a source",
    "the job",
    "the docket",
    "the mirror",
    "a print",
    "a missing folder",
    "a name too long",
    "full device",
    "the job by another way",
):
    CASES[f"check --junit/{_kind}"] = _junit(_kind)


def _starter(kind: str) -> Case:
    def attack(world: World) -> Iterator[str]:
        target = world.folder / "job" / "new.toml"
        told = {
            "a source": world.sources / "a.jpg",
            "the job": world.job,
            "a missing folder": world.folder / "no" / "new.toml",
            "a name too long": world.folder / ("x" * 300),
            "full device": Path("/dev/full"),
            "null": Path("/dev/null"),
        }
        if kind in told:
            target = told[kind]
        else:
            plant(target, kind, world)
        watch = Watch(world, keep=[target] if kind != "full device" else [])
        yield from watch.faults(run(["new", world.sources, "--job", target], world.folder, 15))

    return attack


for _kind in (
    *KINDS,
    "a source",
    "the job",
    "a missing folder",
    "a name too long",
    "full device",
    "null",
):
    CASES[f"new --job/{_kind}"] = _starter(_kind)


@case("new of strange folders/pipes, loops, names")
def _strange_folder(world: World) -> Iterator[str]:
    strange = world.folder / "strange"
    for kind in KINDS:
        plant(strange / f"{kind.replace(' ', '-')}.jpg", kind, world)
    (strange / "loop").symlink_to(strange)
    for name in (
        "a\nb.jpg",
        "\x1b[31mred.jpg",
        "quote'\".jpg",
        "[x].jpg",
        "\u202egpj.exe.jpg",
        "*.jpg",
        "x" * 250 + ".jpg",
        " .jpg",
        "a\\b.jpg",
        "Ünï.jpg",
        "\x7f.jpg",
    ):
        (strange / name).write_bytes((world.sources / "a.jpg").read_bytes())
    unsaid = Path(os.fsdecode(os.fsencode(strange) + b"/\xff\xfe.jpg"))
    unsaid.write_bytes((world.sources / "a.jpg").read_bytes())
    for words in (
        ["new", strange, "--job", world.folder / "n1.toml"],
        ["new", strange / "loop" / "loop", "--job", world.folder / "n2.toml"],
        ["new", strange / "pipe.jpg", "--job", world.folder / "n3.toml"],
        ["new", world.folder / "nix", "--job", world.folder / "n4.toml"],
        ["new", "/dev/null", "--job", world.folder / "n5.toml"],
        ["new", "/proc/self/fd", "--job", world.folder / "n6.toml"],
    ):
        watch = Watch(world)
        ran = run(words, world.folder, 20)
        faults = [f for f in watch.faults(ran) if not (f.startswith("new: ") and ".toml" in f)]
        yield from (f"{words[1]}: {each}" for each in faults)
        if ran.code == 0:
            watch = Watch(world, may_change=[words[3]])
            yield from (
                f"check of the new job: {each}"
                for each in watch.faults(run(["check", words[3]], world.folder, 40), seconds=20)
            )


def _reprint_output(kind: str) -> Case:
    def attack(world: World) -> Iterator[str]:
        world.set_job(delivery={"keep_master": True})
        made(world)
        target = world.folder / "again"
        told = {
            "the sources": world.sources,
            "outside": world.outside,
            "the job's folder": world.job.parent,
            "the masters": world.out / "masters",
            "the prints by another way": world.out / ".." / "out",
            "in a file": world.outside / "precious.txt" / "x",
            "device": Path("/dev"),
            "a name too long": world.folder / ("x" * 300),
            "processes": Path("/proc/self"),
        }
        if kind in told:
            target = told[kind]
        elif kind.startswith("prints there: "):
            for name in ("a.jpg", "b.jpg"):
                plant(target / name, kind.removeprefix("prints there: "), world)
        else:
            plant(target, kind, world)
        keep = [target / name for name in ("a.jpg", "b.jpg") if os.path.lexists(target / name)]
        keep += [target] if kind == "pipe" else []
        watch = Watch(world, keep=keep)
        for words in (
            ["reprint", world.out / "docket.toml", "--output", target],
            ["reprint", world.out / "docket.toml", "--match", "--output", target],
        ):
            ran = run(words, world.folder, 25)
            faults = [
                each
                for each in watch.faults(ran, seconds=15)
                if not (each.startswith("new: ") and each.endswith((".jpg", "/again")))
            ]
            yield from (f"{' '.join(map(str, words[2:3]))} {each}" for each in faults)
        yield from watch.halves(world.out)

    return attack


for _kind in (
    *KINDS,
    "the sources",
    "outside",
    "the job's folder",
    "the masters",
    "in a file",
    "device",
    "the prints by another way",
    "a name too long",
    "processes",
    *(f"prints there: {each}" for each in KINDS),
):
    CASES[f"reprint --output/{_kind}"] = _reprint_output(_kind)


@case("reprint --look-in/pipes, loops, devices")
def _look_in(world: World) -> Iterator[str]:
    made(world)
    (world.sources / "a.jpg").rename(world.folder / "moved.jpg")
    strange = world.folder / "strange"
    for kind in KINDS:
        if "source" not in kind:
            plant(strange / f"{kind.replace(' ', '-')}.jpg", kind, world)
    (strange / "loop").symlink_to(strange)
    (strange / "up").symlink_to(world.folder)
    for folder in (
        strange,
        strange / "loop" / "loop",
        Path("/dev"),
        Path("/dev/null"),
        Path("/nix"),
        world.outside / "precious.txt",
        world.folder,
        Path("/proc/self"),
    ):
        watch = Watch(world, may_change=[world.out])
        words = ["reprint", world.out / "docket.toml", "--look-in", folder]
        yield from (f"{folder}: {each}" for each in watch.faults(run(words, world.folder, 25)))


# Folders without permission, and sources in strange forms.


def _permission(what: str) -> Case:
    def attack(world: World) -> Iterator[str]:
        if what != "a first run in a read-only folder":
            world.set_job(delivery={"keep_master": True})
            made(world)
            (world.out / "a.jpg").unlink()
        target = {
            "a first run in a read-only folder": world.job.parent,
            "job folder read-only": world.job.parent,
            "output read-only": world.out,
            "output unreadable": world.out,
            "output without search": world.out,
            "masters read-only": world.out / "masters",
            "docket unreadable": world.out / "docket.toml",
            "mirror unreadable": world.out / ".docket.json",
            "source unreadable": world.sources / "a.jpg",
            "sources without search": world.sources,
            "job unreadable": world.job,
            "a print unreadable": world.out / "b.jpg",
            "a master unreadable": world.out / "masters" / "a.tif",
        }[what]
        watch = Watch(world, may_change=[world.out])
        mode = target.stat().st_mode
        reading = {"output unreadable": 0o300, "output without search": 0o600}
        target.chmod(
            reading.get(what, 0o000 if "unreadable" in what or "search" in what else 0o555)
        )
        for words in (
            ["make", world.job],
            ["make", world.job, "--dry-run"],
            ["make", world.job, "--replace"],
            ["check", world.job],
            ["audit", world.job],
            ["audit", world.out / "docket.toml"],
            ["reprint", world.out / "docket.toml"],
            ["new", world.sources, "--job", world.job.parent / "n.toml"],
            ["reprint", world.out / "docket.toml", "--match", "--output", world.folder / "away"],
            ["check", world.job, "--junit", world.job.parent / "r.xml"],
        ):
            if words[0] in ("new",) and "read-only" not in what and "sources" not in what:
                continue
            if words[-1] == world.job.parent / "r.xml" and "folder" not in what:
                continue
            ran = run(words, world.folder, 25, as_anyone=True)
            from guarded import wrong

            yield from (f"{' '.join(map(str, [words[0], *words[2:3]]))}: {f}" for f in wrong(ran))
        target.chmod(mode)
        for each in watch.touched():
            if not each.startswith(("new: ./away", "new: ./job/n.toml", "new: ./job/r.xml")):
                yield each

    return attack


for _what in (
    "a first run in a read-only folder",
    "job folder read-only",
    "output read-only",
    "output unreadable",
    "output without search",
    "masters read-only",
    "docket unreadable",
    "mirror unreadable",
    "source unreadable",
    "sources without search",
    "job unreadable",
    "a print unreadable",
    "a master unreadable",
):
    CASES[f"permissions/{_what}"] = _permission(_what)


@case("elsewhere/a folder that is gone, a closed or full output, no room for temporary files")
def _elsewhere(world: World) -> Iterator[str]:
    made(world)

    def gone() -> None:
        folder = world.folder / "gone"
        folder.mkdir()
        os.chdir(folder)
        folder.rmdir()

    def closed() -> None:
        os.close(1)

    def full() -> None:
        os.dup2(os.open("/dev/full", os.O_WRONLY), 1)

    def both_full() -> None:
        for number in (1, 2):
            os.dup2(os.open("/dev/full", os.O_WRONLY), number)

    def no_reader() -> None:
        reader, writer = os.pipe()
        os.close(reader)
        os.dup2(writer, 1)

    def no_scratch() -> None:
        tempfile.tempdir = "/nowhere"

    for setting in (gone, closed, full, both_full, no_reader, no_scratch):
        for words in (
            ["make", world.job],
            ["check", world.job, "--json"],
            ["audit", world.job],
            ["reprint", world.out / "docket.toml"],
            ["explain"],
            ["check", "job.toml"],
            ["new", world.sources, "--job", world.folder / f"{setting.__name__}.toml"],
        ):
            watch = Watch(world, may_change=[world.out, world.folder / f"{setting.__name__}.toml"])
            ran = run(words, world.folder, 25, in_child=setting)
            faults = [
                each
                for each in watch.faults(ran)
                if not (setting is both_full and each == "no sentence")
            ]
            yield from (f"{setting.__name__}, {words[0]}: {each}" for each in faults)


def main() -> None:
    """Run every case, or those whose name has a word; report."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", default="", help="a part of a case's name")
    parser.add_argument("--list", action="store_true")
    chosen = parser.parse_args()
    names = [name for name in CASES if chosen.only in name]
    if chosen.list:
        print("\n".join(names))
        return
    signal.signal(signal.SIGPIPE, signal.SIG_IGN)
    table = Table()
    with tempfile.TemporaryDirectory() as scratch:
        tempfile.tempdir = str(Path(scratch) / "tmp")
        Path(tempfile.tempdir).mkdir()
        world = build(Path(scratch) / "origin")
        load_all(world.job)
        for name in names:
            place = copied(world, Path(scratch) / "world")
            attack, _, what = name.partition("/")
            try:
                faults = [each.replace(str(place.folder), ".") for each in CASES[name](place)]
            except OSError as error:
                faults = [f"the case itself failed: {error!r}"]
            table.add(attack, what, list(dict.fromkeys(faults)))
    table.end()


if __name__ == "__main__":
    main()

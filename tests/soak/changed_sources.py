"""Change a source while it is being printed, at any moment and in any way; by hand.

A print that was made must be that of the old bytes or of the new ones, whole and recorded so;
anything else ends in a sentence. The source stays as whoever changed it left it.
"""

import argparse
import os
import random
import shutil
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import tifffile
import tomli_w
from PIL import Image

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from guarded import Run, Table, changed, half, in_a_fork, load_all, run, tree, wrong
from worlds import MARKS, STAGES, job_values, write_picture

from icc_profiles import built_in
from sightsize.base.hashes import file_sha256
from sightsize.docket.store import Docket

_PX = (1800, 1200)
_FORMS = ("jpg", "progressive.jpg", "webp", "lossless.webp", "png", "tif", "tiles.tif", "raw.tif")
Change = Callable[[Path, Path, random.Random], None]


def _write(path: Path, seed: int) -> None:
    """A picture of a form, every seed another, with the same sides."""
    rows, columns = np.mgrid[0 : _PX[1], 0 : _PX[0]]
    waves = 128 + 50 * np.sin(columns / 37 + seed) * np.cos(rows / 23)
    noise = np.random.default_rng(seed).normal(0, 6, (_PX[1], _PX[0], 3))
    pixels = np.clip(waves[..., None] * (1.1, 0.95, 0.8) + noise, 0, 255).astype(np.uint8)
    kind = ".".join(path.name.split(".")[1:])
    if kind in ("tiles.tif", "raw.tif"):
        options = {"tile": (256, 256), "compression": "zlib"} if kind == "tiles.tif" else {}
        tifffile.imwrite(path, pixels, photometric="rgb", iccprofile=built_in("srgb"),
                         metadata=None, **options)  # fmt: skip
        return
    options = {"progressive": True} if kind == "progressive.jpg" else {}
    options |= {"lossless": True, "method": 0} if kind == "lossless.webp" else {}
    options |= {"compression": "tiff_lzw"} if kind == "tif" else {}
    Image.fromarray(pixels).save(path, icc_profile=built_in("srgb"), **options)


def _truncated(path: Path, _: Path, dice: random.Random) -> None:
    os.truncate(path, dice.randrange(path.stat().st_size))


def _emptied(path: Path, _: Path, __: random.Random) -> None:
    os.truncate(path, 0)


def _grown(path: Path, _: Path, dice: random.Random) -> None:
    with path.open("ab") as file:
        file.write(dice.randbytes(100000))


def _replaced(path: Path, other: Path, _: random.Random) -> None:
    part = path.with_name("editor.tmp")
    shutil.copyfile(other, part)
    part.replace(path)


def _saved_in_place(path: Path, other: Path, _: random.Random) -> None:
    """As an editor saves: cut to nothing, then written in pieces."""
    data = other.read_bytes()
    with path.open("wb") as file:
        for at in range(0, len(data), 2**17):
            file.write(data[at : at + 2**17])
            file.flush()
            time.sleep(0.003)


def _altered_in_place(path: Path, _: Path, dice: random.Random) -> None:
    """The same size, and the same time as before: nothing but the bytes tells."""
    status = path.stat()
    with path.open("r+b") as file:
        file.seek(dice.randrange(status.st_size // 2))
        file.write(dice.randbytes(2000))
    os.utime(path, ns=(status.st_atime_ns, status.st_mtime_ns))


def _deleted(path: Path, _: Path, __: random.Random) -> None:
    path.unlink()


def _forbidden(path: Path, _: Path, __: random.Random) -> None:
    path.chmod(0)


def _pipe(path: Path, _: Path, __: random.Random) -> None:
    path.unlink()
    os.mkfifo(path)


def _linked(path: Path, other: Path, _: random.Random) -> None:
    path.unlink()
    path.symlink_to(other)


def _folder(path: Path, _: Path, __: random.Random) -> None:
    path.unlink()
    path.mkdir()


def _device(path: Path, _: Path, __: random.Random) -> None:
    path.unlink()
    path.symlink_to("/dev/zero")


CHANGES: dict[str, Change] = {
    "truncated": _truncated, "emptied": _emptied, "grown": _grown, "replaced": _replaced,
    "saved in place": _saved_in_place, "altered, same time": _altered_in_place,
    "deleted": _deleted, "forbidden": _forbidden, "a pipe": _pipe, "a link": _linked,
    "a folder": _folder, "a device": _device,
}  # fmt: skip


class Reference:
    """A form's pictures, and the pixels that each gives when nobody changes it."""

    def __init__(self, folder: Path, form: str, stages: bool) -> None:
        """Draw two pictures and print both."""
        folder.mkdir(parents=True)
        self.folder, self.form, self.stages = folder, form, stages
        self.pixels: dict[str, str] = {}
        self.seconds = 0.0
        for seed, name in ((1, "old"), (2, "new")):
            path = folder / f"{name}.{form}"
            if in_a_fork(lambda path=path, seed=seed: _write(path, seed)):
                raise SystemExit(f"{path} could not be drawn")
            place = folder / f"{name}-world"
            job = self.job(place)
            shutil.copyfile(path, place / f"a.{form}")
            made = run(["make", job, "--workers", "1"], place, 300)
            if made.code:
                raise SystemExit(f"nobody changed it: {made}")
            (record,) = Docket(place / "out" / "docket.toml").records.values()
            self.pixels[file_sha256(path)] = record["output"]["pixels_sha256"]
            self.seconds = made.seconds

    def job(self, place: Path) -> Path:
        """Write a job that prints the picture."""
        place.mkdir(exist_ok=True)
        picture = {"source": f"a.{self.form}", **(MARKS if self.stages else {})}
        tables = STAGES if self.stages else {"sharpen": {"gain": 0}}
        values = job_values(
            [{"picture": "p"}], (600, 400), job={"output": "out"}, pictures={"p": picture}, **tables
        )
        path = place / "job.toml"
        path.write_text(tomli_w.dumps(values))
        return path


def attacked(made: Reference, change: str, dice: random.Random, place: Path) -> list[str]:
    """Change a source during a run; return what was wrong."""
    job = made.job(place)
    source, other = place / f"a.{made.form}", place / f"other.{made.form}"
    shutil.copyfile(made.folder / f"old.{made.form}", source)
    shutil.copyfile(made.folder / f"new.{made.form}", other)
    out = place / "out"
    moment = dice.uniform(0.1, 1.0) * made.seconds
    under_way = Run(["make", job, "--workers", "1"], place, as_anyone=True)
    begin = time.monotonic()
    while under_way.running() and time.monotonic() - begin < moment:
        time.sleep(0.002)
    in_time = under_way.running()
    CHANGES[change](source, other, dice)
    left = tree(place, without=[out])
    ran = under_way.end(60)
    faults = wrong(ran, seconds=30)
    faults += [each.replace(str(place), ".") for each in changed(left, tree(place, without=[out]))]
    faults += half(out)
    if (out / "docket.toml").exists():
        for record in Docket(out / "docket.toml").records.values():
            sha256 = record["sources"][0]["sha256"]
            if sha256 not in made.pixels:
                faults.append(f"recorded a source that never was whole: {sha256[:8]}")
            elif record["output"]["pixels_sha256"] != made.pixels[sha256]:
                faults.append("the print is not that of the source it records")
    if (
        ran.code == 0
        and in_time
        and change in ("truncated", "emptied")
        and ran.seconds > moment + 1
    ):
        pass  # it had read all of it by then, which the record above tells
    if source.is_file() and not source.is_symlink():
        source.chmod(0o644)
    elif source.is_dir() and not source.is_symlink():
        source.rmdir()
    else:
        source.unlink(missing_ok=True)
    shutil.copyfile(made.folder / f"old.{made.form}", source)
    again = run(["make", job, "--replace", "--workers", "1"], place)
    faults += [f"rerun: {each}" for each in wrong(again, seconds=30, codes=(0,))] + half(out)
    return faults


def main() -> None:
    """Change so many sources and report."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=100)
    parser.add_argument("--first", type=int, default=0, help="seed")
    parser.add_argument("--form", choices=_FORMS, action="append")
    parser.add_argument("--change", choices=CHANGES, action="append")
    chosen = parser.parse_args()
    table = Table()
    forms, changes = chosen.form or list(_FORMS), chosen.change or list(CHANGES)
    with tempfile.TemporaryDirectory() as scratch:
        tempfile.tempdir = scratch
        place = Path(scratch) / "warm"
        place.mkdir()
        in_a_fork(lambda: write_picture(place / "a.jpg"))
        job = place / "job.toml"
        job.write_text(tomli_w.dumps(job_values([{"source": "a.jpg", **STAGES}])))
        load_all(job)
        references: dict[tuple[str, bool], Reference] = {}
        for number in range(chosen.first, chosen.first + chosen.count):
            dice = random.Random(f"sources {number}")
            form, change = (
                forms[number % len(forms)],
                changes[(number // len(forms)) % len(changes)],
            )
            key = form, dice.random() < 0.3
            if key not in references:
                references[key] = Reference(Path(scratch) / f"{form}-{key[1]}", *key)
            place = Path(scratch) / "world"
            faults = attacked(references[key], change, dice, place)
            shutil.rmtree(place)
            table.add(f"{change}", f"number {number}: {form}, stages {key[1]}", faults)
    table.end()


if __name__ == "__main__":
    main()

"""A small world for an attack: sources, a job, a folder outside, and what may change in it."""

import os
import shutil
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import tomli_w
from guarded import Ran, Tree, changed, half, in_a_fork, load_all, tree, wrong

from pictures import save
from sightsize.checks.run import check_ids

_PX = (60, 40)
STAGES: dict[str, Any] = {
    "mono": {"filter": "yellow"},
    "tone": {"exposure": 0.1, "split_grade": {"dark": 3, "light": 2}, "edge_burn": {"stops": 0.2}},
    "local_contrast": {"gain": 0.2},
    "toner": {"kind": "selenium"},
    "sharpen": {"gain": 0.8, "skin": 0.4, "noise_floor": "measured"},
    "grain": {"granularity": 0.02},
}
"""Tables of a job in which every stage is at work."""
MARKS: dict[str, Any] = {
    "level": 0.7,
    "spotting": [{"at": [0.3, 0.4], "radius": 0.03, "donor": [0.5, 0.6]}],
    "zones": [{"at": [0.6, 0.6], "zone": 6}],
    "dodge": [{"ellipse": [0.4, 0.5, 0.2, 0.2], "stops": 0.4, "softness": "2 mm"}],
    "burn": [{"edge": [[0.5, 0.4], [0.5, 0.1]], "stops": 0.3, "softness": "2 mm"}],
}
"""What a picture's table says in such a job, but for its source."""


def job_values(
    prints: Sequence[Mapping[str, Any]], px: tuple[int, int] = (120, 80), **tables: Any
) -> dict[str, Any]:
    """Return a job that prints at so many pixels, every check but that for a profile accepted."""
    width, height = (each / 10 for each in px)
    return {
        "sightsize": 1,
        "aperture": {"width": f"{width} mm", "height": f"{height} mm", "overlap": "0 mm"},
        "paper": {"size": f"{width + 12} x {height + 12} mm", "hinge_margin": "0 mm"},
        "checks": {"accept": sorted(check_ids())},
        "prints": [dict(each) for each in prints],
        **tables,
        "delivery": {"resolution": "254 ppi", "name": "{picture}", **tables.get("delivery", {})},
    }


def write_picture(path: Path, px: tuple[int, int] = _PX, seed: int = 5, **options: Any) -> Path:
    """Write a picture in the form of its name."""
    pixels = np.random.default_rng(seed).integers(20, 230, (px[1], px[0], 3)).astype(np.uint8)
    return save(path, pixels, **options)


@dataclass
class World:
    """A folder with sources, a job and its prints, and what stands outside."""

    folder: Path

    @property
    def sources(self) -> Path:
        """The pictures."""
        return self.folder / "sources"

    @property
    def job(self) -> Path:
        """The job file, in a folder of its own."""
        return self.folder / "job" / "job.toml"

    @property
    def out(self) -> Path:
        """Where the job's prints go."""
        return self.folder / "job" / "out"

    @property
    def outside(self) -> Path:
        """A folder that is nobody's business."""
        return self.folder / "outside"

    def set_job(self, name: str = "job.toml", **values: Any) -> Path:
        """Write the job anew: two prints of a.jpg and b.tif, and what else is given."""
        prints = [{"source": "../sources/a.jpg"}, {"source": "../sources/b.tif"}]
        given = {"job": {"output": "out"}, **values}
        path = self.job.with_name(name)
        path.write_text(tomli_w.dumps(job_values(given.pop("prints", prints), **given)))
        return path


def build(folder: Path) -> World:
    """Make the world that each case gets a copy of."""
    world = World(folder)
    for each in (world.sources, world.job.parent, world.outside):
        each.mkdir(parents=True)
    for seed, name in enumerate(("a.jpg", "b.tif", "a.tif", "b.jpg")):
        in_a_fork(partial(write_picture, world.sources / name, seed=seed))
    for name in ("precious.txt", "a.jpg", "a.tif", "b.jpg", "b.tif", "docket.toml"):
        (world.outside / name).write_bytes(b"somebody's " + name.encode() * 20)
    (world.outside / f".a.tif.{2**22 - 3}-abcd1234.part").write_bytes(b"somebody's part")
    world.set_job()
    return world


@contextmanager
def warm_world() -> Iterator[World]:
    """A world in a folder of its own, which also takes what is written for a while; all is loaded.

    Its job has every stage.
    """
    with tempfile.TemporaryDirectory() as scratch:
        tempfile.tempdir = scratch
        world = build(Path(scratch) / "origin")
        load_all(world.set_job(**STAGES))
        yield world


def copied(world: World, folder: Path) -> World:
    """Return a copy of a world, anew."""
    shutil.rmtree(folder, ignore_errors=True)
    shutil.copytree(world.folder, folder, symlinks=True)
    return World(folder)


class Watch:
    """What stands before an attack, held against what stands after it."""

    def __init__(
        self, world: World, *, may_change: Sequence[Path] = (), keep: Sequence[Path] = ()
    ) -> None:
        """Take note; files in ``keep`` must stay though they stand where changes may be."""
        self.world = world
        self.may_change = list(may_change)
        self.keep = {path: _told(path) for path in keep}
        self.before: Tree = tree(world.folder, without=self.may_change)

    def faults(self, ran: Ran, **how: Any) -> Iterator[str]:
        """Yield what is wrong after a run."""
        yield from wrong(ran, **how)
        yield from self.touched()

    def touched(self) -> Iterator[str]:
        """Yield what was changed that is none of the run's business."""
        after = tree(self.world.folder, without=self.may_change)
        for each in changed(self.before, after):
            yield each.replace(str(self.world.folder), ".")
        self.before = after  # told once
        for path, told in self.keep.items():
            if _told(path) != told:
                name = str(path).replace(str(self.world.folder), ".")
                yield f"a stranger's {name} was touched: {told} -> {_told(path)}"
                self.keep[path] = _told(path)

    def halves(self, folder: Path, foreign: Sequence[str] = ()) -> list[str]:
        """Return files of an output folder that are not whole or left behind."""
        return half(folder, foreign=foreign)


def _told(path: Path) -> tuple[Any, ...] | None:
    if not os.path.lexists(path):
        return None
    status = path.lstat()
    if path.is_dir() and not path.is_symlink():
        return status.st_ino, status.st_mode
    told = str(path.readlink()) if path.is_symlink() else ""
    if path.is_file() and not path.is_symlink():
        told = path.read_bytes()[:60].decode("latin-1")
    return status.st_ino, status.st_size, status.st_mtime_ns, status.st_mode, told

"""Draw the six pictures of the Tern Quay boathouse refit, at full size.

    python jobs-demo/make_pictures.py                  # all that are missing
    python jobs-demo/make_pictures.py --only cox-megaphone.jpg --again

catch-four.tif          a rowing four; 16-bit opRGB with colours outside sRGB
cox-megaphone.jpg       a portrait stored on its side (EXIF orientation 6), with private EXIF data
dawn-mist-reach.jpg     a stitched panorama; its mist would show any banding
crew-1926-plate.png     a grey scan of a scratched glass plate, printed twice
boatbuilder-hands.tif   CMYK, back from a magazine
cup-on-slipway.jpg      a telephone snapshot without a profile

The script draws everything from fixed seeds: the same versions of numpy, Pillow and libvips give
the same bytes. The pictures are under the project's MIT licence, and nobody in them exists. The
script writes the opRGB profile itself, under CC0. The sRGB, grey and CMYK profiles come with
libvips: the first two are CC0, and Graeme W. Gill placed the last in the public domain, as its own
tags say.

Needs numpy, Pillow and pyvips[binary]. Two processes use about 2.1 GiB of memory together.
"""

import argparse
import importlib
import multiprocessing
import os
import sys
import time
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).resolve().parent / "pictures"

# Slowest first, so that two processes end together.
SCENES = {
    "dawn-mist-reach.jpg": ("dawn_reach", "a stitched panorama"),
    "catch-four.tif": ("catch_four", "a rowing four, 16-bit"),
    "cox-megaphone.jpg": ("cox", "a portrait, stored on its side"),
    "crew-1926-plate.png": ("crew_plate", "a scan of a scratched glass plate"),
    "boatbuilder-hands.tif": ("boatbuilder", "a CMYK file, back from a magazine"),
    "cup-on-slipway.jpg": ("cup", "a telephone snapshot"),
}
"""The module that draws each picture, and what it shows."""


def draw(name: str, folder: Path, reduce: int) -> float:
    """Draw one picture under a temporary name, rename it, and return the seconds it took."""
    started = time.perf_counter()
    path = folder / name
    partial = path.with_name(f".part-{name}")
    scene(name).draw(partial, reduce)
    partial.replace(path)
    return time.perf_counter() - started


def scene(name: str) -> Any:
    """Return the module that draws a picture."""
    return importlib.import_module(f"scenery.{SCENES[name][0]}")


def arguments(argv: Sequence[str] | None) -> argparse.Namespace:
    """Read the command line."""
    parser = argparse.ArgumentParser(description="Draw the pictures of the Tern Quay demo.")
    parser.add_argument("--only", metavar="NAME", choices=SCENES, action="append")
    parser.add_argument("--again", action="store_true", help="draw those that exist, too")
    parser.add_argument("--folder", type=Path, default=FOLDER)
    parser.add_argument(
        "--reduce",
        type=int,
        choices=(1, 2, 4, 8),
        default=1,
        help="draw at 1/N size, for a quick look",
    )
    return parser.parse_args(argv)


def main(argv: Sequence[str] | None = None) -> int:
    """Draw what is missing, two pictures at a time."""
    options = arguments(argv)
    options.folder.mkdir(parents=True, exist_ok=True)
    names = [name for name in SCENES if not options.only or name in options.only]
    missing = [n for n in names if options.again or not (options.folder / n).exists()]
    workers = min(2, len(missing), len(os.sched_getaffinity(0)))
    announce(missing, len(names), workers, options)
    if missing:
        draw_all(missing, options.folder, options.reduce, workers)
        size = sum((options.folder / name).stat().st_size for name in missing)
        say(f"wrote {count(len(missing))}, {size / 1e6:.1f} MB, to {options.folder}")
    return 0


def announce(
    missing: Sequence[str], wanted: int, workers: int, options: argparse.Namespace
) -> None:
    """Say what will be drawn, before the first picture is."""
    if not missing:
        say(f"nothing to draw: {count(wanted)} already in {options.folder}; --again draws anew")
        return
    at_once = "two at a time" if workers == 2 else "one at a time"
    say(f"drawing {count(len(missing))} in {options.folder}, {at_once}; a minute or two:")
    for name in missing:
        width, height = (side // options.reduce for side in scene(name).SIZE)
        say(f"  {name:<22} {width} x {height} px, {SCENES[name][1]}")


def draw_all(names: Sequence[str], folder: Path, reduce: int, workers: int) -> None:
    """Draw pictures in processes of their own and say when each one is done."""
    spawn = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(workers, mp_context=spawn) as pool:
        jobs = {pool.submit(draw, name, folder, reduce): name for name in names}
        for done, job in enumerate(as_completed(jobs), 1):
            say(f"[{done}/{len(jobs)}] drew {jobs[job]} in {job.result():.0f} s")


def count(pictures: int) -> str:
    """Return a number of pictures in words."""
    return "1 picture" if pictures == 1 else f"{pictures} pictures"


def say(sentence: str) -> None:
    """Print a line on standard error, at once."""
    print(sentence, file=sys.stderr, flush=True)


if __name__ == "__main__":
    sys.exit(main())

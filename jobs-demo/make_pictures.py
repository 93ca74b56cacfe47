"""Draw the six pictures of the Tern Quay boathouse refit, at full size.

    python jobs-demo/make_pictures.py                  # all that are not there yet
    python jobs-demo/make_pictures.py --only cox-megaphone.jpg --again

catch-four.tif          a rowing four; 16-bit opRGB with colours outside sRGB
cox-megaphone.jpg       a portrait lying on its side (EXIF orientation 6), with private EXIF to lose
dawn-mist-reach.jpg     a stitched panorama whose mist would show any banding
crew-1926-plate.png     a grey scan of a scratched glass plate, to be spotted and printed twice
boatbuilder-hands.tif   CMYK, back from a magazine
cup-on-slipway.jpg      a telephone snapshot without a profile

Everything is drawn by this script from fixed seeds: the same versions of numpy, Pillow and
libvips give the same bytes. The pictures are free to use under the project's MIT licence;
nobody in them exists. The opRGB profile is written here and given away under CC0. The sRGB,
grey and CMYK profiles are the ones built into libvips: the first two CC0, the last placed in
the public domain by its author, Graeme W. Gill, as its own tags say.

Needs numpy, Pillow and pyvips[binary]; two processes, together some 2.1 GiB of memory.
"""

import argparse
import importlib
import multiprocessing
import os
import sys
import time
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

FOLDER = Path(__file__).resolve().parent / "pictures"

# Slowest first, so that two processes end together.
SCENES = {
    "dawn-mist-reach.jpg": "dawn_reach",
    "catch-four.tif": "catch_four",
    "cox-megaphone.jpg": "cox",
    "crew-1926-plate.png": "crew_plate",
    "boatbuilder-hands.tif": "boatbuilder",
    "cup-on-slipway.jpg": "cup",
}


def draw(name: str, folder: Path, reduce: int) -> float:
    """Draw one picture beside its place, move it there, and say how long that took."""
    started = time.perf_counter()
    scene = importlib.import_module(f"scenery.{SCENES[name]}")
    path = folder / name
    partial = path.with_name(f".part-{name}")
    scene.draw(partial, reduce)
    partial.replace(path)
    return time.perf_counter() - started


def arguments(argv: Sequence[str] | None) -> argparse.Namespace:
    """Read the command line."""
    parser = argparse.ArgumentParser(description="Draw the pictures of the Tern Quay demo.")
    parser.add_argument("--only", metavar="NAME", choices=SCENES, action="append")
    parser.add_argument("--again", action="store_true", help="draw those that exist as well")
    parser.add_argument("--folder", type=Path, default=FOLDER)
    parser.add_argument(
        "--reduce", type=int, choices=(1, 2, 4, 8), default=1, help="draw at 1/N, for a quick look"
    )
    return parser.parse_args(argv)


def main(argv: Sequence[str] | None = None) -> int:
    """Draw what is wanted, two pictures at a time."""
    options = arguments(argv)
    options.folder.mkdir(parents=True, exist_ok=True)
    names = [name for name in SCENES if not options.only or name in options.only]
    wanted = [n for n in names if options.again or not (options.folder / n).exists()]
    if not wanted:
        return 0
    workers = min(2, len(wanted), len(os.sched_getaffinity(0)))
    spawn = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(workers, mp_context=spawn) as pool:
        jobs = {n: pool.submit(draw, n, options.folder, options.reduce) for n in wanted}
        for name, job in jobs.items():
            print(f"{name}  {job.result():.1f} s", file=sys.stderr)
    return 0


if __name__ == "__main__":
    sys.exit(main())

"""Small test pictures, the jobs that print them, and the way back from file to numbers.

At 254 ppi a millimetre is exactly ten pixels, so a job can ask for any whole number of pixels.
"""

import subprocess
import sys
from collections.abc import Mapping, Sequence
from contextlib import nullcontext
from pathlib import Path
from typing import Any, cast

import numpy as np
import pyvips
import tomli_w
from numpy.typing import NDArray
from PIL import Image

from icc_profiles import MODES, built_in
from sightsize.checks.run import check_ids
from sightsize.delivery.ground import Replace
from sightsize.docket.store import Docket
from sightsize.job.load import load_job
from sightsize.model.job import Job
from sightsize.plan.arrange import arrange
from sightsize.plan.picture import PicturePlan
from sightsize.plan.sheet import FilePlan
from sightsize.run.batch import make_prints
from sightsize.run.planner import plan_prints
from sightsize.run.worker import Outcome

Pixels = NDArray[Any]

BORDER_PX = 32
"""White round the picture on its sheet: four whole JPEG blocks."""


def save(path: Path, pixels: Pixels, profile: bytes | None = None, **options: Any) -> Path:
    """Write 8-bit pixels with Pillow; the format follows the name, sRGB is the default profile."""
    mode = MODES[pixels.shape[2]] if pixels.ndim == 3 else "L"
    if profile is None:
        profile = built_in("sgrey" if mode == "L" else "srgb")
    Image.fromarray(pixels, mode).save(path, icc_profile=profile, **options)
    return path


def save_16(path: Path, pixels: NDArray[np.uint16], profile: bytes) -> Path:
    """Write 16-bit RGB pixels as TIFF, which Pillow cannot."""
    image = pyvips.Image.new_from_array(pixels).copy(interpretation="rgb16")
    image.set_type(pyvips.GValue.blob_type, "icc-profile-data", cast(Any, profile))
    image.tiffsave(str(path), compression="deflate")
    return path


def job(
    folder: Path, pictures: Mapping[str, Mapping[str, Any]], px: tuple[int, int], **tables: Any
) -> Job:
    """Write and load a job that prints pictures at ``px`` on a sheet with a border of white.

    Nothing is sharpened and no tone moves unless ``tables`` say so; a picture is a table as in a
    job file, named as its print will be. Every check but that for a profile is accepted.
    """
    width, height = px[0] + 2 * BORDER_PX, px[1] + 2 * BORDER_PX
    values: dict[str, Any] = {
        "sightsize": 1,
        "aperture": {"width": _mm(px[0]), "height": _mm(px[1]), "overlap": "0 mm"},
        "paper": {"size": f"{_mm(width)} x {_mm(height)}", "hinge_margin": "0 mm"},
        "sharpen": {"gain": 0},
        "delivery": {"resolution": "254 ppi", "format": "tiff", "name": "{picture}"},
        "checks": {"accept": sorted(check_ids() - {"no-profile"})},
        "pictures": dict(pictures),
        "prints": [{"picture": name} for name in pictures],
    }
    for name, table in tables.items():
        values[name] = {**values.get(name, {}), **table}
    path = folder / "job.toml"
    path.write_text(tomli_w.dumps(values), encoding="utf-8")
    return load_job(path, check_ids())


def _mm(px: int) -> str:
    return f"{px / 10} mm"


def planned_file(job: Job) -> FilePlan[PicturePlan]:
    """The plan of the only file of a job."""
    (only,) = plan_prints(job, arrange(job))
    assert only.plan is not None
    return only.plan


def planned_picture(job: Job) -> PicturePlan:
    """The plan of the only picture of a job."""
    (placed,) = planned_file(job).pictures
    return placed.picture


def make(
    job: Job, *, replace: Replace = "nothing", workers: int = 1, noted: bool = False
) -> list[Outcome]:
    """Make every print of a job; ``noted`` in a docket, without which nothing can be replaced."""
    job.output.mkdir(exist_ok=True)
    with Docket(job.output / "docket.toml") if noted else nullcontext() as docket:
        return make_prints(
            job,
            plan_prints(job, arrange(job), docket=docket),
            replace=replace,
            workers=workers,
            docket=docket,
        )


def fail_on_full_disk(job: Job, largest_bytes: int) -> None:
    """Have the command fail to make a job's prints.

    A limit on the size of a file stands in for the end of the disk.
    """
    limit = f"({largest_bytes}, {largest_bytes})"
    script = (
        f"import resource; resource.setrlimit(resource.RLIMIT_FSIZE, {limit});"
        "from sightsize.cli import main; main()"
    )
    done = subprocess.run(
        [sys.executable, "-B", "-c", script, "make", str(job.path)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 1, done.stderr
    assert "failed" in done.stdout


def printed(
    folder: Path,
    source: Path,
    px: tuple[int, int],
    picture: Mapping[str, Any] | None = None,
    **tables: Any,
) -> Path:
    """Print one picture and return its file."""
    facts = {"source": str(source.relative_to(folder)), **(picture or {})}
    done = job(folder, {"print": facts}, px, **tables)
    for earlier in done.output.glob("*"):
        earlier.unlink()
    (outcome,) = make(done)
    assert outcome.status == "made", outcome.message
    return done.output / outcome.planned.name


def read(path: Path) -> Pixels:
    """All pixels of a file as rows x columns x channels, 8 bits by Pillow, 16 by libvips."""
    image = pyvips.Image.new_from_file(str(path))
    pixels = image.numpy() if image.format == "ushort" else np.asarray(Image.open(path))
    return np.atleast_3d(pixels)


def picture_of(path: Path, px: tuple[int, int]) -> Pixels:
    """The picture's pixels without the border of the sheet that ``job`` plans."""
    return read(path)[BORDER_PX : BORDER_PX + px[1], BORDER_PX : BORDER_PX + px[0]]


def patches(colours: Sequence[Sequence[int]] | Pixels, across: int, side: int = 8) -> Pixels:
    """Colours as flat squares, ``across`` of them in a row."""
    grid = np.asarray(colours).reshape(-1, across, len(colours[0]))
    return np.repeat(np.repeat(grid, side, axis=0), side, axis=1)


def patch_means(pixels: Pixels, side: int = 8) -> NDArray[np.float64]:
    """Mean of each square that ``patches`` laid out, one row a patch."""
    rows, columns, channels = pixels.shape
    squares = pixels.reshape(rows // side, side, columns // side, side, channels)
    return np.asarray(squares.mean(axis=(1, 3)).reshape(-1, channels))

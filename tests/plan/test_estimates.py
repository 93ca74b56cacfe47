"""The estimate of a print's memory against what processes are seen to take, and sizes in words."""

import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import pyvips
from PIL import Image
from typer.testing import CliRunner

from dng import mosaic, neutral, seen, write_dng
from icc_profiles import built_in
from memory import MIB, measure
from pictures import job, save, save_16
from sightsize.base.machine_memory import machine_bytes, parse_size_bytes
from sightsize.cli import app
from sightsize.errors import UnitError
from speed import first_is_quick

SOURCE_PX = (3000, 2000)
CRAFT = {
    "tone": {"edge_burn": {"stops": 0.2}},
    "local_contrast": {"gain": 0.2},
    "grain": {"granularity": 0.02},
}
MONO = {"mono": {"response": "luminance"}}
JPEG = {"delivery": {"format": "jpeg"}}
LARGE, SMALL = (2900, 1900), (1400, 900)
CASES: dict[str, tuple[str, tuple[int, int], dict[str, Any], dict[str, Any]]] = {
    "streamed": ("a.jpg", LARGE, {}, {}),
    "optimised coding": ("a.jpg", LARGE, {}, JPEG),
    "much reduced": ("a.jpg", SMALL, {}, JPEG),
    "decoded smaller": ("a.jpg", (300, 200), {}, JPEG),
    "with its master": ("a.jpg", (300, 200), {}, {"delivery": {"keep_master": True}}),
    "grey": ("a.jpg", LARGE, {}, MONO),
    "everything": ("a.jpg", LARGE, {}, {**CRAFT, **MONO, **JPEG}),
    "turned": ("turned.jpg", LARGE, {}, {}),
    "straightened, 16 bits": ("a16.tif", LARGE, {"level": 1.0}, {}),
    "measured": ("a.jpg", LARGE, {}, {"sharpen": {"gain": 0.8, "noise_floor": "measured"}}),
    "raw": ("plate.dng", LARGE, {}, {}),
    "enlarged": ("little.jpg", (4500, 3000), {}, {}),
}


def write_source(path: Path) -> None:
    width, height = SOURCE_PX
    rng = np.random.default_rng(4)
    coarse = rng.integers(40, 200, (height // 20, width // 20, 3)).astype(np.uint8)
    pixels = np.kron(coarse, np.ones((20, 20, 1), np.uint8)) + rng.integers(
        0, 20, (height, width, 3), np.uint8
    )
    if path.suffix == ".dng":
        write_dng(path, mosaic(seen(pixels / 255.0)), neutral())
    elif path.suffix == ".tif":
        save_16(path, pixels.astype(np.uint16) * 257, built_in("srgb"))
    elif path.stem == "turned":
        exif = Image.Exif()
        exif[0x0112] = 3  # Exif 2.3: the wrong way up
        save(path, pixels, exif=exif)
    else:
        save(path, coarse if path.stem == "little" else pixels)


@pytest.mark.skipif(sys.platform != "linux", reason="the peak is read from Linux' /proc")
@pytest.mark.parametrize("case", first_is_quick(CASES))
def test_the_estimate_is_on_the_high_side_but_not_far(tmp_path: Path, case: str) -> None:
    source, px, facts, tables = CASES[case]
    write_source(tmp_path / source)
    planned = job(tmp_path, {"print": {"source": source, **facts}}, px, **tables)
    peak, estimate = measure(planned)
    print(f"{case}: measured {peak / MIB:.0f}, estimated {estimate / MIB:.0f} MiB")
    assert peak <= estimate <= 2.5 * peak


EXTREMES: dict[str, tuple[str, dict[str, Any], tuple[int, int]]] = {
    "bits to a stamp": ("bits.png", {"bitdepth": 1}, (12_000, 12_000)),
    "interlaced": ("a.png", {"interlace": True}, (4000, 3000)),
    "progressive": ("a.jpg", {"interlace": True}, (6000, 4000)),
    "webp": ("a.webp", {"effort": 0}, (4000, 3000)),
    "large tiles": ("a.tif", {"tile": True, "tile_width": 2048, "tile_height": 2048}, (6000, 4000)),
    "wide": ("a.png", {}, (40_000, 800)),
}
"""Sources that were estimated at a third to a tenth of what they took."""


@pytest.mark.slow
@pytest.mark.skipif(sys.platform != "linux", reason="the peak is read from Linux' /proc")
@pytest.mark.parametrize("case", EXTREMES)
def test_the_estimate_of_sources_that_decoders_hold_or_that_shrink_much(
    tmp_path: Path, case: str
) -> None:
    """tests/soak/memory_estimates.py has many more."""
    name, options, (width, height) = EXTREMES[case]
    noise = pyvips.Image.gaussnoise(width // 8, height // 8, mean=128, sigma=40, seed=3).resize(8)
    pixels = noise > 128 if "bitdepth" in options else noise.cast("uchar").bandjoin([90, 160])
    pixels = pixels.copy(interpretation="b-w" if pixels.bands == 1 else "srgb")
    pixels.write_to_file(str(tmp_path / name), **options)
    facts = {"source": name, "assume_profile": "grey" if pixels.bands == 1 else "srgb"}
    peak, estimate = measure(job(tmp_path, {"print": facts}, (300, 300 * height // width), **JPEG))
    print(f"{case}: measured {peak / MIB:.0f}, estimated {estimate / MIB:.0f} MiB")
    assert 0.9 * peak <= estimate <= 2.5 * peak


@pytest.mark.parametrize(
    ("text", "size"),
    [("2 GiB", 2**31), ("1.5GB", 1_500_000_000), ("512 MiB", 2**29), (" 100 kB ", 100_000)],
)
def test_sizes(text: str, size: int) -> None:
    assert parse_size_bytes(text) == size


@pytest.mark.parametrize("text", ["2", "2 G", "GiB", "-1 GiB", "2,5 GiB", "2 gib", ""])
def test_sizes_that_are_none(text: str) -> None:
    with pytest.raises(UnitError, match=r"write a number and a unit \(kB, MB, GB"):
        parse_size_bytes(text)


@pytest.mark.parametrize("text", ["9" * 400 + " GB", "1025 TiB", "9" * 5000 + ".5 kB"])
def test_sizes_beyond_any_machine(text: str) -> None:
    with pytest.raises(UnitError, match="than any machine has: write at most 1024 TiB") as told:
        parse_size_bytes(text)
    assert len(str(told.value)) < 120


def test_this_machine_has_memory() -> None:
    found = machine_bytes()
    assert found is None or found > 256 * MIB


def test_the_command_line_refuses_a_size_without_unit(tmp_path: Path) -> None:
    result = CliRunner().invoke(app, ["make", str(tmp_path / "job.toml"), "--memory", "2"])
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.startswith("--memory '2' is not a memory size")


def test_workers_are_not_the_schedulers(tmp_path: Path) -> None:
    words = ["make", str(tmp_path / "job.toml"), "--scheduler", "tcp://a:1", "--workers", "2"]
    result = CliRunner().invoke(app, words)
    assert result.exit_code == 2
    assert "--workers and --memory apply to this machine only" in result.stderr

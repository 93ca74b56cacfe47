"""Picture files opened by their bytes: no name is parsed, nothing is mapped, no other decoder."""

import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, cast

import numpy as np
import pytest
import pyvips

from icc_profiles import built_in
from pictures import job, picture_of, printed, save
from sightsize.base.deadline import deadline
from sightsize.errors import OutOfTimeError, SourceError
from sightsize.imaging.source import image_file
from sightsize.imaging.source.image_file import kind_of, open_image
from sightsize.imaging.source.picture_file import read_header
from speed import first_is_quick

PX = (64, 48)
SCENE = np.random.default_rng(26).integers(40, 200, size=(*PX[::-1], 3)).astype(np.uint8)
AT_ONCE_SECONDS = 10


def as_vips(path: Path, **options: object) -> Path:
    """A picture of the scene as libvips writes the kind that its name ends with."""
    image = pyvips.Image.new_from_array(SCENE).copy(interpretation="srgb")
    image.set_type(pyvips.GValue.blob_type, "icc-profile-data", cast(Any, built_in("srgb")))
    image.write_to_file(str(path), **options)
    return path


@pytest.mark.parametrize("name", ["red.png[shrink=2]", "red.png[1]", "[page=1].png"])
def test_a_name_is_never_taken_for_options(tmp_path: Path, name: str) -> None:
    """The file named is printed, not the one whose name stands before the bracket."""
    save(tmp_path / "red.png", 255 - SCENE)
    save(tmp_path / "other.png", SCENE).rename(tmp_path / name)
    found = picture_of(printed(tmp_path, tmp_path / name, PX), PX)
    assert np.abs(found.astype(int) - SCENE).max() <= 1


@pytest.mark.parametrize("ending", ["jpg", "png", "tif", "webp", "avif"])
def test_each_kind_is_opened_whatever_it_is_called(tmp_path: Path, ending: str) -> None:
    try:
        file = as_vips(tmp_path / f"a.{ending}")
    except pyvips.Error:
        pytest.skip(f"this libvips writes no {ending}")
    image = open_image(file.rename(tmp_path / "a.dat"))
    assert (image.width, image.height) == PX
    assert kind_of(image) == {"jpg": "JPEG", "tif": "TIFF", "avif": "HEIF", "webp": "WebP"}.get(
        ending, "PNG"
    )


@pytest.mark.parametrize(
    ("name", "options", "rows"),
    [
        ("a.jpg", {}, 1),
        ("a.jpg", {"interlace": True}, 48),
        ("a.png", {}, 1),
        ("a.png", {"interlace": True}, 48),
        ("a.tif", {}, 48),
        ("a.tif", {"tile": True, "tile_width": 16, "tile_height": 32}, 32),
        ("a.tif", {"tile": True, "tile_width": 128, "tile_height": 128}, 48),
        ("a.webp", {}, 48),
    ],
)
def test_the_rows_that_a_decoder_holds_together(
    tmp_path: Path, name: str, options: dict[str, Any], rows: int
) -> None:
    assert read_header(as_vips(tmp_path / name, **options)).rows_at_once == rows


OTHERS: dict[str, bytes] = {
    "svg": b'<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"><rect/></svg>',
    "matrix": b"2 2\n1 2\n3 4\n",
    "csv": b"1,2,3\n4,5,6\n",
    "ppm": b"P6\n2 2\n255\n" + bytes(12),
    "gif": b"GIF89a\x01\0\x01\0\x80\0\0\0\0\0\xff\xff\xff,\0\0\0\0\x01\0\x01\0\0\x02\x02D\x01\0;",
    "fits": b"SIMPLE  =                    T".ljust(2880),
    "pdf": b"%PDF-1.7\n",
    "hdr": b"#?RADIANCE\nFORMAT=32-bit_rle_rgbe\n\n-Y 1 +X 1\n\x01\x01\x01\x01",
    "svgz": b"\x1f\x8b\x08\0" + bytes(20),
    "mp4": b"\0\0\0\x18ftypisom" + bytes(20),
}


def own_of_libvips(path: Path) -> bytes:
    pyvips.Image.new_from_array(SCENE).write_to_file(str(path.with_suffix(".v")))
    return path.with_suffix(".v").read_bytes()


@pytest.mark.parametrize("kind", [*OTHERS, "v"])
def test_other_kinds_are_refused_by_sentence_and_at_once(tmp_path: Path, kind: str) -> None:
    file = tmp_path / "a.jpg"
    file.write_bytes(OTHERS[kind] if kind in OTHERS else own_of_libvips(file))
    begin = time.perf_counter()
    with pytest.raises(SourceError, match=r"^a\.jpg is in a format that cannot be read; save it"):
        read_header(file)
    assert time.perf_counter() - begin < AT_ONCE_SECONDS


@pytest.mark.parametrize("kind", ["svg", "matrix", "csv", "ppm", "gif", "v"])
def test_libvips_itself_refuses_other_kinds(tmp_path: Path, kind: str) -> None:
    """Whatever way leads there: by name, and from a source, which is told by its bytes."""
    assert image_file.__name__ in sys.modules  # which blocks them when it is loaded
    file = tmp_path / f"a.{kind}"
    file.write_bytes(OTHERS[kind] if kind in OTHERS else own_of_libvips(file))
    with pytest.raises(pyvips.Error):
        pyvips.Image.new_from_file(str(file)).avg()
    with pytest.raises(pyvips.Error):
        pyvips.Image.new_from_source(pyvips.Source.new_from_file(str(file)), "").avg()


def test_what_is_no_plain_file_is_refused_at_once(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.jpg")
    (tmp_path / "empty.jpg").touch()
    (tmp_path / "endless.jpg").symlink_to("/dev/zero")
    (tmp_path / "system.jpg").symlink_to("/proc/self/environ")
    said = {
        "pipe.jpg": "is a pipe or a device, not a picture file",
        "endless.jpg": "is a pipe or a device, not a picture file",
        "empty.jpg": "empty.jpg is empty; export it again",
        "system.jpg": "system.jpg is empty; export it again",
        "none.jpg": "there is no file",
    }
    begin = time.perf_counter()
    for name, words in said.items():
        with pytest.raises(SourceError, match=words):
            read_header(tmp_path / name)
    assert time.perf_counter() - begin < AT_ONCE_SECONDS


def test_a_file_that_can_no_longer_be_read_raises_what_the_system_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    file = as_vips(tmp_path / "a.png")
    monkeypatch.setattr(image_file._Reader, "read", failing(image_file._Reader.read))
    with pytest.raises(OSError, match="a bad sector"):
        open_image(file)
    assert capfd.readouterr() == ("", "")


def failing(read: Callable[[Any, Any], int]) -> Callable[[Any, Any], int]:
    def failing_read(self: image_file._Reader, _: object) -> int:
        class BadSector:
            def __len__(self) -> int:
                raise OSError(5, "a bad sector")

        return read(self, BadSector())

    return failing_read


def test_reads_end_with_the_time_of_the_print(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    file = as_vips(tmp_path / "a.png")
    with pytest.raises(OutOfTimeError):
        read_late(file, open_first=True)
    with pytest.raises(OutOfTimeError):
        read_late(file, open_first=False)
    assert capfd.readouterr() == ("", "")


def read_late(file: Path, *, open_first: bool) -> None:
    with deadline(0.2):
        image = open_image(file) if open_first else None
        time.sleep(0.4)
        (image or open_image(file)).avg()


OPENED_OFTEN = """
import gc, os, sys
from pathlib import Path
from sightsize.imaging.source.image_file import open_image

def resident_kib():
    (line,) = [each for each in open("/proc/self/status") if each.startswith("VmRSS")]
    return int(line.split()[1])

gc.disable()  # whatever is left is not left to the collector
seen = []
for turn in range(6):
    for _ in range(200):
        for name in sys.argv[1:]:
            image = open_image(Path(name))
            assert image.crop(0, 0, 8, 8).avg() > 0
            del image
    seen.append((len(os.listdir("/proc/self/fd")), resident_kib()))
print(seen[0][0] == seen[-1][0], max(0, seen[-1][1] - seen[1][1]))
"""


@pytest.mark.skipif(sys.platform != "linux", reason="memory is read from Linux' /proc")
def test_a_header_without_end_is_given_up(tmp_path: Path) -> None:
    path = tmp_path / "endless.jpg"
    with path.open("wb") as file:
        file.write(b"\xff\xd8\xff\xe0")
        file.truncate(3 * 2**30)
    with pytest.raises(OSError, match="no picture within its first 512 MiB"):
        open_image(path)


def test_nothing_is_left_of_pictures_that_were_opened(tmp_path: Path) -> None:
    names = [str(as_vips(tmp_path / f"a.{ending}")) for ending in ("jpg", "png", "tif", "webp")]
    command = [sys.executable, "-c", OPENED_OFTEN, *names]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
    files_as_before, grown_kib = done.stdout.split()
    assert files_as_before == "True"
    assert int(grown_kib) < 2000  # of 3200 opens after the first 1600


# Files that change while they are printed.

CHANGED = """
import json, sys
from pathlib import Path
from sightsize.checks.run import check_ids
from sightsize.imaging.source import image_file
from sightsize.job.load import load_job
from sightsize.plan.arrange import arrange
from sightsize.run.batch import make_prints
from sightsize.run.planner import plan_prints

path, victim, how, share = Path(sys.argv[1]), Path(sys.argv[2]), sys.argv[3], float(sys.argv[4])
whole, other = victim.read_bytes(), victim.with_suffix(".other").read_bytes()
read, seen = image_file._Reader.read, [0]

def change():
    if how == "cut":
        with victim.open("r+b") as file:
            file.truncate(len(whole) // 20)
    else:
        victim.write_bytes(other)

def counted(reader, buffer):
    if seen[0] >= 0 and len(whole) == reader._size:
        seen[0] += len(buffer)
        if seen[0] > share * len(whole):
            seen[0] = -1
            change()
    return read(reader, buffer)

job = load_job(path, check_ids())
job.output.mkdir()
planned = plan_prints(job, arrange(job))
image_file._Reader.read = counted
made = make_prints(job, planned, replace=False, workers=2)
print(json.dumps([[each.status, each.message] for each in made]))
assert seen[0] == -1, "the file was not changed"
"""

LARGE = (1200, 900)
WAYS: dict[str, tuple[str, dict[str, Any]]] = {
    "jpeg": ("a.jpg", {"Q": 95}),
    "progressive jpeg": ("a.jpg", {"Q": 95, "interlace": True}),
    "webp": ("a.webp", {"Q": 95, "effort": 0}),
    "tiff": ("a.tif", {}),
    "tiled tiff": ("a.tif", {"tile": True, "compression": "deflate"}),
    "png": ("a.png", {"compression": 1}),
    "interlaced png": ("a.png", {"compression": 1, "interlace": True}),
}


def noise(seed: int) -> pyvips.Image:
    pixels = np.random.default_rng(seed).integers(40, 200, (LARGE[1], LARGE[0], 3))
    image = pyvips.Image.new_from_array(pixels.astype(np.uint8)).copy(interpretation="srgb")
    image.set_type(pyvips.GValue.blob_type, "icc-profile-data", cast(Any, built_in("srgb")))
    return image


@pytest.mark.parametrize("how", ["cut", "saved again"])
@pytest.mark.parametrize("way", first_is_quick(WAYS))
def test_a_file_that_changes_while_it_is_printed_fails_alone(
    tmp_path: Path, way: str, how: str
) -> None:
    name, options = WAYS[way]
    victim = tmp_path / name
    noise(1).write_to_file(str(victim), **options)
    noise(2).crop(0, 0, 900, 700).write_to_file(str(tmp_path / f"b{victim.suffix}"), **options)
    (tmp_path / f"b{victim.suffix}").rename(victim.with_suffix(".other"))
    whole = victim.read_bytes()
    save(tmp_path / "calm.png", SCENE)
    pictures = {"victim": {"source": name}, "calm": {"source": "calm.png"}}
    planned = job(tmp_path, pictures, (600, 450))
    for share in (0.1, 0.5, 0.9):
        victim.write_bytes(whole)
        command = [sys.executable, "-c", CHANGED, str(planned.path), str(victim), how, str(share)]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        assert (done.returncode, done.stderr) == (0, ""), done.stderr
        said = f"{name} changed while the job was running; run it again"
        assert done.stdout.strip() == f'[["failed", "{said}"], ["made", ""]]'
        for made in planned.output.iterdir():
            made.unlink()
        planned.output.rmdir()

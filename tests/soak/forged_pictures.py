"""Check and print mutated and forged pictures, plainly and through every stage; by hand.

Each is checked and made by a process of its own. It must become whole prints or sentences, within
the memory that the program itself estimates, and the picture must stay as it is.
"""

import argparse
import io
import json
import os
import random
import struct
import sys
import tempfile
import zlib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pyvips
import tifffile
import tomli_w
from PIL import Image

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from guarded import Table, half, in_a_fork, load_all, run, tree, wrong
from worlds import MARKS, STAGES, job_values

from icc_profiles import built_in
from mutants import _ANY_KIND, _DIRECTORIES, _OF_A_KIND, KINDS, mutant

Draw = Callable[[random.Random], tuple[str, bytes]]
_PX = (64, 48)
_CHECK_MIB = 350
"""More than a check of small pictures has any reason to take; the program states no estimate."""
_SLACK_MIB = 24
"""What the tool itself holds beside the program."""


def scene(dtype: type = np.uint8, bands: int = 3, px: tuple[int, int] = _PX) -> np.ndarray:
    """Pixels of a picture."""
    most = 255 if dtype == np.uint8 else 65535
    shape = (px[1], px[0], bands) if bands > 1 else (px[1], px[0])
    return (np.random.default_rng(5).random(shape) * most).astype(dtype)


def _tiff(rng: random.Random) -> tuple[str, bytes]:
    """TIFF as few programs write it: planar, BigTIFF, floats, bits, tiles, many bands."""
    held = io.BytesIO()
    kind = rng.choice(
        [
            "planar",
            "big",
            "float",
            "bits",
            "tiles",
            "five",
            "complex",
            "signed",
            "16",
            "deep",
            "pages",
            "palette",
            "lab",
            "big endian",
            "one row strips",
        ]
    )
    pixels, more = scene(), {}
    match kind:
        case "planar":
            pixels, more = np.moveaxis(scene(), 2, 0), {"planarconfig": "separate"}
        case "float":
            pixels = scene().astype(np.float32) * rng.choice([1, np.nan, np.inf, 1e30])
        case "bits":
            pixels, more = scene(bands=1) > 99, {"photometric": "minisblack"}
        case "tiles":
            more = {"tile": (16, 16)}
        case "five":
            pixels, more = scene(bands=5), {"photometric": "minisblack", "planarconfig": "contig"}
        case "complex":
            pixels = scene(bands=1).astype(np.complex64)
        case "signed":
            pixels = scene(bands=1).astype(rng.choice([np.int8, np.int16, np.int32, np.int64]))
        case "16":
            pixels = scene(np.uint16)
        case "deep":
            pixels = np.broadcast_to(scene(), (300, *scene().shape))
        case "pages":
            pixels = np.stack([scene()] * 3)
        case "lab":
            more = {"photometric": "cielab"}
        case "one row strips":
            more = {"rowsperstrip": 1}
    if pixels.ndim >= 3 and pixels.shape[-1] == 3 and "photometric" not in more:
        more["photometric"] = "rgb"
    tifffile.imwrite(
        held,
        pixels,
        bigtiff=kind == "big",
        metadata=None,
        byteorder=">" if kind == "big endian" else "<",
        **more,
    )
    return ".tif", held.getvalue()


def _png(rng: random.Random) -> tuple[str, bytes]:
    """PNG interlaced, of 1, 2, 4 or 16 bits, with a palette, with transparency."""
    image = pyvips.Image.new_from_array(
        scene(rng.choice([np.uint8, np.uint16]), rng.choice([1, 3]))
    )
    if image.format == "ushort":
        image = image.copy(interpretation="grey16" if image.bands == 1 else "rgb16")
    options: dict[str, object] = {"interlace": rng.random() < 0.6}
    if image.format == "uchar" and rng.random() < 0.5:
        options |= {"palette": True, "bitdepth": rng.choice([1, 2, 4, 8])}
    return ".png", bytes(image.pngsave_buffer(**options))


def _jpeg(rng: random.Random) -> tuple[str, bytes]:
    """JPEG of CMYK, grey, odd subsampling, progressive, with restarts, with a strange profile."""
    mode = rng.choice(["RGB", "L", "CMYK"])
    held = io.BytesIO()
    profile = rng.choice(
        [
            b"",
            b"x" * 200,
            built_in("srgb")[:300],
            built_in("sgrey"),
            built_in("srgb")[:128] + os.urandom(400),
            bytes(10**6),
        ]
    )
    more = {"restart_marker_rows": 1} if rng.random() < 0.3 else {}
    image = Image.fromarray(scene()).convert(mode)
    image.save(
        held,
        "JPEG",
        progressive=rng.random() < 0.5,
        subsampling=rng.choice([0, 1, 2]),
        icc_profile=profile or None,
        **more,
    )
    return ".jpg", held.getvalue()


def _webp(rng: random.Random) -> tuple[str, bytes]:
    """WebP with alpha, lossless, animated."""
    held = io.BytesIO()
    image = Image.fromarray(scene(bands=rng.choice([3, 4])))
    many = {"save_all": True, "append_images": [image] * 5} if rng.random() < 0.4 else {}
    image.save(held, "WEBP", lossless=rng.random() < 0.5, **many)
    return ".webp", held.getvalue()


def _heif(rng: random.Random) -> tuple[str, bytes]:
    """HEIF or AVIF, where this libvips writes it; its head alone otherwise."""
    try:
        image = pyvips.Image.new_from_array(scene())
        data = bytes(image.heifsave_buffer(compression=rng.choice(["av1", "hevc"])))
    except pyvips.Error:
        data = struct.pack(">I", 24) + b"ftypheic" + bytes(12) + rng.randbytes(500)
    return rng.choice([".heic", ".avif", ".heif"]), data


def _bombs(rng: random.Random) -> tuple[str, bytes]:
    """Small files that state large pictures, whole ones too."""
    width, height = rng.choice(
        [(9000, 9000), (20000, 2000), (30000, 30000), (1, 65000), (65000, 1)]
    )
    kind = rng.choice(["png", "interlaced png", "tiff", "jpeg", "strip", "webp"])
    if kind.endswith("png"):
        head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, int(kind != "png"))
        row = zlib.compressobj(9)
        data = b"".join(row.compress(bytes(1 + 3 * width)) for _ in range(min(height, 12000)))
        parts = [(b"IHDR", head), (b"IDAT", data + row.flush()), (b"IEND", b"")]
        chunks = [
            struct.pack(">I", len(d)) + n + d + struct.pack(">I", zlib.crc32(n + d))
            for n, d in parts
        ]
        return ".png", b"\x89PNG\r\n\x1a\n" + b"".join(chunks)
    if kind == "jpeg":
        held = io.BytesIO()
        Image.new("L", (min(width, 12000), min(height, 12000))).save(held, "JPEG", progressive=True)
        return ".jpg", held.getvalue()
    if kind == "webp":
        held = io.BytesIO()
        Image.new("RGB", (min(width, 16000), min(height, 8000))).save(held, "WEBP", method=0)
        return ".webp", held.getvalue()
    held = io.BytesIO()
    pixels = np.broadcast_to(np.uint8(0), (min(height, 12000), min(width, 12000), 3))
    strip = {"rowsperstrip": pixels.shape[0]} if kind == "strip" else {}
    tifffile.imwrite(held, pixels, photometric="rgb", compression="zlib", metadata=None, **strip)
    return ".tif", held.getvalue()


_SVG = b"""<svg xmlns="http://www.w3.org/2000/svg" xmlns:x="http://www.w3.org/1999/xlink"
width="640" height="480"><image x:href="file:///etc/passwd"/><rect width="640" height="480"/></svg>"""


def _foreign(rng: random.Random) -> tuple[str, bytes]:
    """Another format under a picture's name."""
    image = Image.fromarray(scene())
    held = io.BytesIO()
    kind = rng.choice(
        [
            "svg",
            "svgz",
            "vips",
            "gif",
            "pdf",
            "csv",
            "matrix",
            "ppm",
            "pfm",
            "fits",
            "text",
            "bmp",
            "ico",
            "hdr",
            "jp2",
            "zip",
            "exr",
            "psd",
            "toml",
            "empty",
            "openslide",
            "nifti",
            "mat",
            "raw",
            "jxl",
            "tga",
            "xml",
            "elf",
        ]
    )
    if kind in ("gif", "pdf", "bmp", "ico", "ppm", "tga"):
        image.save(held, kind.upper())
        data = held.getvalue()
    elif kind == "svgz":
        import gzip

        data = gzip.compress(_SVG + b" " * 10**7)
    elif kind == "vips":
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "a.v"
            pyvips.Image.black(64, 48, bands=3).write_to_file(str(path))
            data = path.read_bytes()
        data = data[:4] + struct.pack("<II", *rng.choice([(64, 48), (2**30, 2**30)])) + data[12:]
    else:
        data = {
            "svg": _SVG,
            "csv": b"1,2,3\n4,5,6\n" * 30,
            "matrix": b"3 3 1 0\n1 2 3\n4 5 6\n7 8 9\n",
            "pfm": b"PF\n64 48\n-1.0\n" + bytes(64 * 48 * 12),
            "empty": b"",
            "fits": b"SIMPLE  =                    T".ljust(80) + b"END".ljust(2800),
            "text": b"somebody's words\n" * 50,
            "zip": b"PK\3\4" + rng.randbytes(300),
            "hdr": b"#?RADIANCE\nFORMAT=32-bit_rle_rgbe\n\n-Y 48 +X 64\n" + bytes(64 * 48 * 4),
            "jp2": bytes.fromhex("0000000c6a5020200d0a870a") + rng.randbytes(200),
            "exr": bytes.fromhex("762f3101") + rng.randbytes(200),
            "psd": b"8BPS" + rng.randbytes(99),
            "toml": b"sightsize = 1\n",
            "openslide": b"Aperio" + rng.randbytes(99),
            "nifti": struct.pack("<i", 348) + bytes(344) + b"n+1\0",
            "mat": b"MATLAB 5.0 MAT-file" * 20,
            "raw": rng.randbytes(64 * 48 * 3),
            "jxl": b"\xff\x0a" + rng.randbytes(200),
            "xml": b"<?xml version='1.0'?><!DOCTYPE a [<!ENTITY b 'c'>]><a>&b;</a>",
            "elf": Path("/bin/true").read_bytes(),
        }[kind]
    return rng.choice(
        [
            ".jpg",
            ".tif",
            ".png",
            ".webp",
            ".dng",
            ".nef",
            ".heic",
            ".svg",
            ".v",
            ".csv",
            "",
            ".jpg[shrink=8]",
            ".pdf",
            ".raw",
        ]
    ), data


DRAWS: dict[str, Draw] = {
    "tiff forms": _tiff,
    "png forms": _png,
    "jpeg forms": _jpeg,
    "webp forms": _webp,
    "heif": _heif,
    "bombs": _bombs,
    "foreign": _foreign,
}
_BASE_OF = {"tiff forms": "tiff", "png forms": "png", "jpeg forms": "jpeg", "webp forms": "webp"}


def picture(kind: str, seed: int) -> tuple[str, bytes]:
    """A picture of a kind; a third of the forms are whole, the others altered."""
    if kind in KINDS:
        return KINDS[kind], mutant(kind, seed)
    rng = random.Random(f"{kind} {seed}")
    ending, data = DRAWS[kind](rng)
    ways = [*_ANY_KIND, *_OF_A_KIND.get(_BASE_OF.get(kind, ""), [])]
    if len(data) > 50 and rng.random() < (0.15 if kind == "bombs" else 0.5):
        alter = rng.choice([way for way in ways if way not in _DIRECTORIES or kind == "tiff forms"])
        try:
            data = alter(data, rng)
        except (struct.error, IndexError, ValueError):  # it suits another form of the format
            data = data[: len(data) // 2]
    return ending, data


def attacked(kind: str, folder: Path, name: str) -> list[str]:
    """Check and make a picture's two prints; return what was wrong."""
    stages = {**STAGES, "delivery": {"format": "tiff", "bit_depth": 16, "keep_master": True}}
    plain = {"picture": "plain"}
    every = {"picture": "every", **stages}
    values = job_values(
        [plain, every],
        (90, 60),
        job={"output": "out"},
        limits={"source_megapixels": 1000},
        pictures={"plain": {"source": name}, "every": {"source": name, **MARKS}},
    )
    job = folder / "job.toml"
    job.write_text(tomli_w.dumps(values))
    out = folder / "out"
    before = tree(folder, without=[out])
    faults = []
    checked = run(["check", job, "--json"], folder)
    faults += [f"check: {each}" for each in wrong(checked)]
    if checked.peak_mib > _CHECK_MIB:
        faults.append(f"check took {checked.peak_mib:.0f} MiB")
    made = run(["make", job, "--workers", "1", "--json"], folder, 120)
    faults += [f"make: {each}" for each in wrong(made, seconds=60 if kind == "bombs" else 20)]
    if made.estimate_mib and made.peak_mib > made.estimate_mib + _SLACK_MIB:
        faults.append(f"make took {made.peak_mib:.0f} MiB, estimated {made.estimate_mib:.0f}")
    if checked.code == 2:
        faults.append(f"the job itself was refused: {checked.said[:200]}")
    faults += [f"{each.replace(str(folder), '.')}" for each in _changed(before, folder, out)]
    faults += half(out)
    faults += _unsaid(made.out)
    return faults


def _changed(before: dict[str, object], folder: Path, out: Path) -> list[str]:
    after = tree(folder, without=[out])
    return [f"changed: {name}" for name in before.keys() ^ after.keys()] + [
        f"changed: {name}" for name in before.keys() & after.keys() if before[name] != after[name]
    ]


def _unsaid(out: str) -> list[str]:
    """Prints that were not made and about which nothing is said in one line."""
    try:
        prints = json.loads(out)["prints"]
    except (ValueError, KeyError, TypeError):
        return []
    found = []
    for each in prints:
        if each.get("status") in ("refused", "failed"):
            said = [one.get("message", "") for one in each.get("findings", [])]
            if not any(said):
                found.append(f"{each.get('status')} without a sentence: {each}"[:300])
            found += [f"more than a line: {one!r}" for one in said if "\n" in one]
    return found


def main() -> None:
    """Print so many of each kind and report."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=60, help="pictures of each of 12 kinds")
    parser.add_argument("--first", type=int, default=0, help="first seed")
    parser.add_argument("--kind", choices=[*KINDS, *DRAWS], action="append")
    parser.add_argument("--keep", type=Path, help="folder for the pictures that are wrong")
    chosen = parser.parse_args()
    table = Table()
    with tempfile.TemporaryDirectory() as scratch:
        tempfile.tempdir = scratch
        place = Path(scratch) / "world"
        place.mkdir()
        warm = place / "warm.jpg"
        Image.fromarray(scene()).save(warm)
        job = place / "job.toml"
        values = job_values([{"source": "warm.jpg", **STAGES}], job={"output": "out"})
        job.write_text(tomli_w.dumps(values))
        load_all(job)
        warm.unlink()
        for kind in chosen.kind or [*KINDS, *DRAWS]:
            for seed in range(chosen.first, chosen.first + chosen.count):
                _one(kind, seed, place, table, chosen.keep)
    table.end()


def _one(kind: str, seed: int, place: Path, table: Table, keep: Path | None) -> None:
    note = place / "note"

    def write() -> None:
        ending, data = picture(kind, seed)
        (place / f"p{ending}").write_bytes(data)
        note.write_text(f"p{ending}")

    if in_a_fork(write):
        print(f"{kind} {seed} could not be drawn", flush=True)
        return
    name = note.read_text()
    note.unlink()
    faults = attacked(kind, place, name)
    table.add(kind, f"seed {seed} ({name})", faults)
    if faults and keep is not None:
        keep.mkdir(exist_ok=True)
        (place / name).rename(keep / f"{kind.replace(' ', '-')}-{seed}{name[1:]}")
    for each in place.iterdir():
        if each.is_dir():
            import shutil

            shutil.rmtree(each)
        else:
            each.unlink()


if __name__ == "__main__":
    main()

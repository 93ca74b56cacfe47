"""Damaged and malicious pictures: small ones of each format, altered in many seeded ways."""

import io
import random
import struct
import tempfile
import zlib
from collections.abc import Callable, Container, Sequence
from functools import cache
from pathlib import Path

import numpy as np
import pyvips
from numpy.typing import NDArray
from PIL import Image

from dng import mosaic, seen, write_dng
from icc_profiles import built_in

Alter = Callable[[bytes, random.Random], bytes]

KINDS = {"jpeg": ".jpg", "png": ".png", "tiff": ".tif", "webp": ".webp", "dng": ".dng"}
_PX = (64, 48)
_SMALL_BOMB = 8 * 2**20
_SIDES, _STRIPS, _NEXT_TAGS = (256, 257), (278, 322, 323), (330, 34665, 34853)
"""Tags of TIFF 6.0 and Exif 2.3: sides; rows a strip and sides of a tile; other directories."""
_DEEP = 400


def original(kind: str, rng: random.Random) -> bytes:
    """A whole picture of a kind, one of several ways in which the kind is written."""
    scene = np.random.default_rng(5).integers(20, 230, (_PX[1], _PX[0], 3)).astype(np.uint8)
    if kind == "dng":
        return _dng(scene)
    image = Image.fromarray(scene)
    return {"jpeg": _jpeg, "png": _png, "tiff": _tiff, "webp": _webp}[kind](image, rng)


def _words() -> Image.Exif:
    exif = Image.Exif()
    exif[0x010E] = "Cox with megaphone"
    exif[0x0112] = 6
    exif.get_ifd(0x8769)[0xA431] = "BODY-1"
    return exif


def _saved(image: Image.Image, kind: str, **options: object) -> bytes:
    held = io.BytesIO()
    image.save(held, kind, icc_profile=built_in("srgb"), **options)
    return held.getvalue()


def _jpeg(image: Image.Image, rng: random.Random) -> bytes:
    return _saved(image, "JPEG", exif=_words(), xmp=b"<x/>", progressive=rng.random() < 0.3)


def _png(image: Image.Image, rng: random.Random) -> bytes:
    mode = rng.choice(["RGB", "RGBA", "P"])
    return _saved(image.convert(mode), "PNG", exif=_words())


def _tiff(image: Image.Image, rng: random.Random) -> bytes:
    if rng.random() < 0.3:
        tiles = pyvips.Image.new_from_array(np.asarray(image))
        return bytes(tiles.tiffsave_buffer(tile=True, tile_width=16, tile_height=16))
    more = [image] * 3 if rng.random() < 0.3 else []
    compression = rng.choice([None, "tiff_lzw", "tiff_adobe_deflate", "jpeg", "packbits"])
    return _saved(
        image, "TIFF", exif=_words(), compression=compression, append_images=more, save_all=True
    )


def _webp(image: Image.Image, rng: random.Random) -> bytes:
    more = [image.rotate(90, expand=False)] * 3 if rng.random() < 0.3 else []
    lossless = rng.random() < 0.3
    return _saved(
        image, "WEBP", exif=_words(), lossless=lossless, append_images=more, save_all=bool(more)
    )


def _dng(scene: NDArray[np.uint8]) -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.dng"
        write_dng(path, mosaic(seen((scene / 255.0) ** 2.2)), camera=np.array([0.5, 1.0, 0.6]))
        return path.read_bytes()


def mutant(kind: str, seed: int) -> bytes:
    """A picture of a kind, altered in the way that the seed draws."""
    rng = random.Random(f"{kind} {seed}")
    alter = rng.choice([*_ANY_KIND, *_OF_A_KIND[kind] * 2])
    return alter(original(kind, rng), rng)


# Ways that suit every format.


def _truncated(data: bytes, rng: random.Random) -> bytes:
    return data[: rng.randrange(len(data))]


def _flipped(data: bytes, rng: random.Random) -> bytes:
    return _with_flips(data, rng, len(data))


def _flipped_head(data: bytes, rng: random.Random) -> bytes:
    return _with_flips(data, rng, min(400, len(data)))


def _with_flips(data: bytes, rng: random.Random, within: int) -> bytes:
    held = bytearray(data)
    for _ in range(rng.choice([1, 2, 8, 40])):
        held[rng.randrange(within)] = rng.choice([0, 1, 0x7F, 0x80, 0xFF, rng.randrange(256)])
    return bytes(held)


def _block_of_one_byte(data: bytes, rng: random.Random) -> bytes:
    at, size = rng.randrange(len(data)), rng.choice([4, 64, 1000])
    return (data[:at] + rng.choice([b"\0", b"\xff"]) * size + data[at + size :])[: len(data)]


def _part_missing(data: bytes, rng: random.Random) -> bytes:
    at = rng.randrange(len(data))
    return data[:at] + data[at + rng.choice([1, 4, 300]) :]


def _part_twice(data: bytes, rng: random.Random) -> bytes:
    at, size = rng.randrange(len(data)), rng.choice([1, 12, 800])
    return data[: at + size] + data[at:]


def _noise_behind(data: bytes, rng: random.Random) -> bytes:
    return data[: rng.randrange(8, 40)] + rng.randbytes(3000)


# JPEG (ITU-T T.81): segments of marker, length and data.


def _segment(marker: int, data: bytes) -> bytes:
    return struct.pack(">BBH", 0xFF, marker, len(data) + 2) + data


def _huge_frame(data: bytes, rng: random.Random) -> bytes:
    """The sides that the frame header states become something else."""
    held = bytearray(data)
    for marker in (b"\xff\xc0", b"\xff\xc2"):
        at = data.find(marker)
        if at >= 0 and at + 9 <= len(held):
            sides = rng.choice([(65535, 65535), (0, 64), (48, 0), (65535, 1), (20000, 20000)])
            struct.pack_into(">HH", held, at + 5, *sides)
    return bytes(held)


def _giant_blocks(data: bytes, rng: random.Random) -> bytes:
    """A profile, XMP or Exif of many segments, as large as their counters allow."""
    count = rng.choice([3, 100, 255])
    profile = [b"ICC_PROFILE\0" + bytes([at % 256, count]) + bytes(65000) for at in range(1, count)]
    xmp = [b"http://ns.adobe.com/xap/1.0/\0" + b"<a>" * 21000] * count
    exif = [b"Exif\0\0II*\0" + rng.randbytes(60000)] * count
    marker, blocks = rng.choice([(0xE2, profile), (0xE1, xmp), (0xE1, exif)])
    return data[:2] + b"".join(_segment(marker, block) for block in blocks) + data[2:]


# PNG (ISO/IEC 15948): chunks of length, name, data and checksum.


def _chunk(name: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))


def _png_header(data: bytes, width: int, height: int, depth: int = 8, colour: int = 2) -> bytes:
    head = struct.pack(">IIBBBBB", width, height, depth, colour, 0, 0, 0)
    return data[:8] + _chunk(b"IHDR", head)


def _huge_header(data: bytes, rng: random.Random) -> bytes:
    sides = rng.choice([(2**31 - 1, 2**31 - 1), (0, 0), (2**31, 5), (30000, 30000), (1, 10**6)])
    depth, colour = rng.choice([(8, 2), (16, 6), (1, 0), (8, 3), (5, 9)])
    return _png_header(data, *sides, depth, colour) + data[33:]


@cache
def _packed_nothing(times: int) -> bytes:
    return zlib.compress(bytes(_SMALL_BOMB * times), 9)


def _pixel_bomb(data: bytes, rng: random.Random) -> bytes:
    """Data that unpack to far more than the header states, or to just what a large one does."""
    width, height = rng.choice([(64, 48), (4000, 3000), (25000, 25000)])
    packed = _packed_nothing(rng.choice([1, 4]))
    return _png_header(data, width, height) + _chunk(b"IDAT", packed) + _chunk(b"IEND", b"")


def _block_bomb(data: bytes, rng: random.Random) -> bytes:
    packed = _packed_nothing(4)
    name = rng.choice([b"iCCP", b"zTXt", b"iTXt"])
    head = b"XML:com.adobe.xmp\0\1\0\0\0" if name == b"iTXt" else b"profile\0\0"
    return data[:33] + _chunk(name, head + packed) + data[33:]


def _many_chunks(data: bytes, rng: random.Random) -> bytes:
    name = rng.choice([b"tEXt", b"IDAT", b"iCCP", b"PLTE", b"IHDR", b"tRNS", b"eXIf"])
    return data[:33] + _chunk(name, b"a\0" + bytes(10)) * rng.choice([2, 5000]) + data[33:]


# TIFF 6.0 and DNG: directories of entries that point anywhere.


def _directory(data: bytes) -> tuple[str, int, int]:
    """Byte order, place and count of the first directory."""
    order = "<" if data[:2] == b"II" else ">"
    (at,) = struct.unpack_from(order + "I", data, 4)
    return order, at, struct.unpack_from(order + "H", data, at)[0]


def _wrong_entry(data: bytes, rng: random.Random) -> bytes:
    """One field of some entries states something else."""
    order, at, count = _directory(data)
    held = bytearray(data)
    for _ in range(rng.choice([1, 1, 2, 4])):
        entry = at + 2 + 12 * rng.randrange(count)
        offset, form = rng.choice([(0, "H"), (2, "H"), (4, "I"), (8, "I"), (8, "I")])
        wrong = [0, 1, 7, 0x7FFF, 0xFFFF, 0xFFFFFFFF, 0x7FFFFFFF, at, len(data) - 2]
        largest = 0xFFFF if form == "H" else 0xFFFFFFFF
        struct.pack_into(order + form, held, entry + offset, min(rng.choice(wrong), largest))
    return bytes(held)


def _wrong_sides(data: bytes, rng: random.Random) -> bytes:
    return _with_lengths(data, _SIDES, [0, 1, 65000, 300000, 0x7FFFFFFF, 0xFFFFFFFF], rng)


def _wrong_strips(data: bytes, rng: random.Random) -> bytes:
    """Strips or tiles far larger than the picture, or none."""
    return _with_lengths(data, _STRIPS, [0, 1, 16, 4096, 65008, 0x7FFFFFF0], rng)


def _with_lengths(
    data: bytes, tags: Container[int], lengths: Sequence[int], rng: random.Random
) -> bytes:
    """One of some lengths drawn for each entry of the directory that has one of the tags."""
    order, at, count = _directory(data)
    held = bytearray(data)
    for entry in range(at + 2, at + 2 + 12 * count, 12):
        (tag,) = struct.unpack_from(order + "H", held, entry)
        if tag in tags:
            struct.pack_into(order + "HII", held, entry + 2, 4, 1, rng.choice(lengths))
    return bytes(held)


def _looping(data: bytes, rng: random.Random) -> bytes:
    """The directory that follows, or one that an entry names, is the first one again."""
    order, at, count = _directory(data)
    held = bytearray(data)
    if rng.random() < 0.5:
        struct.pack_into(order + "I", held, at + 2 + 12 * count, at)
    entry = at + 2 + 12 * rng.randrange(count)
    struct.pack_into(order + "HHII", held, entry, rng.choice(_NEXT_TAGS), 4, 1, at)
    return bytes(held)


def _deep(data: bytes, rng: random.Random) -> bytes:
    """A chain of copies of the first directory, the last of which ends or closes the loop."""
    order, at, count = _directory(data)
    entries = data[at : at + 2 + 12 * count]
    held, begin = bytearray(data), len(data)
    struct.pack_into(order + "I", held, at + 2 + 12 * count, begin)
    for step in range(1, _DEEP + 1):
        last = rng.choice([0, at]) if step == _DEEP else begin + step * (len(entries) + 4)
        held += entries + struct.pack(order + "I", last)
    return bytes(held)


# WebP: RIFF chunks, sides in the bits of VP8, VP8L or VP8X.


def _wrong_chunks(data: bytes, rng: random.Random) -> bytes:
    held = bytearray(data)
    name = rng.choice([b"VP8 ", b"VP8L", b"VP8X", b"ANMF", b"ICCP", b"EXIF", b"RIFF"])
    at = data.find(name)
    if at >= 0:
        struct.pack_into("<I", held, at + 4, rng.choice([0, 1, 9, 0xFFFF, 0xFFFFFFFE, 0x7FFFFFFF]))
    return bytes(held)


def _huge_canvas(data: bytes, rng: random.Random) -> bytes:
    held = bytearray(data)
    for name, offset in ((b"VP8X", 12), (b"VP8L", 9), (b"VP8 ", 14)):
        at = data.find(name)
        if 0 <= at < len(data) - offset - 6:
            held[at + offset : at + offset + 6] = rng.choice([b"\xff" * 6, bytes(6)])
            break
    return bytes(held)


_ANY_KIND: list[Alter] = [
    _truncated,
    _flipped,
    _flipped_head,
    _block_of_one_byte,
    _part_missing,
    _part_twice,
    _noise_behind,
]
_DIRECTORIES: list[Alter] = [_wrong_entry, _wrong_sides, _wrong_strips, _looping, _deep]
_OF_A_KIND: dict[str, list[Alter]] = {
    "jpeg": [_huge_frame, _giant_blocks],
    "png": [_huge_header, _pixel_bomb, _block_bomb, _many_chunks],
    "tiff": _DIRECTORIES,
    "webp": [_wrong_chunks, _huge_canvas],
    "dng": _DIRECTORIES,
}

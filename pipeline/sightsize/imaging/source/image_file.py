"""The one way in which libvips is given a picture file: its bytes through reads, never its name.

libvips takes brackets in a name for options, and maps files into memory: one that is cut short
while it is printed would then kill the process. Here a file is opened plainly, its kind is told by
its first bytes, and that kind's decoder reads it through calls that can fail.
"""

import errno
import os
import threading
import weakref
from io import FileIO
from pathlib import Path
from typing import Any, Literal

import pyvips

from sightsize.base.deadline import time_check
from sightsize.base.icc import MOST_PROFILE_BYTES
from sightsize.base.machine_memory import share_one_heap
from sightsize.base.plain_text import one_line
from sightsize.base.reading import open_plain
from sightsize.base.units import bytes_text
from sightsize.errors import SourceError
from sightsize.imaging.raster.header_fields import blob

_DECODERS = {
    "JPEG": "VipsForeignLoadJpeg",
    "PNG": "VipsForeignLoadPng",
    "TIFF": "VipsForeignLoadTiff",
    "WebP": "VipsForeignLoadWebp",
    "HEIF": "VipsForeignLoadHeif",
}
"""Each kind of picture that is read, with libvips' name for its decoders."""

Access = Literal["sequential", "random"]

MOST_METADATA_BYTES = MOST_PROFILE_BYTES
_METADATA = {
    "icc-profile-data": "colour profile",
    "exif-data": "Exif",
    "xmp-data": "XMP",
    "iptc-data": "IPTC",
}

_HEAD_BYTES = 12
_MOST_HEADER_BYTES = 2**29
"""Of a WebP or HEIF all is read before its header is known."""
_HEIF_BRANDS = frozenset(
    b"heic heix hevc hevx heim heis hevm hevs mif1 mif2 msf1 avif avis".split()
)
"""ISO 23008-12 and the AVIF specification, from memory."""
_TIFF_HEADS = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")
_FAILED = -1


def _use_only_our_decoders() -> None:
    """Have libvips refuse every other decoder; some run programs, inflate or draw for ever."""
    pyvips.operation_block_set("VipsForeignLoad", True)
    for decoder in _DECODERS.values():
        pyvips.operation_block_set(decoder, False)


# Finished operations would keep pictures alive long after their print is written.
pyvips.cache_set_max(0)
share_one_heap()
_use_only_our_decoders()


class _Reader:
    """A file as libvips asks for it, from whatever thread; nothing is raised through libvips.

    ``fault`` is what went wrong, of which libvips is only told that something did.
    """

    def __init__(self, file: FileIO) -> None:
        self._file, self._at = file, 0
        self._turn = threading.Lock()
        self._check_time = time_check()
        self._left = _MOST_HEADER_BYTES
        self._opened = False
        self.fault: BaseException | None = None
        self.head = file.read(_HEAD_BYTES)
        self._size = file.seek(0, os.SEEK_END)
        file.seek(0)
        weakref.finalize(self, file.close)  # not before, even where both are found as garbage

    def read(self, buffer: Any) -> int:
        """Fill libvips' buffer; fewer bytes than the file had when it was opened are a fault."""
        try:
            self._check_time()
            with self._turn:
                there = min(len(buffer), max(self._size - self._at, 0))
                count = self._file.readinto(buffer)
                self._at += count
            if count < there:
                raise OSError(errno.EIO, "it was cut short while it was read")
            self._left -= count
            if self._left < 0 and not self._opened:
                raise OSError(
                    errno.EFBIG, f"no picture within its first {bytes_text(_MOST_HEADER_BYTES)}"
                )
        except BaseException as error:
            self.fault = error
            return _FAILED
        return count

    def opened(self) -> None:
        """Let all of the file be read from now on: its header was found."""
        self._opened = True

    def seek(self, offset: int, whence: int) -> int:
        """Go to a place in the file."""
        try:
            with self._turn:
                self._at = self._file.seek(offset, whence)
        except BaseException as error:
            self.fault = error
            return _FAILED
        return self._at


def open_image(path: Path, *, access: Access = "sequential", shrink: int = 1) -> pyvips.Image:
    """Return the pixels of a picture file, which is read when they are wanted, as stored.

    ``shrink`` is what a JPEG's decoder is to shrink by. Raises OSError for what is no plain file,
    SourceError for one of another kind or with too much beside its pixels, pyvips.Error for one
    that is damaged, OutOfTimeError; damage to the pixels shows when they are read.
    """
    reader = _Reader(open_plain(path))
    kind = _kind(reader.head)
    if kind is None:
        raise SourceError(
            f"{path.name} is in a format that cannot be read; save it as JPEG, TIFF or PNG"
        )
    source = pyvips.SourceCustom()
    source.signal_connect("read", reader.read)
    source.signal_connect("seek", reader.seek)
    options: dict[str, Any] = {"shrink": shrink} if shrink > 1 else {}
    try:
        image = pyvips.Operation.call(
            f"{kind.lower()}load_source", source, access=access, fail_on="error", **options
        )
    except pyvips.Error:
        if reader.fault is not None:
            raise reader.fault from None
        raise
    reader.opened()
    assert isinstance(image, pyvips.Image)
    # What is made of the image keeps this list, and so the callbacks, for as long as it is read.
    image._references.append(source)
    _refuse_too_much(path, image)
    return image


def _refuse_too_much(path: Path, image: pyvips.Image) -> None:
    """Refuse what a few kilobytes of a file may have been inflated to.

    It is not left out instead: a profile or a copyright would be lost without a word.
    """
    for name, what in _METADATA.items():
        size = len(blob(image, name))
        if size > MOST_METADATA_BYTES:
            raise SourceError(
                f"{path.name} carries {bytes_text(size)} of {what}, and at most "
                f"{bytes_text(MOST_METADATA_BYTES)} are read; export it again without"
            )


def _kind(head: bytes) -> str | None:
    """The kind of picture that a file's first bytes are of, None for one that is not read."""
    if head[:3] == b"\xff\xd8\xff":
        return "JPEG"
    if head[:8] == b"\x89PNG\r\n\x1a\n":
        return "PNG"
    if head[:4] in _TIFF_HEADS:
        return "TIFF"
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP":
        return "WebP"
    if head[4:8] == b"ftyp" and head[8:12] in _HEIF_BRANDS:
        return "HEIF"
    return None


def kind_of(image: pyvips.Image) -> str:
    """Return the kind of file that a picture was opened from."""
    decoder = str(image.get("vips-loader")).removesuffix("load_source")
    return next(kind for kind in _DECODERS if kind.lower() == decoder)


def last_word(error: pyvips.Error) -> str:
    """Return the last line of what libvips says of an error."""
    lines = [line for line in map(one_line, str(error.detail).splitlines()) if line]
    return lines[-1] if lines else "no reason given"

"""A sheet encoded: JPEG or TIFF with its tags."""

import os
import struct
from pathlib import Path

import pyvips

from sightsize.base.deadline import stop_in_time
from sightsize.delivery.captions import write_exif_words
from sightsize.delivery.metadata import captions_of, save_tiff, tag
from sightsize.imaging.analysis.study import Study
from sightsize.imaging.colour.output import output_profile
from sightsize.imaging.render import sheet_image
from sightsize.plan.estimates import coding_bytes
from sightsize.plan.picture import PicturePlan
from sightsize.plan.sheet import FilePlan

_START_OF_IMAGE_BYTES = 2
"""Those of the marker that every JPEG begins with."""
_MOVED_BYTES = 2**20


def write_file(file: FilePlan[PicturePlan], part: Path, identity: str) -> tuple[Study, ...]:
    """Write the sheet; return what was found in its pictures.

    The words that the file carries are those of its first picture.
    """
    source, delivery = file.request.look.picture.source, file.delivery
    captions = captions_of(source)
    sheet = sheet_image(file)
    image = stop_in_time(
        tag(sheet.image, delivery, output_profile(delivery), source, captions, identity)
    )
    if delivery.format == "tiff":
        save_tiff(image, part)
        return sheet.found
    image.jpegsave(
        str(part),
        Q=delivery.quality,
        subsample_mode="off",
        optimize_coding=coding_bytes(image.width, image.height) > 0,
        keep=pyvips.ForeignKeep.ALL,
    )
    write_exif_words(part, captions)
    if image.bands in (1, 3):  # the colours that JFIF knows
        _insert_jfif(part, round(delivery.ppi))
    return sheet.found


def _insert_jfif(path: Path, ppi: int) -> None:
    """Put a JFIF 1.02 header with the density in front; libvips leaves it out beside Exif.

    The file moves on by the header's length, a block at a time from its end.
    """
    header = b"\xff\xe0" + struct.pack(">H5sHBHHBB", 16, b"JFIF\0", 0x0102, 1, ppi, ppi, 0, 0)
    with path.open("r+b") as file:
        end = file.seek(0, os.SEEK_END)
        while end > _START_OF_IMAGE_BYTES:
            start = max(end - _MOVED_BYTES, _START_OF_IMAGE_BYTES)
            file.seek(start)
            block = file.read(end - start)
            file.seek(start + len(header))
            file.write(block)
            end = start
        file.seek(_START_OF_IMAGE_BYTES)
        file.write(header)

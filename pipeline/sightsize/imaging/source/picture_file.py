"""Picture files that libvips reads: what a header says, and the upright pixels.

Reads JPEG, PNG, TIFF and WebP, and HEIF where the libvips at hand can. A source is only ever read.
"""

from io import BytesIO
from pathlib import Path

import pyvips

from sightsize.base.deadline import stop_in_time
from sightsize.base.icc import ColourModel, profile_colour, profile_name
from sightsize.base.paths import is_file, say_missing
from sightsize.base.plain_text import one_line
from sightsize.base.reading import open_plain
from sightsize.base.tiff_words import texts, whole_number
from sightsize.errors import SourceError, reason_of
from sightsize.imaging.raster.header_fields import blob, orientation, text
from sightsize.imaging.source.image_file import kind_of, last_word, open_image
from sightsize.model.header import Header

_COLOURS: dict[str, ColourModel] = {
    "srgb": "rgb",
    "rgb": "rgb",
    "rgb16": "rgb",
    "b-w": "grey",
    "grey16": "grey",
    "cmyk": "cmyk",
}
_BANDS = {"rgb": 3, "grey": 1, "cmyk": 4}
_CAMERA_TAGS = {0x0110: "model", 0xA431: "serial"}
"""Model of TIFF 6.0 and BodySerialNumber of Exif 2.3."""
_ROWS_PER_STRIP = 0x0116
"""A tag of TIFF 6.0."""
_BITS = {"uchar": 8, "ushort": 16}


def read_header(path: Path) -> Header:
    """Return a picture's header. Raises SourceError when there is none to read."""
    try:
        return _read_header(path)
    except OSError as error:
        raise SourceError(say_unreadable(path, error)) from error


def say_unreadable(path: Path, error: OSError) -> str:
    """Return a sentence about a file that the system does not let be read."""
    return f"{path.name} cannot be read ({reason_of(error)})"


def _read_header(path: Path) -> Header:
    image = _open(path, sequential=True)
    colour, bits = _COLOURS.get(str(image.interpretation)), _BITS.get(str(image.format))
    bands = _BANDS[colour] if colour else 0
    if colour is None or bits is None or image.bands not in (bands, bands + 1):
        raise SourceError(
            f"{path.name} holds {image.bands} {image.format} channels ({image.interpretation}); "
            "save it as 8- or 16-bit grey, RGB or CMYK"
        )
    return _header(path, image, colour, bits)


def _header(path: Path, image: pyvips.Image, colour: ColourModel, bits: int) -> Header:
    format_name = kind_of(image)
    profile = embedded_profile(image, colour)
    exif = blob(image, "exif-data")
    model, serial = camera_names(path, exif)
    return Header(
        width_px=image.width,
        height_px=image.height,
        orientation=orientation(image),
        colour=colour,
        bits=bits,
        has_alpha=image.bands > _BANDS[colour],
        format=format_name,
        profile=profile_name(profile) if profile else "",
        says_srgb=profile is None and colour != "cmyk" and _says_srgb(image, format_name),
        bytes=path.stat().st_size,
        camera_model=model,
        camera_serial=serial,
        rows_at_once=_rows_at_once(path, image, format_name),
    )


def _rows_at_once(path: Path, image: pyvips.Image, format_name: str) -> int:
    """How many rows the picture's decoder holds together."""
    if format_name in ("WebP", "HEIF") or text(image, "interlaced") == "1":
        return int(image.height)
    if format_name != "TIFF":
        return 1
    rows = text(image, "tile-height")
    if not rows:
        with open_plain(path) as file:
            rows = str(whole_number(file, _ROWS_PER_STRIP) or 1)
    return min(int(rows), int(image.height))


def camera_names(path: Path, exif: bytes = b"") -> tuple[str, str]:
    """Return camera model and serial number from an Exif block, or from a file built like a TIFF.

    Either is empty when it is not there.
    """
    with open_plain(path) as file:
        found = texts(BytesIO(exif.removeprefix(b"Exif\0\0")), _CAMERA_TAGS) or texts(
            file, _CAMERA_TAGS
        )
    return one_line(found.get("model", "")), one_line(found.get("serial", ""))


def _open(path: Path, *, sequential: bool, shrink: int = 1) -> pyvips.Image:
    if not is_file(path):
        raise SourceError(say_missing(path))
    if not path.stat().st_size:  # as a file of the system's own, under /proc, says too
        raise SourceError(f"{path.name} is empty; export it again")
    try:
        image = open_image(path, access="sequential" if sequential else "random", shrink=shrink)
    except OSError as error:
        raise SourceError(say_unreadable(path, error)) from error
    except pyvips.Error as error:
        raise SourceError(
            f"{path.name} is not a readable picture ({last_word(error)}); export it again"
        ) from error
    return stop_in_time(image)


def can_be_decoded(path: Path) -> bool:
    """Return whether all of a picture can be decoded, which is tried."""
    try:
        _open(path, sequential=True).avg()
    except (OSError, SourceError, pyvips.Error):
        return False
    return True


def embedded_profile(image: pyvips.Image, colour: ColourModel) -> bytes | None:
    """Return the embedded ICC profile, or None when there is none that fits the channels."""
    profile = blob(image, "icc-profile-data")
    return profile if profile_colour(profile) == colour else None


def _says_srgb(image: pyvips.Image, format_name: str) -> bool:
    # WebP and HEIF without a profile are sRGB by their own specifications (from memory).
    if format_name in ("WebP", "HEIF"):
        return True
    return text(image, "exif-ifd2-ColorSpace").startswith("1 ")


def expect_size(path: Path, image: pyvips.Image, header: Header, shrink: int) -> None:
    """Raise SourceError when an opened picture is not of the size that its header stated.

    Decoders that shrink differ in what becomes of a last, incomplete pixel.
    """
    sides = ((image.width, header.width_px), (image.height, header.height_px))
    if any(not whole // shrink <= found <= -(-whole // shrink) for found, whole in sides):
        raise SourceError(f"{path.name} changed while the job was running; run it again")


def open_upright(path: Path, header: Header, *, streamed: bool, shrink: int = 1) -> pyvips.Image:
    """Return the upright pixels, alpha laid onto white, streamed from the file where possible.

    An orientation other than 1, or parts wanted in any order, need the pixels out of order; they
    are then decoded to memory (or to a temporary file beyond libvips' limit). Raises SourceError.
    """
    image = _open(path, sequential=streamed and header.orientation == 1, shrink=shrink)
    expect_size(path, image, header, shrink)
    if image.hasalpha():
        white = 255 if header.bits == 8 else 65535
        image = image.flatten(background=[white])
    return image if header.orientation == 1 else image.autorot()

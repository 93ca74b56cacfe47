"""What a file carries beside its pixels: density, profile, words, identity; nothing else."""

from pathlib import Path

import pyvips

from sightsize import __version__
from sightsize.base.units import MM_PER_INCH
from sightsize.delivery.captions import (
    Captions,
    exif_placeholder,
    identity_in_xmp,
    read_captions,
    xmp_packet,
)
from sightsize.errors import SourceError
from sightsize.imaging.raster.header_fields import blob, set_blob, text
from sightsize.imaging.source.image_file import open_image
from sightsize.model.settings import Delivery

_BIG_TIFF_ABOVE = 3 * 2**30
_SERIALS = ("exif-ifd2-BodySerialNumber", "exif-ifd2-LensSerialNumber")


def captions_of(source: Path) -> Captions:
    """Return the words of a source."""
    header = _header(source)
    return read_captions(
        source, *(blob(header, name) for name in ("exif-data", "xmp-data", "iptc-data"))
    )


def identity_of(path: Path) -> str:
    """Return the identity that a file carries, empty when it has none or is no picture."""
    try:
        image = open_image(path)
    except (OSError, SourceError, pyvips.Error):
        return ""
    return identity_in_xmp(blob(image, "xmp-data"))


def _header(source: Path) -> pyvips.Image:
    """A source as libvips opens it, for its words; an empty picture for raw files it cannot."""
    try:
        return open_image(source)
    except (SourceError, pyvips.Error):
        return pyvips.Image.black(1, 1)


def save_tiff(image: pyvips.Image, path: Path) -> None:
    """Write a tagged image as a TIFF, a BigTIFF when it is large."""
    image.tiffsave(
        str(path),
        compression="deflate",
        predictor="horizontal",
        resunit="inch",
        bigtiff=image.width * image.height * image.bands * 2 > _BIG_TIFF_ABOVE,
        keep=pyvips.ForeignKeep.ALL,
    )


def tag(
    image: pyvips.Image,
    delivery: Delivery,
    profile: bytes,
    source: Path,
    captions: Captions,
    identity: str,
) -> pyvips.Image:
    """Return an image with density, profile, words and identity, and nothing else of its source."""
    # JFIF knows whole numbers only, and Exif beside it should say the same.
    ppi = delivery.ppi if delivery.format == "tiff" else round(delivery.ppi)
    px_per_mm = float(ppi / MM_PER_INCH)
    image = image.copy(
        xres=px_per_mm, yres=px_per_mm, interpretation=_interpretation(image, delivery)
    )
    image = _without_metadata(image)
    image.set_type(pyvips.GValue.gstr_type, "resolution-unit", "in")
    set_blob(image, "icc-profile-data", profile)
    set_blob(image, "xmp-data", xmp_packet(captions, f"sightsize {__version__}", identity))
    for name, words in _exif_fields(source, delivery, captions).items():
        image.set_type(pyvips.GValue.gstr_type, name, words)
    if captions.caption:
        image.set_type(pyvips.GValue.gstr_type, "image-description", captions.caption)
    return image


def _interpretation(image: pyvips.Image, delivery: Delivery) -> str:
    eight = {1: "b-w", 3: "srgb", 4: "cmyk"}
    sixteen = {1: "grey16", 3: "rgb16", 4: "cmyk"}
    return (eight if delivery.bit_depth == 8 else sixteen)[image.bands]


def _without_metadata(image: pyvips.Image) -> pyvips.Image:
    image = image.copy()
    built_in = {
        "width", "height", "bands", "format", "coding", "interpretation", "xoffset", "yoffset",
        "xres", "yres", "filename",
    }  # fmt: skip
    for name in image.get_fields():
        if name not in built_in:
            image.remove(name)
    return image


def _exif_fields(source: Path, delivery: Delivery, captions: Captions) -> dict[str, str]:
    fields = {
        "exif-ifd0-ImageDescription": exif_placeholder(captions.caption),
        "exif-ifd0-Artist": exif_placeholder(captions.creator),
        "exif-ifd0-Copyright": exif_placeholder(captions.copyright),
        "exif-ifd0-Orientation": "1",
        "exif-ifd2-ColorSpace": "1" if delivery.profile == "srgb" else "65535",
    }
    if delivery.location or delivery.serial_numbers:
        header = _header(source)
        place = [name for name in header.get_fields() if name.startswith("exif-ifd3-")]
        wanted = (
            *(place if delivery.location else ()),
            *(_SERIALS if delivery.serial_numbers else ()),
        )
        fields |= {name: text(header, name) for name in wanted}
    return {name: words for name, words in fields.items() if words}

"""Metadata of an image by libvips' names: profile, texts, orientation."""

from typing import Any, cast

import pyvips


def blob(image: pyvips.Image, name: str) -> bytes:
    """Return the bytes of a field, none where it is not there."""
    return bytes(cast(Any, image.get(name))) if image.get_typeof(name) else b""


def text(image: pyvips.Image, name: str) -> str:
    """Return a field as text, empty where it is not there."""
    return str(image.get(name)) if image.get_typeof(name) else ""


def orientation(image: pyvips.Image) -> int:
    """Return Exif's orientation, 1 to 8; 1 where there is none that means anything."""
    found = text(image, "orientation")
    return int(found) if found in tuple("12345678") else 1


def set_blob(image: pyvips.Image, name: str, data: bytes) -> None:
    """Set a field to bytes."""
    image.set_type(pyvips.GValue.blob_type, name, cast(Any, data))

"""From linear light to the six files."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any, cast

import numpy as np
import pyvips
from numpy.typing import NDArray
from PIL import Image

from scenery.canvas import Canvas
from scenery.noise import Field, grain
from scenery.profiles import OPRGB_GAMMA, built_in, oprgb, srgb_to_oprgb

REC709 = (0.2126, 0.7152, 0.0722)


def develop(canvas: Canvas, exposure: float = 1.0, shoulder: float = 0.75) -> None:
    """Expose, and roll the highlights off above `shoulder` instead of clipping them."""
    for band in canvas.bands():
        part = canvas.rgb[band.slices]
        part *= np.float32(exposure)
        top = part.max(axis=2, keepdims=True)
        room = np.float32(1 - shoulder)
        over = np.maximum(top - np.float32(shoulder), 0)
        rolled = np.float32(shoulder) + room * (1 - np.exp(-over / room))
        part *= np.where(over > 0, rolled / np.maximum(top, 1e-6), 1)


def sensor_noise(canvas: Canvas, name: str, amount: float = 0.004) -> None:
    """Shot and read noise in linear light, a little coarser in colour than in lightness."""
    for i, band in enumerate(canvas.bands()):
        part = canvas.rgb[band.slices]
        light = np.sqrt(np.clip(part[..., 1], 0, 1) * np.float32(0.9) + np.float32(0.012))
        shared = grain(band.shape, f"{name} light {i}") * light * np.float32(amount)
        for c in range(3):
            own = grain(band.shape, f"{name} {c} {i}") * light * np.float32(amount * 0.6)
            part[..., c] += shared + own


def encode_srgb(linear: Field) -> Field:
    """Linear light to sRGB values, both 0..1 (IEC 61966-2-1)."""
    v = np.clip(linear, 0, 1)
    return np.where(
        v <= 0.0031308, v * np.float32(12.92), np.float32(1.055) * v ** np.float32(1 / 2.4) - 0.055
    ).astype(np.float32)


def eight_bit(canvas: Canvas, name: str, extra: float = 0.0) -> NDArray[np.uint8]:
    """sRGB codes, with noise of 0.3 code (or `extra` more) so that no gradient makes steps."""
    out = np.empty(canvas.rgb.shape, np.uint8)
    for i, band in enumerate(canvas.bands()):
        code = encode_srgb(canvas.rgb[band.slices]) * np.float32(255)
        code += grain(code.shape, f"{name} dither {i}") * np.float32(max(0.3, extra))
        out[band.slices] = np.clip(code + np.float32(0.5), 0, 255).astype(np.uint8)
    return out


def write_oprgb_tiff(canvas: Canvas, path: Path) -> None:
    """16 bits a channel; what sRGB cannot hold, opRGB mostly can."""
    matrix = srgb_to_oprgb().astype(np.float32)
    out = np.empty(canvas.rgb.shape, np.uint16)
    for band in canvas.bands():
        light = np.clip(canvas.rgb[band.slices] @ matrix.T, 0, 1)
        out[band.slices] = light ** np.float32(1 / OPRGB_GAMMA) * np.float32(65535) + np.float32(
            0.5
        )
    image = pyvips.Image.new_from_array(out, interpretation="rgb16")
    image = image.copy(xres=300 / 25.4, yres=300 / 25.4)
    image.set_type(pyvips.GValue.blob_type, "icc-profile-data", cast(Any, oprgb()))
    image.tiffsave(str(path), compression="lzw", predictor="horizontal")


def write_jpeg(
    codes: NDArray[np.uint8],
    path: Path,
    quality: int,
    profile: bytes | None,
    exif: Image.Exif | None = None,
    chroma: str = "4:4:4",
) -> None:
    """A baseline JPEG; without a profile where none is given."""
    options: dict[str, object] = {"quality": quality, "subsampling": chroma, "dpi": (300, 300)}
    if profile is not None:
        options["icc_profile"] = profile
    if exif is not None:
        options["exif"] = exif
    Image.fromarray(codes).save(path, "JPEG", **options)


def write_grey_png(canvas: Canvas, path: Path) -> None:
    """8-bit grey, with the grey profile."""
    codes = eight_bit(canvas, path.name)[..., 1]
    image = Image.fromarray(np.ascontiguousarray(codes))
    image.save(path, "PNG", icc_profile=built_in("sgrey"), dpi=(300, 300))


def write_cmyk_tiff(canvas: Canvas, path: Path) -> None:
    """Through the profile with black point compensation; the profile is embedded."""
    light = np.empty_like(canvas.rgb)
    for band in canvas.bands():
        light[band.slices] = encode_srgb(canvas.rgb[band.slices]) * np.float32(65535)
    codes = (light + np.float32(0.5)).astype(np.uint16)
    image = pyvips.Image.new_from_array(codes, interpretation="rgb16")
    image = image.copy(xres=300 / 25.4, yres=300 / 25.4)
    inks = image.icc_transform(
        "cmyk", input_profile="srgb", intent="relative", black_point_compensation=True, depth=8
    )
    inks.tiffsave(str(path), compression="lzw", predictor="horizontal")


def exif(main: Mapping[int, object], camera: Mapping[int, object], gps: bool) -> Image.Exif:
    """An EXIF block; the place, where wanted, is a spot of open sea."""
    block = Image.Exif()
    for tag, value in main.items():
        block[tag] = value
    block.get_ifd(0x8769).update(camera)
    if gps:
        place = {1: "N", 2: (54.0, 30.0, 36.0), 3: "E", 4: (2.0, 15.0, 0.0)}
        block.get_ifd(0x8825).update({0: b"\x02\x03\x00\x00", **place})
    return block

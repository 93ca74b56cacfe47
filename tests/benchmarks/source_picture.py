"""Make the benchmark's source: a colour picture that decodes and compresses as a photograph does.

Ellipses of every size hide one another, as things in front of a lens do (the "dead leaves" model;
Lee, Mumford and Huang, Int. J. Computer Vision 41, 2001, from memory), under 1/f noise for
surfaces (Field, J. Opt. Soc. Am. A 4, 1987, from memory) and a trace of grain. Seeded.

    python source_picture.py TARGET WIDTH HEIGHT
"""

import sys
from pathlib import Path

import numpy as np
import pyvips
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFilter
from spec import Size

FloatImage = NDArray[np.float32]

SEED = 20
PIXELS_PER_LEAF = 400
SMALLEST_LEAF_PX, LARGEST_LEAF_PX = 6, 1500
LENS_BLUR_SIGMA_PX = 0.8
LIGHT_NOISE_CODES, COLOUR_NOISE_CODES, GRAIN_CODES = 10, 3, 1


def make_source(target: Path, size: Size) -> None:
    """Write the source picture as an sRGB JPEG of quality 95, chroma halved across (4:2:2)."""
    rng = np.random.default_rng(SEED)
    picture = np.asarray(_dead_leaves(rng, size), dtype=np.float32)
    picture += LIGHT_NOISE_CODES * _pink_noise(rng, size)[:, :, None]
    for band in range(3):
        picture[:, :, band] += COLOUR_NOISE_CODES * _pink_noise(rng, size)
    picture += GRAIN_CODES * rng.standard_normal((*picture.shape[:2], 1), dtype=np.float32)
    codes = np.clip(np.rint(picture), 0, 255).astype(np.uint8)
    profile = bytes(pyvips.Operation.call("profile_load", "srgb"))
    Image.fromarray(codes).save(
        target, "JPEG", quality=95, subsampling="4:2:2", icc_profile=profile
    )


def _dead_leaves(rng: np.random.Generator, size: Size) -> Image.Image:
    """Ellipses whose count falls with the cube of their radius: alike at every scale."""
    picture = Image.new("RGB", size, (120, 118, 112))
    draw = ImageDraw.Draw(picture)
    share = rng.random(size.width * size.height // PIXELS_PER_LEAF)
    kept = 1 - (SMALLEST_LEAF_PX / LARGEST_LEAF_PX) ** 2
    for radius in SMALLEST_LEAF_PX / np.sqrt(1 - share * kept):
        x, y = rng.random(2) * size
        half_width, half_height = radius * rng.uniform(0.5, 1.2, 2)
        colour = np.clip(rng.uniform(20, 235) + rng.normal(0, 14, 3), 0, 255).astype(int)
        edges = (x - half_width, y - half_height, x + half_width, y + half_height)
        draw.ellipse(edges, fill=tuple(colour.tolist()))
    return picture.filter(ImageFilter.GaussianBlur(LENS_BLUR_SIGMA_PX))


def _pink_noise(rng: np.random.Generator, size: Size) -> FloatImage:
    """Noise whose amplitude falls as 1/f, with a standard deviation of 1."""
    white = rng.standard_normal((size.height, size.width), dtype=np.float32)
    down, across = np.fft.fftfreq(size.height)[:, None], np.fft.rfftfreq(size.width)[None, :]
    frequency = np.hypot(down, across)
    frequency[0, 0] = np.inf
    pink = np.fft.irfft2(np.fft.rfft2(white) / frequency, s=white.shape)
    return np.asarray(pink / pink.std(), dtype=np.float32)


if __name__ == "__main__":
    make_source(Path(sys.argv[1]), Size(int(sys.argv[2]), int(sys.argv[3])))

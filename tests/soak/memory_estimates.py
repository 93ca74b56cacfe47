"""Soak: the estimate of a print's memory against what a process takes that makes it alone.

80 prints, each of another kind of source or another use of it; prints a table and ends with 1 when
an estimate is below 0.9 or above 2.5 times what was measured. By hand, on Linux:

    python tests/soak/memory_estimates.py [--only PATTERN ...]
"""

import argparse
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, field
from fnmatch import fnmatch
from functools import partial
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np
import pyvips
import tifffile

from icc_profiles import built_in
from memory import MIB, measure
from pictures import job
from sightsize.imaging.raster.header_fields import set_blob

LEAST, MOST = 0.9, 2.5
Maker = Callable[[Path], object]


@dataclass(frozen=True, kw_only=True)
class Case:
    """A print: what makes its source, its size in pixels, and what the job says of it."""

    source: str
    px: tuple[int, int]
    facts: dict[str, Any] = field(default_factory=dict)
    tables: dict[str, Any] = field(default_factory=dict)


def picture(width: int, height: int, bands: int = 3, bits: int = 8) -> pyvips.Image:
    """Soft patches with a little noise, in colour, grey or CMYK, profile and all."""
    coarse = pyvips.Image.gaussnoise(-(-width // 32), -(-height // 32), mean=120, sigma=40, seed=4)
    soft = coarse.resize(32, kernel="linear").crop(0, 0, width, height)
    image = soft + pyvips.Image.gaussnoise(width, height, mean=0, sigma=5, seed=5)
    others: list[pyvips.Image | int | float] = [image * 0.9 + 9, image * 0.8 + 20, image * 0.2]
    image = image.bandjoin(others[: bands - 1]) if bands > 1 else image
    space = {1: ("b-w", "grey16"), 3: ("srgb", "rgb16"), 4: ("cmyk", "cmyk")}[bands][bits == 16]
    image = image.cast("uchar") if bits == 8 else (image * 257).cast("ushort")
    image = image.copy(interpretation=space)
    set_blob(image, "icc-profile-data", built_in({1: "sgrey", 3: "srgb", 4: "cmyk"}[bands]))
    return image


def saved(
    path: Path,
    *,
    px: tuple[int, int],
    bands: int = 3,
    bits: int = 8,
    alpha: bool = False,
    orientation: int = 1,
    **options: Any,
) -> None:
    """Write a picture with libvips' saver of the path's kind."""
    image = picture(*px, bands, bits)
    if alpha:
        image = image.bandjoin(255 if bits == 8 else 65535)
    if orientation != 1:
        image.set_type(pyvips.GValue.gint_type, "orientation", orientation)
    image.write_to_file(str(path), **options)


def in_bits(path: Path, *, px: tuple[int, int], **options: Any) -> None:
    """Write a PNG of black and white."""
    (picture(*px, 1) > 120).pngsave(str(path), bitdepth=1, compression=1, **options)


def in_planes(path: Path, *, px: tuple[int, int], bits: int = 8) -> None:
    """Write a TIFF whose red, green and blue stand one after the other."""
    pixels = np.moveaxis(picture(*px, 3, bits).numpy(), -1, 0)
    tifffile.imwrite(
        path, pixels, photometric="rgb", planarconfig="separate", iccprofile=built_in("srgb")
    )


def made(ending: str, **options: Any) -> tuple[str, Maker]:
    return ending, partial(saved, **options)


MIDDLE, LARGE = (4000, 3000), (6000, 4000)
SOURCES: dict[str, tuple[str, Maker]] = {
    "jpeg": made("jpg", px=LARGE, Q=92),
    "jpeg grey": made("jpg", px=LARGE, bands=1, Q=92),
    "jpeg progressive": made("jpg", px=LARGE, Q=92, interlace=True),
    "jpeg progressive large": made("jpg", px=(12000, 9000), Q=80, interlace=True),
    "jpeg progressive grey": made("jpg", px=LARGE, bands=1, Q=92, interlace=True),
    "jpeg turned 6": made("jpg", px=LARGE, orientation=6, Q=92),
    "jpeg turned 3 progressive": made("jpg", px=LARGE, orientation=3, Q=92, interlace=True),
    "jpeg cmyk": made("jpg", px=MIDDLE, bands=4, Q=92),
    "jpeg little": made("jpg", px=(300, 200), Q=92),
    "jpeg wide": made("jpg", px=(40000, 600), Q=85),
    "jpeg tall": made("jpg", px=(600, 40000), Q=85),
    "png": made("png", px=LARGE, compression=1),
    "png 16": made("png", px=MIDDLE, bits=16, compression=1),
    "png alpha": made("png", px=MIDDLE, alpha=True, compression=1),
    "png grey": made("png", px=LARGE, bands=1, compression=1),
    "png interlaced": made("png", px=LARGE, compression=1, interlace=True),
    "png interlaced 16 alpha": made(
        "png", px=MIDDLE, bits=16, alpha=True, compression=1, interlace=True
    ),
    "png interlaced wide": made("png", px=(20000, 2000), compression=1, interlace=True),
    "png palette": made("png", px=MIDDLE, palette=True, effort=1),
    "png palette interlaced": made("png", px=MIDDLE, palette=True, effort=1, interlace=True),
    "bits": ("png", partial(in_bits, px=(20000, 20000))),
    "bits interlaced": ("png", partial(in_bits, px=(12000, 12000), interlace=True)),
    "bits wide": ("png", partial(in_bits, px=(60000, 3000))),
    "tiff": made("tif", px=LARGE),
    "tiff 16": made("tif", px=LARGE, bits=16),
    "tiff 16 deflate": made("tif", px=LARGE, bits=16, compression="deflate"),
    "tiff grey 16": made("tif", px=LARGE, bands=1, bits=16),
    "tiff lzw": made("tif", px=LARGE, compression="lzw", predictor="horizontal"),
    "tiff tiled": made("tif", px=LARGE, tile=True, compression="deflate"),
    "tiff tiled 16": made("tif", px=LARGE, bits=16, tile=True),
    "tiff large tiles": made("tif", px=LARGE, tile=True, tile_width=2048, tile_height=2048),
    "tiff larger tiles 16": made(
        "tif", px=LARGE, bits=16, tile=True, tile_width=1024, tile_height=2048
    ),
    "tiff planar": ("tif", partial(in_planes, px=LARGE)),
    "tiff planar 16": ("tif", partial(in_planes, px=LARGE, bits=16)),
    "tiff cmyk": made("tif", px=MIDDLE, bands=4),
    "tiff cmyk turned": made("tif", px=MIDDLE, bands=4, orientation=8),
    "tiff alpha 16 turned": made("tif", px=MIDDLE, bits=16, alpha=True, orientation=6),
    "tiff jpeg": made("tif", px=LARGE, compression="jpeg", tile=True, Q=90),
    "tiff wide": made("tif", px=(60000, 1000)),
    "tiff tall": made("tif", px=(1000, 60000)),
    "webp": made("webp", px=LARGE, Q=85, effort=0),
    "webp alpha": made("webp", px=MIDDLE, alpha=True, Q=85, effort=0),
    "webp lossless": made("webp", px=MIDDLE, lossless=True, effort=0),
    "avif": made("avif", px=MIDDLE, compression="av1", effort=0),
    "avif turned": made("avif", px=MIDDLE, compression="av1", effort=0, orientation=6),
}

AS_LARGE, SMALL, TINY = (5800, 3800), (1400, 900), (300, 200)
MONO = {"mono": {"response": "luminance"}}
JPEG = {"delivery": {"format": "jpeg"}}
SIXTEEN = {"delivery": {"bit_depth": 16}}
MASTER = {"delivery": {"keep_master": True}}
MEASURED = {"sharpen": {"gain": 0.8, "noise_floor": "measured"}}
SKIN = {"sharpen": {"gain": 0.8, "skin": 0.3}}
CRAFT = {
    "tone": {"edge_burn": {"stops": 0.2}},
    "local_contrast": {"gain": 0.2},
    "grain": {"granularity": 0.02},
}
SPOTS = {"spotting": [{"at": [0.4, 0.4], "radius": 0.004}, {"at": [0.7, 0.6], "radius": 0.01}]}
CLEAR = {"keep_clear": [{"box": [0.4, 0.4, 0.1, 0.1], "label": "face"}]}
LEVEL = {"level": 1.5}


def of(source: str, px: tuple[int, int], *tables: dict[str, Any], **facts: Any) -> Case:
    together: dict[str, Any] = {}
    for each in tables:
        for name, table in each.items():
            together[name] = {**together.get(name, {}), **table}
    return Case(source=source, px=px, facts=facts, tables=together)


USUAL = {
    "jpeg colour": of("jpeg", AS_LARGE),
    "jpeg mono": of("jpeg", AS_LARGE, MONO, JPEG),
    "jpeg half": of("jpeg", (3000, 2000), JPEG),
    "jpeg small": of("jpeg", SMALL, MONO, JPEG),
    "jpeg tiny": of("jpeg", TINY, JPEG),
    "jpeg craft": of("jpeg", AS_LARGE, CRAFT, MONO, JPEG),
    "jpeg craft colour": of("jpeg", SMALL, CRAFT, JPEG),
    "jpeg spotted": of("jpeg", AS_LARGE, MONO, JPEG, **SPOTS),
    "jpeg level": of("jpeg", AS_LARGE, JPEG, **LEVEL),
    "jpeg master": of("jpeg", SMALL, MONO, MASTER),
    "jpeg keep clear": of("jpeg", SMALL, MONO, JPEG, **CLEAR),
    "jpeg measured": of("jpeg", AS_LARGE, MEASURED, JPEG),
    "jpeg skin": of("jpeg", (3000, 2000), SKIN, JPEG),
    "jpeg 16 bits": of("jpeg", AS_LARGE, SIXTEEN),
    "jpeg turned": of("jpeg turned 6", (3800, 5800), MONO, JPEG),
    "jpeg turned small": of("jpeg turned 6", (900, 1400), JPEG),
    "jpeg grey": of("jpeg grey", AS_LARGE, MONO, JPEG),
    "jpeg cmyk": of("jpeg cmyk", (3800, 2800), JPEG),
    "jpeg enlarged": of("jpeg little", (4500, 3000), JPEG),
    "png colour": of("png", AS_LARGE, JPEG),
    "png small": of("png", SMALL, MONO, JPEG),
    "png 16": of("png 16", (3800, 2800), MONO, JPEG),
    "png alpha": of("png alpha", (3800, 2800), JPEG),
    "png grey": of("png grey", SMALL, MONO, JPEG),
    "png palette": of("png palette", SMALL, JPEG),
    "tiff colour": of("tiff", AS_LARGE, JPEG),
    "tiff 16": of("tiff 16", AS_LARGE, SIXTEEN),
    "tiff 16 mono": of("tiff 16 deflate", SMALL, MONO, JPEG),
    "tiff 16 grey": of("tiff grey 16", AS_LARGE, MONO, SIXTEEN),
    "tiff 16 spotted": of("tiff 16", SMALL, MONO, JPEG, **SPOTS),
    "tiff 16 level": of("tiff 16", AS_LARGE, MONO, JPEG, **LEVEL),
    "tiff 16 master": of("tiff 16", SMALL, MASTER),
    "tiff lzw": of("tiff lzw", SMALL, JPEG),
    "tiff tiled": of("tiff tiled", AS_LARGE, JPEG),
    "tiff tiled small": of("tiff tiled 16", SMALL, MONO, JPEG),
    "tiff cmyk": of("tiff cmyk", (3800, 2800), JPEG),
    "webp": of("webp", AS_LARGE, MONO, JPEG),
    "webp small": of("webp", SMALL, JPEG),
    "avif": of("avif", (3800, 2800), JPEG),
    "avif small": of("avif", SMALL, MONO, JPEG),
}
HOSTILE = {
    "bits tiny": of("bits", (300, 300), JPEG),
    "bits small": of("bits", (3000, 3000), MONO, JPEG),
    "bits measured": of("bits", (3000, 3000), MONO, MEASURED, JPEG),
    "bits interlaced": of("bits interlaced", (3000, 3000), JPEG),
    "bits wide": of("bits wide", (4000, 200), JPEG),
    "interlaced": of("png interlaced", AS_LARGE, JPEG),
    "interlaced tiny": of("png interlaced", TINY, JPEG),
    "interlaced spotted": of("png interlaced", SMALL, MONO, JPEG, **SPOTS),
    "interlaced level": of("png interlaced", SMALL, JPEG, **LEVEL),
    "interlaced master": of("png interlaced", SMALL, MASTER),
    "interlaced 16 alpha": of("png interlaced 16 alpha", SMALL, JPEG),
    "interlaced wide": of("png interlaced wide", (4000, 400), JPEG),
    "interlaced palette": of("png palette interlaced", SMALL, JPEG),
    "progressive": of("jpeg progressive", AS_LARGE, JPEG),
    "progressive tiny": of("jpeg progressive", TINY, MONO, JPEG),
    "progressive large": of("jpeg progressive large", SMALL, MONO, JPEG),
    "progressive large master": of("jpeg progressive large", TINY, MONO, MASTER),
    "progressive grey": of("jpeg progressive grey", AS_LARGE, MONO, JPEG),
    "progressive turned": of("jpeg turned 3 progressive", SMALL, JPEG),
    "progressive spotted": of("jpeg progressive", AS_LARGE, MONO, JPEG, **SPOTS),
    "jpeg wide": of("jpeg wide", (4000, 60), JPEG),
    "jpeg tall": of("jpeg tall", (60, 4000), JPEG),
    "png tiny": of("png", TINY, JPEG),
    "png craft": of("png", TINY, CRAFT, JPEG),
    "tiff tiny": of("tiff", TINY, JPEG),
    "tiff 16 tiny": of("tiff 16", TINY, MONO, JPEG),
    "tiff planar": of("tiff planar", AS_LARGE, JPEG),
    "tiff planar 16 tiny": of("tiff planar 16", TINY, MONO, JPEG),
    "tiff large tiles": of("tiff large tiles", SMALL, JPEG),
    "tiff larger tiles": of("tiff larger tiles 16", AS_LARGE, MONO, JPEG),
    "tiff jpeg": of("tiff jpeg", TINY, JPEG),
    "tiff wide": of("tiff wide", (4000, 60), JPEG),
    "tiff tall": of("tiff tall", (60, 4000), JPEG),
    "tiff cmyk turned": of("tiff cmyk turned", (2800, 3800), JPEG),
    "tiff alpha turned": of("tiff alpha 16 turned", (900, 1400), MONO, JPEG),
    "webp tiny": of("webp", TINY, JPEG),
    "webp alpha level": of("webp alpha", SMALL, JPEG, **LEVEL),
    "webp lossless": of("webp lossless", SMALL, MONO, JPEG, **SPOTS),
    "avif turned": of("avif turned", (900, 1400), JPEG),
    "enlarged much": of("jpeg little", (12000, 8000), JPEG),
}
CASES = {**{f"usual: {key}": each for key, each in USUAL.items()}} | {
    f"hostile: {key}": each for key, each in HOSTILE.items()
}


def main() -> int:
    """Measure every case, print the table, return 1 when one is outside."""
    reader = argparse.ArgumentParser(description=__doc__)
    reader.add_argument("--only", nargs="*", default=["*"])
    reader.add_argument("--sources", type=Path, help="a folder that keeps the sources")
    wanted = reader.parse_args()
    ratios: dict[str, float] = {}
    with tempfile.TemporaryDirectory() as scratch:
        folder = wanted.sources or Path(scratch)
        for name, case in CASES.items():
            if any(fnmatch(name, pattern) for pattern in wanted.only):
                ratios[name] = _ratio(name, case, folder)
    outside = [name for name, ratio in ratios.items() if not LEAST <= ratio <= MOST]
    print(f"{len(ratios)} prints, ratios {min(ratios.values()):.2f} to {max(ratios.values()):.2f}")
    print(f"outside {LEAST} to {MOST}: {', '.join(outside) or 'none'}")
    return int(bool(outside))


def _ratio(name: str, case: Case, folder: Path) -> float:
    ending, make = SOURCES[case.source]
    source = folder / f"{case.source}.{ending}".replace(" ", "-")
    if not source.exists():
        make(source)
    with tempfile.TemporaryDirectory(dir=folder) as scratch:
        facts = {"source": str(source.resolve()), **case.facts}
        peak, estimate = measure(job(Path(scratch), {"print": facts}, case.px, **case.tables))
    ratio = estimate / peak
    mark = "" if LEAST <= ratio <= MOST else "  <--"
    print(
        f"{name:<36} measured {peak / MIB:5.0f} MiB, estimated {estimate / MIB:5.0f}, "
        f"{ratio:.2f}{mark}",
        flush=True,
    )
    return ratio


if __name__ == "__main__":
    sys.exit(main())

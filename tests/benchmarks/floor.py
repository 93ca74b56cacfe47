"""The floor: decode, crop, resize, place and encode with libvips, and nothing else.

8-bit and in colour. No subject can be expected below it by much: it is what the file alone costs.
libvips reduces with the kernel that is named; it enlarges by bicubic interpolation whatever the
kernel.
"""

from pathlib import Path

import pyvips
from spec import MM_PER_INCH, MONO_24X16, Spec

# A second print of the same source must not find the first one's work done.
pyvips.cache_set_max(0)


def make_print(source: Path, target: Path, spec: Spec = MONO_24X16) -> None:
    """Place the source, at its size and on its sheet, in a JPEG."""
    crop, picture, sheet = spec.crop, spec.picture, spec.sheet
    pixels_per_mm = float(spec.ppi / MM_PER_INCH)
    pyvips.Image.new_from_file(str(source), access="sequential").crop(*crop).resize(
        picture.width / crop.width, vscale=picture.height / crop.height, kernel="lanczos3"
    ).embed(picture.left, picture.top, *sheet, extend="white").copy(
        xres=pixels_per_mm, yres=pixels_per_mm
    ).jpegsave(
        str(target),
        Q=spec.quality,
        subsample_mode="off",
        optimize_coding=spec.optimised_coding,
    )

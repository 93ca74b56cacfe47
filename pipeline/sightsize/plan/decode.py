"""How a source is decoded for a print: streamed or to memory, and how much smaller."""

from sightsize.model.header import RAW, Header
from sightsize.plan.picture import PicturePlan

_LEFT_AFTER_DECODING = 2
"""A source is shrunk while decoding only as far as leaves this many times the pixels needed."""


def needs_any_order(plan: PicturePlan) -> bool:
    """Return whether parts of the source must be read out of order."""
    return bool(plan.marks) or (plan.sharpen is not None and plan.sharpen.is_measured)


def is_streamed(plan: PicturePlan) -> bool:
    """Return whether a source that stands upright can be read once from top to bottom."""
    return not (plan.crop.level_degrees or needs_any_order(plan))


def print_shrink(plan: PicturePlan) -> int:
    """Return how many times smaller a print's source is decoded."""
    if needs_any_order(plan):
        return 1  # marks and noise are those of the whole source
    width, height = plan.size.image_px
    box = plan.crop.box
    spare = min(box.width / width, box.height / height) / _LEFT_AFTER_DECODING
    return decoder_shrink(plan.header, spare)


def decoder_shrink(header: Header, spare: float) -> int:
    """Return how many times smaller a source can be decoded when it is ``spare`` times too large.

    A JPEG's decoder shrinks by 2, 4 or 8, a raw file is developed at half size.
    """
    factors = {"JPEG": (2, 4, 8), RAW: (2,)}.get(header.format, ())
    return max((factor for factor in factors if factor <= spare), default=1)

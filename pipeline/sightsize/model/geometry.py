"""Sizes, boxes and edges: plain shapes in mm and in pixels."""

from dataclasses import dataclass
from fractions import Fraction

Size = tuple[Fraction, Fraction]
"""Width and height in mm."""

SizePx = tuple[int, int]
"""Width and height in pixels."""


@dataclass(frozen=True)
class Box:
    """Whole pixels."""

    left: int
    top: int
    width: int
    height: int

    @property
    def right(self) -> int:
        """The first column beyond it."""
        return self.left + self.width

    @property
    def bottom(self) -> int:
        """The first row below it."""
        return self.top + self.height


@dataclass(frozen=True)
class EdgesPx:
    """Pixels at each edge."""

    top: int
    right: int
    bottom: int
    left: int


def turn_box(box: Box, within_px: SizePx, quarter_turns: int) -> Box:
    """Return where a box of a picture lies once the picture is turned clockwise by quarters."""
    width, height = within_px
    for _ in range(quarter_turns % 4):
        box = Box(height - box.bottom, box.left, box.height, box.width)
        width, height = height, width
    return box

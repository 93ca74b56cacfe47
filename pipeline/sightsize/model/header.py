"""What a picture file says of itself before a pixel is decoded: plain data for the plan."""

from dataclasses import dataclass

from sightsize.base.icc import ColourModel

RAW = "raw"
"""Format of a raw camera file."""

_SIDES_SWAP = (5, 6, 7, 8)


@dataclass(frozen=True, kw_only=True)
class Header:
    """A picture's header; width and height are as stored, ``orientation`` is Exif's 1 to 8."""

    width_px: int
    height_px: int
    orientation: int
    colour: ColourModel
    bits: int
    has_alpha: bool
    format: str
    profile: str
    """Description of the embedded ICC profile, empty when none is embedded."""
    says_srgb: bool
    """True when the file has no profile but its own format or its Exif tag says sRGB."""
    bytes: int
    camera_model: str = ""
    camera_serial: str = ""
    rows_at_once: int = 1
    """Rows that its decoder holds together: of a strip or tile, or all where it cannot stream."""

    @property
    def upright_px(self) -> tuple[int, int]:
        """Width and height once the orientation is applied."""
        size = self.width_px, self.height_px
        return (size[1], size[0]) if self.orientation in _SIDES_SWAP else size

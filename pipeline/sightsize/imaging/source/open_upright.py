"""Any source, raw or not: its header, and its upright pixels as linear light."""

from dataclasses import dataclass
from pathlib import Path

import pyvips

from sightsize.base.deadline import stop_in_time
from sightsize.base.icc import profile_colour, read_profile
from sightsize.errors import SourceError, reason_of
from sightsize.imaging.colour.light import Rows, built_in_profile, mix, to_light
from sightsize.imaging.source import picture_file
from sightsize.imaging.source.picture_file import embedded_profile, expect_size, open_upright
from sightsize.imaging.source.raw import RAW_SUFFIXES, raw_light, read_raw_header
from sightsize.model.header import RAW, Header
from sightsize.model.picture import Picture
from sightsize.model.settings import BUILT_IN_PROFILES


@dataclass(frozen=True)
class Upright:
    """The upright pixels of a source, and what they mean; no profile when they are light."""

    image: pyvips.Image
    header: Header
    profile: bytes | None

    def light(self, part: pyvips.Image, rows: Rows) -> pyvips.Image:
        """Return linear light of a part of the image: one band for each row, or one if grey."""
        if self.profile is None:
            return mix(part, rows)
        return to_light(part, self.header.colour, self.profile, rows)


def read_header(path: Path) -> Header:
    """Return the header of a picture of any kind. Raises SourceError."""
    if path.suffix.lower() in RAW_SUFFIXES:
        return read_raw_header(path)
    return picture_file.read_header(path)


def open_source(picture: Picture, header: Header, *, streamed: bool, shrink: int = 1) -> Upright:
    """Return an opened source, ``shrink`` times smaller where its decoder can shrink.

    Without ``streamed`` its parts can be read in any order. Raises SourceError.
    """
    if header.format == RAW:
        light = stop_in_time(raw_light(picture.source, picture.raw, half=shrink > 1))
        expect_size(picture.source, light, header, shrink)
        return Upright(light.autorot(), header, None)
    image = open_upright(picture.source, header, streamed=streamed, shrink=shrink)
    return Upright(image, header, _profile(image, header, picture.assume_profile))


def _profile(image: pyvips.Image, header: Header, assumed: str | None) -> bytes:
    """The embedded profile, else the one the job assumes, else sRGB or its grey twin."""
    embedded = embedded_profile(image, header.colour)
    if embedded is not None:
        return embedded
    if assumed is not None and assumed not in BUILT_IN_PROFILES:
        try:
            profile = read_profile(Path(assumed))
        except OSError as error:
            raise SourceError(
                f"assume_profile {assumed} cannot be read ({reason_of(error)}); name a profile"
            ) from error
        if profile_colour(profile) != header.colour:
            raise SourceError(
                f"assume_profile {assumed} is not a profile for a {header.colour} "
                "picture; name one that is"
            )
        return profile
    if header.colour == "cmyk":
        raise SourceError(
            "the CMYK picture has no profile; set assume_profile to the path of a CMYK profile"
        )
    return built_in_profile("grey" if header.colour == "grey" else "srgb")

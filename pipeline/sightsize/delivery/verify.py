"""Hold a written file against its plan: pixels, density, profile, orientation, border."""

import hashlib
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pyvips
from numpy.typing import NDArray

from sightsize.base.findings import Finding
from sightsize.base.units import MM_PER_INCH
from sightsize.base.words import count_text
from sightsize.errors import SourceError, reason_of
from sightsize.imaging.colour.output import border_value, output_profile
from sightsize.imaging.raster.header_fields import blob, orientation
from sightsize.imaging.source.image_file import last_word, open_image
from sightsize.model.geometry import Box, turn_box
from sightsize.model.settings import BUILT_IN_PROFILES
from sightsize.plan.picture import PicturePlan
from sightsize.plan.sheet import FilePlan, PlacedPicture

Strip = NDArray[Any]

_STRIP_PX = 16
_SAMPLED = 4
_SAMPLES = _STRIP_PX // _SAMPLED
"""Samples each way in a square of the opening, 16 pixels or 1.4 mm at 300 ppi."""
_BLOCK_PX = 8
_PPI_WITHIN = 0.01


@dataclass(frozen=True)
class Seen:
    """What a file holds: how it differs from its plan, and what of each picture is clipped.

    ``clipped`` has the shares of each opening that are bare white and solid black.
    """

    differences: tuple[Finding, ...]
    clipped: tuple[tuple[float, float], ...] = ()
    pixels_sha256: str = ""


def _difference(message: str) -> Finding:
    """What is not as planned in a file that was read again."""
    return Finding(level="refuse", check="verify", message=message)


def _why(error: OSError | SourceError | pyvips.Error) -> str:
    if isinstance(error, pyvips.Error):
        return last_word(error)
    return reason_of(error) if isinstance(error, OSError) else str(error)


def verify_file(path: Path, file: FilePlan[PicturePlan]) -> Seen:
    """Return how a file differs from its plan, and what of its openings is clipped.

    Border is the sheet less its pictures and its marks. In a JPEG it is exact outside the 8-pixel
    blocks that their edges run through; inside those blocks the coding of the edge itself reaches
    over it. In a TIFF every pixel of the border is exact.
    """
    try:
        image = open_image(path)
        differences = tuple(map(_difference, _header_differences(image, file)))
        return Seen(differences) if differences else _read_through(image, file)
    except (OSError, SourceError, pyvips.Error) as error:
        return Seen((_difference(f"it cannot be read back ({_why(error)})"),))


def verify_master(path: Path, wanted: pyvips.Image, profile: bytes) -> Seen:
    """Return how a master differs from the image it was written from; no pixel of it is looked at.

    Every pixel is decoded, though, so that a file that is cut short is found.
    """
    try:
        image = open_image(path)
        for name in ("width", "height", "bands", "format"):
            if image.get(name) != wanted.get(name):
                return Seen(
                    (_difference(f"its {name} is {image.get(name)}, not {wanted.get(name)}"),)
                )
        if blob(image, "icc-profile-data") != profile:
            return Seen((_difference("it has another ICC profile"),))
        digest = hashlib.sha256()
        for _, strip in _strips(image, np.uint16):
            digest.update(np.ascontiguousarray(strip).data)
    except (OSError, SourceError, pyvips.Error) as error:
        return Seen((_difference(f"it cannot be read back ({_why(error)})"),))
    return Seen((), pixels_sha256=digest.hexdigest())


def _header_differences(image: pyvips.Image, file: FilePlan[PicturePlan]) -> Iterator[str]:
    size_px, delivery = file.sheet.stock.size_px, file.delivery
    if (image.width, image.height) != size_px:
        planned = f"{size_px[0]} x {size_px[1]}"
        yield f"it has {image.width} x {image.height} px, not {planned}"
    depth = {"uchar": 8, "ushort": 16}.get(str(image.format), 0)
    if depth != delivery.bit_depth:
        yield f"it has {depth} bits, not {delivery.bit_depth}"
    if delivery.profile in BUILT_IN_PROFILES:
        channels = 1 if delivery.profile == "grey" else 3
        if image.bands != channels:
            yield f"it has {count_text(image.bands, 'channel')}, not {channels}"
    ppi = Fraction(image.xres) * MM_PER_INCH, Fraction(image.yres) * MM_PER_INCH
    wanted = delivery.ppi if delivery.format == "tiff" else Fraction(round(delivery.ppi))
    if any(abs(each - wanted) > _PPI_WITHIN for each in ppi):
        yield f"it has {float(ppi[0]):.2f} ppi, not {float(wanted):.2f}"
    profile = blob(image, "icc-profile-data")
    if not profile:
        yield "it has no ICC profile"
    elif profile != output_profile(delivery):
        yield "it has another ICC profile"
    if orientation(image) != 1:
        yield "its orientation tag turns it"


def _read_through(image: pyvips.Image, file: FilePlan[PicturePlan]) -> Seen:
    """Read every pixel once: the border must be exact, the openings are looked at for clipping.

    A strip is looked at while the next one is decoded.
    """
    boxes: Sequence[Box] = file.sheet.drawn_boxes
    if file.delivery.format == "jpeg":
        boxes = [_whole_blocks(each, image.width, image.height) for each in boxes]
    sample = np.uint16 if image.format == "ushort" else np.uint8
    border = border_value(file.sheet.border_lightness, file.delivery)
    border_row = np.tile(np.array(border, dtype=sample), image.width)
    clipped = [_Clipped(each, image.bands, np.iinfo(sample).max) for each in file.pictures]
    digest = hashlib.sha256()

    def look_at(top: int, strip: Strip) -> int | None:
        digest.update(strip.data)
        for each in clipped:
            each.look_at(top, strip)
        return _differing_row(strip, top, boxes, border_row)

    with ThreadPoolExecutor(max_workers=1) as looking:
        looks: list[Future[int | None]] = []
        for top, strip in _strips(image, sample):
            if looks and looks[-1].result() is not None:
                break
            looks = [looking.submit(look_at, top, strip)]
        differing = looks[-1].result()
    if differing is not None:
        return Seen((_difference(f"row {differing} of its border is not exactly the paper tone"),))
    return Seen((), tuple(each.shares() for each in clipped), digest.hexdigest())


def _differing_row(strip: Strip, top: int, boxes: Sequence[Box], border_row: Strip) -> int | None:
    """The first row of a strip whose border is not the paper's tone."""
    height, width, bands = strip.shape
    rows = strip.reshape(height, width * bands)
    for first, last, spans in _border_spans(top, height, width, boxes):
        wrong = np.zeros(last - first, bool)
        for left, right in spans:
            columns = np.s_[left * bands : right * bands]
            found = rows[first - top : last - top, columns] != border_row[columns]
            wrong |= found.any(axis=1)
        if wrong.any():
            return first + int(wrong.argmax())
    return None


def _border_spans(
    top: int, height: int, width: int, boxes: Sequence[Box]
) -> Iterator[tuple[int, int, list[tuple[int, int]]]]:
    """Yield runs of a strip's rows between which no box begins or ends, with their border.

    A run is its first row, the row after its last, and the spans of columns that are border.
    """
    bottom = top + height
    edges = {top, bottom}.union(*((each.top, each.bottom) for each in boxes))
    for first, last in pairwise(sorted(edge for edge in edges if top <= edge <= bottom)):
        covered = sorted(
            (each.left, each.right) for each in boxes if each.top <= first and last <= each.bottom
        )
        spans, column = [], 0
        for left, right in [*covered, (width, width)]:
            if left > column:
                spans.append((column, left))
            column = max(column, right)
        yield first, last, spans


class _Clipped:
    """Counts squares of the opening that are bare white or solid black all over.

    A square is looked at by every fourth pixel both ways; what is smaller than a square, such as
    the glint on water, does not count. The end codes and those next to them count as clipped.
    """

    def __init__(self, placed: PlacedPicture[PicturePlan], bands: int, last: int) -> None:
        place, size = placed.place, placed.picture.size
        opening = turn_box(size.opening_px, size.image_px, place.quarter_turns)
        self._left, self._width = place.box.left + opening.left, opening.width
        self._top = place.box.top + opening.top
        self._bottom = self._top + opening.height
        self._means_light = bands in (1, 3)
        self._step = last / 255
        self._last = last
        self._squares = self._white = self._black = 0

    def look_at(self, top: int, strip: Strip) -> None:
        """Count the squares of a strip that lies whole inside the opening."""
        if not self._means_light or top < self._top or top + _STRIP_PX > self._bottom:
            return
        sampled = strip[::_SAMPLED, self._left : self._left + self._width : _SAMPLED]
        across = sampled.shape[1] // _SAMPLES * _SAMPLES
        squares = sampled[:, :across].reshape(_SAMPLES, -1, _SAMPLES * sampled.shape[2])
        self._squares += squares.shape[1]
        darkest, lightest = squares.min(axis=0).min(axis=1), squares.max(axis=0).max(axis=1)
        self._white += int((darkest >= self._last - self._step).sum())
        self._black += int((lightest <= self._step).sum())

    def shares(self) -> tuple[float, float]:
        """The shares that are white and black."""
        squares = max(self._squares, 1)
        return self._white / squares, self._black / squares


def _strips(image: pyvips.Image, sample: type[np.generic]) -> Iterator[tuple[int, Strip]]:
    """Each strip in which a JPEG is decoded, with its first row's number."""
    region = pyvips.Region.new(image)
    for top in range(0, image.height, _STRIP_PX):
        height = min(_STRIP_PX, image.height - top)
        data = region.fetch(0, top, image.width, height)
        yield top, np.frombuffer(data, sample).reshape(height, image.width, image.bands)


def _whole_blocks(box: Box, width: int, height: int) -> Box:
    """The box grown to whole blocks of the JPEG grid, inside the sheet."""
    left, top = box.left // _BLOCK_PX * _BLOCK_PX, box.top // _BLOCK_PX * _BLOCK_PX
    right = min(-(-(box.left + box.width) // _BLOCK_PX) * _BLOCK_PX, width)
    bottom = min(-(-(box.top + box.height) // _BLOCK_PX) * _BLOCK_PX, height)
    return Box(left, top, right - left, bottom - top)

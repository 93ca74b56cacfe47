"""Raw camera files, through LibRaw: what a header says, and linear light.

LibRaw decodes, subtracts black, balances, treats highlights and interpolates; it is asked for the
camera's own red, green and blue, so that no colour is cut. The way to sRGB primaries is taken in
float afterwards, and exposure with it. Light 1.0 is a neutral that saturates the sensor, by the
white level that LibRaw knows, whatever the highlights and whatever else is in the picture.

rawpy is an extra and is loaded only when a raw file is opened. LibRaw cannot stream: a developed
picture stands in memory with 6 bytes a pixel, and more while it is developed.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import pyvips

from sightsize.base.paths import is_file, say_missing
from sightsize.base.plain_text import one_line
from sightsize.errors import SourceError
from sightsize.imaging.raster.lookup_tables import LAST
from sightsize.imaging.source.picture_file import camera_names
from sightsize.model.header import RAW, Header
from sightsize.model.picture import RawDevelopment
from sightsize.numbers.white_balance import camera_multipliers, tinted_xy, white_xy

if TYPE_CHECKING:
    import rawpy

    from sightsize.imaging.source.camera import Matrix

# Common practice, no source.
_ENDINGS = (
    "3fr arw cr2 cr3 crw dcr dng erf fff iiq kdc mef mos mrw nef nrw orf pef raf raw rw2 rwl sr2 "
    "srf srw x3f"
)
RAW_SUFFIXES = frozenset(f".{ending}" for ending in _ENDINGS.split())
"""Endings of raw camera files, in small letters."""

_ORIENTATIONS = {0: 1, 1: 2, 3: 3, 2: 4, 4: 5, 6: 6, 7: 7, 5: 8}
"""Exif's orientation for LibRaw's flip: 1 mirrors left and right, 2 top and bottom, 4 both axes."""

_HIGHLIGHT_MODES = {"white": 0, "mixed": 2, "rebuilt": 5}
"""LibRaw's numbers; 5 rebuilds half-way between white and colour."""

_LEAST_DETERMINANT = 1e-6
_NO_BALANCE = "set the picture's raw.white_balance in kelvin"


def read_raw_header(path: Path) -> Header:
    """Return a raw picture's header, its sizes as ``raw_light`` has them. Raises SourceError."""
    with _open(path) as raw:
        width, height = _size(raw, path)
        model, serial = camera_names(path)
        return Header(
            width_px=width,
            height_px=height,
            orientation=_orientation(raw),
            colour="rgb",
            bits=16,
            has_alpha=False,
            format=RAW,
            profile="camera matrix",
            says_srgb=False,
            bytes=path.stat().st_size,
            camera_model=model,
            camera_serial=serial,
        )


def raw_light(path: Path, development: RawDevelopment, *, half: bool = False) -> pyvips.Image:
    """Return linear light, float, with sRGB primaries and no bounds, not yet turned upright.

    ``half`` halves both sides, an odd row or column left out, and is much quicker: where the sensor
    has a 2 x 2 pattern, each of its cells becomes one pixel and nothing is interpolated. The
    orientation stands in the image's header, where ``autorot`` looks for it. Raises SourceError.
    """
    with _open(path) as raw:
        size, orientation = _size(raw, path), _orientation(raw)
        multipliers, to_light = _balance(raw, path, development)
        cells = half and _has_cells(raw)
        image = _develop(raw, multipliers, development, half=cells)
    if (image.width, image.height) != (tuple(-(-side // 2) for side in size) if cells else size):
        raise SourceError(
            f"{path.name} has no square grid of pixels, so it cannot be read; convert it to TIFF"
        )
    if half:
        image = _halve(image, size, cells=cells)
    scale = 2**development.exposure_stops / LAST
    if development.highlights != "white":
        # LibRaw then lets the channel that is multiplied most saturate at its white.
        scale *= max(multipliers) / min(multipliers)
    light = image.recomb(pyvips.Image.new_from_array((to_light * scale).tolist()))
    light = light.copy(interpretation="scrgb")
    light.set_type(pyvips.GValue.gint_type, "orientation", orientation)
    return light


def _halve(image: pyvips.Image, size: tuple[int, int], *, cells: bool) -> pyvips.Image:
    """Whole cells of 2 x 2 pixels only: LibRaw leaves colours out where a cell is cut."""
    width, height = (side // 2 for side in size)
    if cells:
        return image.crop(0, 0, width, height)
    return image.crop(0, 0, 2 * width, 2 * height).shrink(2, 2)


@contextmanager
def _open(path: Path) -> Iterator["rawpy.RawPy"]:
    """An open raw file; whatever LibRaw finds wrong with it becomes a SourceError."""
    try:
        import rawpy
    except ImportError as error:
        raise SourceError(
            f"{path.name} is a raw camera file; install sightsize[raw] to read it"
        ) from error
    if not is_file(path):
        raise SourceError(say_missing(path))
    try:
        with rawpy.RawPy() as raw:
            raw.open_file(str(path))
            yield raw
    except (rawpy.LibRawError, rawpy.NotSupportedError, NotImplementedError, OSError) as error:
        raise SourceError(
            f"{path.name} is not a readable raw file ({_reason(error)}); copy it from the card "
            "again"
        ) from error


def _reason(error: Exception) -> str:
    said = error.args[0] if error.args else ""
    text = said.decode("utf-8", "replace") if isinstance(said, bytes) else str(said)
    return one_line(text).lower() or "no reason given"


def _size(raw: "rawpy.RawPy", path: Path) -> tuple[int, int]:
    if raw.num_colors not in (1, 3):
        raise SourceError(
            f"{path.name} comes from a {raw.num_colors}-colour sensor, which cannot be read; "
            "convert it to TIFF"
        )
    return raw.sizes.width, raw.sizes.height


def _orientation(raw: "rawpy.RawPy") -> int:
    """Exif's orientation; LibRaw forgets it when it develops."""
    return _ORIENTATIONS.get(raw.sizes.flip, 1)


def _has_cells(raw: "rawpy.RawPy") -> bool:
    pattern = raw.raw_pattern
    return pattern is not None and pattern.shape == (2, 2)


def _develop(
    raw: "rawpy.RawPy", multipliers: list[float], development: RawDevelopment, *, half: bool
) -> pyvips.Image:
    """Three 16-bit bands of the camera's balanced numbers."""
    import rawpy

    from sightsize.imaging.raster.pixels import image_of, three_alike  # and numpy

    red, green, blue = multipliers
    pixels = raw.postprocess(
        half_size=half,
        user_wb=[red, green, blue, green],
        output_color=rawpy.ColorSpace.raw,
        output_bps=16,
        user_flip=0,
        gamma=(1, 1),
        no_auto_bright=True,
        adjust_maximum_thr=0,
        user_sat=_white_level(raw),
        highlight_mode=_HIGHLIGHT_MODES[development.highlights],
    )
    bands = pixels.shape[2]
    image = image_of(pixels, bands, "ushort")
    return three_alike(image) if bands == 1 else image


def _white_level(raw: "rawpy.RawPy") -> int | None:
    """The level at which LibRaw shall take a pixel for full; None leaves it to LibRaw.

    In files that are no mosaic LibRaw subtracts a black level from the pixels, but not from the
    white level, when its fourth channel, which they do not have, has none.
    """
    if raw.raw_pattern is not None:
        return None
    *blacks, fourth = raw.black_level_per_channel
    return raw.white_level - max(min(blacks) - fourth, 0)


def _balance(
    raw: "rawpy.RawPy", path: Path, development: RawDevelopment
) -> tuple[list[float], "Matrix"]:
    """The camera's multipliers, and the matrix from what they balance to linear sRGB."""
    import numpy as np

    from sightsize.imaging.source.camera import balance_to_light

    if raw.num_colors == 1:
        return [1.0, 1.0, 1.0], np.eye(3)
    matrix = _xyz_to_camera(raw)
    if matrix is None:
        raise SourceError(
            f"{path.name} comes from a camera whose colours LibRaw does not know; convert it to "
            "TIFF"
        )
    if development.kelvin is None:
        multipliers = _of_camera(raw, path, matrix, development.duv)
    else:
        light = white_xy(development.kelvin, development.duv)
        multipliers = _multipliers(path, matrix, light)
    return multipliers, balance_to_light(matrix, np.array(multipliers))


def _of_camera(raw: "rawpy.RawPy", path: Path, matrix: "Matrix", duv: float) -> list[float]:
    import numpy as np

    from sightsize.imaging.source.camera import scene_white

    multipliers = [float(each) for each in raw.camera_whitebalance[:3]]
    if min(multipliers) <= 0:
        raise SourceError(f"{path.name} records no white balance; {_NO_BALANCE}")
    if not duv:
        return multipliers
    white = scene_white(matrix, np.array(multipliers))
    x, y, _ = white / white.sum()
    return _multipliers(path, matrix, tinted_xy((float(x), float(y)), duv))


def _multipliers(path: Path, matrix: "Matrix", light: tuple[float, float]) -> list[float]:
    try:
        return list(camera_multipliers(matrix.tolist(), light))
    except ValueError as error:
        raise SourceError(f"{path.name}: {error}; {_NO_BALANCE}, closer to daylight") from error


def _xyz_to_camera(raw: "rawpy.RawPy") -> "Matrix | None":
    """The camera's ColorMatrix for daylight; None when there is none that can be turned round."""
    import numpy as np

    from sightsize.imaging.source.camera import srgb_to_xyz

    stated = raw.rgb_xyz_matrix[:3].astype(np.float64)
    if _invertible(stated):
        return stated
    # Of a DNG's own matrix LibRaw keeps only the way to sRGB, from numbers balanced for daylight.
    to_srgb = raw.color_matrix[:, :3].astype(np.float64) @ np.diag(raw.daylight_whitebalance[:3])
    if _invertible(to_srgb):
        return np.asarray(np.linalg.inv(srgb_to_xyz() @ to_srgb))
    return None


def _invertible(matrix: "Matrix") -> bool:
    import numpy as np

    return bool(_LEAST_DETERMINANT < abs(np.linalg.det(matrix)) < np.inf)

"""Raw files as a camera might write them: a minimal DNG (specification 1.4) of a scene.

The scene is linear light with the primaries of sRGB. Its colours are adapted to another light with
Bradford's matrix, seen by a camera that a ColorMatrix describes in full, and laid out as a mosaic.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import tifffile
from numpy.typing import NDArray

from icc_profiles import BRADFORD, D65, SRGB_XY, Floats, rgb_to_xyz

Sensor = NDArray[np.uint16]

COLOR_MATRIX = np.array([[0.71, -0.12, -0.07], [-0.42, 1.22, 0.23], [-0.07, 0.19, 0.58]])
"""XYZ to camera of an invented camera; four places, so that it is stored as it is."""
BLACK, WHITE = 512, 16383
_RGGB = ((0, 1), (1, 2))
_BYTE, _ASCII, _SHORT, _RATIONAL, _SRATIONAL = 1, 2, 3, 5, 10
_DAYLIGHT = 21  # Exif's LightSource for D65
_CELLS, _LINEAR_RAW = 32803, 34892
_UNIT = 10000

Tag = tuple[int, int, int, Any, bool]


def neutral(white: Floats = D65) -> Floats:
    """What the camera sees of white paper under a light, its largest channel at 1."""
    seen = COLOR_MATRIX @ white
    return np.asarray(seen / seen.max())


def seen(scene: Floats, white: Floats = D65) -> Floats:
    """The camera's numbers for linear sRGB light under a white; its neutral saturates at 1."""
    gains = (BRADFORD @ white) / (BRADFORD @ D65)
    adapt = np.linalg.solve(BRADFORD, np.diag(gains) @ BRADFORD)
    camera = scene @ (COLOR_MATRIX @ adapt @ rgb_to_xyz(SRGB_XY)).T
    return np.asarray(camera / (COLOR_MATRIX @ white).max())


def mosaic(camera: Floats, black: int = BLACK, white: int = WHITE) -> Sensor:
    """Sensor values of a camera's numbers, one channel at each place, clipped as a sensor clips."""
    values = np.empty(camera.shape[:2])
    for row in (0, 1):
        for column in (0, 1):
            values[row::2, column::2] = camera[row::2, column::2, _RGGB[row][column]]
    return np.round(black + np.clip(values, 0, 1) * (white - black)).astype(np.uint16)


def write_dng(
    path: Path,
    sensor: Sensor,
    camera: Floats | None = None,
    *,
    orientation: int = 1,
    black: int = BLACK,
    white: int = WHITE,
    matrix: Floats | None = COLOR_MATRIX,
    cells: bool = True,
) -> Path:
    """Write a mosaic; or, without ``cells``, one or three numbers for each place."""
    samples = 1 if sensor.ndim == 2 else sensor.shape[2]
    tags: list[Tag] = [
        (271, _ASCII, 0, "Tern Quay", True),  # Make
        (272, _ASCII, 0, "plate camera", True),  # Model
        (274, _SHORT, 1, orientation, True),
        (50706, _BYTE, 4, (1, 4, 0, 0), True),  # DNGVersion
        (50707, _BYTE, 4, (1, 1, 0, 0), True),  # DNGBackwardVersion
        (50708, _ASCII, 0, "Tern Quay plate camera", True),  # UniqueCameraModel
        (50714, _SHORT, samples, [black] * samples, True),  # BlackLevel
        (50717, _SHORT, samples, [white] * samples, True),  # WhiteLevel
    ]
    if cells:
        tags += [
            (33421, _SHORT, 2, (2, 2), True),  # CFARepeatPatternDim
            (33422, _BYTE, 4, _RGGB[0] + _RGGB[1], True),  # CFAPattern
        ]
    if matrix is not None:
        tags += [
            (50721, _SRATIONAL, 9, _rationals(matrix), True),  # ColorMatrix1
            (50778, _SHORT, 1, _DAYLIGHT, True),  # CalibrationIlluminant1
        ]
    if camera is not None:
        tags.append((50728, _RATIONAL, 3, _rationals(camera), True))  # AsShotNeutral
    # The writer knows raw pictures of fewer kinds than DNG does: they are named afterwards.
    photometric = "minisblack" if samples == 1 else "rgb"
    tifffile.imwrite(
        path, sensor, photometric=photometric, extratags=tags, metadata=None, software=False
    )
    with tifffile.TiffFile(path, mode="r+") as file:
        page = file.pages[0]
        assert isinstance(page, tifffile.TiffPage)
        page.tags["PhotometricInterpretation"].overwrite(_CELLS if cells else _LINEAR_RAW)
    return path


def _rationals(values: Floats | Sequence[float]) -> list[int]:
    return [each for value in np.ravel(values) for each in (round(value * _UNIT), _UNIT)]

"""From a camera's own red, green and blue to linear light with the primaries of sRGB.

The way is the DNG specification's, chapter "Mapping Camera Color Space to CIE XYZ Space", for a
camera with one ColorMatrix: the camera's numbers go to XYZ through the inverse of the matrix, and
the white of the scene's light is adapted to D65 with Bradford's cone responses.
"""

import numpy as np
from numpy.typing import NDArray

Matrix = NDArray[np.float64]

# IEC 61966-2-1: the primaries' x and y, and those of D65.
_PRIMARIES_XY = ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06))
_WHITE_XY = (0.3127, 0.3290)
# ICC.1 annex E.
_CONES = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
_MOST_GAIN = 20
"""A cone gain that no light from 2000 to 25000 K comes near; the matrix extrapolates there."""


def _xyz(xy: tuple[float, float]) -> Matrix:
    x, y = xy
    return np.array([x / y, 1, (1 - x - y) / y])


def srgb_to_xyz() -> Matrix:
    """Return the matrix from linear sRGB to XYZ under D65, white at Y = 1."""
    columns = np.array([_xyz(xy) for xy in _PRIMARIES_XY]).T
    return np.asarray(columns * np.linalg.solve(columns, _xyz(_WHITE_XY)))


def scene_white(xyz_to_camera: Matrix, multipliers: Matrix) -> Matrix:
    """Return XYZ, Y = 1, of the light that a camera's multipliers make neutral."""
    xyz = np.linalg.solve(xyz_to_camera, 1 / multipliers)
    return np.asarray(xyz / xyz[1])


def balance_to_light(xyz_to_camera: Matrix, multipliers: Matrix) -> Matrix:
    """Return the matrix from a camera's balanced numbers to linear sRGB; (1, 1, 1) stays itself.

    Where the multipliers mean no light that is near any white, as under a sodium lamp, the numbers
    are taken as if they had been balanced under D65.
    """
    white, daylight = scene_white(xyz_to_camera, multipliers), _xyz(_WHITE_XY)
    cones, wanted = _CONES @ white, _CONES @ daylight
    if (cones * _MOST_GAIN > wanted).all():
        adapt = np.linalg.solve(_CONES, np.diag(wanted / cones) @ _CONES)
    else:
        white, adapt = daylight, np.eye(3)
    to_xyz = adapt @ np.linalg.inv(xyz_to_camera) @ np.diag(xyz_to_camera @ white)
    return np.asarray(np.linalg.solve(srgb_to_xyz(), to_xyz))

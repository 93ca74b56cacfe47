"""A membrane: the smoothest surface inside a shape that takes given values along its outline.

Laplace's equation on the pixels with four neighbours each. Added to a donor's pixels, the membrane
of (target - donor) makes a Poisson clone with the donor's gradients (Perez, Gangnet and Blake,
Poisson Image Editing, SIGGRAPH 2003). Where a neighbour is unknown, beyond the picture's edge for
one, the membrane hangs free there.

Small shapes are solved by a banded Cholesky factorisation: counted along its rows or columns a
shape without holes has no fill outside its band, and LAPACK takes half the time of a general sparse
factorisation. That one, SuperLU, solves the larger ones. Either is made once for all bands.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solveh_banded
from scipy.sparse import coo_array
from scipy.sparse.linalg import splu

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

BANDED_EFFORT = 2.0e8
"""Unknowns times bandwidth squared up to which the band is the quicker: a radius of 62 px."""

_HOLD = 1e-10
"""A spring to zero, too weak to show, for parts that no known pixel touches."""


def membrane(shape: Mask, known: Mask, values: Floats, effort: float = BANDED_EFFORT) -> Floats:
    """Return the membrane in ``shape`` from ``values`` (rows, columns, bands) where ``known``.

    Only known pixels next to the shape matter; outside the shape the result is 0.
    """
    if not shape.any():
        return np.zeros_like(values)
    known = known & ~shape
    if shape.sum(axis=1).max() > shape.sum(axis=0).max():  # the narrower way makes the band
        turned = membrane(shape.T, known.T, values.swapaxes(0, 1), effort)
        return turned.swapaxes(0, 1)
    ties = _around((shape | known).astype(np.float64)) + _HOLD
    pull = np.where(shape[..., None], _around(np.where(known[..., None], values, 0.0)), 0.0)
    result = np.zeros_like(values)
    result[shape] = _solve(shape, ties, pull[shape], effort)
    return result


def _solve(shape: Mask, ties: Floats, pull: Floats, effort: float) -> Floats:
    """The membrane's height at each pixel of the shape, for each band."""
    count = int(shape.sum())
    index = np.zeros(shape.shape, np.intp)
    index[shape] = np.arange(count)
    beside, down = shape[:, 1:] & shape[:, :-1], shape[1:] & shape[:-1]
    first = np.concatenate([index[:, :-1][beside], index[:-1][down]])
    second = np.concatenate([index[:, 1:][beside], index[1:][down]])
    band = max(int((second - first).max(initial=0)), 2)
    if count * band**2 <= effort or count == 1:
        diagonals = np.zeros((band + 1, count), order="F")
        diagonals[0] = ties[shape]
        diagonals[second - first, first] = -1
        return np.asarray(
            solveh_banded(diagonals, pull, lower=True, overwrite_ab=True, check_finite=False)
        )
    own = np.arange(count)
    rows, columns = np.concatenate([own, first, second]), np.concatenate([own, second, first])
    weights = np.concatenate([ties[shape], np.full(2 * len(first), -1.0)])
    laplacian = coo_array((weights, (rows, columns)), shape=(count, count)).tocsc()
    return np.asarray(splu(laplacian, permc_spec="MMD_AT_PLUS_A").solve(pull))


def _around(field: Floats) -> Floats:
    """The sum of each pixel's four neighbours; there is nothing beyond the array."""
    total = np.zeros_like(field)
    total[1:] += field[:-1]
    total[:-1] += field[1:]
    total[:, 1:] += field[:, :-1]
    total[:, :-1] += field[:, 1:]
    return total

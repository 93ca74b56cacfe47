"""Lights by kelvin and Duv against colour-science and CIE's standard illuminants."""

import colour
import numpy as np
import pytest

from icc_profiles import Floats
from sightsize.numbers.white_balance import (
    camera_multipliers,
    kelvin_and_duv,
    tinted_xy,
    white_xy,
)

KELVINS = [2000, 2223, 2500, 2856, 3200, 3999, 4001, 4390, 5003, 6504, 8000, 10000, 15000, 25000]
D65_XY = (0.31272, 0.32903)  # CIE 15, 2 degree observer
A_XY = (0.44758, 0.40745)  # CIE 15


def uv(xy: tuple[float, float]) -> Floats:
    return np.asarray(colour.xy_to_UCS_uv(np.array(xy)))


@pytest.mark.parametrize("kelvin", KELVINS)
@pytest.mark.parametrize("duv", [-0.02, 0.0, 0.006])
def test_a_light_is_where_planck_puts_it(kelvin: float, duv: float) -> None:
    # Ohno (2014), in colour-science: Planck's law integrated over the observer at 1 nm.
    wanted = colour.temperature.CCT_to_uv_Ohno2013(np.array([kelvin, duv]))
    off = uv(white_xy(kelvin, duv)) - wanted
    # Across the locus, where a cast of green shows, closer than along it.
    normal = colour.temperature.CCT_to_uv_Ohno2013(np.array([kelvin, 0.01]))
    normal -= colour.temperature.CCT_to_uv_Ohno2013(np.array([kelvin, 0.0]))
    assert abs(off @ normal) / 0.01 < 0.00015
    assert np.hypot(*off) < 0.0005


@pytest.mark.parametrize("kelvin", KELVINS)
@pytest.mark.parametrize("duv", [-0.01, 0.0, 0.01])
def test_kelvin_and_duv_lead_back(kelvin: float, duv: float) -> None:
    found_kelvin, found_duv = kelvin_and_duv(white_xy(kelvin, duv))
    # Between two of Kang's cubics the locus steps a little, by 2 K or less.
    assert found_kelvin == pytest.approx(kelvin, rel=0.001)
    assert found_duv == pytest.approx(duv, abs=0.00002)


def test_standard_illuminants() -> None:
    # Illuminant A is Planck's radiator at 2856 K, D65 lies above the locus: Duv .0032 (CIE 15's
    # chromaticity through Ohno's method).
    for xy in (A_XY, D65_XY):
        wanted = colour.temperature.uv_to_CCT_Ohno2013(uv(xy))
        kelvin, duv = kelvin_and_duv(xy)
        assert kelvin == pytest.approx(wanted[0], rel=0.005)
        assert duv == pytest.approx(wanted[1], abs=0.0001)
    assert kelvin_and_duv(A_XY)[0] == pytest.approx(2856, abs=10)
    assert kelvin_and_duv(D65_XY)[0] == pytest.approx(6504, abs=15)


@pytest.mark.parametrize("xy", [A_XY, D65_XY, white_xy(2200, 0.003), white_xy(15000, -0.003)])
def test_a_tint_moves_across_the_locus_alone(xy: tuple[float, float]) -> None:
    kelvin, duv = colour.temperature.uv_to_CCT_Ohno2013(uv(xy))
    moved_kelvin, moved_duv = colour.temperature.uv_to_CCT_Ohno2013(uv(tinted_xy(xy, 0.004)))
    assert moved_kelvin == pytest.approx(kelvin, rel=0.003)
    assert moved_duv == pytest.approx(duv + 0.004, abs=0.00005)
    assert tinted_xy(xy, 0) == pytest.approx(xy, abs=1e-12)


def test_beyond_the_range_there_is_no_light() -> None:
    for kelvin in (1999, 25001):
        with pytest.raises(ValueError, match=f"^{kelvin} K is outside 2000 to 25000 K$"):
            white_xy(kelvin, 0)
    # A candle is warmer than the range: the nearest end stands for it.
    x, y = colour.UCS_uv_to_xy(colour.temperature.CCT_to_uv_Ohno2013(np.array([1850, 0])))
    assert kelvin_and_duv((float(x), float(y)))[0] == pytest.approx(2000, abs=1)


def test_multipliers_make_the_light_neutral() -> None:
    matrix = np.array([[0.7, -0.1, -0.1], [-0.4, 1.2, 0.2], [-0.1, 0.2, 0.6]])
    white = colour.xy_to_XYZ(np.array(A_XY))
    found = camera_multipliers(matrix.tolist(), A_XY)
    assert found[1] == 1
    balanced = matrix @ white * found
    assert balanced == pytest.approx([balanced[1]] * 3, rel=1e-12)
    # Tungsten light is poor in blue.
    assert found[2] > camera_multipliers(matrix.tolist(), D65_XY)[2]


def test_a_light_the_matrix_does_not_reach() -> None:
    # Spectral red, for a camera whose blue is XYZ's less some of its red.
    matrix = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [-0.2, 0.0, 1.0]]
    with pytest.raises(ValueError, match="does not reach this light"):
        camera_multipliers(matrix, (0.7, 0.29))

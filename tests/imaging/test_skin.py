"""The mask of skin against the colour chart of colour-science and a drawn face."""

import colour
import numpy as np
import pytest
from numpy.typing import NDArray
from skimage import data

from sightsize.imaging.analysis.skin import skin_share

Light = NDArray[np.float32]
CHART = colour.CCS_COLOURCHECKERS["ColorChecker 2005"]


def filled(rgb: NDArray[np.float64], rows: int = 24, columns: int = 24) -> Light:
    return np.broadcast_to(np.asarray(rgb, np.float32), (rows, columns, 3)).copy()


def of_lab(lab: tuple[float, float, float]) -> NDArray[np.float64]:
    return np.asarray(colour.XYZ_to_sRGB(colour.Lab_to_XYZ(lab), apply_cctf_encoding=False))


def of_chart(name: str) -> NDArray[np.float64]:
    xyz = colour.xyY_to_XYZ(CHART.data[name])
    return np.asarray(colour.XYZ_to_sRGB(xyz, CHART.illuminant, apply_cctf_encoding=False))


def share(rgb: NDArray[np.float64]) -> float:
    return float(skin_share(filled(rgb))[12, 12])


@pytest.mark.parametrize("name", list(CHART.data))
def test_of_the_chart_only_the_two_skins_are_skin(name: str) -> None:
    assert len(CHART.data) == 24
    if name in ("dark skin", "light skin"):
        assert share(of_chart(name)) > 0.95
    else:
        assert share(of_chart(name)) == 0


@pytest.mark.parametrize("name", ["dark skin", "light skin"])
@pytest.mark.parametrize("stops", [-1.5, -1, 1, 0.5])
def test_exposure_does_not_matter(name: str, stops: float) -> None:
    assert share(of_chart(name) * 2.0**stops) > 0.9


@pytest.mark.parametrize(
    "lab",
    # Means of published measurements of light to deep skin, from memory.
    [(76, 7, 12), (70, 10, 16), (62, 11, 18), (50, 12, 19), (36, 12, 14), (25, 9, 10)],
)
def test_skin_of_every_depth(lab: tuple[float, float, float]) -> None:
    assert share(of_lab(lab)) > 0.9


@pytest.mark.parametrize(
    ("name", "lab", "low", "high"),
    [
        ("clear sky", (60, -5, -30), 0, 0),
        ("lawn", (45, -20, 30), 0, 0),
        ("cream paper", (94, 1, 8), 0, 0),
        ("terracotta", (50, 30, 35), 0, 0.05),
        ("straw", (78, 3, 35), 0, 0.2),
        ("lips", (50, 28, 13), 0.1, 0.4),
        # What has skin's colour is taken for it.
        ("dry sand", (75, 4, 18), 0.7, 1),
        ("pine", (72, 12, 32), 0.9, 1),
        ("oak", (55, 12, 27), 0.9, 1),
        ("brick", (48, 25, 24), 0.3, 0.6),
    ],
)
def test_other_things(name: str, lab: tuple[float, float, float], low: float, high: float) -> None:
    assert low <= share(of_lab(lab)) <= high, name


def test_neutral_is_exactly_none() -> None:
    ramp = np.linspace(-0.1, 1.6, 400, dtype=np.float32)
    light = np.repeat(np.tile(ramp, (40, 1))[..., None], 3, axis=2)
    assert not skin_share(light).any()


def test_colours_beyond_the_primaries_give_numbers() -> None:
    wild = np.random.default_rng(5).normal(0, 2, (60, 80, 3)).astype(np.float32)
    found = skin_share(wild)
    assert found.dtype == np.float32
    assert found.shape == (60, 80)
    assert np.isfinite(found).all()
    assert found.min() >= 0
    assert found.max() <= 1


@pytest.mark.parametrize("lab", [(72, 10, 16), (36, 12, 14)])
def test_a_drawn_face(lab: tuple[float, float, float]) -> None:
    # Sky above, lawn below, a face with eyes and a shaded side, a white collar.
    down, across = np.mgrid[:300, :400]
    light = filled(of_lab((65, -4, -25)), 300, 400)
    light[180:] = of_lab((45, -20, 30))
    face = ((across - 200) / 70) ** 2 + ((down - 130) / 95) ** 2 < 1
    shade = np.where(across > 200, 0.45, 1.0)[..., None]
    light = np.where(face[..., None], of_lab(lab) * shade, light)
    light[230:260, 150:250] = 0.85
    eyes = np.minimum(np.hypot(across - 170, down - 110), np.hypot(across - 230, down - 110)) < 9
    light = np.where(eyes[..., None], 0.03, light).astype(np.float32)
    found = skin_share(light)
    inner = ((across - 200) / 60) ** 2 + ((down - 130) / 85) ** 2 < 1
    inner &= (down < 225) & (np.hypot(across - 170, down - 110) > 14)
    inner &= np.hypot(across - 230, down - 110) > 14
    outer = ((across - 200) / 80) ** 2 + ((down - 130) / 105) ** 2 > 1
    assert found[inner].min() > 0.9
    assert found[outer].max() < 0.02
    assert found[110, 170] < 0.05


def test_a_thin_line_of_mixed_colour_is_left_out() -> None:
    light = filled(of_lab((90, 0, 0)), 60, 60)
    light[:, 28:30] = of_lab((60, 14, 18))
    assert skin_share(light).max() < 0.01
    light[:, 20:40] = of_lab((60, 14, 18))
    assert skin_share(light)[30, 30] > 0.99


def test_a_photographed_face() -> None:
    # scikit-image's portrait: a face, an orange suit, a flag, a mottled grey wall.
    encoded = data.astronaut() / 255
    light = np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)
    found = skin_share(light.astype(np.float32))
    assert np.median(found[100:175, 195:265]) > 0.8
    assert found[350:480, 60:140].mean() < 0.01
    assert found[:60, 20:150].mean() < 0.01
    assert found[20:200, 300:380].mean() < 0.01

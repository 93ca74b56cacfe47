"""Dodging and burning: where the light goes, how much of it, how softly."""

import tracemalloc
from math import log2
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.stats import norm

from pictures import picture_of, printed, save
from sightsize.imaging.raster.spread import spread
from sightsize.imaging.stages.dodge import light_map
from sightsize.model.geometry import Box
from sightsize.numbers.tones import lightness
from sightsize.plan.places import EdgeBurnPlan, ShadePlan

SIZE = (400, 300)


def stops(*shades: ShadePlan, burn: EdgeBurnPlan | None = None) -> NDArray[np.float64]:
    small = light_map(shades, burn, SIZE)
    assert small is not None
    return np.asarray(np.log2(spread(small, *SIZE).numpy()), np.float64)


def shade(shape: Any, *points: tuple[float, float], amount: float = 1.0, soft: float = 24) -> Any:
    return ShadePlan(stops=amount, shape=shape, points=points, softness_px=soft)


BOX = ((100.0, 75.0), (300.0, 75.0), (300.0, 225.0), (100.0, 225.0))


def test_nothing_asked_for_is_no_map() -> None:
    assert light_map([], None, SIZE) is None


@pytest.mark.parametrize("shape", ["ellipse", "polygon"])
@pytest.mark.parametrize("amount", [0.5, -1.25])
def test_all_inside_none_outside(shape: str, amount: float) -> None:
    found = stops(shade(shape, *BOX, amount=amount))
    assert found[150, 200] == pytest.approx(amount, abs=0.01)
    for y, x in ((10, 10), (10, 390), (290, 200), (150, 60)):
        assert found[y, x] == pytest.approx(0, abs=0.01)


def test_area_of_an_ellipse() -> None:
    # Geometry: pi a b; softness does not change the area.
    found = stops(shade("ellipse", *BOX))
    assert found.sum() == pytest.approx(np.pi * 100 * 75, rel=0.01)


def test_area_of_a_polygon_by_the_shoelace_formula() -> None:
    corners = ((60.0, 50.0), (330.0, 80.0), (210.0, 160.0), (250.0, 260.0), (90.0, 200.0))
    x, y = np.array(corners).T
    area = abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2
    assert stops(shade("polygon", *corners)).sum() == pytest.approx(area, rel=0.01)


@pytest.mark.parametrize("soft", [12.0, 30.0, 60.0])
def test_softness_is_the_distance_from_a_tenth_to_nine_tenths(soft: float) -> None:
    # Tables of the normal curve: 10 % lies 1.2816 sigma from the middle.
    assert 2 * norm.ppf(0.9) == pytest.approx(2.563, abs=0.001)
    row = stops(shade("edge", (200, 150), (300, 150), soft=soft))[150]
    first, last = (np.interp(share, row, np.arange(400) + 0.5) for share in (0.1, 0.9))
    assert last - first == pytest.approx(soft, rel=0.06)
    assert np.interp(0.5, row, np.arange(400) + 0.5) == pytest.approx(200, abs=soft / 12)
    assert (np.diff(row) >= -1e-6).all()


def test_an_edge_treats_the_side_of_its_second_point() -> None:
    found = stops(shade("edge", (200, 150), (200, 100), amount=-1))
    assert found[10].max() == pytest.approx(-1, abs=0.01)
    assert found[290].min() == pytest.approx(0, abs=0.01)


def test_shades_add_up_in_stops() -> None:
    both = stops(shade("ellipse", *BOX, amount=0.7), shade("polygon", *BOX, amount=-0.3))
    assert both[150, 200] == pytest.approx(0.4, abs=0.01)


def test_a_turned_box_holds_a_turned_ellipse() -> None:
    corners = ((240.0, 50.0), (240.0, 250.0), (160.0, 250.0), (160.0, 50.0))
    found = stops(shade("ellipse", *corners))
    assert found[150 + 80, 200] > 0.9
    assert found[150, 200 + 80] < 0.1


def test_edge_burn_is_measured_from_the_opening() -> None:
    burn = EdgeBurnPlan(stops=0.3, width_px=60, opening=Box(20, 10, 360, 280))
    found = stops(burn=burn)
    assert found[150, 5] == pytest.approx(-0.3, abs=0.01)  # behind the mat
    assert found[150, 21] == pytest.approx(-0.3, abs=0.01)
    assert found[150, 20 + 30] == pytest.approx(-0.15, abs=0.02)
    assert found[150, 200] == pytest.approx(0, abs=0.005)
    assert found[30, 45] < found[30, 200] < 0  # corners get the most
    assert found.min() >= -0.3 - 1e-6


def flat_grey(folder: Path) -> Path:
    return save(folder / "grey.tif", np.full((300, 400, 3), 118, np.uint8))


def decoded(code: float) -> float:
    value = code / 255
    return float(((value + 0.055) / 1.055) ** 2.4)


@pytest.mark.parametrize("mono", [{}, {"filter": "none"}])
def test_a_dodge_prints_as_many_stops(tmp_path: Path, mono: dict[str, str]) -> None:
    facts = {
        "dodge": [{"stops": 0.5, "ellipse": [0.1, 0.2, 0.3, 0.6], "softness": "1 mm"}],
        "burn": [{"stops": 0.75, "ellipse": [0.6, 0.2, 0.3, 0.6], "softness": "1 mm"}],
    }
    tables = {"mono": mono} if mono else {}
    found = picture_of(printed(tmp_path, flat_grey(tmp_path), SIZE, facts, **tables), SIZE)
    untouched, lighter, darker = (found[140:160, x : x + 20].mean() for x in (195, 90, 290))
    assert untouched == pytest.approx(118, abs=0.2)
    assert log2(decoded(lighter) / decoded(untouched)) == pytest.approx(0.5, abs=0.02)
    assert log2(decoded(darker) / decoded(untouched)) == pytest.approx(-0.75, abs=0.02)


@pytest.mark.parametrize("tables", [{}, {"mono": {"filter": "none"}}])
def test_a_dodge_beyond_white_comes_back_under_a_darker_exposure(
    tmp_path: Path, tables: dict[str, Any]
) -> None:
    steps = np.rint(np.linspace(60, 255, 14)).astype(np.uint8)
    wedge = np.tile(steps.repeat(20)[None, :, None], (120, 1, 3))
    source = save(tmp_path / "wedge.tif", wedge)
    size = (280, 120)
    dodge = {"dodge": [{"stops": 1.0, "edge": [[0.5, 0.0], [0.5, 1.0]], "softness": "1 mm"}]}
    asked = {"sharpen": {"gain": 0.0}, **tables}
    found = {
        exposure: picture_of(
            printed(tmp_path, source, size, facts, tone={"exposure": exposure}, **asked), size
        )[40:].astype(float)
        for exposure, facts in ((-1.0, dodge), (0.0, {}))
    }
    assert np.abs(found[-1.0] - found[0.0]).mean() < 0.3
    assert np.abs(found[-1.0] - found[0.0]).max() <= 1


def test_a_dodge_comes_on_top_of_a_zone(tmp_path: Path) -> None:
    pixels = np.full((300, 400, 3), 160, np.uint8)
    pixels[:, 200:] = 225
    source = save(tmp_path / "two.tif", pixels)
    facts = {
        "zones": [{"at": [0.25, 0.5], "zone": 4}],
        "dodge": [{"stops": 1.0, "ellipse": [0.6, 0.2, 0.3, 0.6], "softness": "1 mm"}],
    }
    found = picture_of(printed(tmp_path, source, SIZE, facts), SIZE)
    placed, right, dodged = (found[140:160, x : x + 20].mean() for x in (90, 210, 290))
    assert lightness(decoded(placed)) == pytest.approx(40, abs=0.3)
    assert log2(decoded(dodged) / decoded(right)) == pytest.approx(1, abs=0.02)


def test_a_shade_stays_on_its_place_when_the_picture_is_turned_and_cropped(tmp_path: Path) -> None:
    # A white disc, and a burn on the same place of the source: both move together.
    y, x = np.mgrid[0:600, 0:800] + 0.5
    disc = np.hypot(x - 520, y - 220) < 60
    pixels = np.where(disc, 150, 118).astype(np.uint8)[..., None].repeat(3, axis=2)
    source = save(tmp_path / "disc.tif", pixels)
    box = [(520 - 60) / 800, (220 - 60) / 600, 120 / 800, 120 / 600]
    turned = {"level": 7.0, "crop": {"left": 0.2, "top": 0.1, "width": 0.75, "height": 0.8}}
    plain = picture_of(printed(tmp_path, source, SIZE, turned), SIZE)[..., 0].astype(float)
    burned = {**turned, "burn": [{"stops": 1.0, "ellipse": box, "softness": "0.5 mm"}]}
    found = picture_of(printed(tmp_path, source, SIZE, burned), SIZE)[..., 0].astype(float)
    inside, darker = plain > 134, found < plain - 12
    assert inside.sum() > 3000
    assert (inside & darker).sum() / (inside | darker).sum() > 0.93


def test_a_very_soft_shade_beside_a_hard_one_stays_small() -> None:
    # Each is drawn as finely as it needs; the soft one is not blurred at the hard one's pixels.
    size = (4724, 3543)  # 400 x 300 mm at 300 ppi
    hard = ShadePlan(stops=1, shape="ellipse", points=_box(600, 600, 900), softness_px=12)
    soft = ShadePlan(stops=-1, shape="ellipse", points=_box(2000, 1500, 900), softness_px=1200)
    tracemalloc.start()
    small = light_map([hard, soft], None, size)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert small is not None
    assert max(small.shape) <= 1500
    assert peak < 150 * 2**20
    alone = light_map([soft], None, size)
    assert alone is not None
    assert max(alone.shape) < 60


def test_a_softness_beyond_the_print_is_that_of_its_diagonal() -> None:
    endless, diagonal = (
        stops(shade("edge", (200, 150), (300, 150), soft=soft)) for soft in (1e6, 500)
    )
    assert np.abs(endless - diagonal).max() < 1e-6


def _box(left: float, top: float, side: float) -> tuple[tuple[float, float], ...]:
    return ((left, top), (left + side, top), (left + side, top + side), (left, top + side))

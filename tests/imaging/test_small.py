"""The small picture of a print: the right part of the source, at the right place."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pictures import Pixels, job, picture_of, planned_picture, printed, save
from sightsize.imaging.analysis.small_picture import LONG_SIDE_PX, SmallPrint
from sightsize.plan.picture import PicturePlan


def waves(width: int, height: int) -> Pixels:
    """A picture that differs everywhere, smoothly: red across, green down, blue both."""
    y, x = np.mgrid[0:height, 0:width] + 0.5
    red, green = 128 + 100 * np.sin(x / width * 9), 128 + 100 * np.cos(y / height * 7)
    return np.stack([red, green, (red + green) / 2], axis=-1).round().astype(np.uint8)


def planned(folder: Path, source: Path, px: tuple[int, int], facts: dict[str, Any]) -> PicturePlan:
    return planned_picture(job(folder, {"waves": {"source": source.name, **facts}}, px))


def small_of(plan: PicturePlan) -> SmallPrint:
    return SmallPrint(plan, None)


CASES: dict[str, dict[str, Any]] = {
    "whole": {},
    "crop": {"crop": {"left": 0.3, "top": 0.1, "width": 0.5, "height": 0.6}},
    "turned": {"level": 8.0, "crop": {"left": 0.1, "top": 0.2, "width": 0.8, "height": 0.7}},
}


@pytest.mark.parametrize("name", CASES)
def test_what_is_printed_stands_where_the_print_has_it(tmp_path: Path, name: str) -> None:
    source = save(tmp_path / "waves.tif", waves(1500, 1000))
    px = (300, 200)
    plan = planned(tmp_path, source, px, CASES[name])
    small = small_of(plan).printed
    assert max(small.width, small.height) <= max(px)
    found = picture_of(printed(tmp_path, source, px, CASES[name]), px) / 255
    light = np.where(found <= 0.04045, found / 12.92, ((found + 0.055) / 1.055) ** 2.4)
    # A shift of half a pixel would show as more.
    assert np.abs(small.numpy() - light).max() < 0.012
    assert np.abs((small.numpy() - light).mean()) < 0.001


def test_the_small_picture_is_the_same_for_every_size(tmp_path: Path) -> None:
    source = save(tmp_path / "waves.tif", waves(1500, 1000))
    sizes = [small_of(planned(tmp_path, source, px, {})).whole for px in ((300, 200), (600, 400))]
    assert (sizes[0].width, sizes[0].height) == (LONG_SIDE_PX, 667)
    assert (sizes[0].numpy() == sizes[1].numpy()).all()


def test_a_small_source_is_not_enlarged(tmp_path: Path) -> None:
    source = save(tmp_path / "waves.tif", waves(120, 90))
    small = small_of(planned(tmp_path, source, (240, 180), {}))
    assert (small.whole.width, small.whole.height) == (120, 90)


def test_a_changed_source_is_read_anew(tmp_path: Path) -> None:
    source = save(tmp_path / "waves.tif", waves(120, 90))
    plan = planned(tmp_path, source, (120, 90), {})
    before = small_of(plan).whole.numpy()
    save(source, 255 - waves(120, 90))
    assert np.abs(small_of(plan).whole.numpy() - before).max() > 0.3


def test_the_opening_is_cut_out_of_the_print(tmp_path: Path) -> None:
    source = save(tmp_path / "waves.tif", waves(400, 300))
    aperture = {"width": "36 mm", "height": "24 mm", "overlap": {
        "left": "1 mm", "right": "3 mm", "top": "2 mm", "bottom": "4 mm"}}  # fmt: skip
    made = job(tmp_path, {"waves": {"source": source.name}}, (400, 300), aperture=aperture)
    plan = planned_picture(made)
    box = plan.size.opening_px
    assert (box.left, box.top, box.width, box.height) == (10, 20, 360, 240)
    small = small_of(plan)
    cut = small.opening(small.printed)
    assert (cut.width, cut.height) == (360, 240)
    assert (cut.numpy() == small.printed.numpy()[20:260, 10:370]).all()

"""Raw camera files through the whole chain to print files."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import pyvips

from dng import mosaic, neutral, seen, write_dng
from icc_profiles import Floats
from pictures import Pixels, job, make, picture_of, printed
from sightsize.errors import SourceError
from sightsize.imaging.source.image_file import open_image

PX = (240, 160)
PATCHES = np.array(
    [[0.18, 0.18, 0.18], [0.35, 0.15, 0.08], [0.06, 0.15, 0.30], [0.45, 0.45, 0.45],
     [0.10, 0.25, 0.08], [0.04, 0.04, 0.04]]
)  # fmt: skip
"""Linear sRGB light of six patches, three across."""


def scene(width: int = 480, height: int = 320) -> Floats:
    across = np.arange(width) * 3 // width
    down = np.arange(height) * 2 // height
    return np.asarray(PATCHES[down[:, None] * 3 + across])


def dng(folder: Path, orientation: int = 1, light: Floats | None = None) -> Path:
    camera = seen(scene() if light is None else light)
    return write_dng(folder / "plate.dng", mosaic(camera), neutral(), orientation=orientation)


def means(found: Pixels) -> Floats:
    """Linear light in the middle of each patch of a print, three across and two down."""
    height, width = found.shape[:2]
    values = [
        found[
            int(y * height) - 12 : int(y * height) + 12, int(x * width) - 12 : int(x * width) + 12
        ]
        for y in (0.25, 0.75)
        for x in (1 / 6, 0.5, 5 / 6)
    ]
    codes = np.array([each.reshape(-1, 3).mean(axis=0) for each in values]) / 255
    return np.asarray(np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4))


@pytest.mark.parametrize("px", [PX, (480, 320), (60, 40)], ids=["half", "whole", "small"])
def test_a_raw_file_prints_its_scene(tmp_path: Path, px: tuple[int, int]) -> None:
    # Half-size development below, whole development at and above the sensor's own pixels.
    found = picture_of(printed(tmp_path, dng(tmp_path), px), px)
    if px == (60, 40):  # too small for squares of 24 px: the middle of each patch alone
        found = found.repeat(8, axis=0).repeat(8, axis=1)
    assert means(found) == pytest.approx(PATCHES, abs=0.004)


def test_a_turned_raw_file_is_upright(tmp_path: Path) -> None:
    # Orientation 6 shows the stored picture a quarter turn clockwise (Exif 2.3).
    px = PX[::-1]
    found = picture_of(printed(tmp_path, dng(tmp_path, orientation=6), px), px)
    turned_back = np.rot90(found, 1)
    assert means(turned_back) == pytest.approx(PATCHES, abs=0.004)


def test_exposure_and_white_balance_of_the_job(tmp_path: Path) -> None:
    base = means(picture_of(printed(tmp_path, dng(tmp_path), PX), PX))
    brighter = {"raw": {"exposure": 0.5}}
    found = means(picture_of(printed(tmp_path, dng(tmp_path), PX, brighter), PX))
    assert found[0] / base[0] == pytest.approx(2**0.5, rel=0.02)
    warmer = {"raw": {"white_balance": 9000}}
    found = means(picture_of(printed(tmp_path, dng(tmp_path), PX, warmer), PX))
    assert found[0, 0] > base[0, 0] * 1.05
    assert found[0, 2] < base[0, 2] * 0.95


def test_spots_zones_and_mono_work_on_raw_files(tmp_path: Path) -> None:
    light = np.full((320, 480, 3), 0.18)
    light[150:162, 235:247] = 0.02
    facts: dict[str, Any] = {
        "spotting": [{"at": [241 / 480, 156 / 320], "radius": 14 / 480}],
        "zones": [{"at": [0.2, 0.2], "zone": 6.0}],
    }
    source = dng(tmp_path, light=light)
    found = picture_of(printed(tmp_path, source, PX, facts, mono={"filter": "none"}), PX)
    assert int(found.max()) - int(found.min()) <= 3
    assert found.mean() == pytest.approx(145.5, abs=1)  # L* 60 in sRGB


def test_the_header_of_a_print_from_raw(tmp_path: Path) -> None:
    made = job(tmp_path, {"plate": {"source": dng(tmp_path).name}}, PX, delivery={"format": "jpeg"})
    (outcome,) = make(made)
    assert outcome.status == "made", outcome.message
    plan = outcome.planned.plan
    assert plan is not None
    (placed,) = plan.pictures
    header = placed.picture.header
    assert (header.format, header.bits) == ("raw", 16)


def test_a_raw_file_that_libvips_cannot_open_has_no_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Of raw files libvips opens only those that are built like a TIFF.
    tried = []

    def not_raw(path: Path) -> pyvips.Image:
        if path.suffix != ".dng":
            return open_image(path)
        tried.append(path.name)
        raise SourceError("plate.dng is in a format that cannot be read")

    monkeypatch.setattr("sightsize.delivery.metadata.open_image", not_raw)
    (outcome,) = make(job(tmp_path, {"plate": {"source": dng(tmp_path).name}}, PX))
    assert outcome.status == "made", outcome.message
    assert tried == ["plate.dng"]


def test_a_cut_raw_file_fails_alone(tmp_path: Path) -> None:
    source = dng(tmp_path)
    source.write_bytes(source.read_bytes()[:4000])
    (outcome,) = make(job(tmp_path, {"plate": {"source": source.name}}, PX))
    assert outcome.status in ("refused", "failed")
    assert "plate.dng" in outcome.message
    assert list((tmp_path / "prints").iterdir()) == []

"""Black-and-white through the whole chain to 8 bits."""

from itertools import product
from pathlib import Path

import numpy as np
import pytest

from pictures import Pixels, patch_means, patches, picture_of, printed, save
from sightsize.numbers.tones import FILTERS, RESPONSES

PRIMARIES = np.array([[255, 0, 0], [0, 255, 0], [0, 0, 255]], np.uint8)
GREYS = np.repeat(np.arange(256, dtype=np.uint8)[:, None], 3, axis=1)


def grey(folder: Path, pixels: Pixels, **mono: object) -> Pixels:
    px = pixels.shape[1], pixels.shape[0]
    source = save(folder / "source.tif", pixels)
    found = picture_of(printed(folder, source, px, mono=mono), px)
    assert found.shape[2] == 3
    assert (found == found[..., :1]).all(), "red, green and blue differ"
    return found[..., :1]


def test_primaries_in_linear_light(tmp_path: Path) -> None:
    # IEC 61966-2-1: the luminance row .2126 .7152 .0722 in linear light, then encoded, is 127.10,
    # 219.93 and 75.96. Weights on encoded values would give 54, 182 and 18.
    found = grey(tmp_path, patches(PRIMARIES, 3, 64), response="luminance")
    means = patch_means(found, 64)[:, 0]
    assert means.round().tolist() == [127, 220, 76]
    assert means == pytest.approx([127.10, 219.93, 75.96], abs=0.06)


@pytest.mark.parametrize(("response", "filter_name"), [*product(RESPONSES, FILTERS)])
def test_greys_do_not_move(tmp_path: Path, response: str, filter_name: str) -> None:
    # Weights that sum to 1 leave R = G = B alone, whatever the filter.
    found = grey(tmp_path, patches(GREYS, 16, 8), response=response, filter=filter_name)
    off = found.astype(int) - patches(GREYS[:, :1], 16, 8)
    assert np.abs(off).max() <= 1
    assert np.abs(patch_means(found)[:, 0] - GREYS[:, 0]).max() < 0.25


def test_red_filter_darkens_a_blue_sky(tmp_path: Path) -> None:
    # Bouguer-Lambert: twice the thickness is twice the filter's density, so it darkens further.
    sky = patches(np.array([[90, 140, 210]], np.uint8), 1, 32)
    tones = [
        grey(tmp_path, sky, filter="red", filter_strength=strength).mean()
        for strength in (0.0, 1.0, 2.0)
    ]
    assert tones[0] - tones[1] > 20
    assert tones[1] > tones[2]


@pytest.mark.parametrize("format_name", ["jpeg", "tiff"])
def test_a_grey_file_has_one_channel(tmp_path: Path, format_name: str) -> None:
    source = save(tmp_path / "source.tif", patches(GREYS, 16, 8))
    delivery = {"profile": "grey", "format": format_name, "quality": 100}
    file = printed(tmp_path, source, (128, 128), mono={"filter": "none"}, delivery=delivery)
    found = picture_of(file, (128, 128))
    assert found.shape[2] == 1
    assert np.abs(patch_means(found)[:, 0] - GREYS[:, 0]).max() < 0.5


def test_neutral_in_a_jpeg_too(tmp_path: Path) -> None:
    # JFIF (ITU-T T.871) codes equal channels as luma with no chroma at all.
    source = save(tmp_path / "source.tif", patches(GREYS, 16, 8))
    file = printed(
        tmp_path, source, (128, 128), mono={"filter": "none"}, delivery={"format": "jpeg"}
    )
    found = picture_of(file, (128, 128))
    assert (found == found[..., :1]).all()

"""The sheet: exact paper round the picture, the same bytes every time, upright and level."""

import hashlib
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
import pyvips
from PIL import Image, ImageOps
from scipy.ndimage import gaussian_filter

from icc_profiles import Floats
from pictures import BORDER_PX, Pixels, job, make, picture_of, printed, read, save
from sightsize.imaging.stages.level import level_and_crop
from sightsize.model.geometry import Box
from speed import first_is_quick

BUSY = np.random.default_rng(8).integers(0, 256, size=(90, 60, 3)).astype(np.uint8)
LOBBY_OAK = {
    "aperture": {"width": "7 1/4 in", "height": "9 5/8 in", "overlap": "3 mm"},
    "paper": {"size": "12x8 in", "hinge_margin": "12 mm"},
    "sharpen": {"gain": 0.8},
}
SAVING: dict[str, dict[str, Any]] = {".jpg": {"quality": 98, "subsampling": 0}, ".tif": {}}
EVERYTHING = {
    "tone": {"exposure": 0.1, "grade": 2.4, "curve": [[0, 0], [50, 53], [100, 100]]},
    "sharpen": {"gain": 0.8, "radius": "0.12 mm"},
}


def lobby_oak(folder: Path, **delivery: Any) -> Pixels:
    """The lobby frame's print: 2246 x 2958 px on 2400 x 3600 px at (77, 321)."""
    tables: dict[str, Any] = {**LOBBY_OAK, "delivery": {"resolution": "300 ppi", **delivery}}
    return read(printed(folder, save(folder / "busy.tif", BUSY), (1, 1), **tables))


@pytest.mark.slow
def test_tiff_border_is_exactly_paper(tmp_path: Path) -> None:
    sheet = lobby_oak(tmp_path, format="tiff").copy()
    assert sheet.shape == (3600, 2400, 3)
    picture = sheet[321 : 321 + 2958, 77 : 77 + 2246].copy()
    sheet[321 : 321 + 2958, 77 : 77 + 2246] = 255
    assert (sheet == 255).all()
    for rim in (picture[0], picture[-1], picture[:, 0], picture[:, -1]):
        assert (rim < 255).any()


@pytest.mark.slow
@pytest.mark.parametrize(("quality", "most"), [(95, 20), (60, 110)])
def test_jpeg_border_is_exactly_paper_outside_the_edge_blocks(
    tmp_path: Path, quality: int, most: int
) -> None:
    # ITU-T T.81 codes blocks of 8 x 8 pixels each for itself; 4:4:4 keeps chroma to them too.
    sheet = lobby_oak(tmp_path, format="jpeg", quality=quality).copy()
    sheet[321 : 321 + 2958, 77 : 77 + 2246] = 255
    inside = sheet[320:3280, 72:2328].copy()
    sheet[320:3280, 72:2328] = 255
    assert (sheet == 255).all()
    # Measured with this noise: 14 codes at quality 95, 81 at 60.
    assert 0 < 255 - inside.min() <= most


@pytest.mark.parametrize(("quality", "most"), [(95, 24), (60, 160)])
@pytest.mark.parametrize("off_px", [1, 3, 5, 7])
def test_how_far_the_edge_blocks_of_a_jpeg_are_off(
    tmp_path: Path, quality: int, most: int, off_px: int
) -> None:
    # The worst there is, colour noise of full contrast: measured 18 codes at quality 95, 134 at
    # 60; a black picture leaves 5 and 34. At most 7 px, 0.6 mm at 300 ppi, from the picture.
    noise = np.random.default_rng(5).integers(0, 256, size=(96, 96, 3)).astype(np.uint8)
    source = save(tmp_path / "noise.tif", noise)
    place = {"x": f"{(24 + off_px) / 10} mm", "y": f"{(32 + off_px) / 10} mm"}
    delivery = {"format": "jpeg", "quality": quality}
    file = printed(tmp_path, source, (96, 96), paper={"placement": place}, delivery=delivery)
    sheet = read(file).copy()
    sheet[32 + off_px : 128 + off_px, 24 + off_px : 120 + off_px] = 255
    assert 0 < 255 - sheet.min() <= most
    sheet[32:136, 24:128] = 255
    assert (sheet == 255).all()


def test_odd_pixel_goes_right_and_below(tmp_path: Path) -> None:
    # 149 x 204 mm on 10x8 in: 1760 x 2409 px leave 640 and 591: 320 and 320, 295 and 296.
    tables = {
        "aperture": {"width": "143 mm", "height": "198 mm", "overlap": "3 mm"},
        "paper": {"size": "10x8 in", "hinge_margin": "12 mm"},
        "delivery": {"resolution": "300 ppi"},
    }
    source = save(tmp_path / "dark.tif", np.full((90, 60, 3), 20, np.uint8))
    sheet = read(printed(tmp_path, source, (1, 1), **tables))
    dark = np.argwhere(sheet[..., 0] < 128)
    (top, left), (bottom, right) = dark.min(axis=0), dark.max(axis=0)
    assert sheet.shape[:2] == (3000, 2400)
    assert (left, top, 2399 - right, 2999 - bottom) == (320, 295, 320, 296)


@pytest.mark.parametrize("format_name", ["tiff", "jpeg"])
@pytest.mark.parametrize(
    ("tone", "code"), [("white", 255), (100, 255), (90, 226), (95, 241), (0, 0)]
)
def test_border_has_the_papers_tone(
    tmp_path: Path, format_name: str, tone: str | int, code: int
) -> None:
    # IEC 61966-2-1 and CIE 15: L* 90 encodes as 226.33, 95 as 240.58.
    source = save(tmp_path / "busy.tif", BUSY[:64, :40])
    delivery = {"format": format_name}
    file = printed(tmp_path, source, (40, 64), paper={"tone": tone}, delivery=delivery)
    sheet = read(file).copy()
    sheet[BORDER_PX:-BORDER_PX, BORDER_PX:-BORDER_PX] = code
    assert (sheet == code).all()


def run(folder: Path, threads: int) -> dict[str, str]:
    """Make the folder's job in a process of its own; return the hash of each file."""
    environment = {**os.environ, "VIPS_CONCURRENCY": str(threads)}
    for file in (folder / "prints").glob("*"):
        file.unlink()
    done = subprocess.run(
        [sys.executable, "-m", "sightsize", "make", str(folder / "job.toml")],
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return hashes(folder / "prints")


def hashes(folder: Path) -> dict[str, str]:
    prints = (each for each in folder.iterdir() if each.suffix in (".jpg", ".tif"))
    return {each.name: hashlib.sha256(each.read_bytes()).hexdigest() for each in prints}


@pytest.mark.slow
def test_bytes_are_the_same_again_and_for_any_number_of_threads(tmp_path: Path) -> None:
    soft = gaussian_filter(np.random.default_rng(1).normal(size=(400, 500, 3)), (2, 2, 0))
    pixels = np.clip(128 + 250 * soft, 0, 255).astype(np.uint8)
    save(tmp_path / "soft.jpg", pixels, quality=92)
    pictures: dict[str, dict[str, Any]] = {
        "level": {"source": "soft.jpg"},
        "turned": {"source": "soft.jpg", "level": 3.0, "centre_on": [0.3, 0.6]},
    }
    job(tmp_path, pictures, (330, 260), delivery={"format": "jpeg"}, **EVERYTHING)
    first = run(tmp_path, 1)
    assert len(first) == 2
    for threads in (1, 2, 4):
        assert run(tmp_path, threads) == first


def test_bytes_are_the_same_for_any_number_of_workers(tmp_path: Path) -> None:
    save(tmp_path / "busy.jpg", np.kron(BUSY, np.ones((4, 4, 1), np.uint8)))
    pictures = {
        f"p{at}": {"source": "busy.jpg", "centre_on": [0.5, 0.3 + 0.08 * at]} for at in range(6)
    }
    planned = job(tmp_path, pictures, (120, 100), mono={"filter": "red"}, **EVERYTHING)
    make(planned, workers=1)
    first = hashes(planned.output)
    make(planned, workers=3, replace="altered too")
    for file in planned.output.iterdir():
        file.unlink()
    make(planned, workers=3)
    assert hashes(planned.output) == first
    assert len(set(first.values())) == 6


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("suffix", [".tif", ".jpg"])
def test_orientation_is_as_a_picture_turned_beforehand(
    tmp_path: Path, orientation: int, suffix: str
) -> None:
    # Exif 2.3, tag 0112; Pillow's exif_transpose turns the copy.
    stored = BUSY.copy()
    stored[:12, :12] = (255, 0, 0)
    exif = Image.Exif()
    exif[0x0112] = orientation
    source = tmp_path / f"stored{suffix}"
    save(source, stored, exif=exif, **SAVING[suffix])
    with Image.open(source) as opened:
        upright = np.asarray(ImageOps.exif_transpose(opened))
    copy = save(tmp_path / "upright.png", upright)
    swapped = orientation >= 5
    assert upright.shape[:2] == ((60, 90) if swapped else (90, 60))
    facts = {
        "centre_on": [0.1, 0.05],
        "crop": {"left": 0.0, "top": 0.0, "width": 0.9, "height": 0.8},
    }
    px = (50, 40)
    file = printed(tmp_path, source, px, facts, **EVERYTHING)
    found = picture_of(file, px)
    with Image.open(file) as opened:
        assert opened.getexif().get(0x0112, 1) == 1
    assert (found == picture_of(printed(tmp_path, copy, px, facts, **EVERYTHING), px)).all()


def test_marked_corner_stays_top_left(tmp_path: Path) -> None:
    # Stored on its side with orientation 6: turned clockwise a quarter to stand upright, so the
    # stored bottom left corner is the upright top left one.
    stored = np.full((40, 60, 3), 128, np.uint8)
    stored[-10:, :10] = (255, 0, 0)
    exif = Image.Exif()
    exif[0x0112] = 6
    source = save(tmp_path / "side.tif", stored, exif=exif)
    found = picture_of(printed(tmp_path, source, (40, 60)), (40, 60))
    red = found[..., 0] > found[..., 1] + 60
    assert red[:10, :10].all()
    assert red.sum() == 100


def tilted(degrees_clockwise: float) -> Pixels:
    """A dark line through the middle, its right end lower by an angle."""
    y, x = np.mgrid[0:360, 0:480]
    angle = np.radians(degrees_clockwise)
    across = (y - 179.5) * np.cos(angle) - (x - 239.5) * np.sin(angle)
    grey = 235 - 200 * np.exp(-((across / 2.5) ** 2))
    return np.repeat(grey.round().astype(np.uint8)[..., None], 3, axis=2)


@pytest.mark.parametrize("degrees", [-7.0, -0.7, 0.7, 5.0])
@pytest.mark.parametrize("suffix", [".png", ".jpg"])
def test_level_turns_clockwise_until_level(tmp_path: Path, degrees: float, suffix: str) -> None:
    source = save(tmp_path / f"tilted{suffix}", tilted(-degrees))
    file = printed(tmp_path, source, (300, 200), {"level": degrees})
    dark = 255.0 - picture_of(file, (300, 200))[..., 0]
    dark[dark < 60] = 0
    middle = (dark * np.arange(200)[:, None]).sum(axis=0) / dark.sum(axis=0)
    slope, offset = np.polyfit(np.arange(300), middle, 1)
    assert abs(np.degrees(np.arctan(slope))) < 0.03
    assert slope * 149.5 + offset == pytest.approx(99.5, abs=0.3)


@pytest.mark.parametrize("degrees", [-12.0, -0.7, 3.0, 45.0])
def test_turning_is_as_opencv_turns(degrees: float) -> None:
    # cv2.getRotationMatrix2D counts anticlockwise; both about the middle of the pixels.
    field = gaussian_filter(np.random.default_rng(3).normal(size=(161, 220)), 4)
    light = np.asarray(0.5 + 2 * field, np.float32)
    matrix = cv2.getRotationMatrix2D((109.5, 80.0), -degrees, 1)
    wanted = cv2.warpAffine(
        light, matrix, (220, 161), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE
    )
    box = Box(60, 45, 100, 70)
    found: Floats = level_and_crop(pyvips.Image.new_from_array(light), box, degrees).numpy()
    off = np.abs(found - wanted[45:115, 60:160])
    # OpenCV's cubic is the sharper one and both round the place of a pixel to 1/32 or so.
    assert off.max() < 0.02 * (light.max() - light.min())


def test_level_shows_no_pixel_from_outside(tmp_path: Path) -> None:
    # The crop fits inside the turned picture and touches its rim at two corners only, so of a red
    # rim one pixel wide no more is left than there.
    pixels = np.full((200, 300, 3), 128, np.uint8)
    pixels[:1] = pixels[-1:] = (255, 0, 0)
    pixels[:, :1] = pixels[:, -1:] = (255, 0, 0)
    source = save(tmp_path / "rim.png", pixels)
    found = picture_of(printed(tmp_path, source, (240, 150), {"level": 6.0}), (240, 150))
    red = found[..., 0].astype(int) > found[..., 1] + 40
    assert red[2:-2, 2:-2].sum() == 0
    assert red.sum() <= 16


@pytest.mark.parametrize("orientation", [1, 3, 6])
@pytest.mark.parametrize("degrees", first_is_quick([0.7, 0.0, 20.0]))
def test_shrinking_while_decoding_keeps_everything_in_place(
    tmp_path: Path, orientation: int, degrees: float
) -> None:
    # A spot in a picture whose sides no power of two divides, decoded at an eighth: measured at
    # most 0.31 px (0.03 mm at 300 ppi) from where it is when nothing is shrunk.
    y, x = np.mgrid[0:901, 0:1203]
    spot = 235 - 200 * np.exp(-(((x - 550) / 20) ** 2) - ((y - 500) / 20) ** 2)
    exif = Image.Exif()
    exif[0x0112] = orientation
    pixels = np.repeat(spot.round().astype(np.uint8)[..., None], 3, axis=2)
    jpeg = save(tmp_path / "spot.jpg", pixels, exif=exif, **SAVING[".jpg"])
    with Image.open(jpeg) as opened:
        tiff = save(tmp_path / "spot.tif", np.asarray(opened), exif=exif)
    px = (60, 45) if orientation < 5 else (45, 60)
    facts = {"level": degrees}
    middles = [middle(picture_of(printed(tmp_path, file, px, facts), px)) for file in (jpeg, tiff)]
    assert np.abs(middles[0] - middles[1]).max() < 0.35


def middle(picture: Pixels) -> Floats:
    """The middle of what is dark."""
    dark = 235.0 - picture[..., 0]
    dark[dark < 20] = 0
    down, across = np.indices(dark.shape)
    return np.array([(dark * axis).sum() / dark.sum() for axis in (across, down)])

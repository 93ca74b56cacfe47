"""Raw files: scenes whose light is known, through a DNG and LibRaw, and back to light."""

import hashlib
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import get_args

import colour
import numpy as np
import pytest
import pyvips
import rawpy
from skimage.color import xyz2lab

from dng import BLACK, COLOR_MATRIX, WHITE, Sensor, mosaic, neutral, seen, write_dng
from icc_profiles import D65, SRGB_XY, Floats, colour_difference, rgb_to_xyz, to_d50
from sightsize.errors import SourceError
from sightsize.imaging.source.camera import balance_to_light, scene_white, srgb_to_xyz
from sightsize.imaging.source.raw import RAW_SUFFIXES, raw_light, read_raw_header
from sightsize.model.picture import AS_THE_CAMERA, Highlights, RawDevelopment
from sightsize.numbers.white_balance import kelvin_and_duv, white_xy

SIDE, ACROSS = 24, 6
GREY = 0.18
# Linear sRGB. The last six lie outside sRGB, three of them on the far side of a primary.
COLOURS = np.array(
    [
        [GREY, GREY, GREY],
        [0.02, 0.02, 0.02],
        [0.9, 0.9, 0.9],
        [0.171, 0.080, 0.057],  # dark skin
        [0.539, 0.302, 0.221],  # light skin
        [0.109, 0.194, 0.336],  # sky
        [0.400, 0.030, 0.040],
        [0.060, 0.290, 0.070],
        [0.030, 0.050, 0.300],
        [0.700, 0.560, 0.010],
        [0.480, 0.080, 0.290],
        [0.010, 0.230, 0.350],
        [0.500, -0.020, -0.010],
        [-0.090, 0.400, -0.030],
        [-0.010, -0.020, 0.450],
        [-0.120, 0.300, 0.320],
        [0.600, 0.450, -0.060],
        [0.350, -0.030, 0.400],
    ]
)
HIGHLIGHTS: tuple[Highlights, ...] = get_args(Highlights)
TUNGSTEN = white_xy(3000, 0.002)
SHADE = white_xy(9000, -0.003)


def xyz_of(xy: tuple[float, float]) -> Floats:
    return np.array([xy[0] / xy[1], 1, (1 - xy[0] - xy[1]) / xy[1]])


LIGHTS = {"D65": D65, "tungsten": xyz_of(TUNGSTEN), "shade": xyz_of(SHADE)}


def develop(
    kelvin: float | None = None, tint: float = 0, highlights: Highlights = "white"
) -> RawDevelopment:
    return replace(AS_THE_CAMERA, kelvin=kelvin, duv=tint, highlights=highlights)


def chart(colours: Floats = COLOURS) -> Floats:
    grid = colours.reshape(-1, ACROSS, 3)
    return np.repeat(np.repeat(grid, SIDE, axis=0), SIDE, axis=1)


def taken(path: Path, scene: Floats, white: Floats = D65, orientation: int = 1) -> Path:
    return write_dng(path, mosaic(seen(scene, white)), neutral(white), orientation=orientation)


def flat(red: float, green: float, blue: float) -> Sensor:
    return mosaic(np.broadcast_to([red, green, blue], (32, 48, 3)))


def light(path: Path, development: RawDevelopment = AS_THE_CAMERA, *, half: bool = False) -> Floats:
    return np.asarray(raw_light(path, development, half=half).numpy(), np.float64)


def inner_means(pixels: Floats, side: int = SIDE) -> Floats:
    """Means of the middle of each patch, a quarter of its side away from its edges."""
    rows, columns, _ = pixels.shape
    keep = np.s_[side // 4 : side - side // 4]
    squares = pixels.reshape(rows // side, side, columns // side, side, 3)[:, keep, :, keep]
    return np.asarray(squares.mean(axis=(1, 3)).reshape(-1, 3))


def lab(linear: Floats) -> Floats:
    d50 = linear @ (to_d50() @ rgb_to_xyz(SRGB_XY)).T
    return np.asarray(xyz2lab(d50[None], illuminant="D50")[0])


@pytest.mark.parametrize("name", LIGHTS)
def test_patches_come_back_as_they_were(tmp_path: Path, name: str) -> None:
    # Black-box: light -> camera -> mosaic -> DNG -> LibRaw -> light, 14 bits on the way.
    file = taken(tmp_path / "chart.dng", chart(), LIGHTS[name])
    found = inner_means(light(file))
    assert colour_difference(lab(found), lab(COLOURS)).max() < 0.4
    assert np.abs(found - COLOURS).max() < 0.001
    greys = found[:3]
    assert np.abs(greys / greys[:, 1:2] - 1)[[0, 2]].max() < 0.002
    # Outside sRGB means below zero, and nothing is cut on the way.
    assert (found[COLOURS < -0.005] < 0).all()


@pytest.mark.parametrize("name", LIGHTS)
def test_the_kelvin_of_the_light_is_the_balance_as_shot(tmp_path: Path, name: str) -> None:
    white = LIGHTS[name]
    kelvin, duv = kelvin_and_duv((float(white[0] / white.sum()), float(1 / white.sum())))
    file = taken(tmp_path / "chart.dng", chart(), white)
    off = inner_means(light(file, develop(kelvin, duv))) - inner_means(light(file))
    assert np.abs(off).max() < 0.001


def test_a_wrong_kelvin_warms_or_cools(tmp_path: Path) -> None:
    file = taken(tmp_path / "grey.dng", np.full((32, 48, 3), GREY))
    grey = [inner_means(light(file, develop(kelvin)), 16)[0] for kelvin in (4000, 6504, 9000)]
    red_to_blue = [each[0] / each[2] for each in grey]
    assert red_to_blue[0] < 0.5
    assert red_to_blue[1] == pytest.approx(1, abs=0.02)
    assert red_to_blue[2] > 1.3


@pytest.mark.parametrize("kelvin", [None, 6504])
def test_tint_is_the_light_s_so_the_picture_turns_the_other_way(
    tmp_path: Path, kelvin: float | None
) -> None:
    file = taken(tmp_path / "grey.dng", np.full((32, 48, 3), GREY))
    # D65 lies .0032 above the locus; as shot, a tint is counted from the light itself.
    own = 0.0 if kelvin is None else 0.0032
    greener, same, pinker = (
        light(file, develop(kelvin, own + tint))[16, 24] for tint in (0.01, 0, -0.01)
    )
    assert same == pytest.approx([GREY] * 3, abs=0.001)
    assert greener[1] < 0.97 * GREY < GREY < min(greener[0], greener[2])
    assert pinker[1] > 1.03 * GREY > GREY > max(pinker[0], pinker[2])


def test_a_stop_doubles_the_light(tmp_path: Path) -> None:
    file = taken(tmp_path / "chart.dng", chart())
    one = light(file)
    assert (light(file, replace(AS_THE_CAMERA, exposure_stops=1)) == 2 * one).all()
    assert (light(file, replace(AS_THE_CAMERA, exposure_stops=-2)) == one / 4).all()
    # Exposure comes after LibRaw has cut: nothing is lost at three stops more.
    brightest = light(file, replace(AS_THE_CAMERA, exposure_stops=3)).max()
    assert brightest == pytest.approx(8 * one.max(), rel=1e-6)


@pytest.mark.parametrize("highlights", HIGHLIGHTS)
@pytest.mark.parametrize("levels", [(BLACK, WHITE), (0, 16383), (2048, 15000), (128, 4095)])
def test_light_is_proportional_to_sensor_values(
    tmp_path: Path, highlights: Highlights, levels: tuple[int, int]
) -> None:
    black, white = levels
    balance = np.array([0.5, 1.0, 0.75])
    tiles = np.outer([0.1, 0.18, 0.3, 0.5, 0.8, 0.99], balance)
    sensor = mosaic(chart(tiles), *levels)
    file = write_dng(tmp_path / "flat.dng", sensor, balance, black=black, white=white)
    found = inner_means(light(file, develop(highlights=highlights)))
    # What the sensor stored, in whole steps, is what counts.
    cells = [sensor[0, ::SIDE], sensor[0, 1::SIDE], sensor[1, 1::SIDE]]
    stored = (np.array(cells, np.float64).T - black) / (white - black) / balance
    wanted = stored @ balance_to_light(COLOR_MATRIX, 1 / balance).T
    assert found == pytest.approx(wanted, rel=0.001)


def test_no_picture_changes_the_scale(tmp_path: Path) -> None:
    # A brighter neighbour below the white level must not make the grey darker.
    scene = np.full((48, 96, 3), GREY)
    dim = light(taken(tmp_path / "dim.dng", scene))[24, 24]
    scene[:, 48:] = 0.85
    assert (light(taken(tmp_path / "bright.dng", scene))[24, 24] == dim).all()


def test_highlights(tmp_path: Path) -> None:
    # A window at 1.3 times white: green is full at 1, red and blue are not.
    scene = np.full((96, 128, 3), 0.6)
    scene[30:66, 40:88] = 1.3
    assert (neutral()[[0, 2]] * 1.3 < 1).all()
    file = taken(tmp_path / "window.dng", scene)
    clip, blend, rebuild = (light(file, develop(highlights=how)) for how in HIGHLIGHTS)
    inside = np.s_[36:60, 48:80]
    assert np.abs(clip[inside] - 1).max() < 1e-5
    # LibRaw's blend: the mean of the channels, without the cast of those that are full.
    mean = (1.3 + 1 + 1.3) / 3
    assert blend[inside].reshape(-1, 3) == pytest.approx(np.full((24 * 32, 3), mean), abs=0.002)
    assert np.abs(rebuild[inside] - 1.3).max() < 0.005
    for each in (clip, blend, rebuild):
        assert np.abs(each[4:20, 4:30] - 0.6).max() < 0.001


def test_rebuilt_highlights_are_the_compromise_of_libraw(tmp_path: Path) -> None:
    # LibRaw's documentation: 3 to 9 rebuild, low numbers favour white and high ones colour, 5 is
    # the compromise. A coloured lamp tells them apart, which a neutral window does not.
    down, across = np.mgrid[:192, :256]
    brightness = np.clip(2.2 - np.hypot(across - 128, down - 96) / 45, 0.3, None)
    file = taken(tmp_path / "lamp.dng", brightness[..., None] * [0.75, 0.95, 0.55])
    wanted = {mode: camera_light(file, mode) for mode in (4, 5, 6)}
    found = light(file, develop(highlights="rebuilt"))
    assert np.abs(found - wanted[5]).max() < 1e-4
    for other in (4, 6):
        assert np.abs(wanted[other] - wanted[5]).max() > 0.01


def camera_light(file: Path, mode: int) -> Floats:
    """Light by LibRaw alone in one of its highlight modes, for a picture balanced as shot."""
    with rawpy.imread(str(file)) as raw:
        balance = np.array(raw.camera_whitebalance[:3])
        red, green, blue = balance.tolist()
        pixels = raw.postprocess(
            user_wb=[red, green, blue, green],
            output_color=rawpy.ColorSpace.raw,
            output_bps=16,
            user_flip=0,
            gamma=(1, 1),
            no_auto_bright=True,
            adjust_maximum_thr=0,
            highlight_mode=mode,
        )
    scale = balance.max() / balance.min() / 65535
    return np.asarray(pixels @ balance_to_light(COLOR_MATRIX, balance).T * scale)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_orientation_is_told_and_not_applied(tmp_path: Path, orientation: int) -> None:
    stored = taken(tmp_path / "stored.dng", chart())
    file = taken(tmp_path / "turned.dng", chart(), orientation=orientation)
    header = read_raw_header(file)
    assert (header.width_px, header.height_px) == (ACROSS * SIDE, 3 * SIDE)
    assert header.orientation == orientation
    image = raw_light(file, AS_THE_CAMERA)
    pixels = np.asarray(image.numpy())
    assert (pixels == light(stored)).all()
    upright = np.asarray(image.autorot().numpy())
    assert upright.shape[1::-1] == header.upright_px
    assert (upright == exif_upright(pixels, orientation)).all()


def exif_upright(pixels: Floats, orientation: int) -> Floats:
    """Exif 2.32: where row 0 and column 0 of the stored picture stand in the upright one."""
    row_0, column_0 = [
        ("top", "left"),
        ("top", "right"),
        ("bottom", "right"),
        ("bottom", "left"),
        ("left", "top"),
        ("right", "top"),
        ("right", "bottom"),
        ("left", "bottom"),
    ][orientation - 1]
    if row_0 in ("left", "right"):
        pixels = pixels.swapaxes(0, 1)
        row_0, column_0 = column_0, row_0
    if row_0 == "bottom":
        pixels = pixels[::-1]
    return pixels[:, ::-1] if column_0 == "right" else pixels


def test_half_size(tmp_path: Path) -> None:
    file = taken(tmp_path / "chart.dng", chart())
    halved = light(file, half=True)
    assert halved.shape == (3 * SIDE // 2, ACROSS * SIDE // 2, 3)
    assert np.abs(inner_means(halved, SIDE // 2) - inner_means(light(file))).max() < 0.0005


@pytest.mark.parametrize("cells", [True, False])
def test_half_an_odd_side_leaves_a_pixel_out(tmp_path: Path, cells: bool) -> None:
    camera = seen(np.full((47, 61, 3), GREY))
    sensor = mosaic(camera) if cells else linear_sensor(camera)
    file = write_dng(tmp_path / "odd.dng", sensor, neutral(), cells=cells)
    header = read_raw_header(file)
    assert (header.width_px, header.height_px) == (61, 47)
    assert light(file).shape == (47, 61, 3)
    halved = light(file, half=True)
    assert halved.shape == (23, 30, 3)
    assert np.abs(halved - GREY).max() < 0.001


def linear_sensor(camera: Floats) -> Sensor:
    return np.round(BLACK + np.clip(camera, 0, 1) * (WHITE - BLACK)).astype(np.uint16)


def test_a_file_that_is_no_mosaic(tmp_path: Path) -> None:
    file = write_dng(tmp_path / "c.dng", linear_sensor(seen(chart())), neutral(), cells=False)
    assert np.abs(light(file) - chart()).max() < 0.001
    assert np.abs(inner_means(light(file, half=True), SIDE // 2) - COLOURS).max() < 0.001


def test_a_sensor_without_colour(tmp_path: Path) -> None:
    greys = np.linspace(0.05, 1.2, 64)[None, :].repeat(32, axis=0)
    sensor = linear_sensor(greys)
    file = write_dng(tmp_path / "mono.dng", sensor, cells=False, matrix=None)
    for development in (AS_THE_CAMERA, develop(4000, 0.01)):
        found = light(file, development)
        assert found.shape == (32, 64, 3)
        assert (found == found[..., :1]).all()
        wanted = (sensor.astype(float) - BLACK) / (WHITE - BLACK)
        assert np.abs(found[..., 0] - wanted).max() < 0.0001


def test_header(tmp_path: Path) -> None:
    file = taken(tmp_path / "a.dng", chart())
    header = read_raw_header(file)
    assert (header.colour, header.bits, header.has_alpha) == ("rgb", 16, False)
    assert (header.format, header.profile, header.says_srgb) == ("raw", "camera matrix", False)
    assert header.bytes == file.stat().st_size
    assert {".dng", ".nef", ".cr2", ".cr3", ".arw", ".raf", ".orf", ".rw2", ".pef"} <= RAW_SUFFIXES
    image = raw_light(file, AS_THE_CAMERA)
    assert (image.format, image.bands, image.interpretation) == ("float", 3, "scrgb")


@pytest.mark.parametrize("left", [0, 7, 100, 300, 600, 0.3, 0.7, -1])
def test_truncated_files(tmp_path: Path, left: float) -> None:
    whole = taken(tmp_path / "whole.dng", chart()).read_bytes()
    file = tmp_path / "cut.dng"
    file.write_bytes(whole[: int(left * len(whole)) if 0 < left < 1 else int(left)])
    for half in (False, True):
        with pytest.raises(SourceError) as caught:
            raw_light(file, AS_THE_CAMERA, half=half)
        assert str(caught.value) == (
            "cut.dng is not a readable raw file (input/output error); copy it from the card again"
        )


def test_other_files(tmp_path: Path) -> None:
    text = tmp_path / "text.nef"
    text.write_text("not a picture at all\n" * 200, encoding="utf-8")
    jpeg = tmp_path / "renamed.cr2"
    pyvips.Image.black(64, 64).jpegsave(str(jpeg))
    for file in (text, jpeg):
        with pytest.raises(SourceError) as caught:
            read_raw_header(file)
        assert str(caught.value) == (
            f"{file.name} is not a readable raw file (unsupported file format or not raw file); "
            "copy it from the card again"
        )
    with pytest.raises(SourceError, match=r"^there is no file .*gone\.dng; put it there or"):
        read_raw_header(tmp_path / "gone.dng")
    with pytest.raises(SourceError, match=r" is a folder; name a file in it$"):
        raw_light(tmp_path, AS_THE_CAMERA)


def test_a_file_that_does_not_say_enough(tmp_path: Path) -> None:
    sensor = flat(0.2, 0.4, 0.3)
    file = write_dng(tmp_path / "a.dng", sensor)
    with pytest.raises(SourceError) as caught:
        raw_light(file, AS_THE_CAMERA)
    assert str(caught.value) == (
        "a.dng records no white balance; set the picture's raw.white_balance in kelvin"
    )
    assert light(file, develop(5000)).shape == (32, 48, 3)
    for matrix in (None, np.ones((3, 3))):
        file = write_dng(tmp_path / "b.dng", sensor, neutral(), matrix=matrix)
        for development in (AS_THE_CAMERA, develop(5000)):
            with pytest.raises(SourceError) as caught:
                raw_light(file, development)
            assert str(caught.value) == (
                "b.dng comes from a camera whose colours LibRaw does not know; convert it to TIFF"
            )


def test_a_light_like_no_white_leaves_greys_grey(tmp_path: Path) -> None:
    # Sodium: the sensor sees next to no blue, and the matrix makes an impossible light of it.
    lamp = np.array([0.7, 1.0, 0.02])
    assert scene_white(COLOR_MATRIX, 1 / lamp)[2] < 0
    file = write_dng(tmp_path / "lamp.dng", flat(*(0.5 * lamp)), lamp)
    assert light(file)[8:-8, 8:-8] == pytest.approx(np.full((16, 32, 3), 0.5), rel=0.005)
    with pytest.raises(SourceError, match=r"does not reach this light; set the picture's"):
        raw_light(file, develop(tint=0.01))


def test_without_rawpy(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = taken(tmp_path / "a.dng", chart())
    monkeypatch.setitem(sys.modules, "rawpy", None)
    said = r"^a\.dng is a raw camera file; install sightsize\[raw\] to read it$"
    with pytest.raises(SourceError, match=said):
        read_raw_header(file)
    with pytest.raises(SourceError, match=said):
        raw_light(file, AS_THE_CAMERA)


def test_importing_the_module_does_not_load_rawpy_or_numpy() -> None:
    program = (
        "import sys, sightsize.imaging.source.raw\n"
        "sys.exit(', '.join({'rawpy', 'numpy'} & set(sys.modules)) or 0)"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True)
    assert (done.returncode, done.stderr) == (0, "")


def test_same_bytes_whatever_the_threads(tmp_path: Path) -> None:
    noise = np.random.default_rng(7).uniform(0, 1.1, (256, 384, 3))
    file = write_dng(tmp_path / "noise.dng", mosaic(noise), neutral())
    program = (
        "import sys, hashlib; from pathlib import Path\n"
        "from sightsize.imaging.source.raw import raw_light\n"
        "from sightsize.model.picture import AS_THE_CAMERA\n"
        "pixels = raw_light(Path(sys.argv[1]), AS_THE_CAMERA).write_to_memory()\n"
        "print(hashlib.sha256(pixels).hexdigest())"
    )
    sums = set()
    for threads in ("1", "4"):
        done = subprocess.run(
            [sys.executable, "-c", program, str(file)],
            capture_output=True,
            text=True,
            check=True,
            env={"OMP_NUM_THREADS": threads, "VIPS_CONCURRENCY": threads},
        )
        sums.add(done.stdout.strip())
    sums.add(hashlib.sha256(raw_light(file, AS_THE_CAMERA).write_to_memory()).hexdigest())
    assert len(sums) == 1


def test_matrices_against_colour_science() -> None:
    space = colour.RGB_COLOURSPACES["sRGB"]
    # IEC 61966-2-1 prints four places; colour-science keeps the standard's own rounding.
    assert np.abs(srgb_to_xyz() - space.matrix_RGB_to_XYZ).max() < 0.0001
    white = xyz_of(TUNGSTEN)
    adapt = colour.adaptation.matrix_chromatic_adaptation_VonKries(white, D65, "Bradford")
    multipliers = 1 / (COLOR_MATRIX @ white)
    camera = COLOR_MATRIX @ np.linalg.inv(adapt) @ rgb_to_xyz(SRGB_XY)
    wanted = np.linalg.inv(np.diag(multipliers) @ camera)
    assert np.abs(balance_to_light(COLOR_MATRIX, multipliers) - wanted).max() < 1e-4
    assert np.abs(balance_to_light(COLOR_MATRIX, 5 * multipliers).sum(axis=1) - 1).max() < 1e-12
    assert scene_white(COLOR_MATRIX, multipliers) == pytest.approx(white)


def test_daylight_colours_are_libraw_s_own(tmp_path: Path) -> None:
    # LibRaw's way to sRGB knows one light, D65, and cuts what is outside sRGB.
    colours = np.where(COLOURS < 0, GREY, COLOURS)
    file = taken(tmp_path / "chart.dng", chart(colours))
    with rawpy.RawPy() as raw:
        raw.open_file(str(file))
        own = raw.postprocess(
            use_camera_wb=True,
            output_bps=16,
            gamma=(1, 1),
            no_auto_bright=True,
            adjust_maximum_thr=0,
        )
    off = inner_means(light(file)) - inner_means(own / 65535)
    assert np.abs(off).max() < 0.0002

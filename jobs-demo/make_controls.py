"""Draw the figures of controls.md with the program's own code.

    python jobs-demo/make_controls.py                # all of them
    python jobs-demo/make_controls.py --only grade.svg

Curves are drawn by the functions that make the prints. Pictures are cut from prints of the demo
job, with a setting changed or left out, at 100 % of the print's pixels. Draw the demo's pictures
first (make_pictures.py). Needs the demo extra: pip install '.[demo]'.
"""

import argparse
import sys
import tomllib
from collections.abc import Callable, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from fractions import Fraction
from math import log2, pi
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import matplotlib
import numpy as np
import pyvips
import tomli_w
from matplotlib import pyplot
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont, ImageOps
from scipy.ndimage import gaussian_filter

from sightsize.checks.run import check_ids
from sightsize.imaging.analysis.skin import skin_map
from sightsize.imaging.analysis.small_picture import cut_printed_part, small_light
from sightsize.imaging.colour.output import finish_mono
from sightsize.imaging.raster.lookup_tables import STEPS_PER_L
from sightsize.imaging.render import sheet_image
from sightsize.imaging.source.camera import balance_to_light
from sightsize.imaging.stages.dodge import light_map
from sightsize.imaging.stages.grain import add_grain, fluctuation
from sightsize.imaging.stages.local_contrast import base_coefficients, raise_local_contrast
from sightsize.imaging.stages.sharpen import MeasuredSharpening, sharpen
from sightsize.imaging.stages.tone import ToneScale, paper_function, tone_function
from sightsize.job.load import load_job
from sightsize.model.geometry import Box
from sightsize.model.settings import Delivery, Grain, SplitGrade, Tone, Toner
from sightsize.numbers import sharpening as acutance
from sightsize.numbers import tones
from sightsize.numbers.toning import TINTS, toned_lab
from sightsize.numbers.white_balance import camera_multipliers, white_xy
from sightsize.numbers.zones import place
from sightsize.plan.arrange import arrange
from sightsize.plan.picture import PicturePlan
from sightsize.plan.places import EdgeBurnPlan, ShadePlan
from sightsize.plan.sheet import FilePlan
from sightsize.run.planner import plan_prints

HERE = Path(__file__).resolve().parent
FOLDER = HERE / "controls"
JOB = HERE / "tern-quay.toml"

INK, FOG, PAPER = "#22303c", "#c5ccd0", "#ffffff"
TEAL, OCHRE, BRICK, MOSS, PLUM = "#2b7f86", "#b5762a", "#a4452f", "#6b7d3a", "#6d4c74"
COLOURS = (TEAL, OCHRE, BRICK, MOSS, PLUM, INK)
ROMAN = ("0", "I", "II", "III", "IV", "V", "VI", "VII", "VIII", "IX", "X")
PPI = 300
PX_PER_MM = PPI / 25.4

Axes = Any
Floats = NDArray[np.float64]
Table = dict[str, Any]
Change = Callable[[Table], None]

matplotlib.use("svg")
matplotlib.rcParams.update(
    {
        "svg.hashsalt": "tern quay",
        "svg.fonttype": "none",
        "font.family": "sans-serif",
        "font.size": 9,
        "axes.edgecolor": INK,
        "axes.labelcolor": INK,
        "axes.titlecolor": INK,
        "axes.titlesize": 9,
        "axes.spines.top": False,
        "axes.spines.right": False,
        "axes.grid": True,
        "axes.prop_cycle": f"cycler('color', {list(COLOURS)})",
        "grid.color": FOG,
        "grid.linewidth": 0.5,
        "xtick.color": INK,
        "ytick.color": INK,
        "legend.frameon": False,
        "legend.fontsize": 8,
        "lines.linewidth": 1.5,
    }
)

# --- curves ---


def save(figure: Any, name: str) -> None:
    """Write an SVG that is the same in every run of the same matplotlib."""
    figure.tight_layout()
    figure.savefig(FOLDER / name, metadata={"Date": None, "Creator": None})
    pyplot.close(figure)


def panels(count: int, width: float = 3.4, height: float = 3.1) -> tuple[Any, list[Axes]]:
    """Return a figure with panels side by side."""
    figure, axes = pyplot.subplots(1, count, figsize=(width * count, height), squeeze=False)
    return figure, list(axes[0])


def tone_axes(axes: Axes, title: str, across: str = "before, L*") -> None:
    """Set out a panel from L* to L*, with a line where nothing changes."""
    axes.plot([0, 100], [0, 100], color=FOG, linewidth=1, zorder=0)
    axes.set(xlim=(0, 100), ylim=(0, 100), xlabel=across, ylabel="print, L*", title=title)
    axes.set_aspect("equal")


def curve(axes: Axes, function: Callable[[float], float], label: str, **style: Any) -> None:
    """Draw a function of L*."""
    at = np.linspace(0, 100, 401)
    axes.plot(at, [function(float(value)) for value in at], label=label, **style)


def plain_tone(**changes: Any) -> Tone:
    """Return a tone that changes nothing but what is given."""
    nothing = Tone(
        exposure_stops=0.0,
        black_point=0.0,
        white_point=100.0,
        grade=2.0,
        split_grade=None,
        pivot=50.0,
        curve=((0.0, 0.0), (100.0, 100.0)),
        edge_burn=None,
    )
    return replace(nothing, **changes)


def of_lightness(scale: ToneScale) -> Callable[[float], float]:
    """Return what a scale makes of an L*."""
    through = tone_function(scale)
    return lambda value: through(tones.luminance(value))


def draw_exposure(name: str) -> None:
    """Exposure, and end points after it."""
    figure, (left, right) = panels(2)
    tone_axes(left, "exposure, stops")
    for stops in (1.0, 0.5, -0.5, -1.0):
        curve(left, of_lightness(ToneScale(plain_tone(exposure_stops=stops))), f"{stops:+g}")
    tone_axes(right, "end points, L*")
    for black, white in ((8, 100), (0, 90), (8, 90)):
        scale = ToneScale(plain_tone(), black, white)
        curve(right, of_lightness(scale), f"{black} to {white}")
    for axes in (left, right):
        axes.legend(loc="lower right")
    save(figure, name)


def draw_grade(name: str) -> None:
    """Grades about the middle, and one grade about three pivots."""
    figure, (left, right) = panels(2)
    tone_axes(left, "grade, pivot 50")
    for grade in (0, 1, 3, 4, 5):
        curve(left, paper_function(plain_tone(grade=grade)), f"grade {grade}")
    tone_axes(right, "grade 4, pivot L*")
    for pivot in (35.0, 50.0, 65.0):
        curve(right, paper_function(plain_tone(grade=4, pivot=pivot)), f"pivot {pivot:g}")
        right.plot(pivot, pivot, "o", color=right.lines[-1].get_color(), markersize=4)
    for axes in (left, right):
        axes.legend(loc="lower right")
    save(figure, name)


def draw_split_grade(name: str) -> None:
    """Two grades and the sheet that carries both."""
    figure, (axes, slopes) = panels(2)
    split = SplitGrade(dark=3.5, light=1.5, start=30, end=70)
    ways = {
        "grade 3.5": plain_tone(grade=3.5),
        "grade 1.5": plain_tone(grade=1.5),
        "dark 3.5, light 1.5": plain_tone(split_grade=split),
    }
    tone_axes(axes, "split grade")
    for (label, tone), width in zip(ways.items(), (1, 1, 2.2), strict=True):
        curve(axes, paper_function(tone), label, linewidth=width)
        curve(slopes, slope_of(paper_function(tone)), label, linewidth=width)
    axes.legend(loc="lower right")
    slopes.set(
        xlim=(0, 100), ylim=(0, 2.2), xlabel="before, L*", ylabel="print L* for each L* before"
    )
    slopes.set_title("slope of each curve")
    save(figure, name)


def slope_of(function: Callable[[float], float]) -> Callable[[float], float]:
    """Return the slope of a function over 1 L*."""
    return lambda at: (
        (function(min(at + 0.5, 100)) - function(max(at - 0.5, 0)))
        / (min(at + 0.5, 100) - max(at - 0.5, 0))
    )


def draw_zones(name: str) -> None:
    """One patch and two patches put on their zones."""
    figure, (left, right) = panels(2)
    tone_axes(left, "one patch: L* 38 on zone V")
    one = place([(tones.luminance(38), 5)], lambda value: value)
    curve(left, of_lightness(ToneScale(plain_tone(), placement=one)), "zone placed")
    exposed = log2(one.gain)
    curve(
        left,
        of_lightness(ToneScale(plain_tone(exposure_stops=exposed))),
        f"exposure alone, {exposed:+.1f} stops",
        linestyle="--",
    )
    left.plot([38], [50], "o", color=TEAL, markersize=5)
    tone_axes(right, "two: L* 22 on III, L* 70 on VIII")
    two = place([(tones.luminance(22), 3), (tones.luminance(70), 8)], lambda value: value)
    curve(right, of_lightness(ToneScale(plain_tone(), placement=two)), "zones placed")
    right.plot([22, 70], [30, 80], "o", color=TEAL, markersize=5)
    for axes in (left, right):
        axes.set_yticks(range(0, 101, 10), ROMAN)
        axes.set_ylabel("print, zone")
        axes.legend(loc="lower right")
    save(figure, name)


def draw_mono(name: str) -> None:
    """Weights of red, green and blue light behind each filter, and of each emulsion."""
    figure, axes = panels(2, width=3.8)
    filters = {each: ("luminance", each) for each in tones.FILTERS}
    emulsions = {each: (each, "none") for each in tones.RESPONSES}
    titles = ("luminance behind a filter", "emulsions, no filter")
    for panel, rows, title in zip(axes, (filters, emulsions), titles, strict=True):
        weights = [tones.mono_weights(response, glass, 1)[0] for response, glass in rows.values()]
        labels = [f"{label}, {abs(factor(*rows[label])):.1f} stops" for label in rows]
        if rows is emulsions:
            labels = list(rows)
        bars(panel, np.array(weights), labels)
        panel.set_title(title)
    save(figure, name)


def factor(response: str, glass: str) -> float:
    """Return the filter factor in stops."""
    return tones.mono_weights(response, glass, 1)[1]


def bars(axes: Axes, weights: Floats, labels: Sequence[str]) -> None:
    """Draw weights of red, green and blue as parts of one bar for each row."""
    left = np.zeros(len(weights))
    for column, colour in enumerate((BRICK, MOSS, TEAL)):
        axes.barh(labels, weights[:, column], left=left, color=colour, height=0.62)
        left += weights[:, column]
    axes.invert_yaxis()
    axes.set(xlim=(0, 1), xlabel="share of red, green and blue light")
    axes.grid(visible=False)


def draw_dodge(name: str) -> None:
    """The middle row of a dodge at three softnesses, and of an edge burn."""
    figure, (left, right) = panels(2, width=3.7)
    width_mm, height_mm = 120, 60
    size = round(width_mm * PX_PER_MM), round(height_mm * PX_PER_MM)
    for softness_mm in (4, 10, 25):
        corners = tuple((x * PX_PER_MM, y * PX_PER_MM) for x, y in box_corners(40, 10, 80, 50))
        shade = ShadePlan(
            stops=0.5, shape="ellipse", points=corners, softness_px=softness_mm * PX_PER_MM
        )
        left.plot(*middle_row(light_map([shade], None, size), width_mm), label=f"{softness_mm} mm")
    left.axvspan(40, 80, color=FOG, alpha=0.35, linewidth=0)
    left.set(
        xlabel="across the print, mm", ylabel="stops", title="dodge: 40 mm ellipse, by softness"
    )
    opening = Box(*(round(each * PX_PER_MM) for each in (3, 3, width_mm - 6, height_mm - 6)))
    for burn_mm in (10, 25):
        burn = EdgeBurnPlan(stops=0.2, width_px=burn_mm * PX_PER_MM, opening=opening)
        right.plot(*middle_row(light_map([], burn, size), width_mm), label=f"{burn_mm} mm")
    for edge in (3, width_mm - 3):
        right.axvline(edge, color=INK, linewidth=0.8, linestyle=":")
    right.set(xlabel="across the print, mm", title="edge burn, by width (dotted: opening)")
    for axes in (left, right):
        axes.legend()
    save(figure, name)


def box_corners(x0: float, y0: float, x1: float, y1: float) -> tuple[tuple[float, float], ...]:
    """Return the corners of a box in turn."""
    return (x0, y0), (x1, y0), (x1, y1), (x0, y1)


def middle_row(light: NDArray[np.float32] | None, width_mm: float) -> tuple[Floats, Floats]:
    """Return mm across and stops of a map's middle row."""
    assert light is not None
    row = np.log2(light[len(light) // 2])
    return (np.arange(len(row)) + 0.5) / len(row) * width_mm, row


def draw_local_contrast(name: str) -> None:
    """What detail of a size gains, and an edge with and without."""
    figure, (left, right) = panels(2, width=3.7)
    sizes_mm = np.geomspace(0.5, 40, 24)
    for neighbourhood_mm in (4, 8, 16):
        gains = [wave_gain(float(size), neighbourhood_mm, 0.3) for size in sizes_mm]
        left.plot(sizes_mm, gains, label=f"{neighbourhood_mm} mm")
    left.set(
        xscale="log", xlabel="size of detail (half a wave), mm", ylabel="contrast, ratio to before"
    )
    left.set_xticks([0.5, 1, 2, 5, 10, 20, 40], ["0.5", "1", "2", "5", "10", "20", "40"])
    left.set(title="gain 0.3 on waves of 4 L*, by neighbourhood", ylim=(0.98, 1.32))
    left.legend()
    edge = np.where(np.arange(480) < 240, 40.0, 60.0)[None].repeat(480, axis=0)
    at_mm = (np.arange(480) - 239.5) / PX_PER_MM
    plain_blur = edge - gaussian_filter(edge, (0, 4 * PX_PER_MM / 2), mode="nearest")
    right.plot(at_mm, 0.3 * plain_blur[240], color=FOG, label="from a plain blur")
    right.plot(at_mm, (with_contrast(edge, 8, 0.3) - edge)[240], label="from local contrast")
    right.set(xlabel="from the edge, mm", ylabel="change, L*", xlim=(-15, 15))
    right.set(title="beside an edge, L* 40 to 60, gain 0.3")
    right.legend(loc="lower right")
    save(figure, name)


def wave_gain(size_mm: float, neighbourhood_mm: float, gain: float) -> float:
    """Return how many times stronger a wave of 4 L* peak to peak becomes."""
    across = np.arange(720) / PX_PER_MM
    wave = 50 + 2 * np.sin(pi * across / size_mm)
    rows = wave[None].repeat(240, axis=0)
    after = with_contrast(rows, neighbourhood_mm, gain)[120]
    inner = slice(180, 540)
    base = np.sin(pi * across / size_mm)[inner]
    return float(fitted(base, after[inner]) / 2)


def fitted(shape: Floats, values: Floats) -> float:
    """Return how much of a shape is in values, beside a constant."""
    terms = np.stack([shape, np.ones_like(shape)], axis=1)
    return float(np.linalg.lstsq(terms, values, rcond=None)[0][0])


def with_contrast(lightness: Floats, neighbourhood_mm: float, gain: float) -> Floats:
    """Return L* after local contrast at 300 ppi."""
    radius_px = neighbourhood_mm * PX_PER_MM / 2
    coefficients = base_coefficients(lightness.astype(np.float32), radius_px)
    return values_of(raise_local_contrast(steps_of(lightness), coefficients, gain))


def steps_of(lightness: Floats) -> pyvips.Image:
    """Return L* as the stages pass it on."""
    return pyvips.Image.new_from_array(np.rint(lightness * STEPS_PER_L).astype(np.uint16))


def values_of(image: pyvips.Image) -> Floats:
    """Return the L* of what a stage passes on."""
    return np.asarray(image.numpy() / STEPS_PER_L)


def named_toner(name: str) -> Toner:
    """Return a toner as a job has it when it only says the name."""
    return Toner(dark=TINTS[name], light=TINTS[name], split=50, crossover=30)


SPLIT_TONER = Toner(dark=TINTS["selenium"], light=TINTS["warm_paper"], split=45, crossover=40)


def toners() -> dict[str, Toner]:
    """Return every toner shown."""
    named = {each: named_toner(each) for each in TINTS if each != "none"}
    return {**named, "dark selenium, light warm paper": SPLIT_TONER}


def draw_toners(name: str) -> None:
    """Where toners take a grey scale in a* and b*, and how chroma goes with lightness."""
    figure, (left, right) = panels(2, width=3.6)
    lightness = np.linspace(0, 100, 101)
    for label, toner in toners().items():
        lab = np.array([toned_lab(float(each), toner) for each in lightness])
        left.plot(lab[:, 1], lab[:, 2], label=label)
        right.plot(lab[:, 0], np.hypot(lab[:, 1], lab[:, 2]))
    left.set(xlabel="a*", ylabel="b*", title="colour, black to white", xlim=(-8, 8), ylim=(-7, 13))
    left.set_aspect("equal")
    right.set(xlabel="L*", ylabel="C*", title="strength against lightness", xlim=(0, 100))
    figure.legend(*left.get_legend_handles_labels(), loc="outside lower center", ncols=3)
    figure.tight_layout(rect=(0, 0.12, 1, 1))
    figure.savefig(FOLDER / name, metadata={"Date": None, "Creator": None})
    pyplot.close(figure)


def draw_grain(name: str) -> None:
    """The fluctuation of density and of lightness against density."""
    figure, (left, right) = panels(2, width=3.6)
    density = np.linspace(0.01, 2.2, 200)
    lightness = [tones.lightness(10 ** -float(each)) for each in density]
    for granularity in (0.01, 0.02, 0.04):
        left.plot(density, granularity * np.sqrt(density), color=FOG, linewidth=3)
        moved = np.array([fluctuation(each, granularity) for each in lightness])
        # sigma of density from that of L*, through the slope of L* against density
        per_density = np.abs(np.gradient(lightness, density))
        left.plot(density, moved / per_density, label=f"{granularity:g} D")
        right.plot(lightness, moved, label=f"{granularity:g} D")
    left.set(xlabel="density D", ylabel="RMS density", title="against G x square root of D (grey)")
    left.legend(loc="upper left")
    right.set(xlabel="L*", ylabel="RMS L*", title="the same in lightness", xlim=(0, 100))
    save(figure, name)


def draw_sharpen(name: str) -> None:
    """An edge on each surface, and what is added for a detail."""
    figure, (left, right) = panels(2, width=3.7)
    across = np.arange(-24, 24)
    soft = 30 + 40 / (1 + np.exp(-(across + 0.5) / 0.7))
    at_mm = (across + 0.5) / PX_PER_MM
    left.plot(at_mm, soft, color=FOG, linewidth=3, label="before")
    for surface, gain in acutance.SURFACE_GAIN.items():
        how = MeasuredSharpening(sigma_px=0.10 * PX_PER_MM, gain=gain, noise_floor=0.8)
        row = values_of(sharpen(steps_of(soft[None].repeat(48, axis=0)), how))[24]
        left.plot(at_mm, row, label=f"{surface}, gain {gain:g}")
    left.set(xlabel="from the edge, mm", ylabel="L*", title="a soft edge, radius 0.10 mm")
    left.set(xlim=(-0.5, 0.5))
    left.legend(loc="upper left", fontsize=7)
    detail = np.linspace(0, 6, 241)
    for floor in (0.0, 0.8, 2.0):
        added = [acutance.emphasis(float(each), 0.8, floor) for each in detail]
        right.plot(detail, added, label=f"{floor:g} L*")
    right.set(xlabel="detail, L*", ylabel="sharpening added, L*", title="gain 0.8, by noise floor")
    right.legend(loc="upper left")
    save(figure, name)


def draw_white_balance(name: str) -> None:
    """A grey card in two lights, developed as if the light were another."""
    figure, axes = panels(1, width=7, height=2.1)
    stated = (2500, 3200, 4000, 5000, 5500, 6500, 8000, 10000)
    cards = {"tungsten, 3200 K": 3200, "daylight, 5500 K": 5500}
    for row, kelvin in enumerate(cards.values()):
        for column, each in enumerate(stated):
            axes[0].add_patch(pyplot.Rectangle((column, row), 0.94, 0.9, color=card(kelvin, each)))
    axes[0].set(xlim=(0, len(stated)), ylim=(2, 0), xlabel="raw.white_balance, kelvin")
    axes[0].set_xticks([each + 0.47 for each in range(len(stated))], [str(k) for k in stated])
    axes[0].set_yticks([0.45, 1.45], list(cards))
    axes[0].grid(visible=False)
    axes[0].tick_params(length=0)
    save(figure, name)


def card(light_kelvin: float, stated_kelvin: float) -> str:
    """Return the colour of a grey card under a light whose temperature is stated, as hex.

    The camera sees X, Y and Z themselves.
    """
    x, y = white_xy(light_kelvin, 0)
    seen = 0.30 * np.array([x / y, 1, (1 - x - y) / y])
    multipliers = np.array(camera_multipliers(np.eye(3).tolist(), white_xy(stated_kelvin, 0)))
    light = balance_to_light(np.eye(3), multipliers) @ (seen * multipliers)
    return "#" + "".join(f"{round(255 * tones.srgb_encode(float(each))):02x}" for each in light)


# --- strips ---


def draw_toner_wedge(name: str) -> None:
    """A step wedge of 11 tones in each toner."""
    rows = [("no toner", named_toner("none")), *toners().items()]
    strips = [wedge_strip(toner) for _, toner in rows]
    write(stacked(strips, [label.replace("_", " ") for label, _ in rows]), name)


def wedge_strip(toner: Toner) -> Image.Image:
    """Return a step wedge, black to white, through the last stage."""
    steps = np.repeat(np.linspace(0, 100, 11), 64)[None].repeat(46, axis=0)
    strip = picture_of(finish_mono(steps_of(steps), srgb(), toner))
    return ImageOps.expand(strip, border=1, fill=FOG)


def srgb() -> Delivery:
    """Return a delivery in 8-bit sRGB."""
    return Delivery(
        ppi=Fraction(PPI),
        format="jpeg",
        quality=95,
        bit_depth=8,
        profile="srgb",
        rendering_intent="relative",
        black_point_compensation=True,
        location=False,
        serial_numbers=False,
        keep_master=False,
    )


def draw_grain_wedge(name: str) -> None:
    """A wedge without grain and with two kinds, at the print's pixels."""
    steps = np.repeat(np.linspace(5, 95, 7), 96)[None].repeat(110, axis=0)
    kinds = ((0.0, "0.10"), (0.02, "0.08"), (0.03, "0.14"))
    strips, labels = [], []
    for granularity, size in kinds:
        grain = Grain(granularity=granularity, size_mm=Fraction(size))
        strips.append(picture_of(finish_mono(add_grain(steps_of(steps), grain, PPI, 8), srgb())))
        labels.append(f"{granularity:g} D, {size} mm" if granularity else "no grain")
    write(stacked(strips, labels), name)


# --- prints ---


@contextmanager
def plan_of(number: int, *changes: Change) -> Any:
    """Give the plan of one print of the demo job, changed."""
    job = tomllib.loads(JOB.read_text(encoding="utf-8"))
    for picture in job["pictures"].values():
        picture["source"] = str(HERE / picture["source"])
    job["prints"] = [job["prints"][number - 1]]
    for change in changes:
        change(job)
    with TemporaryDirectory() as folder:
        path = Path(folder) / "job.toml"
        path.write_text(tomli_w.dumps(job), encoding="utf-8")
        loaded = load_job(path, check_ids())
        yield [each.plan for each in plan_prints(loaded, arrange(loaded))]


def part(number: int, box: tuple[float, float, int, int], *changes: Change) -> Image.Image:
    """Return a part of one print at its own pixels.

    ``box`` is the middle as a share of the picture, and the size in pixels.
    """
    with plan_of(number, *changes) as (plan,):
        return part_of(plan, box)


def part_of(plan: FilePlan[PicturePlan], box: tuple[float, float, int, int]) -> Image.Image:
    """Return a part of a plan's print at its own pixels."""
    across, down, width, height = box
    picture = plan.pictures[0].place.box
    left = picture.left + round(across * picture.width - width / 2)
    top = picture.top + round(down * picture.height - height / 2)
    sheet = sheet_image(plan).image.crop(left, top, width, height)
    return picture_of(sheet)


def whole(number: int, height: int, *changes: Change) -> Image.Image:
    """Return the picture of one print without its paper, made smaller."""
    with plan_of(number, *changes) as (plan,):
        return whole_of(plan, height)


def whole_of(plan: FilePlan[PicturePlan], height: int) -> Image.Image:
    """Return the picture of a plan's print, made smaller."""
    box = plan.pictures[0].place.box
    sheet = sheet_image(plan).image.crop(box.left, box.top, box.width, box.height)
    picture = picture_of(sheet)
    return picture.resize(
        (round(picture.width * height / picture.height), height), Image.Resampling.LANCZOS
    )


def picture_of(image: pyvips.Image) -> Image.Image:
    """Return 8-bit pixels as a picture."""
    return Image.fromarray(np.squeeze(image.numpy())).convert("RGB")


def settings(tables: Mapping[str, Table]) -> Change:
    """Return a change that gives the print settings of its own."""

    def change(job: Table) -> None:
        for table, values in tables.items():
            job["prints"][0].setdefault(table, {}).update(values)

    return change


def without(*keys: str) -> Change:
    """Return a change that takes keys off every picture."""

    def change(job: Table) -> None:
        for picture in job["pictures"].values():
            for key in keys:
                picture.pop(key, None)

    return change


def plain(job: Table) -> None:
    """Leave nothing of a print but its conversion at grade 2."""
    job["prints"][0] = {key: job["prints"][0][key] for key in ("picture", "frame")}
    job["prints"][0]["mono"] = {"response": "luminance"}
    job["prints"][0]["sharpen"] = {"gain": 0}
    without("spotting", "dodge", "burn", "zones")(job)


PORTRAIT, PLATE, CUP, HANDS, FOUR = 1, 2, 4, 6, 7
FACE = (0.43, 0.50, 560, 560)


def draw_mono_pair(name: str) -> None:
    """The plain conversion and the demo's recipe."""
    height = 1000
    pair = [whole(PORTRAIT, height, plain), whole(PORTRAIT, height)]
    write(beside(pair, ["plain conversion, grade 2", "the demo's recipe"]), name)


def draw_filters(name: str) -> None:
    """The plain conversion behind five filters."""
    glasses = ("none", "yellow", "orange", "red", "blue")
    pictures = [whole(PORTRAIT, 300, plain, settings({"mono": {"filter": g}})) for g in glasses]
    write(beside(pictures, glasses), name)


def draw_spotting(name: str) -> None:
    """The plate's scratches before and after."""
    box = (0.40, 0.36, 560, 560)
    pair = [part(PLATE, box, without("spotting")), part(PLATE, box)]
    write(beside(pair, ["as scanned", "spotted"]), name)


def draw_dodge_print(name: str) -> None:
    """A face before and after the dodge."""
    pair = [part(PORTRAIT, FACE, without("dodge")), part(PORTRAIT, FACE)]
    write(beside(pair, ["no dodge", "dodged 0.6 stops"]), name)


def draw_burn_print(name: str) -> None:
    """A window that pulls the eye, before and after the burn; whole pictures, made smaller."""
    bare = settings({"tone": {"edge_burn": {"stops": 0}}})
    pair = [whole(HANDS, 520, without("burn"), bare), whole(HANDS, 520)]
    write(beside(pair, ["no burn", "window and edges burned"]), name)


def draw_split_print(name: str) -> None:
    """A silver cup on one grade and on two."""
    box = (0.50, 0.44, 560, 560)

    def one_grade(job: Table) -> None:
        job["recipes"]["silver"]["tone"].pop("split_grade")
        job["prints"][0].setdefault("tone", {}).pop("split_grade", None)
        job["prints"][0]["tone"]["grade"] = 3.0

    pair = [part(CUP, box, one_grade), part(CUP, box)]
    write(beside(pair, ["grade 3", "grade 3 dark, 2.1 light"]), name)


def draw_contrast_print(name: str) -> None:
    """Local contrast off, as the demo has it, and overdone."""
    box = (0.42, 0.42, 420, 560)
    gains = (0.0, 0.15, 0.5)
    three = [part(FOUR, box, settings({"local_contrast": {"gain": each}})) for each in gains]
    write(beside(three, ["no local contrast", "gain 0.15", "gain 0.5"]), name)


def draw_skin(name: str) -> None:
    """Skin sharpened as everything else, and spared; and where skin was found."""
    box = (0.45, 0.52, 420, 560)
    pair = [part(PORTRAIT, box, settings({"sharpen": {"skin": each}})) for each in (1.0, 0.4)]
    write(
        beside([*pair, taken_for_skin(box)], ["skin = 1", "skin = 0.4", "found as skin (white)"]),
        name,
    )


def taken_for_skin(box: tuple[float, float, int, int]) -> Image.Image:
    """Return the map of skin over a part of the portrait."""
    with plan_of(PORTRAIT) as (plan,):
        picture = plan.pictures[0].picture
        source, size = picture.look.picture, picture.size.image_px
        small = small_light(source, picture.header, source.source.stat().st_mtime_ns)
        light = cut_printed_part(small, picture.crop, picture.header.upright_px, size)
        skin = skin_map(light)
    found = Image.fromarray(np.rint(skin * 255).astype(np.uint8)).resize(size)
    left, top = round(box[0] * size[0] - box[2] / 2), round(box[1] * size[1] - box[3] / 2)
    return found.crop((left, top, left + box[2], top + box[3])).convert("RGB")


def draw_deblur(name: str) -> None:
    """A telephone's picture printed larger than its pixels allow, with and without deblurring."""
    box = (0.50, 0.40, 560, 560)
    larger = settings(
        {
            "aperture": {"width": "10 in", "height": "14.3 in"},
            "paper": {"size": "18x14 in"},
            "checks": {"accept": ["resolution"]},
        }
    )
    pair = [
        part(CUP, box, larger, settings({"sharpen": {"deblur": each}})) for each in (False, True)
    ]
    write(beside(pair, ["deblur = false", "deblur = true"]), name)


def draw_ladder(name: str) -> None:
    """A ladder of exposures and grades as one contact sheet."""

    def ladder(job: Table) -> None:
        job["recipes"]["silver"]["tone"].pop("split_grade")
        job["prints"][0]["ladder"] = {"exposure": [-0.3, 0, 0.3], "grade": [1.5, 2.5, 3.5]}

    with plan_of(PORTRAIT, ladder) as plans:
        small = [whole_of(plan, 250) for plan in plans]
        labels = [plan.request.step for plan in plans]
    rows = [beside(small[at : at + 3], labels[at : at + 3]) for at in range(0, 9, 3)]
    sheet = Image.new("RGB", (rows[0].width, sum(row.height for row in rows)), PAPER)
    for at, row in enumerate(rows):
        sheet.paste(row, (0, at * row.height))
    write(sheet, name)


# --- laying out ---

GAP, CAPTION = 12, 26


def beside(pictures: Sequence[Image.Image], labels: Sequence[str]) -> Image.Image:
    """Return pictures side by side with a caption under each."""
    width = sum(each.width for each in pictures) + GAP * (len(pictures) - 1)
    sheet = Image.new("RGB", (width, pictures[0].height + CAPTION), PAPER)
    left = 0
    for picture, label in zip(pictures, labels, strict=True):
        sheet.paste(picture, (left, 0))
        caption(sheet, (left, picture.height + 5), label)
        left += picture.width + GAP
    return sheet


def stacked(strips: Sequence[Image.Image], labels: Sequence[str]) -> Image.Image:
    """Return strips one above the other with a caption beside each."""
    room = 230
    tall = sum(each.height + 6 for each in strips) - 6
    sheet = Image.new("RGB", (room + strips[0].width, tall), PAPER)
    top = 0
    for strip, label in zip(strips, labels, strict=True):
        sheet.paste(strip, (room, top))
        caption(sheet, (0, top + strip.height // 2 - 9), label)
        top += strip.height + 6
    return sheet


def caption(sheet: Image.Image, place: tuple[int, int], text: str) -> None:
    """Write a caption."""
    ImageDraw.Draw(sheet).text(place, text, fill=INK, font=ImageFont.load_default(size=14))


def write(sheet: Image.Image, name: str) -> None:
    """Write a figure of pixels as its ending says."""
    if name.endswith(".png"):
        sheet.save(FOLDER / name, optimize=True)
    else:
        sheet.save(FOLDER / name, quality=82, optimize=True, subsampling=0)


FIGURES: dict[str, Callable[[str], None]] = {
    "exposure.svg": draw_exposure,
    "grade.svg": draw_grade,
    "split-grade.svg": draw_split_grade,
    "split-grade-print.jpg": draw_split_print,
    "zones.svg": draw_zones,
    "mono.svg": draw_mono,
    "mono-pair.jpg": draw_mono_pair,
    "filters.jpg": draw_filters,
    "dodge.svg": draw_dodge,
    "dodge-print.jpg": draw_dodge_print,
    "burn-print.jpg": draw_burn_print,
    "local-contrast.svg": draw_local_contrast,
    "local-contrast-print.jpg": draw_contrast_print,
    "toners.svg": draw_toners,
    "toner-wedge.png": draw_toner_wedge,
    "grain.svg": draw_grain,
    "grain-wedge.png": draw_grain_wedge,
    "sharpen.svg": draw_sharpen,
    "sharpen-skin.jpg": draw_skin,
    "deblur.jpg": draw_deblur,
    "spotting.jpg": draw_spotting,
    "white-balance.svg": draw_white_balance,
    "ladder.jpg": draw_ladder,
}


def main(argv: Sequence[str] | None = None) -> int:
    """Draw what is wanted."""
    parser = argparse.ArgumentParser(description="Draw the figures of controls.md.")
    parser.add_argument("--only", metavar="NAME", choices=FIGURES, action="append")
    options = parser.parse_args(argv)
    FOLDER.mkdir(exist_ok=True)
    wanted = [name for name in FIGURES if not options.only or name in options.only]
    print(f"drawing {len(wanted)} figures in {FOLDER}", file=sys.stderr)
    for name in wanted:
        FIGURES[name](name)
        print(f"drew {name}, {(FOLDER / name).stat().st_size / 1000:.0f} kB", file=sys.stderr)
    return 0


if __name__ == "__main__":
    sys.exit(main())

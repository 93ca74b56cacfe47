"""Rules inside one table that a schema cannot say, wherever the table stands in a job file."""

from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from sightsize.base.findings import KeyPath, nearest, quoted_key
from sightsize.base.icc import file_colour
from sightsize.base.paths import NO_BACKSLASH, is_file
from sightsize.base.schemas import node_at
from sightsize.base.units import Length
from sightsize.job.build import build, region
from sightsize.job.messages import say_moved
from sightsize.job.values import Table
from sightsize.model.picture import Region
from sightsize.model.settings import BUILT_IN_PROFILES

_LARGEST_GRAIN_MM = 1


class Problem(NamedTuple):
    """What is wrong, at the key it is wrong with, and the nearest thing that would be right."""

    path: KeyPath
    message: str
    nearest: str = ""


def table_problems(values: Table, folder: Path) -> Iterator[Problem]:
    """Yield what is wrong inside the tables of a job; paths in them start at ``folder``."""
    levels: list[tuple[KeyPath, Table]] = [((), values)]
    for group in ("recipes", "frames"):
        levels += [((group, name), table) for name, table in values.get(group, {}).items()]
    levels += [(("prints", index), entry) for index, entry in enumerate(values["prints"])]
    for path, level in levels:
        yield from _aperture((*path, "aperture"), level.get("aperture", {}))
        yield from _tone((*path, "tone"), level.get("tone", {}))
        yield from _grain((*path, "grain", "size"), level.get("grain", {}).get("size"))
        yield from _response((*path, "mono", "response"), level.get("mono", {}))
        profile = level.get("delivery", {}).get("profile")
        yield from _profile((*path, "delivery", "profile"), profile, folder)
    output = values.get("job", {}).get("output", "")
    if "\\" in output:
        yield Problem(("job", "output"), f"'{output}' is no folder; {NO_BACKSLASH}.")
    cameras = values.get("cameras", {})
    for name, picture in values.get("pictures", {}).items():
        yield from _picture(("pictures", name), picture, cameras, folder)


def _aperture(path: KeyPath, table: Table) -> Iterator[Problem]:
    if "overlap" in table and "reveal" in table:
        yield Problem(
            (*path, "reveal"),
            "cannot be combined with overlap: the picture either runs behind the mat or shows "
            "white inside the opening. Remove one.",
        )
    for key in ("width", "height"):
        if key in table and table[key].mm == 0:
            yield Problem((*path, key), "the opening measures 0; write what you measured.")


def _tone(path: KeyPath, table: Table) -> Iterator[Problem]:
    yield from _curve((*path, "curve"), table.get("curve", []))
    if "grade" in table and "split_grade" in table:
        yield Problem(
            (*path, "split_grade"),
            "cannot be combined with grade: a print has one grade or two. Remove one.",
        )
    width = table.get("edge_burn", {}).get("width")
    if width is not None and width.mm == 0:
        yield Problem(
            (*path, "edge_burn", "width"), "the width is 0; write how far the burn fades."
        )


def _curve(path: KeyPath, curve: list[list[float]]) -> Iterator[Problem]:
    for index in range(1, len(curve)):
        (x0, y0), (x1, y1) = curve[index - 1], curve[index]
        if x1 <= x0:
            yield Problem(
                (*path, index),
                f"curve points must rise: L* in {x1:g} comes after {x0:g}. Sort the points and "
                "remove repeats.",
            )
        elif y1 < y0:
            yield Problem(
                (*path, index),
                f"the curve falls: L* out {y1:g} comes after {y0:g} and would reverse the tones. "
                f"Raise it to at least {y0:g}.",
            )


def _grain(path: KeyPath, size: Length | None) -> Iterator[Problem]:
    if size is not None and not 0 < size.mm <= _LARGEST_GRAIN_MM:
        yield Problem(
            path, f"the grain size is {size}; write one above 0 and at most {_LARGEST_GRAIN_MM} mm."
        )


def _response(path: KeyPath, mono: object) -> Iterator[Problem]:
    response = mono.get("response") if isinstance(mono, dict) else None
    if isinstance(response, list) and sum(response) == 0:
        yield Problem(path, "all three weights are 0; make at least one larger.")


def _profile(path: KeyPath, profile: str | None, folder: Path) -> Iterator[Problem]:
    if profile is None or profile in BUILT_IN_PROFILES:
        return
    if is_file(folder / profile):
        if file_colour(folder / profile) is None:
            yield Problem(
                path,
                f"{profile!r} is damaged or not an ICC profile for grey, RGB or CMYK; get the "
                "lab's profile again.",
            )
        return
    node = node_at(path)
    moved = say_moved(profile, node)
    if moved:
        yield Problem(path, moved, node["x-moved"][profile])
        return
    guess = nearest(profile, BUILT_IN_PROFILES)
    if "\\" in profile:
        yield Problem(path, f"there is no file '{profile}'; {NO_BACKSLASH}.")
        return
    hint = f"Did you mean {guess!r}?" if guess else "Paths are relative to the job file's folder."
    yield Problem(
        path, f"{profile!r} is not srgb, grey or an ICC profile that exists. {hint}",
        guess,
    )  # fmt: skip


def _picture(path: KeyPath, picture: Table, cameras: Table, folder: Path) -> Iterator[Problem]:
    crop = picture.get("crop")
    if crop is not None:
        yield from _inside((*path, "crop"), build(Region, "region", crop))
    for index, part in enumerate(picture.get("keep_clear", [])):
        yield from _inside((*path, "keep_clear", index, "box"), region(part["box"]))
    for index, spot in enumerate(picture.get("spotting", [])):
        yield from _spot((*path, "spotting", index), spot)
    for key in ("dodge", "burn"):
        for index, shade in enumerate(picture.get(key, [])):
            yield from _shade((*path, key, index), shade)
    yield from _zones((*path, "zones"), picture.get("zones", []))
    yield from _camera((*path, "camera"), picture.get("camera"), cameras)
    yield from _profile((*path, "assume_profile"), picture.get("assume_profile"), folder)


def _inside(path: KeyPath, box: Region) -> Iterator[Problem]:
    if 0 in (box.width, box.height):
        yield Problem(path, "the region has no size; the order is left, top, width, height.")
    for start, length, sides in (
        (box.left, box.width, "left + width"),
        (box.top, box.height, "top + height"),
    ):
        if start + length > 1:
            yield Problem(
                path,
                f"the region extends beyond the picture: {sides} is {float(start + length):g}; "
                "it can be at most 1, in fractions of the upright picture.",
            )


def _spot(path: KeyPath, spot: Table) -> Iterator[Problem]:
    if ("at" in spot) == ("line" in spot):
        yield Problem(
            path,
            "write at and radius for a round mark, or line and width for a scratch.",
        )
        return
    place, size, other = ("at", "radius", "width") if "at" in spot else ("line", "width", "radius")
    if other in spot:
        yield Problem((*path, other), f"{place} goes with {size}, not with {other}.")
    elif size not in spot:
        yield Problem(path, f"{size} is missing; write one that covers the mark and a little more.")
    elif isinstance(spot[size], Length) and spot[size].mm == 0:
        yield Problem((*path, size), "the mark has no size; write one that covers it.")


def _shade(path: KeyPath, shade: Table) -> Iterator[Problem]:
    shapes = [key for key in ("ellipse", "polygon", "edge") if key in shade]
    if len(shapes) != 1:
        yield Problem(path, "give exactly one shape: ellipse, polygon or edge.")
    elif shapes == ["ellipse"]:
        yield from _inside((*path, "ellipse"), region(shade["ellipse"]))
    elif shapes == ["edge"] and shade["edge"][0] == shade["edge"][1]:
        yield Problem(
            (*path, "edge"), "both points are the same; the second must show which side is treated."
        )


def _zones(path: KeyPath, zones: list[Table]) -> Iterator[Problem]:
    if len(zones) == 2 and zones[0]["zone"] == zones[1]["zone"]:
        yield Problem(
            (*path, 1, "zone"),
            "both patches are on the same zone, which fixes no contrast; use two zones, or one "
            "patch.",
        )


def _camera(path: KeyPath, name: str | None, cameras: Table) -> Iterator[Problem]:
    if name is None or name in cameras:
        return
    guess = nearest(name, cameras)
    hint = f"did you mean {guess!r}?" if guess else f"add a table [cameras.{quoted_key(name)}]."
    yield Problem(path, f"there is no camera named {name!r}; {hint}", guess)

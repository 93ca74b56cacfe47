"""A job in which every stage is at work, and another valid value for each of its keys.

A key is named as ``known_keys`` names it: NAME stands for the one frame, camera or picture, and a
list is meant by its first table.
"""

import copy
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import tomli_w
from PIL import Image

from dng import mosaic, neutral, seen, write_dng
from pictures import save
from sightsize.base.schemas import RECIPE_TABLES, Node, known_keys, node_at
from sightsize.checks.run import check_ids
from sightsize.job.load import load_job
from sightsize.model.job import Job

Values = dict[str, Any]

SPECK = {"at": [0.3, 0.3], "radius": 0.005}
ELLIPSE, POLYGON = [0.2, 0.2, 0.3, 0.3], [[0.1, 0.1], [0.5, 0.1], [0.3, 0.6]]
EDGE = [[0.5, 0.4], [0.5, 0.1]]
ROUND = {"at": [0.4, 0.3], "radius": 0.02, "strength": 0.9}
SCRATCH = {"line": [[0.5, 0.3], [0.6, 0.35]], "width": 0.01}
REVEAL = {"top": "1 mm", "right": "1 mm", "bottom": "1 mm", "left": "1 mm"}
OVERLAP = {"top": "0.5 mm", "right": "0.5 mm", "bottom": "0.5 mm", "left": "0.5 mm"}
MODEL, SERIAL = "Regatta 69", "TQ-14"

BASE: Values = {
    "sightsize": 1,
    "aperture": {"width": "8 mm", "height": "12 mm", "overlap": OVERLAP, "mat_thickness": "1 mm"},
    # The picture stands best on the upright sheet; the rebate has room for the other way alone.
    "paper": {
        "size": "18 x 20 mm",
        "hinge_edge": "left",
        "hinge_margin": "3 mm",
        "margin": "1 mm",
        "tone": 96,
    },
    "mono": {"response": "luminance", "filter": "yellow", "filter_strength": 0.8},
    "tone": {
        "exposure": 0.1,
        "split_grade": {"dark": 3, "light": 2, "from": 35, "to": 65},
        "curve": [[0, 0], [50, 53], [100, 100]],
        "black_point": {"share": 0.001},
        "white_point": {"share": 0.001},
        "edge_burn": {"stops": 0.2, "width": "2 mm"},
    },
    "local_contrast": {"gain": 0.2, "neighbourhood": "1 mm"},
    "toner": {"dark": {"hue": 300, "chroma": 5}, "light": {"hue": 80, "chroma": 8}, "split": 45},
    "sharpen": {"noise_floor": 1.0, "skin": 0.5, "already_sharpened": 0.9},
    "grain": {"granularity": 0.02, "size": "0.1 mm"},
    "delivery": {"resolution": "254 ppi", "name": "{picture}"},
    "checks": {"accept": sorted(check_ids())},
    "frames": {"NAME": {"rebate": {"width": "20 mm", "height": "18 mm"}}},
    "cameras": {
        "NAME": {"model": MODEL, "serial": SERIAL, "dust": [SPECK]},
        "spare": {"dust": [{"at": [0.6, 0.6], "radius": 0.004}]},
    },
    "pictures": {
        "NAME": {
            "source": "a.jpg",
            "level": 0.7,
            "crop": {"left": 0.02, "top": 0.02, "width": 0.95, "height": 0.95},
            "keep_clear": [{"box": [0.4, 0.4, 0.1, 0.1]}],
            "spotting": [ROUND],
            "zones": [{"at": [0.6, 0.6], "zone": 6}],
            "dodge": [{"stops": 0.3, "ellipse": ELLIPSE}],
            "burn": [{"stops": 0.3, "ellipse": [0.6, 0.6, 0.2, 0.2]}],
        }
    },
    "prints": [{"picture": "NAME", "frame": "NAME"}],
}

CHANGED: Values = {
    "aperture.width": "8.2 mm",
    "aperture.height": "12.2 mm",
    "aperture.overlap": "0.6 mm",
    **{f"aperture.overlap.{edge}": "0.7 mm" for edge in OVERLAP},
    "aperture.reveal": "0.5 mm",
    **{f"aperture.reveal.{edge}": "1.2 mm" for edge in REVEAL},
    "aperture.measured_at": "face",
    "aperture.mat_thickness": "0.8 mm",
    "aperture.viewing_distance": "600 mm",
    "paper.size": "18 x 22 mm",
    "paper.orientation": "portrait",
    "paper.surface": "cotton",
    "paper.placement": {"x": "3 mm", "y": "2 mm"},
    "paper.placement.x": "4 mm",
    "paper.placement.y": "3 mm",
    "paper.hinge_edge": "top",
    "paper.hinge_margin": "1 mm",
    "paper.margin": "3 mm",
    "paper.tone": 92,
    "mono.response": "blue_sensitive",
    "mono.filter": "red",
    "mono.filter_strength": 1.2,
    "tone.exposure": 0.2,
    "tone.grade": 3,
    "tone.curve": [[0, 0], [50, 48], [100, 100]],
    "tone.pivot": 60,
    "tone.split_grade.dark": 4,
    "tone.split_grade.light": 1,
    "tone.split_grade.from": 30,
    "tone.split_grade.to": 70,
    "tone.black_point": 3,
    "tone.black_point.share": 0.01,
    "tone.white_point": 97,
    "tone.white_point.share": 0.01,
    "tone.edge_burn.stops": 0.4,
    "tone.edge_burn.width": "3 mm",
    "local_contrast.neighbourhood": "2 mm",
    "local_contrast.gain": 0.3,
    "toner.kind": "sepia",
    "toner.hue": 60,
    "toner.chroma": 12,
    "toner.dark.hue": 290,
    "toner.dark.chroma": 6,
    "toner.light.hue": 90,
    "toner.light.chroma": 9,
    "toner.split": 55,
    "toner.crossover": 40,
    "sharpen.radius": "0.15 mm",
    "sharpen.gain": 0.5,
    "sharpen.noise_floor": "measured",
    "sharpen.skin": 0.7,
    "sharpen.already_sharpened": 0.5,
    "sharpen.deblur": False,
    "grain.granularity": 0.03,
    "grain.size": "0.2 mm",
    "delivery.resolution": "300 ppi",
    "delivery.format": "tiff",
    "delivery.quality": 80,
    "delivery.bit_depth": 16,
    "delivery.profile": "grey",
    "delivery.rendering_intent": "perceptual",
    "delivery.black_point_compensation": False,
    "delivery.name": "{picture}-{number}",
    "delivery.location": True,
    "delivery.serial_numbers": True,
    "delivery.keep_master": True,
    "checks.accept": [],
    "checks.strict": True,
    "checks.crop_loss_note": 0.01,
    "checks.crop_loss_warn": 0.3,
    "checks.crop_loss_refuse": 0.5,
    "checks.resolution_note": "250 ppi",
    "checks.clipping_warn": 0.01,
    "checks.clipping_refuse": 0.8,
    "checks.gamut_warn": 0.03,
    "checks.resolution_warn": "190 ppi",
    "checks.resolution_refuse": "100 ppi",
    "checks.overlap_warn": "2.5 mm",
    "checks.overlap_refuse": "1 mm",
    "checks.reveal_warn": "5 mm",
    "checks.rebate_clearance": "2 mm",
    "limits.source_megapixels": 100,
    "limits.sheet_megapixels": 300,
    "limits.seconds": 60,
    "frames.NAME.rebate.width": "17 mm",
    "frames.NAME.rebate.height": "20 mm",
    "frames.NAME.bottom_weight": "1 mm",
    "frames.NAME.moulding_width": "22 mm",
    "cameras.NAME.model": "Regatta 66",
    "cameras.NAME.serial": "TQ-15",
    "cameras.NAME.dust.at": [0.2, 0.3],
    "cameras.NAME.dust.radius": 0.006,
    "pictures.NAME.source": "another.jpg",
    "pictures.NAME.level": 1.0,
    "pictures.NAME.centre_on": [0.5, 0.2],
    "pictures.NAME.crop.left": 0.04,
    "pictures.NAME.crop.top": 0.04,
    "pictures.NAME.crop.width": 0.9,
    "pictures.NAME.crop.height": 0.9,
    "pictures.NAME.keep_clear.box": [0.3, 0.3, 0.1, 0.1],
    "pictures.NAME.keep_clear.clearance": "1 mm",
    "pictures.NAME.keep_clear.label": "face",
    "pictures.NAME.assume_profile": "srgb",
    "pictures.NAME.camera": "spare",
    "pictures.NAME.spotting.at": [0.5, 0.3],
    "pictures.NAME.spotting.radius": 0.03,
    "pictures.NAME.spotting.line": [[0.5, 0.3], [0.6, 0.4]],
    "pictures.NAME.spotting.width": 0.02,
    "pictures.NAME.spotting.donor": [0.7, 0.7],
    "pictures.NAME.spotting.strength": 0.5,
    "pictures.NAME.zones.at": [0.5, 0.6],
    "pictures.NAME.zones.size": 0.04,
    "pictures.NAME.zones.zone": 7,
    **{
        f"pictures.NAME.{kind}.{key}": value
        for kind in ("dodge", "burn")
        for key, value in {
            "stops": 0.5,
            "ellipse": [0.1, 0.2, 0.3, 0.3],
            "polygon": [*POLYGON, [0.1, 0.4]],
            "edge": [[0.5, 0.5], [0.5, 0.1]],
            "softness": "2 mm",
        }.items()
    },
    "pictures.NAME.raw.white_balance": 4000,
    "pictures.NAME.raw.duv": 0.01,
    "pictures.NAME.raw.exposure": 0.5,
    "pictures.NAME.raw.highlights": "rebuilt",
}
"""Another valid value for each key."""

_ONE_GRADE: Values = {"tone.split_grade": None}
_ONE_TINT: Values = {"toner": {"kind": "selenium"}}
_SCRATCHED: Values = {"pictures.NAME.spotting": [SCRATCH]}
_RAW: Values = {"pictures.NAME.source": "plate.dng"}
_REVEALED: Values = {"aperture.overlap": None, "aperture.reveal": REVEAL}
_PLACED: Values = {"paper.placement": {"x": "3 mm", "y": "2 mm"}}

NEEDS: dict[str, Values] = {
    "aperture.reveal": _REVEALED,
    "aperture.mat_thickness": {"aperture.measured_at": "face"},
    "paper.placement.x": _PLACED,
    "paper.placement.y": _PLACED,
    "paper.hinge_margin": {"paper.hinge_edge": "top"},
    "tone.grade": _ONE_GRADE,
    "tone.pivot": _ONE_GRADE,
    "toner.kind": _ONE_TINT,
    "toner.hue": _ONE_TINT,
    "toner.chroma": _ONE_TINT,
    "delivery.profile": {"toner": None},
    "delivery.bit_depth": {"delivery.format": "tiff"},
    "pictures.NAME.assume_profile": {"pictures.NAME.source": "bare.jpg"},
    "pictures.NAME.crop.left": {"pictures.NAME.crop.width": 0.9},
    "pictures.NAME.crop.top": {"pictures.NAME.crop.height": 0.9},
    "pictures.NAME.centre_on": {"pictures.NAME.centre_on": [0.5, 0.8]},
    "pictures.NAME.spotting.line": _SCRATCHED,
    "pictures.NAME.spotting.width": _SCRATCHED,
    "pictures.NAME.raw": _RAW,
    **{
        f"pictures.NAME.{kind}.{shape}": {f"pictures.NAME.{kind}": [{"stops": 0.3, shape: points}]}
        for kind in ("dodge", "burn")
        for shape, points in (("polygon", POLYGON), ("edge", EDGE))
    },
}
"""What else a key, or the keys of a table, need beside the base; None takes a key out."""


def keys_of_a_print() -> Iterator[str]:
    """Yield every key of the schema that a print is made by and that is more than a table."""
    for key, node in known_keys():
        table, *inside = key.split(".")
        named = table in ("frames", "cameras", "pictures") and inside[1:]
        of_print = named or (table in (*RECIPE_TABLES, "limits") and inside)
        if of_print and not _is_table(node):
            yield key


def _is_table(node: Node) -> bool:
    """Whether a key can only be set by the keys inside it."""
    held = node.get("items", {}).get("$ref", "").rsplit("/", 1)[-1]
    is_list_of_tables = node.get("type") == "array" and held not in ("", "point", "fraction")
    return node.get("type") == "object" or is_list_of_tables


def makes_the_same_print(key: str) -> bool:
    """Whether the schema says so of a key, or of a table that it stands in."""
    parts = key.split(".")
    return any(_flagged(parts[: end + 1]) for end in range(len(parts)))


def _flagged(parts: list[str]) -> bool:
    path: list[str | int] = []
    for part in parts:
        if node_at(path).get("type") == "array":
            path.append(0)
        path.append(part)
    return bool(node_at(path).get("x-same-print"))


def with_needs(key: str) -> Values:
    """The base job with what else a key needs."""
    parts = key.split(".")
    tables = (".".join(parts[: end + 1]) for end in range(len(parts)))
    needs = {at: value for table in tables for at, value in NEEDS.get(table, {}).items()}
    values = copy.deepcopy(BASE)
    for at, value in needs.items():
        set_at(values, at, copy.deepcopy(value))
    return values


def set_at(values: Values, key: str, value: object) -> None:
    """Set a dotted key; None takes it out."""
    *tables, last = key.split(".")
    for table in tables:
        held = values.get(table)
        values[table] = held if isinstance(held, dict | list) else {}
        values = values[table][0] if isinstance(values[table], list) else values[table]
    if value is None:
        values.pop(last, None)
    else:
        values[last] = value


def write_sources(folder: Path) -> None:
    """Write the pictures that the jobs name; they are smaller than they are printed."""
    exif = Image.Exif()
    exif[0x0110] = MODEL  # Exif 2.3: Model
    exif.get_ifd(0x8769)[0xA431] = SERIAL  # Exif 2.3: BodySerialNumber
    for name, grey in (("a.jpg", 120), ("another.jpg", 121)):
        save(folder / name, np.full((90, 60, 3), grey, np.uint8), exif=exif)
    bare = Image.fromarray(np.full((90, 60, 3), 120, np.uint8))
    bare.save(folder / "bare.jpg", exif=exif)  # without a profile
    write_dng(folder / "plate.dng", mosaic(seen(np.full((90, 60, 3), 0.18))), neutral())


def job_of(folder: Path, values: Mapping[str, Any]) -> Job:
    """Write and load a job of these values."""
    path = folder / "job.toml"
    path.write_text(tomli_w.dumps(values), encoding="utf-8")
    return load_job(path, check_ids())

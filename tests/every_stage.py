"""A small job with every stage at work, whose prints must come out the same however made."""

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import tomli_w

from pictures import job, save
from sightsize.checks.run import check_ids
from sightsize.job.load import load_job
from sightsize.model.job import Job
from sightsize.plan.arrange import arrange

PX = (900, 600)
_SOURCE_PX = (600, 400)
_PICTURE: dict[str, Any] = {
    "source": "catch-four.jpg",
    "level": 0.7,
    "spotting": [
        {"at": [0.3, 0.4], "radius": 0.01},
        {"line": [[0.5, 0.3], [0.6, 0.35]], "width": 0.008, "donor": [0.55, 0.5]},
    ],
    "zones": [{"at": [0.6, 0.6], "zone": 6}],
    "dodge": [{"ellipse": [0.4, 0.5, 0.2, 0.2], "stops": 0.4, "softness": "8 mm"}],
    "burn": [{"edge": [[0.5, 0.4], [0.5, 0.1]], "stops": 0.3, "softness": "20 mm"}],
}
_TABLES: dict[str, Any] = {
    "tone": {
        "exposure": 0.1,
        "split_grade": {"dark": 3, "light": 2},
        "edge_burn": {"stops": 0.2},
    },
    "local_contrast": {"gain": 0.2},
    "sharpen": {"gain": 0.8, "skin": 0.4, "noise_floor": "measured"},
    "grain": {"granularity": 0.02},
}


_PRINTS: list[dict[str, Any]] = [
    {"mono": {"filter": "yellow"}, "toner": {"kind": "sepia"}},
    {"mono": {"filter": "yellow"}, "toner": {"kind": "selenium"}, "delivery": {"format": "jpeg"}},
    {"delivery": {"format": "jpeg"}},
]


def every_stage(folder: Path) -> Job:
    """Write a picture and a job that prints it twice in black and white and once in colour."""
    folder.mkdir(exist_ok=True)
    rows, columns = np.mgrid[0 : _SOURCE_PX[1], 0 : _SOURCE_PX[0]]
    waves = 128 + 50 * np.sin(columns / 37) * np.cos(rows / 23)
    noise = np.random.default_rng(8).normal(0, 6, (_SOURCE_PX[1], _SOURCE_PX[0], 3))
    pixels = np.clip(waves[..., None] * (1.1, 0.95, 0.8) + noise, 0, 255)
    save(folder / "catch-four.jpg", pixels.astype(np.uint8), quality=95)
    path = job(folder, {f"p{at}": _PICTURE for at in range(len(_PRINTS))}, PX, **_TABLES).path
    values = tomllib.loads(path.read_text(encoding="utf-8"))
    for request, own in zip(values["prints"], _PRINTS, strict=True):
        request.update(own)
    path.write_text(tomli_w.dumps(values), encoding="utf-8")
    return load_job(path, check_ids())


def printed_bytes(made: Job) -> dict[str, bytes]:
    """The files of a job that was made."""
    return {each.name: (made.output / each.name).read_bytes() for each in arrange(made)}

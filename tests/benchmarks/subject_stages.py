"""The subject's print with one stage more, or with all of them: what each stage costs.

A stage is measured as ``subject_stages:NAME``.
"""

from pathlib import Path
from typing import Any

import tomli_w
from brief import Brief
from subject_sightsize import job_values, made_print

PLACES = [[0.04 + 0.1 * (i % 10), 0.1 + 0.2 * (i // 10)] for i in range(50)]
"""Fifty spots all over the picture."""

STAGES: dict[str, dict[str, Any]] = {
    "spotting, 50 spots": {
        "picture": {"spotting": [{"at": place, "radius": 20 / 6000} for place in PLACES]}
    },
    "two zones": {
        "picture": {"zones": [{"at": [0.3, 0.3], "zone": 4.0}, {"at": [0.7, 0.6], "zone": 6.0}]},
    },
    "dodge and burn": {
        "picture": {
            "dodge": [{"stops": 0.3, "ellipse": [0.3, 0.3, 0.2, 0.2]}],
            "burn": [{"stops": 0.3, "edge": [[0.5, 0.4], [0.5, 0.1]], "softness": "30 mm"}],
        },
        "tone": {"edge_burn": {"stops": 0.2}},
    },
    "split grade, end points by area": {
        "tone": {
            "split_grade": {"dark": 3.0, "light": 1.5},
            "black_point": {"share": 0.002},
            "white_point": {"share": 0.001},
        }
    },
    "local contrast": {"local_contrast": {"gain": 0.25}},
    "toner": {"toner": {"kind": "sepia"}},
    "noise floor and damping measured": {
        "sharpen": {"noise_floor": "measured", "damping": "measured"}
    },
    "skin": {"sharpen": {"skin": 0.4}},
    "grain": {"grain": {"granularity": 0.02}},
}
ALL = "all stages"


def make_print(source: Path, target: Path, brief: Brief, stage: str) -> None:
    """Make the brief's print with a stage, or all of them."""
    names = STAGES if stage == ALL else [stage]
    values = job_values(source, brief)
    picture = {"source": str(source.resolve())}
    for name in names:
        for table, keys in STAGES[name].items():
            if table == "picture":
                picture |= keys
            else:
                values[table] = {**values.get(table, {}), **keys}
    values["pictures"] = {"bench": picture}
    values["prints"] = [{"picture": "bench"}]
    made_print(tomli_w.dumps(values), target)

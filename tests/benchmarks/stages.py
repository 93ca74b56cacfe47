"""The stages that are measured, each as the keys that a job gets for it."""

from typing import Any

PLACES = (
    (0.766, 0.898), (0.472, 0.272), (0.539, 0.567), (0.672, 0.92), (0.854, 0.319),
    (0.066, 0.759), (0.058, 0.092), (0.36, 0.369), (0.147, 0.724), (0.768, 0.824),
    (0.083, 0.901), (0.335, 0.21), (0.938, 0.53), (0.708, 0.905), (0.146, 0.441),
    (0.184, 0.81), (0.949, 0.817), (0.375, 0.757), (0.747, 0.675), (0.377, 0.684),
    (0.303, 0.487), (0.276, 0.654), (0.363, 0.63), (0.714, 0.795), (0.833, 0.67),
    (0.623, 0.698), (0.099, 0.17), (0.469, 0.392), (0.386, 0.082), (0.787, 0.427),
    (0.586, 0.557), (0.598, 0.366), (0.147, 0.559), (0.617, 0.852), (0.388, 0.439),
    (0.915, 0.872), (0.062, 0.529), (0.291, 0.189), (0.734, 0.321), (0.435, 0.568),
    (0.817, 0.227), (0.317, 0.797), (0.109, 0.803), (0.781, 0.112), (0.073, 0.7),
    (0.568, 0.718), (0.895, 0.387), (0.692, 0.64), (0.137, 0.08), (0.156, 0.652),
)  # fmt: skip
"""Fifty places all over the benchmark's picture where a mark of 20 px has a clean donor nearby.

Most of that picture is edges and fine patterns, where it has none.
"""

STAGES: dict[str, dict[str, Any]] = {
    "spotting, 50 spots": {
        "picture": {"spotting": [{"at": list(place), "radius": 20 / 6000} for place in PLACES]}
    },
    "two zones": {
        "picture": {"zones": [{"at": [0.8, 0.2], "zone": 5.3}, {"at": [0.7, 0.6], "zone": 7.2}]},
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
        "sharpen": {"noise_floor": "measured", "already_sharpened": "measured"}
    },
    "skin": {"sharpen": {"skin": 0.4}},
    "grain": {"grain": {"granularity": 0.02}},
}
ALL = "all stages"

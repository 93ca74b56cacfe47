"""A whole record of a print, with every key that it may have, for tests that make no print."""

import copy
from typing import Any

Record = dict[str, Any]

_SHA = "0123456789abcdef" * 4
_RECORD: Record = {
    "file": "cox-12x8in.jpg",
    "made": "2026-05-04T12:00:00+00:00",
    "seconds": 4.8,
    "identity": f"sha256:{_SHA}",
    "accepted": ["crop-loss"],
    "notes": ["note [clipping] 1% of the picture is paper white."],
    "output": {"sha256": _SHA, "pixels_sha256": _SHA, "bytes": 1_400_000, "changed_ns": -1},
    "sources": [
        {
            "picture": "cox",
            "path": "../pictures/cox é.jpg",
            "sha256": _SHA,
            "bytes": 9_000_000,
            "changed_ns": 1_795_888_064_363_838_352,
            "header": {
                "width_px": 6000,
                "height_px": 4000,
                "orientation": 6,
                "colour": "rgb",
                "bits": 8,
                "has_alpha": False,
                "format": "JPEG",
                "profile": "sRGB",
                "says_srgb": False,
                "bytes": 9_000_000,
                "camera_model": "LB-2",
                "camera_serial": "TQ-15",
            },
        }
    ],
    "profile": {"name": "srgb", "sha256": _SHA},
    "versions": {"sightsize": "0.4.0", "libvips": "8.18.7"},
    "plan": {"sheet_px": [2400, 3600], "ppi": 300.0, "pictures": [{"picture": "cox"}]},
    "masters": [
        {
            "picture": "cox",
            "file": "masters/cox-12x8in.tif",
            "sha256": _SHA,
            "pixels_sha256": _SHA,
            "bytes": 50_222,
            "changed_ns": 1,
            "sharpening": {"gain": 0.8, "noise_floor": 1.2},
        }
    ],
    "job": {
        "sightsize": 1,
        "prints": [{"picture": "cox", "copies": 1}],
        "mono": False,
        "tone": {"curve": [[0, 0], [100, 100]], "exposure": 0.5},
        "sharpen": {"gain": 0.8},
        "delivery": {"name": "cox-12x8in", "format": "jpeg", "profile": "srgb"},
        "pictures": {"cox": {"source": "../pictures/cox é.jpg", "burn": [{"edge": [[0.5, 0.4]]}]}},
    },
    "measured": {"on": "2026-05-04", "width": "190.2 mm", "height": "250.5 mm", "remark": "-"},
}


def whole_record(file: str = "cox-12x8in.jpg", **facts: Any) -> Record:
    """Return a record of its own, with some facts of it changed."""
    return {**copy.deepcopy(_RECORD), "file": file, **facts}

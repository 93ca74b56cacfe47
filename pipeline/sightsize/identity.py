"""The identity of a print: one hash over everything that decides its pixels."""

import hashlib
import json
from dataclasses import asdict
from pathlib import Path

from sightsize import __version__
from sightsize.job import BUILT_IN_PROFILES
from sightsize.plan import Plan


def file_sha256(path: Path) -> str:
    """Return the SHA-256 of a file's bytes."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def print_identity(plan: Plan) -> str:
    """Return ``sha256:...`` over the source's bytes, the plan, the recipe and this version.

    Two prints have the same identity when they would come out the same; names, copies, checks and
    the place in the job file do not count.
    """
    request = plan.request
    picture, delivery = request.picture, request.delivery
    facts = {
        "sightsize": __version__,
        "source": file_sha256(picture.source),
        "assume_profile": _profile_identity(picture.assume_profile or ""),
        "sheet": [plan.sheet.sheet_px, asdict(plan.sheet.picture_box)],
        "crop": [asdict(plan.crop.box), plan.crop.straighten_degrees] if plan.crop else None,
        "mono": asdict(plan.mono) if plan.mono else None,
        "tone": asdict(request.tone),
        "sharpen": asdict(request.sharpen),
        "paper_tone": request.paper.tone_lightness,
        "delivery": {**asdict(delivery), "profile": _profile_identity(delivery.profile)},
    }
    text = json.dumps(facts, sort_keys=True, default=str)
    return f"sha256:{hashlib.sha256(text.encode()).hexdigest()}"


def _profile_identity(profile: str) -> str:
    return profile if profile in ("", *BUILT_IN_PROFILES) else file_sha256(Path(profile))

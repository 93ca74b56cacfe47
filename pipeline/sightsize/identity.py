"""The identity of a print: one hash over everything that decides its pixels."""

import hashlib
import json
from dataclasses import asdict
from pathlib import Path

from sightsize import __version__
from sightsize.job import BUILT_IN_PROFILES, AreaShare, Tone
from sightsize.plan import Plan


def file_sha256(path: Path) -> str:
    """Return the SHA-256 of a file's bytes."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def grain_seed(path: Path) -> int:
    """Return the number from which a picture's grain is drawn: the head of its SHA-256."""
    return int(file_sha256(path)[:16], 16)


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
        "marks": [asdict(mark) for mark in plan.marks],
        "zones": [asdict(zone) for zone in picture.zones],
        "shades": [asdict(shade) for shade in plan.shades],
        "edge_burn": asdict(plan.edge_burn) if plan.edge_burn else None,
        "raw": asdict(picture.raw),
        "tone": asdict(request.tone),
        "opening": asdict(plan.opening) if _is_measured(request.tone) else None,
        "local_contrast": [request.local_contrast.gain, plan.neighbourhood_px],
        "toner": asdict(request.toner),
        "sharpen": asdict(plan.sharpen),
        "grain": asdict(request.grain),
        "paper_tone": request.paper.tone_lightness,
        "delivery": {**asdict(delivery), "profile": _profile_identity(delivery.profile)},
    }
    text = json.dumps(facts, sort_keys=True, default=str)
    return f"sha256:{hashlib.sha256(text.encode()).hexdigest()}"


def _is_measured(tone: Tone) -> bool:
    """Whether end points are shares of the opening's area."""
    return any(isinstance(point, AreaShare) for point in (tone.black_point, tone.white_point))


def _profile_identity(profile: str) -> str:
    return profile if profile in ("", *BUILT_IN_PROFILES) else file_sha256(Path(profile))

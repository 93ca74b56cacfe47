"""The identity of a print: one hash over everything that decides its pixels."""

import hashlib
import json
from dataclasses import asdict
from functools import lru_cache
from pathlib import Path

from sightsize import __version__
from sightsize.header import RAW
from sightsize.job import BUILT_IN_PROFILES, AreaShare, Delivery, Tone
from sightsize.plan import Plan


def file_sha256(path: Path) -> str:
    """Return the SHA-256 of a file's bytes."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def unchanged_sha256(path: Path) -> str:
    """Return the SHA-256 of a file, read once as long as its size and time stay the same."""
    status = path.stat()
    return _sha256_of(path, status.st_size, status.st_mtime_ns)


@lru_cache(maxsize=64)
def _sha256_of(path: Path, _bytes: int, _changed_ns: int) -> str:
    return file_sha256(path)


def grain_seed(plan: Plan) -> int:
    """Return the number from which a print's grain is drawn: the head of its source's SHA-256."""
    return int((plan.grain_of or unchanged_sha256(plan.request.picture.source))[:16], 16)


def print_identity(plan: Plan, source_sha256: str | None = None) -> str:
    """Return ``sha256:...`` over the source's bytes, the plan, the recipe and this version.

    ``source_sha256`` saves reading the source where it is known.

    Two prints have the same identity when they would come out the same; names, copies, checks and
    the place in the job file do not count.
    """
    request = plan.request
    picture, delivery = request.picture, request.delivery
    facts = {
        "sightsize": __version__,
        "source": source_sha256 or unchanged_sha256(picture.source),
        "assume_profile": _profile_identity(picture.assume_profile or ""),
        "sheet": [plan.sheet.sheet_px, asdict(plan.sheet.picture_box)],
        "crop": [asdict(plan.crop.box), plan.crop.straighten_degrees] if plan.crop else None,
        "mono": asdict(plan.mono) if plan.mono else None,
        "tone": {**asdict(request.tone), "edge_burn": None},  # which stands below, in pixels
        "paper_tone": request.paper.tone_lightness,
        "delivery": _delivery_identity(delivery),
        **_craft(plan),
    }
    text = json.dumps(facts, sort_keys=True, default=str)
    return f"sha256:{hashlib.sha256(text.encode()).hexdigest()}"


def _craft(plan: Plan) -> dict[str, object]:
    """What the controls do that are at work; those that do nothing do not count."""
    request, picture = plan.request, plan.request.picture
    facts: dict[str, object] = {}
    if plan.sharpen.gain:
        facts["sharpen"] = asdict(plan.sharpen)
    if plan.header is not None and plan.header.format == RAW:
        facts["raw"] = asdict(picture.raw)
    if plan.marks:
        facts["marks"] = [{**asdict(mark), "label": ""} for mark in plan.marks]
    if picture.zones:
        facts["zones"] = [asdict(zone) for zone in picture.zones]
    if any(shade.stops for shade in plan.shades):
        facts["shades"] = [asdict(shade) for shade in plan.shades]
    if plan.edge_burn is not None:
        facts["edge_burn"] = asdict(plan.edge_burn)
    if request.local_contrast.gain:
        facts["local_contrast"] = [request.local_contrast.gain, plan.neighbourhood_px]
    if request.toner.is_tinted:
        facts["toner"] = asdict(request.toner)
    if request.grain.granularity:
        facts["grain"] = asdict(request.grain) | ({"of": plan.grain_of} if plan.grain_of else {})
    if plan.crop is not None and _uses_small_picture(plan):
        facts["looked_at"] = [asdict(plan.crop.exact), asdict(plan.opening)]
    return facts


def _uses_small_picture(plan: Plan) -> bool:
    """Whether pixels depend on the small picture, which the exact crop and the opening cut."""
    return (
        _is_measured(plan.request.tone)
        or plan.mono is None
        or plan.request.local_contrast.gain > 0
        or (plan.sharpen.gain > 0 and plan.sharpen.skin < 1)
    )


def _is_measured(tone: Tone) -> bool:
    """Whether end points are shares of the opening's area."""
    return any(isinstance(point, AreaShare) for point in (tone.black_point, tone.white_point))


def _delivery_identity(delivery: Delivery) -> dict[str, object]:
    """What of the delivery decides a file's bytes; a master beside it does not."""
    facts = {**asdict(delivery), "profile": _profile_identity(delivery.profile)}
    del facts["keep_master"]
    return facts


def _profile_identity(profile: str) -> str:
    return profile if profile in ("", *BUILT_IN_PROFILES) else unchanged_sha256(Path(profile))

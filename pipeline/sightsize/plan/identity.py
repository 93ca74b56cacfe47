"""The identity of a print: one hash over everything that decides its pixels."""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict, fields, is_dataclass
from pathlib import Path

from sightsize import __version__
from sightsize.base.hashes import unchanged_sha256
from sightsize.base.schemas import Node, schema
from sightsize.model.settings import BUILT_IN_PROFILES, AreaShare, Delivery, Tone
from sightsize.plan.picture import PicturePlan
from sightsize.plan.sheet import FilePlan


def grain_seed(plan: PicturePlan) -> int:
    """Return the number from which a print's grain is drawn: the head of its source's SHA-256."""
    return int((plan.grain_of or unchanged_sha256(plan.look.picture.source))[:16], 16)


def print_identity(file: FilePlan[PicturePlan], sources: Mapping[Path, str] | None = None) -> str:
    """Return ``sha256:...`` over the sources' bytes, the plan and this version.

    ``sources`` saves reading the sources whose SHA-256 is known.

    Two prints have the same identity when they would come out the same; names, copies, checks and
    the place in the job file do not count.
    """
    known = sources or {}
    facts = {
        "sightsize": __version__,
        "sheet": [file.sheet.stock.size_px, file.sheet.border_lightness, file.sheet.marks],
        "pictures": [
            {
                "box": each.place.box,
                "quarter_turns": each.place.quarter_turns,
                **_picture_facts(each.picture, known),
            }
            for each in file.pictures
        ],
        "delivery": _delivery_facts(file.delivery),
    }
    text = json.dumps(facts, sort_keys=True, default=_plain)
    return f"sha256:{hashlib.sha256(text.encode()).hexdigest()}"


_SET_ASIDE = ("look", "size", "header", "crop", "dust_of", "grain_of")
"""Fields of a picture's plan that do not count as they stand; what of them does is added."""


def _picture_facts(plan: PicturePlan, known: Mapping[Path, str]) -> dict[str, object]:
    """What decides a picture's pixels: its source, its crop, and every stage that is at work."""
    picture, crop = plan.look.picture, plan.crop
    stages = {each.name: getattr(plan, each.name) for each in fields(plan)}
    facts = {
        "source": known.get(picture.source) or unchanged_sha256(picture.source),
        "assume_profile": _assumed_profile(plan),
        "crop": [crop.box, crop.level_degrees],
        **{key: each for key, each in stages.items() if key not in _SET_ASIDE and each},
    }
    if plan.grain is not None and plan.grain_of:
        facts["grain_of"] = plan.grain_of
    if _looks_at_picture(plan):
        facts["looked_at"] = [crop.exact, crop.magnification, plan.size.opening_px]
    return facts


def _looks_at_picture(plan: PicturePlan) -> bool:
    """Whether pixels depend on what is found in the exact crop and the opening of the picture."""
    return (
        _is_measured(plan.tone)
        or plan.mono is None
        or plan.local_contrast is not None
        or (plan.sharpen is not None and (plan.sharpen.skin < 1 or plan.sharpen.is_measured))
    )


def _assumed_profile(plan: PicturePlan) -> str:
    """The profile that stands in for one that the file does not have."""
    assumed = plan.look.picture.assume_profile
    return _profile_identity(assumed) if assumed and not plan.header.profile else ""


def _is_measured(tone: Tone) -> bool:
    """Whether end points are shares of the opening's area."""
    return any(isinstance(point, AreaShare) for point in (tone.black_point, tone.white_point))


def _plain(value: object) -> object:
    """A dataclass by its fields, without the labels that are for people."""
    if is_dataclass(value):
        return {
            each.name: getattr(value, each.name) for each in fields(value) if each.name != "label"
        }
    return str(value)


def _delivery_facts(delivery: Delivery) -> dict[str, object]:
    """What of the delivery decides a file's bytes: what the schema does not set aside."""
    keys = schema()["$defs"]["delivery"]["properties"]
    facts = {key: each for key, each in asdict(delivery).items() if not _is_aside(keys.get(key))}
    return {**facts, "profile": _profile_identity(delivery.profile)}


def _is_aside(node: Node | None) -> bool:
    return node is not None and bool(node.get("x-same-print"))


def _profile_identity(profile: str) -> str:
    return profile if profile in ("", *BUILT_IN_PROFILES) else unchanged_sha256(Path(profile))

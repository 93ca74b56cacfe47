"""Plans, findings and outcomes as plain data for programs."""

import json
from collections.abc import Iterable
from dataclasses import asdict, fields, is_dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

from sightsize.plan.estimates import estimated_bytes
from sightsize.plan.layout import rebate_room
from sightsize.plan.picture import AnyPicture, PicturePlan
from sightsize.plan.sheet import PlacedPicture
from sightsize.run.planned_print import PlannedPrint
from sightsize.run.worker import Outcome


def prints_data(prints: Iterable[PlannedPrint]) -> list[dict[str, Any]]:
    """Return plans and findings as plain data; lengths are mm, boxes are px."""
    return [_print_data(each) for each in prints]


def _print_data(planned: PlannedPrint) -> dict[str, Any]:
    file, plan = planned.file, planned.plan
    request = file.request
    return {
        "number": request.number,
        "output": file.name,
        "copies": file.copies,
        "refused": planned.refused,
        "findings": [asdict(finding) for finding in planned.findings],
        "sheet": {
            **asdict(file.sheet.stock),
            "border_lightness": file.sheet.border_lightness,
            "marks": [asdict(each) for each in file.sheet.marks],
        },
        "delivery": {**asdict(file.delivery), "profile": Path(file.delivery.profile).name},
        "estimated_bytes": estimated_bytes(file),
        "pictures": [_picture_data(each) for each in (plan or file).pictures],
    }


def _picture_data(placed: PlacedPicture[AnyPicture]) -> dict[str, Any]:
    request, picture = placed.request, placed.picture
    look = picture.look
    facts: dict[str, Any] = {
        "picture": look.picture.name,
        "frame": request.frame.name if request.frame else None,
        "recipe": request.recipe or None,
        "step": request.step or None,
        "aperture": asdict(look.aperture),
        "paper": asdict(request.paper),
        "size": asdict(picture.size),
        "place": asdict(placed.place),
        "rebate_free_mm": rebate_room(placed.place, picture.size, look.aperture, request.frame),
    }
    return facts | _plan_data(picture) if isinstance(picture, PicturePlan) else facts


_TOLD_ELSEWHERE = ("look", "size", "header", "grain_of")


def _plan_data(plan: PicturePlan) -> dict[str, Any]:
    """A picture's source and every stage of its plan; a stage that does nothing is null."""
    stages = {each.name: getattr(plan, each.name) for each in fields(plan)}
    told = {key: _as_data(each) for key, each in stages.items() if key not in _TOLD_ELSEWHERE}
    del told["tone"]["edge_burn"]  # which stands in pixels beside it
    return {"source": asdict(plan.header), **told}


def _as_data(value: Any) -> Any:
    if isinstance(value, tuple):
        return [_as_data(each) for each in value]
    return asdict(value) if is_dataclass(value) and not isinstance(value, type) else value


def outcomes_data(outcomes: Iterable[Outcome]) -> list[dict[str, Any]]:
    """Return outcomes as plain data, each with its plan."""
    return [
        {
            **_print_data(outcome.planned),
            "status": outcome.status,
            "message": outcome.message,
            "finished": [asdict(finding) for finding in outcome.findings],
            "bytes": outcome.bytes,
            "seconds": round(outcome.seconds, 3),
        }
        for outcome in outcomes
    ]


def as_json(data: object) -> str:
    """Return data as JSON in ASCII; exact lengths become decimal numbers to a millionth.

    Whatever a name holds, no terminal acts on it and no encoding changes it.
    """
    text = json.dumps(data, indent=2, ensure_ascii=True, default=_plain)
    return text.replace("\x7f", "\\u007f")  # the only control character that JSON lets stand


def _plain(value: object) -> object:
    return round(float(value), 6) if isinstance(value, Fraction) else str(value)

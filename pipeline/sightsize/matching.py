"""Match an old print: the job that makes it again from its master, and the plan of that job.

The master has all of the print's tones, so that every table that moves tones is left at its
default; what belongs to the paper - size, sharpening, grain, toner, delivery - is as recorded.
"""

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

from sightsize.crop import ExactBox
from sightsize.docket import Record
from sightsize.layout import Box
from sightsize.making import PlannedPrint
from sightsize.plan import Plan

_ELSEWHERE = ("tone", "local_contrast", "cameras", "pictures")
"""Tables of a job whose work is done in the master."""


def master_job(record: Record, master: Path) -> dict[str, Any]:
    """Return the job that prints a master as its record says.

    What was measured on the source for the sharpening is taken as it was measured there; from the
    master it would be measured after local contrast.
    """
    own = record["job"]
    (picture,) = own["pictures"]
    measured = record["master"].get("sharpening")
    sharpen = own["sharpen"]
    if measured is not None:
        floor = min(measured["noise_floor"], 10.0)
        sharpen = {**sharpen, "gain": measured["gain"], "noise_floor": floor, "damping": 1.0}
    return {
        **{key: table for key, table in own.items() if key not in _ELSEWHERE},
        "sharpen": sharpen,
        "pictures": {picture: {"source": str(master)}},
    }


def from_master(planned: PlannedPrint, source_sha256: str) -> PlannedPrint:
    """Return the plan of a print from a master: all of it is printed, with the source's grain."""
    plan = planned.plan
    if plan is None or plan.crop is None or plan.header is None:
        return planned
    return replace(planned, plan=_whole(plan, *plan.header.upright_px, source_sha256))


def _whole(plan: Plan, width: int, height: int, source_sha256: str) -> Plan:
    """A plan that takes all of its picture: its ratio differs by what whole pixels round away."""
    assert plan.crop is not None
    crop = replace(
        plan.crop,
        exact=ExactBox(Fraction(0), Fraction(0), Fraction(width), Fraction(height)),
        box=Box(0, 0, width, height),
        crop_loss=Fraction(0),
    )
    return replace(plan, crop=crop, grain_of=source_sha256)


def not_in_master(record: Record) -> Iterator[str]:
    """Yield what of a print cannot be told from its master."""
    sharpen, colour = record["job"]["sharpen"], record["source"]["header"].get("colour")
    protects_skin = sharpen.get("skin", 1) < 1 and sharpen.get("gain") != 0
    if record["job"].get("mono") and protects_skin and colour != "grey":
        yield "a grey master does not show what is skin: it is sharpened like the rest"

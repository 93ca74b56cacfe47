"""Match an old print: the job that makes it again from its master, and the plan of that job.

The master has all of the print's tones, so that every table that moves tones is left at its
default; what belongs to the paper - size, sharpening, grain, toner, delivery - is as recorded.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

from sightsize.base.paths import follow_links
from sightsize.docket.store import Record
from sightsize.model.geometry import Box
from sightsize.plan.crop import ExactBox
from sightsize.plan.picture import PicturePlan
from sightsize.run.planned_print import PlannedPrint

_ELSEWHERE = ("tone", "local_contrast", "cameras", "pictures")
"""Tables of a job whose work is done in the master."""


def master_job(record: Record, folder: Path) -> dict[str, Any]:
    """Return the job that prints the masters of a record; ``folder`` is the docket's.

    What was measured on the source for the sharpening is taken as it was measured there; from the
    master it would be measured after local contrast.
    """
    own = record["job"]
    measured = record["masters"][0].get("sharpening")
    sharpen = own["sharpen"]
    if measured is not None:
        floor = min(measured["noise_floor"], 10.0)
        sharpen = {
            **sharpen,
            "gain": measured["gain"],
            "noise_floor": floor,
            "already_sharpened": 1.0,
        }
    masters = {
        each["picture"]: {"source": str(follow_links(folder / each["file"]))}
        for each in record["masters"]
    }
    return {
        **{key: table for key, table in own.items() if key not in _ELSEWHERE},
        "sharpen": sharpen,
        "pictures": masters,
    }


def plan_from_masters(planned: PlannedPrint, sources: Sequence[Mapping[str, Any]]) -> PlannedPrint:
    """Return the plan of a print from its masters: all of each is printed, with its source's grain.

    ``sources`` are those of the print's record.
    """
    if planned.plan is None:
        return planned
    grain_of = {each["picture"]: each["sha256"] for each in sources}
    pictures = tuple(
        replace(each, picture=_take_whole(each.picture, grain_of[each.picture.look.picture.name]))
        for each in planned.plan.pictures
    )
    return replace(planned, plan=planned.plan.with_pictures(pictures))


def _take_whole(plan: PicturePlan, source_sha256: str) -> PicturePlan:
    """A plan that takes all of its picture: its ratio differs by what whole pixels round away."""
    width, height = plan.header.upright_px
    crop = replace(
        plan.crop,
        exact=ExactBox(Fraction(0), Fraction(0), Fraction(width), Fraction(height)),
        box=Box(0, 0, width, height),
        crop_loss=Fraction(0),
    )
    return replace(plan, crop=crop, grain_of=source_sha256)


def not_in_master(record: Record) -> Iterator[str]:
    """Yield what of a print cannot be told from its master."""
    sharpen = record["job"]["sharpen"]
    colours = {each["header"].get("colour") for each in record["sources"]}
    protects_skin = sharpen.get("skin", 1) < 1 and sharpen.get("gain") != 0
    if record["job"].get("mono") and protects_skin and colours != {"grey"}:
        yield "skin cannot be told apart in a grey master, so it was sharpened like the rest"

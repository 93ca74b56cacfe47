"""Reprint: the same prints again from their docket, or what stands in the way of it."""

import tempfile
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from fnmatch import fnmatch
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, NamedTuple, get_args

import tomli_w

from sightsize.archive.audit import file_state
from sightsize.archive.find_source import Search
from sightsize.archive.from_master import master_job, not_in_master, plan_from_masters
from sightsize.archive.own_job import own_job, why_unusable
from sightsize.base.hashes import file_sha256
from sightsize.base.paths import follow_links, is_file
from sightsize.base.plain_text import paragraph
from sightsize.checks.run import check_ids
from sightsize.docket.record import profile_record, versions
from sightsize.docket.store import Docket, Record
from sightsize.errors import JobError, SourceError
from sightsize.job.load import load_job
from sightsize.model.geometry import Box
from sightsize.plan.arrange import arrange
from sightsize.plan.picture import PicturePlan
from sightsize.plan.sheet import FilePlan
from sightsize.run.batch import make_prints
from sightsize.run.planned_print import PlannedPrint
from sightsize.run.planner import plan_prints
from sightsize.run.worker import Outcome

if TYPE_CHECKING:
    pass

State = Literal["identical", "same pixels", "matched", "different", "failed"]

_MATCHED = 1.0
"""Mean dE00 above which a print from a master is another print: common practice, no source."""


class Reprinted(NamedTuple):
    """A print made again: how it compares with the first, and what had changed since.

    The differences are dE00 over the picture; None when the first print is not there to compare
    with, or when there is none.
    """

    file: str
    state: State
    changes: tuple[str, ...]
    message: str = ""
    mean_difference: float | None = None
    largest_difference: float | None = None


def reprint_docket(
    docket: Docket,
    only: Sequence[str],
    look_in: Sequence[Path],
    output: Path,
    *,
    match: bool = False,
) -> Iterator[Reprinted]:
    """Make the prints of a docket again in ``output``; yield how each came out.

    ``only`` are file names or patterns. A source that is not where it was, or has changed, is
    looked for by its hash in the folders ``look_in``. With ``match`` prints are made from their
    masters instead.
    """
    folder, search = docket.path.parent, Search(look_in)
    for record in docket.records.values():
        names = (record["file"], record["file"].rpartition(".")[0])
        if only and not any(fnmatch(name, word) for word in only for name in names):
            continue
        why = why_unusable(record, match=match)
        if why:
            yield Reprinted(record["file"], "failed", (), why)
            continue
        record = {**record, "job": own_job(record)}
        try:
            if match:
                yield _match_record(folder, record, output)
            else:
                yield _reprint_record(folder, record, search, output)
        except JobError as error:
            said = error.findings[0].message
            yield Reprinted(record["file"], "failed", (), f"its job no longer loads: {said}")


def _reprint_record(folder: Path, record: Record, search: Search, output: Path) -> Reprinted:
    found = {each["picture"]: search.find(folder, each) for each in record["sources"]}
    lost = [each for each in record["sources"] if found[each["picture"]] is None]
    if lost:
        return Reprinted(record["file"], "failed", (), _say_lost(folder, record, lost[0]))
    sources = {name: path for name, path in found.items() if path is not None}
    outcome = _make_again(_replace_sources(record["job"], sources), output)
    changes = tuple(_changes(record))
    if outcome.record is None:
        return Reprinted(record["file"], "failed", changes, outcome.message)
    before, after = record["output"], outcome.record["output"]
    if after["sha256"] == before["sha256"]:
        return Reprinted(record["file"], "identical", changes)
    if after["pixels_sha256"] == before["pixels_sha256"]:
        return Reprinted(record["file"], "same pixels", changes, "only the file's metadata differs")
    apart, said = _how_far(folder, record, output, outcome.planned.plan)
    said = f"{said}; {_offer(folder, record)}"
    return Reprinted(record["file"], "different", changes, said, *apart)


def _match_record(folder: Path, record: Record, output: Path) -> Reprinted:
    if "masters" not in record:
        said = "no master was kept; set delivery.keep_master and make it again from its source"
        return Reprinted(record["file"], "failed", (), said)
    for master in record["masters"]:
        state, why = file_state(folder / master["file"], master, "it is needed to match the print")
        if state != "whole":
            said = f"its master {master['file']} is {state}: {why}"
            return Reprinted(record["file"], "failed", (), said)
    outcome = _make_again(
        master_job(record, folder), output, lambda each: plan_from_masters(each, record["sources"])
    )
    changes = (*_changes(record), *not_in_master(record))
    if outcome.record is None:
        return Reprinted(record["file"], "failed", changes, outcome.message)
    apart, said = _how_far(folder, record, output, outcome.planned.plan)
    if apart and apart[0] > _MATCHED:
        said += f"; above {_MATCHED:g} on average, so lay the two side by side before you use it"
        return Reprinted(record["file"], "different", changes, said, *apart)
    return Reprinted(record["file"], "matched", changes, said, *apart)


def _offer(folder: Path, record: Record) -> str:
    """What a print's masters are good for, as the end of a sentence."""
    if "masters" not in record:
        return "no master was kept"
    for master in record["masters"]:
        state, _ = file_state(folder / master["file"], master)
        if state != "whole":
            return f"its master {master['file']} is {state}"
    return "use --match to make it from its master"


def _say_lost(folder: Path, record: Record, wanted: Mapping[str, Any]) -> str:
    path = follow_links(folder / wanted["path"])
    what = "has changed" if is_file(path) else "is missing"
    where = "name a folder that has it with --look-in"
    return f"the source {path} {what}; {where}; {_offer(folder, record)}"


def _replace_sources(own: Mapping[str, Any], sources: Mapping[str, Path]) -> dict[str, Any]:
    """A print's own job, its sources where they are now."""
    pictures = {
        name: {**facts, "source": str(sources[name])} for name, facts in own["pictures"].items()
    }
    return {**own, "pictures": pictures}


def _make_again(
    own: dict[str, Any],
    output: Path,
    adapted: Callable[[PlannedPrint], PlannedPrint] = lambda planned: planned,
) -> Outcome:
    """Make a print from a job of its own, which is written out for the purpose; no master.

    It was judged when it was first made: checks that came later do not stop it.
    """
    delivery = {**own["delivery"], "keep_master": False}
    accepted = {"accept": sorted(check_ids()), "strict": False}
    own = {**own, "delivery": delivery, "job": {"output": str(output.resolve())}}
    if isinstance(own.setdefault("checks", {}), dict):
        own["checks"] = {**own["checks"], **accepted}
    with tempfile.TemporaryDirectory() as scratch:
        path = Path(scratch) / "reprint.toml"
        path.write_text(tomli_w.dumps(own), encoding="utf-8")
        job = load_job(path, check_ids())
    output.mkdir(parents=True, exist_ok=True)
    (outcome,) = make_prints(
        job,
        [adapted(each) for each in plan_prints(job, arrange(job))],
        workers=1,
    )
    return outcome


def _changes(record: Record) -> Iterator[str]:
    """What is not as it was: versions, and the output profile."""
    before, now = record["versions"], versions()
    for name in sorted({*before, *now}):
        was, is_now = (each.get(name, "not there") for each in (before, now))
        if was != is_now:
            yield f"{name} was {was}, now {is_now}"
    profile = record.get("profile")
    if profile and profile_record(record["job"]["delivery"]["profile"]) != profile:
        yield f"the profile {profile['name']} has changed"


def _how_far(
    folder: Path, record: Record, output: Path, plan: FilePlan[PicturePlan] | None
) -> tuple[tuple[float, ...], str]:
    """Mean and largest dE00 from the first print, if there is one to compare with, in words too."""
    import pyvips

    old, new = folder / record["file"], output / record["file"]
    if not is_file(old) or file_sha256(old) != record["output"]["sha256"]:
        return (), "the first print is missing or changed, so there is nothing to compare with"
    boxes = [each.place.box for each in plan.pictures] if plan is not None else []
    try:
        apart = _apart(old, new, boxes)
    except (OSError, SourceError, pyvips.Error):
        return (), "the first print cannot be read, so there is nothing to compare with"
    if not apart:
        return (), "its size or channels differ"
    return apart, f"dE00 {apart[0]:.3f} on average, {apart[1]:.1f} at most"


def _apart(old: Path, new: Path, boxes: Sequence[Box]) -> tuple[float, ...]:
    """Mean and largest dE00 inside boxes; nothing for two files that cannot be compared."""
    from sightsize.imaging.source.image_file import open_image

    images = [open_image(path, access="random") for path in (old, new)]
    if len({(each.width, each.height, each.bands) for each in images}) > 1 or not boxes:
        return ()
    seen = [each.icc_import(embedded=True, pcs="lab") for each in images]
    apart = seen[0].dE00(seen[1])
    parts = [apart.crop(box.left, box.top, box.width, box.height).stats() for box in boxes]
    areas = [box.width * box.height for box in boxes]
    means = [float(each(4, 0)[0]) for each in parts]
    mean = sum(each * area for each, area in zip(means, areas, strict=True)) / sum(areas)
    return mean, max(float(each(1, 0)[0]) for each in parts)


def reprint_totals(results: Sequence[Reprinted], output: Path) -> str:
    """Return how many prints came out in each way, and where the new files stand."""
    counts = Counter(result.state for result in results)
    total = ", ".join(f"{counts[state]} {state}" for state in get_args(State) if counts[state])
    return total if set(counts) == {"failed"} else f"{total}; files in {output}"


def reprint_line(result: Reprinted) -> str:
    """Return one line about a print made again, and one for each change."""
    lines = [f"{result.state:<11} {result.file}  {result.message}".rstrip()]
    return paragraph([*lines, *(f"            {change}" for change in result.changes)])

"""Reprint: the same prints again from their docket, or what stands in the way of it."""

import tempfile
from collections.abc import Iterator, Sequence
from fnmatch import fnmatch
from pathlib import Path
from typing import Literal, NamedTuple

import tomli_w

from sightsize.batch import Outcome, make_prints, plan_prints
from sightsize.checks import check_ids
from sightsize.docket import Docket, Record
from sightsize.findings import JobError
from sightsize.identity import file_sha256
from sightsize.load import load_job
from sightsize.paths import is_file, resolved
from sightsize.record import profile_record, versions

State = Literal["identical", "same pixels", "different", "failed"]


class Reprinted(NamedTuple):
    """A print made again: how it compares with the first, and what had changed since."""

    file: str
    state: State
    changes: tuple[str, ...]
    message: str = ""


def reprinted(
    docket: Docket, only: Sequence[str], look_in: Sequence[Path], output: Path
) -> Iterator[Reprinted]:
    """Make the prints of a docket again in ``output``; yield how each came out.

    ``only`` are file names or patterns. A source that is not where it was, or has changed, is
    looked for by its hash in the folders ``look_in``.
    """
    for record in docket.records.values():
        stem = record["file"].rpartition(".")[0]
        if not only or any(fnmatch(name, word) for word in only for name in (record["file"], stem)):
            yield _reprinted(docket.path.parent, record, look_in, output)


def _reprinted(folder: Path, record: Record, look_in: Sequence[Path], output: Path) -> Reprinted:
    source = _source(folder, record, look_in)
    if source is None:
        return Reprinted(record["file"], "failed", (), _lost(folder, record))
    try:
        outcome = _made(record, source, output)
    except JobError as error:
        said = error.findings[0].message
        return Reprinted(record["file"], "failed", (), f"its job no longer loads: {said}")
    changes = tuple(_changes(record))
    if outcome.record is None:
        return Reprinted(record["file"], "failed", changes, outcome.message)
    before, after = record["output"], outcome.record["output"]
    if after["sha256"] == before["sha256"]:
        return Reprinted(record["file"], "identical", changes)
    if after["pixels_sha256"] == before["pixels_sha256"]:
        return Reprinted(record["file"], "same pixels", changes, "only the file's tags differ")
    return Reprinted(record["file"], "different", changes, _how_far(folder, record, output))


def _source(folder: Path, record: Record, look_in: Sequence[Path]) -> Path | None:
    """The very bytes the print was made from, where they are now."""
    wanted = record["source"]
    places: list[Path] = [resolved(folder / wanted["path"])]
    for place in look_in:
        places += sorted(path for path in place.rglob("*") if is_file(path))
    for path in places:
        same_size = is_file(path) and path.stat().st_size == wanted["bytes"]
        if same_size and file_sha256(path) == wanted["sha256"]:
            return path
    return None


def _lost(folder: Path, record: Record) -> str:
    path = resolved(folder / record["source"]["path"])
    what = "has changed since" if is_file(path) else "is not there"
    return f"the source {path} {what}; name a folder that has it with --look-in"


def _made(record: Record, source: Path, output: Path) -> Outcome:
    """Make a print from its own job, which is written out for the purpose."""
    own = {**record["job"], "job": {"output": str(output.resolve())}}
    (picture,) = own["pictures"]
    own["pictures"] = {picture: {**own["pictures"][picture], "source": str(source)}}
    with tempfile.TemporaryDirectory() as scratch:
        path = Path(scratch) / "reprint.toml"
        path.write_text(tomli_w.dumps(own), encoding="utf-8")
        job = load_job(path, check_ids())
    output.mkdir(parents=True, exist_ok=True)
    (outcome,) = make_prints(
        job,
        plan_prints(job, job.prints),
        replace=True,
        workers=1,
        started=lambda _: None,
        finished=lambda _: None,
    )
    return outcome


def _changes(record: Record) -> Iterator[str]:
    """What is not as it was: versions, and the output profile."""
    before, now = record["versions"], versions()
    for name in sorted({*before, *now}):
        was, is_now = before.get(name, "absent"), now.get(name, "absent")
        if was != is_now:
            yield f"{name} was {was}, is {is_now}"
    profile = record.get("profile")
    if profile and profile_record(record["job"]["delivery"]["profile"]) != profile:
        yield f"the profile {profile['name']} has changed"


def _how_far(folder: Path, record: Record, output: Path) -> str:
    """How far the new print is from the old one, when that is still there."""
    import pyvips

    old, new = folder / record["file"], output / record["file"]
    if not is_file(old) or file_sha256(old) != record["output"]["sha256"]:
        return "the first print is no longer here to compare with"
    images = [pyvips.Image.new_from_file(str(path)) for path in (old, new)]
    if len({(each.width, each.height, each.bands) for each in images}) > 1:
        return "its size or channels are others"
    apart = images[0].colourspace("lab").dE00(images[1].colourspace("lab"))
    return f"dE00 {apart.avg():.3f} on average, {apart.max():.1f} at most"


def reprint_line(result: Reprinted) -> str:
    """Return one line about a print made again, and one for each change."""
    lines = [f"{result.state:<11} {result.file}  {result.message}".rstrip()]
    return "\n".join([*lines, *(f"            {change}" for change in result.changes)])

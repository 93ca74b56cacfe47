"""What a docket has and its job no longer does: prints not asked for, sources lost or changed."""

import os
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fnmatch import fnmatch
from glob import escape
from pathlib import Path
from typing import Any

from sightsize.base.findings import Finding
from sightsize.base.hashes import unchanged_sha256
from sightsize.base.paths import follow_links, is_file
from sightsize.base.words import count_text, names_text
from sightsize.docket.store import Docket
from sightsize.model.job import Job, PrintRequest


@dataclass(frozen=True)
class LostToPattern:
    """Pictures that prints were made of, and a pattern of the job no longer finds.

    ``request`` is the first print of the pattern, ``prints`` are names in the docket.
    """

    request: PrintRequest
    pictures: tuple[str, ...]
    prints: tuple[str, ...]

    @property
    def said(self) -> str:
        """What happened, as the end of a sentence."""
        return f'source = "{self.request.source}" no longer finds'

    def finding(self, job: Job) -> Finding:
        """Return it as a note about the pattern."""
        origin = self.request.origin("picture.source")
        return _note(
            job,
            f"the docket has prints of {names_text(self.pictures)}, which {self.said}.",
            f"Put {_it(self.pictures)} back, or move the prints away: {names_text(self.prints)}.",
        ).at(str(job.path), origin.line, origin.column, origin.key)


def lost_to_patterns(docket: Docket, job: Job) -> list[LostToPattern]:
    """Return what each pattern of a job no longer finds of the sources of prints that are there."""
    patterns = _patterns(job)
    if not patterns:
        return []
    folder = docket.path.parent
    there = {follow_links(each.look.picture.source) for each in job.prints}
    lost: dict[str, dict[str, str]] = {text: {} for text in patterns}
    for record in docket.records.values():
        for source in record["sources"]:
            places = {Path(os.path.normpath(folder / source["path"]))}
            places.add(follow_links(folder / source["path"]))
            if places & there or not is_file(folder / record["file"]):
                continue
            for text in patterns:
                if any(_finds(text, job.path.parent, place) for place in places):
                    lost[text][record["file"]] = Path(source["path"]).name
    return [
        LostToPattern(patterns[text], tuple(dict.fromkeys(found.values())), tuple(found))
        for text, found in lost.items()
        if found
    ]


def _patterns(job: Job) -> dict[str, PrintRequest]:
    """Each pattern of a job with its first print; a file's own name is none."""
    requests: dict[str, PrintRequest] = {}
    for each in job.prints:
        if each.source and job.path.parent / each.source != each.look.picture.source:
            requests.setdefault(each.source, each)
    return requests


def _finds(pattern: str, folder: Path, path: Path) -> bool:
    """Whether a pattern, as it is read in a folder, would find a file if it were there."""
    return any(
        _matches(path.parts, Path(os.path.normpath(Path(escape(str(start))) / pattern)).parts)
        for start in {Path(os.path.abspath(folder)), follow_links(folder)}  # noqa: PTH100
    )


def _matches(parts: tuple[str, ...], wanted: tuple[str, ...]) -> bool:
    """Whether the parts of a path match those of a pattern, where ``**`` stands for any number."""
    reached = _past_stars({0}, wanted)
    for part in parts:
        here = [each for each in reached if each < len(wanted)]
        stay = {each for each in here if wanted[each] == "**"}
        go_on = {each + 1 for each in here if wanted[each] != "**" and fnmatch(part, wanted[each])}
        reached = _past_stars(stay | go_on, wanted)
    return len(wanted) in reached


def _past_stars(reached: set[int], wanted: tuple[str, ...]) -> set[int]:
    """Places in a pattern, and those after each ``**`` that stands for nothing."""
    found = set(reached)
    for place in range(len(wanted)):
        if place in found and wanted[place] == "**":
            found.add(place + 1)
    return found


def not_asked_for(docket: Docket, names: Iterable[str]) -> list[str]:
    """Return the prints that are there and none of a job's, which go by ``names``."""
    asked = set(names)
    folder = docket.path.parent
    return [name for name in docket.records if name not in asked and is_file(folder / name)]


def is_changed(path: Path, noted: Mapping[str, Any]) -> bool:
    """Return whether a source that is there is not the file recorded; read only if it may be."""
    if not is_file(path):
        return False
    status = path.stat()
    if (status.st_size, status.st_mtime_ns) == (noted["bytes"], noted["changed_ns"]):
        return False
    return bool(status.st_size != noted["bytes"] or unchanged_sha256(path) != noted["sha256"])


def docket_findings(docket: Docket, job: Job, names: Iterable[str]) -> Iterator[Finding]:
    """Yield notes about what the docket has and the job, or its pictures, no longer do.

    ``names`` are those of all the job's prints, also where only some of them are made. What a print
    of the job lacks is not told here: it is refused.
    """
    lost = lost_to_patterns(docket, job)
    yield from (each.finding(job) for each in lost)
    told = {name for each in lost for name in each.prints}
    left = [name for name in not_asked_for(docket, names) if name not in told]
    if left:
        which = f"{count_text(len(left), 'print')} that this job does not ask for"
        yield _note(
            job,
            f"the docket has {which}: {names_text(left)}.",
            f"Move {_it(left)} away unless another job needs {_it(left)}.",
        )
    gone = _pictures(docket, left, lambda path, _: not is_file(path))
    if gone:
        is_gone = f"which {'is' if len(gone) == 1 else 'are'} no longer there"
        yield _note(
            job,
            f"the docket has prints of {names_text(gone)}, {is_gone}.",
            f"Put {_it(gone)} back, or nothing can be printed from {_it(gone)} again.",
        )
    changed = _pictures(docket, docket.records, is_changed)
    if changed:
        has_changed = f"which {'has' if len(changed) == 1 else 'have'} changed since"
        yield _note(
            job,
            f"the docket has prints of {names_text(changed)}, {has_changed}.",
            f"To print {_it(changed)} as {'it is' if len(changed) == 1 else 'they are'} now, use "
            "--redo.",
        )


def _note(job: Job, message: str, remedy: str) -> Finding:
    said = Finding(level="note", check="docket", message=message, remedy=remedy)
    return said.at(str(job.path), 0, 0, "")


def _it(names: Sequence[str]) -> str:
    return "it" if len(names) == 1 else "them"


def _pictures(
    docket: Docket, prints: Iterable[str], is_so: Callable[[Path, Mapping[str, Any]], bool]
) -> list[str]:
    """The names of those sources of some of the docket's prints of which something is so."""
    found = {}
    for source in (each for name in prints for each in docket.records[name]["sources"]):
        path = docket.path.parent / source["path"]
        if path not in found:
            found[path] = is_so(path, source)
    return [path.name for path, so in found.items() if so]

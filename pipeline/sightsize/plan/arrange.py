"""Prints arranged on sheets and named, before any picture is opened.

A file's name may tell the paper, so it is filled in once the sheet is known.
"""

from collections.abc import Iterator, Sequence
from fnmatch import fnmatch
from pathlib import Path

from sightsize.base.findings import Finding, in_order
from sightsize.errors import FileNameError, JobError
from sightsize.model.job import Job, PrintRequest
from sightsize.plan.file_names import files_of, fill_template, paper_slug
from sightsize.plan.layout import lay_out
from sightsize.plan.picture import AnyPicture, UnopenedPicture
from sightsize.plan.sheet import FilePlan, PlacedPicture, SheetPlan
from sightsize.plan.size import plan_size


def arrange(job: Job) -> tuple[FilePlan[UnopenedPicture], ...]:
    """Return the files that a job comes to. Raises JobError for names that cannot be."""
    files, findings = [], []
    for request in job.prints:
        try:
            files.append(plan_file(request, job.reference))
        except FileNameError as error:
            findings.append(request.refuse(str(job.path), "delivery.name", "grammar", f"{error}."))
    findings += _clashes(job, files)
    if findings:
        raise JobError(in_order(findings))
    return tuple(files)


def plan_file(request: PrintRequest, reference: str) -> FilePlan[UnopenedPicture]:
    """Return one print on a sheet of its own. Raises FileNameError."""
    look, paper = request.look, request.paper
    size = plan_size(look.aperture, request.delivery.ppi)
    stock, place = lay_out(size, look.aperture, paper, request.frame)
    picture = UnopenedPicture(look=look, size=size)
    placed = PlacedPicture(request=request, picture=picture, place=place)
    return FilePlan(
        name=_stem(request, reference) + request.delivery.suffix,
        sheet=SheetPlan(stock=stock, border_lightness=paper.tone_lightness, pictures=(placed,)),
        delivery=request.delivery,
        copies=request.copies,
    )


def _stem(request: PrintRequest, reference: str) -> str:
    """A print's file name without its ending."""
    fields = {
        "reference": reference,
        "picture": request.look.picture.name,
        "frame": request.frame.name if request.frame else "",
        "recipe": request.recipe,
        "paper": paper_slug(request.paper.label),
        "surface": request.paper.surface,
        "number": f"{request.number:04d}",
        "step": request.step,
    }
    return fill_template(request.name, fields)


def _clashes(job: Job, files: Sequence[FilePlan[AnyPicture]]) -> Iterator[Finding]:
    """Yield the files that would have one name, once for each entry: a glob may make thousands."""
    taken: dict[str, FilePlan[AnyPicture]] = {}
    told = set()
    for file in files:
        names = [path.with_suffix("").as_posix() for path in files_of(file, Path())]
        first = next((taken[each.casefold()] for each in names if each.casefold() in taken), None)
        taken |= {each.casefold(): file for each in names if each.casefold() not in taken}
        origin = file.request.origin("")
        if first is None or origin in told:
            continue
        told.add(origin)
        stem = Path(file.name).stem
        yield file.request.refuse(
            str(job.path),
            "",
            "grammar",
            f"prints {first.request.number} and {file.request.number} would both be named "
            f"{stem!r}. Add a field such as {{number}} or {{recipe}} to delivery.name, or give "
            "one print its own name.",
        )


def choose(
    files: Sequence[FilePlan[UnopenedPicture]], only: Sequence[str]
) -> list[FilePlan[UnopenedPicture]]:
    """Return the files that ``only`` names by file name, picture, frame or number; all if empty.

    File names, pictures and frames may be written as patterns with ``*`` and ``?``.
    """
    return [each for each in files if not only or any(_matches(each, word) for word in only)]


def _matches(file: FilePlan[UnopenedPicture], word: str) -> bool:
    names = {file.name, Path(file.name).stem}
    for request in (each.request for each in file.pictures):
        names |= {request.look.picture.name, str(request.number)}
        names |= {request.frame.name} if request.frame else set()
    return any(fnmatch(name, word) for name in names)

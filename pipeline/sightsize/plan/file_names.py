"""Names of print files: filled from a template, portable everywhere, never leaving their folder."""

import re
import string
import unicodedata
from collections.abc import Mapping
from pathlib import Path

from sightsize.base.findings import nearest
from sightsize.base.schemas import node_at
from sightsize.errors import FileNameError
from sightsize.plan.picture import AnyPicture
from sightsize.plan.sheet import FilePlan

FIELDS = ("reference", "picture", "frame", "recipe", "paper", "surface", "number", "step")
LONGEST_NAME = 64

MASTERS = "masters"
"""Folder of the masters, inside that of the prints."""

_PORTABLE = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]*")
_ENDINGS = (".jpg", ".jpeg", ".tif", ".tiff")
_DEVICES = {"con", "prn", "aux", "nul"} | {
    f"{port}{n}" for port in ("com", "lpt") for n in range(10)
}


def slug(text: str) -> str:
    """Return a text as ASCII letters, digits, points, dashes and underscores."""
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()
    return re.sub(r"[^A-Za-z0-9._]+", "-", plain).strip("-._")


def paper_slug(size_text: str) -> str:
    """Return a paper size as part of a file name: ``12x10in``, ``8x10in`` for a media name."""
    dimensions = size_text.strip().rsplit("_", 1)[-1]
    return slug(re.sub(r"\s+", "", dimensions.replace('"', "in").replace("″", "in")))


def fill_template(template: str, fields: Mapping[str, str]) -> str:
    """Return the file name for a template; an empty field takes its separator away with it.

    Raises FileNameError when the template or the name it makes is not usable.
    """
    try:
        parts = list(string.Formatter().parse(template))
    except ValueError as error:
        raise FileNameError("the name has a { or } without its other half") from error
    text = ""
    for literal, name, spec, conversion in parts:
        text += literal
        if name is not None:
            _check_field(name, spec, conversion)
            text += slug(fields.get(name, ""))
    return _check_name(re.sub(r"([-_.])[-_.]+", r"\1", text).strip("-_."), text)


def _check_field(name: str, spec: str | None, conversion: str | None) -> None:
    moved = node_at(("delivery", "name"))["x-moved"].get(f"{{{name}}}")
    if moved:
        raise FileNameError(f"{{{name}}} is now called {moved}")
    if name not in FIELDS:
        shown = ", ".join(f"{{{field}}}" for field in FIELDS)
        guess = nearest(name, FIELDS)
        hint = f"use {{{guess}}}" if guess else f"the fields are {shown}"
        raise FileNameError(f"{{{name}}} is not a name field; {hint}")
    if spec or conversion:
        raise FileNameError(f"a field takes no formatting; write {{{name}}}")


def _check_name(name: str, filled: str) -> str:
    if not name:
        raise FileNameError("the name comes out empty; add {picture} or {number}")
    if re.search(r"[/\\]", filled):
        raise FileNameError(f"the name {filled!r} contains a folder; use job.output for that")
    if _PORTABLE.fullmatch(name) is None:
        strange = ", ".join(
            repr(each) for each in dict.fromkeys(re.sub(r"[A-Za-z0-9._-]", "", name))
        )
        raise FileNameError(
            f"the name {name!r} contains {strange}, which some systems reject; use only A-Z, "
            "a-z, 0-9, point, dash and underscore"
        )
    if name.lower().endswith(_ENDINGS):
        raise FileNameError(f"the name {name!r} has a file ending; delivery.format adds it")
    if name.split(".")[0].lower() in _DEVICES:
        raise FileNameError(f"the name {name!r} is reserved on some systems; choose another")
    if len(name) > LONGEST_NAME:
        raise FileNameError(
            f"the name {name!r} has {len(name)} characters; the limit is {LONGEST_NAME}; shorten it"
        )
    return name


def masters_of(target: Path, count: int) -> list[Path]:
    """Return where the masters of a print's pictures stand; of several each has its number."""
    numbers = [""] if count == 1 else [f"-{number}" for number in range(1, count + 1)]
    return [target.parent / MASTERS / f"{target.stem}{number}.tif" for number in numbers]


def files_of(file: FilePlan[AnyPicture], folder: Path) -> list[Path]:
    """Return the files that a print in ``folder`` comes to: itself, and its masters if wanted."""
    target = folder / file.name
    kept = masters_of(target, len(file.pictures)) if file.delivery.keep_master else []
    return [target, *kept]

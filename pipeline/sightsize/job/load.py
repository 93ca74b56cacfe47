"""From a job file to a Job: read, validate, merge, refuse, resolve.

What ``load_job`` returns can be planned without asking the file again.
"""

from collections.abc import Iterator, Mapping
from functools import cache
from itertools import islice
from pathlib import Path
from typing import Any, get_args, get_type_hints

from sightsize.base.findings import (
    Finding,
    KeyPath,
    in_order,
    key_text,
    nearest,
    quoted_key,
)
from sightsize.base.paths import follow_links
from sightsize.base.schemas import RECIPE_TABLES
from sightsize.errors import JobError
from sightsize.job import ladder
from sightsize.job.bounds import MOST_PRINTS
from sightsize.job.build import build
from sightsize.job.cascade import Settings, merge
from sightsize.job.face_marks import count_face_marks
from sightsize.job.picture_files import Sources, profile_of
from sightsize.job.print_rules import setting_problems
from sightsize.job.table_rules import table_problems
from sightsize.job.toml_file import Document, read_document
from sightsize.job.validate import MOST_FINDINGS, grammar_finding, validate
from sightsize.job.values import Table, plain, table_defaults
from sightsize.model.job import Job, Look, Origin, PrintRequest
from sightsize.model.picture import Picture
from sightsize.model.settings import Delivery, Frame, Paper, PrintLimits, Thresholds

_TOO_MANY = (
    f"with this entry the job comes to more than {MOST_PRINTS} prints; make several jobs of it."
)


def load_job(path: Path, check_ids: frozenset[str] = frozenset()) -> Job:
    """Read a job file. Raises JobError with all findings of the first stage that has any.

    The stages are TOML syntax, the schema, then the rules between keys. ``check_ids`` are the ids
    that ``checks.accept`` may name.
    """
    document = read_document(path)
    values = validate(document, check_ids)
    facts = {**table_defaults("job"), **values.get("job", {})}
    output = follow_links(path.parent / facts["output"])
    builder = _Builder(document, values, output)
    prints = count_face_marks(tuple(builder.prints()))
    described = tuple(path.parent / each["source"] for each in values.get("pictures", {}).values())
    job = build(Job, "job", facts, path=path, output=output, described=described, prints=prints)
    if builder.findings:
        raise JobError(in_order(builder.findings), job)
    return job


class _Builder:
    """Turns a valid document into print requests and collects what is wrong between keys."""

    def __init__(self, document: Document, values: Table, output: Path) -> None:
        self.findings: list[Finding] = []
        self._document = document
        self._values = values
        self._folder = document.path.parent
        self._sources = Sources(values, self._folder, output, self._refuse)
        self._lacks: set[tuple[str, str]] = set()

    def prints(self) -> Iterator[PrintRequest]:
        for problem in islice(table_problems(self._values, self._folder), MOST_FINDINGS):
            self._refuse(*problem)
        if self.findings:
            return
        number = 0
        for index, entry in enumerate(self._values["prints"]):
            path: KeyPath = ("prints", index)
            if len(self.findings) >= MOST_FINDINGS:
                return
            settings = self._settings(path, entry)
            if settings is None or not self._check_settings(path, entry, settings):
                continue
            for picture in self._pictures(path, entry):
                if picture.zones and "exposure" in entry.get("ladder", {}):
                    self._refuse(
                        (*path, "ladder", "exposure"),
                        f"the zones of {picture.name} already set its exposure, so these steps "
                        "would all give the same print; remove the steps or the zones.",
                    )
                for step in ladder.steps(entry.get("ladder", {}), settings):
                    number += 1
                    if number > MOST_PRINTS:
                        self._refuse(path, _TOO_MANY)
                        return
                    yield self._print(number, path, entry, settings, picture, step)

    def _refuse(self, path: KeyPath, message: str, nearest: str = "") -> None:
        finding = grammar_finding(self._document, path, message, nearest=nearest)
        if finding not in self.findings:
            self.findings.append(finding)

    # Rules over the merged settings of one print.

    def _settings(self, path: KeyPath, entry: dict[str, Any]) -> Settings | None:
        """Return the merged settings, None when the recipe or the frame is not there to merge."""
        levels: list[tuple[KeyPath, Mapping[str, Any]]] = [((), self._values)]
        for key, group in (("recipe", "recipes"), ("frame", "frames")):
            table = self._named(path, entry, key, group)
            if table is not None:
                levels.append(((group, entry[key]), table))
            elif key in entry:
                return None
        return merge([*levels, (path, entry)])

    def _named(
        self, path: KeyPath, entry: dict[str, Any], key: str, group: str
    ) -> dict[str, Any] | None:
        name = entry.get(key)
        known: dict[str, dict[str, Any]] = self._values.get(group, {})
        if name is None or name in known:
            return known.get(name) if name is not None else None
        guess = nearest(name, known)
        hint = f"did you mean {guess!r}?" if guess else f"add a table [{group}.{quoted_key(name)}]."
        self._refuse((*path, key), f"there is no {key} named {name!r}; {hint}", nearest=guess)
        return None

    def _check_settings(self, path: KeyPath, entry: dict[str, Any], settings: Settings) -> bool:
        problems = list(setting_problems(path, entry, settings, self._folder))
        for where, message in problems:
            # What the job or a frame lacks is said once, at the first print that needs it.
            lack = (message, entry.get("frame", ""))
            if where != path or lack not in self._lacks:
                self._lacks.add(lack)
                self._refuse(where, message)
        return not problems

    # The pictures a print entry stands for.

    def _pictures(self, path: KeyPath, entry: dict[str, Any]) -> list[Picture]:
        if "picture" in entry and "source" in entry:
            self._refuse(
                (*path, "source"),
                "cannot be combined with picture: name a picture table or a file. Remove one.",
            )
        elif "picture" in entry:
            table = self._named(path, entry, "picture", "pictures")
            return [] if table is None else [self._sources.picture(entry["picture"], table)]
        elif "source" in entry:
            return self._sources.find(path, entry["source"])
        else:
            self._refuse(path, "this print has no picture; add picture = or source =.")
        return []

    def _print(
        self,
        number: int,
        path: KeyPath,
        entry: dict[str, Any],
        settings: Settings,
        picture: Picture,
        step: ladder.Step,
    ) -> PrintRequest:
        tables = step.tables
        profile = profile_of(tables["delivery"]["profile"], self._folder)
        delivery = build(Delivery, "delivery", tables["delivery"], profile=profile)
        return PrintRequest(
            number=number,
            source=entry.get("source", ""),
            look=self._look(tables, settings, picture),
            frame=self._frame(entry),
            recipe=entry.get("recipe", ""),
            step=step.name,
            copies=int({**table_defaults("print"), **entry}["copies"]),
            paper=build(Paper, "paper", tables["paper"]),
            delivery=delivery,
            name=_template(tables["delivery"]["name"], step),
            thresholds=build(Thresholds, "checks", tables["checks"]),
            limits=build(PrintLimits, "limits", self._limits()),
            origins=self._origins(path, entry, settings, picture),
            own_job=self._own_job(entry, settings, picture, step),
        )

    def _look(self, tables: ladder.Tables, settings: Settings, picture: Picture) -> Look:
        stages = {name: build(cls, name, tables[name]) for name, cls in _stages().items()}
        if not settings.mono_wanted:
            stages["mono"] = None
        return Look(picture=picture, surface=tables["paper"]["surface"], **stages)

    def _limits(self) -> dict[str, Any]:
        return {**table_defaults("limits"), **self._values.get("limits", {})}

    def _own_job(
        self,
        entry: dict[str, Any],
        settings: Settings,
        picture: Picture,
        step: ladder.Step,
    ) -> dict[str, Any]:
        """The print as a job file that would make it alone; its source is as in this one."""
        written, tables = self._document.values, plain(step.tables)
        delivery = tables["delivery"]
        delivery["profile"] = profile_of(delivery["profile"], self._folder)
        if not settings.mono_wanted:
            tables["mono"] = False
        facts = {**written.get("pictures", {}).get(self._sources.table_of(entry, picture), {})}
        if picture.assume_profile is not None:
            facts["assume_profile"] = picture.assume_profile
        # A reprint is as large, and so is its source; the time it may take is the run's affair.
        limits = self._limits()
        tables["limits"] = {key: limits[key] for key in ("source_megapixels", "sheet_megapixels")}
        own = {"sightsize": 1, **tables, "pictures": {picture.name: {**facts, "source": ""}}}
        one: dict[str, Any] = {"picture": picture.name, "copies": entry.get("copies", 1)}
        if "frame" in entry:
            frame = written["frames"][entry["frame"]]
            kept = {key: value for key, value in frame.items() if key not in RECIPE_TABLES}
            own["frames"] = {entry["frame"]: kept}
            one["frame"] = entry["frame"]
        if picture.cameras:
            own["cameras"] = written["cameras"]
        return {**own, "prints": [one]}

    def _origins(
        self, path: KeyPath, entry: dict[str, Any], settings: Settings, picture: Picture
    ) -> dict[str, Origin]:
        table = self._sources.table_of(entry, picture)
        facts: KeyPath = path if table is None else ("pictures", table)
        paths = {"": path, **settings.origins}
        paths["picture.source"] = (*(path if "source" in entry else facts), "source")
        for key in ("keep_clear", "spotting", "zones"):
            paths[f"picture.{key}"] = (*facts, key)
        places = {key: self._document.place(each) for key, each in paths.items()}
        return {
            key: Origin(key_text(each), places[key].line, places[key].column)
            for key, each in paths.items()
        }

    def _frame(self, entry: dict[str, Any]) -> Frame | None:
        name = entry.get("frame")
        table = self._values.get("frames", {}).get(name)
        if table is None:
            return None
        return build(Frame, "frame", table, name=str(name))


@cache
def _stages() -> dict[str, Any]:
    """The tables that make a look, by their key, with the settings class of each."""
    hints = get_type_hints(Look)
    kinds = {name: get_args(hint) or (hint,) for name, hint in hints.items()}
    return {name: kinds[name][0] for name in RECIPE_TABLES if name in kinds}


def _template(template: str, step: ladder.Step) -> str:
    """The template of a file's name; of a ladder it tells the step."""
    return f"{template}-{{step}}" if step.name and "{step}" not in template else template

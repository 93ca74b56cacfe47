"""From a job file to a Job: read, validate, merge, refuse, resolve.

What ``load_job`` returns can be planned without asking the file again.
"""

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from sightsize import ladder, names
from sightsize.agreement import setting_problems
from sightsize.cascade import Settings, merge
from sightsize.convert import build
from sightsize.document import Document, read_document
from sightsize.findings import Finding, JobError, KeyPath, key_text, nearest, quoted_key
from sightsize.job import (
    Aperture,
    Delivery,
    Frame,
    Grain,
    Job,
    LocalContrast,
    Mono,
    Origin,
    Paper,
    Picture,
    PrintLimits,
    PrintRequest,
    Sharpen,
    Thresholds,
    Tone,
    Toner,
)
from sightsize.paths import resolved
from sightsize.retouching import with_face_marks_counted
from sightsize.rules import table_problems
from sightsize.schema import RECIPE_TABLES
from sightsize.sources import Sources, profile_of
from sightsize.validate import grammar_finding, valid_values
from sightsize.values import Table, plain, table_defaults


def load_job(path: Path, check_ids: frozenset[str] = frozenset()) -> Job:
    """Read a job file. Raises JobError with all findings of the first stage that has any.

    The stages are TOML syntax, the schema, then the rules between keys. ``check_ids`` are the ids
    that ``checks.accept`` may name.
    """
    document = read_document(path)
    values = valid_values(document, check_ids)
    facts = {**table_defaults("job"), **values.get("job", {})}
    output = resolved(path.parent / facts["output"])
    builder = _Builder(document, values, output)
    prints = with_face_marks_counted(tuple(builder.prints()))
    if builder.findings:
        raise JobError(sorted(builder.findings, key=lambda each: (each.line, each.column)))
    return build(Job, "job", facts, path=path, output=output, prints=prints)


class _Builder:
    """Turns a valid document into print requests and collects what is wrong between keys."""

    def __init__(self, document: Document, values: Table, output: Path) -> None:
        self.findings: list[Finding] = []
        self._document = document
        self._values = values
        self._folder = document.path.parent
        self._sources = Sources(values, self._folder, output, self._stop)
        self._taken: dict[str, int] = {}
        self._clashing: set[KeyPath] = set()
        self._lacks: set[tuple[str, str]] = set()

    def prints(self) -> Iterator[PrintRequest]:
        for problem in table_problems(self._values, self._folder):
            self._stop(*problem)
        if self.findings:
            return
        number = 0
        for index, entry in enumerate(self._values["prints"]):
            path: KeyPath = ("prints", index)
            settings = self._settings(path, entry)
            if settings is None or not self._check_settings(path, entry, settings):
                continue
            for picture in self._pictures(path, entry):
                if picture.zones and "exposure" in entry.get("variants", {}):
                    self._stop(
                        (*path, "variants", "exposure"),
                        f"the zones of {picture.name} set its exposure, so that these steps would "
                        "be one print; leave them out, or print without zones.",
                    )
                for step in ladder.steps(entry.get("variants", {}), settings):
                    number += 1
                    yield self._print(number, path, entry, settings, picture, step)

    def _stop(self, path: KeyPath, message: str, nearest: str = "") -> None:
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
        self._stop((*path, key), f"there is no {key} named {name!r}; {hint}", nearest=guess)
        return None

    def _check_settings(self, path: KeyPath, entry: dict[str, Any], settings: Settings) -> bool:
        problems = list(setting_problems(path, entry, settings, self._folder))
        for where, message in problems:
            # What the job or a frame lacks is said once, at the first print that needs it.
            lack = (message, entry.get("frame", ""))
            if where != path or lack not in self._lacks:
                self._lacks.add(lack)
                self._stop(where, message)
        return not problems

    # The pictures a print entry stands for.

    def _pictures(self, path: KeyPath, entry: dict[str, Any]) -> list[Picture]:
        if "picture" in entry and "source" in entry:
            self._stop(
                (*path, "source"),
                "picture and source exclude one another: name a picture table or a file. "
                "Remove one.",
            )
        elif "picture" in entry:
            table = self._named(path, entry, "picture", "pictures")
            return [] if table is None else [self._sources.picture(entry["picture"], table)]
        elif "source" in entry:
            return self._sources.found(path, entry["source"])
        else:
            self._stop(path, "this print names no picture; add picture = or source =.")
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
        name = self._name(number, path, entry, settings, picture, step)
        return PrintRequest(
            number=number,
            name=name + delivery.suffix,
            picture=picture,
            frame=self._frame(entry),
            recipe=entry.get("recipe", ""),
            variant=step.name,
            copies=int({**table_defaults("print"), **entry}["copies"]),
            aperture=build(Aperture, "aperture", tables["aperture"]),
            paper=build(Paper, "paper", tables["paper"]),
            mono=build(Mono, "mono", tables["mono"]) if settings.mono_wanted else None,
            tone=build(Tone, "tone", tables["tone"]),
            local_contrast=build(LocalContrast, "local_contrast", tables["local_contrast"]),
            toner=build(Toner, "toner", tables["toner"]),
            sharpen=build(Sharpen, "sharpen", tables["sharpen"]),
            grain=build(Grain, "grain", tables["grain"]),
            delivery=delivery,
            thresholds=build(Thresholds, "checks", tables["checks"]),
            limits=build(PrintLimits, "limits", self._limits()),
            origins=self._origins(path, entry, settings, picture),
            own_job=self._own_job(entry, settings, picture, step, name),
        )

    def _limits(self) -> dict[str, Any]:
        return {**table_defaults("limits"), **self._values.get("limits", {})}

    def _own_job(
        self,
        entry: dict[str, Any],
        settings: Settings,
        picture: Picture,
        step: ladder.Step,
        name: str,
    ) -> dict[str, Any]:
        """The print as a job file that would make it alone; its source is as in this one."""
        written, tables = self._document.values, plain(step.tables)
        delivery = tables["delivery"]
        delivery["name"] = name
        delivery["profile"] = profile_of(delivery["profile"], self._folder)
        if not settings.mono_wanted:
            tables["mono"] = False
        facts = {**written.get("pictures", {}).get(self._sources.table_of(entry, picture), {})}
        if picture.assume_profile is not None:
            facts["assume_profile"] = picture.assume_profile
        # A reprint must open as large a source; how long a print may take is the run's affair.
        tables["limits"] = {"source_megapixels": self._limits()["source_megapixels"]}
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

    def _name(
        self,
        number: int,
        path: KeyPath,
        entry: dict[str, Any],
        settings: Settings,
        picture: Picture,
        step: ladder.Step,
    ) -> str:
        paper = settings.tables["paper"]
        fields = {
            "reference": self._values.get("job", {}).get("reference", ""),
            "picture": picture.name,
            "frame": entry.get("frame", ""),
            "recipe": entry.get("recipe", ""),
            "paper": names.paper_slug(paper["size"].text),
            "surface": paper["surface"],
            "number": f"{number:04d}",
            "variant": step.name,
        }
        template = settings.tables["delivery"]["name"]
        if step.name and "{variant}" not in template:
            template += "-{variant}"
        try:
            name = names.fill_template(template, fields)
        except ValueError as error:
            self._stop(settings.origins.get("delivery.name", path), f"{error}.")
            return f"print-{number}"
        self._take_name(name, number, path)
        return name

    def _take_name(self, name: str, number: int, path: KeyPath) -> None:
        first = self._taken.setdefault(name.casefold(), number)
        # One sentence for each entry: a glob would say it for every file.
        if first != number and path not in self._clashing:
            self._clashing.add(path)
            self._stop(
                path,
                f"prints {first} and {number} would both be named {name!r}. Add a field such as "
                "{number} or {recipe} to delivery.name, or give one print its own name.",
            )

"""From a job file to a Job: read, validate, merge, refuse, resolve.

What ``load_job`` returns can be planned without asking the file again.
"""

import glob
import re
from collections.abc import Iterable, Iterator, Mapping
from functools import cached_property
from pathlib import Path
from typing import Any

from sightsize import convert, ladder
from sightsize.agreement import setting_problems
from sightsize.cascade import Settings, merge
from sightsize.document import Document, read_document
from sightsize.errors import JobError
from sightsize.findings import Finding, KeyPath, key_text, nearest, quoted_key
from sightsize.grammar import RECIPE_TABLES, grammar_finding, table_defaults, validate
from sightsize.job import BUILT_IN_PROFILES, Camera, Frame, Job, Look, Origin, Picture, PrintRequest
from sightsize.paths import is_file, is_folder, read_path, resolved
from sightsize.retouching import with_face_marks_counted
from sightsize.rules import table_problems
from sightsize.units import parse_length_mm


def load_job(path: Path, check_ids: frozenset[str] = frozenset()) -> Job:
    """Read a job file. Raises JobError with all findings of the first stage that has any.

    The stages are TOML syntax, the schema, then the rules between keys. ``check_ids`` are the ids
    that ``checks.accept`` may name.
    """
    document = read_document(path)
    findings = validate(document, check_ids)
    if findings:
        raise JobError(findings)
    builder = _Builder(document)
    prints = with_face_marks_counted(tuple(builder.prints()))
    if builder.findings:
        raise JobError(sorted(builder.findings, key=lambda each: (each.line, each.column)))
    facts = {**table_defaults("job"), **document.values.get("job", {})}
    return Job(
        path=path,
        title=facts["title"],
        reference=facts["reference"],
        client=facts["client"],
        output=resolved(path.parent / facts["output"]),
        prints=prints,
    )


def natural_order(name: str) -> tuple[list[tuple[int, int, str]], str]:
    """Return a sort key that puts ``2.jpg`` before ``10.jpg``, and both before ``a.jpg``."""
    parts = [part for part in re.split(r"(\d+)", name.casefold()) if part]
    numbers_first = [(0, int(part), "") if part.isdecimal() else (1, 0, part) for part in parts]
    # The name itself settles what differs only in case or in leading zeros.
    return numbers_first, name


class _Builder:
    """Turns a valid document into print requests and collects what is wrong between keys."""

    def __init__(self, document: Document) -> None:
        self.findings: list[Finding] = []
        self._document = document
        self._values = document.values
        self._folder = document.path.parent
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
            return [] if table is None else [self._picture(entry["picture"], table)]
        elif "source" in entry:
            return self._globbed(path, entry["source"])
        else:
            self._stop(path, "this print names no picture; add picture = or source =.")
        return []

    def _globbed(self, path: KeyPath, pattern: str) -> list[Picture]:
        # A file whose name has brackets is meant as itself before it is read as a pattern.
        if is_file(self._folder / pattern) or not glob.has_magic(pattern):
            found = [pattern]
        else:
            found = glob.glob(pattern, root_dir=self._folder, recursive=True)  # noqa: PTH207
            found = [name for name in found if is_file(self._folder / name)]
        if is_folder(self._folder / pattern):
            every = f"{pattern.rstrip('/')}/*.jpg"
            self._stop(
                (*path, "source"), f'{pattern!r} is a folder; to take all of it, write "{every}".'
            )
            return []
        if not found:
            self._stop(
                (*path, "source"),
                f"no picture matches {pattern!r}; paths start at the job file's folder.",
            )
        if glob.has_magic(pattern) and self._in_output(found):
            self._stop(
                (*path, "source"),
                f"{pattern!r} takes pictures from the folder that prints come to lie in, so that "
                "the next run would print these prints; write another job.output.",
            )
        return [
            self._picture(Path(name).stem, {**self._facts(path, name), "source": name})
            for name in sorted(found, key=natural_order)
            if self._has_a_name(path, name)
        ]

    def _in_output(self, names: Iterable[str]) -> bool:
        job = {**table_defaults("job"), **self._values.get("job", {})}
        output = resolved(self._folder / job["output"])
        return any(resolved(self._folder / name).parent == output for name in names)

    def _facts(self, path: KeyPath, name: str) -> dict[str, Any]:
        """What a picture's table says of a file that a print names itself."""
        tables = self._tables_of(self._folder / name)
        if len(tables) > 1:
            which = " and ".join(f"pictures.{quoted_key(each)}" for each in tables)
            self._stop(
                (*path, "source"),
                f"{which} both describe {name}; write picture = with one of them.",
            )
        return {**self._values["pictures"][tables[0]]} if tables else {}

    @cached_property
    def _described(self) -> dict[Path, list[str]]:
        """The names of the tables that describe each file, which few jobs need."""
        names: dict[Path, list[str]] = {}
        for name, table in self._values.get("pictures", {}).items():
            names.setdefault(resolved(self._folder / table["source"]), []).append(name)
        return names

    def _tables_of(self, source: Path) -> list[str]:
        """The names of the tables that describe a file."""
        return self._described.get(resolved(source), []) if self._described else []

    def _table_of(self, entry: Mapping[str, Any], picture: Picture) -> str | None:
        """The name of the table that describes a print's picture, if any."""
        if "picture" in entry:
            return str(entry["picture"])
        return next(iter(self._tables_of(picture.source)), None)

    def _has_a_name(self, path: KeyPath, name: str) -> bool:
        """Whether a file that a pattern found has a name that can be shown and kept."""
        try:
            read_path(name)
        except ValueError as error:
            self._stop((*path, "source"), f"{error}.")
            return False
        return True

    def _picture(self, name: str, table: dict[str, Any]) -> Picture:
        facts = {**table_defaults("picture"), **table}
        focus = table.get("focus")
        assume = table.get("assume_profile")
        return Picture(
            name=name,
            source=(self._folder / table["source"]),
            straighten_degrees=float(facts["straighten"]),
            focus=(convert.fraction(focus[0]), convert.fraction(focus[1])) if focus else None,
            crop=convert.region(table["crop"]) if "crop" in table else None,
            keep_clear=tuple(convert.keep_clear(part) for part in facts["keep_clear"]),
            assume_profile=self._profile(assume) if assume else None,
            cameras=self._cameras(table.get("camera")),
            spotting=tuple(convert.spot(each) for each in facts["spotting"]),
            zones=tuple(convert.zone(each) for each in facts["zones"]),
            shades=tuple(
                convert.shade(each, sign)
                for key, sign in (("dodge", 1), ("burn", -1))
                for each in facts[key]
            ),
            raw=convert.raw(table.get("raw", {})),
        )

    def _cameras(self, name: str | None) -> tuple[Camera, ...]:
        """The camera a picture names, which then needs no match, or all with one to match."""
        cameras = self._values.get("cameras", {})
        if name is not None:
            return (convert.camera(name, {"dust": cameras[name].get("dust", [])}),)
        every = (convert.camera(each, table) for each, table in cameras.items())
        return tuple(camera for camera in every if camera.model or camera.serial)

    def _profile(self, profile: str) -> str:
        return profile if profile in BUILT_IN_PROFILES else str(resolved(self._folder / profile))

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
        delivery = convert.delivery(
            tables["delivery"], self._profile(tables["delivery"]["profile"])
        )
        return PrintRequest(
            number=number,
            look=self._look(tables, settings, picture),
            frame=self._frame(entry),
            recipe=entry.get("recipe", ""),
            variant=step.name,
            copies=int({**table_defaults("print"), **entry}["copies"]),
            paper=convert.paper(tables["paper"]),
            delivery=delivery,
            name=_template(tables["delivery"]["name"], step),
            thresholds=convert.thresholds(tables["checks"]),
            limits=convert.limits(self._limits()),
            origins=self._origins(path, entry, settings, picture),
            own_job=self._own_job(entry, settings, picture, step),
        )

    def _look(self, tables: ladder.Tables, settings: Settings, picture: Picture) -> Look:
        return Look(
            picture=picture,
            aperture=convert.aperture(tables["aperture"]),
            surface=tables["paper"]["surface"],
            mono=convert.mono(tables["mono"]) if settings.mono_wanted else None,
            tone=convert.tone(tables["tone"]),
            local_contrast=convert.local_contrast(tables["local_contrast"]),
            toner=convert.toner(tables["toner"]),
            sharpen=convert.sharpen(tables["sharpen"]),
            grain=convert.grain(tables["grain"]),
        )

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
        delivery = {**step.tables["delivery"]}
        tables: dict[str, Any] = {**step.tables, "delivery": delivery}
        if not settings.mono_wanted:
            tables["mono"] = False
        delivery["profile"] = self._profile(delivery["profile"])
        facts = {**self._values.get("pictures", {}).get(self._table_of(entry, picture), {})}
        if picture.assume_profile is not None:
            facts["assume_profile"] = picture.assume_profile
        # A reprint must open as large a source; how long a print may take is the run's affair.
        tables["limits"] = {"source_megapixels": self._limits()["source_megapixels"]}
        own = {"sightsize": 1, **tables, "pictures": {picture.name: {**facts, "source": ""}}}
        one: dict[str, Any] = {"picture": picture.name, "copies": entry.get("copies", 1)}
        if "frame" in entry:
            frame = self._values["frames"][entry["frame"]]
            kept = {key: value for key, value in frame.items() if key not in RECIPE_TABLES}
            own["frames"] = {entry["frame"]: kept}
            one["frame"] = entry["frame"]
        if picture.cameras:
            own["cameras"] = self._values["cameras"]
        return {**own, "prints": [one]}

    def _origins(
        self, path: KeyPath, entry: dict[str, Any], settings: Settings, picture: Picture
    ) -> dict[str, Origin]:
        table = self._table_of(entry, picture)
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
        rebate, face = table.get("rebate"), table.get("moulding_width")
        weight = table.get("bottom_weight", table_defaults("frame")["bottom_weight"])
        return Frame(
            name=str(name),
            rebate_mm=(parse_length_mm(rebate["width"]), parse_length_mm(rebate["height"]))
            if rebate
            else None,
            bottom_weight_mm=parse_length_mm(weight),
            moulding_width_mm=parse_length_mm(face) if face else None,
        )


def _template(template: str, step: ladder.Step) -> str:
    """The template of a file's name; of a ladder it tells the step."""
    return f"{template}-{{variant}}" if step.name and "{variant}" not in template else template

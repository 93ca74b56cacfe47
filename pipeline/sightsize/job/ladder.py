"""A ladder of prints from one: exposures, grades and filters, as on a test strip."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import product
from typing import Any

from sightsize.job.cascade import Settings

Tables = Mapping[str, dict[str, Any]]


@dataclass(frozen=True)
class Step:
    """One step of a ladder: its name, empty for a print without a ladder, and its settings."""

    name: str
    tables: Tables


def steps(ladder: Mapping[str, list[Any]], settings: Settings) -> Iterator[Step]:
    """Yield every combination of a print's ladder, or the print itself when it has none."""
    exposures = ladder.get("exposure", [None])
    grades = ladder.get("grade", [None])
    filters = ladder.get("filter", [None])
    for exposure, grade, filter_name in product(exposures, grades, filters):
        names = [_exposure_name(exposure), _grade_name(grade), _filter_name(filter_name)]
        tone = {**settings.tables["tone"]}
        if exposure is not None:
            tone["exposure"] += exposure
        if grade is not None:
            tone.pop("split_grade", None)
            tone["grade"] = grade
        mono = {**settings.tables["mono"]}
        if filter_name is not None:
            mono["filter"] = filter_name
        tables = {**settings.tables, "tone": tone, "mono": mono}
        yield Step("-".join(name for name in names if name), tables)


def _exposure_name(stops: float | None) -> str:
    if stops is None:
        return ""
    return f"{'minus' if stops < 0 else 'plus'}{abs(stops):g}"


def _grade_name(grade: float | None) -> str:
    return "" if grade is None else f"grade{grade:g}"


def _filter_name(name: str | None) -> str:
    if name is None:
        return ""
    return "nofilter" if name == "none" else name.replace("_", "")

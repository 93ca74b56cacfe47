"""Rules between the merged settings of one print: what is missing, what does not go together."""

from collections.abc import Iterator, Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

from sightsize.base.findings import KeyPath
from sightsize.base.icc import ColourModel, profile_colour
from sightsize.job.build import build
from sightsize.job.cascade import Settings
from sightsize.model.settings import BUILT_IN_PROFILES, SplitGrade, Toner
from sightsize.numbers.tone import split_grade_rises

Said = tuple[KeyPath, str]

_MOST_STOPS = 4


def setting_problems(
    path: KeyPath, entry: Mapping[str, Any], settings: Settings, folder: Path
) -> Iterator[Said]:
    """Yield where and what is wrong with the settings of the print at ``path``."""
    yield from _missing(path, settings)
    delivery = settings.tables["delivery"]
    if delivery["bit_depth"] == 16 and delivery["format"] == "jpeg":
        yield (
            settings.origins.get("delivery.bit_depth", path),
            'a JPEG has 8 bits; write format = "tiff" for 16.',
        )
    yield from _colour_problems(path, settings, folder)
    yield from _split_grade_problems(path, settings)
    yield from _ladder_problems(path, entry, settings)


def _missing(path: KeyPath, settings: Settings) -> Iterator[Said]:
    aperture = settings.tables["aperture"]
    missing = [key for key in ("width", "height") if key not in aperture]
    if missing:
        yield (
            path,
            f"no aperture {' and '.join(missing)} for this print; measure the mat opening and "
            "write it in [aperture], the frame or the print.",
        )
    if "size" not in settings.tables["paper"]:
        yield (
            path,
            'no paper for this print; write for example paper.size = "12x10 in" in the job, '
            "the frame or the print.",
        )
    if aperture["measured_at"] == "face" and "mat_thickness" not in aperture:
        yield (
            settings.origins.get("aperture.measured_at", path),
            "measured at the face of the bevel needs mat_thickness, so that the opening at its "
            "back can be worked out (a 4-ply board is about 1.4 mm).",
        )


def _colour_problems(path: KeyPath, settings: Settings, folder: Path) -> Iterator[Said]:
    """What a grey profile, a toner and a print in colour ask of one another."""
    grey = _output_colour(settings.tables["delivery"]["profile"], folder) == "grey"
    if grey and not settings.mono_wanted:
        yield (
            settings.origins.get("delivery.profile", path),
            "a grey file holds no colour; add mono = true to the print, or deliver srgb.",
        )
    toner = settings.tables["toner"]
    keys = [key for key in ("dark", "light", "chroma", "hue", "kind") if key in toner]
    origins = [settings.origins.get(f"toner.{key}") for key in keys]
    place = next((each for each in origins if each is not None), path)
    if _lacks_hue(toner):
        yield (
            settings.origins.get("toner.chroma", path),
            "a chroma without hue has no colour to tint with; add hue = 75 or so, or a kind of "
            "toner.",
        )
    elif build(Toner, "toner", toner).is_tinted:
        if not settings.mono_wanted:
            yield (
                place,
                "a toner works on a black-and-white print; add mono = true, or leave it out.",
            )
        elif grey:
            yield (
                place,
                "a grey file holds no toner's colour; deliver srgb, or leave the toner out.",
            )
    elif "hue" in toner and "chroma" not in toner:
        yield place, "a hue without chroma tints nothing; add chroma = 5 or so."


def _lacks_hue(toner: Mapping[str, Any]) -> bool:
    """Whether a toner's chroma has neither a hue nor a named toner to take one from."""
    used = "dark" not in toner or "light" not in toner
    return used and toner.get("chroma", 0) > 0 and "hue" not in toner and toner["kind"] == "none"


def _output_colour(profile: str, folder: Path) -> ColourModel | None:
    if profile in BUILT_IN_PROFILES:
        return "grey" if profile == "grey" else "rgb"
    return _file_colour(folder / profile)


@lru_cache(maxsize=16)
def _file_colour(path: Path) -> ColourModel | None:
    return profile_colour(path.read_bytes())


def _split_grade_problems(path: KeyPath, settings: Settings) -> Iterator[Said]:
    tone = settings.tables["tone"]
    if "split_grade" not in tone:
        return
    grades = build(SplitGrade, "split_grade", tone["split_grade"])
    place = settings.origins.get("tone.split_grade", path)
    if grades.end <= grades.start:
        yield (
            place,
            f"the light grade cannot take over at L* {grades.end:g} when the dark one ends at "
            f"{grades.start:g}; make to larger than from.",
        )
    elif not _rises(grades, tone["pivot"]):
        yield (
            place,
            f"grades {grades.dark:g} and {grades.light:g} mixed between L* {grades.start:g} and "
            f"{grades.end:g} would turn tones over. Bring the grades nearer or the range wider.",
        )


@lru_cache(maxsize=64)  # the prints of one recipe have the same grades
def _rises(grades: SplitGrade, pivot: float) -> bool:
    return split_grade_rises(grades, pivot)


def _ladder_problems(path: KeyPath, entry: Mapping[str, Any], settings: Settings) -> Iterator[Said]:
    ladder = entry.get("ladder", {})
    if "filter" in ladder and not settings.mono_wanted:
        yield (
            (*path, "ladder", "filter"),
            "a contrast filter works on a black-and-white print; add mono = true to the print.",
        )
    exposure = settings.tables["tone"]["exposure"]
    for index, step in enumerate(ladder.get("exposure", [])):
        if abs(exposure + step) > _MOST_STOPS:
            yield (
                (*path, "ladder", "exposure", index),
                f"{step:+g} on top of the print's own {exposure:+g} stops is more than "
                f"{_MOST_STOPS}; write a smaller step.",
            )

"""Rules between the merged settings of one print: what is missing, what does not go together."""

from collections.abc import Iterator, Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

from sightsize.base.findings import KeyPath
from sightsize.base.icc import ColourModel, file_colour
from sightsize.job.build import build
from sightsize.job.cascade import Settings
from sightsize.model.settings import BUILT_IN_PROFILES, SplitGrade, Toner
from sightsize.numbers.tones import split_grade_rises

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
            'a JPEG holds only 8 bits; for 16, write format = "tiff".',
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
            f"this print has no aperture {' and '.join(missing)}; measure the mat opening and "
            "write it in [aperture], the frame or the print.",
        )
    if "size" not in settings.tables["paper"]:
        yield (
            path,
            'this print has no paper; write, for example, paper.size = "12x10 in" in the job, '
            "the frame or the print.",
        )
    if aperture["measured_at"] == "face" and "mat_thickness" not in aperture:
        yield (
            settings.origins.get("aperture.measured_at", path),
            '"face" also needs mat_thickness, to work out the opening at the back of the bevel '
            "(a 4-ply board is about 1.4 mm).",
        )


def _colour_problems(path: KeyPath, settings: Settings, folder: Path) -> Iterator[Said]:
    """What a grey profile, a toner and a print in colour ask of one another."""
    grey = _output_colour(settings.tables["delivery"]["profile"], folder) == "grey"
    if grey and not settings.mono_wanted:
        yield (
            settings.origins.get("delivery.profile", path),
            'a grey file holds no colour; add mono = true, or set delivery.profile = "srgb".',
        )
    toner = settings.tables["toner"]
    keys = [key for key in ("dark", "light", "chroma", "hue", "kind") if key in toner]
    origins = [settings.origins.get(f"toner.{key}") for key in keys]
    place = next((each for each in origins if each is not None), path)
    if _lacks_hue(toner):
        yield (
            settings.origins.get("toner.chroma", path),
            "chroma needs a hue to tint with; add a hue such as 75, or choose a kind of toner.",
        )
    elif build(Toner, "toner", toner).is_tinted:
        if not settings.mono_wanted:
            yield (
                place,
                "a toner needs a black-and-white print; add mono = true, or remove the toner.",
            )
        elif grey:
            yield (
                place,
                'a grey file cannot hold the toner\'s colour; set delivery.profile = "srgb", or '
                "remove the toner.",
            )
    elif "hue" in toner and "chroma" not in toner:
        yield place, "a hue needs chroma to show; add a chroma such as 5."


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
    return file_colour(path)


def _split_grade_problems(path: KeyPath, settings: Settings) -> Iterator[Said]:
    tone = settings.tables["tone"]
    if "split_grade" not in tone:
        return
    grades = build(SplitGrade, "split_grade", tone["split_grade"])
    place = settings.origins.get("tone.split_grade", path)
    if grades.end <= grades.start:
        yield (
            place,
            f"the blend ends at L* {grades.end:g} but starts at {grades.start:g}; make to larger "
            "than from.",
        )
    elif not _rises(grades, tone["pivot"]):
        yield (
            place,
            f"blending grades {grades.dark:g} and {grades.light:g} between L* {grades.start:g} "
            f"and {grades.end:g} would reverse the tones. Bring the grades closer together or "
            "widen the range.",
        )


@lru_cache(maxsize=64)  # the prints of one recipe have the same grades
def _rises(grades: SplitGrade, pivot: float) -> bool:
    return split_grade_rises(grades, pivot)


def _ladder_problems(path: KeyPath, entry: Mapping[str, Any], settings: Settings) -> Iterator[Said]:
    ladder = entry.get("ladder", {})
    if "filter" in ladder and not settings.mono_wanted:
        yield (
            (*path, "ladder", "filter"),
            "a contrast filter needs a black-and-white print; add mono = true to the print.",
        )
    exposure = settings.tables["tone"]["exposure"]
    for index, step in enumerate(ladder.get("exposure", [])):
        if abs(exposure + step) > _MOST_STOPS:
            yield (
                (*path, "ladder", "exposure", index),
                f"{step:+g} added to the print's own {exposure:+g} stops goes beyond "
                f"{_MOST_STOPS} stops; write a smaller step.",
            )

"""Checks of a finished print: what only its pixels show."""

from collections.abc import Iterator
from dataclasses import dataclass

from sightsize.base.findings import Finding
from sightsize.checks.registry import check, say
from sightsize.model.settings import AreaShare
from sightsize.numbers.tones import VISIBLE_DE00
from sightsize.plan.picture import PicturePlan
from sightsize.plan.sheet import PlacedPicture


@dataclass(frozen=True, kw_only=True)
class FinishedPicture:
    """What a print's pixels show of one of its pictures; shares are of the opening's area.

    ``marks_left`` says of each mark without a clean donor that it was left as it is.
    """

    placed: PlacedPicture[PicturePlan]
    marks_left: tuple[str, ...] = ()
    missed_share: float = 0.0
    perceptual_may_help: bool = False
    white_share: float = 0.0
    black_share: float = 0.0


@check(
    "spotting",
    "finished",
    "picture.spotting",
    "sensor dust left in the print because nothing clean nearby could cover it",
    "note",
)
def _spotting(finished: FinishedPicture) -> Iterator[Finding]:
    for message in finished.marks_left:
        yield say("note", message)


@check(
    "gamut", "finished", "delivery.profile", "colours that the output profile cannot hold", "warn"
)
def _gamut(finished: FinishedPicture) -> Iterator[Finding]:
    if finished.missed_share <= finished.placed.request.thresholds.gamut_warn:
        return
    yield say(
        "warn",
        f"{finished.missed_share:.1%} of the opening has colours stronger than the output profile "
        f"can hold; they print duller by more than dE00 {VISIBLE_DE00:g}.",
        'Try delivery.rendering_intent = "perceptual", which may keep more of them.'
        if finished.perceptual_may_help
        else "",
    )


@check(
    "clipping",
    "finished",
    "tone.exposure",
    "blank white or solid black areas in the finished print",
    "warn",
    "refuse",
)
def _clipping(finished: FinishedPicture) -> Iterator[Finding]:
    thresholds = finished.placed.request.thresholds
    for share, what, remedy in (
        (finished.white_share, "blank white", _darker(finished)),
        (finished.black_share, "solid black", _lighter(finished)),
    ):
        message = f"{share:.1%} of the opening is {what} with no detail; {remedy}."
        if share > thresholds.clipping_refuse:
            yield say("refuse", message, 'If it is intended, add "clipping" to checks.accept.')
        elif share > thresholds.clipping_warn:
            yield say("warn", message)


def _lighter(finished: FinishedPicture) -> str:
    """What gives blacks their detail; a point by area is measured after the exposure."""
    if isinstance(finished.placed.picture.tone.black_point, AreaShare):
        return "reduce the share of tone.black_point, lower the grade, or dodge it"
    return "raise tone.exposure, lower the grade, or dodge it"


def _darker(finished: FinishedPicture) -> str:
    if isinstance(finished.placed.picture.tone.white_point, AreaShare):
        return "reduce the share of tone.white_point, lower the grade, or burn it"
    return "lower tone.exposure or the grade, or burn it"

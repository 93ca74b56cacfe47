"""The numbers to reach, and what was measured held against each of them."""

from collections.abc import Iterable
from dataclasses import dataclass

from tables import table

WHOLE = ("MiB", "print")
"""Units of which no parts are shown."""


@dataclass(frozen=True, kw_only=True)
class Goal:
    """A number to stay under, or to reach where it says `at_least`."""

    what: str
    limit: float
    unit: str = ""
    at_least: bool = False

    def shown(self, value: float) -> str:
        """Return a value as this goal is written: ratios and seconds to a hundredth."""
        number = f"{value:.0f}" if self.unit in WHOLE else f"{value:.2f}"
        return f"{number} {self.unit}".rstrip()


GOALS = {
    "floor": Goal(what="one print, warm: time / libvips alone", limit=1.5),
    "peer": Goal(what="one print, warm: time / fastest float script", limit=0.6),
    "memory": Goal(what="one print: peak memory", limit=200, unit="MiB"),
    "peer memory": Goal(what="one print: peak memory / leanest float script", limit=1 / 3),
    "core": Goal(what="batch on 2 cores: rate / one core's", limit=1.8, at_least=True),
    "peer batch": Goal(
        what="batch on 2 cores: rate / fastest float script's, two at once",
        limit=1.3,
        at_least=True,
    ),
    "large": Goal(what="100 MP to 40x30 in: peak memory", limit=350, unit="MiB"),
    "gigapixel": Goal(what="1 gigapixel to a 2 m print: peak memory", limit=1024, unit="MiB"),
    "scaling": Goal(what="time per megapixel, 5 to 100 MP: largest / smallest", limit=1.15),
    "rerun": Goal(what="rerun of a finished job of 800 prints", limit=2, unit="s"),
    "changed": Goal(what="made anew when one recipe of 800 changes", limit=1, unit="print"),
    "check": Goal(what="check of a job of 800 pictures", limit=3, unit="s"),
    "help": Goal(what="`sightsize --help`", limit=0.25, unit="s"),
}


@dataclass(frozen=True, kw_only=True)
class Claim:
    """What was measured for a goal; `only` says what it was measured on where that was less."""

    goal: str
    value: float
    only: str = ""

    @property
    def room(self) -> float:
        """How far inside its goal the value lies, as a share of the goal; below 0 outside it."""
        goal = GOALS[self.goal]
        beyond = self.value - goal.limit if goal.at_least else goal.limit - self.value
        return beyond / goal.limit

    @property
    def verdict(self) -> str:
        """Whether the goal is met, and by how much."""
        if self.room < 0:
            return f"**not met**, by {-self.room:.1%}"
        return f"met, {self.room:.0%} to spare" if self.room > 0 else "met"


def goals_table(claims: Iterable[Claim]) -> str:
    """Return every goal with what was measured for it."""
    found = {claim.goal: claim for claim in claims}
    return table(
        ("what", "goal", "measured", ""),
        [_cells(goal, found.get(name)) for name, goal in GOALS.items()],
    )


def _cells(goal: Goal, claim: Claim | None) -> list[str]:
    bound = "at least" if goal.at_least else "at most"
    cells = [goal.what, f"{bound} {goal.shown(goal.limit)}"]
    if claim is None:
        return [*cells, "not measured", ""]
    only = f" ({claim.only})" if claim.only else ""
    return [*cells, goal.shown(claim.value) + only, claim.verdict]

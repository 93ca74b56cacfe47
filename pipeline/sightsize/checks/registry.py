"""The register of all checks: what each guards against, how it speaks, and what a job makes of it.

A module of rules registers them when it is imported; ``run`` imports all of them.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any, Generic, Literal, TypeVar

from sightsize.base.findings import Finding, Level
from sightsize.model.job import PrintRequest

Scope = Literal["opening", "sheet", "file", "picture", "finished"]

T = TypeVar("T")
Rule = Callable[[T], Iterator[Finding]]


@dataclass(frozen=True, kw_only=True)
class Check(Generic[T]):
    """A rule with its id, the key that it is about, and the levels at which it speaks."""

    name: str
    scope: Scope
    key: str
    guards_against: str
    levels: tuple[Level, ...]
    is_acceptable: bool
    rule: Rule[T]

    def find(self, subject: T, request: PrintRequest, job_file: str) -> Iterator[Finding]:
        """Yield what the rule finds, placed where the job set it, as the job weighs it."""
        origin = request.origin(self.key)
        for finding in self.rule(subject):
            placed = replace(finding, check=self.name).at(
                job_file, origin.line, origin.column, origin.key
            )
            yield _weigh(placed, request, self.is_acceptable)


CHECKS: dict[str, Check[Any]] = {}


def check(
    name: str,
    scope: Scope,
    key: str,
    guards_against: str,
    *levels: Level,
    is_acceptable: bool = True,
) -> Callable[[Rule[T]], Rule[T]]:
    """Register a rule as a check. ``is_acceptable`` is False where a job cannot accept it."""

    def register(rule: Rule[T]) -> Rule[T]:
        CHECKS[name] = Check(
            name=name,
            scope=scope,
            key=key,
            guards_against=guards_against,
            levels=levels,
            is_acceptable=is_acceptable,
            rule=rule,
        )
        return rule

    return register


def of_scope(scope: Scope) -> list[Check[Any]]:
    """Return the checks of a scope, in the order in which they are reported."""
    return [each for each in CHECKS.values() if each.scope == scope]


def say(level: Level, message: str, remedy: str = "") -> Finding:
    """Return a finding that its check still has to sign and place."""
    return Finding(level=level, check="", message=message, remedy=remedy)


def _weigh(finding: Finding, request: PrintRequest, is_acceptable: bool) -> Finding:
    """Give a finding the level that the job makes of it; what is accepted asks for no remedy."""
    thresholds = request.thresholds
    if is_acceptable and finding.check in thresholds.accept:
        return replace(finding, level="accepted", remedy="")
    if finding.level == "warn" and thresholds.strict:
        return replace(finding, level="refuse")
    return finding

"""A print that was planned: its file, its plan where its pictures were opened, its findings."""

from dataclasses import dataclass

from sightsize.base.findings import Finding
from sightsize.plan.picture import PicturePlan, UnopenedPicture
from sightsize.plan.sheet import FilePlan


@dataclass(frozen=True)
class PlannedPrint:
    """A file of a job with its findings; the plan is None where its pictures are not opened."""

    file: FilePlan[UnopenedPicture]
    plan: FilePlan[PicturePlan] | None
    findings: tuple[Finding, ...]

    @property
    def name(self) -> str:
        """The file's name."""
        return self.file.name

    @property
    def refused(self) -> bool:
        """True when a check refuses the print."""
        return any(finding.level == "refuse" for finding in self.findings)

"""Everything that can go wrong for a user, as one family; each kind knows its exit code.

0 all well; 1 a print failed or was refused; 2 the job or the command line is wrong; 3 a fault of
the program; 130 interrupted, 143 told to stop, 129 its terminal closed.
"""

from collections.abc import Iterable
from typing import TYPE_CHECKING, ClassVar

if TYPE_CHECKING:
    from sightsize.base.findings import Finding
    from sightsize.model.job import Job

FAULT = 3
INTERRUPTED = 130


class SightsizeError(Exception):
    """Something that went wrong; the message is a sentence for people that says what to do."""

    exit_code: ClassVar[int] = 1


class UsageError(SightsizeError):
    """A command line that asks for what cannot be."""

    exit_code = 2


class JobError(SightsizeError):
    """A job that cannot be used; carries every finding that says why."""

    exit_code = 2

    def __init__(self, findings: "Iterable[Finding]", job: "Job | None" = None) -> None:
        """Take what is wrong, and the job as far as it could be built in spite of it."""
        self.findings = tuple(findings)
        self.job = job
        super().__init__("\n".join(finding.sentence() for finding in self.findings))


class UnitError(SightsizeError, ValueError):
    """A quantity that cannot be read."""

    exit_code = 2


class FileNameError(SightsizeError, ValueError):
    """A template of a file name, or the name that it makes, that cannot be used."""

    exit_code = 2


class UnknownKeyError(SightsizeError):
    """A key that the grammar does not have."""

    exit_code = 2


class StarterError(SightsizeError):
    """A starter job that cannot be written."""

    exit_code = 2


class DocketError(SightsizeError):
    """A docket that cannot be used."""

    exit_code = 2


class ClusterError(SightsizeError):
    """A cluster that cannot make prints."""

    exit_code = 2


class ZoneError(SightsizeError, ValueError):
    """Zones that no exposure and contrast can place."""


class SourceError(SightsizeError):
    """A picture that cannot be used."""


class SpottingError(SourceError):
    """A mark that cannot be cleared."""


class DeliveryError(SightsizeError):
    """A print that was not delivered."""


class OutOfTimeError(SightsizeError):
    """A print that took too long."""


class LockedError(SightsizeError):
    """A folder that cannot be held, mostly since another run holds it."""


def reason_of(error: OSError) -> str:
    """Return why the system refused, as the end of a sentence."""
    reason = error.strerror or str(error)
    return reason[:1].lower() + reason[1:]

"""One print made, in whatever thread, process or machine: an order goes in, an outcome comes out.

Both can be pickled. Nothing here writes but the print itself; the docket is the caller's.
"""

import logging
import os
import sys
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from sightsize.base.deadline import deadline
from sightsize.base.findings import Finding
from sightsize.docket.record import print_record
from sightsize.docket.store import Record
from sightsize.errors import OutOfTimeError, reason_of
from sightsize.model.header import RAW
from sightsize.plan.picture import PicturePlan
from sightsize.plan.sheet import FilePlan
from sightsize.run.planned_print import PlannedPrint

if TYPE_CHECKING:
    import pyvips

    from sightsize.delivery.ground import Ground

Status = Literal["made", "kept", "refused", "failed"]


@dataclass(frozen=True, kw_only=True)
class Order:
    """A print to be made, and where."""

    planned: PlannedPrint
    plan: FilePlan[PicturePlan]
    ground: "Ground"


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What became of a print, and all that there is to say of it.

    ``record`` is what the docket is to keep of it, None when that is there or there is nothing.
    """

    planned: PlannedPrint
    status: Status
    findings: tuple[Finding, ...] = ()
    bytes: int = 0
    seconds: float = 0.0
    record: Record | None = None

    @property
    def message(self) -> str:
        """Why it was not made; empty when it was."""
        return next((each.message for each in self.findings if each.level == "refuse"), "")


def failed(planned: PlannedPrint, why: str) -> Outcome:
    """Return the outcome of a print that could not be made, with a sentence that says why."""
    finding = Finding(level="refuse", check="delivery", message=why)
    return Outcome(planned=planned, status="failed", findings=(finding,))


def make_print(order: Order) -> Outcome:
    """Make one print; whatever goes wrong with it is its outcome."""
    import pyvips

    from sightsize.errors import DeliveryError, SourceError

    planned = order.planned
    try:
        return _make(order)
    except (SourceError, DeliveryError, OutOfTimeError) as error:
        return failed(planned, str(error))
    except pyvips.Error as error:
        return failed(planned, _say_not_printed(order.plan, error))
    except MemoryError:
        return failed(planned, "not enough memory for it; close other programs, or add --workers 1")
    except OSError as error:
        where = f": {error.filename}" if error.filename else ""
        return failed(planned, f"{reason_of(error)}{where}")
    except Exception as error:
        logging.getLogger(__name__).debug("print %s", planned.name, exc_info=True)
        return failed(
            planned,
            f"a fault in sightsize ({type(error).__name__}: {error}); please report it with the "
            "job and the picture",
        )


def _say_not_printed(plan: FilePlan[PicturePlan], error: "pyvips.Error") -> str:
    """What libvips says of a print, and whether a source is to blame."""
    from sightsize.imaging.source.image_file import last_word
    from sightsize.imaging.source.picture_file import can_be_decoded

    for each in plan.pictures:
        source = each.picture.look.picture.source
        is_raw = each.picture.header.format == RAW  # LibRaw speaks for itself
        if not is_raw and not can_be_decoded(source):
            return f"{source.name} is damaged or cut short; export it again ({last_word(error)})"
    names = " and ".join(each.picture.look.picture.source.name for each in plan.pictures)
    return f"{names} could not be printed: {last_word(error)}"


def _make(order: Order) -> Outcome:
    from sightsize.delivery.deliver import deliver

    begin = time.perf_counter()
    plan = order.plan
    with deadline(plan.request.limits.seconds):
        done = deliver(plan, order.ground)
    seconds = time.perf_counter() - begin
    noted = print_record(plan, done, seconds, order.ground.folder)
    return Outcome(
        planned=order.planned,
        status=done.status,
        findings=done.findings,
        bytes=done.bytes,
        seconds=seconds,
        record=noted,
    )


def set_libvips_threads(count: int) -> int:
    """Have libvips use ``count`` threads for a picture, and return how many it used before.

    A number that VIPS_CONCURRENCY asks for is left alone.
    """
    import pyvips

    before = int(pyvips.vips_lib.vips_concurrency_get())
    if "VIPS_CONCURRENCY" not in os.environ:
        pyvips.vips_lib.vips_concurrency_set(count)
    return before


def fair_share(prints_at_once: int) -> int:
    """Return the cores that each of several prints gets on this machine."""
    return max(cores() // prints_at_once, 1)


def cores() -> int:
    """Return the cores that this process may use."""
    if sys.platform == "linux":
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1

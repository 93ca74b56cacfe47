"""What a print may cost: sources refused by their header, and prints given up after their time."""

import struct
import time
import zlib
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager, suppress
from multiprocessing import get_context
from pathlib import Path
from sys import getrefcount
from types import ModuleType
from typing import Any

import numpy as np
import pytest
import pyvips

from pictures import Pixels, job, make, save
from sightsize.archive.reprint import reprint_docket
from sightsize.base import deadline as clock
from sightsize.base.deadline import briefly, deadline, stop_in_time
from sightsize.checks.run import check_ids
from sightsize.delivery import deliver, encode
from sightsize.delivery.verify import verify_file
from sightsize.docket.store import Docket
from sightsize.errors import OutOfTimeError
from sightsize.imaging.render import Sheet, sheet_image
from sightsize.imaging.source.picture_file import open_upright, read_header
from sightsize.model.job import Job
from sightsize.plan.arrange import arrange
from sightsize.plan.identity import print_identity
from sightsize.plan.picture import PicturePlan
from sightsize.plan.sheet import FilePlan
from sightsize.run.batch import make_prints
from sightsize.run.planner import plan_prints
from sightsize.run.worker import Outcome

SCENE = np.random.default_rng(26).integers(40, 200, size=(48, 64, 3)).astype(np.uint8)
PX = (64, 48)
LONG_PX = (9000, 9000)
"""A sheet of 81 megapixels, which takes seconds."""
STOPPED_WITHIN = 6.0


def too_long(seconds: float) -> str:
    """What is said of a print that took too long."""
    return (
        f"took longer than limits.seconds allows ({seconds:g} s); raise the limit, or print smaller"
    )


def slow_image(image: pyvips.Image) -> pyvips.Image:
    """A picture that takes long: of each pixel's 201 x 201 neighbours the middle one."""
    wide = image.resize(3000 / image.width)
    return wide.rank(201, 201, 201 * 201 // 2)


# Sources that say they are huge.


def huge_png(width: int, height: int) -> bytes:
    """ISO/IEC 15948: a signature and chunks; the one for pixels holds ten bytes."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return (
            struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
        )

    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    chunks = (
        (b"IHDR", header),
        (b"sRGB", b"\0"),
        (b"IDAT", zlib.compress(bytes(10))),
        (b"IEND", b""),
    )
    return b"\x89PNG\r\n\x1a\n" + b"".join(chunk(*each) for each in chunks)


def huge_tiff(width: int, height: int) -> bytes:
    """TIFF 6.0: one grey strip, which would begin where the file begins."""
    rows = ((256, width), (257, height), (258, 8), (259, 1), (262, 1), (273, 8), (277, 1),
            (278, height), (279, width * height % 2**32))  # fmt: skip
    entries = b"".join(struct.pack("<HHII", tag, 4, 1, value) for tag, value in rows)
    return b"II*\0" + struct.pack("<IH", 8, len(rows)) + entries + bytes(4)


@pytest.mark.parametrize(("name", "data"), [("a.png", huge_png), ("a.tif", huge_tiff)])
@pytest.mark.parametrize(
    ("side", "said"), [(60_000, "3,600.00"), (1_000_000, "1,000,000.00")], ids=["giga", "tera"]
)
def test_a_huge_picture_is_refused_by_its_header(
    tmp_path: Path, name: str, data: Callable[[int, int], bytes], side: int, said: str
) -> None:
    (tmp_path / name).write_bytes(data(side, side))
    picture = {"source": name, "assume_profile": "srgb"}
    checks = {"accept": sorted(check_ids())}
    begin = time.perf_counter()
    (outcome,) = make(job(tmp_path, {"bomb": picture}, PX, checks=checks))
    assert outcome.status == "refused"
    assert outcome.message == f"{name} has {said} megapixels; the limit is 2,000."
    assert time.perf_counter() - begin < STOPPED_WITHIN
    assert list((tmp_path / "prints").iterdir()) == []


def test_the_limit_on_sources_is_the_jobs(tmp_path: Path) -> None:
    save(tmp_path / "a.png", SCENE)
    (tight,) = make(
        job(tmp_path, {"p": {"source": "a.png"}}, PX, limits={"source_megapixels": 0.003})
    )
    assert tight.status == "refused"
    (wide,) = make(
        job(tmp_path, {"p": {"source": "a.png"}}, PX, limits={"source_megapixels": 0.0031})
    )
    assert wide.status == "made"


# Time.


def slow_sheets(monkeypatch: pytest.MonkeyPatch, sheet: Callable[[Sheet], Sheet]) -> None:
    """Have the sheet of the print named slow be another."""

    def made(plan: FilePlan[PicturePlan]) -> Sheet:
        done = sheet_image(plan)
        return sheet(done) if plan.request.look.picture.name == "slow" else done

    monkeypatch.setattr(encode, "sheet_image", made)


def slow_and_quick(folder: Path, **tables: Any) -> Job:
    """Two prints, the first of which is slow where ``slow_sheets`` says how."""
    save(folder / "a.png", SCENE)
    pictures = {name: {"source": "a.png"} for name in ("slow", "quick")}
    return job(folder, pictures, PX, **tables)


def left_in(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()}


@pytest.mark.parametrize("workers", [1, 2])
@pytest.mark.parametrize("form", ["jpeg", "tiff"])
def test_a_slow_print_is_given_up_and_the_others_are_made(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, workers: int, form: str
) -> None:
    slow_sheets(monkeypatch, lambda sheet: Sheet(slow_image(sheet.image), sheet.found))
    planned = slow_and_quick(tmp_path, limits={"seconds": 0.7}, delivery={"format": form})
    begin = time.perf_counter()
    slow, quick = make(planned, workers=workers)
    assert time.perf_counter() - begin < STOPPED_WITHIN
    assert (slow.status, slow.message) == ("failed", too_long(0.7))
    assert quick.status == "made"
    assert left_in(planned.output) == {quick.planned.name}


def long_print(folder: Path, **tables: Any) -> Job:
    save(folder / "a.png", SCENE)
    return job(folder, {"long": {"source": "a.png"}}, LONG_PX, sharpen={"gain": 0.8}, **tables)


def test_a_print_too_large_for_its_time(tmp_path: Path) -> None:
    planned = long_print(tmp_path, limits={"seconds": 0.4})
    begin = time.perf_counter()
    (outcome,) = make(planned)
    assert time.perf_counter() - begin < STOPPED_WITHIN
    assert outcome.message == too_long(0.4)
    assert left_in(planned.output) == set()


def test_a_process_stops_a_print(tmp_path: Path) -> None:
    planned = long_print(tmp_path, limits={"seconds": 0.4})
    planned.output.mkdir()
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as executor:
        (outcome,) = make_prints(
            planned,
            plan_prints(planned, arrange(planned)),
            replace="nothing",
            workers=1,
            executor=executor,
        )
    assert outcome.message == too_long(0.4)
    assert left_in(planned.output) == set()


def sleepy(work: Callable[..., Any]) -> Callable[..., Any]:
    def slept(*arguments: Any) -> Any:
        done = work(*arguments)
        time.sleep(0.5)
        return done

    return slept


@pytest.mark.parametrize(
    ("module", "step"), [(encode, "sheet_image"), (deliver, "verify_file")], ids=["sheet", "verify"]
)
def test_a_step_that_libvips_does_not_make_is_seen_at_its_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, module: ModuleType, step: str
) -> None:
    monkeypatch.setattr(module, step, sleepy(getattr(module, step)))
    save(tmp_path / "a.png", SCENE)
    planned = job(tmp_path, {"p": {"source": "a.png"}}, PX, limits={"seconds": 0.4})
    (outcome,) = make(planned)
    assert (outcome.status, outcome.message) == ("failed", too_long(0.4))
    assert left_in(planned.output) == set()


def test_a_print_that_stood_there_stays(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    save(tmp_path / "a.png", SCENE)
    picture = {"print": {"source": "a.png"}}
    planned = job(tmp_path, picture, PX)
    make(planned, noted=True)
    file = planned.output / "print.tif"
    before = file.read_bytes()
    monkeypatch.setattr(deliver, "verify_file", sleepy(verify_file))
    tables: dict[str, Any] = {"tone": {"grade": 3}, "limits": {"seconds": 0.4}}
    (outcome,) = make(job(tmp_path, picture, PX, **tables), noted=True, replace="altered too")
    assert outcome.message == too_long(0.4)
    assert file.read_bytes() == before


def test_what_fails_in_time_says_why(tmp_path: Path) -> None:
    whole = save(tmp_path / "a.png", np.tile(SCENE, (8, 8, 1))).read_bytes()
    (tmp_path / "a.png").write_bytes(whole[: len(whole) // 2])
    picture = {"p": {"source": "a.png"}}
    (outcome,) = make(job(tmp_path, picture, PX, limits={"seconds": 60}))
    assert outcome.status == "failed"
    assert outcome.message == (
        "a.png is damaged or cut short; export it again (vipspng: libpng read error)"
    )


@pytest.mark.parametrize("ending", ["jpg", "png"])
def test_a_picture_cut_short_is_told_so(ending: str, tmp_path: Path) -> None:
    file = save(tmp_path / f"cut.{ending}", np.tile(SCENE, (8, 8, 1)))
    file.write_bytes(file.read_bytes()[: file.stat().st_size // 2])
    (outcome,) = make(job(tmp_path, {"p": {"source": file.name}}, PX))
    assert outcome.status == "failed"
    assert outcome.message.startswith(f"cut.{ending} is damaged or cut short; export it again (")


def test_a_whole_picture_is_not_blamed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise pyvips.Error("unable to write", "system error: No space left on device\n")

    save(tmp_path / "a.png", SCENE)
    monkeypatch.setattr(encode, "sheet_image", full)
    (outcome,) = make(job(tmp_path, {"p": {"source": "a.png"}}, PX))
    assert outcome.message == ("a.png could not be printed: system error: No space left on device")


# How pictures are stopped.


@contextmanager
def stopped_after(seconds: float) -> Iterator[None]:
    begin = time.perf_counter()
    with pytest.raises(OutOfTimeError, match=r"^took longer"), deadline(seconds):
        yield
    assert seconds <= time.perf_counter() - begin < seconds + STOPPED_WITHIN


def test_a_picture_is_stopped_again_and_again() -> None:
    """libvips forgets that it was told to stop."""
    with stopped_after(0.3):
        image = stop_in_time(slow_image(pyvips.Image.black(90, 90)))
        with suppress(pyvips.Error):
            image.avg()
        with suppress(pyvips.Error):
            image.max()
        image.avg()


def test_what_reads_from_a_picture_stops_with_it(tmp_path: Path) -> None:
    pixels: Pixels = np.tile(SCENE, (4, 4, 1))
    path = save(tmp_path / "a.png", pixels)
    with stopped_after(0.3):
        image = open_upright(path, read_header(path), streamed=False)
        slow_image(image).avg()


def test_a_picture_opened_when_the_time_is_over_stops(tmp_path: Path) -> None:
    path = save(tmp_path / "a.png", SCENE)
    with stopped_after(0.1):
        time.sleep(0.2)
        slow_image(open_upright(path, read_header(path), streamed=False)).avg()


def test_a_picture_opened_briefly_is_let_go() -> None:
    with deadline(60):
        with briefly():
            image = stop_in_time(pyvips.Image.black(9, 9))
            held = getrefcount(image)
        assert getrefcount(image) == held - 1


def test_without_a_limit_nothing_waits(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delattr(clock, "Thread")
    save(tmp_path / "a.png", SCENE)
    picture = {"p": {"source": "a.png"}}
    (outcome,) = make(job(tmp_path, picture, PX))
    assert outcome.status == "made"
    (outcome,) = make(job(tmp_path, picture, PX, limits={"seconds": 60}), replace="altered too")
    assert outcome.message.startswith("a fault in sightsize (NameError")


# A print is the same, whatever it may cost.


def noted(folder: Path, **tables: Any) -> tuple[Outcome, Docket]:
    planned = job(folder, {"p": {"source": "a.png"}}, PX, **tables)
    planned.output.mkdir(exist_ok=True)
    docket = Docket(planned.output / "docket.toml")
    (outcome,) = make_prints(
        planned,
        plan_prints(planned, arrange(planned), docket=docket),
        replace="nothing",
        workers=1,
        docket=docket,
    )
    return outcome, docket


def test_limits_are_no_part_of_a_print(tmp_path: Path) -> None:
    save(tmp_path / "a.png", SCENE)
    limited = {"seconds": 60, "source_megapixels": 3000}
    identities = set()
    for tables in ({}, {"limits": limited}):
        planned = job(tmp_path, {"p": {"source": "a.png"}}, PX, **tables)
        (only,) = plan_prints(planned, arrange(planned))
        assert only.plan is not None
        identities.add(print_identity(only.plan))
    assert len(identities) == 1
    first, _ = noted(tmp_path)
    again, _ = noted(tmp_path, limits=limited)
    assert (first.status, again.status) == ("made", "kept")


def test_a_docket_keeps_what_its_print_needs(tmp_path: Path) -> None:
    """A reprint opens as large a source for as large a sheet, and takes the time it takes."""
    save(tmp_path / "a.png", SCENE)
    _, docket = noted(
        tmp_path, limits={"seconds": 60, "source_megapixels": 3000, "sheet_megapixels": 6000}
    )
    assert docket.records["p.tif"]["job"]["limits"] == {
        "source_megapixels": 3000,
        "sheet_megapixels": 6000,
    }
    (result,) = reprint_docket(docket, [], [], tmp_path / "again")
    assert result.state == "identical"

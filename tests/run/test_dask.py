"""Prints by the workers of a real scheduler on this machine, one of which dies in the middle."""

import json
import signal
import socket
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from clusters import PRINTS, free_port, many_prints, scheduler, wait_for_part, worker
from every_stage import every_stage, printed_bytes
from pictures import job, make, save
from sightsize import __version__
from sightsize.archive.audit import audit_docket
from sightsize.delivery.ground import Ground
from sightsize.docket.store import Docket
from sightsize.errors import ClusterError
from sightsize.model.job import Job
from sightsize.run import dask as cluster
from speed import first_is_quick

pytest.importorskip("distributed", reason="distributed is not installed")


def start(planned: Job, address: str, *options: str) -> subprocess.Popen[str]:
    command = ["make", planned.path.name, "--scheduler", address, *options]
    return subprocess.Popen(
        [sys.executable, "-m", "sightsize", *command],
        cwd=planned.path.parent,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


@pytest.mark.slow
def test_a_worker_that_dies_leaves_its_print_to_another(tmp_path: Path) -> None:
    planned = many_prints(tmp_path)
    with scheduler() as address, worker(address) as first, worker(address):
        run = start(planned, address, "--json")
        wait_for_part(planned.output, first)
        first.send_signal(signal.SIGKILL)
        first.wait()
        stdout, stderr = run.communicate(timeout=60)
    assert run.returncode == 0, stderr
    outcomes = json.loads(stdout)["prints"]
    names = [f"p{at}.tif" for at in range(PRINTS)]
    assert [each["output"] for each in outcomes] == names
    assert {each["status"] for each in outcomes} <= {"made", "kept"}
    left = sorted(each.name for each in planned.output.iterdir())
    assert left == sorted([".docket.json", "docket.toml", *names])
    docket = Docket(planned.output / "docket.toml")
    assert [each.state for each in audit_docket(docket)] == ["whole"] * PRINTS


@pytest.mark.slow
def test_a_worker_gives_up_what_takes_too_long(tmp_path: Path) -> None:
    save(tmp_path / "a.tif", np.full((40, 40, 3), 90, np.uint8))
    picture = {"long": {"source": "a.tif"}}
    planned = job(tmp_path, picture, (9000, 9000), sharpen={"gain": 0.8}, limits={"seconds": 0.4})
    with scheduler() as address, worker(address):
        stdout, stderr = start(planned, address, "--json").communicate(timeout=60)
    (outcome,) = json.loads(stdout)["prints"]
    assert outcome["status"] == "failed", stderr
    assert outcome["message"].startswith("took longer than limits.seconds allows (0.4 s)")
    assert not planned.output.exists()


def test_workers_make_the_very_files_that_threads_make(tmp_path: Path) -> None:
    here, there = (every_stage(tmp_path / name) for name in ("here", "there"))
    assert [each.status for each in make(here)] == ["made"] * len(here.prints)
    with scheduler() as address, worker(address), worker(address):
        stdout, stderr = start(there, address).communicate(timeout=60)
    assert f"{len(there.prints)} made, 0 kept" in stdout, stderr
    assert printed_bytes(there) == printed_bytes(here)


def test_no_scheduler_there(tmp_path: Path) -> None:
    planned = many_prints(tmp_path)
    run = start(planned, f"tcp://127.0.0.1:{free_port()}")
    stdout, stderr = run.communicate(timeout=30)
    assert (run.returncode, stdout) == (2, "")
    assert stderr.startswith("no scheduler answers at tcp://127.0.0.1:")
    assert len(stderr.splitlines()) == 1
    assert not planned.output.exists()


@pytest.mark.parametrize("said", first_is_quick([b"HTTP/1.1 400 Bad Request\r\n\r\n", b""]))
def test_something_else_listens_there(tmp_path: Path, said: bytes) -> None:
    planned = many_prints(tmp_path)
    with socket.create_server(("127.0.0.1", 0)) as listening:
        run = start(planned, f"127.0.0.1:{listening.getsockname()[1]}")
        there, _ = listening.accept()
        with there:
            there.sendall(said)
        stdout, stderr = run.communicate(timeout=30)
    assert (run.returncode, stdout) == (2, "")
    assert stderr.startswith("no scheduler answers at 127.0.0.1:")
    assert len(stderr.splitlines()) == 1


@pytest.mark.parametrize(
    "address",
    [
        "tcp://[bad",
        "127.0.0.1",
        "127.0.0.1:8786/",
        "TCP://127.0.0.1:8786",
        "inproc://1",
        "",
        "tcp://tern:0",
        "tcp://tern:65536",
        "tcp://tern:99999999",
    ],
)
def test_an_address_that_is_none(tmp_path: Path, address: str) -> None:
    with (
        pytest.raises(ClusterError, match="write it as tcp://host:port"),
        cluster.join_cluster(address, tmp_path),
    ):
        pass


@pytest.mark.parametrize(
    "address", ["tcp://a..b:1", f"tcp://{'a' * 70}.b:1", "tcp://\udcff:1", "tcp://a\x00b:1"]
)
def test_an_address_that_no_name_server_takes(tmp_path: Path, address: str) -> None:
    with (
        pytest.raises(ClusterError, match="no scheduler answers at tcp://") as told,
        cluster.join_cluster(address, tmp_path),
    ):
        pass
    assert str(told.value).endswith("start one with dask scheduler, or correct the address")


def test_a_worker_that_does_not_see_the_folder(tmp_path: Path) -> None:
    from sightsize.plan.arrange import arrange
    from sightsize.run.dask import make_on_worker
    from sightsize.run.planner import plan_prints
    from sightsize.run.worker import Order

    planned = many_prints(tmp_path)
    first, *_ = plan_prints(planned, arrange(planned))
    assert first.plan is not None
    order = Order(
        planned=first,
        plan=first.plan,
        ground=Ground(folder=planned.output),
    )
    outcome = make_on_worker(order, token=planned.output / "token", libvips_threads={})
    assert outcome.status == "failed"
    assert f"cannot see {planned.output}" in outcome.message


@pytest.mark.parametrize(
    ("version", "sees_folder", "said"),
    [(__version__, False, "cannot see"), ("0.0.1", True, "has sightsize 0.0.1, this is")],
)
def test_workers_that_do_not_fit(
    tmp_path: Path, version: str, sees_folder: bool, said: str
) -> None:
    worker = cluster._Worker("tern", 4, 1, version, sees_folder)
    with pytest.raises(ClusterError, match=said):
        cluster._require_fit("tcp://tern:1", worker, tmp_path)


def test_libvips_shares_the_cores_of_each_host() -> None:
    busy = [cluster._Worker("tern", 4, 1, __version__, True)] * 8
    idle = cluster._Worker("gull", 6, 2, __version__, True)
    assert cluster._shares([*busy, idle]) == {"tern": 1, "gull": 3}


def test_without_the_package_a_sentence_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(ClusterError, match=r"install sightsize\[cluster\]"):
        cluster.join_cluster("tcp://tern:1", tmp_path).__enter__()

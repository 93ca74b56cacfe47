"""A cluster that speaks TLS, with certificates made on the spot by OpenSSL.

What Dask asks for: https://distributed.dask.org/en/latest/tls.html.
"""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from clusters import QUIET, many_prints, scheduler, worker
from sightsize.errors import ClusterError
from sightsize.run import dask as cluster

pytest.importorskip("distributed", reason="distributed is not installed")
pytestmark = pytest.mark.skipif(shutil.which("openssl") is None, reason="no OpenSSL here")


def openssl(folder: Path, *words: str) -> None:
    subprocess.run(["openssl", *words], cwd=folder, check=True, capture_output=True)


def new_key(name: str) -> tuple[str, ...]:
    return "-newkey", "rsa:2048", "-nodes", "-subj", f"/CN={name}", "-keyout", f"{name}-key.pem"


def authority(folder: Path, name: str) -> None:
    openssl(folder, "req", "-x509", *new_key(name), "-days", "2", "-out", f"{name}.pem")


@pytest.fixture
def certificates(tmp_path: Path) -> dict[str, str]:
    """Dask's configuration, in the environment, with certificates in ``tmp_path``."""
    authority(tmp_path, "ca")
    openssl(tmp_path, "req", *new_key("tern"), "-out", "request.pem")
    signed = "-CA", "ca.pem", "-CAkey", "ca-key.pem", "-CAcreateserial", "-days", "2"
    openssl(tmp_path, "x509", "-req", "-in", "request.pem", *signed, "-out", "tern.pem")
    start = "DASK_DISTRIBUTED__COMM__"
    found = {f"{start}REQUIRE_ENCRYPTION": "true", f"{start}TLS__CA_FILE": f"{tmp_path}/ca.pem"}
    for who in ("SCHEDULER", "WORKER", "CLIENT"):
        found[f"{start}TLS__{who}__CERT"] = f"{tmp_path}/tern.pem"
        found[f"{start}TLS__{who}__KEY"] = f"{tmp_path}/tern-key.pem"
    return found


@pytest.mark.slow
def test_prints_are_made_over_tls_and_by_nobody_else(
    tmp_path: Path, certificates: dict[str, str]
) -> None:
    planned = many_prints(tmp_path, 2)
    both = {**QUIET, **certificates}
    authority(tmp_path, "other")
    strange = {**both, "DASK_DISTRIBUTED__COMM__TLS__CA_FILE": f"{tmp_path}/other.pem"}
    command = [sys.executable, "-m", "sightsize", "make", str(planned.path), "--scheduler"]
    with scheduler("tls", both) as address, worker(address, both):
        done = {
            name: subprocess.run(
                [*command, to], env=environment, capture_output=True, text=True, timeout=90
            )
            for name, environment, to in (
                ("ours", both, address),
                ("another authority", strange, address),
                ("not encrypted", {**QUIET}, address.replace("tls:", "tcp:")),
            )
        }
    assert done["ours"].returncode == 0, done["ours"].stderr
    assert "2 made" in done["ours"].stdout
    for name in ("another authority", "not encrypted"):
        assert done[name].returncode == 2
        assert done[name].stderr.startswith("no scheduler answers at ")
        assert done[name].stderr.count("\n") == 1
    assert "certificate verify failed" in done["another authority"].stderr


@pytest.mark.parametrize(
    ("file", "said"),
    [
        ("", "a tls:// address takes certificates; name their files"),
        ("/nowhere/ca.pem", "the certificates cannot be read"),
        (os.devnull, "the certificates cannot be read"),
    ],
)
def test_certificates_that_are_not_there(tmp_path: Path, file: str, said: str) -> None:
    import dask

    tls = {f"distributed.comm.tls.{key}": file or None for key in ("ca-file", "client.cert")}
    with (
        dask.config.set(tls),
        pytest.raises(ClusterError, match=said),
        cluster.join_cluster("tls://127.0.0.1:1", tmp_path),
    ):
        pass

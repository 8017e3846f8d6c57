"""What several parts of the suite share: a store of each kind, and a small cell to fill."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import settings

settings.register_profile("ci", derandomize=True, deadline=None)
if os.environ.get("CI"):  # the same examples at every run; elsewhere new ones are looked for
    settings.load_profile("ci")

POSTGRES_BIN = Path("/usr/lib/postgresql/15/bin")


def missing(what: str) -> None:
    """Skip where a real part is not on the machine; in CI that is a failure."""
    if os.environ.get("CI"):
        pytest.fail(f"{what} is not installed, and CI must not skip")
    pytest.skip(f"{what} is not installed on this machine")


@pytest.fixture(scope="session")
def postgres_url() -> Iterator[str]:
    """A PostgreSQL cluster of our own on a free loopback port, run by an ordinary user."""
    if not (POSTGRES_BIN / "initdb").exists():
        missing("PostgreSQL 15")
    folder = Path(tempfile.mkdtemp(prefix="cluster-"))
    user = "nobody" if os.geteuid() == 0 else None
    if user:
        shutil.chown(folder, user)
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]

    def run(*command: str) -> None:
        subprocess.run(command, check=True, user=user, cwd=folder, stdout=subprocess.DEVNULL)

    data = str(folder / "data")
    run(str(POSTGRES_BIN / "initdb"), "-D", data, "-U", "cell", "-A", "trust", "--no-sync", "-E", "UTF8")
    options = f"-p {port} -k {folder} -c listen_addresses=127.0.0.1 -c fsync=off"
    run(str(POSTGRES_BIN / "pg_ctl"), "-D", data, "-w", "-l", str(folder / "log"), "-o", options, "start")
    yield f"postgresql+psycopg://cell@127.0.0.1:{port}"
    run(str(POSTGRES_BIN / "pg_ctl"), "-D", data, "-m", "immediate", "stop")
    shutil.rmtree(folder, ignore_errors=True)

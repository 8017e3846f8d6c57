"""What several parts of the suite share: a store of each kind, and a small cell to fill."""

from __future__ import annotations

import fcntl
import os
import pickle
import shutil
import socket
import subprocess
import tempfile
import time
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


def free_port() -> int:
    """Return a port of this machine that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class RealBroker:
    """A mosquitto of our own on a free loopback port, that can be stopped and started."""

    def __init__(self, folder: Path, program: str) -> None:
        self.port, self._program, self._folder = free_port(), program, folder
        settings_ = f"listener {self.port} 127.0.0.1\nallow_anonymous true\nmax_queued_messages 100000\n"
        settings_ += f"persistence true\npersistence_location {folder}/\nautosave_interval 1\n"
        if os.geteuid() == 0:
            settings_ += "user root\n"  # else it becomes a user who may not enter the folder
        (folder / "broker.conf").write_text(settings_, encoding="utf-8")
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def url(self) -> str:
        """Its address."""
        return f"mqtt://127.0.0.1:{self.port}"

    def start(self) -> None:
        """Start it and wait until it answers."""
        command = [self._program, "-c", str(self._folder / "broker.conf")]
        self._process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        for _ in range(200):
            with socket.socket() as probe:
                if probe.connect_ex(("127.0.0.1", self.port)) == 0:
                    return
            time.sleep(0.05)
        pytest.fail("mosquitto does not answer")

    def stop(self) -> None:
        """Stop it as a service is stopped: what it queues is kept on disk."""
        if self._process is not None:
            self._process.terminate()
            self._process.wait(timeout=20)
            self._process = None


@pytest.fixture
def broker(tmp_path) -> Iterator[RealBroker]:
    """A real MQTT broker."""
    program = shutil.which("mosquitto", path=f"{os.environ.get('PATH', '')}:/usr/sbin")
    if program is None:
        missing("mosquitto")
    folder = tmp_path / "broker"
    folder.mkdir()
    found = RealBroker(folder, str(program))
    found.start()
    yield found
    found.stop()


@pytest.fixture(scope="session")
def demo_week(tmp_path_factory) -> Path:
    """The demo's cell folder, made once for all processes of a run; copy it before anything is written."""
    from cellmon.export.demo import make_demo

    base = tmp_path_factory.getbasetemp()
    shared = base.parent if os.environ.get("PYTEST_XDIST_WORKER") else base
    with (shared / "demo-week.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not (shared / "demo-week").exists():
            taken = make_demo(shared / "demo-week-made")
            (shared / "demo-week.taken").write_bytes(pickle.dumps(taken))
            (shared / "demo-week-made").rename(shared / "demo-week")
    return shared / "demo-week"

"""What several parts of the suite share: a store of each kind, and a small cell to fill."""

from __future__ import annotations

import fcntl
import gc
import os
import pickle
import shutil
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings

if TYPE_CHECKING:
    from cellmon.monitor import Monitor

# As the command has it (`cellmon.cli.main`), for what tests ask without it. Before numpy is imported.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
if "PYTEST_XDIST_WORKER" in os.environ:  # one of several; benchmarks run alone, as the program does
    # A module is compiled once, not anew by each program that a test starts.
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    sys.dont_write_bytecode = False
    # What thousands of collected tests hold is looked through for waste forty times less often.
    gc.set_threshold(28_000)

settings.register_profile("ci", derandomize=True, deadline=None)
settings.register_profile("here", deadline=None)  # a busy machine is slow, and right all the same
# In CI the same examples at every run; elsewhere new ones are looked for.
settings.load_profile("ci" if os.environ.get("CI") else "here")


def pytest_ignore_collect(collection_path: Path) -> bool | None:
    """Look for examples in the program alone: what tests share holds none, and some of it changes what runs.

    `fuzz/readers.py` has the program instrumented as it is imported.
    """
    shared = collection_path.suffix == ".py" and not collection_path.name.startswith("test_")
    return True if shared else None


LONG = (
    "tests/monitor/test_at_once.py",
    "tests/test_checks.py",
    "tests/monitor/test_order.py",
    "tests/dashboards/test_accessible.py",
    "tests/dashboards/test_signed_out.py",
    "tests/monitor/test_corrections.py",
    "tests/dashboards/test_live.py",
    "tests/monitor/test_carried.py",
    "tests/dashboards/test_pages_in_browser.py",
    "tests/export/test_demo.py",
    "tests/dashboards/test_journeys.py",
    "tests/monitor/test_audited_hold.py",
    "tests/dashboards/test_people_in_browser.py",
    "tests/monitor/test_busy_order.py",
    "tests/dashboards/test_faults_seen.py",
    "tests/crash/test_killed.py",
    "tests/dashboards/test_files_in_browser.py",
    "tests/monitor/test_capability_span.py",
    "tests/dashboards/test_readings.py",
    "tests/monitor/study/test_study.py",
    "tests/dashboards/test_keyboard.py",
    "tests/fuzz/test_readers.py",
)
"""Files that take longest, in turn those that work and those that wait for a browser; the rest is short."""


def pytest_configure(config: pytest.Config) -> None:
    """Leave the files in the order given below, not in that of how many tests they hold; none may be gone."""
    if config.pluginmanager.hasplugin("xdist"):
        config.option.loadscopereorder = False
    if gone := [file for file in LONG if not (config.rootpath / file).is_file()]:
        raise pytest.UsageError(f"no longer there: {', '.join(gone)}")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with the files that take longest, so that no process ends long after the other."""
    place = {file: i for i, file in enumerate(LONG)}
    items.sort(key=lambda item: place.get(item.nodeid.partition("::")[0], len(LONG)))


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


def made_once(factory: pytest.TempPathFactory, name: str, make: Callable[[Path], object]) -> Path:
    """Return a folder that one process of a run makes for all; copy it before anything is written.

    What `make` returns is kept beside it, pickled.
    """
    base = factory.getbasetemp()
    shared = base.parent if os.environ.get("PYTEST_XDIST_WORKER") else base
    with (shared / f"{name}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not (shared / name).exists():
            said = make(shared / f"{name}-made")
            (shared / f"{name}.said").write_bytes(pickle.dumps(said))
            (shared / f"{name}-made").rename(shared / name)
    return shared / name


@pytest.fixture(scope="session")
def demo_week(tmp_path_factory) -> Path:
    """The demo's cell folder; copy it before anything is written."""
    from cellmon.export.demo import make_demo

    return made_once(tmp_path_factory, "demo-week", make_demo)


@pytest.fixture(scope="session")
def read_week(demo_week) -> Iterator[Monitor]:
    """The demo's cell, opened once for all that only ask it: what it worked out serves them all."""
    from cellmon import open_cell

    opened = open_cell(demo_week)
    yield opened
    opened.close()

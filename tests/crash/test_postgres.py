"""A PostgreSQL server that is stopped and started under a receiver, and under an open cell."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import create_engine, text

import cellmon
from cellmon.monitor.receive import Receiver
from tests.conftest import POSTGRES_BIN, free_port, missing
from tests.small_cell import HEADER, derived, new_cell, rows, write

SIZE = 320


@pytest.fixture(scope="module")
def files(tmp_path_factory) -> list[Path]:
    folder, lines = tmp_path_factory.mktemp("files"), rows(160, minutes=5)
    return [write(folder, f"{i}.csv", HEADER, lines[i * SIZE : (i + 1) * SIZE]) for i in range(4)]


@pytest.fixture(scope="module")
def plain(tmp_path_factory, files) -> dict[str, str]:
    """What is derived where nothing goes wrong, in SQLite."""
    monitor = new_cell(tmp_path_factory.mktemp("plain") / "cell")
    monitor.take(files)
    found = derived(monitor)
    monitor.close()
    return found


def whole(cell: Path, plain: dict[str, str]) -> None:
    monitor = cellmon.open_cell(cell)
    assert derived(monitor) == plain
    assert monitor.check(rebuild=True).sound
    monitor.close()


class Server:
    """A PostgreSQL of our own that can be stopped and started, as the one of the other tests cannot."""

    def __init__(self, folder: Path) -> None:
        self._folder, self.port = folder, free_port()
        self._user = "nobody" if os.geteuid() == 0 else None
        if self._user:
            shutil.chown(folder, self._user)
        self._run("initdb", "-D", self._data, "-U", "cell", "-A", "trust", "--no-sync", "-E", "UTF8")

    @property
    def _data(self) -> str:
        return str(self._folder / "data")

    @property
    def url(self) -> str:
        return f"postgresql+psycopg://cell@127.0.0.1:{self.port}"

    def _run(self, program: str, *given: str) -> None:
        command = [str(POSTGRES_BIN / program), *given]
        subprocess.run(command, check=True, user=self._user, cwd=self._folder, stdout=subprocess.DEVNULL)

    def start(self) -> None:
        options = f"-p {self.port} -k {self._folder} -c listen_addresses=127.0.0.1"
        log = str(self._folder / "log")
        self._run("pg_ctl", "-D", self._data, "-w", "-l", log, "-o", options, "start")

    def stop(self) -> None:
        """Stop it as a power cut would: what was not committed is gone."""
        self._run("pg_ctl", "-D", self._data, "-w", "-m", "immediate", "stop")


@pytest.fixture
def server() -> Iterator[Server]:
    if not (POSTGRES_BIN / "initdb").exists():
        missing("PostgreSQL 15")
    folder = Path(tempfile.mkdtemp(prefix="stopped-"))
    found = Server(folder)
    found.start()
    yield found
    found.stop()
    shutil.rmtree(folder, ignore_errors=True)


def test_a_receiver_goes_on_when_its_server_is_stopped_and_started(tmp_path, server, files, plain):
    engine = create_engine(f"{server.url}/postgres", isolation_level="AUTOCOMMIT")
    with engine.connect() as conn:
        conn.execute(text("CREATE DATABASE line"))
    engine.dispose()
    cell = tmp_path / "cell"
    new_cell(cell, url=f"{server.url}/line").close()
    inbox = cell / "inbox"
    inbox.mkdir()
    receiver, said, now = Receiver(cell, cellmon.open_cell), [], 0.0

    def look() -> None:
        nonlocal now
        for _ in range(2):
            now += 5.0
            said.extend(one.what for one in receiver.look(now))

    for number, path in enumerate(files):
        (inbox / path.name).write_bytes(path.read_bytes())
        if number in (1, 2):
            server.stop()
            look()
            assert said[-1] == "waits" and (inbox / path.name).exists()
            server.start()
        look()
        assert not any(inbox.iterdir())
    receiver.close()
    assert said == ["taken", "waits", "taken", "back", "waits", "taken", "back", "taken"]
    whole(cell, plain)


def test_an_open_cell_answers_again_after_its_server_was_started_anew(tmp_path, server):
    engine = create_engine(f"{server.url}/postgres", isolation_level="AUTOCOMMIT")
    with engine.connect() as conn:
        conn.execute(text("CREATE DATABASE line"))
    engine.dispose()
    monitor = new_cell(tmp_path / "cell", url=f"{server.url}/line")
    before = monitor.last_change()
    server.stop()
    with pytest.raises(cellmon.errors.StoreRefused):
        monitor.last_change()
    server.start()
    assert monitor.last_change() == before
    assert monitor.take([write(tmp_path, "rows.csv", HEADER, rows(4))]).files[0].taken == 32
    monitor.close()

"""A full disk, a folder that may not be written, and a write-ahead log cut off as a power cut leaves it."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

import cellmon
from cellmon.errors import CellmonError
from tests.crash.killed import readings_of, run_in_child
from tests.small_cell import HEADER, derived, new_cell, rows, write

SMALL_MB, LARGE_MB = 3, 64
LINES, EACH = rows(1200, minutes=2), 1920


class SmallDisk:
    """A file system in memory; where none may be mounted, a limit on the size of any file."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        folder.mkdir()
        self.is_mounted = self._mount(f"size={SMALL_MB}m")

    def _mount(self, options: str) -> bool:
        command = ["mount", "-t", "tmpfs", "-o", options, "tmpfs", str(self.folder)]
        if shutil.which("mount") is None:
            return False
        return subprocess.run(command, check=False, capture_output=True).returncode == 0

    def fill(self) -> None:
        """Leave no room, for this process and its children."""
        if self.is_mounted:
            with suppress(OSError), (self.folder / "filler").open("wb", buffering=0) as filler:
                while True:
                    filler.write(b"\0" * 1024)
            return
        import resource
        import signal

        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        room = max(p.stat().st_size for p in self.folder.rglob("*") if p.is_file()) + 1024
        resource.setrlimit(resource.RLIMIT_FSIZE, (room, room))

    def make_room(self) -> None:
        """Take the filler away."""
        (self.folder / "filler").unlink(missing_ok=True)
        if self.is_mounted:
            assert self._mount(f"remount,size={LARGE_MB}m")

    def close(self) -> None:
        """Let go of it."""
        if self.is_mounted:
            subprocess.run(["umount", "-l", str(self.folder)], check=True)


@pytest.fixture
def disk(tmp_path) -> Iterator[SmallDisk]:
    """A disk that is soon full."""
    found = SmallDisk(tmp_path / "disk")
    yield found
    found.close()


@pytest.fixture
def files(tmp_path) -> list[Path]:
    """Files of one cell, each a stretch of time."""
    return [write(tmp_path, f"{i}.csv", HEADER, LINES[i * EACH : (i + 1) * EACH]) for i in range(5)]


def test_a_full_disk_is_said_in_a_sentence_and_costs_no_row(disk, files, tmp_path):
    cell, said = disk.folder / "cell", tmp_path / "said.txt"
    monitor = new_cell(cell)
    monitor.take(files[:1])
    monitor.close()

    def take_while_full() -> None:
        disk.fill()
        try:
            cellmon.open_cell(cell).take(files[1:])
        except CellmonError as full:
            said.write_text(str(full), encoding="utf-8")

    run_in_child(take_while_full)
    disk.make_room()
    assert "full" in said.read_text(encoding="utf-8") or "I/O" in said.read_text(encoding="utf-8")
    assert "\n" not in said.read_text(encoding="utf-8")
    monitor = cellmon.open_cell(cell)
    assert readings_of(monitor) % EACH == 0
    taken = monitor.take(files).files
    assert sum(f.taken + f.known for f in taken) == len(LINES) == readings_of(monitor)
    assert monitor.check(rebuild=True).sound
    plain = new_cell(tmp_path / "plain")
    plain.take(files)
    assert derived(monitor) == derived(plain)
    monitor.close()


def test_a_folder_that_may_only_be_read_is_said_in_a_sentence(files, tmp_path):
    cell = tmp_path / "cell"
    monitor = new_cell(cell)
    monitor.take(files[:1])
    monitor.close()
    said = tmp_path / "said.txt"

    def take_without_leave() -> None:
        if os.geteuid() == 0:  # root may write anywhere, so become somebody else
            os.setgroups([])
            os.setgid(65534)
            os.setuid(65534)
        words = []
        for do in (cellmon.open_cell, lambda folder: cellmon.open_cell(folder).take(files[1:])):
            try:
                do(cell)
            except CellmonError as refused:
                words.append(str(refused))
        os.write(out, "|".join(words).encode())

    out = os.open(said, os.O_CREAT | os.O_WRONLY, 0o666)
    for path in (cell, cell / "cell.db"):
        path.chmod(0o555 if path.is_dir() else 0o444)
    for path in (tmp_path, tmp_path.parent, tmp_path.parent.parent):
        path.chmod(0o755)
    run_in_child(take_without_leave)
    os.close(out)
    for path in (cell, cell / "cell.db"):
        path.chmod(0o755 if path.is_dir() else 0o644)
    words = said.read_text(encoding="utf-8").split("|")
    assert words[-1]
    assert all("\n" not in one and "Traceback" not in one for one in words)
    assert readings_of(cellmon.open_cell(cell)) == EACH


@pytest.mark.parametrize("share", [0.05, 0.3, 0.55, 0.8, 0.95, 0.999])
def test_a_log_cut_off_by_a_power_cut_keeps_whole_files(files, tmp_path, share):
    # SQLite, "Write-Ahead Logging": a commit counts once its frame is whole, no torn one does.
    cell = tmp_path / "cell"
    monitor = new_cell(cell)
    monitor.take(files[:4])
    torn = tmp_path / "torn"
    torn.mkdir()
    for name in ("cell.toml", "cell.db", "cell.db-wal"):
        (torn / name).write_bytes((cell / name).read_bytes())
    monitor.close()
    log = torn / "cell.db-wal"
    assert log.stat().st_size > 100_000
    os.truncate(log, int(log.stat().st_size * share))
    again = cellmon.open_cell(torn)
    assert readings_of(again) % EACH == 0
    again.take(files)
    assert readings_of(again) == len(LINES)
    assert again.check(rebuild=True).sound

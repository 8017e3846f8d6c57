"""Nothing taken is lost, doubled or half there: not by a kill, a second writer, a store that fails."""

from __future__ import annotations

import subprocess
import sys
import threading
import time

import pytest

import cellmon
from cellmon.errors import StoreRefused
from cellmon.store import Session
from tests.small_cell import HEADER, derived, new_cell, rows, write

TAKE = """
import sys, cellmon
cell = cellmon.open_cell(sys.argv[1])
print("it takes", flush=True)
cell.take(sys.argv[2:])
"""


@pytest.mark.parametrize("after_s", [0.1, 0.4, 0.8, 1.2])
def test_a_kill_while_taking_leaves_all_of_a_file_or_nothing(tmp_path, after_s):
    lines = rows(3000, minutes=1)
    new_cell(tmp_path / "cell").close()
    path = write(tmp_path, "rows.csv", HEADER, lines)
    command = [sys.executable, "-c", TAKE, str(tmp_path / "cell"), str(path)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as taking:
        assert taking.stdout is not None
        assert taking.stdout.readline(), "it has begun, however long that took"
        time.sleep(after_s)
        taking.kill()
    monitor = cellmon.open_cell(tmp_path / "cell")
    assert len(monitor.bores().bores) in (0, 6000)
    assert monitor.check(rebuild=True).sound
    again = monitor.take([path]).files[0]
    assert again.taken + again.known == len(lines) and {again.taken, again.known} == {0, len(lines)}
    monitor.close()


def test_two_programs_that_take_the_same_file_at_once_take_each_row_once(tmp_path):
    lines = rows(300)
    new_cell(tmp_path / "cell").close()
    path = write(tmp_path, "rows.csv", HEADER, lines)
    monitors = [cellmon.open_cell(tmp_path / "cell") for _ in range(3)]
    found = []
    threads = [threading.Thread(target=lambda m=m: found.append(m.take([path]).files[0])) for m in monitors]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted((f.taken, f.known) for f in found) == [(0, len(lines)), (0, len(lines)), (len(lines), 0)]
    alone = new_cell(tmp_path / "alone")
    alone.take([path])
    assert derived(monitors[0]) == derived(alone)
    for monitor in monitors:
        monitor.close()


def test_a_store_that_fails_while_judging_leaves_the_file_untaken(tmp_path, monkeypatch):
    monitor = new_cell(tmp_path / "cell")
    lines = rows(60)
    monitor.take([write(tmp_path, "a.csv", HEADER, lines[:240])])
    before, change = derived(monitor), monitor.last_change()

    def full(self, _alone, _together):
        self.conn.exec_driver_sql("INSERT INTO nowhere VALUES (1)")

    with monkeypatch.context() as patch:
        patch.setattr(Session, "add_subgroups", full)
        with pytest.raises(StoreRefused):
            monitor.take([write(tmp_path, "b.csv", HEADER, lines[240:])])
    assert (derived(monitor), monitor.last_change()) == (before, change)
    assert monitor.take([tmp_path / "b.csv"]).files[0].taken == 240


def test_a_reader_asks_on_while_files_are_taken(tmp_path):
    monitor, reader = new_cell(tmp_path / "cell"), cellmon.open_cell(tmp_path / "cell")
    lines = rows(200)
    paths = [write(tmp_path, f"{i}.csv", HEADER, lines[i * 160 : (i + 1) * 160]) for i in range(10)]
    taking = threading.Thread(target=lambda: monitor.take(paths))
    taking.start()
    seen = []
    while taking.is_alive():
        seen.append(len(reader.bores().bores))
        reader.state()
    taking.join()
    assert all(count % 40 == 0 for count in seen), "a file is there whole or not at all"
    assert seen == sorted(seen) and len(reader.bores().bores) == 400

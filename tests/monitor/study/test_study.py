"""A study of an archive states what its cells state, to the last digit, whoever computes it."""

from __future__ import annotations

import os
import signal
import threading
import time
from dataclasses import replace
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

import cellmon
from cellmon.errors import FileUnreadable, NotFound, SchedulerRefused
from cellmon.export.archive import write_archive
from cellmon.intake.archive import cells_in, read_day, read_events
from cellmon.judged import FEATURE_COLUMNS, Subgroups
from cellmon.monitor import Monitor
from cellmon.monitor.study import Study, study
from cellmon.monitor.study.days import runs_of_days, study_days, subgroups_of
from cellmon.records import Kind
from tests.small_cell import EVENTS, HEADER, SHEET, events, new_cell, rows, write

CELLS, BLOCKS = 3, 700
"""Seven hundred blocks of ten minutes: near five days of two spindles."""


def made(folder: Path, *, number: int) -> Monitor:
    sheet = SHEET.replace("Small cell", f"Small cell {number}")
    monitor = new_cell(folder, sheet=sheet)
    lines = rows(BLOCKS, seed=number, jump_at=BLOCKS // 2 if number == 1 else None)
    monitor.take([write(folder, "events.csv", EVENTS, events())])
    monitor.take([write(folder, "readings.csv", HEADER, lines)])
    return monitor


@pytest.fixture(scope="module")
def cells(tmp_path_factory) -> list[Monitor]:
    folder = tmp_path_factory.mktemp("cells")
    return [made(folder / str(number), number=number) for number in range(CELLS)]


@pytest.fixture(scope="module")
def archive(cells, tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("archive")
    for monitor in cells:
        write_archive(monitor.archive(), folder, zone=ZoneInfo(monitor.sheet.cell.timezone))
    return folder


@pytest.fixture(scope="module")
def alone(archive) -> Study:
    return study(archive)


def same_rows(one: Subgroups, other: Subgroups) -> bool:
    pairs = [(getattr(one, c.name), getattr(other, c.name)) for c in one.columns()]
    return all(np.array_equal(a.astype(str), b.astype(str)) for a, b in pairs)


def test_an_archive_gives_back_the_bores_and_events_of_its_cell(cells, archive):
    for monitor, cell in zip(cells, cells_in(archive), strict=True):
        found = monitor.archive()
        for day, table in found.days.items():
            bores = read_day(cell, day)
            for column in table.bores.columns():
                kept, read = (getattr(one, column.name) for one in (table.bores, bores))
                assert kept.dtype.kind == read.dtype.kind, column.name
                assert np.array_equal(kept.astype(str), read.astype(str)), column.name
        with monitor._store.reading() as session:
            logged = session.rows(Kind.EVENTS)
        assert np.array_equal(logged.at, read_events(cell).at)
        assert logged.event.tolist() == read_events(cell).event.tolist()
    assert set(FEATURE_COLUMNS) <= {c.name for c in read_day(cell, day).columns()}


def test_subgroups_cut_from_the_archive_are_those_that_the_cell_cut(cells, archive):
    for monitor, cell in zip(cells, cells_in(archive), strict=True):
        cut = subgroups_of([study_days(cell, days) for days in runs_of_days(cell)])
        with monitor._store.reading() as session:
            kept = session.subgroups()
        assert len(cut) == len(kept) > 500
        assert same_rows(cut, kept)


def test_the_figures_of_every_stream_are_those_that_the_cell_states(cells, alone):
    named = ("n", "mean_um", "sd_within_um", "sd_total_um", "cp", "cpk", "pp", "ppk", "ppm_expected", "model")
    for monitor, cell in zip(cells, alone.cells, strict=True):
        stated = {row.stream: row for row in monitor.capability().capability}
        studied = {one.stream: one for one in cell.streams}
        assert stated.keys() == studied.keys()
        for stream, row in stated.items():
            one = studied[stream]
            wanted = {name: getattr(row, name) for name in named} | {"ppm_observed": row.ppm_observed}
            found = {name: getattr(one, name) for name in named[1:]} | {"n": one.bores}
            assert found | {"ppm_observed": one.ppm_observed} == wanted


def test_days_read_one_by_one_give_what_they_give_together(archive):
    cell = cells_in(archive)[0]
    together = subgroups_of([study_days(cell, sorted(cell.days))])
    apart = subgroups_of([study_days(cell, [day]) for day in sorted(cell.days)])
    assert len(cell.days) > 3
    assert same_rows(together, apart)


def test_one_cell_of_an_archive_can_be_asked_for(archive, alone):
    assert study(archive, cell="Small cell 1").cells == (alone.cells[1],)
    with pytest.raises(NotFound, match="no cell Small cell 9"):
        study(archive, cell="Small cell 9")


def test_what_is_no_archive_is_refused(tmp_path, archive):
    with pytest.raises(FileUnreadable, match="no archived cell"):
        study(tmp_path)
    (tmp_path / "cell=x").mkdir()
    (tmp_path / "cell=x" / "cell.json").write_text("{}", encoding="utf-8")
    with pytest.raises(FileUnreadable, match="is not the card of an archived cell"):
        study(tmp_path)
    cell = cells_in(archive)[0]
    broken = replace(cell, folder=tmp_path)
    (tmp_path / "events.parquet").write_bytes(b"no parquet")
    with pytest.raises(FileUnreadable, match="is no Parquet file"):
        read_events(broken)


distributed = pytest.importorskip("distributed", reason="the extra `scale` is not installed")
LONGEST_S = 120


@pytest.fixture(scope="module")
def cluster():
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=50
    ) as found:
        yield found


def test_workers_find_what_one_process_finds(archive, alone, cluster):
    assert study(archive, scheduler=cluster.scheduler_address) == alone


def test_a_killed_worker_costs_time_and_no_result(archive, alone, cluster):
    found: list[Study] = []
    asked = threading.Thread(target=lambda: found.append(study(archive, scheduler=cluster.scheduler_address)))
    with distributed.Client(cluster.scheduler_address, set_as_default=False) as client:
        pids = client.run(os.getpid)
        asked.start()
        victim = _busy_worker(client)
        os.kill(pids[victim], signal.SIGKILL)
        assert asked.is_alive(), "the study was over before a worker was killed: give it more to do"
        asked.join(LONGEST_S)
    assert found == [alone]


def _busy_worker(client) -> str:
    """Return a worker that is computing a task of the study, once there is one."""
    until = time.monotonic() + LONGEST_S
    while time.monotonic() < until:
        busy = [name for name, tasks in client.processing().items() if any("study" in str(t) for t in tasks)]
        if busy:
            return busy[0]
        time.sleep(0.001)
    raise AssertionError("no task reached a worker")


def test_a_scheduler_that_does_not_answer_is_refused(archive, monkeypatch):
    monkeypatch.setattr("cellmon.monitor.study.engines.PATIENCE_S", 0.5)
    with pytest.raises(SchedulerRefused, match="no scheduler answers"):
        study(archive, scheduler="tcp://127.0.0.1:1")


def test_the_command_prints_a_row_a_stream_and_one_document(archive, alone, capsys):
    from cellmon.cli.main import main

    assert main(["study", str(archive)]) == 0
    shown = capsys.readouterr().out
    assert alone.sentence in shown
    assert shown.count("S1 bore 1 diameter") >= CELLS
    assert main(["study", str(archive), "--json", "--only", "Small cell 2"]) == 0
    assert '"cell": "Small cell 2"' in capsys.readouterr().out


def test_the_command_writes_an_archive(cells, tmp_path, capsys):
    from cellmon.cli.main import main

    out = ["export", "bores", "--by-day", "--cell", str(cells[0].folder), "--out", str(tmp_path / "a")]
    assert main([*out, "--to", "parquet"]) == 0
    assert study(tmp_path / "a").cells[0].bores == 2 * BLOCKS
    assert main([*out, "--to", "csv"]) == 2
    assert "--by-day goes with" in capsys.readouterr().err
    assert isinstance(cellmon.open_cell(cells[0].folder), Monitor)

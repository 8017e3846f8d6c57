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
from cellmon.intake.archive import DECIDED, cells_in, read_day, read_decided, read_logged
from cellmon.judged import FEATURE_COLUMNS
from cellmon.monitor import Monitor
from cellmon.monitor.check import fingerprint
from cellmon.monitor.study import Study, study
from cellmon.monitor.study.days import Days, runs_of_days, study_days
from cellmon.monitor.study.rebuilt import rebuilt
from cellmon.records import Kind
from tests.small_cell import CHECKS, EVENTS, HEADER, SHEET, checks, events, new_cell, rows, write

CELLS, BLOCKS = 2, 600
"""Six hundred blocks of ten minutes: four days of two spindles."""


STONES = """
[stones]
id = "D64"
new_thickness_mm = 3.0
least_thickness_mm = 0.6
stones_per_set = 1
expected_life_bores = [600, 1200]
"""
ROUNDS = "at,stone_set,stone,position,thickness_mm"


def made(folder: Path, *, number: int) -> Monitor:
    """Make a cell; the second jumped, has limits that were frozen and a signal that was answered."""
    sheet = SHEET.replace("Small cell", f"Small cell {number}") + STONES
    monitor = new_cell(folder, sheet=sheet)
    lines = rows(BLOCKS, seed=number, jump_at=BLOCKS // 2 if number == 1 else None)
    monitor.take([write(folder, "events.csv", EVENTS, events())])
    monitor.take([write(folder, "checks.csv", CHECKS, checks())])
    monitor.take([write(folder, "rounds.csv", ROUNDS, rounds(number))])
    if number == 1:
        early = len(lines) // 4
        monitor.take([write(folder, "early.csv", HEADER, lines[:early])])
        monitor.freeze(by="A. Person", why="the first days are usual", spindle="S1")
    monitor.take([write(folder, "readings.csv", HEADER, lines)])
    if number == 1:
        moved = next(s for s in monitor.signals().signals if s.kind == "level")
        monitor.respond(moved.id, by="A. Person", cause="moved on purpose", action="none")
    return monitor


def rounds(number: int) -> list[str]:
    """Return the thickness of set A1 once a day."""
    return [
        f"2026-03-0{2 + day}T04:00:00Z,A1,1,{place},{3.0 - 0.02 * day - 0.001 * number:.3f}"
        for day in range(4)
        for place in ("top", "middle", "bottom")
    ]


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
        assert np.array_equal(logged.at, read_logged(cell, Kind.EVENTS).at)
        assert logged.event.tolist() == read_logged(cell, Kind.EVENTS).event.tolist()
    assert set(FEATURE_COLUMNS) <= {c.name for c in read_day(cell, day).columns()}


def test_a_cell_rebuilt_from_its_archive_is_the_cell_to_the_last_digit(cells, archive):
    """Bores, subgroups, limits, every place of the detectors and every call; the numbers of tests/monitor."""
    for monitor, cell in zip(cells, cells_in(archive), strict=True):
        days = (study_days(cell, run) for run in runs_of_days(cell))
        with monitor._store.reading() as session, rebuilt(cell, days) as found:
            mine, kept = fingerprint(found.view.session), fingerprint(session)
            assert mine.keys() >= {"subgroups", "subgroups together", "signals", "detectors", "limits"}
            assert mine == kept


def test_the_signals_are_those_of_the_cell(cells, alone):
    for monitor, cell in zip(cells, alone.cells, strict=True):
        stated = {signal.id: signal for signal in monitor.signals().signals}
        assert [one.id for one in cell.signals] == list(stated)
        for one in cell.signals:
            for name in (
                "stream",
                "streams",
                "kind",
                "raised_at",
                "last_at",
                "over",
                "state",
                "size",
                "words",
            ):
                assert getattr(one, name) == getattr(stated[one.id], name), name
            assert (one.change is None) == (stated[one.id].change is None)
            if one.change is not None:
                assert vars(one.change).items() <= vars(stated[one.id].change).items()
    states = {one.state for one in alone.cells[1].signals}
    assert {"answered", "open"} <= states
    assert any(one.kind == "gauge" for one in alone.cells[0].signals)


def test_the_stones_are_those_of_the_cell(cells, alone):
    for monitor, cell in zip(cells, alone.cells, strict=True):
        stated = monitor.stones().sets
        assert [one.stone_set for one in cell.stones] == [one.stone_set for one in stated]
        assert repr(cell.stones) == repr(stated)
        assert cell.stones[0].wear_um_per_1000_bores is not None


def test_means_and_distances_are_those_of_the_cell(cells, alone):
    for monitor, cell in zip(cells, alone.cells, strict=True):
        with monitor._store.reading() as session:
            kept = session.together()
        for one in cell.together:
            mine = np.ones(len(kept), dtype=bool)
            for name in ("feature", "part_of", "spindle", "bore"):
                mine &= getattr(kept, name) == np.array(getattr(one.stream, name), dtype=object)
            mine &= kept.flagged == 0
            assert one.subgroups == mine.sum()
            wanted = np.average(kept.mean[mine], weights=kept.n[mine])
            assert one.mean == pytest.approx(wanted, rel=1e-12)
        assert any(one.stream.bore is None and one.unit == "µm" for one in cell.together)


def test_an_archive_names_nobody_who_decided(archive):
    cell = cells_in(archive)[1]
    assert {d.kind for d in read_decided(cell).decisions} == {"freeze", "respond"}
    assert "A. Person" not in (cell.folder / DECIDED).read_text(encoding="utf-8")


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
    assert len(cell.days) > 3

    def derived(days: list[Days]) -> dict[str, str]:
        with rebuilt(cell, days) as found:
            return fingerprint(found.view.session)

    apart = [study_days(cell, [day]) for day in sorted(cell.days)]
    assert derived([study_days(cell, sorted(cell.days))]) == derived(apart)


def test_one_cell_of_an_archive_can_be_asked_for(archive, alone):
    assert repr(study(archive, cell="Small cell 1").cells) == repr((alone.cells[1],))
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
        read_logged(broken, Kind.EVENTS)
    (tmp_path / DECIDED).write_text("[1]", encoding="utf-8")
    with pytest.raises(FileUnreadable, match="is not what was decided"):
        read_decided(broken)


def test_an_archive_of_an_earlier_version_is_to_be_written_again(tmp_path, archive):
    cell = replace(cells_in(archive)[0], folder=tmp_path)
    for read in (read_decided, lambda one: read_logged(one, Kind.STONE_SETS)):
        with pytest.raises(FileUnreadable, match="export the cell into the archive again"):
            read(cell)


distributed = pytest.importorskip("distributed", reason="the extra `scale` is not installed")
LONGEST_S = 120


@pytest.fixture(scope="module")
def cluster():
    with distributed.LocalCluster(
        n_workers=2,
        threads_per_worker=1,
        dashboard_address=None,
        scheduler_kwargs={"dashboard_address": ":0"},  # another cluster on this machine has the usual port
        silence_logs=50,
    ) as found:
        yield found


def test_workers_find_what_one_process_finds(archive, alone, cluster):
    assert repr(study(archive, scheduler=cluster.scheduler_address)) == repr(alone)


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
    assert repr(found) == repr([alone])


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
    assert shown.count("2 of them fitted") == CELLS
    assert alone.cells[1].signals[0].id in shown
    assert main(["study", str(archive), "--json", "--only", "Small cell 1"]) == 0
    assert '"cell": "Small cell 1"' in capsys.readouterr().out


def test_the_command_writes_an_archive(cells, tmp_path, capsys):
    from cellmon.cli.main import main

    out = ["export", "bores", "--by-day", "--cell", str(cells[0].folder), "--out", str(tmp_path / "a")]
    assert main([*out, "--to", "parquet"]) == 0
    assert study(tmp_path / "a").cells[0].bores == 2 * BLOCKS
    assert main([*out, "--to", "csv"]) == 2
    assert "--by-day goes with" in capsys.readouterr().err
    assert isinstance(cellmon.open_cell(cells[0].folder), Monitor)

"""The register carried from state to state: that of a cell opened anew, and no more is read than moved."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import numpy as np
import pytest

import cellmon
from cellmon.monitor import signals_carried
from cellmon.monitor.judge.calls_kept import plain
from cellmon.monitor.judge.outlines import outline_of, plain_outline
from cellmon.monitor.judge.told import told_groups
from cellmon.monitor.renewed import BASIS
from cellmon.records import Kind
from cellmon.store import ToldSignal
from tests.monitor.parts_cell import PARTS_HEADER, parts_rows, parts_sheet
from tests.monitor.test_signals import START, lines, moved, one_long_day, quiet
from tests.small_cell import HEADER, new_cell, write

DAY = np.timedelta64(1, "D")


def take(monitor, levels, *, first=0):
    name = f"rows-{first}-{len(levels)}.csv"
    monitor.take([write(monitor.folder.parent, name, HEADER, lines(levels, first=first))])


def made(folder, levels):
    monitor = new_cell(folder, sheet=one_long_day())
    take(monitor, levels)
    return monitor


@pytest.fixture
def cell(tmp_path):
    """Return a cell in which one signal of the size waits, and of which all signals were asked."""
    monitor = made(tmp_path / "cell", quiet(120) + moved(6.0, 12, first=120))
    assert of_size(monitor).state == "open"
    yield monitor
    monitor.close()


def told(monitor):
    """Return every signal by its name; a cell opened anew tells the same."""
    as_of = monitor._as_of and datetime.fromisoformat(f"{monitor._as_of}+00:00")
    found, fresh = monitor.signals().signals, cellmon.open_cell(monitor.folder, as_of=as_of)
    try:
        assert found == fresh.signals().signals
    finally:
        fresh.close()
    return {signal.id: signal for signal in found}


def of_size(monitor):
    """Return the first signal of the level of size."""
    every = [s for s in told(monitor).values() if s.stream.feature == "diameter" and s.kind == "level"]
    return every[-1]


def test_whatever_changes_signals_are_those_of_a_cell_opened_anew(cell):
    name = of_size(cell).id
    cell.respond(name, by="A. Person", seen=True)
    assert told(cell)[name].response.seen
    cell.respond(name, by="A. Person", cause="offset", action="put back")
    assert told(cell)[name].state == "answered"
    take(cell, quiet(90, first=132), first=132)
    assert told(cell)[name].over
    take(cell, moved(6.0, 9, first=222), first=222)
    assert len({s.id for s in told(cell).values() if s.state == "open"} - {name}) > 0
    cell.freeze(by="A. Person", why="quiet", spindle="S1")
    told(cell)
    assert cell.check(rebuild=True).sound
    cell.respond(name, by="A. Person", cause="offset", action="put back for good")
    assert told(cell)[name].response.action == "put back for good"


def test_what_another_program_takes_and_withdraws_is_known(cell):
    name, other = of_size(cell).id, cellmon.open_cell(cell.folder)
    at = f"{START + np.timedelta64(1195, 'm')}Z"  # logged late, it explains the move
    event = f"{at},feed-offset,S1,6.0,machine"
    other.take([write(cell.folder.parent, "events.csv", "at,event,spindle,value,by", [event])])
    assert told(cell)[name].state == "withdrawn"
    take(other, quiet(12, first=132), first=132)
    other.close()
    assert told(cell)[name].state == "withdrawn"


def test_no_more_is_read_than_was_put_together_otherwise(cell, monkeypatch):
    read, kept_outlines, before = [], signals_carried.kept_outlines, told(cell)

    def kept(session, *, among):
        read.extend(among)
        return kept_outlines(session, among=among)

    monkeypatch.setattr(signals_carried, "_whole", None)
    monkeypatch.setattr(signals_carried, "kept_outlines", kept)
    cell.log(Kind.EVENTS, {"event": "stones-dressed", "spindle": "S2", "at": "2026-03-02T06:00:00Z"})
    assert {s.id for s in cell.signals().signals} == set(before)
    assert not read, "nothing was put together otherwise"
    take(cell, moved(6.0, 90, first=132), first=132)
    now = {s.id: s for s in cell.signals().signals}
    same = {id_ for id_, s in before.items() if replace(s, age_s=now[id_].age_s) == now[id_]}
    assert set() < set(now) - same <= set(read) <= set(now)
    monkeypatch.undo()
    assert told(cell) == now


def test_what_is_told_ahead_of_the_moment_comes_when_it_has_come(cell):
    """An instrument's clock may be ahead: then something is called later than the newest row."""
    with cell._store.writing() as session:
        newest, version = session.newest_row(), session.sheet_of_told(BASIS)
        group = next(iter(told_groups(session, until=newest)))
        early = replace(group.lead, at=newest - DAY / 24, last_at=newest + 2 * DAY)
        late = replace(group.lead, at=newest + DAY, last_at=newest + 2 * DAY)
        for name, lead in (("S-early", early), ("S-late", late)):
            ahead = replace(group, id=name, lead=lead, others=())
            kept = ToldSignal(
                id=name,
                sheet=version,
                earliest_at=lead.earliest_at,
                last_at=ahead.until,
                body={"calls": [plain(lead)]},
                outline=plain_outline(outline_of(ahead)),
            )
            session.keep_told([kept], among=[name])
    seen = []
    for hours in (1, 4, 12, 36, 72, 12):
        cell._as_of = newest + np.timedelta64(hours, "h")
        now = told(cell)
        seen.append(("S-late" in now, now["S-early"].last_at))
    assert [late for late, _ in seen] == [False, False, False, True, True, False]
    lasted = [last for _, last in seen]
    assert lasted[:4] == sorted(set(lasted[:4])) and lasted[2] == lasted[5], "it lasts as long as is known"


def test_what_is_said_of_like_parts_follows_the_part_that_runs(tmp_path):
    sheet, (head, tail) = parts_sheet(like=True), ("lower = 59.985\n", "upper = 60.019\n")
    sheet = sheet.replace(head + tail, f'{head}{tail}reaction = "ask the lead"\n')
    plan = [("A", 40), ("B", 25), ("A", 33), ("B", 60), ("A", 60), ("B", 30), ("A", 30)]
    rows = parts_rows([*plan, ("B", 2)], step_at=250)
    last = 2 * (len(rows) // 280)
    monitor = new_cell(tmp_path / "cell", sheet=sheet)
    monitor.take([write(tmp_path, "rows.csv", PARTS_HEADER, rows[:-last])])
    before = {id_: s for id_, s in told(monitor).items() if s.stream.like is not None}
    assert before and {s.reaction for s in before.values()} == {None}
    monitor.take([write(tmp_path, "more.csv", PARTS_HEADER, rows[-last:])])
    now = {id_: s for id_, s in told(monitor).items() if id_ in before}
    assert {id_: replace(s, reaction=None, age_s=before[id_].age_s) for id_, s in now.items()} == before
    assert {s.reaction for s in now.values()} == {"ask the lead"}
    monitor.close()


def test_nothing_is_carried_into_another_store_that_is_put_in_the_same_place(cell, tmp_path):
    other = made(tmp_path / "other", quiet(120) + moved(-6.0, 12, first=120))
    wanted = [replace(s, age_s=0.0) for s in other.signals().signals]
    other.close()
    cell.folder.joinpath("cell.db").unlink()
    for rest in ("cell.db-wal", "cell.db-shm"):
        cell.folder.joinpath(rest).unlink(missing_ok=True)
    other.folder.joinpath("cell.db").replace(cell.folder / "cell.db")
    assert [replace(s, age_s=0.0) for s in cell.signals().signals] == wanted

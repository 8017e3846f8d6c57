"""Backup, restore, move and the journal of a small cell, on real files and a real PostgreSQL."""

from __future__ import annotations

import itertools
import json
import sqlite3
import zipfile
from pathlib import Path

import numpy as np
import pytest
from sqlalchemy import create_engine, text

import cellmon
from cellmon.errors import CellmonError, FileUnreadable, NotFound, StoreRefused
from cellmon.intake.store_line import with_store
from cellmon.monitor import Monitor, copies
from cellmon.monitor.check import fingerprint
from cellmon.monitor.copies import restore
from cellmon.store import tallies
from tests.small_cell import HEADER, SHEET, new_cell, rows, write

AT = np.datetime64("2026-03-10T12:00:00", "us")
NUMBERS = itertools.count()


@pytest.fixture
def cell(tmp_path) -> Monitor:
    """A small cell with readings and frozen limits."""
    monitor = new_cell(tmp_path / "cell")
    monitor.take([write(tmp_path, "readings.csv", HEADER, rows())])
    monitor.freeze(by="A. Weber", why="first limits")
    return monitor


def derived(monitor: Monitor) -> dict[str, str]:
    with monitor._store.reading() as session:
        return fingerprint(session)


def test_a_backup_comes_back_as_the_same_cell(cell, tmp_path):
    (cell.folder / "words").mkdir()
    (cell.folder / "words" / "de.po").write_text('msgid "Now"\nmsgstr "Jetzt"\n', encoding="utf-8")
    made = cell.back_up(tmp_path / "kept.cell")
    back = restore(tmp_path / "kept.cell", tmp_path / "again", at=AT)
    assert back.tables == made.tables
    again = cellmon.open_cell(tmp_path / "again")
    assert derived(again) == derived(cell)
    assert again.check(rebuild=True).sound
    assert (again.folder / "words" / "de.po").exists()
    assert {p.name for p in tmp_path.iterdir()} == {"cell", "again", "kept.cell", "readings.csv"}


def test_a_backup_is_one_moment_while_takes_go_on(cell, tmp_path):
    more = write(tmp_path, "more.csv", HEADER, rows(20, seed=11, minutes=3))
    seen = []

    def take_one(_: str) -> None:
        if not seen:
            seen.append(cell.take([more]))

    made = cell.back_up(tmp_path / "kept.cell", progress=take_one)
    files = next(t for t in made.tables if t.table == "files")
    assert files.rows == 1
    with cell._store.reading() as session:
        assert next(t for t in tallies(session) if t.table == "files").rows == 2


def test_a_backup_never_writes_over_a_file(cell, tmp_path):
    (tmp_path / "kept.cell").write_text("mine", encoding="utf-8")
    with pytest.raises(CellmonError, match="there already"):
        cell.back_up(tmp_path / "kept.cell")
    assert (tmp_path / "kept.cell").read_text(encoding="utf-8") == "mine"


def spoiled(backup: Path, to: Path, change) -> Path:
    """Write a backup again with its parts changed."""
    with zipfile.ZipFile(backup) as source, zipfile.ZipFile(to, "w") as out:
        for name, body in change({n: source.read(n) for n in source.namelist()}).items():
            out.writestr(name, body)
    return to


def without_database(parts):
    return {name: body for name, body in parts.items() if name != "cell.db"}


def other_count(parts):
    counted = json.loads(parts["tallies.json"])
    counted["tables"][0]["rows"] += 1
    return {**parts, "tallies.json": json.dumps(counted).encode()}


@pytest.mark.parametrize(
    ("change", "said"), [(without_database, "lacks cell.db"), (other_count, "differs from what was counted")]
)
def test_a_damaged_backup_leaves_nothing_behind(cell, tmp_path, change, said):
    cell.back_up(tmp_path / "kept.cell")
    bad = spoiled(tmp_path / "kept.cell", tmp_path / "bad.cell", change)
    with pytest.raises(FileUnreadable, match=said):
        restore(bad, tmp_path / "again", at=AT)
    assert not (tmp_path / "again").exists()


def test_a_backup_writes_nowhere_but_into_its_folder(cell, tmp_path):
    cell.back_up(tmp_path / "kept.cell")
    more = {"../outside.toml": b"x", "words/../../outside.po": b"x", "notes.txt": b"x"}
    bad = spoiled(tmp_path / "kept.cell", tmp_path / "bad.cell", lambda parts: {**parts, **more})
    restore(bad, tmp_path / "deep" / "again", at=AT)
    assert {p.name for p in (tmp_path / "deep" / "again").iterdir()} == {"cell.toml", "cell.db"}
    assert not list(tmp_path.rglob("outside*"))


def test_what_is_no_backup_is_said_in_a_sentence(tmp_path):
    (tmp_path / "not.cell").write_bytes(b"PK\x03\x04 and nothing more")
    with pytest.raises(FileUnreadable, match="backup"):
        restore(tmp_path / "not.cell", tmp_path / "again", at=AT)
    with pytest.raises(FileUnreadable, match="no such file"):
        restore(tmp_path / "gone.cell", tmp_path / "again", at=AT)


def test_a_cell_moves_to_postgresql_and_back_with_every_row(cell, tmp_path, postgres_url):
    name = f"moved_{next(NUMBERS)}"
    engine = create_engine(f"{postgres_url}/postgres", isolation_level="AUTOCOMMIT")
    with engine.connect() as conn:
        conn.execute(text(f"CREATE DATABASE {name}"))
    engine.dispose()
    before, running = derived(cell), cellmon.open_cell(cell.folder)
    there = cell.move(f"{postgres_url}/{name}")
    with pytest.raises(StoreRefused, match="moved to postgresql"):
        running.state()
    moved = cellmon.open_cell(cell.folder)
    assert derived(moved) == before
    moved.take([write(tmp_path, "more.csv", HEADER, rows(20, seed=11, minutes=3))])
    back = moved.move("sqlite:///second.db")
    assert back.rows > there.rows
    again = cellmon.open_cell(cell.folder)
    assert again.check(rebuild=True).sound
    for monitor in (running, moved, again):
        monitor.close()


def test_a_move_that_was_cut_short_is_ended_by_moving_again(cell, tmp_path, monkeypatch):
    class Cut(Exception):
        pass

    def cut(*_given, **_named):
        raise Cut

    sheet, before = (cell.folder / "cell.toml").read_text(encoding="utf-8"), derived(cell)
    with monkeypatch.context() as power, pytest.raises(Cut):
        power.setattr(copies, "leave", cut)
        cell.move("sqlite:///second.db")
    assert (cell.folder / "cell.toml").read_text(encoding="utf-8") == sheet and derived(cell) == before
    with monkeypatch.context() as power, pytest.raises(Cut):
        power.setattr(copies.os, "replace", cut)
        cell.move("sqlite:///second.db")
    with pytest.raises(StoreRefused, match=r"moved to .*second.db; start again with the sheet that names it"):
        cellmon.open_cell(cell.folder).state()
    (cell.folder / "cell.toml").write_text(with_store(sheet, "sqlite:///second.db"), encoding="utf-8")
    again = cellmon.open_cell(cell.folder)
    assert derived(again) == before
    again.close()


def test_a_cell_stays_where_it_is_when_the_other_store_is_not_empty(cell, tmp_path):
    other = new_cell(tmp_path / "other")
    other.take([write(tmp_path, "more.csv", HEADER, rows(20))])
    sheet = (cell.folder / "cell.toml").read_text(encoding="utf-8")
    with pytest.raises(StoreRefused, match="not empty"):
        cell.move(f"sqlite:///{tmp_path / 'other' / 'cell.db'}")
    assert (cell.folder / "cell.toml").read_text(encoding="utf-8") == sheet
    assert cell.state().streams


@pytest.mark.parametrize(
    "section",
    [
        "",
        "[store]\n",
        "[store] # ours\n",
        '[store]\nurl = "sqlite:///a.db" # here\n',
        "[store]\nurl='sqlite:///a.db'\n",
    ],
)
def test_only_the_line_of_the_store_changes(section):
    head = SHEET.split("[store]")[0]
    before, after = head + section, with_store(head + section + "[fit]\n" * 0, "sqlite:///b.db")
    kept = [line for line in before.splitlines() if "url" not in line]
    assert [line for line in after.splitlines() if line in kept and line.strip()] == [
        k for k in kept if k.strip()
    ]
    assert 'url = "sqlite:///b.db"' in after.replace("url=", "url = ")


def test_the_journal_says_who_when_why_and_what_held_before(cell):
    cell.freeze(by="B. Ito", why="new stones")
    answer = cell.journal()
    assert answer.whole
    first = next(e for e in answer.entries if e.by == "A. Weber")
    second = next(e for e in answer.entries if e.by == "B. Ito" and e.subject == first.subject)
    assert (first.before, second.before) == (None, first.after)
    assert cell.journal(ends_with=first.hash).last_hash == answer.entries[-1].hash


def test_a_changed_entry_and_one_cut_off_the_end_are_found(cell):
    cell.freeze(by="B. Ito", why="new stones")
    whole = cell.journal()
    with sqlite3.connect(cell.folder / "cell.db") as conn:
        conn.execute("DELETE FROM decisions WHERE id = ?", (whole.entries[-1].number,))
    conn.close()
    assert cell.journal().whole
    with pytest.raises(NotFound, match="entries are gone"):
        cell.journal(ends_with=whole.last_hash)
    with sqlite3.connect(cell.folder / "cell.db") as conn:
        conn.execute("UPDATE decisions SET why = 'something else' WHERE id = ?", (whole.entries[1].number,))
    conn.close()
    broken = cell.journal()
    assert (broken.whole, broken.broken_at) == (False, whole.entries[1].number)
    assert not cell.check().sound

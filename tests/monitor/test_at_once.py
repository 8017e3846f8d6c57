"""Many programs use one cell at once: nothing is lost, nothing doubled, nobody is told of a lock."""

from __future__ import annotations

import json
import subprocess
import sys
import threading
from contextlib import ExitStack
from dataclasses import replace

import pytest

import cellmon
from cellmon.monitor import take as taking
from cellmon.monitor.copies import restore
from cellmon.monitor.opened import clock
from tests.monitor.at_once import LONGEST_S, Program
from tests.small_cell import HEADER, SHEET, derived, new_cell, rows, write
from tests.store.conftest import new_database

FILES, BLOCKS = 4, 120


@pytest.fixture(params=["sqlite", "postgresql"])
def url(request) -> str:
    """The address of an empty store of each kind."""
    if request.param == "sqlite":
        return "sqlite:///cell.db"
    return new_database(request.getfixturevalue("postgres_url"))


@pytest.fixture(scope="module")
def lines() -> list[str]:
    return rows(BLOCKS, minutes=10, jump_at=90)


class Programs:
    """Programs that run beside each other on one cell until their takers are done."""

    def __init__(self, folder) -> None:
        self.folder, self.until = folder, folder / "enough"
        self._running: dict[str, subprocess.Popen[str] | Program] = {}

    def start(self, name: str, *command: str) -> None:
        self._running[name] = subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )

    def works(self, name: str, work: str, *given: object) -> None:
        self._running[name] = Program(self.folder / name, work, str(self.folder / "cell"), *map(str, given))

    def ended(self, name: str) -> tuple[str, str]:
        program = self._running.pop(name)
        out, err = program.communicate(timeout=2 * LONGEST_S)
        assert program.returncode == 0, err
        return out, err

    def all_ended(self) -> dict[str, tuple[str, str]]:
        return {name: self.ended(name) for name in list(self._running)}

    def stop(self) -> None:
        for program in self._running.values():
            program.kill()
            program.communicate()


@pytest.mark.parametrize(
    "freezing", [pytest.param(False, id="seen"), pytest.param(True, id="frozen", marks=pytest.mark.slow)]
)
def test_takes_a_receiver_readers_exports_a_backup_and_decisions_at_once(
    tmp_path, url, lines, freezing, request
):
    cell = tmp_path / "cell"
    new_cell(cell, url=url).close()
    for name in ("inbox", "files"):
        (cell.parent / name if name == "files" else cell / name).mkdir()
    third = len(lines) // 3
    files = [
        [
            write(
                tmp_path / "files",
                f"{who}{i}.csv",
                HEADER,
                lines[who * third :][i * third // FILES : (i + 1) * third // FILES],
            )
            for i in range(FILES)
        ]
        for who in range(2)
    ]
    with ExitStack() as last:
        programs = Programs(tmp_path)
        last.callback(programs.stop)
        programs.start("receive", sys.executable, "-m", "cellmon", "receive", "--cell", str(cell), "--json")
        for name in ("read", "export", "back_up"):
            programs.works(name, name, programs.until)
        programs.works("seen by A", "decide", "A", programs.until)
        programs.works("seen by B", "decide", "B", programs.until)
        if freezing:
            programs.works("frozen by A", "freeze", "A", programs.until)
            programs.works("frozen by B", "freeze", "B", programs.until)
        for who in (0, 1):
            programs.works(f"taker {who}", "take", *files[who])
        for i in range(FILES):
            mine = lines[2 * third :][i * third // FILES : (i + 1) * third // FILES]
            write(cell, "half.part", HEADER, mine).rename(cell / "inbox" / f"r{i}.csv")
        takers = [json.loads(programs.ended(f"taker {who}")[0]) for who in (0, 1)]
        wait_until_empty(cell / "inbox")
        programs.until.touch()
        programs._running["receive"].terminate()
        found = programs.all_ended()
    for name, (out, err) in found.items():
        assert "locked" not in out + err and "Traceback" not in out + err and err == "", name
        if name != "receive":
            assert json.loads(out)["refused"] is None and json.loads(out)["done"], name
    assert [(t["refused"], sum(t["done"])) for t in takers] == [(None, third), (None, third)]
    monitor = cellmon.open_cell(cell)
    request.addfinalizer(monitor.close)
    assert_all_of_it_is_there(monitor, found, len(lines))
    if not freezing:
        alone = new_cell(tmp_path / "alone")
        alone.take([write(tmp_path, "all.csv", HEADER, lines)])
        assert derived(monitor) == derived(alone)
        alone.close()
    assert monitor.check(rebuild=True).sound
    newest = max(tmp_path.glob("backup-*.cell"), key=lambda p: int(p.stem.rpartition("-")[2]))
    restore(newest, tmp_path / "again", at=clock())
    again = cellmon.open_cell(tmp_path / "again")
    assert again.check(rebuild=True).sound
    again.close()


def assert_all_of_it_is_there(monitor, found, size: int) -> None:
    """Every row once, every decision that was made, and a whole journal."""
    totals = monitor.totals()
    assert (totals.taken, totals.known, totals.set_aside, totals.files) == (size, 0, 0, 3 * FILES)
    journal = monitor.journal()
    assert journal.whole
    for who in ("A", "B"):
        seen = sum(e.kind in ("respond", "correct") and e.by == who for e in journal.entries)
        assert seen == sum(json.loads(found[f"seen by {who}"][0])["done"])
    freezes = sum(len(json.loads(out)["done"]) for name, (out, _) in found.items() if "frozen" in name)
    first = {(e.at, e.by) for e in journal.entries if e.kind == "freeze"}
    assert len(first) == freezes
    for subject in {e.subject for e in journal.entries if e.kind == "freeze"}:
        mine = [e.after["since"] for e in journal.entries if e.kind == "freeze" and e.subject == subject]
        assert mine == sorted(mine), "a later freeze holds from a later moment"


def wait_until_empty(inbox) -> None:
    waited = threading.Event()
    for _ in range(int(LONGEST_S * 10)):
        if not any(inbox.iterdir()):
            return
        waited.wait(0.1)
    raise AssertionError("the receiver does not come to its end")


def test_a_sheet_adopted_while_a_file_is_read_judges_it_and_the_file_is_read_by_it(tmp_path, monkeypatch):
    lines = rows(40)
    monitor = new_cell(tmp_path / "cell")
    monitor.take([write(tmp_path, "a.csv", HEADER, lines[:160])])
    text = SHEET.replace("{url}", "sqlite:///cell.db").replace("upper = 50.010", "upper = 50.003")
    (monitor.folder / "cell.toml").write_text(text, encoding="utf-8")
    other, read = cellmon.open_cell(monitor.folder), taking.read_file
    calls = []

    def slow(path, sheet, **given):
        found = read(path, sheet, **given)
        if not calls:
            other.adopt(by="A. Person", why="new drawing")
        calls.append(sheet.parts[0].diameter.upper_um)
        return replace(found)

    monkeypatch.setattr(taking, "read_file", slow)
    monitor.take([write(tmp_path, "b.csv", HEADER, lines[160:])])
    assert len(calls) == 2 and calls[1] < calls[0]
    bores = other.bores().bores
    assert {int(v) for p, v in zip(bores.part, bores.sheet, strict=True) if p >= "B0020"} == {2}
    assert other.check(rebuild=True).sound
    other.close()
    monitor.close()


@pytest.mark.parametrize("tries", range(3))
def test_many_programs_open_a_new_cell_at_the_same_moment(tmp_path, url, tries):
    cell = tmp_path / "cell"
    cell.mkdir()
    (cell / "cell.toml").write_text(SHEET.replace("{url}", url), encoding="utf-8")
    failed = []

    def open_() -> None:
        try:
            cellmon.open_cell(cell).close()
        except cellmon.errors.CellmonError as refusal:
            failed.append(str(refusal))

    openers = [threading.Thread(target=open_) for _ in range(8)]
    for one in openers:
        one.start()
    for one in openers:
        one.join()
    assert failed == []

"""Receiving: what arrives is taken once and whole, whatever goes wrong around it."""

from __future__ import annotations

import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

import cellmon
from cellmon.errors import StoreRefused
from cellmon.intake.inbox import DOUBT_S, SETTLE_S
from cellmon.monitor import Monitor
from cellmon.monitor.receive import Received, Receiver
from tests.small_cell import HEADER, new_cell, rows, write

LATER = SETTLE_S + 0.5


@pytest.fixture
def cell(tmp_path) -> Path:
    """An empty cell folder with an inbox."""
    new_cell(tmp_path / "cell").close()
    (tmp_path / "cell" / "inbox").mkdir()
    return tmp_path / "cell"


@pytest.fixture
def receiver(cell) -> Receiver:
    """Its receiver."""
    return Receiver(cell, cellmon.open_cell)


def settled(receiver: Receiver, *, start: float = 0.0, after: float = LATER) -> list[Received]:
    """Look twice, so that what is there has not changed for a while."""
    return [*receiver.look(start), *receiver.look(start + after)]


def counts(cell: Path) -> list[tuple[str, int, int]]:
    monitor = cellmon.open_cell(cell)
    with monitor._store.reading() as session:
        found = session.counts()
    monitor.close()
    return sorted((str(k), v.bores, v.subgroups) for k, v in found.items()) if found else []


def test_a_file_is_taken_once_it_no_longer_changes_and_is_moved(cell, receiver):
    write(cell / "inbox", "a.csv", HEADER, rows(10))
    assert list(receiver.look(0.0)) == []
    assert list(receiver.look(1.0)) == []
    [one] = receiver.look(LATER)
    assert (one.what, one.file.taken, one.file.rows) == ("taken", 80, 80)
    assert [p.name for p in (cell / "taken").iterdir()] == ["a.csv"]
    assert list((cell / "inbox").iterdir()) == []


def test_a_file_that_grows_is_not_taken_before_it_ends_its_line(cell, receiver):
    lines = rows(10)
    path = write(cell / "inbox", "a.csv", HEADER, lines)
    whole = path.read_bytes()
    path.write_bytes(whole[:-3])
    assert settled(receiver) == []
    assert list(receiver.look(DOUBT_S - 1)) == []
    path.write_bytes(whole)
    [one] = settled(receiver, start=DOUBT_S)
    assert (one.file.taken, len(one.file.set_aside)) == (80, 0)


def test_what_was_written_after_the_file_was_moved_is_read_too(cell, receiver):
    lines = rows(10)
    path = write(cell / "inbox", "a.csv", HEADER, lines[:40])
    with path.open("a", encoding="utf-8") as still_open:
        [first] = settled(receiver)
        still_open.write("\n".join(lines[40:]) + "\n")
    assert not path.exists()
    [more] = receiver.look(60.0)
    assert (first.file.taken, more.file.taken, more.file.known) == (40, 40, 40)


def test_a_file_taken_before_a_crash_and_not_moved_is_known_the_second_time(cell, receiver):
    write(cell / "inbox", "a.csv", HEADER, rows(10))
    monitor = cellmon.open_cell(cell)
    monitor.take([cell / "inbox" / "a.csv"])
    monitor.close()
    [one] = settled(receiver)
    assert (one.what, one.file.taken, one.file.known) == ("taken", 0, 80)


def test_what_cannot_be_read_is_set_aside_with_the_reason_beside_it(cell, receiver):
    (cell / "inbox" / "a.csv").write_text("what,is,this\n1,2,3\n", encoding="utf-8")
    assert settled(receiver) == []
    [one] = receiver.look(DOUBT_S + 1)
    assert one.what == "set-aside"
    reason = (cell / "set-aside" / "a.csv.why.txt").read_text(encoding="utf-8")
    assert reason.strip() == one.words
    assert (cell / "set-aside" / "a.csv").exists()


def test_two_files_of_one_name_are_both_kept(cell, receiver):
    for n, lines in enumerate((rows(10), rows(10, seed=9, minutes=3))):
        write(cell / "inbox", "a.csv", HEADER, lines)
        settled(receiver, start=100.0 * n)
    assert sorted(p.name for p in (cell / "taken").iterdir()) == ["a-2.csv", "a.csv"]


@pytest.mark.parametrize("name", ["a.csv.part", ".a.csv", "a.csv~", "~$a.xlsx"])
def test_what_another_program_still_makes_is_left_alone(cell, receiver, name):
    write(cell / "inbox", name, HEADER, rows(10))
    assert settled(receiver) == []
    assert (cell / "inbox" / name).exists()


def test_a_share_that_vanishes_is_said_once_and_picked_up_again(cell, receiver):
    (cell / "inbox").rename(cell / "away")
    said = [*receiver.look(0.0), *receiver.look(1.0), *receiver.look(2.0)]
    assert [one.what for one in said] == ["waits"]
    write(cell / "away", "a.csv", HEADER, rows(10))
    (cell / "away").rename(cell / "inbox")
    after = settled(receiver, start=10.0)
    assert [one.what for one in after] == ["back", "taken"]


def test_a_store_that_is_away_for_an_hour_loses_nothing(cell):
    away = [True]

    def open_cell(folder: Path) -> Monitor:
        if away[0]:
            raise StoreRefused("the store is not there")
        return cellmon.open_cell(folder)

    receiver = Receiver(cell, open_cell)
    write(cell / "inbox", "a.csv", HEADER, rows(10))
    said = [one for minute in range(60) for one in receiver.look(60.0 * minute)]
    assert [one.what for one in said] == ["waits"]
    write(cell / "inbox", "b.csv", HEADER, rows(10, seed=9, minutes=3))
    away[0] = False
    after = settled(receiver, start=3600.0)
    assert sorted(one.what for one in after) == ["back", "taken", "taken"]
    files = [one.file for one in after if one.file]
    assert sum(f.taken + len(f.set_aside) for f in files) == 160


def test_a_file_that_cannot_be_opened_waits_and_the_others_go_on(cell, receiver):
    (cell / "inbox" / "a.csv").symlink_to(cell / "nowhere")
    held = write(cell / "inbox", "b.csv", HEADER, rows(10))
    write(cell / "inbox", "c.csv", HEADER, rows(10, seed=9, minutes=3))
    real = Path.open

    def refuse(path: Path, *given, **named):
        if path == held:
            raise PermissionError(13, "Permission denied")
        return real(path, *given, **named)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Path, "open", refuse)
        said = [*settled(receiver, after=DOUBT_S + 1), *receiver.look(DOUBT_S + 2)]
    assert sorted((one.what, one.about) for one in said) == [("taken", "c.csv"), ("waits", "b.csv")]
    [one] = receiver.look(DOUBT_S + 4)
    assert (one.what, one.about) == ("taken", "b.csv")


def test_the_command_takes_what_arrives_and_ends_when_told(cell):
    run = [sys.executable, "-m", "cellmon", "receive", "--cell", str(cell), "--json"]
    with subprocess.Popen(run, stdout=subprocess.PIPE, text=True) as process:
        time.sleep(1.0)
        write(cell / "inbox", "a.csv", HEADER, rows(10))
        line = process.stdout.readline()
        process.send_signal(signal.SIGTERM)
        assert process.wait(timeout=20) == 0
    assert '"what":"taken"' in line
    assert [p.name for p in (cell / "taken").iterdir()] == ["a.csv"]


def test_once_takes_what_is_there_and_ends(cell):
    write(cell / "inbox", "a.csv", HEADER, rows(10))
    run = [sys.executable, "-m", "cellmon", "receive", "--cell", str(cell), "--once"]
    done = subprocess.run(run, capture_output=True, text=True, timeout=60, check=True)
    assert "80 rows of readings: 80 taken" in done.stdout

"""Killed at random moments: what was begun is wholly there or wholly not, and doing it again completes it.

A few trials run always; `pytest -m slow -s tests/crash` makes 520 (figures in docs/robustness.md).
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

import cellmon
from cellmon.monitor import Monitor
from cellmon.monitor.receive import Receiver
from tests.crash.killed import moments, readings_of, run_in_child, with_cell
from tests.small_cell import HEADER, derived, new_cell, rows, write

BLOCKS, FILES = 400, 8
FEW, MANY = 3, 130
"""Trials of each kind of work, always and in the long run."""


@dataclass
class Count:
    """How many trials were killed at work, and what they had kept by then."""

    killed: int = 0
    nothing: int = 0
    part: int = 0
    whole: int = 0


@pytest.fixture(scope="module")
def files(tmp_path_factory) -> list[Path]:
    """Files of one cell, each a stretch of time."""
    folder, lines = tmp_path_factory.mktemp("files"), rows(BLOCKS, minutes=3)
    each = len(lines) // FILES
    return [write(folder, f"{i}.csv", HEADER, lines[i * each : (i + 1) * each]) for i in range(FILES)]


@pytest.fixture(scope="module")
def plain(tmp_path_factory, files) -> dict[str, str]:
    """What is derived where nothing is ever killed."""
    monitor = new_cell(tmp_path_factory.mktemp("plain") / "cell")
    monitor.take(files)
    return derived(monitor)


def lines_of(path: Path) -> int:
    return len(path.read_text(encoding="utf-8").splitlines()) - 1


def opened(folder: Path, ask: Callable[[Monitor], object]) -> object:
    """Ask a cell one thing with a store opened anew and let go of."""
    return with_cell(folder, ask)()


def killed_takes(folder: Path, files: list[Path], trials: int, seed: int, plain: dict[str, str]) -> Count:
    count, cell, number = Count(), folder / "cell-0", 0
    new_cell(cell).close()
    longest = run_in_child(with_cell(cell, lambda m: m.take(files[:1]))).seconds
    next_, held = 1, lines_of(files[0])
    for after in moments(trials, longest_s=longest, seed=seed):
        if next_ == FILES:
            assert opened(cell, derived) == plain
            assert opened(cell, lambda m: m.check(rebuild=True)).sound
            number, next_, held = number + 1, 0, 0
            cell = folder / f"cell-{number}"
            new_cell(cell).close()
        path, size = files[next_], lines_of(files[next_])
        ended = run_in_child(with_cell(cell, lambda m, p=path: m.take([p])), kill_after_s=after)
        kept = opened(cell, readings_of) - held
        assert kept in (0, size), f"{kept} of {size} readings of {path.name} after {after:.3f} s"
        count.killed += ended.killed
        count.nothing += ended.killed and kept == 0
        count.whole += ended.killed and kept == size
        again = opened(cell, lambda m, p=path: m.take([p])).files[0]
        assert (again.taken, again.known) == ((size, 0) if kept == 0 else (0, size))
        held, next_ = held + size, next_ + 1
    return count


def killed_receives(folder: Path, files: list[Path], trials: int, seed: int, plain: dict[str, str]) -> Count:
    """Kill a receiver between and inside the files of its inbox; start it again; compare."""
    count, longest = Count(), 0.0
    for number, after in enumerate([None, *moments(trials, longest_s=1.0, seed=seed)]):
        cell = folder / f"cell-{number}"
        new_cell(cell).close()
        (cell / "inbox").mkdir()
        for path in files:
            (cell / "inbox" / path.name).write_bytes(path.read_bytes())
        ended = run_in_child(
            lambda c=cell: receive(c), kill_after_s=None if after is None else after * longest
        )
        longest = longest or ended.seconds
        kept = opened(cell, readings_of)
        sizes = [lines_of(p) for p in files]
        ends = [sum(sizes[:i]) for i in range(FILES + 1)]
        assert kept in ends, f"{kept} readings: no whole number of files"
        count.killed += ended.killed
        count.nothing += ended.killed and kept == 0
        count.part += ended.killed and 0 < kept < ends[-1]
        count.whole += ended.killed and kept == ends[-1]
        receive(cell)
        assert opened(cell, derived) == plain
        assert sorted(p.name for p in (cell / "taken").iterdir()) == [p.name for p in files]
        assert list((cell / "inbox").iterdir()) == []
    return count


def receive(cell: Path) -> None:
    receiver = Receiver(cell, cellmon.open_cell)
    for now in (0.0, 5.0):
        for _ in receiver.look(now):
            pass
    receiver.close()


def killed_decisions(folder: Path, files: list[Path], trials: int, seed: int, plain: dict[str, str]) -> Count:
    """Kill while limits are frozen: all streams' entries of one freeze are there, or none."""
    count, cell = Count(), folder / "cell"
    monitor = new_cell(cell)
    monitor.take(files)
    monitor.close()
    longest = run_in_child(with_cell(cell, lambda m: m.freeze(by="A", why="first"))).seconds
    entries = len(opened(cell, lambda m: m.journal()).entries)
    each = entries
    for number, after in enumerate(moments(trials, longest_s=longest, seed=seed)):
        why = f"number {number}"
        ended = run_in_child(with_cell(cell, lambda m, w=why: m.freeze(by="A", why=w)), kill_after_s=after)
        journal = opened(cell, lambda m: m.journal())
        kept = sum(e.why == why for e in journal.entries)
        assert journal.whole
        assert kept in (0, each) and len(journal.entries) == entries + kept
        count.killed += ended.killed
        count.nothing += ended.killed and kept == 0
        count.whole += ended.killed and kept == each
        entries += kept
    assert opened(cell, lambda m: m.check(rebuild=True)).sound
    return count


def killed_updates(folder: Path, files: list[Path], trials: int, seed: int, plain: dict[str, str]) -> Count:
    """Kill while the schema of an older program is brought up to date, which derives everything anew."""
    count, cell = Count(), folder / "cell"
    monitor = new_cell(cell)
    monitor.take(files)
    monitor.close()
    make_old(cell)
    longest = run_in_child(with_cell(cell, lambda m: None)).seconds
    for after in moments(trials, longest_s=longest, seed=seed):
        make_old(cell)
        ended = run_in_child(with_cell(cell, lambda m: None), kill_after_s=after)
        version = version_of(cell)
        assert version == OLD or opened(cell, derived) == plain
        count.killed += ended.killed
        count.nothing += ended.killed and version == OLD
        count.whole += ended.killed and version != OLD
        assert opened(cell, derived) == plain
    assert opened(cell, readings_of) == sum(map(lines_of, files))
    return count


OLD = 1


def make_old(cell: Path) -> None:
    """Make a store say that it was written by the first program, which knew no later migration."""
    with sqlite3.connect(cell / "cell.db") as conn:
        conn.execute("DELETE FROM schema_version WHERE version > ?", (OLD,))
    conn.close()


def version_of(cell: Path) -> int:
    conn = sqlite3.connect(cell / "cell.db")
    [found] = conn.execute("SELECT max(version) FROM schema_version").fetchone()
    conn.close()
    return int(found)


KINDS = (killed_takes, killed_receives, killed_decisions, killed_updates)


@pytest.mark.parametrize("trial", KINDS)
def test_nothing_is_half_there_after_a_kill(trial, tmp_path, files, plain):
    count = trial(tmp_path, files, FEW, 5, plain)
    assert count.killed == count.nothing + count.part + count.whole


@pytest.mark.slow
@pytest.mark.parametrize("trial", KINDS)
def test_nothing_is_half_there_after_many_kills(trial, tmp_path, files, plain):
    count = trial(tmp_path, files, MANY, 97, plain)
    print(f"\n{trial.__name__}: {MANY} trials, {count}")
    assert count.killed > MANY // 2

"""Killed at random moments: what was begun is wholly there or wholly not, and doing it again completes it.

A few trials run always; `pytest -m slow -s tests/crash` makes 650 on SQLite and 150 on PostgreSQL (figures
in docs/robustness.md).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest
from sqlalchemy import create_engine, func, make_url, select

import cellmon
from cellmon.errors import StoreRefused
from cellmon.intake.store_line import with_store
from cellmon.monitor import Monitor
from cellmon.monitor.receive import Receiver
from cellmon.store import schema
from tests.crash.killed import moments, readings_of, run_in_child, with_cell
from tests.small_cell import HEADER, derived, new_cell, rows, write
from tests.store.conftest import new_database

BLOCKS, FILES = 400, 8
FEW, MANY = 2, {"sqlite": 130, "postgresql": 30}
"""Trials of each kind of work, always and in the long run."""


@dataclass(frozen=True, kw_only=True)
class Place:
    """Where cells of one kind of store are made."""

    folder: Path
    url_of: Callable[[], str]

    def cell(self, name: str) -> Path:
        """Make an empty cell."""
        new_cell(self.folder / name, url=self.url_of()).close()
        return self.folder / name

    def filled(self, name: str, files: list[Path]) -> Path:
        """Make a cell that holds some files."""
        cell = self.cell(name)
        opened(cell, lambda m: m.take(files))
        return cell


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


def settled(folder: Path) -> None:
    """Wait until what a server still does for a program that was killed is done or undone."""

    def wait(monitor: Monitor) -> None:
        with monitor._store.writing():
            pass

    opened(folder, wait)


def killed_takes(place: Place, files: list[Path], trials: int, seed: int, plain: dict[str, str]) -> Count:
    count, cell, number = Count(), place.cell("cell-0"), 0
    longest = run_in_child(with_cell(cell, lambda m: m.take(files[:1]))).seconds
    next_, held = 1, lines_of(files[0])
    for after in moments(trials, longest_s=longest, seed=seed):
        if next_ == FILES:
            assert opened(cell, derived) == plain
            assert opened(cell, lambda m: m.check(rebuild=True)).sound
            number, next_, held = number + 1, 0, 0
            cell = place.cell(f"cell-{number}")
        path, size = files[next_], lines_of(files[next_])
        ended = run_in_child(with_cell(cell, lambda m, p=path: m.take([p])), kill_after_s=after)
        settled(cell)
        kept = opened(cell, readings_of) - held
        assert kept in (0, size), f"{kept} of {size} readings of {path.name} after {after:.3f} s"
        count.killed += ended.killed
        count.nothing += ended.killed and kept == 0
        count.whole += ended.killed and kept == size
        again = opened(cell, lambda m, p=path: m.take([p])).files[0]
        assert (again.taken, again.known) == ((size, 0) if kept == 0 else (0, size))
        held, next_ = held + size, next_ + 1
    return count


def killed_receives(place: Place, files: list[Path], trials: int, seed: int, plain: dict[str, str]) -> Count:
    """Kill a receiver between and inside the files of its inbox; start it again; compare."""
    count, longest = Count(), 0.0
    for number, after in enumerate([None, *moments(trials, longest_s=1.0, seed=seed)]):
        cell = place.cell(f"cell-{number}")
        (cell / "inbox").mkdir()
        for path in files:
            (cell / "inbox" / path.name).write_bytes(path.read_bytes())
        ended = run_in_child(
            lambda c=cell: receive(c), kill_after_s=None if after is None else after * longest
        )
        longest = longest or ended.seconds
        settled(cell)
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


def killed_decisions(place: Place, files: list[Path], trials: int, seed: int, plain: dict[str, str]) -> Count:
    """Kill while limits are frozen: all streams' entries of one freeze are there, or none."""
    count, cell = Count(), place.filled("cell", files)
    longest = run_in_child(with_cell(cell, lambda m: m.freeze(by="A", why="first"))).seconds
    entries = len(opened(cell, lambda m: m.journal()).entries)
    each = entries
    for number, after in enumerate(moments(trials, longest_s=longest, seed=seed)):
        why = f"number {number}"
        ended = run_in_child(with_cell(cell, lambda m, w=why: m.freeze(by="A", why=w)), kill_after_s=after)
        settled(cell)
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


def killed_updates(place: Place, files: list[Path], trials: int, seed: int, plain: dict[str, str]) -> Count:
    """Kill while the schema of an older program is brought up to date, which derives everything anew."""
    count, cell = Count(), place.filled("cell", files)
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


def engine_of(cell: Path):
    """Return an engine on the store that a sheet names, beside the program's own."""
    url = make_url(cellmon.intake.read_sheet(cell / "cell.toml").sheet.store.url)
    return create_engine(url.set(database=str(cell / url.database)) if url.drivername == "sqlite" else url)


def make_old(cell: Path) -> None:
    """Make a store say that it was written by the first program, which knew no later migration."""
    engine, table = engine_of(cell), schema.SCHEMA_VERSION
    with engine.begin() as conn:
        conn.execute(table.delete().where(table.c.version > OLD))
    engine.dispose()


def version_of(cell: Path) -> int:
    engine = engine_of(cell)
    with engine.connect() as conn:
        found = conn.execute(select(func.max(schema.SCHEMA_VERSION.c.version))).scalar()
    engine.dispose()
    return int(found or 0)


def killed_moves(place: Place, files: list[Path], trials: int, seed: int, plain: dict[str, str]) -> Count:
    """Kill while a cell moves to another store: it is in one of the two, whole, and moving again ends it."""
    count, longest = Count(), 0.0
    for number, after in enumerate([None, *moments(trials, longest_s=1.0, seed=seed)]):
        cell, to = place.filled(f"cell-{number}", files), place.url_of().replace("cell.db", "moved.db")
        before = (cell / "cell.toml").read_text(encoding="utf-8")
        ended = run_in_child(
            with_cell(cell, lambda m, u=to: m.move(u)),
            kill_after_s=None if after is None else after * longest,
        )
        longest = longest or ended.seconds
        moved = (cell / "cell.toml").read_text(encoding="utf-8") != before
        count.killed += ended.killed
        count.nothing += ended.killed and not moved
        count.whole += ended.killed and moved
        if not moved:
            end_the_move(cell, to)
        assert opened(cell, derived) == plain
        assert cellmon.intake.read_sheet(cell / "cell.toml").sheet.store.url == to
    return count


def end_the_move(cell: Path, to: str) -> None:
    """Move again; where the old store was left already its sentence says what to write into the sheet."""
    try:
        settled(cell)
        opened(cell, lambda m: m.move(to))
    except StoreRefused as left:
        assert "has moved to" in str(left)
        text = (cell / "cell.toml").read_text(encoding="utf-8")
        (cell / "cell.toml").write_text(with_store(text, to), encoding="utf-8")


KINDS = (killed_takes, killed_receives, killed_decisions, killed_updates, killed_moves)


@pytest.fixture(params=["sqlite", "postgresql"])
def kind(request) -> str:
    """Each kind of store in turn."""
    return request.param


@pytest.fixture
def place(kind, request, tmp_path) -> Place:
    """Where this test makes its cells."""
    if kind == "sqlite":
        return Place(folder=tmp_path, url_of=lambda: "sqlite:///cell.db")
    server = request.getfixturevalue("postgres_url")
    return Place(folder=tmp_path, url_of=lambda: new_database(server))


@pytest.mark.parametrize(
    ("trial", "kind"), [*((one, "sqlite") for one in KINDS), (killed_takes, "postgresql")], indirect=["kind"]
)
def test_nothing_is_half_there_after_a_kill(trial, kind, place, files, plain):
    count = trial(place, files, FEW, 5, plain)
    assert count.killed == count.nothing + count.part + count.whole


@pytest.mark.slow
@pytest.mark.parametrize("trial", KINDS)
def test_nothing_is_half_there_after_many_kills(trial, kind, place, files, plain):
    count = trial(place, files, MANY[kind], 97, plain)
    print(f"\n{trial.__name__} on {kind}: {MANY[kind]} trials, {count}")
    assert count.killed > MANY[kind] // 3

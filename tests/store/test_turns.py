"""Writers of one SQLite store take turns in the order in which they came."""

from __future__ import annotations

import json
import os
import random
import signal
import threading
import time
from pathlib import Path

import numpy as np
import pytest

from cellmon.errors import StoreRefused
from cellmon.store import Store, engine
from cellmon.store.turns import NotYet, in_line

WRITERS, TURNS = 6, 12


def held(database: Path, go: threading.Event) -> threading.Thread:
    """Begin to write and go on until told."""
    inside = threading.Event()

    def hold() -> None:
        with in_line(database, wait_s=30):
            inside.set()
            assert go.wait(30)

    thread = threading.Thread(target=hold)
    thread.start()
    assert inside.wait(30)
    return thread


def places(database: Path) -> int:
    """Return how many places in the line were ever given out."""
    return int.from_bytes(database.with_name("cell.db-line").read_bytes()[:8], "big")


def test_who_came_first_writes_first(tmp_path):
    database, go, order = tmp_path / "cell.db", threading.Event(), []
    first = held(database, go)

    def write(who: int) -> None:
        with in_line(database, wait_s=30):
            order.append(who)

    waiting = []
    for who in range(8):
        waiting.append(threading.Thread(target=write, args=(who,)))
        waiting[-1].start()
        while places(database) < who + 2:
            first.join(0.001)
    go.set()
    for thread in (first, *waiting):
        thread.join(30)
    assert order == list(range(8))


def test_nobody_waits_for_a_writer_that_was_killed_or_for_one_that_gave_up(tmp_path):
    database, go = tmp_path / "cell.db", threading.Event()
    said, done = os.pipe()
    child = os.fork()
    if child == 0:
        with in_line(database, wait_s=30):
            os.write(done, b"x")
            signal.pause()
    assert os.read(said, 1) == b"x"
    with pytest.raises(NotYet), in_line(database, wait_s=0.05):
        pass
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    with in_line(database, wait_s=30):
        pass
    first = held(database, go)
    go.set()
    first.join(30)


def test_where_the_folder_may_not_be_written_there_is_no_line(tmp_path):
    with in_line(tmp_path / "nowhere" / "cell.db", wait_s=0.1):
        pass


def test_who_waits_too_long_is_told_in_a_sentence(tmp_path, monkeypatch):
    store, go = Store("sqlite:///cell.db", folder=tmp_path, at=0), threading.Event()
    first = held(tmp_path / "cell.db", go)
    monkeypatch.setattr(engine, "WAIT_S", 0.05)
    with pytest.raises(StoreRefused, match="another program has been writing"), store.writing():
        pass
    go.set()
    first.join(30)
    with store.writing():
        pass
    store.close()


def test_no_writer_waits_longer_than_for_some_turns_of_each_other(tmp_path):
    Store("sqlite:///cell.db", folder=tmp_path, at=0).close()
    order: list[int] = []

    def work(who: int) -> None:
        store = Store("sqlite:///cell.db", folder=tmp_path, at=0)
        for turn in range(TURNS):
            with store.writing() as session:
                at, name = np.datetime64("2026-01-01", "us"), f"writer {who}"
                session.decide(at=at, by=name, why="turn", kind="k", subject=str(turn), body={})
                order.append(who)
        store.close()

    threads = [threading.Thread(target=work, args=(who,)) for who in range(WRITERS)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(120)
    assert len(order) == WRITERS * TURNS
    for who in range(WRITERS):
        waits = np.diff([i for i, one in enumerate(order) if one == who])
        assert waits.max() <= 2 * WRITERS, f"writer {who} waited for {waits.max()} turns of others"


def work_on(folder: Path, who: int, *, seconds: float) -> None:
    """Write again and again, half a second each time, hardly a pause between; keep how long each wait was."""
    store, draw, waits = Store("sqlite:///cell.db", folder=folder, at=0), random.Random(who), []
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        asked = time.monotonic()
        with store.writing():
            waits.append(time.monotonic() - asked)
            time.sleep(0.5 * draw.uniform(0.5, 1.5))
        time.sleep(0.01 * draw.uniform(0.5, 1.5))
    (folder / f"waits-{who}.json").write_text(json.dumps(waits), encoding="utf-8")
    store.close()


@pytest.mark.slow
def test_six_programs_that_always_write_wait_alike(tmp_path):
    Store("sqlite:///cell.db", folder=tmp_path, at=0).close()
    children = []
    for who in range(WRITERS):
        child = os.fork()
        if child == 0:
            work_on(tmp_path, who, seconds=100.0)
            os._exit(0)
        children.append(child)
    for child in children:
        os.waitpid(child, 0)
    waits = [json.loads(path.read_text(encoding="utf-8")) for path in sorted(tmp_path.glob("waits-*.json"))]
    turns = [len(one) for one in waits]
    print(f"\nlongest wait {max(map(max, waits)):.1f} s; {min(turns)} to {max(turns)} turns each")
    assert min(turns) > 0.7 * max(turns)

"""The order in which rows arrive changes no answer: shuffled, split and repeated batches end alike."""

from __future__ import annotations

import itertools
import random

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import create_engine, text

from tests.small_cell import (
    CHECKS,
    EVENTS,
    HEADER,
    batches,
    checks,
    derived,
    events,
    new_cell,
    rows,
    told,
    write,
)

NAMES = itertools.count()
ROWS = rows(jump_at=95)
TABLES = ("bores", "subgroups", "doubts")


@pytest.fixture(scope="module", params=["sqlite", "postgresql"])
def fresh_url(request, tmp_path_factory):
    """Return a function that gives the URL of an empty store of one kind."""
    if request.param == "sqlite":
        return lambda: "sqlite:///cell.db"
    server = request.getfixturevalue("postgres_url")

    def new_database() -> str:
        name = f"order_{next(NAMES)}"
        engine = create_engine(f"{server}/postgres", isolation_level="AUTOCOMMIT")
        with engine.connect() as conn:
            conn.execute(text(f"CREATE DATABASE {name}"))
        engine.dispose()
        return f"{server}/{name}"

    return new_database


@pytest.fixture(scope="module")
def in_order(tmp_path_factory):
    """The state after everything was taken once, in order."""
    folder = tmp_path_factory.mktemp("in-order")
    monitor = new_cell(folder)
    monitor.take(
        [
            write(folder, "events.csv", EVENTS, events()),
            write(folder, "checks.csv", CHECKS, checks()),
            write(folder, "rows.csv", HEADER, ROWS),
        ]
    )
    return derived(monitor), told(monitor)


@settings(
    max_examples=10,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(
    seed=st.integers(0, 2**32 - 1),
    pieces=st.integers(1, 6),
    repeats=st.integers(0, 2),
    log_first=st.sampled_from(["before", "between", "after"]),
)
def test_shuffled_split_and_repeated_rows_end_in_the_same_state(
    tmp_path_factory, fresh_url, in_order, seed, pieces, repeats, log_first
):
    shuffle = random.Random(seed)
    folder = tmp_path_factory.mktemp("shuffled")
    monitor = new_cell(folder, url=fresh_url())
    logs = [write(folder, "events.csv", EVENTS, shuffle.sample(events(), k=len(events())))]
    logs += [write(folder, "checks.csv", CHECKS, shuffle.sample(checks(), k=len(checks())))]
    parts = [
        write(folder, f"rows-{i}.csv", HEADER, part)
        for i, part in enumerate(batches(ROWS, shuffle=shuffle, pieces=pieces, repeats=repeats))
    ]
    place = {"before": 0, "between": len(parts) // 2, "after": len(parts)}[log_first]
    taken = monitor.take([*parts[:place], *logs, *parts[place:]])
    assert sum(f.taken for f in taken.files) == len(ROWS) + len(events()) + len(checks())
    assert all(f.rows == f.taken + f.known + len(f.set_aside) for f in taken.files)
    state, signals = in_order
    found = derived(monitor)
    assert {name: found[name] for name in TABLES} == {name: state[name] for name in TABLES}
    assert told(monitor) == signals
    monitor.close()


def test_the_state_in_order_holds_what_the_property_is_about(in_order, tmp_path):
    """A state with nothing in it would be the same in any order too."""
    assert in_order[1], "the jump must raise signals"
    monitor = new_cell(tmp_path)
    monitor.take([write(tmp_path, "rows.csv", HEADER, ROWS[:-40])])
    other = derived(monitor)
    assert all(other[name] != in_order[0][name] for name in ("bores", "subgroups"))


def test_taking_the_same_file_twice_knows_every_row(tmp_path):
    monitor = new_cell(tmp_path)
    path = write(tmp_path, "rows.csv", HEADER, ROWS)
    first = monitor.take([path]).files[0]
    before = derived(monitor)
    again = monitor.take([path]).files[0]
    assert (first.taken, first.known) == (len(ROWS), 0)
    assert (again.taken, again.known, again.set_aside) == (0, len(ROWS), ())
    assert derived(monitor) == before


def test_what_is_derived_equals_what_is_recomputed(tmp_path):
    monitor = new_cell(tmp_path)
    monitor.take([write(tmp_path, "rows.csv", HEADER, ROWS), write(tmp_path, "e.csv", EVENTS, events())])
    assert monitor.check(rebuild=True).sound

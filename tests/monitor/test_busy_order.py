"""Everything at once, in any order: taken piece by piece, all at once, or thrown away and rebuilt."""

from __future__ import annotations

import random

import numpy as np
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from tests.monitor.busy_cell import (
    BUSY_EVENTS,
    BUSY_HEADER,
    BUSY_SHEET,
    busy_checks,
    busy_events,
    busy_rows,
)
from tests.small_cell import CHECKS, batches, derived, new_cell, told, write

WITHIN = {
    "shift": 'within = ["shift", "stone_set", "dressing"]',
    "no shift": 'within = ["stone_set", "dressing", "fixture"]',
}


@settings(
    max_examples=8,
    phases=[Phase.explicit, Phase.reuse, Phase.generate],  # a smaller example would take minutes to find
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(
    seed=st.integers(0, 2**32 - 1),
    pieces=st.integers(2, 9),
    mixed=st.booleans(),
    within=st.sampled_from(sorted(WITHIN)),
)
def test_any_order_of_anything_ends_in_one_state(tmp_path_factory, seed, pieces, mixed, within):
    rng, shuffle = np.random.default_rng(seed), random.Random(seed)
    sheet = BUSY_SHEET.replace("size = 3", "size = 3\n" + WITHIN[within])
    rows = busy_rows(rng, 130)
    events, checks = busy_events(rng, 30), busy_checks(rng, 30)
    parts = list(batches(rows, shuffle=shuffle, pieces=pieces, repeats=1))
    if not mixed:  # in order of time, but with one piece that comes last
        cuts = sorted(shuffle.sample(range(1, len(rows)), k=pieces - 1))
        parts = [rows[a:b] for a, b in zip([0, *cuts], [*cuts, len(rows)], strict=True)]
        parts.append(parts.pop(shuffle.randrange(len(parts))))
    folder = tmp_path_factory.mktemp("busy")
    files = [write(folder, f"rows-{i}.csv", BUSY_HEADER, part) for i, part in enumerate(parts)]
    for i, event in enumerate(events):
        files.insert(shuffle.randrange(len(files) + 1), write(folder, f"e-{i}.csv", BUSY_EVENTS, [event]))
    for i, check in enumerate(checks):
        files.insert(shuffle.randrange(len(files) + 1), write(folder, f"c-{i}.csv", CHECKS, [check]))
    piecewise = new_cell(folder / "piecewise", sheet=sheet)
    taken = piecewise.take(files)
    assert all(f.rows == f.taken + f.known + len(f.set_aside) for f in taken.files)
    before = derived(piecewise)
    report = piecewise.check(rebuild=True)
    assert report.sound, report.rebuilt
    at_once = new_cell(folder / "at-once", sheet=sheet)
    at_once.take(
        [
            write(folder, "events.csv", BUSY_EVENTS, events),
            write(folder, "checks.csv", CHECKS, checks),
            write(folder, "rows.csv", BUSY_HEADER, rows),
        ]
    )
    found = derived(at_once)
    assert found == before
    assert told(at_once) == told(piecewise)
    piecewise.close()
    at_once.close()

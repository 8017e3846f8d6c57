"""What a batch leaves kept of the signals is what every call of the history, put together anew, gives."""

from __future__ import annotations

import json
import random
from itertools import pairwise

import pytest

from cellmon.monitor.judge import told
from cellmon.monitor.judge.signals import named_groups
from tests.monitor.shifting_cell import (
    SHIFTING_EVENTS,
    SHIFTING_HEADER,
    SHIFTING_SHEET,
    event_rows,
    shifting_rows,
)
from tests.small_cell import CHECKS, checks, new_cell, write


def as_text(group):
    return group.id + json.dumps([told.plain(call) for call in group.calls], sort_keys=True)


def kept_and_anew(monitor):
    """Return the signals as they are kept, and as put together from every call, each as texts."""
    with monitor._view() as view:
        assert told.basis_of(view.session, view.rules) is not None, "the next batch is bounded"
        kept = told.told_groups(view.session, until=view.as_of)
        anew = named_groups(view.session, view.rules, until=view.as_of).groups
        return sorted(map(as_text, kept)), sorted(map(as_text, anew))


@pytest.mark.parametrize("seed", [1, 2])
def test_late_corrected_and_repeated_batches_leave_what_the_whole_history_gives(tmp_path, seed):
    monitor = new_cell(tmp_path / "cell", sheet=SHIFTING_SHEET)
    rows, events, shuffle = shifting_rows(), event_rows(), random.Random(seed)
    edges = [0, *sorted(shuffle.sample(range(1, len(rows)), 5)), len(rows)]
    pieces = [rows[a:b] for a, b in pairwise(edges)]
    late = pieces.pop(shuffle.randrange(4))
    files = [write(tmp_path, f"{i}.csv", SHIFTING_HEADER, piece) for i, piece in enumerate(pieces)]
    files.insert(2, write(tmp_path, "events.csv", SHIFTING_EVENTS, events))
    files.insert(4, write(tmp_path, "checks.csv", CHECKS, checks()))
    files += [write(tmp_path, "late.csv", SHIFTING_HEADER, late), files[0]]
    seen = 0
    for file in files:
        monitor.take([file])
        kept, anew = kept_and_anew(monitor)
        assert kept == anew, file.name
        seen = max(seen, len(kept))
    assert seen > 1, "there were signals to put together"

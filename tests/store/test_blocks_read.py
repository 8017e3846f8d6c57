"""Blocks that a session reads once: what it returns is what one returns that reads them each time."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest

from cellmon.store import blocks_read
from tests.monitor.test_signals import lines, quiet
from tests.small_cell import HEADER, new_cell, write


@pytest.fixture(scope="module")
def cell(tmp_path_factory):
    folder = tmp_path_factory.mktemp("blocks")
    monitor = new_cell(folder / "cell")
    monitor.take([write(folder, "rows.csv", HEADER, lines(quiet(360)))])
    yield monitor
    monitor.close()


def found(session, stream):
    start = session.units_watched()[0] + np.timedelta64(9, "h")
    return [
        batch.digest()
        for batch in (
            session.subgroups(stream),
            session.subgroups(stream, last=7),
            session.subgroups(stream, start=start),
            session.subgroups(stream, last=200),
            session.bores(last=5),
            session.bores(start=start),
            session.bores(bore="1"),
        )
    ]


@pytest.mark.parametrize("most", [1, 2, 48])
def test_a_session_that_only_reads_returns_what_another_does(cell, monkeypatch, most):
    monkeypatch.setattr(blocks_read, "MOST_BLOCKS", most)
    with cell._view() as view:
        stream = view.streams[0]
        assert view.session.only_reads
        assert len(view.session.units_watched()) > 2
        once = found(view.session, stream)
        again = found(view.session, stream)
    with cell._store.writing() as session:
        assert not session.only_reads
        each = found(session, stream)
    assert once == again == each


def test_what_was_read_of_a_state_is_not_read_again(cell):
    with cell._view() as view:
        stream = view.streams[0]
        first = view.session.subgroups(stream)
        view.session.conn.close()
        assert view.session.subgroups(stream).digest() == first.digest()


def test_bores_honed_first_are_those_of_the_unit_each_once(cell):
    with cell._view() as view:
        unit = view.session.units_watched()[0]
        bores = view.session.bores_of_unit(unit)
        for spindle, honed in view.session.first_honed(unit).items():
            mine = bores.spindle == spindle
            at = np.where(np.isnat(bores.honed_at), bores.measured_at, bores.honed_at)[mine]
            names = zip(bores.part[mine], bores.bore[mine], strict=True)
            every = {}
            for name, moment in sorted(zip(names, at, strict=True), key=lambda one: one[1]):
                every.setdefault(name, moment)
            assert honed.at.tolist() == [moment.item() for moment in every.values()]


def test_bores_honed_in_units_are_counted_as_those_honed_first(cell):
    with cell._view() as view:
        units = view.session.units_watched()
        kept = view.session.honed_in_units()
        counted = Counter()
        for unit in units:
            for name, one in view.session.first_honed(unit).items():
                counted.update((unit, name, part) for part in one.part_number.tolist())
        places = zip(kept.start, kept.spindle.tolist(), kept.part_number.tolist(), strict=True)
        assert dict(zip(places, kept.bores.tolist(), strict=True)) == counted
        ends = dict(zip(kept.start, kept.end, strict=True))
        assert ends == {unit: view.session.bores_of_unit(unit).measured_at.max() for unit in units}
        assert len(units) > 2
        earlier = view.session.honed_in_units(before=units[2])
        assert earlier.bores.tolist() == kept.bores[kept.start < units[2]].tolist()

"""A block names the hold lists it stands on, also those of signals that were over when it was made."""

from __future__ import annotations

import shutil

import numpy as np
import pytest

import cellmon
from cellmon.monitor import part_lists, part_signals, signals_told
from cellmon.monitor.part_said import older_lists
from cellmon.monitor.part_signals import Audited
from cellmon.monitor.signals import WAITING
from cellmon.shifts import to_utc
from tests.small_cell import HEADER, new_cell, rows, write


@pytest.fixture
def week(demo_week, tmp_path):
    shutil.copytree(demo_week, tmp_path / "week")
    opened = cellmon.open_cell(tmp_path / "week")
    yield opened
    opened.close()


def names(signals):
    return {one.id for one in signals}


def test_the_newest_block_stands_on_every_list_that_runs_on_and_on_none_that_was_answered(week):
    newest = week.newest_parts().parts[0]
    waiting = [s for s in week.signals().signals if s.state in WAITING and s.over][:4]
    story = week.part(newest)
    assert not names(story.held_for) & names(story.on_lists)
    for signal in waiting:
        held = newest in {p.part for p in week.hold(signal.id).parts}
        assert (signal.id in names((*story.held_for, *story.on_lists))) is held, signal.words
    first = next(s for s in waiting if s.id in names(story.on_lists))
    week.respond(first.id, by="R. Hale", cause="stones", action="set changed")
    assert first.id not in names(week.part(newest).on_lists)


def test_lists_from_what_is_kept_are_those_put_together_anew(week, monkeypatch):
    serials = week.newest_parts().parts[:2]
    kept = [week.part(s).on_lists for s in serials]
    for module in (signals_told, part_signals):
        monkeypatch.setattr(module, "is_kept", lambda *_, **__: False)
    anew = cellmon.open_cell(week.folder)
    assert [anew.part(s).on_lists for s in serials] == kept and any(kept)
    anew.close()


def test_of_many_lists_the_newest_are_named_and_all_are_counted(week, monkeypatch):
    serial = week.newest_parts().parts[0]
    every = week.part(serial)
    assert every.on_lists_count == len(every.on_lists) > 2 and not older_lists(every)
    asked, reaching = [], part_lists.reaching
    monkeypatch.setattr(part_lists, "reaching", lambda *given: asked.append(given[0].id) or reaching(*given))
    monkeypatch.setattr(part_lists, "MOST", 2)
    few = week.part(serial)
    assert few.on_lists == every.on_lists[:2] and few.on_lists_count == every.on_lists_count
    assert set(asked) == names(few.on_lists), "no more are looked at than are named"
    rest = few.on_lists_count - 2
    assert f"on {rest} older hold list" in older_lists(few)
    week.extend_hold(every.on_lists[-1].id, from_part=_earliest(week), to_part=None, by="Ada", why="basket")
    assert week.part(serial).on_lists_count == every.on_lists_count, "one that was extended counts once"


def _earliest(monitor):
    """Return a block made on the first day."""
    with monitor._view() as view:
        return view.session.bores(start=view.session.first_unit(), charted=True).part[0]


def test_a_signal_of_audits_tells_of_a_block_that_was_audited_in_its_time(week):
    signal = next(s for s in week.signals().signals if s.stream.feature == "scratch")
    with week._view() as view:
        bores = view.session.bores(spindle="S2", end=to_utc(signal.change.earliest_at), last=8)
        one = bores.select(bores.part == bores.part[-1])
        assert one.measured_at.max() < to_utc(signal.change.earliest_at)
        audit = Audited(what="scratch", bore=one.bore[-1], at=np.datetime64(to_utc(signal.change.at), "us"))
        [told] = [s for s in part_signals.part_signals(view, one, (), [audit]) if s.id == signal.id]
        assert told.bores == (one.bore[-1],)
        assert signal.id not in names(part_signals.part_signals(view, one, ()))


def test_a_block_is_on_the_list_that_a_person_extended_to_it(tmp_path):
    monitor = new_cell(tmp_path / "cell")
    monitor.take([write(tmp_path, "rows.csv", HEADER, rows(jump_at=95))])
    level = [s for s in monitor.signals().signals if (s.kind, s.stream.feature) == ("level", "diameter")]
    signal = max(level, key=lambda s: s.size_um)
    assert monitor.part("B0050").on_lists == ()
    monitor.extend_hold(signal.id, from_part="B0050", to_part="B0051", by="Ada", why="same basket")
    monitor.respond(signal.id, by="Ada", cause="offset", action="undone")
    [held] = monitor.part("B0050").on_lists
    assert (held.id, held.bores) == (signal.id, ("1", "2"))
    assert monitor.part("B0053").on_lists == ()

"""What is carried from one state of the store to the next: answers stay those of a cell opened anew."""

from __future__ import annotations

import shutil
from dataclasses import fields, is_dataclass, replace
from datetime import timedelta

import numpy as np
import pytest

import cellmon
from cellmon.records import Kind
from tests.bench.next_batch import next_batches
from tests.bench.test_take import wide_file


@pytest.fixture(scope="module")
def cell(demo_week, tmp_path_factory):
    folder = tmp_path_factory.mktemp("carried")
    shutil.copytree(demo_week, folder / "cell")
    monitor = cellmon.open_cell(folder / "cell")
    yield monitor
    monitor.close()


def plain(found):
    """Return an answer as something that can be compared, figure by figure."""
    if is_dataclass(found):
        return [(f.name, plain(getattr(found, f.name))) for f in fields(found)]
    if isinstance(found, np.ndarray):
        return repr(found.tolist())
    if hasattr(found, "items"):
        return [(plain(key), plain(value)) for key, value in found.items()]
    if isinstance(found, list | tuple):
        return [plain(one) for one in found]
    return repr(found)


def answers(monitor):
    first = monitor.state().streams[0].stream
    named = {"spindle": first.spindle, "bore": first.bore, "feature": first.feature}
    asked = (monitor.state(), monitor.now(), monitor.stone_picture(), monitor.stream(**named))
    claimed = (monitor.capability(feature=first.feature), monitor.capability_picture(first))
    listed = (monitor.files(), monitor.signals(), monitor.part(monitor.newest_parts().parts[-1]))
    told = (
        monitor.shifts().shifts,
        monitor.splits(),
        monitor.trust(**named),
        monitor.hand_streams(),
        monitor.gauge(),
    )
    return [plain(one) for one in (*asked, *claimed, *listed, *told)]


def changed(monitor, before):
    """Return the answers now, which are those of a cell opened anew and not those of before."""
    now, fresh = answers(monitor), cellmon.open_cell(monitor.folder)
    try:
        assert now == answers(fresh)
    finally:
        fresh.close()
    assert now != before
    return now


def past_dressing(monitor):
    with monitor._view() as view:
        return next(
            (spindle, past[2].at)
            for spindle in view.sheet.spindle_ids
            if len(past := view.past_dressings(spindle)) > 3
        )


def at(moment):
    return f"{moment.astype('datetime64[s]')}Z"


def late_rows(monitor, folder, moment):
    """Take bores that were made just after a moment of the past and had not come in."""
    with monitor._store.reading() as session:
        found = session.readings_between(moment, moment + np.timedelta64(40, "m"))
    rows = found.readings
    rows = rows.select(~np.isnat(rows.honed_at) & np.isfinite(rows.sequence))
    parts = np.array([f"LATE-{part}" for part in rows.part], dtype=object)
    by = np.timedelta64(17, "s")
    late = replace(rows, part=parts, um=rows.um + 3, measured_at=rows.measured_at + by)
    assert monitor.take([wide_file(late, folder / "late.csv")]).files[0].taken == len(late) > 10


def test_whatever_comes_answers_are_those_of_a_cell_opened_anew(cell, tmp_path):
    spindle, dressed = past_dressing(cell)
    hour = np.timedelta64(1, "h")
    found = answers(cell)
    next_batches(cell, tmp_path)()
    found = changed(cell, found)
    offset = {"event": "feed-offset", "spindle": spindle, "value": "1.5", "unit": "um"}
    cell.log(Kind.EVENTS, {**offset, "at": at(dressed + hour)})
    cell.log(Kind.EVENTS, {"event": "stones-dressed", "spindle": spindle, "at": at(dressed + 2 * hour)})
    fitted = next(s for s in cell.stone_picture().stones.sets if s.state == "fitted")
    stone, last = fitted.stones[0], fitted.rounds[-1].at + timedelta(minutes=1)
    thick = f"{stone.places_um['top'] / 1000 - 0.001:.3f}"
    measured = {
        "stone_set": fitted.stone_set,
        "stone": stone.stone,
        "position": "top",
        "holder": stone.holder,
    }
    check = {"gauge": "G1", "master_mm": "87.3", "reading_mm": "87.3017"}
    cell.log(Kind.GAUGE_CHECKS, {**check, "at": at(dressed + 3 * hour)})
    cell.log(Kind.STONE_MEASUREMENTS, {**measured, "thickness_mm": thick, "at": last.isoformat()})
    found = changed(cell, found)
    study = {"study": "a later one", "part": "P1", "operator": "A", "trial": "1", "reading_mm": "87.3011"}
    cell.log(Kind.GAUGE_STUDY, study)
    found = changed(cell, found)
    assert "a later one" in {one.study for one in cell.gauge().studies}
    late_rows(cell, tmp_path, dressed + hour)
    changed(cell, found)


def test_why_signals_are_and_which_lists_hold_is_asked_again_only_where_something_came(
    cell, tmp_path, monkeypatch
):
    from cellmon.monitor import explain

    serial = cell.newest_parts().parts[0]
    before, lists = cell.signals(), cell.part(serial).on_lists
    next_batches(cell, tmp_path, bores=12)()
    asked, why = [], explain._asked
    monkeypatch.setattr(explain, "_asked", lambda *given: asked.append(given[1].id) or why(*given))
    now = {signal.id: signal for signal in cell.signals().signals}
    same = [s for s in before.signals if s.id in now and s.last_at == now[s.id].last_at and s.over]
    assert len(same) > 3 and not {s.id for s in same} & set(asked)
    assert all(now[s.id].causes == s.causes for s in same)
    assert {one.id for one in lists} <= {one.id for one in cell.part(serial).on_lists}
    spread = [s for s in same if s.kind == "spread"][-1]
    monkeypatch.undo()
    monkeypatch.setattr(explain, "_asked", lambda *given: asked.append(given[1].id) or why(*given))
    late_rows(
        cell, tmp_path, np.datetime64(spread.raised_at.replace(tzinfo=None), "us") - np.timedelta64(1, "D")
    )
    assert spread.id in {signal.id for signal in cell.signals().signals}
    assert spread.id in asked, "bores that came late may move since when its dressing was overdue"


def test_what_is_over_is_not_worked_out_again(cell, tmp_path, monkeypatch):
    from cellmon.monitor import dressings, stones
    from cellmon.monitor.stones import counted, laid_out, now

    answers(cell)
    off = {one.stone_set for one in cell.stones().sets if one.state != "fitted"}
    lines_before = {one.stone_set: one for one in cell.stone_picture().lines}
    next_batches(cell, tmp_path, bores=16)()
    looked = []
    by_stream = dressings.by_stream
    monkeypatch.setattr(dressings, "by_stream", lambda rows: looked.append(1) or by_stream(rows))
    monkeypatch.setattr(laid_out, "_grid", None)
    monkeypatch.setattr(now, "read_log", None)
    monkeypatch.setattr(now, "know_kind", None)
    monkeypatch.setattr(counted, "_made", None)
    told, set_of = [], stones.set_of
    monkeypatch.setattr(stones, "set_of", lambda now, name: told.append(name) or set_of(now, name))
    answers(cell)
    assert told and not off & set(told), "sets that are on no spindle are told as they were"
    drawn = {one.stone_set: one for one in cell.stone_picture().lines}
    assert all(drawn[name] is lines_before[name] for name in off & set(drawn))
    assert len(looked) <= 4, "only dressings of the last hours have other subgroups around them"


def test_bores_that_come_late_move_only_the_sets_they_wore(cell, tmp_path, monkeypatch):
    from cellmon.monitor.stones import kinds, odd

    found = answers(cell)
    _, dressed = past_dressing(cell)
    looked, grown, set_wear, say_grown = [], [], kinds.set_wear, odd._grown
    monkeypatch.setattr(kinds, "set_wear", lambda *given: looked.append(1) or set_wear(*given))
    monkeypatch.setattr(odd, "_grown", lambda *given: grown.append(given[1]) or say_grown(*given))
    late_rows(cell, tmp_path, dressed + np.timedelta64(3, "h"))
    now = answers(cell)
    measured = [one.stone_set for one in cell.stones().sets if one.rounds]
    assert 0 < len(looked) < len(measured), "only what lay on rounds of other bores is worn anew"
    assert len(set(grown)) < len(measured)
    monkeypatch.undo()
    assert changed(cell, found) == now


def test_what_was_logged_long_ago_is_read_once_until_more_of_it_comes(cell, monkeypatch):
    with cell._view() as view:
        long_ago = view.as_of - np.timedelta64(200, "D")
    hour = np.timedelta64(1, "h")

    def logged():
        with cell._view() as view:
            kept = view.logged(long_ago, long_ago + 9 * hour)
            assert len(view.logged(long_ago + hour, long_ago + 8 * hour)) == len(kept)
            assert list(kept.at) == list(
                view.session.rows(Kind.EVENTS, start=long_ago, end=long_ago + 9 * hour).at
            )
            return len(kept)

    assert logged() == 0
    for many in (1, 2):
        moment = at(long_ago + (1 + many) * hour)
        cell.log(Kind.EVENTS, {"event": "stones-dressed", "spindle": "S1", "at": moment})
        assert logged() == many
    with cell._view() as view:
        view.logged(long_ago, long_ago + 9 * hour)
        monkeypatch.setattr(type(view.session), "rows", None)
        assert len(view.logged(long_ago - hour, long_ago + 30 * hour)) == 2, "nothing is read again"


def test_lots_and_dressing_stand_until_a_shift_is_over(cell, tmp_path):
    before = cell.stone_picture().stones
    batch = next_batches(cell, tmp_path)
    batch()
    within = cell.stone_picture().stones
    assert within.as_of > before.as_of and within.whole_until == before.whole_until <= before.as_of
    assert within.sentence and within.sets != before.sets, "what is left of the sets moves with each batch"
    assert within.lots is before.lots
    assert all(map(is_same, within.plan.dressing, before.plan.dressing))
    assert any("the shifts that are over" in note for note in within.notes)
    while cell.stone_picture().stones.whole_until == before.whole_until:
        batch()
    after = cell.stone_picture().stones
    assert before.as_of < after.whole_until <= after.as_of
    assert plain(after.lots) != plain(before.lots)


def test_what_rests_on_frozen_windows_and_whole_shifts_is_not_asked_again_at_each_batch(
    cell, tmp_path, monkeypatch
):
    from cellmon.monitor import splits, trust
    from cellmon.store import Session

    named = {"spindle": cell.streams()[0].spindle, "bore": cell.streams()[0].bore}
    split, trusted = cell.splits(), cell.trust(**named)
    assert (split.asked or split.unasked) and any(one.departures for one in trusted.streams)
    cell.hand_streams()
    next_batches(cell, tmp_path, bores=8)()
    bores_of_unit, looked = Session.bores_of_unit, []
    monkeypatch.setattr(splits, "_found", None)
    monkeypatch.setattr(trust, "windows_of", None)
    monkeypatch.setattr(Session, "bores_of_unit", lambda *a: looked.append(1) or bores_of_unit(*a))
    after = cell.splits()
    assert after.as_of > split.as_of and after.asked is split.asked
    assert cell.trust(**named).streams is trusted.streams
    cell.hand_streams()
    assert len(looked) <= 1, "only the unit that the batch came into is looked through for bores by hand"


def is_same(one, other):
    return one is other


def test_what_is_long_over_is_counted_again_only_where_bores_come_late_into_it(cell, tmp_path, monkeypatch):
    from cellmon.monitor.stones import counted
    from cellmon.monitor.stones.honed import Honed
    from cellmon.store import Session

    def over(monitor):
        with monitor._view() as view:
            return Honed.of(view).over

    monkeypatch.setattr(counted, "WEEKS", np.timedelta64(0, "W"))
    before, sizes = over(cell), []
    size_of_units = Session.size_of_units
    monkeypatch.setattr(Session, "size_of_units", lambda *a, **k: sizes.append(1) or size_of_units(*a, **k))
    next_batches(cell, tmp_path)()
    assert over(cell) is before and not sizes, "bores of now are not looked at for it"
    with cell._view() as view:
        since = counted.counted_since(view.as_of)
    late_rows(cell, tmp_path, since - np.timedelta64(9, "h"))
    found, fresh = over(cell), cellmon.open_cell(cell.folder)
    try:
        anew = over(fresh)
    finally:
        fresh.close()
    assert found is not before and sizes
    for spindle, made in anew.made.items():
        assert made.bores.tolist() == found.made[spindle].bores.tolist()
    assert sum(one.bores.sum() for one in found.made.values()) > sum(
        one.bores.sum() for one in before.made.values()
    )

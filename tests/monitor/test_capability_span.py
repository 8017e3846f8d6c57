"""Over which time capability is stated unasked, and that what is kept of it is what is worked out anew."""

from __future__ import annotations

import shutil
from dataclasses import replace
from datetime import datetime

import numpy as np
import pytest

import cellmon
from cellmon.errors import NotEnoughData
from cellmon.monitor import capability_span
from cellmon.monitor import kept as kept_
from cellmon.monitor.capability_stream import _signals
from cellmon.monitor.kept import kept
from cellmon.shifts import to_utc
from cellmon.store import Session
from cellmon.words import in_english, speak
from tests.bench.next_batch import next_batches

SIZE = 2_000
BUSY = {"spindle": "S1", "bore": "1", "feature": "diameter"}
EVER = datetime.fromisoformat("2020-01-01T00:00+00:00")
RARE = {"spindle": "S1", "bore": "3", "feature": "diameter"}  # a bore rerouted for some hours


@pytest.fixture
def week(demo_week):
    monitor = cellmon.open_cell(demo_week)
    yield monitor
    monitor.close()


def row(monitor, **asked):
    return monitor.capability(**asked).capability[0]


def charted(monitor, since, until):
    """Count the charted bores of the busy stream in some time, the slow way."""
    with monitor._store.reading() as session:
        bores = session.bores(spindle="S1", bore="1", charted=True)
    return int(((bores.measured_at >= since) & (bores.measured_at <= until)).sum())


def test_a_short_history_is_stated_whole(week, monkeypatch):
    monkeypatch.setattr(capability_span, "ENOUGH", capability_span.NEWEST)
    answer = week.capability(feature="diameter")
    assert all((one.since, one.until) == (None, None) for one in answer.capability)
    assert "Counted" not in answer.sentence
    assert row(week, **BUSY) == row(week, **BUSY, since=EVER)


def test_of_a_long_one_the_newest_whole_shifts_that_hold_enough(week, monkeypatch):
    monkeypatch.setattr(capability_span, "NEWEST", SIZE)
    whole, found = row(week, **BUSY, since=EVER), row(week, **BUSY)
    assert found.n < whole.n
    assert (found.since.strftime("%H:%M"), found.until.strftime("%H:%M")) == ("22:00", "05:59")
    assert found.until.microsecond == 999_999, "up to the shift that runs"
    start, end = to_utc(found.since), to_utc(found.until)
    assert charted(week, start, end) >= SIZE > charted(week, start + np.timedelta64(8, "h"), end)
    asked = row(week, **BUSY, since=found.since, until=found.until)
    for name in ("n", "ppk", "sd_within_um", "lower_bound", "ppm_expected"):
        assert getattr(asked, name) == getattr(found, name)
    assert (
        "Counted of each position: its newest whole shifts that hold 2,000 bores"
        in week.capability().sentence
    )


def test_how_far_back_it_is_looked_first_changes_nothing(week, monkeypatch):
    monkeypatch.setattr(capability_span, "NEWEST", SIZE)
    found = week.capability(feature="diameter")
    for first in (1, 3):
        monkeypatch.setattr(capability_span, "LATELY", np.timedelta64(first, "D"))
        fresh = cellmon.open_cell(week.folder)
        assert fresh.capability(feature="diameter") == found
        fresh.close()


def test_bores_are_read_again_only_where_they_are_stored_anew(demo_week, tmp_path, monkeypatch):
    shutil.copytree(demo_week, tmp_path / "cell")
    monitor, read = cellmon.open_cell(tmp_path / "cell"), []
    commit, bores = next_batches(monitor, tmp_path), Session.bores
    monkeypatch.setattr(Session, "bores", lambda *a, **k: read.append(k) or bores(*a, **k))
    before, asked = row(monitor, **BUSY), len(read)
    assert asked
    commit()
    taken = len(read)
    assert row(monitor, **BUSY) == before and len(read) == taken
    end = to_utc(before.until)
    flag = next(f for f in monitor.flags().flags if to_utc(f.at) < end and f.state == "open")
    monitor.correct(flag.id, accept=False, by="Ada", why="looked at")
    taken = len(read)
    fresh = cellmon.open_cell(monitor.folder)
    assert monitor.capability(feature="diameter") == fresh.capability(feature="diameter")
    assert len(read) > taken
    fresh.close()
    monitor.close()


def test_from_so_many_bores_on_the_running_shift_is_left_out(week):
    found, whole = row(week, **BUSY), row(week, **BUSY, since=EVER)
    running = to_utc(found.until) + np.timedelta64(1, "us")
    assert found.since is None
    assert charted(week, running, to_utc(week.capability().as_of)) == whole.n - found.n > 0
    assert found.n >= capability_span.ENOUGH
    asked = row(week, **BUSY, until=found.until)
    for name in ("n", "ppk", "sd_within_um", "lower_bound", "ppm_expected"):
        assert getattr(asked, name) == getattr(found, name)
    assert "to Sun 25 Oct 06:00, without the running shift." in week.capability(**BUSY).sentence


def test_figures_stand_still_until_the_running_shift_is_over(demo_week, tmp_path):
    shutil.copytree(demo_week, tmp_path / "cell")
    monitor = cellmon.open_cell(tmp_path / "cell")
    commit = next_batches(monitor, tmp_path)
    before = row(monitor, **BUSY)
    commit()
    assert row(monitor, **BUSY) == before
    assert row(monitor, **BUSY, since=EVER).n > before.n
    monitor.close()


def test_a_rare_position_keeps_all_its_bores_up_to_now(week, monkeypatch):
    before = row(week, **RARE)
    monkeypatch.setattr(capability_span, "NEWEST", SIZE)
    assert row(week, **RARE) == before
    assert before.since is None


def test_what_is_older_than_three_months_counts_only_where_it_is_asked_for(week, monkeypatch):
    monkeypatch.setattr(capability_span, "OLDEST", np.timedelta64(2, "D"))
    answer = week.capability(**BUSY)
    found = answer.capability[0]
    assert to_utc(found.until) - to_utc(found.since) == np.timedelta64(2, "D")
    assert "Counted: the bores from" in answer.sentence
    assert row(week, **BUSY, since=EVER).n > found.n


def test_picture_and_statement_are_of_the_same_bores(week, monkeypatch):
    monkeypatch.setattr(capability_span, "NEWEST", SIZE)
    found = row(week, **BUSY)
    picture = week.capability_picture(found.stream)
    assert int((~picture.left_out).sum()) == found.n
    statement = week.submission(**BUSY).statements[0]
    assert statement.sampling.bores == found.n
    assert statement.sampling.first_at >= found.since


def test_signals_of_the_running_shift_forbid_a_claim_on_the_shifts_before(week, monkeypatch):
    monkeypatch.setattr(capability_span, "NEWEST", SIZE)
    stream = row(week, **BUSY).stream
    with week._view() as view:
        span = capability_span.Spans(view, None, None).of(stream)
        assert span.end < view.as_of
        before = replace(span, end=span.start)
        assert _signals(view, stream, before)[0] > 0
        assert _signals(view, stream, replace(before, cut=False)) == (0, 0)


def test_what_is_kept_is_what_is_worked_out_anew(week, monkeypatch):
    first = week.capability(feature="diameter")
    monkeypatch.setattr(kept_, "_kept", {})
    fresh = cellmon.open_cell(week.folder)
    try:
        assert fresh.capability(feature="diameter") == first
        monkeypatch.setattr(kept_, "kept", pytest.fail)
        assert fresh.capability(feature="diameter") == first
    finally:
        fresh.close()


def test_other_terms_are_other_questions(monkeypatch):
    monkeypatch.setattr(kept_, "_kept", {})
    asked = []

    def work(values, more=None, **named):
        asked.append(values)
        return len(asked)

    x = np.arange(4.0)
    one = kept(work, x, (1.0, None))
    assert kept(work, x.copy(), (1.0, None)) == one
    others = [
        kept(work, x.astype(np.int64), (1.0, None)),
        kept(work, x[::-1], (1.0, None)),
        kept(work, x.reshape(2, 2), (1.0, None)),
        kept(work, x, (1.0, 0)),
        kept(work, x, ((1.0,), None)),
        kept(work, x, (1.0, None), side="upper"),
    ]
    assert len({one, *others}) == 7
    with in_english():
        assert kept(work, x, (1.0, None)) not in (one, *others)
    speak({})
    assert kept(work, x, (1.0, None)) not in (one, *others), "another language was laid over"


def test_a_refusal_is_not_kept(monkeypatch):
    monkeypatch.setattr(kept_, "_kept", {})

    def refuses(values):
        raise NotEnoughData("bores", need=2, got=1)

    for _ in range(2):
        with pytest.raises(NotEnoughData):
            kept(refuses, np.zeros(1))
    assert not kept_._kept


def test_the_process_keeps_only_so_many(monkeypatch):
    monkeypatch.setattr(kept_, "_kept", {})
    monkeypatch.setattr(kept_, "MOST", 3)
    for n in range(10):
        assert kept(np.sum, np.full(2, float(n))) == 2 * n
        assert len(kept_._kept) <= 3

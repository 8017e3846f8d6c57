"""The newest bores of a spindle, put together unit by unit, are those that the store would give at once."""

import numpy as np
import pytest

import cellmon
from cellmon.monitor.made import honed_at, made_since
from cellmon.monitor.stones import looked as looked_at
from cellmon.monitor.stones.formed import FORM, formed
from cellmon.monitor.stones.looked import Before, _sizes
from cellmon.records import Kind
from cellmon.store.joining import by_stream

DAY = np.timedelta64(1, "D")


@pytest.fixture(scope="module")
def monitor(demo_week):
    opened = cellmon.open_cell(demo_week)
    yield opened
    opened.close()


@pytest.fixture(params=["now", "in the past"])
def view(monitor, request):
    with monitor._view() as view:
        if request.param == "now":
            yield view
        else:
            yield type(view)(session=view.session, rules=view.rules, as_of=view.as_of - 2 * DAY, past=True)


def of_store(view, **asked):
    return view.session.bores(spindle="S1", charted=True, end=view.as_of, **asked)


def same(found, bores, names=("measured_at", "bore", "flags", "average", "cycle_s", "load_pct", "feed_um")):
    assert len(found) == len(bores) > 0
    assert (found.honed == honed_at(bores)).all()
    for name in names:
        np.testing.assert_array_equal(getattr(found, name), getattr(bores, name))


def test_bores_are_those_of_the_last_weeks_as_made(view):
    found = view.looked_at("S1")
    same(found.lately, of_store(view, start=view.as_of - looked_at.LOOKED_BACK, last=looked_at.MOST_BORES))
    same(found.newest, of_store(view, last=looked_at.LOOKED_AT))


def test_a_spindle_that_makes_few_is_looked_at_farther_back(view, monkeypatch):
    monkeypatch.setattr(looked_at, "LOOKED_BACK", np.timedelta64(6, "h"))
    monkeypatch.setattr(looked_at, "LOOKED_AT", 3000)
    found = looked_at.looked_at(view, "S1")
    same(found.newest, of_store(view, last=3000))
    same(found.lately, of_store(view, start=view.as_of - np.timedelta64(6, "h")))


def test_no_more_is_read_than_is_looked_at(view, monkeypatch):
    monkeypatch.setattr(looked_at, "LOOKED_AT", 300)
    monkeypatch.setattr(looked_at, "MOST_BORES", 900)
    found = looked_at.looked_at(view, "S1")
    same(found.lately, of_store(view, start=view.as_of - looked_at.LOOKED_BACK, last=900))
    assert len(found.every) < len(of_store(view)) / 2


def test_bores_made_since_a_moment_are_all_of_them(view):
    for back in (np.timedelta64(5, "h"), 3 * DAY, 20 * DAY):
        since = view.as_of - back
        assert (made_since(view, "S1", since) == np.sort(honed_at(of_store(view, start=since)))).all()


def test_form_is_that_of_the_subgroups_of_two_weeks(view):
    rows = view.session.subgroups(start=view.as_of - 14 * DAY, end=view.as_of, clean=True)
    streams = {s: rows.select(mine) for s, mine in by_stream(rows).items() if s.feature in FORM}
    found = formed(view)
    assert {s for s, rows in found.items() if len(rows)} == set(streams)
    for stream, one in streams.items():
        known = one.select(np.isfinite(one.mean))
        for name in ("first_at", "at", "n", "mean", "sd"):
            np.testing.assert_array_equal(getattr(found[stream], name), getattr(known, name))


# By hand: of two sizes before honing the later counts, none that was measured after the bore was honed and
# measured, none that is more than two days old, none of another bore.
def test_the_size_before_honing_is_the_last_before_it_within_two_days(view):
    bores = of_store(view, last=4)
    part, bore, at = bores.part, bores.bore, bores.measured_at
    hour = np.timedelta64(1, "h")
    early: Before = {
        (part[0], bore[0]): [(at[0] - 5 * hour, 1.0), (at[0] - 2 * hour, 2.0), (at[0] + hour, 3.0)],
        (part[1], bore[1]): [(at[1] - 2 * DAY - hour, 4.0)],
    }
    late: Before = {(part[2], bore[2]): [(at[2], 5.0)], (part[3], "another"): [(at[3] - hour, 6.0)]}
    np.testing.assert_array_equal(_sizes(bores, [early, late]), [2.0, np.nan, 5.0, np.nan])


def test_events_of_some_kinds_are_those_among_all(monitor):
    with monitor._view() as view:
        every = view.session.rows(Kind.EVENTS)
        kinds = ("stones-dressed", "feed-offset")
        mine = every.select(np.isin(every.event.astype(str), kinds))
        assert 0 < len(mine) < len(every)
        assert view.session.rows(Kind.EVENTS, events=kinds).digest() == mine.digest()

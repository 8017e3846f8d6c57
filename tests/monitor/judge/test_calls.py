"""Calls that no detector makes: master checks, routing, figures of other instruments; detectors' joined."""

from dataclasses import replace

import numpy as np
import pytest

from cellmon.judged import Alarms, Doubts
from cellmon.monitor.judge.calls import (
    LEAST_MISROUTED,
    detector_calls,
    gauge_calls,
    routing_calls,
)
from cellmon.monitor.judge.usual_blocks import LEAST_BEFORE
from cellmon.records import Characteristics, Events, GaugeChecks, Kind, no_rows
from tests.monitor.judge.making import block_called, demo_sheet, minute, stream

SHEET = demo_sheet()


def batch(kind, rows, **defaults):
    """Return a batch from mappings; moments in minutes."""
    made = no_rows(kind)
    columns = {}
    for name, array in made.arrays():
        values = [row.get(name, defaults.get(name)) for row in rows]
        if array.dtype.kind == "M":
            nothing = np.datetime64("NaT", "us")
            columns[name] = np.array(
                [nothing if v is None else minute(v) for v in values], dtype="datetime64[us]"
            )
        elif array.dtype.kind == "O":
            columns[name] = np.empty(len(rows), dtype=object)
            columns[name][:] = values
        else:
            fill = np.nan if array.dtype.kind == "f" else 0
            columns[name] = np.array([fill if v is None else v for v in values], dtype=array.dtype)
    return replace(made, **columns)


class Kept:
    """What a session answers here."""

    def __init__(self, *, checks=(), events=(), doubts=()):
        self._rows = {
            Kind.GAUGE_CHECKS: batch(GaugeChecks, checks),
            Kind.EVENTS: batch(Events, events),
        }
        self._doubts = batch(Doubts, doubts, unit_start=0, words="", gauge="G1", id="x")

    def rows(self, kind, **_):
        return self._rows[kind]

    def doubts_since(self, flag, moment):
        return self._doubts

    def bores(self, *, end, last):
        return BoresBefore(["B"] if end > minute(0) else [])


class BoresBefore(list):
    """The parts of some bores."""

    @property
    def part(self):
        return self


def check(at, off, *, state="as-found", gauge="G1"):
    return {"at": at, "gauge": gauge, "master_mm": 87.312, "reading_mm": 87.312 + off / 1000, "state": state}


def test_a_master_found_off_is_one_call_since_it_was_last_good():
    kept = Kept(checks=[check(60, 0.2), check(240, 2.0), check(241, 0.1, state="as-left")])
    (call,) = gauge_calls(kept, SHEET)
    assert (call.kind, call.side, call.over) == ("gauge", 1, True)
    assert (call.earliest_at, call.at) == (minute(60), minute(240))
    assert call.size == pytest.approx(2.0)
    assert call.stream == stream(None, None)


@pytest.mark.parametrize("rows", [[], [check(60, 0.9)], [check(60, 5.0, gauge="G2")]])
def test_a_good_master_or_a_gauge_of_audits_is_no_call(rows):
    assert list(gauge_calls(Kept(checks=rows), SHEET)) == []
    assert list(gauge_calls(Kept(checks=[check(60, 5.0)]), demo_sheet(checks=None))) == []


def misrouted(minutes):
    rows = [
        {"flag": "routing", "part": f"B{m}", "bore": "1", "spindle": "S2", "measured_at": m} for m in minutes
    ]
    return [c.size for c in routing_calls(Kept(doubts=rows), SHEET)]


def test_misrouted_bores_are_a_call_from_three_on_and_apart_by_an_hour_two():
    assert LEAST_MISROUTED == 3
    assert misrouted([]) == [] == misrouted([0, 1])
    assert misrouted([0, 1, 2]) == [3.0]
    assert misrouted([0, 30, 60, 121, 122, 123]) == [3.0, 3.0]
    assert misrouted([0, 30, 60, 120, 121, 122]) == [6.0]


def figures(values, *, name="roundness_trace", each=1):
    return [
        {
            "part": f"A{i // each:02d}",
            "bore": str(1 + i % each),
            "characteristic": name,
            "value": v,
            "at": 60 * (i // each),
            "spindle": "S1",
        }
        for i, v in enumerate(values)
    ]


def called(rows):
    return block_called(batch(Characteristics, rows), SHEET)


def test_a_figure_beyond_a_limit_of_the_sheet_is_a_call():
    calls = called(figures([3.0, 4.9, 5.1]))
    assert [(c.kind, c.side, c.size, c.part) for c in calls] == [("limit", 1, 5.1, "A02")]
    assert (calls[0].earliest_at, calls[0].detector) == (minute(60), "a limit of the sheet")
    low = called(figures([45.0, 36.0], name="crosshatch_included"))
    assert [(c.kind, c.side, c.size) for c in low] == [("limit", -1, 36.0)]
    assert called(figures([9.0], name="unheard_of")) == []


# Logarithms of 2 x (1 +- 5 %) have a standard deviation near 0.05: 2.6 lies five of them out, but only once
# enough is known of what is usual.
def test_a_block_far_above_those_before_is_a_call_once_enough_is_known():
    usual = [2.0 * (1 + 0.05 * (-1) ** i) for i in range(LEAST_BEFORE + 6)]
    far = [2.9]
    assert called(figures(usual[: LEAST_BEFORE - 1] + far)) == []
    (call,) = called(figures(usual + far))
    assert (call.kind, call.size, call.detector) == ("single", 2.9, "the values before it")


def test_an_unusual_block_does_not_become_usual():
    usual = [2.0 * (1 + 0.05 * (-1) ** i) for i in range(20)]
    assert [c.size for c in called(figures([*usual, 3.2, 3.2, 3.2]))] == [3.2] * 3


def test_seldom_is_a_quiet_instrument_s_block_unlike_those_before():
    # seed 91: 400 series of 40 lognormal values; 3.5 normal deviates are one in 4,300: 2.6 of 11,200 expected
    rng = np.random.default_rng(91)
    calls = sum(
        sum(c.kind == "single" for c in called(figures(v)))
        for v in 2.0 * np.exp(0.1 * rng.standard_normal((400, 40)))
    )
    assert calls <= 9


def alarm(call, *, detector="", over=0, last=10, kind="level", **other):
    return {
        "part_number": "HM-214",
        "spindle": "S1",
        "bore": "1",
        "feature": "diameter",
        "part_of": "itself",
        "call": call,
        "kind": kind,
        "detector": detector,
        "side": 1,
        "over": over,
        "at": 5,
        "last_at": last,
        "part": "B5",
        "last_part": f"B{last}",
        "size": 2.0 if detector else None,
        **other,
    }


def test_a_call_that_lasts_over_units_is_one_that_ends_with_its_last():
    rows = [alarm("1", detector="d", last=480), alarm("1", last=960), alarm("1", last=1000, over=1)]
    (call,) = detector_calls(batch(Alarms, rows))
    assert (call.at, call.last_at, call.last_part, call.over, call.size) == (
        minute(5),
        minute(1000),
        "B1000",
        True,
        2.0,
    )
    drift = [alarm("1", detector="d", kind="drift"), alarm("1", last=600)]
    (call,) = detector_calls(batch(Alarms, drift))
    assert (call.kind, call.family, call.last_at) == ("drift", "level", minute(600))


def test_different_calls_kinds_and_streams_stay_apart():
    rows = [
        alarm("1", detector="d"),
        alarm("2", detector="d"),
        alarm("1", detector="d", kind="spread"),
        alarm("1", detector="d", bore="2"),
    ]
    assert len(list(detector_calls(batch(Alarms, rows)))) == 4


def test_a_call_whose_beginning_is_not_there_is_none():
    assert list(detector_calls(batch(Alarms, [alarm("1"), alarm("1", over=1)]))) == []

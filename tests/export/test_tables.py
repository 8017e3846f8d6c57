"""Tables: one row a thing, units in the names, nothing lost between result and column."""

from __future__ import annotations

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import numpy as np

from cellmon.export.tables import (
    capability_table,
    part_table,
    readings_by_name,
    shift_table,
    signals_table,
)
from cellmon.monitor.answers import Estimate, Limits
from cellmon.monitor.capability import CapabilityAnswer, StreamCapability
from cellmon.monitor.part import PartMeasurement, PartStory
from cellmon.monitor.shifts import Shifts, StreamShift, SubgroupPoint
from cellmon.monitor.signals import Response, Signal, Signals
from cellmon.records import Flag, Stream, Verdict
from cellmon.shifts import ShiftOf

ZONE = ZoneInfo("Europe/Berlin")
AT = datetime(2026, 10, 22, 16, 5, tzinfo=UTC)
HEAD = {"as_of": AT, "sheet": 3}
SIZE = Stream(part_number="HM-214", spindle="S1", bore="2", feature="diameter")
LATE = ShiftOf(name="late", date=date(2026, 10, 22), starts=AT, ends=AT, worked=True)


def test_capability_has_each_index_with_its_interval():
    one = StreamCapability(
        stream=SIZE,
        n=100,
        model="normal",
        mean_um=11.7,
        sd_within_um=1.7,
        sd_total_um=1.9,
        cp=Estimate(value=2.3, low=2.2, high=2.4, confidence=0.95),
        cpk=None,
        pp=None,
        ppk=None,
        ppm_expected=None,
        ppm_observed=None,
        stable=False,
        movement=None,
        claim="not supported",
        lower_bound=None,
        reasons=("few subgroups", "an open signal"),
    )
    answer = CapabilityAnswer(**HEAD, sentence="", required=1.33, confidence=0.975, capability=(one, one))
    table = capability_table(answer, zone=ZONE)
    assert len(table) == 2
    assert [table.columns[name][0] for name in ("cp", "cp_low", "cp_high")] == [2.3, 2.2, 2.4]
    assert np.isnan(table.columns["cpk"]).all()
    assert table.columns["stable"].tolist() == [False, False]
    assert table.columns["reasons"][0] == "few subgroups; an open signal"
    assert (table.columns["required"][0], table.columns["lower_bound_confidence"][0]) == (1.33, 0.975)


def test_shift_has_a_row_a_subgroup_with_the_limits_it_was_held_against():
    def point(limits: Limits | None) -> SubgroupPoint:
        return SubgroupPoint(
            first_part="B1",
            last_part="B5",
            at=AT,
            n=5,
            mean_um=20.4,
            range_um=3.1,
            sd_um=1.3,
            mean_limits=limits,
            range_limits=None,
            sd_limits=None,
            beyond=("mean above", "range above"),
            flagged=True,
        )

    points = (point(Limits(lower=9.3, center=11.6, upper=13.9)), point(None))
    one = StreamShift(
        stream=SIZE, shift=LATE, bores=10, mean_um=12.0, previous_mean_um=None, subgroups=points, signals=()
    )
    table = shift_table(
        Shifts(**HEAD, sentence="", shift=LATE, previous=None, shifts=(one, one), known=()), zone=ZONE
    )
    assert len(table) == 4
    np.testing.assert_array_equal(table.columns["mean_upper_um"], [13.9, np.nan, 13.9, np.nan])
    assert table.columns["at"][0] == np.datetime64("2026-10-22T16:05")
    assert table.columns["beyond"][0] == "mean above; range above"
    assert table.columns["shift_date"][0] == "2026-10-22"


def test_signals_carry_their_answers():
    def one(response: Response | None) -> Signal:
        return Signal(
            id="7f3a",
            stream=SIZE,
            raised_at=AT,
            part="B1",
            last_at=AT,
            last_part="B5",
            points=2,
            kind="level",
            detector="x-bar",
            size_um=8.7,
            state="open",
            words="mean above",
            age_s=60.0,
            response=response,
        )

    answered = Response(cause="chip", action="new stones", by="Ada", at=AT, seen=False)
    table = signals_table(Signals(**HEAD, signals=(one(answered), one(None))), zone=ZONE)
    assert table.columns["answer_cause"].tolist() == ["chip", None]
    assert np.isnat(table.columns["answer_at"]).tolist() == [False, True]
    assert table.columns["size_um"].dtype == np.float64
    assert table.columns["change_at"].tolist() == [None, None]


def test_part_has_a_column_a_reading_and_a_feature():
    um = np.array([[11.25, 9.0], [np.nan, 10.0]])
    one = PartMeasurement(
        bore="2",
        spindle="S1",
        gauge="G1",
        at=AT,
        stage="finish",
        fixture=None,
        stone_set=None,
        um=um,
        features={"taper": -0.75},
        verdict=Verdict.CONFORMS,
        charted=False,
        flags=(Flag.LATE, Flag.CLOCK),
    )
    story = PartStory(
        **HEAD, part="B1", part_number="HM", sentence="", measurements=(one,), signals=(), dispositions=()
    )
    table = part_table(story, zone=ZONE, planes=("top", "bottom"), directions=("x", "y"))
    assert table.columns["top_x_um"][0] == 11.25
    assert np.isnan(table.columns["bottom_x_um"][0])
    assert table.columns["taper_um"][0] == -0.75
    assert (table.columns["verdict"][0], table.columns["flags"][0]) == ("conforms", "late; clock")


def test_readings_on_another_frame_are_numbered_not_misnamed():
    named = readings_by_name(np.zeros((1, 2)), ("top", "bottom"), ("x", "y"))
    assert list(named) == ["plane1_direction1_um", "plane1_direction2_um"]


def test_a_result_without_rows_gives_a_table_without_rows():
    assert len(signals_table(Signals(**HEAD, signals=()), zone=ZONE)) == 0

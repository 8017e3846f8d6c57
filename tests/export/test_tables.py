"""Tables: one row a thing, units in the names, nothing lost between result and column."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from cellmon.export.tables import (
    capability_table,
    hold_table,
    part_table,
    readings_by_name,
    shift_table,
    signals_table,
)
from cellmon.monitor.answers import Estimate, Limits
from cellmon.monitor.capability import CapabilityAnswer
from cellmon.monitor.capability_stream import StreamCapability
from cellmon.monitor.hold import HeldPart, Hold
from cellmon.monitor.part import PartStory
from cellmon.monitor.part_bores import PartMeasurement
from cellmon.monitor.shifts import Shifts, StreamShift, SubgroupPoint
from cellmon.monitor.signals import Change, LikelyCause, Response, Signal, Signals
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
        stream=SIZE,
        shift=LATE,
        bores=10,
        mean_um=12.0,
        previous_mean_um=None,
        moved_um=None,
        subgroups=points,
        signals=(),
    )
    table = shift_table(
        Shifts(**HEAD, sentence="", shift=LATE, previous=None, shifts=(one, one), known=()), zone=ZONE
    )
    assert len(table) == 4
    np.testing.assert_array_equal(table.columns["mean_upper_um"], [13.9, np.nan, 13.9, np.nan])
    assert table.columns["at"][0] == np.datetime64("2026-10-22T16:05")
    assert table.columns["beyond"][0] == "mean above; range above"
    assert table.columns["shift_date"][0] == "2026-10-22"


def one_signal(
    response: Response | None = None,
    causes: tuple[LikelyCause, ...] = (),
    change: Change | None = None,
    ratio: float | None = None,
) -> Signal:
    return Signal(
        id="7f3a",
        stream=SIZE,
        streams=(SIZE, replace(SIZE, bore=None)),
        raised_at=AT,
        part="B1",
        last_at=AT,
        last_part="B5",
        over=False,
        kind="level" if ratio is None else "spread",
        detector="three cumulative sums of the level",
        size_um=8.7 if ratio is None else None,
        ratio=ratio,
        state="open",
        words="moved up by 8.7",
        age_s=60.0,
        change=change,
        causes=causes,
        reaction="Stop.",
        response=response,
    )


def test_signals_carry_their_answers():
    answered = Response(cause="chip", action="new stones", by="Ada", at=AT, seen=False)
    both = (one_signal(answered), one_signal(ratio=1.6))
    table = signals_table(Signals(**HEAD, signals=both, caution=""), zone=ZONE)
    assert table.columns["answer_cause"].tolist() == ["chip", None]
    assert np.isnat(table.columns["answer_at"]).tolist() == [False, True]
    np.testing.assert_array_equal(table.columns["size_um"], [8.7, np.nan])
    np.testing.assert_array_equal(table.columns["ratio"], [np.nan, 1.6])
    assert table.columns["streams"][0] == "S1 bore 2 diameter; S1 diameter"
    assert table.columns["change_at"].tolist() == [None, None]
    assert table.columns["likely_cause"].tolist() == [None, None]
    assert np.isnan(table.columns["likely_cause_weight"]).all()


def test_signals_carry_their_change_and_causes_with_what_to_check_first():
    def cause(name: str, weight: float) -> LikelyCause:
        return LikelyCause(
            cause=name,
            title=name.title(),
            weight=weight,
            check_first=f"look at {name}",
            correction=f"mend {name}",
            caution=f"mind {name}",
            why=f"why {name}",
        )

    change = Change(
        at=AT,
        part="B3",
        earliest_at=AT - timedelta(minutes=5),
        earliest_part="B1",
        latest_at=AT,
        latest_part="B4",
    )
    told = one_signal(causes=(cause("chip", 0.61), cause("slip", 0.2)), change=change)
    table = signals_table(Signals(**HEAD, signals=(told, one_signal()), caution=""), zone=ZONE)
    first = {name: cells[0] for name, cells in table.columns.items()}
    assert first["causes"] == "chip 0.61; slip 0.2"
    assert (first["likely_cause"], first["likely_cause_weight"]) == ("chip", 0.61)
    assert (first["check_first"], first["correction"]) == ("look at chip", "mend chip")
    assert (first["caution"], first["likely_cause_why"]) == ("mind chip", "why chip")
    assert first["reaction"] == "Stop."
    assert first["change_earliest_at"] == np.datetime64("2026-10-22T16:00")
    assert [table.columns[f"change_{name}"][0] for name in ("earliest_part", "part", "latest_part")] == [
        "B1",
        "B3",
        "B4",
    ]


def test_a_hold_list_has_a_row_a_bore_with_its_verdict_and_what_became_of_the_part():
    def held(part: str, became: str | None) -> HeldPart:
        return HeldPart(part=part, bore="2", measured_at=AT, verdict=Verdict.UNDECIDED, disposition=became)

    answer = Hold(
        **HEAD,
        signal="7f3a",
        from_part="B1",
        to_part="B2",
        parts=(held("B1", None), held("B2", "scrapped")),
        caution="",
    )
    table = hold_table(answer, zone=ZONE)
    assert table.kind == "hold"
    assert table.columns["signal"].tolist() == ["7f3a", "7f3a"]
    assert table.columns["verdict"].tolist() == ["undecided", "undecided"]
    assert table.columns["disposition"].tolist() == [None, "scrapped"]
    assert table.columns["measured_at"][0] == np.datetime64("2026-10-22T16:05")


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
    assert len(signals_table(Signals(**HEAD, signals=(), caution=""), zone=ZONE)) == 0

"""Audits and findings as series: units, planes, repeats, what is left out, and what they call."""

from __future__ import annotations

import random

import numpy as np
import pytest

from cellmon.charts.individuals import Scale
from cellmon.charts.shares import ShareWatch
from cellmon.monitor.judge.allowed import Allowed
from cellmon.monitor.judge.audit_calls import level_calls, share_calls
from cellmon.monitor.judge.audit_plan import FINDING, FINDINGS, FINDINGS_PLANNED, shifts_per_week
from cellmon.monitor.judge.audits import (
    audit_series,
    in_sheet_units,
    judged_series,
    unit_of,
)
from cellmon.monitor.judge.budget import TIGHTEST, budget
from cellmon.monitor.judge.findings import MADE, FindingSeries
from cellmon.monitor.rules import BEGINNING, Rules
from cellmon.records import Characteristics
from tests.monitor.judge.making import demo_sheet, minute, stream
from tests.monitor.judge.test_calls import batch, called

SHEET = demo_sheet()
SHIFT = 480
ALLOWED = Allowed(rules=Rules.of([(1, BEGINNING, SHEET)]))


def audit(i, value, *, name="roundness_trace", bore="1", **other):
    return {
        "part": f"A{i:03d}",
        "bore": bore,
        "characteristic": name,
        "value": value,
        "at": SHIFT * i,
        "unit": "um",
        "gauge": "R1",
        **other,
    }


def series(rows, sheet=SHEET):
    return list(audit_series(batch(Characteristics, rows), sheet))


def quiet(n=40, *, seed=1, spread=0.2, name="roundness_trace", **other):
    values = 1.5 * np.exp(spread * np.random.default_rng(seed).standard_normal(n))
    return [audit(i, float(v), name=name, **other) for i, v in enumerate(values)]


def test_a_feature_of_another_instrument_is_a_stream_of_each_bore():
    rows = [*quiet(3), *quiet(3, bore="3"), *quiet(3, name="crosshatch_included", unit="deg")]
    found = {str(s.stream): (s.unit, s.scale, len(s.value)) for s in series(rows)}
    assert found == {
        "S1 bore 1 crosshatch included": ("deg", Scale.PLAIN, 3),
        "S1 bore 1 roundness trace": ("µm", Scale.LOG, 3),
        "S2 bore 3 roundness trace": ("µm", Scale.LOG, 3),
    }


def test_what_the_sheet_does_not_name_or_the_gauge_gives_has_no_stream():
    assert series([audit(0, 0.3, name="Rpk"), audit(0, 2.0, name="taper"), audit(0, 9.0, name="")]) == []
    assert series([]) == []


def test_the_spindle_is_the_one_of_the_row_else_the_usual_one():
    (one,) = series([audit(0, 1.0, spindle="S2")])
    (other,) = series([audit(0, 1.0)])
    assert (one.stream.spindle, other.stream.spindle) == ("S2", "S1")


def test_a_block_in_several_planes_is_one_value_and_measured_again_the_first():
    rows = [audit(0, 1.0, plane="top"), audit(0, 3.0, plane="bottom"), audit(0, 50.0, plane="top", at=30)]
    (found,) = series(rows)
    assert found.value.tolist() == [2.0] and found.at[0] == minute(0)


def test_blocks_measured_in_other_planes_than_most_are_left_out_and_counted():
    rows = [audit(i, 1.0 + i / 9, plane="middle") for i in range(5)]
    rows += [audit(5, 9.0, plane="top"), audit(6, 9.0, plane="middle", gauge="R2")]
    (found,) = series(rows)
    assert len(found.value) == 5 and found.value.max() < 2
    assert found.left_out == ("2 left out, measured in other planes or by another instrument than most",)


@pytest.mark.parametrize(
    ("given", "factor"),
    [("um", 1.0), ("µm", 1.0), ("mm", 1000.0), ("nm", 1e-3), ("in", 25400.0), ("µin", 0.0254), (None, 1.0)],
)
def test_a_length_is_brought_to_the_unit_of_the_sheet(given, factor):
    (found,) = series([audit(0, 2.0, unit=given)])
    assert found.value[0] == pytest.approx(2.0 * factor) and found.unit == "µm"


def test_a_unit_of_another_kind_is_held_against_nothing():
    rows = [audit(0, 9.0, unit="deg"), audit(1, 1.0)]
    (found,) = series(rows)
    assert len(found.value) == 1 and found.left_out == ("1 left out, in another unit than the sheet's",)
    assert np.isnan(in_sheet_units(batch(Characteristics, rows), SHEET).value[0])
    assert called(rows) == []
    mm = [audit(0, 0.009, unit="mm")]
    (call,) = called(mm)
    assert call.kind == "limit" and call.size == pytest.approx(9.0), "9 µm, of 5 allowed"


def test_words_for_a_degree_are_the_same_unit():
    rows = [audit(0, 45.0, name="crosshatch_included", unit=u) for u in ("°",)]
    assert series(rows)[0].value.tolist() == [45.0]
    assert unit_of(SHEET, "crosshatch_included") == "deg"


def test_what_has_no_logarithm_is_left_out_once_the_scale_is_a_log_scale():
    (found,) = series([*quiet(30), audit(30, 0.0), audit(31, -1.0)])
    assert found.scale is Scale.LOG and len(found.value) == 30
    assert found.left_out == ("2 left out, at or below nought: no place on a log scale",)
    (plain,) = series([audit(0, 0.0), *quiet(30)[1:]])
    assert plain.scale is Scale.PLAIN and len(plain.value) == 30


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ([1.5], "need at least 20, got 1"),
        ([1.5] * 40, "do not differ"),
        ([1.5, 1.6] * 20, "different values"),
    ],
)
def test_what_is_not_watched_says_why(values, said):
    (found,) = series([audit(i, v) for i, v in enumerate(values)])
    judged = judged_series(found, ALLOWED)
    assert judged.watch is None and said in judged.why_not


def test_a_spindle_that_the_sheet_does_not_name_has_no_share_of_the_false_alarms():
    (found,) = series(quiet(30, bore="9"))
    assert found.stream.spindle is None
    assert "not on the sheet" in judged_series(found, ALLOWED).why_not


def level(rows):
    (found,) = series(rows)
    return list(level_calls(found, judged_series(found, ALLOWED).watch))


def test_a_level_that_moved_is_one_call_with_size_and_range():
    rows = quiet(60)
    assert level(rows) == []
    for row in rows[40:]:
        row["value"] *= 2.0
    (call,) = level(rows)
    assert (call.kind, call.family, call.side, call.over) == ("level", "audit", 1, False)
    assert call.stream == stream("S1", "1", "roundness_trace")
    assert 0.7 < call.size < 2.2, "from 1.5 to 3 µm, by the few values until the call"
    assert call.sigma == pytest.approx(0.3, rel=0.4)
    assert call.change_at == minute(SHIFT * 40)
    assert call.earliest_at <= minute(SHIFT * 39) < call.change_at <= call.latest_at <= call.at
    assert call.at <= minute(SHIFT * 45) and call.last_part == "A059"


def test_a_level_that_fell_is_a_call_too():
    rows = quiet(60)
    for row in rows[40:]:
        row["value"] /= 2.0
    (call,) = level(rows)
    assert call.side == -1 and call.size < -0.4


def test_the_order_of_the_rows_changes_nothing():
    rows = [*quiet(60), *quiet(60, bore="2", seed=2)]
    for row in rows[45:60]:
        row["value"] *= 2.0
    shuffled = random.Random(4).sample(rows, k=len(rows))
    for one, other in zip(series(rows), series(shuffled), strict=True):
        assert (one.stream, one.part.tolist()) == (other.stream, other.part.tolist())
        np.testing.assert_array_equal(one.value, other.value)


def test_audits_and_findings_have_their_share_of_the_false_alarms_by_the_plan():
    found = budget(SHEET)
    # shifts of the demonstration: three, six days a week; two bores a spindle
    assert shifts_per_week(SHEET) == 18
    assert shifts_per_week(demo_sheet(shifts=None)) == 7
    for feature in ("roundness_trace", "cylindricity", "crosshatch_included"):
        family = found.family_at(feature, "audit", "HM-214", "S1")
        assert (family.streams, family.points, family.detectors) == (2, 18.0, ("level",))
    findings = found.family_at(FINDINGS, FINDING, "HM-214", "S2")
    assert (findings.streams, findings.points) == (FINDINGS_PLANNED, 18.0)
    assert found.rates(findings).single <= TIGHTEST
    eager = budget(demo_sheet(alarms={"false_alarms_per_week": 500.0}))
    assert eager.rates(eager.family_at(FINDINGS, FINDING, "HM-214", "S2")).single == pytest.approx(TIGHTEST)


def shares(bores, found):
    """A series of shifts of which three bores with the finding are one too many."""
    n = len(bores)
    starts = np.array([minute(SHIFT * i) for i in range(n)], dtype="datetime64[us]")
    return FindingSeries(
        stream=stream(feature="pore"),
        of=MADE,
        shift_start=starts,
        bores=np.array(bores),
        found=np.array(found),
        first_at=tuple(starts[i] + np.arange(k) * np.timedelta64(1, "m") for i, k in enumerate(found)),
        parts=tuple(np.array([f"P{i}-{j}" for j in range(k)], object) for i, k in enumerate(found)),
        watch=ShareWatch(
            most=np.array([2.0 if b else np.nan for b in bores]),
            beyond=np.array([k > 2 for k in found]),
            seen=np.full(n, 4),
            of=np.full(n, 10_000),
        ),
        chance=np.full(n, 1e-4),
        usual=500,
        why_not=None,
        left_out=(),
    )


def test_shifts_with_too_many_are_one_call_until_a_shift_with_bores_is_usual_again():
    bores = [500, 500, 500, 0, 500, 500, 500, 500, 500]
    found = [1, 3, 4, 0, 5, 2, 0, 6, 0]
    first, second = share_calls(shares(bores, found))
    assert (first.part, first.last_part, first.over) == ("P1-2", "P4-4", True), "the idle shift ends nothing"
    assert (second.part, second.last_part, second.over) == ("P7-2", "P7-5", True)


def test_a_share_that_is_too_large_still_is_not_over():
    (one,) = share_calls(shares([500] * 3, [0, 3, 9]))
    assert (one.part, one.last_part, one.over) == ("P1-2", "P2-8", False)
    assert not [*share_calls(shares([500, 500], [2, 1]))] and not [*share_calls(shares([], []))]

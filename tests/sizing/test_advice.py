"""The next round: safe, short, at the right end, and a reason where there is none."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cellmon.sizing.advice import Held, Stage, Step, next_round
from cellmon.sizing.bounds import Caution
from cellmon.sizing.chance import outlook
from cellmon.sizing.learned import after_readings, after_strokes, begin
from cellmon.sizing.left import GaugeDoubt, Limits, left_of
from cellmon.sizing.outcome import Kept, outcome
from cellmon.sizing.prior import RatePrior
from cellmon.sizing.strokes import Strokes, expected_reach

LIMITS = Limits(lower=0.0, target=12.0, upper=24.0)
DOUBT = GaugeDoubt(common_um=0.4, reading_um=0.6)
REACH = expected_reach([15.0, 70.0, 125.0])


def advise(um, *, stage=None, known=None, rate=None, caution=None):
    um = np.asarray(um, dtype=float)
    known = begin(um.mean(axis=1), 0.18, reach=REACH, rate=rate) if known is None else known
    left = left_of(um, LIMITS, DOUBT)
    return next_round(known, left, LIMITS, DOUBT, stage=stage or Stage(test=True), caution=caution)


def bore(top, middle, bottom):
    return [[top, top], [middle, middle], [bottom, bottom]]


@settings(max_examples=25, deadline=None)
@given(st.floats(20, 200), st.floats(-20, 20), st.booleans(), st.floats(0.1, 3.0))
def test_no_round_is_likely_to_pass_the_target_or_the_limit(stock, taper, test, rate):
    um = np.array(bore(taper / 2, 0.0, -taper / 2)) + 12.0 - stock - 12
    told = advise(um, stage=Stage(test=test), rate=RatePrior(middle_um=rate, log_sd=0.2))
    known = begin(um.mean(axis=1), 0.18, reach=REACH, rate=RatePrior(middle_um=rate, log_sd=0.2))
    seen = outlook(known, told.strokes)
    assert seen.chance_beyond(told.ceiling_um).max() <= Caution().past_target + 0.02
    assert seen.chance_beyond(LIMITS.upper, shared_um=DOUBT.common_um).max() <= Caution().past_upper
    if told.ceiling_um == LIMITS.target:
        assert told.past_target <= Caution().past_target + 0.02
        assert seen.quantile(0.88).max() <= LIMITS.target + 0.01


@settings(max_examples=20, deadline=None)
@given(st.floats(15, 150), st.floats(1, 60), st.booleans())
def test_more_left_never_means_fewer_strokes(left_um, more, test):
    near = advise(bore(*[12 - left_um] * 3), stage=Stage(test=test))
    far = advise(bore(*[12 - left_um - more] * 3), stage=Stage(test=test))
    assert far.strokes.total >= near.strokes.total


@settings(max_examples=20, deadline=None)
@given(st.floats(30, 200), st.floats(0, 20))
def test_a_test_round_takes_no_third_of_what_is_left_at_the_tightest(stock, taper):
    um = bore(12 - stock, 12 - stock - taper / 2, 12 - stock - taper)
    told = advise(um)
    assert told.step is Step.TEST
    known = begin(np.mean(um, axis=1), 0.18, reach=REACH)
    third = 12 - stock - taper + (stock + taper) / 3
    assert outlook(known, told.strokes).chance_beyond(third)[2] <= 0.101


def test_a_round_begins_at_the_tight_end_with_short_strokes_there():
    told = advise(bore(-40, -50, -60), stage=Stage(test=False), rate=RatePrior(middle_um=0.5, log_sd=0.1))
    assert told.begin_at == 2
    assert told.strokes.bottom > 0
    assert told.strokes.top == 0
    turned = advise(bore(-60, -50, -40), stage=Stage(test=False), rate=RatePrior(middle_um=0.5, log_sd=0.1))
    assert (turned.begin_at, turned.strokes.top) == (0, told.strokes.bottom)


def test_no_short_strokes_where_a_port_or_floor_stands_in_the_way():
    told = advise(bore(-40, -50, -60), stage=Stage(test=False, short_top=False, short_bottom=False))
    assert told.strokes.top == told.strokes.bottom == 0
    assert told.strokes.full > 0


def test_taper_that_the_gauge_cannot_tell_asks_for_no_short_strokes():
    told = advise(bore(-50.2, -50, -50.5), stage=Stage(test=False))
    assert told.strokes.top == told.strokes.bottom == 0
    assert told.begin_at is None


def test_it_ends_where_the_tightest_place_is_proven_above_the_lower_limit():
    guard = DOUBT.guard_um()
    assert advise(bore(8, 5, guard + 0.1)).step is Step.FINISHED
    assert advise(bore(8, 5, guard - 0.5), stage=Stage(test=False)).step is Step.STROKES
    assert advise(bore(23.8, 5, guard + 1)).step is Step.UNSETTLED


def test_a_bore_past_the_upper_limit_cannot_be_saved():
    assert advise(bore(26, 5, -20)).step is Step.CANNOT
    assert advise(bore(23.9, -30, -80), stage=Stage(test=False)).step in (Step.UNSETTLED, Step.CANNOT)


def test_warmth_that_could_hide_a_tenth_of_what_is_left_waits():
    um = bore(-10, -11, -12)  # 22 um left at the widest place
    assert advise(um, stage=Stage(test=False, warmth_um=2.5)).step is Step.COOL
    assert advise(um, stage=Stage(test=False, warmth_um=1.5)).step is Step.STROKES
    assert advise(bore(-90, -91, -92), stage=Stage(test=True, warmth_um=6.0)).step is Step.TEST


def test_rough_stones_leave_what_the_finer_ones_need():
    far = advise(bore(-60, -61, -62), stage=Stage(test=False, leaves_um=12.0))
    assert far.step is Step.STROKES
    assert far.ceiling_um == 0.0
    near = advise(bore(-8, -9, -10), stage=Stage(test=False, leaves_um=12.0))
    assert near.step is Step.FINER
    assert advise(bore(-8, -9, -10), stage=Stage(test=True)).step is Step.TEST


def test_a_wider_spread_than_the_room_below_the_target_moves_the_ceiling():
    told = advise(bore(-4, -15, -25), stage=Stage(test=False, short_top=False, short_bottom=False))
    assert 12.0 < told.ceiling_um <= 24 - DOUBT.guard_um()


def test_a_round_is_held_against_what_was_said():
    um = np.array(bore(-50, -50, -50), dtype=float)
    known = begin(um.mean(axis=1), 0.18, reach=REACH, rate=RatePrior(middle_um=0.5, log_sd=0.15))
    told = advise(um, known=known, stage=Stage(test=False))
    before = um.mean(axis=1)

    def held(after, made=told.strokes):
        return outcome(told, made, before_um=before, after_um=after, reading_sd_um=0.4).kept

    assert held(told.expected_um) is Kept.AS_SAID
    assert held(told.high_um + 5) is Kept.MORE
    assert held(told.low_um - 5) is Kept.LESS
    assert held(told.expected_um + np.array([60, 0, -60])) is Kept.UNEVEN
    assert held(told.expected_um, Strokes(full=1)) is Kept.OTHER


def test_what_a_round_took_is_learned_and_the_next_goes_further():
    um = np.array(bore(-80, -80, -80), dtype=float)
    known = begin(um.mean(axis=1), 0.18, reach=REACH)
    first = advise(um, known=known)
    after = um + 0.2 * first.strokes.full
    known = after_readings(after_strokes(known, first.strokes), after.mean(axis=1), 0.18)
    second = advise(after, known=known, stage=Stage(test=False))
    assert second.step is Step.STROKES
    assert second.strokes.total > 4 * first.strokes.total
    assert known.middle_um == pytest.approx(0.2, rel=0.25)


# Upper limit 24, guard 1.19 um: a bore from 10 to 17 um is of the right size; form says whether it is done
@pytest.mark.parametrize(
    ("form", "step"),
    [
        ({}, Step.FINISHED),
        ({"along": Held.BEYOND}, Step.STROKES),
        ({"along": Held.BEYOND, "short_bottom": False}, Step.CANNOT),
        ({"along": Held.UNDECIDED, "short_bottom": False}, Step.UNSETTLED),
        ({"around": Held.BEYOND}, Step.STROKES),
    ],
)
def test_a_bore_of_the_right_size_is_finished_only_when_its_form_is(form, step):
    told = advise(
        bore(17, 13, 10), stage=Stage(test=False, **form), rate=RatePrior(middle_um=0.3, log_sd=0.1)
    )
    assert told.step is step
    if form.get("along") is Held.BEYOND and step is Step.STROKES:
        assert told.strokes.bottom > told.strokes.full + told.strokes.top
        assert told.past_upper <= Caution().past_upper


def test_form_that_no_room_mends_cannot_be_saved():
    told = advise(bore(22.5, 15, 6), stage=Stage(test=False, along=Held.BEYOND))
    assert told.step is Step.CANNOT


def test_short_strokes_go_only_where_they_help_and_nothing_lies():
    both, low, even = (
        left_of(bore(*um), LIMITS, DOUBT) for um in ((-40, -20, -40), (-20, -30, -40), (-30,) * 3)
    )
    free, shut = Stage(test=False), Stage(test=False, short_bottom=False)
    assert [free.short_at(left) for left in (both, low, even)] == [(1, 2), (2,), ()]
    assert [shut.short_at(left) for left in (both, low, even)] == [(1,), (), ()]

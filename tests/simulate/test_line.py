import time

import numpy as np
import pytest
from reading import A2, D2, D4, at, between, blocks, size, subgroups

from cellmon.simulate.harrowmere import SEED, harrowmere_week
from cellmon.simulate.line import run
from tests.simulate.year import harrowmere_year

# The expected ranges are the reference results of the scenario, computed once by another program over 20
# trial runs: bore means 11.7/10.9/12.1/10.7; within sigma 1.6 to 1.9; Cp 2.2 to 2.4; baseline Ppk 1.9 to 2.1;
# whole-week Ppk 1.8 to 2.2; signals 0.5 to 1.8 % of X-bar and 0.2 to 1.2 % of R; about 5685 blocks. What is
# added on either side for a single seed is said beside each.

FAULT_WINDOWS = [(20, 10, 20, 13), (21, 15, 42, 18), (22, 6, 0, 20), (23, 2, 0, 15), (24, 20, 0, 21)]


@pytest.fixture(scope="module")
def ordinary(week):
    """Size by block and bore, and which blocks lie outside every fault and decoy."""
    s = size(blocks(week.readings.um))
    calm = week.truth.times >= at(19, 9)
    for day, hour, minute, until in FAULT_WINDOWS:
        calm &= ~between(week.truth.times, at(day, hour, minute), at(day, until))
    return s, calm


def test_the_week_has_about_as_many_blocks_as_its_hours_allow(week):
    # 145 h less 18 x 30 min of stops, less changes and dressings, at 85 s
    assert len(week.truth.parts) == pytest.approx(5690, abs=20)
    assert len(week.readings) == 4 * len(week.truth.parts)


def test_bore_means_are_those_of_the_reference(ordinary):
    means = np.nanmean(ordinary[0], axis=0)
    assert means == pytest.approx([11.7, 10.9, 12.1, 10.7], abs=0.25)  # one seed; the order is the point


def test_spread_and_indices_are_those_of_the_reference(week, ordinary):
    s, calm = ordinary
    within = np.ptp(subgroups(s[calm]), axis=1).mean(axis=0) / D2
    total = s[calm].std(axis=0, ddof=1)
    assert (within > 1.6).all() and (within < 1.9).all()
    assert (total > 1.75).all() and (total < 2.0).all()  # 1.8 to 1.9 with half a digit
    assert (24 / 6 / within > 2.15).all() and (24 / 6 / within < 2.45).all()
    base = s[between(week.truth.times, at(19, 9), at(20, 9))]
    ppk = np.minimum(24 - base.mean(axis=0), base.mean(axis=0)) / 3 / base.std(axis=0, ddof=1)
    assert (ppk > 1.75).all() and (ppk < 2.25).all()  # one day of one seed
    whole = np.minimum(24 - s.mean(axis=0), s.mean(axis=0)) / 3 / s.std(axis=0, ddof=1)
    assert (whole > 1.75).all() and (whole < 2.25).all()


def test_a_good_index_hides_bores_out_of_size(week):
    outside = (week.truth.um.max(axis=(2, 3)) > 24) | (week.truth.um.min(axis=(2, 3)) < 0)
    assert 1 <= outside.sum() <= 11


def test_ordinary_subgroups_signal_as_often_as_the_reference(week, ordinary):
    s, calm = ordinary
    base = subgroups(s[between(week.truth.times, at(19, 9), at(20, 9))])
    centre, mean_range = base.mean(axis=(0, 1)), np.ptp(base, axis=1).mean(axis=0)
    later = subgroups(s[calm & (week.truth.times >= at(20, 13))])[::4]  # 5 of every 20 blocks
    beyond_mean = np.abs(later.mean(axis=1) - centre) > A2 * mean_range
    beyond_range = np.ptp(later, axis=1) > D4 * mean_range
    assert 0.002 < beyond_mean.mean() < 0.025  # 0.5 to 1.8 %, widened by 2 standard errors of 900 subgroups
    assert 0.0 < beyond_range.mean() < 0.02  # 0.2 to 1.2 %, widened likewise


def test_feedback_follows_drift_with_about_130_small_steps_a_spindle(week):
    e = week.events
    for spindle in ("S1", "S2"):
        steps = e.value[(e.event == "feed-offset") & (e.by == "machine") & (e.spindle == spindle)]
        assert 105 <= len(steps) <= 155
        assert np.mean((steps >= 1) & (steps <= 2)) > 0.85


def test_the_same_seed_gives_the_same_records_and_another_seed_others(week):
    again, other = (run(harrowmere_week(), seed=seed) for seed in (SEED, SEED + 1))
    assert np.array_equal(again.readings.um, week.readings.um, equal_nan=True)
    assert list(again.events.at) == list(week.events.at)
    assert not np.array_equal(other.audit.um, week.audit.um, equal_nan=True)


@pytest.mark.parametrize("name", ["F1", "F3", "F4", "F5", "F7", "reroute", "dial-turn", "repeated-export"])
def test_taking_an_incident_out_leaves_everything_before_it_as_it_was(week, name):
    calm = run(harrowmere_week().without(name), seed=SEED)
    before = week.readings.measured_at < week.truth.of(name).starts
    rows = np.flatnonzero(before)
    assert np.array_equal(calm.readings.um[rows], week.readings.um[rows], equal_nan=True)
    assert list(calm.readings.spindle[rows]) == list(week.readings.spindle[rows])
    assert len(calm.truth.planted) == len(week.truth.planted) - 1


def test_a_fault_of_one_spindle_leaves_the_other_as_it_was(week):
    calm = run(harrowmere_week().without("F3"), seed=SEED)
    changed = np.any(week.truth.um != calm.truth.um, axis=(2, 3))
    planted = np.isin(week.truth.parts, np.array(week.truth.of("F3").parts, dtype=object))
    assert changed[planted, 0].all() and not changed[:, 2:].any()


def test_every_record_a_cell_would_keep_is_there(week):
    kinds = (
        week.stone_sets, week.stone_measurements, week.stock, week.gauge_checks, week.study,
        week.characteristics, week.findings, week.traces, week.mating_parts, week.events, week.audit,
    )  # fmt: skip
    assert all(len(batch) for batch in kinds)
    assert (
        len(week.gauge_checks.at[(week.gauge_checks.gauge == "G1") & (week.gauge_checks.master_mm == 87.3)])
        >= 49
    )


def test_no_row_key_occurs_twice(week):
    for batch in (
        week.readings,
        week.audit,
        week.events,
        week.stone_measurements,
        week.gauge_checks,
        week.study,
    ):
        keys = list(zip(*(getattr(batch, name) for name in batch.key()), strict=True))
        assert len(set(map(str, keys))) == len(keys)


def test_a_season_of_weeks_is_made_in_seconds():
    started = time.process_time()
    season = run(harrowmere_year(weeks=8), seed=1)
    assert time.process_time() - started < 9  # a year in a minute
    assert len(season.truth.parts) == pytest.approx(8 * 5650, rel=0.01)
    assert len(np.unique(season.readings.stone_set)) > 15

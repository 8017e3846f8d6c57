"""From one number a week to the limits of every detector: sums, bounds, and the tables behind them."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from cellmon.charts.run_length.cusum import cusum_limit
from cellmon.charts.run_length.variance import variance_cusum_limit
from cellmon.drift.spread_watch import SPREAD_K
from cellmon.drift.watch import LEVEL_K
from cellmon.judged import OF_ALL, OF_SPINDLE, OFFSETS, PROCESS
from cellmon.monitor.judge.audit_plan import AUDIT, FINDING, FINDINGS, FINDINGS_PLANNED
from cellmon.monitor.judge.budget import (
    TIGHTEST,
    UNPLANNED_SUBGROUPS,
    WEIGHTS,
    budget,
    detector_limits,
    level_limits,
    log_rate,
    single_limit,
    spread_limits,
    subgroups_per_week,
)
from cellmon.records import Stream
from tests.monitor.judge.making import demo_sheet, stream


def with_rate(rate, **other):
    return demo_sheet(alarms={"false_alarms_per_week": rate}, **other)


def subgrouped(found):
    """Return the families whose streams have subgroups: audits and findings have single values."""
    return [f for f in found.families if f.scope not in (AUDIT, FINDING)]


def every_stream(found):
    """Return one stream of each family that has subgroups."""
    for f in subgrouped(found):
        bore = "1" if f.spindle == "S1" else "3"
        yield Stream(
            part_number=f.part_number,
            spindle=f.spindle,
            bore=bore if f.scope in ("bore", "distance") else None,
            feature=f.feature,
            part_of="distance" if f.scope == "distance" else "itself",
        )


@given(st.floats(0.01, 50), st.integers(2, 10))
@settings(max_examples=30, deadline=None)
def test_what_all_detectors_are_given_adds_up_to_the_promise(rate, size):
    found = budget(with_rate(rate, subgroups={"size": size}))
    total = sum(
        f.streams * f.points * getattr(found.rates(f), d) for f in found.families for d in f.detectors
    )
    assert total == pytest.approx(found.expected_per_week, rel=1e-12)
    assert total == pytest.approx(rate, rel=1e-12), "what a stream at its bound cannot use goes to the others"


@pytest.mark.parametrize("rate", [500.0, 5_000.0, 1e6])
def test_no_stream_of_its_own_points_calls_more_than_once_in_370(rate):
    found = budget(with_rate(rate))
    of = [found.rates(f) for f in found.families]
    totals = np.array([r.level + r.spread + r.single for r in of])
    assert (totals <= TIGHTEST * (1 + 1e-12)).all()
    assert rate < 1e5 or np.allclose(totals[totals > 0], 1 / 370)
    assert found.expected_per_week <= rate * (1 + 1e-12)


@pytest.mark.parametrize("rate", [0.001, 2.0, 1e9])
def test_the_limits_of_everything_watched_are_finite(rate):
    found = budget(with_rate(rate))
    streams = list(every_stream(found))
    assert [found.family_of(s) for s in streams] == subgrouped(found)
    limits = detector_limits(found, streams, [5] * len(streams))
    means = [bool(f.detectors) and f.feature != OFFSETS for f in subgrouped(found)]
    assert np.isfinite(limits.single).tolist() == means, "a wild bore is left out of every mean that calls"
    watched = {"level": limits.level, "spread": limits.spread}
    for i, family in enumerate(subgrouped(found)):
        assert limits.tells_single[i] == ("single" in family.detectors), family
        for name, values in watched.items():
            assert np.isfinite(values[:, i]).all() == (name in family.detectors), (family, name)
            assert (values[:, i] > 0).all()


def test_the_demo_watches_each_bore_and_what_it_has_in_common():
    # 4 bores: 6 charted features at most; bores, distances, means of two spindles, of all; and the process
    sheet = demo_sheet()
    found = budget(sheet)
    charted = set(sheet.part().charted)
    scopes = {(f.feature, f.scope): 0 for f in found.families}
    for f in found.families:
        scopes[f.feature, f.scope] += f.streams
    audited = sheet.part().audited
    assert all(scopes.pop((feature, AUDIT)) == 4 for feature in audited)
    assert scopes.pop((FINDINGS, FINDING)) == 2 * FINDINGS_PLANNED
    for feature in charted:
        assert [scopes[feature, s] for s in ("bore", "distance", "spindle", "all")] == [4, 4, 2, 1]
    assert all(scopes[feature, "spindle"] == 2 for feature in (*OF_SPINDLE, OFFSETS))
    assert all(scopes[feature, "all"] == 1 for feature in OF_ALL)
    assert len(scopes) == 4 * len(charted) + len(PROCESS)
    # 316 blocks a shift, 18 shifts a week, subgroups of 5
    assert found.families[0].points == pytest.approx(316 * 18 / 5)
    assert found.planned and found.per_week == 2.0


def test_detectors_share_by_their_weights():
    found = budget(demo_sheet())
    own = next(f for f in found.families if f.scope == "bore")
    rates = found.rates(own)
    assert rates.level / rates.spread == pytest.approx(WEIGHTS["level"] / WEIGHTS["spread"])
    assert rates.level / rates.single == pytest.approx(WEIGHTS["level"] / WEIGHTS["single"])
    pooled = next(f for f in found.families if f.scope == "all")
    assert found.rates(pooled).single == 0.0
    per_week = [f.points * found.rates(f).level for f in found.families if "level" in f.detectors]
    np.testing.assert_allclose(per_week, per_week[0], err_msg="a week's share is the same for all streams")


def test_what_is_not_watched_has_no_family_and_no_limit():
    found = budget(demo_sheet())
    strange = [
        stream(feature="cylindricity"),
        Stream(part_number="X", spindle="S1", bore="1", feature="diameter"),
    ]
    assert [found.family_of(s) for s in strange] == [None, None]
    limits = detector_limits(found, strange, [5, 5])
    assert np.isinf(limits.level).all() and np.isinf(limits.spread).all() and np.isinf(limits.single).all()


def test_a_sheet_without_a_plan_takes_a_thousand_subgroups_a_week():
    sheet = demo_sheet(planning=None)
    found = budget(sheet)
    assert not found.planned
    assert {f.points for f in subgrouped(found) if f.feature != OFFSETS} == {UNPLANNED_SUBGROUPS}
    # 1,000 subgroups of 5 of each of a spindle's two bores are 100 blocks of 100 bores
    assert {f.points for f in found.families if f.feature == OFFSETS} == {100.0}
    assert subgroups_per_week(sheet, "S1", 2) == UNPLANNED_SUBGROUPS


def test_more_false_alarms_allowed_make_every_limit_tighter():
    wide = [np.array([*level_limits(r), *spread_limits(r, 4)]) for r in (-12.0, -9.0, -6.0)]
    assert (wide[0] > wide[1]).all() and (wide[1] > wide[2]).all()
    assert single_limit(1e-5, 5) > single_limit(1e-3, 5)


# Limits from the tables against an independent simulation: the three CUSUMs run on the same points, all begun
# anew after a call. Seed 51; allowed: four standard errors of the run length, and 1.5 % of the table's own.
@pytest.mark.parametrize("arl", [300, 900])
def test_three_cusums_of_the_level_together_keep_the_promise(arl):
    h = level_limits(log_rate(1 / arl))[:, None]
    rng, lanes, points, calls = np.random.default_rng(51), 4000, 0, 0
    up, down = np.zeros((3, lanes)), np.zeros((3, lanes))
    while calls < 5000:
        z = rng.standard_normal(lanes)
        up, down = np.maximum(up + z - LEVEL_K, 0), np.maximum(down - z - LEVEL_K, 0)
        called = ((up > h) | (down > h)).any(axis=0)
        up[:, called] = down[:, called] = 0.0
        points, calls = points + lanes, calls + int(called.sum())
    assert points / calls == pytest.approx(arl, rel=4 / np.sqrt(calls) + 0.015)


@pytest.mark.parametrize(("arl", "df"), [(400, 4), (400, 2), (400, 9)])
def test_three_cusums_of_the_variance_together_keep_the_promise(arl, df):
    h = spread_limits(log_rate(1 / arl), df)[:, None]
    rng, lanes, points, calls = np.random.default_rng(52), 4000, 0, 0
    s = np.zeros((3, lanes))
    while calls < 5000:
        s = np.maximum(s + rng.chisquare(df, lanes) / df - SPREAD_K, 0)
        called = (s > h).any(axis=0)
        s[:, called] = 0.0
        points, calls = points + lanes, calls + int(called.sum())
    assert points / calls == pytest.approx(arl, rel=4 / np.sqrt(calls) + 0.03)


def test_each_of_three_has_the_same_run_length_alone():
    for rate in (-6.0, -9.0):
        found = level_limits(rate)
        alone = {round(float(np.log(arl)), 3) for arl in _run_lengths(found)}
        assert len(alone) == 1
    widths = spread_limits(-7.0, 4)
    assert widths[0] > widths[1] > widths[2]
    assert (
        variance_cusum_limit(float(SPREAD_K[0, 0]), 4.0, 2000.0)
        < widths[0]
        < variance_cusum_limit(float(SPREAD_K[0, 0]), 4.0, 4000.0)
    )


def _run_lengths(limits):
    from cellmon.charts.run_length.cusum import cusum_arl

    return [cusum_arl(float(k), float(h)) for k, h in zip(LEVEL_K[:, 0], limits, strict=True)]


@given(st.floats(1e-9, 1e-3), st.integers(1, 25))
def test_the_farthest_bore_lies_beyond_its_limit_at_the_rate(rate, size):
    # the chance that none of `size` normal bores lies beyond: (1 - 2 tail)^size, scipy.stats.norm
    tail = stats.norm.sf(single_limit(rate, size))
    assert -np.expm1(size * np.log1p(-2 * tail)) == pytest.approx(rate, rel=2e-3)


def test_a_limit_alone_is_the_project_s_own_cusum_limit():
    # the two ends of the table reach out flat: one in 100 is taken as one in 232 is
    assert level_limits(log_rate(1 / 100))[1] == pytest.approx(cusum_limit(0.52, 2 * 2.159 * 100), abs=0.01)


def test_a_stream_of_one_fixture_has_the_family_of_its_position():
    found = budget(demo_sheet())
    assert found.family_of(stream(feature="ovality", fixture="P1")) == found.family_of(
        stream(feature="ovality")
    )


def test_of_more_bores_the_farthest_may_lie_farther():
    found = budget(demo_sheet())
    limits = [float(detector_limits(found, [stream()], [size]).single[0]) for size in (2, 5, 10)]
    assert limits == sorted(limits) and limits[0] < limits[2]

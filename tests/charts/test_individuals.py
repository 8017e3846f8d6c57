"""Single values that come seldom: limits by probability, deviates that start themselves, a level watched."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from cellmon.charts.individuals import (
    BASELINE_VALUES,
    CHANCE,
    LEAST_VALUES,
    Scale,
    moving_ranges,
    off_scale,
    on_scale,
    refusal_of,
    scale_of,
    single_limits,
)
from cellmon.charts.level_watch import FAR, Quiet, Standing, watch_level, watch_on
from cellmon.charts.run_length.cusum import cusum_limit
from cellmon.charts.self_starting import Deviates, Usual
from cellmon.charts.shewhart import mean_limits, sigma_from_ranges
from cellmon.errors import GapInReadings, NoSpread, NotEnoughData

FOLDER = Path(__file__).parents[1] / "checks"
ROWS = {c["id"]: c for c in json.loads((FOLDER / "shewhart_examples.json").read_text())["checks"]}
K = (0.21, 0.52, 1.34)
H = tuple(cusum_limit(k, 2 * 900) for k in K)


# NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.2, ten flow rates: mean, mean moving range
# and classic limits as printed. Ours are wider by Student's t, since ten values leave the spread unsure;
# the values are taken three times to reach the least number.
def test_flow_rates_have_the_printed_mean_and_moving_range_and_wider_limits():
    row = ROWS["individuals-flowrate"]
    x, printed, tol = np.array(row["inputs"]["x"]), row["expected"], row["tol"]
    assert x.mean() == pytest.approx(printed["mean"], abs=tol["mean"])
    assert np.nanmean(moving_ranges(x, Scale.PLAIN)) == pytest.approx(printed["mr_bar"], abs=tol["mr_bar"])
    sigma = sigma_from_ranges(moving_ranges(x, Scale.PLAIN)[1:], 2).sigma
    classic = mean_limits(x.mean(), sigma, 1)
    assert float(classic.upper) == pytest.approx(printed["ucl"], abs=tol["ucl"])
    ours = single_limits(np.tile(x, 3), scale=Scale.PLAIN)
    assert ours.centre == pytest.approx(printed["mean"], abs=tol["mean"])
    assert ours.lower < printed["lcl"] and ours.upper > printed["ucl"]


# scipy's t distribution as a second computation; with a very long baseline the factor is 3.
def test_limits_are_those_of_a_value_to_come():
    x = np.random.default_rng(3).normal(10.0, 2.0, 25)
    found = single_limits(x, scale=Scale.PLAIN)
    low, high = stats.t.interval(1 - CHANCE, 24, loc=x.mean(), scale=x.std(ddof=1) * np.sqrt(26 / 25))
    assert (found.lower, found.upper) == pytest.approx((low, high), rel=1e-9)
    assert found.range_upper == pytest.approx(
        stats.t.ppf(1 - CHANCE / 2, 24) * x.std(ddof=1) * np.sqrt(2), rel=1e-9
    )
    many = single_limits(np.random.default_rng(4).normal(0.0, 1.0, 200_000), scale=Scale.PLAIN)
    assert (many.upper - many.centre) / many.sd == pytest.approx(3.0, abs=1e-3)


# seed 12: 6,000 baselines of 25 lognormal values, one value and one pair to come each: 60 beyond expected of
# either at one in 100; 4 standard errors of a Poisson count allow 29 to 91
def test_a_value_to_come_is_beyond_as_seldom_as_promised_on_the_log_scale():
    rng = np.random.default_rng(12)
    y = np.exp(0.3 * rng.standard_normal((6000, 27)))
    beyond = ranges = 0
    for row in y:
        found = single_limits(row[:25], scale=Scale.LOG, chance=0.01)
        beyond += not found.lower <= row[25] <= found.upper
        ranges += moving_ranges(row[25:], Scale.LOG)[1] > found.range_upper
    assert abs(beyond - 60) < 4 * np.sqrt(60)
    assert abs(ranges - 60) < 4 * np.sqrt(60)


def test_positive_values_with_an_upper_limit_alone_are_on_the_log_scale():
    assert scale_of([0.2, 3.0], lower=None, upper=5.0) is Scale.LOG
    assert scale_of([0.0, 3.0], lower=None, upper=5.0) is Scale.PLAIN
    assert scale_of([40.0, 50.0], lower=37.0, upper=53.0) is Scale.PLAIN
    assert scale_of([40.0, 50.0], lower=None, upper=None) is Scale.PLAIN
    np.testing.assert_array_equal(on_scale([-1.0, 0.0, 1.0], Scale.LOG), [np.nan, np.nan, 0.0])
    assert moving_ranges([1.0, 4.0, 2.0], Scale.LOG)[1:] == pytest.approx([4.0, 2.0])


@given(st.lists(st.floats(0.01, 100.0), min_size=1, max_size=30), st.sampled_from(list(Scale)))
def test_a_scale_gives_back_what_it_was_given(values, scale):
    np.testing.assert_allclose(off_scale(on_scale(values, scale), scale), values, rtol=1e-12)


@given(st.floats(0.01, 100.0), st.floats(-50.0, 50.0))
def test_limits_follow_the_unit_of_the_values(factor, shift):
    x = np.random.default_rng(8).lognormal(0.0, 0.3, 25)
    plain, moved = (single_limits(v, scale=Scale.PLAIN) for v in (x, factor * x + shift))
    assert moved.upper == pytest.approx(factor * plain.upper + shift, rel=1e-9, abs=1e-9)
    assert moved.range_upper == pytest.approx(factor * plain.range_upper, rel=1e-9)
    log, scaled = (single_limits(v, scale=Scale.LOG) for v in (x, factor * x))
    assert scaled.lower == pytest.approx(factor * log.lower, rel=1e-9) and log.lower > 0
    assert scaled.range_upper == pytest.approx(log.range_upper, rel=1e-9), "a ratio has no unit"


def test_what_gives_no_limits_is_refused_in_words():
    good = list(np.linspace(1.0, 2.0, LEAST_VALUES))
    assert refusal_of(good, Scale.PLAIN) is None
    with pytest.raises(NotEnoughData, match="need at least 20, got 19"):
        single_limits(good[1:], scale=Scale.PLAIN)
    with pytest.raises(NoSpread):
        single_limits([1.0] * 25, scale=Scale.PLAIN)
    with pytest.raises(NotEnoughData, match="different values"):
        single_limits([1.0] * 24 + [1.1], scale=Scale.PLAIN)
    with pytest.raises(GapInReadings):
        single_limits([*good, 0.0], scale=Scale.LOG)
    with pytest.raises(ValueError, match="chance"):
        single_limits(good, scale=Scale.PLAIN, chance=0.0)
    assert "got 1" in (refusal_of([3.0], Scale.PLAIN) or "")
    assert "do not differ" in (refusal_of([3.0] * 30, Scale.PLAIN) or "")


def self_starting(x, known=()):
    return Deviates.of(x, Usual.of(known, then=x)).z


# Each deviate is Student's t of a value against all before it, taken to the normal scale: by scipy's own
# distributions, one value at a time.
def test_deviates_agree_with_a_computation_value_by_value():
    x = np.random.default_rng(5).normal(1e3, 2.0, 40)
    z = self_starting(x)
    assert np.isnan(z[:2]).all()
    for i in range(2, 40):
        m, s = x[:i].mean(), x[:i].std(ddof=1)
        t = (x[i] - m) / (s * np.sqrt(1 + 1 / i))
        assert z[i] == pytest.approx(stats.norm.ppf(stats.t.cdf(t, i - 1)), abs=1e-7)
    np.testing.assert_allclose(self_starting(x[10:], known=x[:10]), z[10:], atol=1e-9)


# seed 6: 4,000 series of 30; Kolmogorov's distance of 112,000 deviates is below 0.0058 in 999 of 1,000 cases
def test_deviates_are_standard_normal_and_independent_from_the_third_value_on():
    x = np.random.default_rng(6).normal(-3.0, 7.0, (4000, 30))
    z = np.array([self_starting(row)[2:] for row in x])
    assert stats.kstest(z.ravel(), "norm").statistic < 0.0058
    correlation = np.corrcoef(z[:, :-1].ravel(), z[:, 1:].ravel())[0, 1]
    assert abs(correlation) < 5 / np.sqrt(z[:, 1:].size)


@given(st.floats(0.01, 1e3), st.floats(-1e3, 1e3), st.integers(0, 10_000))
@settings(max_examples=40, deadline=None)
def test_calls_do_not_depend_on_the_unit(factor, shift, seed):
    x = np.random.default_rng(seed).standard_normal(120)
    x[60:] += 2.0
    one, other = (watch_level(v, references=K, limits=H) for v in (x, factor * x + shift))
    assert [(c.at, c.side, c.end) for c in one.calls] == [(c.at, c.side, c.end) for c in other.calls]
    np.testing.assert_allclose(one.deviate, other.deviate, atol=1e-5)


@given(st.integers(0, 10_000), st.integers(25, 119))
@settings(max_examples=40, deadline=None)
def test_what_comes_later_changes_no_call_made_before(seed, until):
    x = np.random.default_rng(seed).standard_normal(120)
    x[50:] += 1.5
    whole = watch_level(x, references=K, limits=H).calls
    part = watch_level(x[:until], references=K, limits=H).calls
    assert [(c.at, c.onset, c.side) for c in whole if c.at < until] == [(c.at, c.onset, c.side) for c in part]


@pytest.mark.parametrize("side", [-1, 1])
def test_a_step_is_one_call_on_its_side_that_ends_when_the_level_is_back(side):
    # seed 1: two deviations of three, 12 values long, after 40 quiet ones; then the old level again
    x = np.random.default_rng(1).standard_normal(100)
    x[40:52] += 3 * side
    (call,) = watch_level(x, references=K, limits=H).calls
    assert call.side == side and 40 <= call.at <= 43 and abs(call.onset - 40) <= 1
    assert call.shift * side > 1.5
    assert call.end is not None and 52 <= call.end <= 58 and not call.lasted


def test_a_level_that_lasts_becomes_the_usual_one_with_limits_of_its_own():
    x = np.random.default_rng(2).standard_normal(150)
    x[40:] += 4.0
    x[110:] += 4.0
    found = watch_level(x, references=K, limits=H)
    assert len(found.calls) == 2 and found.calls[0].lasted
    assert [since for since, _ in found.baselines][:2] == [0, found.calls[0].end - BASELINE_VALUES + 1]
    assert all(len(rows) == BASELINE_VALUES for _, rows in found.baselines[:2])
    assert x[found.baselines[1][1]].mean() == pytest.approx(4.0, abs=1.0)


def test_one_wild_value_is_no_level_and_becomes_usual_for_none():
    x = np.random.default_rng(7).standard_normal(80)
    quiet = watch_level(x, references=K, limits=H)
    x[50] = 60.0
    found = watch_level(x, references=K, limits=H)
    assert (quiet.calls, found.calls) == ((), ())
    assert found.deviate[50] > FAR and 50 not in found.baselines[0][1]
    np.testing.assert_allclose(found.deviate[51:], self_starting(x[51:], known=x[:50]), atol=1e-9)


def _counted_from(mark, call, until):
    """Return a call with its places counted from a mark; without its end where the values end earlier."""
    call = replace(call, at=call.at - mark, onset=call.onset - mark)
    if call.end is None or call.end >= until:
        return replace(call, end=None, lasted=False)
    return replace(call, end=call.end - mark)


@given(st.integers(0, 10_000), st.lists(st.integers(0, 160), min_size=2, max_size=6, unique=True))
@settings(max_examples=60, deadline=None)
def test_from_where_it_stands_a_level_is_watched_as_from_the_beginning(seed, marks):
    rng, marks = np.random.default_rng(seed), sorted(marks)
    x = rng.standard_normal(160)
    x[70:] += rng.choice([0.0, 3.0])
    x[rng.integers(0, 160, 3)] += 30.0
    whole = watch_level(x, references=K, limits=H, marks=marks)
    for i, (mark, stand) in enumerate(zip(marks, whole.stands, strict=True)):
        assert watch_level(x[:mark], references=K, limits=H, marks=[mark]).stands == (stand,)
        if stand is None:
            continue
        until = marks[-1]
        later = [m - mark for m in marks[i:]]
        found = watch_on(stand, x[mark:until], references=K, limits=H, marks=later)
        unknown = [
            c
            for c in whole.calls
            if (c.onset < mark <= c.at < until)
            or (c.at < mark and c.end is not None and mark <= c.end < until)
        ]
        if unknown:
            assert found is None
            continue
        assert found.stands == whole.stands[i:]
        calls = [c for c in whole.calls if mark <= c.at < until]
        assert found.calls == tuple(_counted_from(mark, c, until) for c in calls)


@given(st.integers(0, 10_000), st.integers(25, 150), st.booleans())
@settings(max_examples=60, deadline=None)
def test_other_limits_judge_the_values_from_where_they_begin(seed, turn, tighter):
    """Before them all is as under the old limits; from them on as from where the series stood then."""
    rng = np.random.default_rng(seed)
    x = rng.standard_normal(160)
    x[70:] += rng.choice([0.0, 0.8, 3.0])
    later = [h * (0.6 if tighter else 1.5) for h in H]
    limits = [H] * turn + [later] * (160 - turn)
    whole = watch_level(x, references=K, limits=limits, marks=[turn])
    before = watch_level(x[:turn], references=K, limits=H, marks=[turn])
    assert whole.stands == before.stands
    assert tuple(_counted_from(0, c, turn) for c in whole.calls if c.at < turn) == before.calls
    after = watch_on(whole.stands[0], x[turn:], references=K, limits=later)
    if after is not None:
        assert after.calls == tuple(_counted_from(turn, c, 160) for c in whole.calls if c.at >= turn)


def test_a_sum_brought_along_meets_the_new_limit_with_the_next_value():
    x = np.random.default_rng(3).standard_normal(60)
    x[40:] += 0.9
    found = {
        factor: watch_level(x, references=K, limits=[[1e9] * len(H)] * 50 + [[factor * h for h in H]] * 10)
        for factor in (0.2, 1e9)
    }
    assert [c.at for c in found[0.2].calls] == [50] and found[0.2].calls[0].onset < 50
    assert found[1e9].calls == ()


def test_a_level_stands_quiet_or_called_or_is_only_begun():
    x = np.random.default_rng(1).standard_normal(100)
    x[40:52] += 3
    stands = watch_level(x, references=K, limits=H, marks=[10, 40, 50, 100]).stands
    assert [type(s) for s in stands] == [type(None), Quiet, Standing, Quiet]


@pytest.mark.parametrize("x", [[], [1.0], [1.0] * 60, list(range(LEAST_VALUES))])
def test_too_few_or_equal_values_call_nothing(x):
    found = watch_level(x, references=K, limits=H)
    assert found.calls == () and np.isnan(found.deviate).all()


# seed 2026: 3,000 lognormal series of 320 values, at one false alarm in 900 values. A wild value alone is
# left out of the sums, so calls come a little less often than promised. The figures stand in docs/alarms.md.
@pytest.mark.slow
def test_false_alarms_of_lognormal_audits_keep_the_promise():
    from cellmon.monitor.judge.budget import level_limits, log_rate

    limits = level_limits(log_rate(1 / 900))
    rng = np.random.default_rng(2026)
    calls, values = 0, 0
    for _ in range(3000):
        y = on_scale(np.exp(0.35 * rng.standard_normal(320)), Scale.LOG)
        found = watch_level(y, references=K, limits=limits).calls
        calls += len(found)
        values += len(y) - LEAST_VALUES
    ratio, error = calls * 900 / values, np.sqrt(calls) * 900 / values
    print(f"{calls} calls in {values} values: {ratio:.3f} of the promise, standard error {error:.3f}")
    assert ratio < 1 + 3 * error
    assert ratio > 0.7


# seed 9: 1,000 series of 320 values, one false alarm in 900 promised. docs/method.md tells the figures.
@pytest.mark.slow
@pytest.mark.parametrize(
    ("step", "follows", "low", "high"),
    [(0.5, 0.0, 0.7, 1.05), (1.5, 0.0, 0.65, 1.0), (0.0, 0.2, 2.9, 3.6), (0.0, 0.4, 8.0, 9.2)],
)
def test_rounding_keeps_the_promise_and_correlation_breaks_it(step, follows, low, high):
    from cellmon.monitor.judge.budget import level_limits, log_rate

    limits = level_limits(log_rate(1 / 900))
    rng = np.random.default_rng(9)
    calls = 0
    for _ in range(1000):
        y = rng.standard_normal(320)
        for i in range(1, 320) if follows else ():
            y[i] = follows * y[i - 1] + np.sqrt(1 - follows**2) * y[i]
        place = rng.random() * (step or 1)
        y = np.round((y + place) / step) * step if step else y
        calls += len(watch_level(y, references=K, limits=limits).calls)
    ratio = calls * 900 / 300_000
    print(f"step {step}, correlation {follows}: {ratio:.2f} +- {np.sqrt(calls) * 900 / 300_000:.2f}")
    assert low < ratio < high

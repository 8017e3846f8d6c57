"""False alarms and delays of the watch, simulated beside the figures computed; see docs/detection.md.

Every simulation states its seed. False alarms are counted over all streams, their standard error taken
from the spread between streams; a delay's from that between streams. What is allowed is what was measured
and a margin, and where that misses what was aimed at, the comment says so.
"""

from functools import lru_cache

import numpy as np
import pytest

from cellmon.charts.run_length.cusum import cusum_limit, cusum_run_length
from cellmon.charts.run_length.distribution import steady_state
from cellmon.charts.run_length.variance import (
    reference_for_ratio,
    variance_cusum_arl,
    variance_cusum_limit,
)
from cellmon.drift.columns import State
from cellmon.drift.watch import watch
from cellmon.drift.wear import Window, learn
from cellmon.monitor.judge.budget import level_limits, log_rate, single_limit, spread_limits
from tests.drift.streams import MEAN_SD, SIZE, begun, drawn, first_calls, known, limits_of, steps_of

pytestmark = pytest.mark.slow
OFTEN, SELDOM = 370, 38_000
"""Run lengths: the bound of a stream's own points, and near that of a level in the demonstration."""
BEFORE = 60
"""Subgroups in control before a change, in steady state; streams that call among them are left out."""


@lru_cache(maxsize=8)
def baselines(subgroups, count, seed=20):
    """Return streams learned from so many subgroups; none: all known."""
    if not subgroups:
        return (known(),) * count
    mean, sd = drawn(np.random.default_rng(seed), subgroups, count)
    n, zero = np.full(subgroups, float(SIZE)), np.zeros(subgroups)
    return tuple(
        learn(Window(mean=mean[:, i], sd=sd[:, i], n=n, moved=zero, fresh=zero > 0)) for i in range(count)
    )


def run_length(learned, arl, kind, steps, seed):
    """Return subgroups to a call over the promise: of all calls, and of each stream's first."""
    rng, streams = np.random.default_rng(seed), len(learned)
    given = {
        "level": {"level": level_limits(log_rate(1 / arl))},
        "spread": {"spread": spread_limits(log_rate(1 / arl), SIZE - 1)},
        "single": {"single": single_limit(1 / arl, SIZE)},
    }
    limits, state = limits_of(streams, **given[kind]), State.begin(learned)
    calls, first = np.zeros(streams), np.full(streams, float(steps))
    for t in range(0, steps, 50):
        x = rng.standard_normal((50, streams, SIZE))
        made = steps_of(x.mean(2), x.std(2, ddof=1), first=t, low=x.min(2), high=x.max(2))
        for step, stream in begun(watch(state, made, learned, limits), kind):
            calls[stream] += 1
            first[stream] = min(first[stream], t + step + 1)
    called = calls > 0
    error = calls.std() / np.sqrt(streams) / calls.mean()
    ratio = streams * steps / calls.sum() / arl
    print(
        f"\n{kind} at {arl}: {ratio:.3f} +- {ratio * error:.3f}, first {first.sum() / called.sum() / arl:.3f}"
    )
    return ratio, ratio * error, first.sum() / called.sum() / arl


# Targets: within 3 %. At one in 370 a level's false call is followed by more, as it finds its way back: 0.89
# of the promise in all, where the first of each stream keeps it; at one in 38,000 that is no longer seen.
@pytest.mark.parametrize("subgroups", [0, 25, 100, 1000])
@pytest.mark.parametrize("kind", ["level", "spread", "single"])
def test_false_alarms_at_one_in_370(subgroups, kind):
    learned = baselines(subgroups, 400 if subgroups == 1000 else 1000)
    learned = learned * (4000 // len(learned))
    ratio, error, first = run_length(learned, OFTEN, kind, 1000, seed=41)
    assert 0.8 - 4 * error < ratio < 1.2 + 4 * error
    assert 0.9 - 4 * error < first < 1.25 + 4 * error


@pytest.mark.parametrize("subgroups", [0, 25, 100, 1000])
@pytest.mark.parametrize("kind", ["level", "spread", "single"])
def test_false_alarms_at_the_rate_of_a_cell(subgroups, kind):
    learned = baselines(subgroups, 400 if subgroups == 1000 else 1000)
    learned = learned * (8000 // len(learned))
    ratio, error, _ = run_length(learned, SELDOM, kind, 2500, seed=42)
    assert 0.9 - 4 * error < ratio < 1.25 + 4 * error, "never oftener than promised by a tenth"


def delay(learned, arl, path, before, seed, kind="level", wide=1.0):
    """Return mean and standard error of the subgroups from a change to its call; `path` in sd of a mean."""
    rng, streams = np.random.default_rng(seed), len(learned)
    mean, sd = drawn(rng, before + len(path), streams)
    mean[before:] = wide * mean[before:] + MEAN_SD * path[:, None]
    sd[before:] *= wide
    limits = (
        limits_of(streams, level=level_limits(log_rate(1 / arl)))
        if kind == "level"
        else limits_of(streams, spread=spread_limits(log_rate(1 / arl), SIZE - 1))
    )
    found = watch(State.begin(learned), steps_of(mean, sd), learned, limits)
    early = {int(stream) for step, stream in begun(found, kind) if step < before}
    quiet = [i for i in range(streams) if i not in early]
    first = np.minimum(first_calls(found, kind, streams, since=before)[quiet] - before + 1, len(path))
    return float(first.mean()), float(first.std() / np.sqrt(len(first)))


def tuned(shift, arl, steady):
    """Return the least delay of a two-sided CUSUM whose reference is tuned for the shift; computed."""
    found = []
    for share in (0.3, 0.4, 0.45, 0.5, 0.55):
        h = cusum_limit(share * shift, 2 * arl)
        after = cusum_run_length(share * shift, h, shift=shift)
        found.append(steady_state(cusum_run_length(share * shift, h), after) if steady else after)
    return min(r.mean for r in found)


# Target: at most 1.15 of the tuned one from 0.5 to 3 in steady state, 1.18 in zero state, at both rates.
@pytest.mark.parametrize("arl", [OFTEN, SELDOM])
@pytest.mark.parametrize("shift", [0.5, 0.75, 1.0, 1.5, 2.0, 3.0])
@pytest.mark.parametrize("before", [0, BEFORE])
def test_a_step_is_seen_nearly_as_soon_as_by_a_chart_tuned_for_it(arl, shift, before):
    learned = baselines(0, 4000)
    mean, error = delay(learned, arl, np.full(600 if shift < 1 else 200, shift), before, seed=43)
    least = tuned(shift, arl, steady=before > 0)
    print(f"\nstep {shift} at {arl}, {before} before: {mean:.2f} +- {error:.2f}, tuned {least:.2f}")
    assert mean / least < (1.15 if before else 1.18) + 3 * error / least


# Bounds: slope known, limits.md of the trials (one in 370). Target: within 12 % from 0.01 up.
@pytest.mark.parametrize(
    ("slope", "bound"), [(0.01, 47.0), (0.02, 32.1), (0.05, 19.0), (0.1, 12.5), (0.2, 8.2)]
)
def test_a_slow_drift_is_seen_nearly_as_soon_as_if_its_slope_were_known(slope, bound):
    path = slope * np.arange(1, int(6 / slope**0.7) + 60)
    mean, error = delay(baselines(0, 4000), OFTEN, path, BEFORE, seed=44)
    print(f"\ndrift {slope}: {mean:.2f} +- {error:.2f}, bound {bound}")
    assert mean < 1.12 * bound + 3 * error


# Against a CUSUM of the variance tuned for the ratio, zero state, computed. Target: within 8 %; 1.2 at one in
# 38,000 misses it: 58 against 50, for the limits are shared evenly among 1.2, 1.5 and 2 and the usual spread
# is learned on, so that a small growth is partly taken for usual.
@pytest.mark.parametrize(("arl", "allowed"), [(OFTEN, 1.08), (SELDOM, 1.2)])
@pytest.mark.parametrize("ratio", [1.2, 1.5, 2.0])
def test_a_growth_of_spread_is_seen_nearly_as_soon_as_by_a_chart_tuned_for_it(arl, allowed, ratio):
    mean, error = delay(baselines(0, 4000), arl, np.zeros(600), 0, seed=45, kind="spread", wide=ratio)
    k = reference_for_ratio(ratio**2)
    least = variance_cusum_arl(k, variance_cusum_limit(k, SIZE - 1.0, arl), SIZE - 1.0, ratio**2)
    print(f"\nspread x {ratio} at {arl}: {mean:.2f} +- {error:.2f}, tuned {least:.2f}")
    assert mean < allowed * least + 3 * error


# What a baseline leaves unsure costs delay. Steps of 1 after 60 quiet subgroups, one in 370: known 10.0,
# from 1000 subgroups 10.2, from 100 12.3, from 25 13.9.
@pytest.mark.parametrize(("subgroups", "allowed"), [(1000, 11.0), (100, 13.5), (25, 15.5)])
def test_a_short_baseline_costs_delay(subgroups, allowed):
    learned = baselines(subgroups, 400 if subgroups == 1000 else 1000)
    mean, error = delay(learned * (4000 // len(learned)), OFTEN, np.full(400, 1.0), BEFORE, seed=46)
    print(f"\nstep 1 learned from {subgroups}: {mean:.2f} +- {error:.2f}")
    assert mean < allowed + 3 * error


# Wear

INTERVAL, OFFSET_EVERY = 60, 20


def worn(rng, steps, streams, extra=0.0):
    """Return subgroups under wear; in standard deviations of a mean until the end.

    Dressing every 60, level after it normal about nought, slope -0.05 +- 0.0125 a subgroup; every 20 the
    machine gives an offset of 1, of which 15 % more or less comes about.
    """
    place = np.arange(steps) % INTERVAL
    dressed = np.broadcast_to((place == 0)[:, None], (steps, streams)).copy()
    interval = np.arange(steps) // INTERVAL
    starts = rng.normal(0, 1, (interval[-1] + 1, streams))
    slopes = rng.normal(-0.05, 0.0125, starts.shape)
    given = np.where((place % OFFSET_EVERY == 0) & (place > 0), 1.0, 0.0)[:, None] * np.ones(streams)
    done = np.cumsum(given * rng.normal(1, 0.15, given.shape), axis=0)
    before = done[np.maximum(interval * INTERVAL - 1, 0)] * (interval > 0)[:, None]
    level = starts[interval] + slopes[interval] * place[:, None] + done - before + extra
    mean = MEAN_SD * (level + rng.standard_normal((steps, streams)))
    sd = np.sqrt(rng.chisquare(SIZE - 1, mean.shape) / (SIZE - 1))
    doubt = (0.15 * MEAN_SD * given) ** 2
    return steps_of(mean, sd, moved=MEAN_SD * given, doubt=doubt, dressed=dressed)


@lru_cache(maxsize=4)
def worn_baselines(subgroups, count):
    """Return streams learned from subgroups that end with a dressing interval."""
    steps = worn(np.random.default_rng(47), -(-subgroups // INTERVAL) * INTERVAL, count)
    found = []
    for i in range(count):
        column = (slice(-subgroups, None), i)
        found.append(
            learn(
                Window(
                    mean=steps.mean[column],
                    sd=steps.sd[column],
                    n=steps.n[column],
                    moved=steps.moved[column],
                    fresh=steps.dressed[column],
                    doubt=steps.doubt[column],
                    wears=True,
                )
            )
        )
    return tuple(found)


def worn_delay(learned, kind, size, seed):
    rng, streams, after = np.random.default_rng(seed), len(learned), 140
    on = 2 * INTERVAL + rng.integers(0, INTERVAL, streams)
    since = np.arange(3 * INTERVAL + after)[:, None] - on + 1
    extra = np.where(since > 0, -size * (since if kind == "drift" else 1.0), 0.0)
    steps = worn(rng, len(extra), streams, extra)
    found = watch(
        State.begin(learned), steps, learned, limits_of(streams, level=level_limits(log_rate(1 / OFTEN)))
    )
    standing, first = np.zeros(streams, dtype=bool), np.full(streams, float(after))
    for call in found.calls:
        if call.step < on[call.stream]:
            standing[call.stream] = call.begins
        elif call.begins:
            first[call.stream] = min(first[call.stream], call.step - on[call.stream] + 1)
    quiet = first[~standing]
    print(f"\n{kind} {size} under wear: {quiet.mean():.1f} +- {quiet.std() / np.sqrt(len(quiet)):.1f}")
    return float(quiet.mean()), float(quiet.std() / np.sqrt(len(quiet)))


# Target: within 10 % of the promise from 20 intervals of 60 subgroups. Measured 1.00 from 100 subgroups, 1.06
# from 240, 1.02 from 1200; from 5 to 10 intervals 1.04 to 1.06.
@pytest.mark.parametrize("subgroups", [1200, 600, 300, 100])
def test_false_alarms_under_wear(subgroups):
    learned = worn_baselines(subgroups, 200) * 8
    steps = worn(np.random.default_rng(48), 1200, len(learned))
    limits = limits_of(len(learned), level=level_limits(log_rate(1 / OFTEN)))
    calls = begun(watch(State.begin(learned), steps, learned, limits), "level")
    per = np.bincount(calls[:, 1], minlength=len(learned)).reshape(8, -1).sum(axis=0)
    ratio = 1200 * len(learned) / len(calls) / OFTEN
    error = ratio * per.std() / np.sqrt(len(per)) / per.mean()
    print(f"\nunder wear, learned from {subgroups}: {ratio:.3f} +- {error:.3f} of the promise")
    assert 0.9 - 4 * error < ratio < 1.1 + 4 * error


# A filter that knows how the process is made sees the same paths after 37, 19, 11 and 11 subgroups (simulated
# apart, seed 3). Target: 34.6, 17.7, 10.6 and 11 to 18. Measured 40.1, 19.9, 11.2 and 14.5 learned from 20
# intervals: the first two miss it, for how much dressings vary is learned too and that is carried.
@pytest.mark.parametrize(
    ("kind", "size", "allowed"),
    [("drift", 0.05, 42.0), ("drift", 0.1, 21.0), ("drift", 0.2, 12.0), ("step", 2.0, 18.0)],
)
def test_extra_drift_is_seen_under_wear(kind, size, allowed):
    mean, error = worn_delay(worn_baselines(1200, 200) * 8, kind, size, seed=49)
    assert mean < allowed + 3 * error


# Target with all known: 32, 17 and 10.
@pytest.mark.parametrize(
    ("kind", "size", "allowed"),
    [("drift", 0.05, 38.0), ("drift", 0.1, 20.0), ("drift", 0.2, 12.0), ("step", 2.0, 18.0)],
)
def test_extra_drift_is_seen_under_wear_that_is_known(kind, size, allowed):
    one = known(
        slope=-0.05 * MEAN_SD / SIZE,
        slope_var=(0.0125 * MEAN_SD / SIZE) ** 2,
        centre=-0.5 * MEAN_SD,
        wears=True,
        resets=True,
        dressed_var=MEAN_SD**2,
    )
    mean, error = worn_delay((one,) * 1600, kind, size, seed=50)
    assert mean < allowed + 3 * error

"""Bores to a limit with planned dressings: against simulated futures, and with a step that was learned."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cellmon.drift.dressing import (
    LEAST_DRESSINGS,
    PLANNED,
    DressedToLimit,
    DressingEffect,
    dressed_to_limit,
    learn_step,
)
from cellmon.drift.forecast import bores_to_limit
from cellmon.drift.survival import Process
from cellmon.errors import NotEnoughData

LIMITS = {"lower_um": 0.0, "upper_um": 24.0}
WORN = {
    "level_um": 12.0,
    "slope_um": -0.02,
    "covariance": [[0.2, 0.0], [0.0, 4e-6]],
    "sigma_um": 1.7,
    "walk_um": 0.03,
}
PLAN = {"in_bores": 120, "every_bores": 200}
# what a dressing does; at -0.02 a bore an interval of 200 takes 4 um
EFFECTS = {
    "gives back most": DressingEffect(step_um=3.0, step_sd_um=0.8, slope_um=-0.02, slope_sd_um=0.004),
    "gives back little": DressingEffect(step_um=0.5, step_sd_um=0.5, slope_um=-0.02, slope_sd_um=0.004),
    "gives back all": DressingEffect(step_um=4.0, step_sd_um=1.5, slope_um=-0.02, slope_sd_um=0.004),
    "slope stays": DressingEffect(step_um=2.0, step_sd_um=0.5),
}


def first_beyond(
    rng: np.random.Generator,
    level: np.ndarray,
    slope: np.ndarray,
    effect: DressingEffect,
    *,
    in_bores: int,
    every_bores: int,
    walk: float = 0.03,
) -> np.ndarray:
    """Return the first bore beyond a limit of many futures; 10 ** 6 where the plan ends first."""
    first, running = np.full(len(level), 10**6), np.arange(len(level))
    for bore in range(1, in_bores + PLANNED * every_bores + 1):
        if bore > in_bores and (bore - 1 - in_bores) % every_bores == 0:
            level = level + effect.step_um + effect.step_sd_um * rng.normal(size=level.size)
            if effect.slope_um is not None:
                slope = effect.slope_um + effect.slope_sd_um * rng.normal(size=level.size)
        level = level + slope + walk * rng.normal(size=level.size)
        size = level + 1.7 * rng.normal(size=level.size)
        out = (size < LIMITS["lower_um"]) | (size > LIMITS["upper_um"])
        first[running[out]] = bore
        level, slope, running = level[~out], slope[~out], running[~out]
    return first


def one_future(
    rng: np.random.Generator,
    level: float,
    slope: float,
    step: float,
    *,
    in_bores: int,
    every_bores: int,
    fresh: float | None,
) -> int:
    """Return the same of one cell, whose steps differ by 0.8 and slopes by 0.004, interval by interval."""
    made, length = 0, in_bores
    for interval in range(PLANNED + 1):
        if interval:
            level = (level + step if fresh is None else fresh) + 0.8 * rng.normal()
            slope = -0.02 + 0.004 * rng.normal()
            length = every_bores
        way = level + np.cumsum(slope + 0.03 * rng.normal(size=length))
        size = way + 1.7 * rng.normal(size=length)
        out = np.flatnonzero((size < LIMITS["lower_um"]) | (size > LIMITS["upper_um"]))
        if out.size:
            return made + int(out[0]) + 1
        made, level = made + length, float(way[-1]) if length else level
    return 10**6


def futures(rng: np.random.Generator, count: int, effect: DressingEffect) -> np.ndarray:
    start = rng.multivariate_normal([12.0, -0.02], WORN["covariance"], size=count)
    return first_beyond(rng, start[:, 0], start[:, 1], effect, **PLAN)


def outside(found: DressedToLimit, first: np.ndarray) -> tuple[float, float]:
    """Return the shares before p05 and after p95."""
    last = np.inf if found.p95 is None else found.p95
    return float(np.mean(first < (found.p05 or np.inf))), float(np.mean(first > last))


# 1,500 futures, seed 71: one standard error is 0.8 %, two are allowed beside 3 %
@pytest.mark.parametrize("name", EFFECTS)
def test_nine_in_ten_futures_meet_a_limit_inside_the_range_when_dressed(name):
    found = dressed_to_limit(Process.of(**WORN, **LIMITS), EFFECTS[name], **PLAN)
    first = futures(np.random.default_rng(71), 1500, EFFECTS[name])
    below, above = outside(found, first)
    assert below == pytest.approx(0.05, abs=0.015 + 2 * 0.006)
    if found.p95 is not None:
        assert above == pytest.approx(0.05, abs=0.015 + 2 * 0.006)
    else:
        assert np.mean(first == 10**6) > 0.04


def test_the_chance_before_the_next_dressing_is_that_of_the_futures():
    near = {**WORN, "level_um": 6.5}
    found = dressed_to_limit(Process.of(**near, **LIMITS), EFFECTS["gives back most"], **PLAN)
    rng = np.random.default_rng(72)
    start = rng.multivariate_normal([6.5, -0.02], WORN["covariance"], size=4000)
    first = first_beyond(rng, start[:, 0], start[:, 1], EFFECTS["gives back most"], **PLAN)
    assert found.reached_before == pytest.approx(np.mean(first <= 120), abs=3 * 0.008)
    assert 0.2 < found.reached_before < 0.8


def test_a_dressing_that_does_nothing_changes_nothing():
    plain = bores_to_limit(**WORN, **LIMITS)
    found = dressed_to_limit(
        Process.of(**WORN, **LIMITS), DressingEffect(step_um=0.0, step_sd_um=0.0), **PLAN
    )
    assert (found.p05, found.p50, found.p95) == pytest.approx((plain.p05, plain.p50, plain.p95), rel=0.02)
    assert found.side == plain.side == "lower"


def test_dressing_now_leaves_no_chance_before_it():
    found = dressed_to_limit(
        Process.of(**{**WORN, "level_um": 3.0}, **LIMITS),
        EFFECTS["gives back all"],
        in_bores=0,
        every_bores=200,
    )
    assert found.reached_before == 0.0
    undressed = bores_to_limit(**{**WORN, "level_um": 3.0}, **LIMITS)
    assert found.p05 > undressed.p05


@settings(max_examples=30, deadline=None)
@given(st.floats(4, 20), st.floats(-0.03, 0.03), st.integers(0, 300))
def test_mirrored_limits_give_the_mirrored_answer(level, slope, in_bores):
    rest = {"covariance": [[0.1, 0.0], [0.0, 1e-6]], "sigma_um": 1.5}
    one = dressed_to_limit(
        Process.of(level_um=level, slope_um=slope, **rest, lower_um=0.0, upper_um=40.0),
        DressingEffect(step_um=2.0, step_sd_um=0.5, slope_um=slope),
        in_bores=in_bores,
        every_bores=150,
    )
    other = dressed_to_limit(
        Process.of(level_um=-level, slope_um=-slope, **rest, lower_um=-40.0, upper_um=0.0),
        DressingEffect(step_um=-2.0, step_sd_um=0.5, slope_um=-slope),
        in_bores=in_bores,
        every_bores=150,
    )
    assert other.reached_before == pytest.approx(one.reached_before, abs=2e-3)
    for a, b in zip((one.p05, one.p50, one.p95), (other.p05, other.p50, other.p95), strict=True):
        assert (a is None) == (b is None) or max(a or 0, b or 0) > 1300  # at the very end of the plan
        if a is not None and b is not None:
            assert a == pytest.approx(b, abs=2, rel=0.02)
    assert 0 <= one.reached_before <= 1


def test_beyond_the_plan_nothing_is_foreseen():
    safe = {**WORN, "slope_um": -0.001, "covariance": [[0.05, 0], [0, 1e-9]], "walk_um": 0.0}
    effect = DressingEffect(step_um=0.2, step_sd_um=0.1, slope_um=-0.001, slope_sd_um=0.0)
    found = dressed_to_limit(Process.of(**safe, **LIMITS), effect, **PLAN)
    assert (found.p05, found.p50, found.p95) == (None, None, None)
    assert found.reached_before < 1e-6


def test_a_step_is_learned_from_three_dressings_and_no_fewer():
    with pytest.raises(NotEnoughData) as few:
        learn_step([1.0, 2.0], noise_um=0.5)
    assert few.value.need == LEAST_DRESSINGS
    found = learn_step([1.0, 2.0, 3.0], noise_um=0.0)
    # mean 2, variance 1: of the next and of the mean of three, threefold as three say little
    assert (found.step_um, found.step_sd_um) == pytest.approx((2.0, np.sqrt(3 * (1 + 1 / 3))))
    noisy = learn_step([1.0, 2.0, 3.0], noise_um=2.0)
    assert noisy.step_sd_um == pytest.approx(np.sqrt(3 * 4 / 3))


def test_plans_that_are_none_are_refused():
    process = Process.of(**WORN, **LIMITS)
    for plan in ({"in_bores": -1, "every_bores": 200}, {"in_bores": 10, "every_bores": 0}):
        with pytest.raises(ValueError, match="dressing"):
            dressed_to_limit(process, EFFECTS["slope stays"], **plan)


@pytest.mark.slow
@pytest.mark.parametrize("name", EFFECTS)
def test_coverage_over_many_futures_when_dressed(name):
    found = dressed_to_limit(Process.of(**WORN, **LIMITS), EFFECTS[name], **PLAN)
    first = futures(np.random.default_rng(73), 20_000, EFFECTS[name])
    below, above = outside(found, first)
    print(f"\n{name}: {found}, simulated {np.quantile(first, [0.05, 0.5, 0.95])}, {below=:.4f} {above=:.4f}")
    assert below == pytest.approx(0.05, abs=0.015)
    if found.p95 is not None:
        assert above == pytest.approx(0.05, abs=0.015)


def past_steps(rng: np.random.Generator, past: int, mean: float, *, returns: bool) -> np.ndarray:
    """Return what was seen of past dressings, 0.6 um of noise in each.

    Where dressed stones cut at one level again, give or take 0.8, a step is what wore off before it.
    """
    if not returns:
        steps = mean + 0.8 * rng.normal(size=past)
    else:
        steps = 200 * (0.02 + 0.004 * rng.normal(size=past)) + np.diff(0.8 * rng.normal(size=past + 1))
    return np.asarray(steps + 0.6 * rng.normal(size=past))


# seed 74; 600 cells, whose mean steps differ by 1 um, their steps by 0.8; level and slope as a filter has
# them: one standard error is 1.2 %
@pytest.mark.slow
@pytest.mark.parametrize("returns", [False, True])
@pytest.mark.parametrize("past", [3, 5])
def test_coverage_where_the_step_is_learned(past, returns):
    rng = np.random.default_rng(74)
    inside, before, chance, early = [], [], [], []
    for _ in range(600):
        mean, slope_is, in_bores = 3.0 + rng.normal(), -0.02 + 0.004 * rng.normal(), int(rng.integers(1, 200))
        learned = learn_step(past_steps(rng, past, mean, returns=returns), noise_um=0.6)
        effect = DressingEffect(
            step_um=learned.step_um, step_sd_um=learned.step_sd_um, slope_um=-0.02, slope_sd_um=0.004
        )
        fresh = 9.0 if returns else None
        known_level = 10.0 + rng.normal() if fresh is None else fresh + 0.8 * rng.normal() - 4 + in_bores / 50
        level = known_level + np.sqrt(0.2) * rng.normal()
        known = {**WORN, "level_um": known_level, "covariance": [[0.2, 0.0], [0.0, 0.004**2]]}
        found = dressed_to_limit(Process.of(**known, **LIMITS), effect, in_bores=in_bores, every_bores=200)
        first = one_future(rng, level, slope_is, mean, in_bores=in_bores, every_bores=200, fresh=fresh)
        low, high = found.p05 or 10**6, found.p95 or 10**6
        inside.append(low <= first <= high)
        early.append(first < low)
        before.append(first <= in_bores)
        chance.append(found.reached_before)
    share = np.mean(inside)
    print(
        f"\n{past} dressings known, {returns=}: inside {100 * share:.1f} %, "
        f"sooner {100 * np.mean(early):.1f} %, "
        f"before the next dressing {100 * np.mean(before):.2f} %, foretold {100 * np.mean(chance):.2f} %"
    )
    assert np.mean(before) == pytest.approx(np.mean(chance), abs=0.02)
    if not returns:
        assert share == pytest.approx(0.9, abs=0.05)
    assert np.mean(early) < 0.1


# A plan whose dressings cut at one level again: simulated bore by bore, seed 75, 1,500 futures
def test_nine_in_ten_futures_are_inside_where_dressings_start_a_level_anew():
    effect = DressingEffect(step_um=0.0, step_sd_um=0.8, slope_um=-0.02, slope_sd_um=0.004, level_um=8.5)
    found = dressed_to_limit(Process.of(**{**WORN, "level_um": 10.0}, **LIMITS), effect, **PLAN)
    rng = np.random.default_rng(75)
    first = np.array(
        [
            one_future(rng, level, slope, 0.0, in_bores=120, every_bores=200, fresh=8.5)
            for level, slope in rng.multivariate_normal([10.0, -0.02], WORN["covariance"], size=1500)
        ]
    )
    below, above = outside(found, first)
    assert below == pytest.approx(0.05, abs=0.015 + 2 * 0.006)
    assert found.p50 == pytest.approx(np.median(first), rel=0.08)
    if found.p95 is not None:
        assert above == pytest.approx(0.05, abs=0.015 + 2 * 0.006)
    # as steps of what wears off they would wander ever further apart
    step = DressingEffect(step_um=4.0, step_sd_um=0.8 * 2**0.5, slope_um=-0.02, slope_sd_um=0.004)
    apart = dressed_to_limit(Process.of(**{**WORN, "level_um": 10.0}, **LIMITS), step, **PLAN)
    assert (apart.p05, apart.p50) != (found.p05, found.p50)

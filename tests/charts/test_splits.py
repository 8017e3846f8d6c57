"""Groups that lie apart: against an independent fit, in coverage, and in both kinds of error."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cellmon.charts.splits import LEAST_IN_GROUP, LEAST_MIXED, Apart, apart
from cellmon.errors import NoSpread, NotEnoughData

TESTS = 40
"""Questions asked together, as of a cell of four bores with some features."""


def alternating(n: int, names: str = "AB") -> np.ndarray:
    return np.array([names[i % len(names)] for i in range(n)], dtype=object)


def worn(
    rng: np.random.Generator, n: int = 400, *, effect: float = 0.0, groups: np.ndarray | None = None
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return bores that fall by 0.02 sigma each, are set back every 43, and of which group B lies higher."""
    which = alternating(n) if groups is None else groups
    values = rng.normal(size=n) - 0.02 * (np.arange(n) % 43) + effect * (which == "B")
    return values, which, np.arange(n) // 43


def test_effect_sigma_and_error_are_those_of_an_independent_least_squares_fit():
    # the same model written out whole: an intercept and a slope for each stretch, and the group
    values, which, _ = worn(np.random.default_rng(5), 200, effect=0.8)
    found = apart(values, which, np.zeros(200, int))
    columns = [which == "B"]
    for stretch in range(20):
        here = np.arange(200) // 10 == stretch
        columns += [here, here * np.arange(200)]
    design = np.column_stack(columns).astype(float)
    fitted, squares, rank, _ = np.linalg.lstsq(design, values, rcond=None)
    sigma = np.sqrt(squares[0] / (200 - rank))
    assert (found.high, found.low) == ("B", "A")
    assert found.sigma == pytest.approx(sigma, rel=1e-9)
    assert found.effect == pytest.approx(fitted[0] / sigma, rel=1e-9)
    usual = np.sqrt(np.linalg.inv(design.T @ design)[0, 0])
    from scipy.stats import t

    half = t.isf(0.025, 19) * np.hypot(usual, found.effect / np.sqrt(2 * (200 - rank)))
    assert found.effect_high - found.effect >= 0.999 * half  # the larger of two errors is taken


@given(st.floats(-50, 50), st.floats(-0.5, 0.5), st.integers(0, 100))
def test_level_and_drift_change_nothing(level, drift, seed):
    values, which, segment = worn(np.random.default_rng(seed), 200, effect=0.7)
    one, other = (apart(v, which, segment) for v in (values, values + level + drift * np.arange(200.0)))
    assert (other.effect, other.effect_low, other.sigma) == pytest.approx(
        (one.effect, one.effect_low, one.sigma), rel=1e-6, abs=1e-9
    )


def test_offsets_between_segments_change_nothing():
    values, which, segment = worn(np.random.default_rng(8), effect=0.7)
    moved = values + 5.0 * (segment % 2)
    assert apart(moved, which, segment).effect == pytest.approx(apart(values, which, segment).effect)


def test_of_several_fixtures_the_pair_farthest_apart_is_told():
    rng = np.random.default_rng(3)
    which = alternating(400, "PQRS")
    values = rng.normal(size=400) + 1.5 * (which == "R") - 0.5 * (which == "P")
    found = apart(values, which, np.zeros(400, int), tests=TESTS)
    assert (found.high, found.low, found.n_high, found.splits) == ("R", "P", 100, True)
    assert found.effect == pytest.approx(2.0, abs=4 * 0.16)


def test_a_fault_of_some_hours_is_no_reason_to_split():
    values, which, segment = worn(np.random.default_rng(4))
    values = values + 3.0 * ((which == "B") & (np.arange(400) >= 100) & (np.arange(400) < 320))
    found = apart(values, which, segment, tests=TESTS)
    assert found.effect > 0.5 and found.effect_low > 0
    assert not found.lasts and not found.splits


def test_bores_without_value_or_group_do_not_count():
    values, which, segment = worn(np.random.default_rng(6), effect=0.8)
    values[::7], which[3::11] = np.nan, None
    usable = np.isfinite(values) & (which != None)  # noqa: E711
    found = apart(values, which, segment)
    assert found == apart(values[usable], which[usable], segment[usable])
    assert found.n_high + found.n_low == usable.sum()


def test_what_cannot_tell_is_refused():
    values, which, segment = worn(np.random.default_rng(2), 2 * LEAST_IN_GROUP - 2)
    with pytest.raises(NotEnoughData, match="each of two groups") as few:
        apart(values, which, segment)
    assert few.value.got == LEAST_IN_GROUP - 1
    values, _, segment = worn(np.random.default_rng(2))
    with pytest.raises(NotEnoughData, match="hold both groups") as once:
        apart(values, np.repeat(["A", "B"], 200).astype(object), segment)
    assert once.value.got < LEAST_MIXED
    with pytest.raises(NoSpread):
        apart(np.ones(400), alternating(400), segment)
    with pytest.raises(TypeError):
        apart(values, alternating(399), segment)


def proposals(effect: float, *, runs: int, seed: int, lag: float = 0.0) -> tuple[float, float]:
    """Return the share of cells that are told to split, and of intervals that hold the effect."""
    rng = np.random.default_rng(seed)
    split = held = 0
    for _ in range(runs):
        values, which, segment = worn(rng, effect=effect)
        if lag:
            noise = rng.normal(size=len(values)) * np.sqrt(1 - lag**2)
            for i in range(1, len(noise)):
                noise[i] += lag * noise[i - 1]
            values = noise + effect * (which == "B")
        found = apart(values, which, segment, tests=TESTS)
        split += found.splits
        held += _holds(found, effect)
    return split / runs, held / runs


def _holds(found: Apart, effect: float) -> bool:
    signed = effect if found.high == "B" else -effect
    return found.effect_low <= signed <= found.effect_high


# 400 bores, two groups, 40 questions; 150 cells, seed 61: one standard error at 0.95 is 1.8 %
@pytest.mark.parametrize(("effect", "least", "most"), [(0.0, 0.0, 0.0), (0.25, 0.0, 0.06), (0.8, 0.93, 1.0)])
def test_a_split_is_proposed_where_groups_lie_apart_and_hardly_elsewhere(effect, least, most):
    split, held = proposals(effect, runs=150, seed=61)
    assert least <= split <= most
    assert held >= 0.99  # 95 % for all 40 together is 99.87 % for each


# 4,000 cells each; one standard error is at most 0.8 %
@pytest.mark.slow
@pytest.mark.parametrize(
    ("effect", "lag"),
    [*((e, 0.0) for e in (0.0, 0.25, 0.4, 0.5, 0.6, 0.75, 1.0)), (0.0, 0.5), (0.0, -0.5), (0.25, -0.5)],
)
def test_both_errors_over_many_cells(effect, lag):
    split, held = proposals(effect, runs=4000, seed=62, lag=lag)
    print(f"\neffect {effect} lag-1 correlation {lag}: split {100 * split:.2f} %, inside {100 * held:.2f} %")
    assert held > 0.997
    assert split < 0.01 if effect <= 0.25 and lag >= 0 else True
    assert split > 0.95 if effect >= 0.75 else True

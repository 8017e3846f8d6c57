"""The watch: one step after another as all at once, known inputs, calls that begin and end, gaps."""

from dataclasses import fields, replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cellmon.drift.columns import IN_MICROMETRES, SIGNIFICANT, State
from cellmon.drift.spread_watch import SPREAD_K, SPREAD_RATIOS
from cellmon.drift.watch import BACK, LEVEL_K, watch
from tests.drift.streams import MEAN_SD, SIZE, begun, drawn, known, limits_of, steps_of, watched

# Limits of the CUSUMs near one false alarm in 370 subgroups, as the trials behind the watch had them.
LEVEL = (10.8, 5.4, 2.2)
SPREAD = (6.1, 3.9, 2.8)
SINGLE = 4.2
PART = tuple(f.name for f in fields(State))
KINDS = ("moved", "by_hand", "zeroed", "doubt")


def copied(state):
    return replace(state, **{name: getattr(state, name).copy() for name in PART})


def same(one, other, **allowed):
    for name in PART:
        np.testing.assert_allclose(
            getattr(one, name), getattr(other, name), err_msg=name, **(allowed or {"rtol": 0, "atol": 0})
        )


def piece(steps, rows):
    return type(steps)(**{f.name: getattr(steps, f.name)[rows] for f in fields(steps)})


def everything(seed, count=60, streams=4):
    """Return subgroups in which all that the watch knows of happens: moves, gaps, wild bores, changes."""
    rng = np.random.default_rng(seed)
    mean, sd = drawn(rng, count, streams)
    shape = mean.shape
    inputs = {name: np.where(rng.random(shape) < 0.08, rng.normal(0, 1, shape), 0.0) for name in KINDS}
    inputs["doubt"] = inputs["doubt"] ** 2
    known_moves = inputs["moved"] + inputs["by_hand"] + inputs["zeroed"]
    mean = mean + np.cumsum(known_moves, axis=0) + 2.0 * (np.arange(count) > count // 2)[:, None]
    sd = sd * np.where(np.arange(count) > 2 * count // 3, 2.0, 1.0)[:, None]
    mean = np.where(rng.random(shape) < 0.1, np.nan, mean)
    n = np.where(rng.random(shape) < 0.1, 4.0, 5.0)
    made = steps_of(mean, np.where(np.isnan(mean), np.nan, sd), n=n, **inputs)
    return replace(
        made,
        high=made.high + np.where(rng.random(shape) < 0.05, 6.0, 0.0),
        dressed=rng.random(shape) < 0.03,
        changed=rng.random(shape) < 0.01,
    )


def learned_of(streams):
    """Return some baselines that differ: with and without a slope, a walk and much that is unsure."""
    return [
        known(
            level_var=0.01 * i,
            slope=0.002 * i,
            slope_var=1e-6 * i,
            walk=0.001 * i,
            mean_df=30.0 + 100 * i,
            bore_df=100.0 + 400 * i,
            spread_of_level=0.3 * i,
        )
        for i in range(streams)
    ]


@given(st.integers(0, 10_000), st.lists(st.integers(1, 59), max_size=6))
@settings(max_examples=25, deadline=None)
def test_pieces_give_what_the_whole_gives(seed, cuts):
    steps, learned = everything(seed), learned_of(4)
    limits = limits_of(4, level=LEVEL, spread=SPREAD, single=SINGLE)
    whole_state, state = State.begin(learned), State.begin(learned)
    whole = watch(whole_state, steps, learned, limits)
    edges = sorted({0, *cuts, 60})
    parts = [(a, watch(state, piece(steps, slice(a, b)), learned, limits)) for a, b in pairwise(edges)]
    for name in ("surprise", "ratio", "expected", "error"):
        joined = np.concatenate([getattr(w, name) for _, w in parts])
        np.testing.assert_array_equal(joined, getattr(whole, name))
    # `size` of an end is nan, which is not itself
    calls = [repr(replace(c, step=c.step + a)) for a, w in parts for c in w.calls]
    assert calls == [repr(c) for c in whole.calls]
    same(state, whole_state)


def test_the_property_above_sees_every_kind_of_call():
    kinds = set()
    for seed in range(10):
        learned = learned_of(4)
        limits = limits_of(4, level=LEVEL, spread=SPREAD, single=SINGLE)
        kinds |= {(c.kind, c.begins) for c in watched(learned, everything(seed), limits).calls}
    assert kinds == {
        ("level", True),
        ("level", False),
        ("spread", True),
        ("spread", False),
        ("single", True),
    }


@given(st.integers(0, 10_000))
@settings(max_examples=20, deadline=None)
def test_streams_beside_one_another_do_not_touch(seed):
    steps, learned = everything(seed), learned_of(4)
    whole = watched(learned, steps, limits_of(4, level=LEVEL, spread=SPREAD, single=SINGLE))
    one = type(steps)(**{f.name: getattr(steps, f.name)[:, 2:3] for f in fields(steps)})
    alone = watched(learned[2:3], one, limits_of(1, level=LEVEL, spread=SPREAD, single=SINGLE))
    np.testing.assert_array_equal(alone.surprise[:, 0], whole.surprise[:, 2])
    assert [(c.step, c.kind) for c in alone.calls] == [(c.step, c.kind) for c in whole.calls if c.stream == 2]


def test_up_and_down_are_mirrored():
    steps, learned = everything(11), [known() for _ in range(4)]
    limits = limits_of(4, level=LEVEL, spread=SPREAD, single=SINGLE)
    turned = replace(
        steps,
        **{name: -getattr(steps, name) for name in ("mean", "moved", "by_hand", "zeroed")},
        low=-steps.high,
        high=-steps.low,
    )
    one, other = watched(learned, steps, limits), watched(learned, turned, limits)
    np.testing.assert_allclose(other.surprise, -one.surprise, atol=1e-12)
    level = [(c.step, c.stream, c.side) for c in one.calls if c.kind != "spread"]
    assert level
    assert level == [(c.step, c.stream, -c.side) for c in other.calls if c.kind != "spread"]


def test_surprises_are_standard_normal_while_nothing_has_changed():
    # 400 streams learned from baselines of their own would add what they do not know; these know all
    mean, sd = drawn(np.random.default_rng(12), 100, 400)
    found = watched([known()] * 400, steps_of(mean, sd), limits_of(400))
    z = found.surprise
    se = 1 / np.sqrt(z.size)
    assert abs(z.mean()) < 4 * se
    assert abs(z.var() - 1) < 4 * np.sqrt(2) * se
    assert abs((z[1:] * z[:-1]).mean()) < 4 * se
    assert abs((found.ratio.mean()) - 1) < 4 * np.sqrt(2 / 4) * se
    np.testing.assert_allclose(found.error, MEAN_SD, rtol=0.2)


# Gaps


@given(st.integers(0, 10_000), st.integers(1, 5), st.integers(0, 59))
@settings(max_examples=20, deadline=None)
def test_a_gap_does_nothing(seed, gaps, at):
    steps, learned = everything(seed), learned_of(4)
    limits = limits_of(4, level=LEVEL, spread=SPREAD, single=SINGLE)
    none = steps_of(np.full((gaps, 4), np.nan), first=1000)
    state = State.begin(learned)
    watch(state, piece(steps, slice(0, at)), learned, limits)
    before = copied(state)
    found = watch(state, none, learned, limits)
    same(state, before)
    assert found.calls == () and np.isnan(found.surprise).all() and np.isnan(found.ratio).all()


# Known inputs


def quiet(count=40, streams=1, seed=20):
    mean, sd = drawn(np.random.default_rng(seed), count, streams)
    return 0.3 * mean, sd


def at(count, where, value):
    out = np.zeros((count, 1))
    out[where] = value
    return out


@pytest.mark.parametrize("kind", KINDS[:3])
def test_a_move_that_is_known_is_no_surprise(kind):
    mean, sd = quiet()
    move = at(40, 15, 1.5)
    limits = limits_of(1, level=LEVEL)
    still = watched([known()], steps_of(mean, sd), limits)
    moved = watched([known()], steps_of(mean + np.cumsum(move, axis=0), sd, **{kind: move}), limits)
    np.testing.assert_allclose(moved.surprise, still.surprise, atol=1e-12)
    np.testing.assert_allclose(moved.expected[15:], still.expected[15:] + 1.5, atol=1e-12)
    assert moved.calls == ()
    unknown = watched([known()], steps_of(mean + np.cumsum(move, axis=0), sd), limits)
    assert [(c.kind, c.side, c.begins) for c in unknown.calls] == [("level", 1, True)]


def test_an_offset_whose_effect_is_in_doubt_surprises_less():
    mean, sd = quiet()
    move = at(40, 15, 3.0)
    shifted = mean + 0.8 * np.cumsum(move, axis=0)  # it did four fifths
    sure = watched([known()], steps_of(shifted, sd, moved=move), limits_of(1))
    unsure = watched([known()], steps_of(shifted, sd, moved=move, doubt=(0.15 * move) ** 2), limits_of(1))
    assert abs(unsure.surprise[15, 0]) < abs(sure.surprise[15, 0])
    # and is learned at once: half and more of what is wrong is gone after one subgroup
    assert abs(unsure.surprise[16:20].mean()) < 0.7 * abs(sure.surprise[16:20].mean())


@pytest.mark.parametrize("kind", ["by_hand", "zeroed"])
def test_what_undoes_a_called_shift_ends_the_call_and_is_none_itself(kind):
    mean, sd = quiet(60)
    shift = np.where((np.arange(60) >= 15) & (np.arange(60) < 30), 2.0, 0.0)[:, None]
    undo = at(60, 30, -2.0)
    found = watched([known()], steps_of(mean + shift, sd, **{kind: undo}), limits_of(1, level=LEVEL))
    assert [(c.kind, c.side, c.begins) for c in found.calls] == [("level", 1, True), ("level", 1, False)]
    assert [c.step for c in found.calls] == [15, 30]
    assert found.expected[31:].max() < 0.7


def test_a_dressing_lets_the_level_find_its_new_place():
    mean, sd = quiet(40)
    jump = np.where(np.arange(40) >= 15, 0.9, 0.0)[:, None]  # two standard deviations of a mean
    dressed = at(40, 15, 1).astype(bool)
    limits = limits_of(1, level=LEVEL)
    without = watched([known()], steps_of(mean + jump, sd), limits)
    assert [15 <= step < 20 for step, _ in begun(without, "level")] == [True]
    found = watched([known()], steps_of(mean + jump, sd, dressed=dressed), limits)
    assert found.calls == ()
    assert found.error[15, 0] > 1.4 * found.error[14, 0]
    assert abs(found.expected[25:] - 0.9).max() < 0.3


def test_a_dressing_draws_the_slope_anew():
    learned = known(slope=0.01, slope_var=1e-4)
    state = State.begin([learned])
    steady = np.zeros((30, 1))  # a stream that does not fall as its baseline did
    watch(state, steps_of(steady), [learned], limits_of(1))
    assert abs(float(state.slope[0])) < 0.003 and float(state.p22[0]) < 1e-5
    watch(state, steps_of(steady[:1], first=30, dressed=at(1, 0, 1).astype(bool)), [learned], limits_of(1))
    assert float(state.slope[0]) == pytest.approx(0.01, abs=0.005)
    assert float(state.p22[0]) > 5e-5
    assert state.since_dressing.tolist() == [SIZE]


def test_other_stones_or_set_up_begin_again_and_end_what_was_called():
    learned = known(spread_of_level=1.0, level=0.3)
    mean, sd = quiet(60)
    shift = np.where(np.arange(60) >= 10, 2.0, 0.0)[:, None]
    shift[30:] = -1.0
    changed = at(60, 30, 1).astype(bool)
    state = State.begin([learned])
    steps = steps_of(mean + shift, sd, changed=changed)
    limits = limits_of(1, level=LEVEL, spread=SPREAD, single=SINGLE)
    watch(state, piece(steps, slice(0, 30)), [learned], limits)
    assert state.level_side.tolist() == [1]
    found = watch(state, piece(steps, slice(30, 60)), [learned], limits)
    assert [(c.step, c.kind, c.begins) for c in found.calls] == [(0, "level", False)]
    assert state.since_change.tolist() == [30 * SIZE]
    assert found.expected[0, 0] == 0.0, "the centre of the baseline"
    # a level spread by 1 in the baseline, bores in their break-in: 4 variances of a bore beside it
    assert found.error[0, 0] == pytest.approx(np.sqrt(1.0 + 0.2 + 4.0), rel=0.02)
    assert abs(found.expected[15:] + 1.0).max() < 0.4


def test_bores_in_break_in_are_judged_by_a_wider_spread_of_their_own():
    changed = at(20, 5, 1).astype(bool)
    found = watched([known()], steps_of(np.zeros((20, 1)), changed=changed), limits_of(1, spread=SPREAD))
    told = np.isfinite(found.ratio[:, 0])
    assert told.tolist() == [True] * 5 + [False] * 5 + [True] * 10  # 25 bores are five subgroups
    noise = found.error[5:12, 0] ** 2 - 0.2
    assert noise[0] > 4.0 and noise[3] > 1.0 and noise[6] < 0.5


def test_wear_as_in_the_baseline_is_no_surprise_and_more_is():
    learned = known(slope=-0.02)
    worn = -0.02 * SIZE * np.arange(1, 101)[:, None]
    mean, sd = drawn(np.random.default_rng(21), 100, 1)
    limits = limits_of(1, level=(21.0, 9.5, 3.8))
    assert watched([learned], steps_of(mean + worn, sd), limits).calls == ()
    twice = watched([learned], steps_of(mean + 2 * worn, sd), limits)
    assert begun(twice, "level").tolist()[0][0] < 30
    assert {c.side for c in twice.calls if c.begins} == {-1}


# Calls


def test_one_change_is_one_call_that_ends_when_the_level_is_back():
    mean, sd = quiet(90)
    shift = np.where((np.arange(90) >= 20) & (np.arange(90) < 60), 1.2, 0.0)[:, None]
    found = watched([known()], steps_of(mean + shift, sd), limits_of(1, level=LEVEL))
    assert [(c.kind, c.side, c.begins) for c in found.calls] == [("level", 1, True), ("level", 1, False)]
    begin, end = found.calls
    assert 20 <= begin.step <= 23 and 60 <= end.step <= 66
    assert begin.call == end.call == 1 + begin.step, "the moment at which it called names it"
    assert begin.size == pytest.approx(1.2, abs=0.5) and np.isnan(end.size)


@pytest.mark.parametrize(("left", "over"), [(0.0, True), (0.3, True), (0.8, False)])
def test_a_call_ends_once_less_than_half_is_left(left, over):
    assert BACK == 0.5
    mean, sd = quiet(120)
    shift = np.select([np.arange(120) < 20, np.arange(120) < 60], [0.0, 2.0], 2.0 * left)[:, None]
    found = watched([known()], steps_of(mean + shift, sd), limits_of(1, level=LEVEL))
    first = [c for c in found.calls if c.call == found.calls[0].call]
    assert (len(first) == 2) == over
    assert len({c.call for c in found.calls}) == 1, "what is left is no second call"


def test_a_change_beyond_the_way_back_is_a_call_of_the_other_side():
    mean, sd = quiet(90)
    shift = np.select([np.arange(90) < 20, np.arange(90) < 50], [0.0, 2.0], -2.0)[:, None]
    found = watched([known()], steps_of(mean + shift, sd), limits_of(1, level=LEVEL))
    assert [(c.side, c.begins) for c in found.calls] == [(1, True), (1, False), (-1, True)]


def test_a_call_too_small_to_be_worth_one_is_none():
    mean, sd = quiet(60)
    shift = np.where(np.arange(60) >= 20, 1.0, 0.0)[:, None]
    limits = limits_of(1, level=LEVEL)
    assert len(watched([known()], steps_of(mean + shift, sd), limits).calls) == 1
    least = replace(limits, least=np.array([2.0]))
    assert watched([known()], steps_of(mean + shift, sd), least).calls == ()
    assert len(watched([known()], steps_of(mean + 3 * shift, sd), least).calls) == 1


@pytest.mark.parametrize("far", [10.0, -10.0])
def test_a_single_wild_bore_is_called_and_does_not_move_the_level(far):
    mean, sd = quiet(60)
    made = steps_of(mean, sd)
    limits = limits_of(1, level=LEVEL, spread=SPREAD, single=SINGLE)
    still = watched([known()], made, limits)
    bores = np.array([0.4, -0.5, 0.1, 0.2, far])
    m, s = mean.copy(), sd.copy()
    m[20], s[20] = bores.mean(), bores.std(ddof=1)
    low, high = made.low.copy(), made.high.copy()
    low[20], high[20] = bores.min(), bores.max()
    found = watched([known()], replace(made, mean=m, sd=s, low=low, high=high), limits)
    assert [(c.step, c.kind, c.side) for c in found.calls] == [(20, "single", int(np.sign(far)))]
    assert found.calls[0].size == pytest.approx(far, abs=0.3)
    assert abs(found.surprise[20, 0]) < 2, "of the four others"
    assert abs(found.expected[21] - still.expected[21]).max() < 0.1
    assert not np.isfinite(found.ratio[20, 0]), "its spread is not judged"
    unguarded = watched(
        [known()], replace(made, mean=m, sd=s, low=low, high=high), replace(limits, single=np.array([np.inf]))
    )
    assert {c.kind for c in unguarded.calls} >= {"level", "spread"}


def test_five_bores_far_out_together_are_a_level_and_no_single_one():
    mean, sd = quiet(40)
    shift = np.where(np.arange(40) >= 20, 8.0, 0.0)[:, None]
    found = watched([known()], steps_of(mean + shift, sd), limits_of(1, level=LEVEL, single=SINGLE))
    assert [(c.step, c.kind) for c in found.calls] == [(20, "level")]


def test_a_spread_that_grows_is_one_call_until_it_is_usual_again():
    rng = np.random.default_rng(22)
    mean, sd = drawn(rng, 150, 1)
    wide = np.where((np.arange(150) >= 40) & (np.arange(150) < 90), 2.5, 1.0)[:, None]
    found = watched([known()], steps_of(mean, sd * wide), limits_of(1, spread=(12.0, 7.0, 5.0)))
    assert [(c.kind, c.begins) for c in found.calls] == [("spread", True), ("spread", False)]
    assert 40 <= found.calls[0].step <= 46 and 90 <= found.calls[1].step <= 105


def test_a_spread_that_is_called_does_not_become_the_usual_one():
    rng = np.random.default_rng(23)
    mean, sd = drawn(rng, 300, 1)
    state = State.begin([known(bore_df=200.0)])
    found = watch(
        state, steps_of(mean, 2.0 * sd), [known(bore_df=200.0)], limits_of(1, spread=(12.0, 7.0, 5.0))
    )
    assert len(found.calls) == 1
    assert float(np.sqrt(state.bore_var[0])) < 1.15


def test_references_of_the_variance_are_the_likelihood_ratios():
    # Hawkins and Olwell (1998), chapter 4, from memory: log likelihood ratio of gamma variables of ratio r
    # is proportional to v - r log(r) / (r - 1), r of variances
    r = SPREAD_RATIOS**2
    v = np.linspace(0.1, 6, 7)[:, None]
    gain = 0.5 * 4 * (v * (1 - 1 / r) - np.log(r))
    np.testing.assert_allclose(gain, 0.5 * 4 * (1 - 1 / r) * (v - SPREAD_K[:, 0]), rtol=1e-12)
    assert LEVEL_K.shape == SPREAD_K.shape == (3, 1)


# Rounding


@given(st.integers(0, 10_000))
@settings(max_examples=20, deadline=None)
def test_rounding_keeps_what_matters_and_is_done_once(seed):
    learned = learned_of(4)
    state = State.begin(learned)
    watch(state, everything(seed), learned, limits_of(4, level=LEVEL, spread=SPREAD, single=SINGLE))
    exact = copied(state)
    state.rounded()
    once = copied(state)
    state.rounded()
    same(state, once)
    for name in PART:
        fine = (
            {"rtol": 0, "atol": 5.1e-4}
            if name in ("level", "expected", "up", "down", "wide", "lately")
            else {"rtol": 5.1e-5}
        )
        np.testing.assert_allclose(getattr(once, name), getattr(exact, name), err_msg=name, **fine)
    near = replace(exact, **{n: getattr(exact, n) for n in PART})
    near.level = exact.level + 1e-9
    near.mean_var = exact.mean_var * (1 + 1e-10)
    near.rounded()
    assert (near.level == once.level).mean() == 1.0 and (near.mean_var == once.mean_var).all()


def test_every_figure_of_a_state_is_rounded_one_way():
    state = State.begin([known()] * 2)
    figures = [name for name in PART if getattr(state, name).dtype.kind == "f"]
    assert sorted((*IN_MICROMETRES, *SIGNIFICANT)) == sorted(figures)

"""What moved beside a call: levels before and after with what is known taken out, and their errors."""

from dataclasses import dataclass

import numpy as np
import pytest

from cellmon.drift.columns import State
from cellmon.drift.watch import watch
from cellmon.monitor.judge.evidence import LOOKED_AT, moved_from, moved_with
from tests.drift.streams import known, limits_of, steps_of
from tests.monitor.judge.making import stream

STREAMS = (
    stream(),
    stream("S1", None),
    stream(part_of="distance"),
    stream("S1", None, "load_pct"),
    stream("S2", "3"),
)
PARTS = {one.part_number for one in STREAMS}


@dataclass(frozen=True, kw_only=True)
class Stretch:
    """What `moved_with` looks at: streams watched over some subgroups."""

    streams: tuple
    learned: tuple
    steps: object
    watched: object
    before: State


def stretch(shift, *, begin=20, count=40, seed=81, streams=STREAMS, wide=1.0, **inputs):
    """Return streams of bores of standard deviation 1 whose levels moved at a step."""
    rng = np.random.default_rng(seed)
    x = rng.standard_normal((count, len(streams), 5))
    x[begin:] = x[begin:] * wide + np.asarray(shift, dtype=float)[..., None]
    learned = (known(),) * len(streams)
    steps = steps_of(x.mean(2), x.std(2, ddof=1), low=x.min(2), high=x.max(2), **inputs)
    return Stretch(
        streams=streams,
        learned=learned,
        steps=steps,
        watched=watch(State.begin(learned), steps, learned, limits_of(len(streams))),
        before=State.begin(learned),
    )


def found(made, *, begin=21, sure=20, until=40):
    return {
        (m.feature, m.spindle, m.bore): m
        for m in moved_from(moved_with(begin, sure, until, made, parts=PARTS))
    }


def test_bores_and_what_is_watched_of_the_process_are_told_and_no_pooled_stream():
    assert set(found(stretch(np.zeros(5)))) == {
        ("diameter", "S1", "1"),
        ("load_pct", "S1", None),
        ("diameter", "S2", "3"),
    }


# Before: 15 subgroups of 5 and after: 15; a difference of their means has a standard error of
# sqrt(2 x 0.2 / 15) = 0.163 standard deviations of a bore.
def test_a_shift_is_the_difference_of_levels_with_its_standard_error():
    shifts = np.array([1.5, 0.0, 0.0, -0.7, 0.0])
    told = found(stretch(shifts))
    assert told["diameter", "S1", "1"].shift == pytest.approx(1.5, abs=4 * 0.163)
    assert told["load_pct", "S1", None].shift == pytest.approx(-0.7, abs=4 * 0.163)
    assert told["diameter", "S1", "1"].error == pytest.approx(np.sqrt(2 * 0.2 / LOOKED_AT), abs=0.002)


def test_the_stated_error_holds_over_many_streams():
    # seed 82: 200 streams that did not move; their deviates have standard deviation 1 +- 0.05
    many = tuple(stream("S1", f"b{i}") for i in range(200))
    told = found(stretch(np.zeros(200), streams=many, seed=82))
    z = np.array([m.shift / m.error for m in told.values()])
    assert abs(z.mean()) < 4 / np.sqrt(200)
    assert z.std() == pytest.approx(1.0, abs=0.2)


@pytest.mark.parametrize("kind", ["moved", "by_hand", "zeroed"])
def test_what_was_known_to_move_it_is_taken_out(kind):
    step = np.zeros((40, 5))
    step[20] = 2.0
    told = found(stretch(np.full(5, 2.0), **{kind: step}))
    assert all(abs(m.shift) < 4 * m.error for m in told.values())


def test_a_spread_is_told_as_ratio_of_standard_deviations():
    told = found(stretch(np.zeros(5), wide=2.0, begin=20))
    one = told["diameter", "S1", "1"]
    assert one.ratio == pytest.approx(2.0, rel=0.35)  # 76 degrees of freedom: 8 % standard error
    assert one.df == 4 * 19, "the first, which may straddle the change, is left out"


def test_with_nothing_after_the_change_its_own_subgroup_tells():
    told = found(stretch(np.full(5, 3.0)), begin=21, sure=40, until=21)
    assert told["diameter", "S1", "1"].shift == pytest.approx(3.0, abs=4 * 0.5)
    assert found(stretch(np.zeros(5)), begin=100, sure=100, until=100) == {}


def test_other_stones_end_what_is_looked_at():
    changed = np.zeros((40, 5), dtype=bool)
    changed[26] = True
    made = stretch(np.full(5, 1.0), changed=changed)
    made.steps.mean[26:] = 50.0
    assert found(made)["diameter", "S1", "1"].shift == pytest.approx(1.0, abs=1.2)


def test_nothing_is_read_from_nothing():
    assert moved_from(None) == () == moved_from("")
    assert moved_from("[]") == ()


def test_streams_of_other_parts_are_left_out():
    made = stretch([0.0] * len(STREAMS))
    assert moved_with(21, 20, 40, made, parts={"another"}) == "[]"

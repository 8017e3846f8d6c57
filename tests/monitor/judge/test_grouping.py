"""Which calls are one signal: same change, bores in common, soon again; and which never."""

import random

import pytest

from cellmon.judged import OFFSETS
from cellmon.monitor.judge import joining
from cellmon.monitor.judge.honed_at import Honed, Seen, bores_of
from cellmon.monitor.judge.joining import AFTER_SINGLE, AGAIN, SHARED, grouped
from tests.monitor.judge.making import called, demo_sheet, stream

SHEET = demo_sheet()
HOUR = 60
SHARED_MIN = SHARED.astype(int)
ALL = stream(None, None)
S1 = stream("S1", None)


def sizes(*calls):
    """Return how many calls each signal has, oldest first."""
    return [len(g.calls) for g in grouped(calls, SHEET)]


@pytest.mark.parametrize(
    ("of", "bores"),
    [
        (stream(), {"1"}),
        (S1, {"1", "2"}),
        (ALL, {"1", "2", "3", "4"}),
        (stream(part_of="distance"), {"1", "2", "3", "4"}),
    ],
)
def test_the_bores_a_call_tells_of(of, bores):
    assert bores_of(called(of, 0), SHEET) == bores


@pytest.mark.parametrize(
    "other",
    [
        stream("S1", "2"),
        S1,
        ALL,
        stream(part_of="distance"),
        stream(feature="taper"),
        stream("S2", "3", part_of="distance"),
    ],
)
def test_calls_that_touch_the_same_bores_and_began_together_are_one_signal(other):
    assert sizes(called(stream(), 100), called(other, 110, earliest=92)) == [2]


@pytest.mark.parametrize(
    "other",
    [
        stream("S2", "3"),
        stream("S2", None),
        stream("S2", "3", feature="taper"),
        stream("S1", "2", feature="taper"),
    ],
)
def test_calls_of_other_bores_are_signals_of_their_own(other):
    assert sizes(called(stream(), 100), called(other, 110, earliest=92)) == [1, 1]


def test_two_places_become_one_signal_by_a_call_that_touches_both():
    one, far = called(stream(), 100), called(stream("S2", "3"), 112, earliest=92)
    assert sizes(one, called(ALL, 105, earliest=92), far) == [3]
    assert sizes(one, far) == [1, 1]
    assert sizes(one, far, called(ALL, 115, earliest=92)) == [3]


def test_a_call_that_began_after_the_first_had_called_is_another_change():
    first = called(stream(), 100, lasts=6 * HOUR)
    for earliest, joined in ((100, True), (100 + SHARED_MIN, True), (101 + SHARED_MIN, False)):
        later = called(stream("S1", "2"), 200, earliest=earliest)
        assert (sizes(first, later) == [2]) == joined


def test_a_call_long_after_the_signal_is_over_is_another():
    first = called(stream(), 100, lasts=60, over=True)
    for at, joined in ((160 + SHARED_MIN, True), (161 + SHARED_MIN, False)):
        later = called(stream("S1", "2"), at, earliest=95)
        assert (sizes(first, later) == [2]) == joined


def test_a_change_that_surely_lies_before_the_signal_s_is_another():
    first = called(stream(), 200, earliest=150)
    assert sizes(first, called(stream("S1", "2"), 205, earliest=60, latest=149 - SHARED_MIN)) == [1, 1]
    assert sizes(first, called(stream("S1", "2"), 205, earliest=60, latest=150 - SHARED_MIN)) == [2]


def test_the_same_detector_of_the_same_stream_soon_again_is_the_same_signal():
    soon = AGAIN.astype(int) * 60
    for after, same in ((soon, True), (soon + 1, False)):
        again = called(stream(), 100 + after)
        assert (sizes(called(stream(), 100, over=True), again) == [2]) == same
    other_side = called(stream(), 100 + soon, side=-1)
    assert sizes(called(stream(), 100, over=True), other_side) == [1, 1]


def test_a_call_as_a_level_comes_back_belongs_to_what_ended():
    first = called(stream(), 100, lasts=300, over=True)
    back = called(S1, 405, side=-1, earliest=395)
    assert sizes(first, back) == [2]
    going_on = called(stream(), 100, lasts=300, over=False)
    assert sizes(going_on, back) == [1, 1]


def test_a_wild_bore_waits_longer_for_what_follows():
    wild = called(stream(), 100, kind="single", over=True)
    after = AFTER_SINGLE.astype(int)
    level = called(stream("S1", "2"), 100 + after, earliest=105)
    assert sizes(wild, level) == [2]
    assert sizes(wild, called(stream("S1", "2"), 101 + after, earliest=105)) == [1, 1]


def test_wild_bores_of_one_feature_are_one_signal_of_two_features_only_at_once():
    wild = called(stream(), 100, kind="single", over=True)
    assert sizes(wild, called(stream("S2", "4"), 110, kind="single", over=True)) == [2]
    taper = stream(feature="taper")
    assert sizes(wild, called(taper, 110, kind="single", over=True)) == [2]
    assert sizes(wild, called(taper, 101 + SHARED_MIN, kind="single", over=True)) == [1, 1]


def test_limits_routing_and_patterns_join_no_detector():
    for kind in ("routing", "limit", "pattern"):
        assert sizes(called(stream(), 100), called(stream(), 101, kind=kind)) == [1, 1]
    assert sizes(called(stream(), 100, kind="limit"), called(S1, 150, kind="limit")) == [2]
    assert sizes(called(stream(), 100, kind="pattern"), called(stream(), 101, kind="pattern")) == [1, 1]


def test_another_part_s_calls_are_never_joined():
    other = stream()
    other = type(other)(part_number="X-1", spindle="S1", bore="1", feature="diameter")
    assert sizes(called(stream(), 100), called(other, 101)) == [1, 1]


def test_every_call_is_in_one_signal_and_led_by_its_first():
    shuffle = random.Random(61)
    places = [
        stream(s, b, f)
        for s, b in (("S1", "1"), ("S1", None), ("S2", "3"), (None, None))
        for f in ("diameter", "taper")
    ]
    calls = [
        called(shuffle.choice(places), float(at), kind=shuffle.choice(["level", "spread", "single", "limit"]))
        for at in sorted(shuffle.sample(range(3000), 60))
    ]
    groups = grouped(calls, SHEET)
    assert sorted(id(c) for g in groups for c in g.calls) == sorted(map(id, calls))
    assert all(g.lead.at == min(c.at for c in g.calls) for g in groups)
    assert 1 < len(groups) < 60


def test_the_call_that_lasts_speaks_for_how_long_a_signal_lasted():
    ended, standing = called(stream(), 100, lasts=50, over=True), called(S1, 105, lasts=20, earliest=95)
    (group,) = grouped([ended, standing], SHEET)
    assert group.last is standing


HONED = Honed(SHEET)


def seen(call):
    return Seen.of(call, HONED)


def without_looking_away(calls):
    """Join calls as `grouped` does, holding every call against every signal before it."""
    groups = []
    for call in calls:
        mine = [g for g in groups if joining._shares([seen(c) for c in g], seen(call))]
        if not mine:
            groups.append([call])
            continue
        last = mine[-1]
        joined = [g for g in mine[:-1] if last[0].at - g[0].at <= SHARED]
        first = joined[0] if joined else last
        for other in (*joined[1:], *((last,) if joined else ())):
            first.extend(other)
        first.append(call)
        groups = [g for g in groups if g is first or not any(g is m for m in (*joined, last))]
    return groups


@pytest.mark.parametrize("seed", range(12))
def test_a_signal_that_was_over_long_before_is_passed_over_and_nothing_is_lost_by_it(seed):
    rng = random.Random(seed)
    offsets = stream("S1", None, feature=OFFSETS)
    streams = [
        stream(),
        S1,
        ALL,
        stream("S2", "3"),
        stream(feature="taper"),
        stream(part_of="distance"),
        offsets,
    ]
    calls = []
    for _ in range(60):
        at = rng.uniform(0, 90 * HOUR)
        begun = at - rng.choice([5, 60, 400, 900])
        kind = rng.choice(["level", "level", "drift", "spread", "single", "pattern"])
        lasts = rng.choice([0, 20, 300, 1500])
        calls.append(
            called(
                rng.choice(streams),
                at,
                kind=kind,
                earliest=begun,
                lasts=lasts,
                over=rng.random() < 0.5,
                side=rng.choice([-1, 1]),
            )
        )
    calls.sort(key=lambda c: c.at)
    found = [list(g.calls) for g in grouped(calls, SHEET)]
    assert found == without_looking_away(calls)
    assert 1 < len(found) < len(calls)

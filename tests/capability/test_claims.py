"""What forbids a capability claim, and in which order it is said."""

import math
from dataclasses import replace

import pytest

from cellmon.capability.claim_reasons import BoresBehind, GaugeState, WindowState, outside_is_strange
from cellmon.capability.claims import Claim, ClaimedIndex, judge_claim

GOOD = ClaimedIndex(name="Ppk", value=1.6, bound=1.41, required=1.33, confidence=0.975)
ENOUGH = BoresBehind(subgroups=30, bores=150)


def behind(**change) -> Claim:
    """Judge a good index of bores that are not as they should be."""
    return judge_claim(GOOD, replace(ENOUGH, **change))


def claimed(**change) -> Claim:
    """Judge another index of good bores."""
    return judge_claim(replace(GOOD, **change), ENOUGH)


def test_a_stable_process_with_a_sufficient_bound_is_supported():
    claim = judge_claim(GOOD, ENOUGH)
    assert (claim.supported, claim.stable, claim.reasons) == (True, True, ())


# 25 subgroups and 100 readings: AIAG PPAP 4th ed., from memory
@pytest.mark.parametrize(
    ("change", "word", "stable"),
    [
        ({"subgroups": 24}, "24 subgroups; 25", False),
        ({"open_signals": 1}, "1 signal not answered", False),
        ({"real_signals": 2}, "2 signals answered as a real change", False),
        ({"bores": 99}, "99 bores; 100", True),
        ({"provisional": True}, "provisional", True),
        ({"doubted": 3}, "3 bores left out", True),
    ],
)
def test_each_thing_alone_forbids_the_claim(change, word, stable):
    claim = behind(**change)
    assert not claim.supported
    assert claim.stable is stable
    assert len(claim.reasons) == 1
    assert word in claim.reasons[0]


def test_an_index_unknown_or_too_low_forbids_the_claim():
    assert claimed(bound=None).reasons == ("Ppk could not be computed.",)
    low = claimed(bound=1.3299)
    assert (low.supported, low.stable) == (False, True)
    assert "at least 1.32; 1.33 is required" in low.reasons[0]


@pytest.mark.parametrize(
    ("change", "what", "do"),
    [
        ({"gauge": GaugeState(noise_pct=31.0)}, "31 % of the tolerance", "Mend the gauge"),
        ({"gauge": GaugeState(step_pct=8.0)}, "step is 8 % of the tolerance", "Use a finer one"),
        ({"gauge": GaugeState(steps=3)}, "only 3 different readings", "Use a finer one"),
        ({"gauge": GaugeState(past_calibration=True)}, "past its calibration", "check it on the master"),
        ({"window": WindowState(stone_lives=1)}, "Only one life of the stones", "take in more"),
        ({"window": WindowState(trend_um=-3.24)}, "goes −3.2 µm", "find the cause"),
        ({"window": WindowState(feedback_changes=1)}, "changed 1 time", "since the last change"),
        ({"window": WindowState(cliffs=("the upper limit",))}, "end at the upper limit", "Take all bores"),
        ({"window": WindowState(several_levels=True)}, "several levels", "state each for itself"),
        ({"window": WindowState(repeats=2)}, "2 readings of bores", "count each bore once"),
        ({"window": WindowState(family_fits=False)}, "No distribution", "look at the chart"),
        ({"window": WindowState(predictable=False)}, "spread moves", "find what moves it"),
    ],
)
def test_gauge_and_window_are_named_with_what_to_do(change, what, do):
    claim = judge_claim(GOOD, ENOUGH, **change)
    assert not claim.supported
    assert len(claim.reasons) == 1
    assert what in claim.reasons[0] and do in claim.reasons[0]


def test_gauge_and_window_without_fault_forbid_nothing():
    good = {"gauge": GaugeState(noise_pct=29.0, step_pct=4.0, steps=9), "window": WindowState(stone_lives=2)}
    assert judge_claim(GOOD, ENOUGH, **good).supported
    assert judge_claim(GOOD, ENOUGH, gauge=GaugeState(), window=WindowState()).supported


def test_a_tail_that_may_be_longer_is_named():
    claim = claimed(cautious=1.21, more_bores=240)
    assert "at least 1.41 if the tail is as it looks" in claim.reasons[0]
    assert "only at least 1.21" in claim.reasons[0]
    assert claim.reasons[0].endswith("If it stays 1.60, about 240 more bores show it.")
    assert claimed(cautious=1.33).supported


def test_what_would_mend_an_index_that_is_short():
    short = claimed(value=1.2, bound=1.1)
    assert "Centre the process or lessen its spread" in short.reasons[0]
    unsure = claimed(value=1.5, bound=1.3, more_bores=80)
    assert "about 80 more bores" in unsure.reasons[0]


def test_want_of_stability_is_named_first():
    claim = judge_claim(replace(GOOD, bound=0.5), replace(ENOUGH, bores=10, open_signals=4, provisional=True))
    assert "Not stable: 4 signals" in claim.reasons[0]
    assert len(claim.reasons) == 4


def test_a_bound_just_at_what_is_required_supports():
    assert claimed(bound=1.33).supported


# Poisson chance of at least k events: 1 - sum of exp(-m) m^i / i! for i below k (definition, summed here)
@pytest.mark.parametrize(
    ("seen", "expected"), [(1, 0.0005), (1, 0.02), (2, 0.02), (3, 1.0), (5, 0.4), (0, 9.0)]
)
def test_more_bores_outside_than_the_model_expects_forbid_the_claim(seen, expected):
    chance = 1 - sum(math.exp(-expected) * expected**i / math.factorial(i) for i in range(seen))
    assert outside_is_strange(seen, expected) is (seen > 0 and chance < 0.001)
    claim = behind(outside=seen, expected_outside=expected)
    assert claim.supported is not outside_is_strange(seen, expected)

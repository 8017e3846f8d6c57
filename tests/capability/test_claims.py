"""What forbids a capability claim, and in which order it is said."""

import math

import pytest

from cellmon.capability.claims import judge_claim, outside_is_strange

GOOD = {
    "required": 1.33,
    "index_name": "Cpk",
    "index": 1.6,
    "bound": 1.41,
    "confidence": 0.975,
    "subgroups": 30,
    "bores": 150,
}


def test_a_stable_process_with_a_sufficient_bound_is_supported():
    claim = judge_claim(**GOOD)
    assert (claim.supported, claim.stable, claim.reasons) == (True, True, ())


# 25 subgroups and 100 readings: AIAG PPAP 4th ed., from memory
@pytest.mark.parametrize(
    ("change", "word", "stable"),
    [
        ({"subgroups": 24}, "24 subgroups; 25", False),
        ({"open_signals": 1}, "1 signal not answered", False),
        ({"real_signals": 2}, "2 signals answered as a real change", False),
        ({"bores": 99}, "99 bores; 100", True),
        ({"wears": True}, "claim Ppk", True),
        ({"provisional": True}, "provisional", True),
        ({"mixed": True}, "more than one spindle", True),
        ({"doubted": 3}, "3 bores left out", True),
        ({"gauge_pct": 31.0}, "31 % of the tolerance", True),
        ({"bound": None}, "could not be computed", True),
        ({"bound": 1.3299}, "at least 1.32; 1.33 is required", True),
    ],
)
def test_each_thing_alone_forbids_the_claim(change, word, stable):
    claim = judge_claim(**(GOOD | change))
    assert not claim.supported
    assert claim.stable is stable
    assert len(claim.reasons) == 1
    assert word in claim.reasons[0]


def test_want_of_stability_is_named_first():
    claim = judge_claim(**(GOOD | {"bores": 10, "bound": 0.5, "open_signals": 4, "provisional": True}))
    assert "Not stable: 4 signals" in claim.reasons[0]
    assert len(claim.reasons) == 4


def test_wear_does_not_bar_performance():
    assert judge_claim(**(GOOD | {"wears": True, "index_name": "Ppk"})).supported


def test_a_bound_just_at_what_is_required_supports():
    assert judge_claim(**(GOOD | {"bound": 1.33})).supported


# Poisson chance of at least k events: 1 - sum of exp(-m) m^i / i! for i below k (definition, summed here)
@pytest.mark.parametrize(
    ("seen", "expected"), [(1, 0.0005), (1, 0.02), (2, 0.02), (3, 1.0), (5, 0.4), (0, 9.0)]
)
def test_more_bores_outside_than_the_model_expects_forbid_the_claim(seen, expected):
    chance = 1 - sum(math.exp(-expected) * expected**i / math.factorial(i) for i in range(seen))
    assert outside_is_strange(seen, expected) is (seen > 0 and chance < 0.001)
    claim = judge_claim(
        required=1.33,
        index_name="Ppk",
        index=1.9,
        bound=1.8,
        confidence=0.975,
        subgroups=40,
        bores=200,
        outside=seen,
        expected_outside=expected,
    )
    assert claim.supported is not outside_is_strange(seen, expected)

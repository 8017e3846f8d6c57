"""How few rounds are possible: a bound for every policy that keeps the rule, beside which ours is judged."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from tests.sizing.fewest import HALF_UM, Bounds, _quantile, fewest_rounds

WINDOWS = (12.0, 8.0, 5.0)


def test_the_quantile_of_one_known_hand_is_that_of_a_normal():
    found = _quantile(np.zeros((1, 1)), np.array([[-0.5]]), np.array([[0.2]]), 0.1)
    assert found[0] == pytest.approx(-0.5 + 0.2 * norm.isf(0.1), abs=1e-5)


def test_a_policy_that_knows_all_spends_the_risk_it_is_given():
    # with a scatter so small that the upper limit never binds, 40 um are one round and a rest
    knowing = fewest_rounds(
        bores=300, seed=3, window_um=HALF_UM, rate_known=True, scatter_known=True, test=False
    )
    assert 1.5 < knowing.rounds < 4.0
    assert knowing.risk < 4e-4


def test_no_policy_that_keeps_the_rule_comes_within_1_2_of_full_knowledge():
    terms = {"bores": 250, "seed": 4, "window_um": 8.0}
    best = fewest_rounds(**terms)
    same_test = fewest_rounds(**terms, rate_known=True, scatter_known=True)
    full = fewest_rounds(**terms, rate_known=True, scatter_known=True, test=False)
    assert best.rounds / same_test.rounds > 1.4
    assert best.rounds / full.rounds > 1.6
    of_the_hand = fewest_rounds(**terms, scatter_known=True)
    assert of_the_hand.rounds / same_test.rounds < 1.3


@pytest.mark.slow
@pytest.mark.parametrize("past_upper", [0.00004, 0.0002, 0.001])
def test_the_fewest_rounds_by_what_is_known(past_upper):
    for window in WINDOWS:
        terms = {"bores": 2000, "seed": 20261129, "window_um": window}
        terms |= {"bounds": Bounds(past_upper=past_upper)}
        knowing = {"rate_known": True, "scatter_known": True}
        best, scatter = fewest_rounds(**terms), fewest_rounds(**terms, scatter_known=True)
        tested, full = fewest_rounds(**terms, **knowing), fewest_rounds(**terms, **knowing, test=False)
        print(
            f"past the limit {past_upper:g} a round, window {window:g} um: "
            f"best {best.rounds:.2f} +- {best.error:.2f} (loss {best.risk:.1e} a bore), "
            f"scatter known {scatter.rounds:.2f}, all known {tested.rounds:.2f} with the test round, "
            f"{full.rounds:.2f} without (loss {full.risk:.1e}); best against them "
            f"{best.rounds / tested.rounds:.2f} and {best.rounds / full.rounds:.2f}, "
            f"with the scatter known {scatter.rounds / tested.rounds:.2f}"
        )
        assert best.rounds / tested.rounds > 1.2


@pytest.mark.slow
@pytest.mark.parametrize("rate_sd", [0.2, 0.4])
def test_a_rate_that_a_sheet_states_does_not_bring_it_within_1_2(rate_sd):
    terms = {"bores": 2000, "seed": 20261129, "window_um": 8.0}
    told = fewest_rounds(**terms, rate_sd=rate_sd)
    tested = fewest_rounds(**terms, rate_known=True, scatter_known=True)
    against = told.rounds / tested.rounds
    print(
        f"rate told within {rate_sd:g}: {told.rounds:.2f} +- {told.error:.2f}, against all told {against:.2f}"
    )
    assert against > 1.2

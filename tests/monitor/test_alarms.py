"""What the answer on alarms says: expected false alarms, each detector's limits, the price of rules."""

import numpy as np
import pytest

from cellmon.charts.run_length.cusum import cusum_arl
from cellmon.charts.run_length.rules import rule_price
from cellmon.drift.watch import LEVEL_K
from cellmon.judged import OF_ALL
from cellmon.monitor.rule_sets import RULE_SETS
from tests.monitor.judge.watched_cell import FOUR_BORES, cell_of, stepped, watched_rows


def test_families_add_up_to_what_was_promised():
    found = stepped().alarms()
    assert sum(f.false_alarms_per_week for f in found.families) == pytest.approx(2.0)
    assert found.budget.expected_per_week == pytest.approx(found.budget.wanted_per_week) == 2.0
    assert found.budget.streams == sum(f.streams for f in found.families)
    per_week = sum(
        f.streams * f.subgroups_per_week / d.run_length for f in found.families for d in f.detectors
    )
    assert per_week == pytest.approx(2.0)


def test_limits_are_shown_with_the_run_length_they_come_from():
    for family in stepped().alarms().families:
        assert bool(family.detectors) is (family.feature not in OF_ALL), "temperatures are evidence only"
        for detector in family.detectors:
            if family.scope == "finding":
                assert detector.limits == (), "a count's limit depends on the bores of its shift"
                continue
            assert np.isfinite(detector.limits).all() and min(detector.limits) > 0
            if detector.detector != "level":
                continue
            # three two-sided CUSUMs together call oftener than any alone, at most three times as often
            alone = [cusum_arl(float(k), h) / 2 for k, h in zip(LEVEL_K[:, 0], detector.limits, strict=True)]
            assert min(alone) > detector.run_length > max(alone) / 3


# Montgomery, Introduction to Statistical Quality Control (from memory): 370.4 points to a false alarm at
# three sigma. Champ and Woodall, Technometrics 29 (1987) (from memory): 91.75 for the four zone tests.
def test_what_rule_sets_cost_is_their_run_length_on_the_bores_own_charts():
    budget = stepped().alarms().budget
    price = {p.name: p for p in budget.rules}
    assert price["beyond-3-sigma"].run_length == pytest.approx(370.4, abs=0.1)
    assert price["zones-1956"].run_length == pytest.approx(91.75, abs=0.05)
    own = 8 * 1000.0  # four bores, diameter and taper, 1,000 subgroups a week each where no plan is made
    for rule in budget.rules:
        assert rule.false_alarms_per_week == pytest.approx(own / rule.run_length)
        assert rule.false_alarms_per_week > budget.expected_per_week or rule.name == "trend-of-seven"
    assert not any(p.switched_on for p in budget.rules) and budget.rules_per_week == 0


@pytest.mark.parametrize("rules", RULE_SETS, ids=lambda rules: rules.name)
def test_the_price_that_a_rule_set_states_is_that_of_its_chain(rules):
    assert rules.of_means == pytest.approx(rule_price(rules.tests), rel=1e-9)


def test_a_sheet_without_a_plan_says_so_and_one_with_does_not():
    found = stepped().alarms()
    assert "plans no bores" in found.why_not["planned"] and "plans no bores" in found.budget.sentence
    planned = FOUR_BORES + "[planning]\nbores_per_shift = { S1 = 600, S2 = 600 }\n"
    answer = cell_of(watched_rows(3), sheet=planned).alarms()
    assert answer.why_not == {} and answer.budget.planned
    # 600 bores of two positions in each of 14 shifts a week, subgroups of three
    bores = [f for f in answer.families if f.feature in ("diameter", "taper", "cycle_s", "part_temp_c")]
    assert {f.subgroups_per_week for f in bores} == {600 / 2 * 14 / 3}
    blocks = [f for f in answer.families if f.feature == "offsets_given"]
    assert {f.subgroups_per_week for f in blocks} == {600 * 14 / 100}


def test_a_rule_set_that_is_switched_on_comes_on_top():
    sheet = FOUR_BORES + '[alarms]\nfalse_alarms_per_week = 1.0\nrules = ["beyond-3-sigma"]\n'
    budget = cell_of(watched_rows(3), sheet=sheet).alarms().budget
    assert budget.expected_per_week == pytest.approx(1.0)
    assert budget.rules_per_week == pytest.approx(8000 / 370.4, rel=1e-3)
    assert "22 more by the rule sets switched on" in budget.sentence


def test_the_state_carries_the_same_budget():
    monitor = stepped()
    assert monitor.state().alarms == monitor.alarms().budget

"""Changes to come: against renewal theory, and merged as by hand."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import gamma, kstest

from cellmon.stones.cost import StonePrices, cost_per_bore
from cellmon.stones.life import Life
from cellmon.stones.output import output
from cellmon.stones.planning import change_ways, dated_changes, margin_bores, mean_bores, merged_changes
from tests.stones.renewal import renewal_counts, with_breakage

NOW = np.datetime64("2026-11-02T06:00", "us")
DAY = np.timedelta64(1, "D").astype("timedelta64[us]")
LAW = gamma(a=25, scale=348.0)  # mean 8,700, sets differ by 20 %


def life_of(law, far=40_000.0):
    bores = np.linspace(0.0, far, 3000)
    return Life(bores=bores, chance=law.cdf(bores))


def clock(per_day, days=90):
    starts = NOW + np.arange(days) * DAY
    return output(starts, starts + DAY, np.ones(days, dtype=bool), bores_per_shift=per_day, now=NOW)


NEW, LEFT = life_of(LAW), life_of(gamma(a=16, scale=200.0))


def test_sets_used_up_by_the_ways_are_those_of_renewal_theory():
    n = 20_000
    drawn = change_ways(LEFT, NEW, bores=60_000, chips_per_bore=1e-5, ways=n, random=np.random.default_rng(1))
    used = np.bincount((drawn.bores <= 60_000).sum(axis=1))
    theory = renewal_counts(
        with_breakage(LEFT.cdf, chips_per_bore=1e-5),
        with_breakage(NEW.cdf, chips_per_bore=1e-5),
        bores=60_000,
    )
    size = max(len(used), len(theory))
    gap = np.pad(used / n, (0, size - len(used))) - np.pad(theory, (0, size - len(theory)))
    assert np.abs(gap).max() < 4.5 * np.sqrt(0.25 / n)


def test_lives_that_have_something_in_common_keep_their_law_and_spread_the_sum():
    rng = np.random.default_rng(3)
    shared = rng.standard_normal(8000)
    tied = change_ways(None, NEW, bores=80_000, alike=shared, alike_share=0.3, random=rng).bores
    alone = change_ways(None, NEW, bores=80_000, ways=8000, random=rng).bores
    assert (tied[:, 0] == 0).all(), "a spindle without a set takes one at once"
    assert kstest(np.diff(tied[:, :2], axis=1).ravel(), LAW.cdf).pvalue > 0.001
    ratio = tied[:, 8].var() / alone[:, 8].var()
    assert ratio == pytest.approx(1 + 7 * 0.3, rel=0.12)  # derived: sum of 8 lives with correlation 0.3


def test_a_fitted_set_of_which_nothing_is_known_shares_what_its_kind_has_in_common():
    shared = np.random.default_rng(3).standard_normal(8000)
    first = {
        share: change_ways(
            NEW, NEW, bores=1.0, alike=shared, first_share=share, random=np.random.default_rng(5)
        ).bores[:, 0]
        for share in (0.0, 0.4)
    }
    assert abs(np.corrcoef(shared, first[0.0])[0, 1]) < 0.04
    assert np.corrcoef(shared, first[0.4])[0, 1] == pytest.approx(np.sqrt(0.4), abs=0.04)
    assert kstest(first[0.4], LAW.cdf).pvalue > 0.001


def test_chips_come_as_often_as_said():
    drawn = change_ways(
        None, NEW, bores=50_000, chips_per_bore=1 / 30_000, ways=4000, random=np.random.default_rng(6)
    )
    within = drawn.bores <= 50_000
    rate = (drawn.chipped & within)[:, 1:].sum() / (50_000 * 4000)
    assert rate == pytest.approx(1 / 30_000, rel=0.05)


def test_a_set_is_changed_before_its_end_by_the_margin():
    rng = np.random.default_rng(8)
    drawn = change_ways(LEFT, NEW, bores=1.0, margin=900.0, ways=4000, random=rng)
    assert np.median(drawn.bores[:, 0]) == pytest.approx(LEFT.quantile(0.5) - 900, rel=0.03)
    assert drawn.bores.min() >= 0


def test_the_mean_bores_of_a_set_are_those_of_the_ways_drawn():
    drawn = change_ways(
        None, NEW, bores=1.0, margin=900.0, chips_per_bore=2e-5, ways=40_000, random=np.random.default_rng(4)
    )
    lived = np.diff(drawn.bores[:, :2], axis=1)
    assert mean_bores(NEW, margin=900.0, chips_per_bore=2e-5) == pytest.approx(lived.mean(), rel=0.01)


# the rule gives up 1.8, 3.6, 7.6 % and 3.1, 5.5, 10.5 % of a life: docs/planning.md
def test_the_margin_is_about_what_the_look_ahead_gives_up():
    for step, given_up in ((1.0, (0.018, 0.031)), (3.0, (0.036, 0.055)), (9.0, (0.076, 0.105))):
        assert given_up[0] - 0.005 < margin_bores(100.0, step=step) / 100 < given_up[1] + 0.005
    assert margin_bores(100.0, step=500.0) == 50


def test_dates_have_the_range_of_the_bores():
    ways = {"S1": change_ways(LEFT, NEW, bores=60_000, ways=4000, random=np.random.default_rng(2))}
    first, *_ = found = dated_changes(ways, {"S1": clock(1000)})
    assert first.bores == pytest.approx(LEFT.quantile(0.5), rel=0.03)
    assert (first.at - NOW) / DAY == pytest.approx(first.bores / 1000)
    assert (first.earliest - NOW) / DAY == pytest.approx(LEFT.quantile(0.05) / 1000, rel=0.05)
    assert (first.latest - NOW) / DAY == pytest.approx(LEFT.quantile(0.95) / 1000, rel=0.05)
    assert [c.number for c in found] == list(range(1, len(found) + 1))
    assert all(c.bores <= 90_000 for c in found)


def exactly(*bores):
    """Ways that all agree."""
    from cellmon.stones.planning import Ways

    at = np.tile(np.array(bores, dtype=float), (2, 1))
    return Ways(bores=at, chipped=np.zeros(at.shape, dtype=bool))


def test_one_stop_serves_two_where_little_life_is_given_up():
    clocks = {"S1": clock(1000), "S2": clock(1000)}
    ways = {"S1": exactly(5000, 15_000), "S2": exactly(5600, 16_000)}
    apart = dated_changes(ways, clocks)
    assert len(merged_changes(apart, clocks, most_early=dict.fromkeys(clocks, 100.0))) == 4
    assert all(
        c.with_spindle is None for c in merged_changes(apart, clocks, most_early=dict.fromkeys(clocks, 100.0))
    )
    together = merged_changes(apart, clocks, most_early=dict.fromkeys(clocks, 700.0))
    stops = [(c.spindle, (c.at - NOW) / DAY, c.with_spindle, c.early_bores) for c in together]
    # S2 comes forward by 600 and all its later sets with it: 16,000 becomes 15,400, and 400 more
    assert stops == [
        ("S1", 5.0, None, 0.0),
        ("S2", 5.0, "S1", 600.0),
        ("S1", 15.0, None, 0.0),
        ("S2", 15.0, "S1", pytest.approx(400.0)),
    ]


@settings(deadline=None)
@given(st.lists(st.integers(500, 9000), min_size=1, max_size=5), st.integers(0, 4000))
def test_merging_loses_no_change_and_never_puts_one_off(steps, most_early):
    at = np.cumsum(steps)
    ways = {"S1": exactly(*at), "S2": exactly(*(at + 700)), "S3": exactly(*(at + 1500))}
    clocks = {name: clock(1000) for name in ways}
    before, after = (
        dated_changes(ways, clocks),
        merged_changes(dated_changes(ways, clocks), clocks, most_early=dict.fromkeys(clocks, most_early)),
    )
    named = {(c.spindle, c.number): c.at for c in after}
    assert named.keys() == {(c.spindle, c.number) for c in before}
    assert all(named[c.spindle, c.number] <= c.at for c in before)
    assert all(c.early_bores <= most_early for c in after)


# trade figures of the worked case (derived): 420 for 8,727 bores, 25 min at 95 an hour, 2 min each 800 bores
def test_the_worked_cost_of_a_bore_is_met():
    prices = StonePrices(
        set_price=420,
        change_minutes=25,
        dress_minutes=2,
        machine_per_hour=95,
        scrap_per_bore=60,
        failed_scrap=10,
        failed_minutes=50,
        change_scrap=2,
        dress_scrap=1,
    )
    found = cost_per_bore(prices, bores_per_set=8727, bores_per_dressing=800)
    assert found.stones == pytest.approx(0.048, abs=5e-4)
    assert found.downtime == pytest.approx(0.0045 + 0.0040, abs=1e-4)
    assert found.scrap == pytest.approx(60 * (2 / 8727 + 1 / 800))
    assert found.total == pytest.approx(found.stones + found.downtime + found.scrap)
    failing = cost_per_bore(prices, bores_per_set=8727, failed=0.1, dull_scrap=1e-4)
    assert failing.downtime == pytest.approx(27.5 / 60 * 95 / 8727)
    assert failing.scrap == pytest.approx(60 * ((2 + 0.1 * 10) / 8727 + 1e-4))
    assert prices.planned_change == pytest.approx(420 + 25 / 60 * 95 + 120)
    assert prices.failed_change == pytest.approx(420 + 50 / 60 * 95 + 12 * 60)
    assert prices.dressing == pytest.approx(2 / 60 * 95 + 60)
    with pytest.raises(ValueError, match="more than 0 bores"):
        cost_per_bore(prices, bores_per_set=0)

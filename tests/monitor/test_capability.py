"""From bores in making order to the figures, the window and the pool of a capability statement."""

from __future__ import annotations

import numpy as np
import pytest

from cellmon.capability.indices import Side, indices
from cellmon.capability.tolerance import two_sided_factor
from cellmon.monitor.answers import Tolerance
from cellmon.monitor.capability_figures import Held, figures
from cellmon.monitor.capability_pooling import Member, pooled
from cellmon.monitor.capability_range import bores_within
from cellmon.records import Stream
from tests.small_cell import HEADER, SHEET, new_cell, rows, write

LABELS = np.repeat(np.arange(80), 5)


def found(values, *, lower=-8.0, upper=8.0, zero_bounded=False, low=None, labels=LABELS):
    """Return the figures of one column against both limits, or of two columns, one against each."""
    least = values if low is None else low
    side, other = (
        Side(mean=v.mean(), sd_within=None, df_within=None, sd_total=v.std(ddof=1), n=v.size)
        for v in (least, values)
    )
    plain = indices(lower, upper, low_side=None if lower is None else side, high_side=other)
    held = (Held(values=values, lower=lower, upper=upper),)
    if low is not None:
        held = (Held(values=low, lower=lower, upper=None), Held(values=values, lower=None, upper=upper))
    return figures(
        held, values, labels[: len(values)], plain, zero_bounded=zero_bounded, claim_confidence=0.975
    )


def test_steady_normal_bores_are_judged_by_the_normal_formulas():
    x = np.random.default_rng(2).normal(0, 1.5, 400)
    one = found(x)
    assert (one.family, one.time.model, one.normal) == ("normal", "A1", True)
    assert one.ppk.value == pytest.approx((8 - abs(x.mean())) / (3 * x.std(ddof=1)))


def test_a_worn_diameter_is_judged_by_all_its_bores():
    rng = np.random.default_rng(2)
    wear = np.repeat(6 * (np.arange(80) % 20) / 20 - 3, 5)
    one = found(wear + rng.normal(size=400))
    assert one.family == "all bores over time (C3)"
    within = 8 / 3  # what a subgroup would promise
    assert one.ppk.value < 0.65 * within
    assert one.bound < one.ppk.value
    assert one.effective.noted


def test_a_skewed_feature_above_nought_is_judged_by_quantiles():
    x = np.abs(np.random.default_rng(4).normal(0, 1.5, 400))
    one = found(x, lower=None, upper=8.0, zero_bounded=True)
    assert one.family in ("half normal", "folded normal", "Nakagami")  # the half normal is one of each
    assert one.ppk.value == pytest.approx(1.84, rel=0.12)  # trade.md: percentile formula, normal one 2.51
    assert one.pp is None


def test_least_and_greatest_meet_their_own_limits_and_the_worse_counts():
    rng = np.random.default_rng(6)
    level = rng.normal(size=400)
    low, high = level - 1.0, level + 2.0
    one = found(high, low=low)
    assert one.ppk.value == pytest.approx((8 - high.mean()) / (3 * high.std(ddof=1)), rel=0.02)
    assert one.pp is not None
    both = found(high, low=low, lower=-20.0)
    assert both.ppm.value < one.ppm.value + 1e-9


def test_few_bores_keep_the_normal_formulas_and_no_model():
    x = np.random.default_rng(6).normal(size=12)
    one = found(x)
    assert (one.family, one.time) == ("normal", None)


def member(name, values):
    stream = Stream(part_number="P", spindle=name, bore="1", feature="taper")
    held = (Held(values=values, lower=-6.0, upper=6.0),)
    return Member(stream=stream, name=name, values=values, held=held, worth=1.0)


def test_streams_are_pooled_only_where_they_may_be():
    rng = np.random.default_rng(8)
    like = [member(f"S{i}", rng.normal(size=150)) for i in range(3)]
    (one,) = pooled(like, claim_confidence=0.975)
    assert (one.may_be_pooled, one.n, one.streams) == (True, 450, ("S0", "S1", "S2"))
    assert one.ppk.value == pytest.approx(2.0, rel=0.12)
    assert one.lower_bound < one.ppk.value
    (other,) = pooled([*like, member("S9", 2 + rng.normal(size=150))], claim_confidence=0.975)
    assert (other.may_be_pooled, other.ppk) == (False, None)
    assert "S9" in other.reasons[0]
    assert pooled(like[:1], claim_confidence=0.975) == ()


@pytest.fixture(scope="module")
def answer(tmp_path_factory):
    folder = tmp_path_factory.mktemp("capability")
    opened = new_cell(folder / "cell")
    opened.take([write(folder, "rows.csv", HEADER, rows(130, seed=5))])
    return opened.capability()


def test_every_row_says_how_its_bores_behave(answer):
    for row in answer.capability:
        assert row.movement in ("constant", "moves as modelled", "not predictable")
        assert row.time_model[:2].rstrip(":") in ("A1", "A2", "B", "C1", "C2", "C3", "C4", "D")
        assert row.cautious_bound <= row.lower_bound + 1e-9
        assert row.ppk.low <= row.ppk.value <= row.ppk.high
        assert (row.effective_n is None) == (row.correlation <= 0.1)


# ISO 16269-6, 99 % at 95 % of 130 bores: k = 2.90 both sides (Howe's approximation: 2.89), by the factor that
# tests/capability/test_tolerance.py holds against print
def test_nearly_all_bores_lie_between_limits_where_they_stay_as_they_are(answer):
    told = 0
    for row in answer.capability:
        found = row.tolerance_interval
        if row.movement != "constant":
            assert (found is None) == ("tolerance_interval" in row.why_not)
            continue
        if found is None:
            assert "at least" in row.why_not["tolerance_interval"]
        elif row.model == "normal" and row.effective_n is None:
            k = two_sided_factor(row.n, content=0.99, confidence=0.95)
            told += 1
            if found.low_um is not None and found.high_um is not None:
                assert found.high_um - row.mean_um == pytest.approx(k * row.sd_total_um)
                assert row.mean_um - found.low_um == pytest.approx(k * row.sd_total_um)
    assert told


@pytest.mark.parametrize(("side", "lower", "upper"), [("both", -8.0, 8.0), ("upper", None, 8.0)])
def test_bores_of_any_distribution_lie_between_the_outermost_of_enough(side, lower, upper):
    x = np.abs(np.random.default_rng(4).normal(0, 1.5, 400))
    judged = found(x, lower=lower, upper=upper, zero_bounded=lower is None)
    limits = Tolerance(lower_um=lower, upper_um=upper, target_um=None, guard_um=None)
    within, why = bores_within(x, limits, judged)
    if side == "both":
        assert within is None and "at least 473, got 400" in why
    else:
        assert (within.low_um, within.method) == (None, "for bores of any distribution")
        assert np.mean(x <= within.high_um) >= 0.99


def test_a_claim_short_of_evidence_says_how_many_bores_it_takes(tmp_path):
    asked = new_cell(tmp_path / "cell", sheet=SHEET + "\n[capability]\nrequired = 1.67\n")
    asked.take([write(tmp_path, "rows.csv", HEADER, rows(130, seed=5))])
    answer = asked.capability()
    short = [row for row in answer.capability if row.cautious_bound < answer.required < row.ppk.value]
    assert [str(row.stream) for row in short] == ["S1 bore 1 diameter", "S2 bore 2 diameter"]
    assert all(row.bores_needed > row.n == 130 for row in short)
    assert {row.bores_needed for row in answer.capability if row not in short} == {None}
    asked.close()


def test_the_pool_has_an_answer_for_every_feature(answer):
    features = {row.stream.feature for row in answer.capability}
    assert {one.feature for one in answer.pooled} == features
    for one in answer.pooled:
        assert one.may_be_pooled == (not one.reasons) == (one.ppk is not None)

"""Tables of variance against certified and printed values, and intervals of their combinations."""

import csv
import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from cellmon.errors import GapInReadings, NotEnoughData
from cellmon.gauge.components import MeanSquare, combination_interval, effective_df, one_way, two_way
from cellmon.stats.intervals import sd_interval

CHECKS = Path(__file__).parents[1] / "checks"


def rows(file, quantity):
    found = json.loads((CHECKS / file).read_text())["checks"]
    return [c for c in found if c["quantity"] == quantity]


def table(name):
    lines = [line for line in (CHECKS / name).read_text().splitlines() if not line.startswith("#")]
    return list(csv.DictReader(lines))


def study_10x3x3():
    """AIAG, Measurement Systems Analysis, chapter III: 10 parts, 3 appraisers, 3 trials."""
    x = np.full((10, 3, 3), np.nan)
    for r in table("data/gauge_10x3x3.csv"):
        x[int(r["part"]) - 1, "ABC".index(r["operator"]), int(r["trial"]) - 1] = float(r["value"])
    return x


# NIST StRD analysis of variance: SiRstv, SmLs01 (certified); e-Handbook 3.2.3.1
@pytest.mark.parametrize(
    "row",
    [*rows("nist_strd_anova.json", "anova_oneway"), *rows("gauge_studies.json", "anova_oneway")],
    ids=lambda row: row["id"],
)
def test_one_way_tables_meet_their_certified_values(row):
    read = table(row["inputs"]["data"])
    found = one_way([float(r["value"]) for r in read], [r["group"] for r in read])
    mine = {
        "df_between": found.between.df,
        "df_within": found.within.df,
        "ss_between": found.between.ss,
        "ss_within": found.within.ss,
        "ms_between": found.between.ms,
        "ms_within": found.within.ms,
        "F": found.f,
        "r2": found.between.ss / (found.between.ss + found.within.ss),
        "resid_sd": math.sqrt(found.within.ms),
    }
    for name, value in row["expected"].items():
        assert mine[name] == pytest.approx(value, rel=0, abs=row["tol"][name] or 1e-12), name
    for name, value in row["recomputed"].items():
        assert mine[name] == pytest.approx(value, rel=1e-9), name


# AIAG, Measurement Systems Analysis, 4th ed., chapter III, table of variance
def test_the_two_way_table_agrees_with_print():
    [row] = rows("gauge_studies.json", "gauge_anova")
    found = two_way(study_10x3x3())
    within = found.within.ms
    mine = {
        "ss_operator": found.operator.ss,
        "ss_part": found.part.ss,
        "ss_interaction": found.interaction.ss,
        "ss_equipment": found.within.ss,
        "ss_total": sum(s.ss for s in (found.part, found.operator, found.interaction, found.within)),
        "ms_operator": found.operator.ms,
        "ms_part": found.part.ms,
        "ms_interaction": found.interaction.ms,
        "ms_equipment": within,
        "F_interaction": found.f_interaction,
        "F_operator_on_equipment": found.operator.ms / within,
        "F_part_on_equipment": found.part.ms / within,
    }
    for name, value in mine.items():
        assert value == pytest.approx(row["expected"][name], rel=0, abs=row["tol"][name]), name
        assert value == pytest.approx(row["recomputed"][name], rel=1e-6), name
    # p of F = 0.434 on 18 and 60 degrees of freedom: scipy.stats, independent of the code
    from scipy.stats import f

    assert found.p_interaction == pytest.approx(float(f.sf(found.f_interaction, 18, 60)), rel=1e-9)


@given(arrays(float, (4, 3, 2), elements=st.floats(-50, 50)), st.floats(-20, 20))
def test_the_parts_of_the_table_add_up_and_a_shift_changes_nothing(x, shift):
    found, moved = two_way(x), two_way(x + shift)
    parts = (found.part, found.operator, found.interaction, found.within)
    total = float(((x - x.mean()) ** 2).sum())
    assert sum(p.ss for p in parts) == pytest.approx(total, abs=1e-7)
    assert sum(p.df for p in parts) == x.size - 1
    assert moved.within.ss == pytest.approx(found.within.ss, abs=1e-7)


def test_gaps_and_too_few_are_refused():
    x = study_10x3x3()
    x[3, 1, 2] = np.nan
    with pytest.raises(GapInReadings):
        two_way(x)
    with pytest.raises(NotEnoughData):
        two_way(study_10x3x3()[:, :1])
    with pytest.raises(NotEnoughData):
        one_way([1.0, 2.0], ["a", "b"])


def test_one_mean_square_alone_has_the_exact_interval():
    square = MeanSquare(ss=26.0, df=13)
    found = combination_interval([1.0], [square])
    exact = sd_interval(math.sqrt(2.0), df=13)
    assert (math.sqrt(found.low), math.sqrt(found.high)) == pytest.approx((exact.low, exact.high))
    assert effective_df([1.0], [square]) == pytest.approx(13)


# Graybill and Wang 1980: the limits of a sum in closed form, written out here once more by hand
def test_a_sum_has_the_limits_of_graybill_and_wang():
    from scipy.stats import chi2

    a, b = MeanSquare(ss=40.0, df=8), MeanSquare(ss=36.0, df=24)
    found = combination_interval([0.5, 0.25], [a, b], confidence=0.9)
    terms = [(0.5 * 5.0, 8), (0.25 * 1.5, 24)]
    total = sum(t for t, _ in terms)
    below = math.sqrt(sum(((1 - n / chi2.ppf(0.95, n)) * t) ** 2 for t, n in terms))
    above = math.sqrt(sum(((n / chi2.ppf(0.05, n) - 1) * t) ** 2 for t, n in terms))
    assert (found.low, found.high) == pytest.approx((total - below, total + above))


# Montgomery, Introduction to Statistical Quality Control, and Burdick, Borror and Montgomery (2003): thermal
# impedance of 10 parts by 3 inspectors 3 times; mean squares and intervals by this method, from memory
def test_intervals_of_the_printed_study_are_met():
    squares = [MeanSquare(ss=ss, df=df) for ss, df in ((3935.96, 9), (39.27, 2), (48.51, 18), (30.67, 60))]
    part = combination_interval([1 / 9, 0, -1 / 9, 0], squares)
    gauge = combination_interval([0, 1 / 30, 9 / 30, 20 / 30], squares)
    assert (part.low, part.high) == pytest.approx((22.69, 161.64), abs=0.011)
    assert (gauge.low, gauge.high) == pytest.approx((1.20, 27.02), abs=0.011)


def test_a_difference_that_chance_explains_reaches_to_nought_or_below():
    # F of the two at its own upper 2.5 % point: the exact test and the interval agree at nought
    from scipy.stats import f

    edge = float(f.ppf(0.975, 9, 18))
    just = combination_interval([1.0, -1.0], [MeanSquare(ss=9 * edge, df=9), MeanSquare(ss=18.0, df=18)])
    assert just.low == pytest.approx(0.0, abs=1e-9)


# A weighted sum of three mean squares, one of them taken off: 4,000 runs, seed 11, standard error 0.0034. The
# interval is known to be safe rather than exact: never below 95 % less four errors, seldom above 98
@pytest.mark.parametrize("ratios", [(20.0, 3.0, 1.0), (2.0, 1.2, 1.0), (60.0, 1.0, 1.0)])
def test_a_difference_covers_as_it_says(ratios):
    rng, runs, df = np.random.default_rng(11), 4000, (9, 2, 18)
    weights = (0.1, 0.2, -0.15)
    drawn = [r * rng.chisquare(d, runs) for r, d in zip(ratios, df, strict=True)]
    true = sum(w * r for w, r in zip(weights, ratios, strict=True))
    hits = 0
    for i in range(runs):
        squares = [MeanSquare(ss=float(s[i]), df=d) for s, d in zip(drawn, df, strict=True)]
        found = combination_interval(weights, squares)
        hits += found.low <= true <= found.high
    assert 0.95 - 4 * 0.0034 <= hits / runs <= 0.985

"""d2, d3, c4 and the chart factors against printed tables and independent integrals."""

import json
import math
import time
from pathlib import Path

import numpy as np
import pytest

from cellmon.errors import NotEnoughData
from cellmon.stats.constants import (
    c4,
    chart_factors,
    d2,
    d2_star,
    d2_star_df,
    d3,
    df_of_spread,
    mean_of_chi,
    per_size,
    range_cdf,
)

CHECKS = json.loads((Path(__file__).parents[1] / "checks/control_chart_constants.json").read_text())["checks"]
TABLE = [c for c in CHECKS if c["quantity"] == "chart_constants"]
DIVISORS = [c for c in CHECKS if c["quantity"] in ("d2_star", "d2_star_df")]


# ASTM MNL 7 / ASQ factor tables as printed in Pyzdek & Keller and in Montgomery: each row's own source
# stands in tests/checks/control_chart_constants.json. Allowed: one unit of the last printed digit.
@pytest.mark.parametrize("row", TABLE, ids=lambda row: row["id"])
def test_factors_agree_with_the_printed_tables_and_the_recomputed_values(row):
    factors = chart_factors(row["inputs"]["n"])
    for name, printed in row["expected"].items():
        assert getattr(factors, name) == pytest.approx(printed, rel=0, abs=row["tol"][name])
        assert getattr(factors, name) == pytest.approx(row["recomputed"][name], rel=1e-9, abs=1e-9)


# AIAG MSA appendix C (after Duncan), Duncan table D3: see the rows.
@pytest.mark.parametrize("row", DIVISORS, ids=lambda row: row["id"])
def test_divisors_of_mean_ranges_agree_with_the_printed_tables(row):
    found = {"d2_star": d2_star, "d2_star_df": d2_star_df}[row["quantity"]](**row["inputs"])
    assert found == pytest.approx(row["expected"], rel=0, abs=row["tol"])
    assert found == pytest.approx(row["recomputed"], rel=1e-8)


def test_small_samples_have_the_closed_forms():
    # n = 2: the range is a normal of variance 2 without its sign; n = 3: d2 = 3 / sqrt(pi) (Tippett 1925)
    assert d2(2) == pytest.approx(2 / math.sqrt(math.pi), rel=1e-12)
    assert d3(2) == pytest.approx(math.sqrt(2 - 4 / math.pi), rel=1e-10)
    assert d2(3) == pytest.approx(3 / math.sqrt(math.pi), rel=1e-11)
    assert c4(2) == pytest.approx(math.sqrt(2 / math.pi), rel=1e-13)


def test_factors_not_in_the_rows_follow_from_their_definitions():
    for n in (2, 5, 6, 7, 25, 60):
        f = chart_factors(n)
        assert pytest.approx((max(0, f.d2 - 3 * f.d3), f.d2 + 3 * f.d3, 3 / f.d2)) == (f.D1, f.D2, f.E2)
    # E2 for moving ranges of two: tables print 2.660, from d2 rounded to 1.128 (ISO 7870-2)
    assert round(3 / 1.128, 3) == 2.660
    assert pytest.approx(0, abs=1.5e-3) == chart_factors(2).E2 - 2.660


def test_range_distribution_agrees_with_an_independent_integral():
    from scipy.stats import studentized_range

    w = np.array([0.2, 1.0, 3.0, 5.0])
    for n in (2, 5, 25):
        assert range_cdf(w, n) == pytest.approx(studentized_range.cdf(w, n, np.inf), abs=1e-11)


def test_range_distribution_keeps_shape_and_ends():
    assert range_cdf([[0.0, 30.0], [np.nan, -1.0]], 5) == pytest.approx(
        np.array([[0.0, 1.0], [np.nan, 0.0]]), nan_ok=True
    )


def test_large_samples_are_served():
    # d2(100) = 5.015, d2(1000) = 6.483 (Tippett 1925; later tables agree)
    assert d2(100) == pytest.approx(5.015, abs=5e-4)
    assert d2(1000) == pytest.approx(6.483, abs=5e-4)
    assert mean_of_chi(60 - 1e-9) == pytest.approx(mean_of_chi(60), rel=1e-10)


@pytest.mark.parametrize("df", [1, 5.5, 59.9, 60.1, 4000, 1e9])
def test_degrees_of_freedom_come_back_from_the_spread(df):
    # the variance of a chi variable over its squared mean, by the series 1/(2 df) where digits would cancel
    ratio = 1 / mean_of_chi(df) ** 2 - 1 if df < 1e6 else 1 / (2 * df) + 1 / (8 * df**2)
    assert df_of_spread(ratio) == pytest.approx(df, rel=1e-6)


def test_all_usual_sizes_take_less_than_a_second():
    chart_factors.cache_clear()
    begin = time.process_time()
    for n in range(2, 26):
        chart_factors(n)
    assert time.process_time() - begin < 1


def test_arrays_of_sizes_give_nan_below_two():
    found = per_size(d2, [[1, 2], [5, 2]])
    assert np.isnan(found[0, 0])
    assert found[1, 0] == d2(5)


def test_a_single_value_has_no_range():
    with pytest.raises(NotEnoughData, match="at least 2"):
        chart_factors(1)

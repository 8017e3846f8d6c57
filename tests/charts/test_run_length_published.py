"""Run lengths against published tables: every row of tests/checks/average_run_lengths.json.

Most rows are from memory of the named source and were recomputed apart from this code when they were
collected: `recomputed`. Where that is finer than the print, it is held to too.
"""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from cellmon.charts import patterns
from cellmon.charts.run_length.cusum import cusum_arl, two_sided_cusum_arl
from cellmon.charts.run_length.ewma import ewma_arl, general_ewma_run_length
from cellmon.charts.run_length.multivariate import mewma_arl
from cellmon.charts.run_length.rules import rules_run_length

ROWS = json.loads((Path(__file__).parents[1] / "checks/average_run_lengths.json").read_text())["checks"]
RULE = dict(zip("1234", patterns.FOUR_ZONE_TESTS, strict=True))
COARSE = ("arl_ewma_nonnormal", "arl_mewma")
"""Recomputed by coarser chains: good to 1 in 1,000."""


def one_sided(k, h, shift):
    return [cusum_arl(k, h, shift=d) for d in shift]


def two_sided(k, h, shift, headstart=0.0):
    return [two_sided_cusum_arl(k, h, shift=d, head_start=headstart) for d in shift]


# Siegmund, Sequential Analysis (1985): (exp(-2 d b) + 2 d b - 1) / (2 d^2), d = shift - k, b = h + 1.166: a
# few per cent from the exact ones, which are held to it here
def siegmund(k, h, mu):
    def side(away):
        b = h + 1.166
        return (math.exp(-2 * away * b) + 2 * away * b - 1) / (2 * away**2) if away else b * b

    up, down = side(mu - k), side(-mu - k)
    both = 1 / (1 / up + 1 / down)
    assert cusum_arl(k, h, shift=mu) == pytest.approx(up, rel=0.05)
    assert two_sided_cusum_arl(k, h, shift=mu) == pytest.approx(both, rel=0.05)
    return [up, both]


def ewma(lam, L, shift):
    return [ewma_arl(lam, L, shift=d) for d in shift]


def non_normal(dist, designs):
    if dist["family"] == "gamma":
        shape = dist["shape"]
        law, least = stats.gamma(shape, loc=-math.sqrt(shape), scale=1 / math.sqrt(shape)), -math.sqrt(shape)
    else:
        df = dist["df"]
        law, least = stats.t(df, scale=math.sqrt((df - 2) / df)), None
    return [general_ewma_run_length(lam, width, law.cdf, least=least).mean for lam, width in designs]


def with_rules(rules, shift):
    return [rules_run_length([RULE[digit] for digit in rules], shift=d).mean for d in shift]


def mewma(p, r, H, shift):
    return [mewma_arl(p, r, H, distance=d) for d in shift]


QUANTITIES = {
    "arl_cusum_one_sided": one_sided,
    "arl_cusum_two_sided": two_sided,
    "arl_cusum_siegmund": siegmund,
    "arl_ewma": ewma,
    "arl_ewma_nonnormal": non_normal,
    "arl_runs_rules": with_rules,
    "arl_mewma": mewma,
}


def listed(values):
    return np.array(list(values.values()) if isinstance(values, dict) else values, dtype=float)


@pytest.mark.parametrize("row", ROWS, ids=[row["id"] for row in ROWS])
def test_run_length_is_the_published_one(row):
    found = np.array(QUANTITIES[row["quantity"]](**row["inputs"]))
    assert found.shape == listed(row["expected"]).shape
    assert (np.abs(found - listed(row["expected"])) <= listed(row["tol"])).all(), found
    finer = 1e-3 if row["quantity"] in COARSE else 1e-6
    assert found == pytest.approx(listed(row["recomputed"]), rel=finer)


def test_no_row_of_the_file_is_left_out():
    assert len(ROWS) == 35
    assert {row["quantity"] for row in ROWS} == set(QUANTITIES)

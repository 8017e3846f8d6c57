"""First passage of wear against published and independently computed values."""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import log_ndtr, ndtr
from scipy.stats import invgauss

from cellmon.stones.passage import passage_cdf

FOLDER = Path(__file__).parents[1] / "checks"
ROWS = [
    c
    for c in json.loads((FOLDER / "first_passage.json").read_text())["checks"]
    if c["quantity"] == "wiener_first_passage"
]


# first_passage.json: inverse Gaussian with mean a / v and shape a^2 / s^2 (Cox and Miller; Chhikara and
# Folks), two independent evaluations; its own tolerances.
@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["id"])
def test_first_passage_agrees_with_the_checked_rows(row):
    of = row["inputs"]
    found = passage_cdf(of["t"], depth=of["barrier"], rate=of["drift"], noise=of["sigma"])
    for value, expected, tolerance in zip(found, row["expected"]["cdf"], row["tol"]["cdf"], strict=True):
        assert value == pytest.approx(expected, abs=tolerance)
    at = passage_cdf(row["expected"]["q"], depth=of["barrier"], rate=of["drift"], noise=of["sigma"])
    assert at == pytest.approx(of["p"], abs=1e-6)


@given(st.floats(1, 1e4), st.floats(1e-3, 10), st.floats(1e-3, 50), st.floats(0.01, 5))
def test_first_passage_is_the_inverse_gaussian_of_an_independent_library(depth, rate, noise, share):
    mean, shape = depth / rate, depth**2 / noise**2
    bores = share * mean
    expected = invgauss.cdf(bores, mean / shape, scale=shape)
    assert float(passage_cdf(bores, depth=depth, rate=rate, noise=noise)) == pytest.approx(expected, abs=1e-7)


def test_a_depth_used_up_has_ended_now():
    assert passage_cdf([0.0, 5.0], depth=0.0, rate=1.0, noise=1.0).tolist() == [1.0, 1.0]
    assert passage_cdf(0.0, depth=1.0, rate=1.0, noise=1.0) == 0.0
    with pytest.raises(ValueError, match="noise above 0"):
        passage_cdf(1.0, depth=1.0, rate=1.0, noise=0.0)


def test_all_four_broadcast():
    found = passage_cdf(np.ones((3, 1)), depth=np.array([1.0, 2.0]), rate=1.0, noise=1.0)
    assert found.shape == (3, 2)


# Cox and Miller (1965), section 5.7, as it is printed: two normal tails, the second under an exponential.
@given(st.floats(1.0, 1e5), st.floats(-5.0, 3000.0), st.floats(0.05, 2.0), st.floats(0.05, 20.0))
def test_the_chance_is_that_of_the_two_tails(bores, depth, rate, noise):
    root = noise * np.sqrt(bores)
    second = 2 * rate * max(depth, 0.0) / noise**2 + log_ndtr(-(depth + rate * bores) / root)
    expected = 1.0 if depth <= 0 else ndtr((rate * bores - depth) / root) + np.exp(min(second, 0.0))
    assert passage_cdf(bores, depth=depth, rate=rate, noise=noise) == pytest.approx(expected, abs=1e-12)

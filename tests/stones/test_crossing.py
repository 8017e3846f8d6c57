"""When a drifting level passes its limit."""

import numpy as np
import pytest

from cellmon.stones.crossing import level_crossing


def test_a_line_known_exactly_crosses_where_it_does():
    found = level_crossing(level=10.0, slope=0.5, covariance=np.zeros((2, 2)), upper=60.0)
    assert (found.p05, found.p50, found.p95) == pytest.approx((100.0, 100.0, 100.0))


def test_a_level_that_falls_or_stands_never_crosses_and_one_beyond_has_crossed():
    assert level_crossing(level=10.0, slope=0.0, covariance=np.zeros((2, 2)), upper=60.0) is None
    assert level_crossing(level=10.0, slope=-1.0, covariance=np.zeros((2, 2)), upper=60.0) is None
    gone = level_crossing(level=70.0, slope=0.5, covariance=[[1.0, 0], [0, 0.001]], upper=60.0)
    assert (gone.p05, gone.p50) == (0.0, 0.0)


# 400,000 lines drawn: standard error of a quantile's chance 0.03 to 0.08 %.
@pytest.mark.parametrize("covariance", [[[4.0, 0.0], [0.0, 0.002]], [[4.0, 0.06], [0.06, 0.002]]])
def test_quantiles_are_those_of_lines_drawn(covariance):
    rng = np.random.default_rng(31)
    line = rng.multivariate_normal([10.0, 0.5], covariance, 400_000)
    found = level_crossing(level=10.0, slope=0.5, covariance=covariance, upper=60.0)
    for bores, p in ((found.p05, 0.05), (found.p50, 0.5), (found.p95, 0.95)):
        beyond = float((line[:, 0] + line[:, 1] * bores >= 60.0).mean())
        assert beyond == pytest.approx(p, abs=0.003)


def test_a_slope_hardly_known_may_never_cross():
    found = level_crossing(level=10.0, slope=0.1, covariance=[[1.0, 0.0], [0.0, 0.01]], upper=60.0)
    assert found.p95 is None and found.p05 < found.p50

"""The index of the process alone, and how many bores a claim takes."""

import numpy as np
import pytest

from cellmon.capability.needed import MOST, bores_needed_by_error
from cellmon.capability.noise import without_noise
from cellmon.errors import NoSpread
from cellmon.stats.intervals import cpk_interval, one_sided_index_bound


def test_variances_are_taken_apart():
    # 3 within, 4 of the gauge: 5 seen
    found = without_noise(1.0, sd=5.0, n=100, df=99, gauge_sd=4.0)
    assert found.process.value == pytest.approx(5 / 3)
    assert found.noise_share == pytest.approx(16 / 25)
    assert found.bound < found.process.value < found.process.high
    plain = without_noise(1.2, sd=5.0, n=100, df=99, gauge_sd=0.0)
    assert plain.process.value == pytest.approx(1.2)
    assert (plain.process.low, plain.process.high) == pytest.approx(
        [getattr(cpk_interval(1.2, n=100, df=99), end) for end in ("low", "high")], abs=0.01
    )


def test_noise_that_is_all_there_is_refused():
    with pytest.raises(NoSpread):
        without_noise(1.0, sd=1.0, n=100, df=99, gauge_sd=1.0)
    with pytest.raises(ValueError, match="gauge_sd"):
        without_noise(1.0, sd=1.0, n=100, df=99, gauge_sd=-1.0)


def coverage(*, n, repeats, gauge_df=None, seed=8):
    """Six gauge sd are 20 % of a tolerance with a true Cpk of 1.67; one limit."""
    rng, index = np.random.default_rng(seed), 1.67
    noise = 0.2 * 2 * 3 * index / 6
    held = seen = 0
    for _ in range(repeats):
        x = rng.normal(size=n) + noise * rng.normal(size=n)
        known = noise if gauge_df is None else noise * np.sqrt(rng.chisquare(gauge_df) / gauge_df)
        sd = x.std(ddof=1)
        raw = (3 * index - x.mean()) / (3 * sd)
        found = without_noise(raw, sd=sd, n=n, df=n - 1, gauge_sd=known, gauge_df=gauge_df).process
        held += found.low <= index <= found.high
        plain = cpk_interval(raw, n=n, df=n - 1)
        seen += plain.low <= index <= plain.high
    return held / repeats, seen / repeats


@pytest.mark.parametrize("gauge_df", [None, 60])
def test_the_corrected_interval_covers_where_the_plain_one_does_not(gauge_df):
    held, seen = coverage(n=200, repeats=800, gauge_df=gauge_df)
    assert held == pytest.approx(0.95, abs=0.025)  # standard error 0.8 %
    assert seen < 0.9


def bores_needed(index, *, required, confidence):
    """Return the fewest normal bores whose exact bound carries a claim."""

    def enough(n):
        return one_sided_index_bound(index, n=n, df=n - 1, confidence=confidence) >= required

    low, high = 2, MOST
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high


# limits.md section 4: 1.67 from 37 bores, 1.5 from 117, 1.4 from 604 (95 %); 51, 166, 857 (97.5 %). Ours are
# by the exact bound: 38, 119, 609 and 51, 166, 858. Bissell's formula gives the 95 % row of the page.
@pytest.mark.parametrize(
    ("confidence", "index", "printed"),
    [
        (0.95, 1.67, 37),
        (0.95, 1.5, 117),
        (0.95, 1.4, 604),
        (0.975, 1.67, 51),
        (0.975, 1.5, 166),
        (0.975, 1.4, 857),
    ],
)
def test_bores_needed_for_a_claim(confidence, index, printed):
    exact = bores_needed(index, required=1.33, confidence=confidence)
    assert exact == pytest.approx(printed, rel=0.03)
    # what the monitor says, from half as many normal bores or twice, takes the error to fall with their root:
    # met at 38 to 51 bores to 14 %, from 119 on to 7 %
    near = 0.15 if exact < 100 else 0.07
    for n in (exact // 2, exact, 2 * exact):
        bound = one_sided_index_bound(index, n=n, df=n - 1, confidence=confidence)
        assert bores_needed_by_error(index, bound, n=n, required=1.33) == pytest.approx(exact, rel=near)


def test_no_number_of_bores_shows_what_is_not_there():
    assert bores_needed_by_error(1.3, 1.1, n=100, required=1.33) is None
    # a bound so near the index that ten million bores would not do
    assert bores_needed_by_error(1.3301, 1.2, n=100, required=1.33) is None


def test_a_bound_that_suffices_needs_no_more_bores():
    assert bores_needed_by_error(1.7, 1.33, n=80, required=1.33) == 80
    assert bores_needed_by_error(1.6, 1.2, n=100, required=1.33) > 200

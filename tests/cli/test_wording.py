"""Figures in words: no more digits than they carry, nothing for nothing."""

from __future__ import annotations

import math
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cellmon import local
from cellmon.cli.wording import (
    age,
    at_least,
    bores_left,
    chance,
    count,
    decimals_of,
    interval,
    listed,
    number,
    plain,
    ppm,
    signed,
    span,
    sure,
    times,
    when,
)
from cellmon.monitor.answers import Estimate
from cellmon.monitor.forecast import BoresLeft

from .conftest import ZONE


@pytest.mark.parametrize(
    ("resolution", "decimals"), [(0.1, 1), (1.0, 0), (0.5, 1), (0.01, 2), (10, 0), (None, 1)]
)
def test_decimals_follow_the_gauge(resolution, decimals):
    assert decimals_of(resolution) == decimals


@pytest.mark.parametrize(
    ("value", "shown"),
    [(11.66, "+11.7"), (-0.04, "0.0"), (0.0, "0.0"), (-3.21, "-3.2"), (None, None), (math.nan, None)],
)
def test_a_deviation_shows_its_sign_and_nothing_has_none(value, shown):
    assert signed(value, decimals=1) == shown


def test_an_interval_stands_beside_its_value():
    both = Estimate(value=1.977, low=1.94, high=2.02, confidence=0.95)
    assert interval(both, decimals=2) == "1.98 (1.94 to 2.02)"
    assert interval(Estimate(value=1.5, low=1.2, high=None), decimals=1) == "1.5 (1.2 to ?)"
    assert interval(Estimate(value=1.5, low=None, high=None), decimals=1) == "1.5"
    assert interval(Estimate(value=None, low=1.0, high=2.0), decimals=1) == "1.0 to 2.0"
    assert interval(None, decimals=2) is None


@pytest.mark.parametrize(
    ("value", "shown"),
    [(0.0, "0"), (1e-9, "under 0.01"), (0.0456, "0.046"), (1.76, "1.8"), (176.3, "180"), (12345, "12,000")],
)
def test_parts_per_million_show_two_figures(value, shown):
    assert ppm(value) == shown


def test_the_repeated_hour_can_be_told_from_the_first():
    first, second = (datetime(2026, 10, 25, hour, 30, tzinfo=UTC) for hour in (0, 1))
    assert when(first, ZONE) == "2026-10-25 02:30+02:00"
    assert when(second, ZONE) == "2026-10-25 02:30+01:00"


def test_ages_and_lists():
    assert [age(s) for s in (60.0, 5400.0, 7200.0, 86400 * 3.0)] == ["1 min", "2 h", "2 h", "3 d"]
    assert listed("abc", most=2) == "a, b and 1 more"


@given(st.floats(allow_nan=True, allow_infinity=True), st.integers(0, 4))
def test_a_number_is_a_number_or_nothing(value, decimals):
    shown = number(value, decimals=decimals)
    assert (shown is None) == (not math.isfinite(value))
    assert shown is None or abs(float(shown) - value) <= 0.5 * 10**-decimals * (1 + 1e-9) + abs(value) * 1e-15


@pytest.mark.parametrize(
    ("value", "shown"), [(1.3299, "1.32"), (1.33, "1.33"), (0.9886, "0.98"), (None, None)]
)
def test_a_lower_bound_is_never_rounded_up(value, shown):
    assert at_least(value, decimals=2) == shown


@pytest.mark.parametrize(
    ("low", "value", "high", "shown"),
    [
        (-3.8732, -3.3148, -2.7564, "-3.3 (-3.9 to -2.8)"),
        (-4.67, -3.378, -2.09, "-3 (-5 to -2)"),
        (0.0112, 0.0234, 0.0356, "+0.02 (+0.01 to +0.04)"),
        (1.0, 1.0, 1.0, "+1.0000 (+1.0000 to +1.0000)"),
    ],
)
def test_a_drift_shows_digits_as_far_as_its_interval_goes(low, value, high, shown):
    assert sure(Estimate(value=value, low=low, high=high, confidence=0.9)) == shown
    assert sure(None) is None


def test_bores_left_show_two_figures_and_the_side():
    assert bores_left(BoresLeft(p05=118, p50=185, p95=310, side="lower")) == "180 (120 to 310) lower"
    assert bores_left(BoresLeft(p05=1234.0, p50=None, p95=None, side="upper")) == "far (1,200 to far) upper"
    assert bores_left(BoresLeft(p05=0, p50=7.4, p95=20, side="upper")) == "7 (0 to 20) upper"
    assert bores_left(None) is None


@pytest.mark.parametrize(
    ("probability", "shown"),
    [(0.9499, "94.9 %"), (0.95, "95.0 %"), (0.9999, "over 99.9 %"), (1e-9, "under 0.1 %"), (None, None)],
)
def test_a_probability_is_never_rounded_up(probability, shown):
    assert chance(probability) == shown


def test_a_range_of_the_same_day_is_short_and_of_another_is_whole():
    at, before = datetime(2026, 10, 24, 22, 30, tzinfo=UTC), datetime(2026, 10, 24, 20, 10, tzinfo=UTC)
    assert span(at, before, at, ZONE) == "2026-10-25 00:30+02:00 (2026-10-24 22:10+02:00 to 00:30)"
    after = datetime(2026, 10, 25, 1, 10, tzinfo=UTC)
    assert span(at, at, after, ZONE).endswith("(00:30 to 2026-10-25 02:10+01:00)")


def test_a_wider_spread_is_told_in_times():
    assert (times(1.63), times(None)) == ("x 1.6", None)


def test_a_site_s_language_marks_every_figure_in_one_way():
    local.write_as("de")
    try:
        shown = [number(1.2344, decimals=3), signed(-3.21, decimals=1), count(1204), plain(0.25), ppm(12345)]
    finally:
        local.write_as("en")
    assert shown == ["1,234", "-3,2", "1.204", "0,25", "12.000"]

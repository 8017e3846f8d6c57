"""What one bore's readings say."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cellmon.gauge.decision import guard_band, verdicts
from cellmon.sizing.left import GaugeDoubt, Limits, aim_of, clean_up, left_of, oversize_for
from cellmon.sizing.warmth import warmth_um

LIMITS = Limits(lower=0.0, target=12.0, upper=24.0)
DOUBT = GaugeDoubt(common_um=0.5, reading_um=1.0)
readings = st.lists(st.floats(-80, 40), min_size=6, max_size=6).map(lambda x: np.reshape(x, (3, 2)))


def test_tight_wide_taper_and_oval_are_named():
    left = left_of([[-20, -28], [-24, -24], [-33, -31]], LIMITS, DOUBT)
    assert (left.tight.plane, left.tight.direction, left.tight.um) == (2, 0, -33.0)
    assert (left.wide.plane, left.wide.direction, left.wide.um) == (0, 0, -20.0)
    assert left.taper_um == pytest.approx(8.0)
    assert left.taper_told
    assert left.oval_direction.tolist() == [0, -1, -1]  # 2 um apart is less than the gauge can tell
    assert left.to_target[2, 0] == 45.0
    assert left.uncertainty_um == pytest.approx(2 * np.hypot(0.5, 1.0))


# the guard band is that of the gauge topic, which carries its own published checks (ISO 14253-1, JCGM 106)
@given(readings)
def test_limits_are_proven_as_the_gauge_topic_decides(um):
    left = left_of(um, LIMITS, DOUBT)
    assert left.guard_um == pytest.approx(float(guard_band(DOUBT.one_um)))
    ends = verdicts([um.min(), um.max()], lower=0.0, upper=24.0, u=DOUBT.one_um)
    assert (left.proven_above_lower and left.proven_below_upper) == bool((ends == 1).all())
    assert left.proven_too_wide == bool(um.max() > 24 + left.guard_um)


@given(readings, st.floats(-30, 30))
def test_a_larger_bore_has_less_left_by_as_much(um, shift):
    one, other = left_of(um, LIMITS, DOUBT), left_of(um + shift, LIMITS, DOUBT)
    assert other.to_target == pytest.approx(one.to_target - shift)


def test_a_reading_that_lacks_is_left_out():
    left = left_of([[-20, np.nan], [np.nan, np.nan], [-30, -32]], LIMITS, DOUBT)
    assert left.wide.um == -20.0
    assert np.isnan(left.plane_um[1])
    assert left.taper_um == pytest.approx(11.0)
    with pytest.raises(ValueError, match="at least one reading"):
        left_of([[np.nan]], LIMITS, DOUBT)


def test_a_coarse_gauge_still_gets_an_aim():
    fine = aim_of(LIMITS, GaugeDoubt(common_um=0.5, reading_um=0.35))
    assert fine.settles
    assert fine.aim_um == 12.0
    coarse = aim_of(LIMITS, GaugeDoubt(common_um=8.0, reading_um=6.0))
    assert not coarse.settles
    assert coarse.from_um > coarse.to_um
    assert coarse.aim_um == 12.0


def test_a_deep_place_asks_for_the_next_oversize():
    left = left_of([[15.0, 16.0]], LIMITS, DOUBT)
    found = clean_up(left, LIMITS, allowance_um=5.0, deepest_um=20.0)
    assert found.cleans_up is False
    assert found.least_size_um == 41.0
    assert oversize_for(found.least_size_um, [500.0, 250.0], guard_um=1.8, half_um=24.0) == 250.0
    assert oversize_for(600.0, [500.0, 250.0], guard_um=1.8, half_um=24.0) is None
    assert clean_up(left, LIMITS, allowance_um=2.0).cleans_up is True
    assert clean_up(left, LIMITS, allowance_um=7.0).cleans_up is None


# trade page: a bore 8 K warm reads about 6 um large at 68 mm; 87.3 mm grey iron 0.96 um/K (ISO 1, arithmetic)
def test_warmth_is_that_of_the_trade_page():
    assert warmth_um(68.0, part_c=28, zero_c=20, expansion_per_c=11e-6, corrected=False) == pytest.approx(
        5.98, abs=0.01
    )
    assert warmth_um(87.3, part_c=21, zero_c=20, expansion_per_c=11e-6, corrected=False) == pytest.approx(
        0.96, abs=0.005
    )
    assert warmth_um(68.0, part_c=28, zero_c=20, expansion_per_c=11e-6, corrected=True) < 1.5
    warm = {"part_c": 28, "zero_c": 20, "expansion_per_c": 11.5e-6, "corrected": False}
    assert warmth_um(68.0, **warm, master_c=28) == pytest.approx(0.0, abs=1e-9)
    assert warmth_um(68.0, **warm, master_c=24) == pytest.approx(68e3 * 11.5e-6 * 4)
    assert warmth_um(68.0, part_c=None, zero_c=20, expansion_per_c=11e-6, corrected=False) == 0.0

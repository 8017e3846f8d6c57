"""Decisions with guard bands against published values and by simulation."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cellmon.gauge.decision import (
    feature_uncertainty,
    guard_band,
    guard_factor,
    verdicts,
)
from cellmon.stats.normal import share_above, share_below

ROWS = json.loads((Path(__file__).parents[1] / "checks/conformity_decisions.json").read_text())["checks"]


def rows(quantity):
    return [c for c in ROWS if c["quantity"] == quantity]


# ISO 14253-1:2017, default guard band
@pytest.mark.parametrize("row", rows("guard_factor"), ids=lambda row: row["id"])
def test_guard_factor_agrees_with_the_standard(row):
    found = guard_factor(row["inputs"]["conf"])
    assert found == pytest.approx(row["expected"], rel=0, abs=row["tol"])
    assert found == pytest.approx(row["recomputed"], rel=1e-9)


@pytest.mark.parametrize("row", rows("acceptance_zone"), ids=lambda row: row["id"])
def test_acceptance_zone_agrees_with_the_rows(row):
    g = row["inputs"]
    guard = float(guard_band(g["u"], g["conf"]))
    zone = [g["lsl"] + guard, g["usl"] - guard]
    assert zone == pytest.approx(row["expected"], rel=0, abs=row["tol"][0])
    near = np.array([zone[0] - 1e-9, zone[0] + 1e-9, zone[1] - 1e-9, zone[1] + 1e-9])
    found = verdicts(near, lower=g["lsl"], upper=g["usl"], u=g["u"], conformance=g["conf"])
    assert found.tolist() == [0, 1, 1, 0]


def conformance_probability(y, *, lower, upper, u):
    """Return the probability that the true value lies inside, for a normal state of knowledge."""
    below = 0.0 if lower is None else share_below((lower - y) / u)
    above = 0.0 if upper is None else share_above((upper - y) / u)
    return 1 - below - above


# JCGM 106:2012
@pytest.mark.parametrize("row", rows("conformance_probability"), ids=lambda row: row["id"])
def test_conformance_probability_agrees_with_the_rows(row):
    g = row["inputs"]
    found = conformance_probability(g["y"], lower=g["lsl"], upper=g["usl"], u=g["u"])
    assert float(found) == pytest.approx(row["expected"], rel=0, abs=row["tol"])


# ILAC-G8:09/2019, guard bands as a share r of U = 2 u: risk of a false acceptance at the edge of the zone
@pytest.mark.parametrize("row", rows("pfa_at_acceptance_limit"), ids=lambda row: row["id"])
def test_risk_at_the_edge_of_the_zone_agrees_with_print(row):
    r = row["inputs"]["r"]
    guard = float(guard_band(1.0, float(share_below(2 * r))))
    risk = 1 - float(conformance_probability(100.0 - guard, lower=None, upper=100.0, u=1.0))
    assert guard == pytest.approx(2 * r, abs=1e-12)
    assert risk == pytest.approx(row["expected"], rel=0, abs=max(row["tol"], 1e-12))


def test_the_worked_bore_is_accepted_from_1_to_23():
    # u = 0.62, 0 to 24 um: accept 1.0 to 23.0, reject below -1.0 or above 25.0 (g = 1.02; own arithmetic)
    x = [-1.03, -1.0, 0.0, 1.0, 1.03, 22.97, 23.0, 24.0, 25.0, 25.03, math.nan]
    assert verdicts(x, lower=0.0, upper=24.0, u=0.62).tolist() == [-1, 0, 0, 0, 1, 1, 0, 0, 0, -1, 0]
    simple = verdicts(x, lower=0.0, upper=24.0, u=0.62, rule="simple").tolist()
    assert simple == [-1, -1, 1, 1, 1, 1, 1, 1, -1, -1, 0]


def test_one_limit_and_unknown_uncertainty():
    assert verdicts([3.0, 3.9, 5.0], lower=None, upper=4.0, u=0.2).tolist() == [1, 0, -1]
    assert verdicts([3.0, 30.0], lower=0.0, upper=4.0, u=None).tolist() == [0, 0]
    assert verdicts([3.0, 30.0], lower=0.0, upper=4.0, u=None, rule="simple").tolist() == [1, -1]
    assert verdicts([3.0, 3.0], lower=0.0, upper=4.0, u=[0.1, np.nan]).tolist() == [1, 0]
    assert verdicts([2.0], lower=0.0, upper=4.0, u=5.0).tolist() == [0]


@given(st.lists(st.floats(-50, 50), min_size=1), st.floats(0, 5), st.floats(-20, 20))
def test_verdicts_move_with_their_limits(values, u, shift):
    x = np.round(np.array(values), 3)
    shift = round(shift)
    plain = verdicts(x, lower=-10.0, upper=10.0, u=u)
    moved = verdicts(x + shift, lower=-10.0 + shift, upper=10.0 + shift, u=u)
    guard = float(guard_band(u))
    edges = np.array([e + s * guard for e in (-10, 10) for s in (-1, 1)])
    clear = np.abs(x[:, None] - edges).min(axis=1) > 1e-9
    assert (plain[clear] == moved[clear]).all()
    strict = verdicts(x, lower=-10.0, upper=10.0, u=u, rule="simple")
    assert (strict[plain == 1] == 1).all()
    assert (strict[plain == -1] == -1).all()


def test_a_bore_at_its_limit_is_passed_one_time_in_twenty():
    # 200,000 readings of a bore exactly at the limit: standard error of 5 % 0.05 %
    x = 24 + np.random.default_rng(0).normal(scale=0.62, size=200_000)
    found = verdicts(x, lower=0.0, upper=24.0, u=0.62)
    assert (found == 1).mean() == pytest.approx(0.05, abs=0.002)
    assert (found == -1).mean() == pytest.approx(0.05, abs=0.002)


def test_mistaken_calls_are_refused():
    with pytest.raises(ValueError, match="limit"):
        verdicts([1.0], lower=None, upper=None, u=1.0)
    with pytest.raises(ValueError, match="rule"):
        verdicts([1.0], lower=0.0, upper=None, u=1.0, rule="generous")
    with pytest.raises(ValueError, match="conformance"):
        guard_factor(0.4)
    with pytest.raises(ValueError, match="feature"):
        feature_uncertainty("colour", common_um=1, reading_um=1, planes=3, directions=2)


def propagated(angles, *, common, reading, seed=0):
    """Standard deviations of features of 200,000 readings of one perfect bore."""
    from cellmon.bores.form import two_point_features

    rng = np.random.default_rng(seed)
    k = len(angles)
    um = rng.normal(scale=common, size=(200_000, 1, 1)) + rng.normal(scale=reading, size=(200_000, 3, k))
    return two_point_features(um, depths_mm=[15, 70, 125], angles_deg=angles)


@pytest.mark.parametrize("angles", [(0, 90), (0, 45, 90, 135), (0, 60, 120)])
def test_propagated_uncertainty_is_what_readings_show(angles):
    # standard error of each spread 0.16 %
    found = propagated(angles, common=0.5, reading=0.35)
    shown = {
        "average": found.average,
        "taper": found.taper,
        "barrel": found.barrel,
        "twist": found.twist,
        "ovality_mean": found.ovality_along,
    }
    for name, values in shown.items():
        u = feature_uncertainty(name, common_um=0.5, reading_um=0.35, planes=3, directions=len(angles))
        assert u == pytest.approx(values.std(), rel=0.01), name


def test_uncertainty_of_single_readings_and_differences():
    def u(feature, planes=3, directions=2, **more):
        return feature_uncertainty(
            feature, common_um=0.5, reading_um=0.35, planes=planes, directions=directions, **more
        )

    assert u("diameter") == u("least") == u("greatest") == pytest.approx(math.hypot(0.5, 0.35))
    assert u("ovality") == u("size_range") == pytest.approx(0.35 * math.sqrt(2))
    assert u("roundness") == pytest.approx(0.35 * math.sqrt(2) / 2)
    assert u("taper", scale=1.4) == pytest.approx(1.4 * u("taper"))
    assert u("barrel", planes=2) is None
    assert u("twist", planes=1) is None
    assert u("ovality", directions=1) is None
    assert u("size_range", planes=1, directions=1) is None

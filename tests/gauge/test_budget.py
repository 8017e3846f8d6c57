"""Uncertainty budgets, resolution and propagation, against print and by hand."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cellmon.bores.form import two_point_features
from cellmon.errors import NotEnoughData
from cellmon.gauge.budget import (
    Combined,
    Contribution,
    combined,
    comparison_uncertainty_um,
    resolution_uncertainty,
)
from cellmon.gauge.decision import feature_uncertainty
from cellmon.gauge.propagation import noisy_readings, read_of
from cellmon.gauge.resolution import resolution_test, step_seen

[GUM] = json.loads((Path(__file__).parents[1] / "checks/uncertainty_budgets.json").read_text())["checks"]


# JCGM 100:2008, annex H.1, end gauge
def test_the_end_gauge_of_the_guide_is_met():
    sources = [Contribution(name=c["name"], u=c["u"], df=c["nu"]) for c in GUM["inputs"]["components"]]
    found = combined(sources)
    conf, _ = GUM["inputs"]["conf_nu"]
    mine = {"uc": found.u, "nu_eff": found.df, "U": found.expanded(conf)}
    for name, value in mine.items():
        assert value == pytest.approx(GUM["expected"][name], rel=0, abs=GUM["tol"][name]), name
        assert value == pytest.approx(GUM["recomputed"][name], rel=1e-6), name


def test_without_degrees_of_freedom_the_factor_is_two_or_normal():
    found = combined([Contribution(name="a", u=0.5), Contribution(name="b", u=0.35)])
    assert found.expanded() == pytest.approx(2 * math.hypot(0.5, 0.35))
    assert found.factor(0.95) == pytest.approx(1.959964, abs=1e-5)
    assert Combined(u=1.0, df=0.5).factor(0.95) == pytest.approx(12.706, abs=5e-4)  # t of 1 df, printed


@given(st.lists(st.floats(0.01, 10), min_size=1, max_size=6), st.floats(0.1, 5))
def test_a_further_source_never_makes_it_smaller(us, more):
    some = [Contribution(name=str(i), u=u, df=5) for i, u in enumerate(us)]
    assert combined([*some, Contribution(name="more", u=more)]).u > combined(some).u
    assert combined(some).df >= 5 - 1e-9


def test_a_step_is_worth_its_root_of_twelve():
    # JCGM 100:2008, F.2.2.1: 0.29 of a step
    assert resolution_uncertainty(1.0) == pytest.approx(0.29, abs=0.005)
    rng = np.random.default_rng(4)
    x = rng.uniform(0, 50, 200_000)
    assert np.std(np.round(x) - x) == pytest.approx(resolution_uncertainty(1.0), rel=0.01)


def test_temperature_of_a_comparison_by_hand():
    # trade: grey iron, 87.3 mm: temperatures known to half a degree, 0.48 um of the part
    only_part = comparison_uncertainty_um(
        87.3, part_expansion=11e-6, master_expansion=11.5e-6, above_c=0.0, part_c=0.5, master_c=0.0,
        expansion_share=0.0,
    )  # fmt: skip
    assert only_part == pytest.approx(0.48, abs=0.005)
    # expansion known to 1e-6 at 6 K: 0.52 um (1 / 11 of it)
    only_material = comparison_uncertainty_um(
        87.3, part_expansion=11e-6, master_expansion=0.0, above_c=-6.0, part_c=0.0, master_c=0.0,
        expansion_share=1 / 11,
    )  # fmt: skip
    assert only_material == pytest.approx(0.52, abs=0.005)


def test_the_step_is_seen_in_the_readings_and_judged():
    rng = np.random.default_rng(9)
    assert step_seen(np.round(rng.normal(5, 2, 500))) == pytest.approx(1.0)
    assert step_seen(np.round(rng.normal(5, 2, 500) / 0.1) * 0.1) == pytest.approx(0.1)
    with pytest.raises(NotEnoughData):
        step_seen([3.0, 3.0])
    fine = resolution_test(0.1, sigma=0.35, tolerance=24.0)
    assert fine.fine_for_tolerance and fine.fine_for_sigma
    coarse = resolution_test(3.0, sigma=0.9, tolerance=24.0)
    assert not coarse.fine_for_tolerance and not coarse.fine_for_sigma
    unknown = resolution_test(0.1, sigma=None, tolerance=None)
    assert unknown.fine_for_sigma is None and unknown.of_tolerance is None


LAYOUT = {"depths_mm": (15.0, 70.0, 125.0), "angles_deg": (0.0, 90.0)}


# the weights of `feature_uncertainty` against the simulation, where nothing bends them: seed 21, 1 %
@pytest.mark.parametrize("feature", ["average", "taper", "barrel", "ovality", "twist"])
def test_simulated_spread_agrees_with_the_weights(feature):
    bore = np.array([[14.0, 8.0], [13.0, 9.0], [12.0, 6.0]])
    read = noisy_readings(bore, common=0.5, reading=0.35, n=100_000, generator=np.random.default_rng(21))
    figures = two_point_features(read, **LAYOUT)
    true = float(getattr(two_point_features(bore[None], **LAYOUT), feature)[0])
    found = read_of(getattr(figures, feature), true=true)
    name = "ovality_mean" if feature == "ovality" else feature
    u = feature_uncertainty(name, common_um=0.5, reading_um=0.35, planes=3, directions=2)
    assert found.sd == pytest.approx(u, rel=0.01)
    assert found.too_much == pytest.approx(0.0, abs=4 * u / math.sqrt(100_000))


# a perfect bore of one plane and two directions reads |a - b| / 2: half normal, mean sigma / sqrt(pi)
def test_a_perfect_bore_reads_some_roundness():
    read = noisy_readings(
        np.zeros((1, 2)), common=0.5, reading=0.4, n=200_000, generator=np.random.default_rng(22)
    )
    figures = two_point_features(read, depths_mm=(70.0,), angles_deg=(0.0, 90.0))
    found = read_of(figures.roundness, true=0.0)
    assert found.too_much == pytest.approx(0.4 / math.sqrt(math.pi), rel=0.01)
    assert found.high == pytest.approx(2.2414 * 0.4 / math.sqrt(2), rel=0.01)  # 97.5 % of a half normal
    assert found.low >= 0

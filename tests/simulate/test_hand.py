"""The hidden bore that judges the advice: it does what its description says."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from cellmon.simulate.hand import Hardness, gauged, hidden_bore, honed, next_bore


def drawn(count=300):
    return [hidden_bore(np.random.default_rng([7, i]), target_um=12.0) for i in range(count)]


def test_bores_fill_the_ranges_they_are_drawn_from():
    bores, of = drawn(), Hardness()
    rates = np.array([b.rate_um[0] for b in bores])
    tapers = np.array([abs(np.ptp(b.um.mean(axis=1))) for b in bores])
    scatters = np.array([b.scatter for b in bores])
    assert (of.rate_um[0], of.rate_um[1]) == pytest.approx((rates.min(), rates.max()), rel=0.1)
    assert np.median(rates) == pytest.approx(np.sqrt(0.2 * 2.0), rel=0.15)
    assert tapers.max() == pytest.approx(25.0, abs=4.0)
    assert (scatters.min(), scatters.max()) == pytest.approx((0.05, 0.35), abs=0.01)
    assert max(b.um.max() for b in bores) < 12.0


# the scatter of a round is log-normal with the deviation that is named: 2,000 rounds, standard error 1.6 %
def test_removal_scatters_as_it_is_named():
    bore = replace(drawn(1)[0], eases=0.0, scatter=0.2, um=np.full((3, 2), -80.0))
    rng = np.random.default_rng(3)
    removed = np.array([(honed(bore, bore.um, [10, 0, 0], rng) - bore.um).mean() for _ in range(2000)])
    assert np.log(removed).std() == pytest.approx(0.2, rel=0.06)
    meant = bore.rate_um[0] * 10 * bore.reach[0].mean()
    assert np.exp(np.log(removed).mean()) == pytest.approx(meant, rel=0.03)


def test_short_strokes_cut_their_own_end_and_tight_planes_are_cut_harder():
    bore = replace(drawn(1)[0], scatter=0.0, eases=0.0, um=np.full((3, 2), -80.0))
    took = (honed(bore, bore.um, [0, 20, 0], np.random.default_rng(1)) - bore.um).mean(axis=1)
    assert took[0] > 3 * took[2]
    tapered = replace(bore, eases=0.2, um=bore.um + np.array([[10.0], [0.0], [-10.0]]))
    after = honed(tapered, tapered.um, [60, 0, 0], np.random.default_rng(1))
    assert np.ptp(after.mean(axis=1)) < 20.0


def test_the_gauge_adds_its_noise_and_its_zero():
    bore = replace(drawn(1)[0], gauge_um=1.0, zero_um=2.0)
    rng = np.random.default_rng(2)
    error = np.array([gauged(bore, bore.um, rng) - bore.um for _ in range(400)])
    assert error.mean() == pytest.approx(2.0, abs=0.1)
    assert error.std() == pytest.approx(1.0, rel=0.06)


def test_the_next_bore_of_a_block_has_the_same_hand():
    rng = np.random.default_rng(1)
    first = hidden_bore(rng, target_um=12.0)
    second = next_bore(first, rng, target_um=12.0)
    assert second.scatter == first.scatter
    assert second.rate_um[0] / first.rate_um[0] == pytest.approx(second.rate_um[1] / first.rate_um[1])
    assert not np.array_equal(second.um, first.um)

"""Limits against their promise: figures of the documents, simulated corrections, and cells of each kind."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import numpy as np
import pytest
from scipy import stats

from cellmon.errors import NotFound
from cellmon.export.documents import as_json, document
from cellmon.monitor.departures import Basis, few_subgroups, gauge_steps, neighbours, skew
from cellmon.stats.constants import chart_factors
from tests.monitor.judge.watched_cell import BEGINS, EVERY, FOUR_BORES, WATCHED_HEADER, cell_of, watched_rows

UNIT = Basis(centre=0.0, sigma=1.0, subgroups=25, n=5)
KNOWN = 370.3983473


# docs/run-lengths.md, limits from few subgroups; simulated in tests/charts/test_cost_of_limits.py
@pytest.mark.parametrize(
    ("subgroups", "one_in", "low", "high", "width"),
    [(25, 247, 100, 1145, 3.137), (100, 333, 197, 660, 3.034), (500, 362, 281, 482, 3.007)],
)
def test_few_subgroups_give_the_figures_of_the_page(subgroups, one_in, low, high, width):
    found = few_subgroups(Basis(centre=2.0, sigma=1.5, subgroups=subgroups, n=5))
    assert found.one_in == pytest.approx(one_in, abs=0.6)
    assert (found.low, found.high) == pytest.approx((low, high), rel=0.01)
    assert found.upper_um - 2.0 == pytest.approx(width * 1.5 / 5**0.5, rel=2e-4)
    assert found.lower_um + found.upper_um == pytest.approx(4.0)
    assert found.matters is (subgroups == 25)


# 60,000 baselines of 25 subgroups of five, four standard errors: ranges beyond D4 times the mean range, and
# beyond the corrected limit
def test_ranges_with_estimated_limits_do_what_a_simulation_does():
    found, rng, baselines = few_subgroups(UNIT), np.random.default_rng(31), 60_000
    sigma = np.ptp(rng.normal(size=(baselines, 25, 5)), axis=2).mean(axis=1) / chart_factors(5).d2
    ranges = np.ptp(rng.normal(size=(baselines, 20, 5)), axis=2)
    for limit, promised in (
        (chart_factors(5).D2, 1 / found.range_one_in),
        (found.range_upper_um, 1 / 217.2),
    ):
        beyond = (ranges > limit * sigma[:, None]).mean(axis=1)
        error = beyond.std() / baselines**0.5
        assert beyond.mean() == pytest.approx(promised, abs=4 * error + 0.01 * promised)


def correlated(r, k, rng):
    x = rng.normal(size=(k, 60))
    for t in range(1, 60):
        x[:, t] = r * x[:, t - 1] + (1 - r * r) ** 0.5 * x[:, t]
    return x[:, :60].reshape(k * 12, 5)


# limits by the mean spread inside subgroups of a very long series, and what its means do: by counting
def test_limits_for_correlated_neighbours_keep_the_promise():
    rng = np.random.default_rng(32)
    x = correlated(0.3, 20_000, rng)
    sigma = np.ptp(x, axis=1).mean() / chart_factors(5).d2
    found = neighbours(Basis(centre=0.0, sigma=sigma, subgroups=len(x), n=5), x[:6000])
    assert found.matters and found.low < 34 < found.high
    means = x.mean(axis=1)
    plain = (np.abs(means) > 3 * sigma / 5**0.5).mean()
    kept = (np.abs(means) > found.upper_um).mean()
    assert 1 / plain == pytest.approx(found.one_in, rel=0.12)
    assert 1 / kept == pytest.approx(KNOWN, rel=0.25)


def test_unrelated_neighbours_need_no_other_limits():
    x = np.random.default_rng(33).normal(size=(100, 5))
    found = neighbours(UNIT, x)
    assert found.upper_um is None and not found.matters and "may be none" in found.words
    assert found.low < KNOWN < found.high


# 200,000 subgroups read in steps of two sigma, mean anywhere between two steps
def test_limits_for_a_coarse_gauge_keep_the_promise():
    rng, step = np.random.default_rng(34), 2.0
    x = step * np.round((rng.normal(size=(200_000, 5)) + rng.uniform(0, step, (200_000, 1))) / step)
    sigma = np.ptp(x, axis=1).mean() / chart_factors(5).d2
    found = gauge_steps(Basis(centre=0.0, sigma=sigma, subgroups=100, n=5), step)
    assert found.matters and found.one_in == pytest.approx(100, rel=0.05)  # docs/run-lengths.md
    beyond = []
    for centre in np.linspace(0.0, step, 9)[:-1]:
        y = step * np.round((rng.normal(size=(100_000, 5)) + centre) / step)
        beyond.append((np.abs(y.mean(axis=1) - y.mean()) > found.upper_um).mean())
    assert 1 / np.mean(beyond) > 300


def test_fine_steps_change_nothing():
    found = gauge_steps(UNIT, 0.05)
    assert found.one_in == pytest.approx(KNOWN, rel=0.01) and found.upper_um is None


# figures of docs/run-lengths.md for a Rayleigh law, which is a Weibull of shape 2: means 279, ranges 168
def test_a_feature_that_cannot_fall_below_nought_has_limits_by_probability():
    rng = np.random.default_rng(35)
    x = rng.weibull(2.0, (4000, 5))
    sigma = np.ptp(x, axis=1).mean() / chart_factors(5).d2
    found = skew(Basis(centre=x.mean(), sigma=sigma, subgroups=4000, n=5), x, from_zero=True)
    assert "Weibull" in found.words and found.matters
    assert (found.one_in, found.range_one_in) == pytest.approx((279, 168), rel=0.1)
    y = rng.weibull(2.0, (400_000, 5))
    means, ranges = y.mean(axis=1), np.ptp(y, axis=1)
    assert 0 < found.lower_um < x.mean() < found.upper_um
    assert 1 / ((means < found.lower_um) | (means > found.upper_um)).mean() == pytest.approx(KNOWN, rel=0.25)
    assert 1 / (ranges > found.range_upper_um).mean() == pytest.approx(217.2, rel=0.2)


# gamma of shape 6 about any place: its third moment is all that the shifted gamma needs
def test_a_skewed_feature_has_limits_by_probability_about_its_own_centre():
    rng = np.random.default_rng(36)
    x = rng.gamma(6.0, size=(6000, 5)) - 20.0
    sigma = x.std(axis=1, ddof=1).mean() / chart_factors(5).c4
    found = skew(Basis(centre=x.mean(), sigma=6.0**0.5, subgroups=6000, n=5), x, from_zero=False)
    assert sigma == pytest.approx(6.0**0.5, rel=0.03)
    exact = stats.gamma(30, loc=-20, scale=0.2)
    assert found.upper_um == pytest.approx(exact.ppf(1 - 0.5 / KNOWN), abs=0.25)
    assert found.lower_um == pytest.approx(exact.ppf(0.5 / KNOWN), abs=0.25)


def test_straight_bores_are_not_taken_for_skewed():
    found = skew(UNIT, np.random.default_rng(37).normal(size=(100, 5)), from_zero=False)
    assert found.upper_um is None and found.one_in == pytest.approx(KNOWN) and not found.matters


@pytest.fixture(scope="module")
def plain():
    return cell_of(watched_rows(300))


def test_every_stream_says_what_its_limits_rest_on(plain):
    answer = plain.trust()
    assert [s.stream for s in answer.streams] == list(plain.streams())
    for s in answer.streams:
        base = next(b for b in plain.baselines().baselines if b.stream == s.stream)
        half = 3 * base.in_force.sigma_um / s.n**0.5
        assert s.mean_limits.upper == pytest.approx(base.in_force.center_um + half)
        assert (s.subgroups, s.n) == (25, 3)
        assert {d.name for d in s.departures} == {"few subgroups", "gauge steps", "neighbours", "skew"}
        assert s.departures[0].one_in == pytest.approx(
            few_subgroups(Basis(centre=0.0, sigma=1.0, subgroups=25, n=3)).one_in
        )
        assert "25 subgroups" in s.sentence and s.why_not == {}
    assert f"{len(answer.streams)} of {len(answer.streams)} streams" in answer.sentence


def test_names_choose_streams(plain):
    found = plain.trust(spindle="S2", bore="3", feature="taper").streams
    assert [str(s.stream) for s in found] == ["S2 bore 3 taper"]
    with pytest.raises(NotFound, match="feature noise"):
        plain.trust(feature="noise")


def test_correlated_bores_are_told():
    level = np.random.default_rng(38).normal(size=520)
    for t in range(1, 520):
        level[t] = 0.6 * level[t - 1] + 0.8 * level[t]
    lines = watched_rows(520, shift=lambda block, bore: 2.0 * level[block], wide=lambda block, bore: 0.2)
    monitor = cell_of(lines, sheet=FOUR_BORES.replace("size = 3", "size = 5"))
    monitor.freeze(by="test", why="100 subgroups")
    one = monitor.trust(spindle="S1", bore="1", feature="diameter").streams[0]
    found = next(d for d in one.departures if d.name == "neighbours")
    assert found.matters and found.low < found.one_in < 40 and "neighbours correlate by" in one.sentence
    assert found.lower_um < one.mean_limits.lower < one.mean_limits.upper < found.upper_um
    taper = monitor.trust(spindle="S1", bore="1", feature="taper").streams[0]
    assert not next(d for d in taper.departures if d.name == "neighbours").matters


def test_a_coarse_gauge_is_told_and_stops_what_it_would_falsify():
    coarse = [
        ",".join([*line.split(",")[:4], *(f"{round(float(s) * 500) / 500:.4f}" for s in line.split(",")[4:])])
        for line in watched_rows(300)
    ]
    monitor = cell_of(coarse, sheet=FOUR_BORES.replace("[measuring]", "[measuring]\nresolution_um = 2.0"))
    one = monitor.trust(spindle="S1", bore="1", feature="diameter").streams[0]
    assert one.step_um == 2.0
    assert set(one.why_not) == {"neighbours", "skew"} and "of ranges; 5 are needed" in one.why_not["skew"]
    assert next(d for d in one.departures if d.name == "gauge steps").one_in < KNOWN


def test_constant_bores_and_too_few_are_told(plain):
    few = cell_of(watched_rows(30)).trust()
    assert all(s.why_not["departures"].startswith("fewer than 20 subgroups") for s in few.streams)
    assert few.streams and few.sentence == "No stream has limits of means and ranges yet."
    still = [
        ",".join([f"B{i:04d}", "1", "S1", f"{BEGINS + EVERY * i}Z", *["50.00100"] * 4]) for i in range(120)
    ]
    assert WATCHED_HEADER.count(",") == still[0].count(",")
    answer = cell_of(still).trust()
    assert all(s.why_not and not s.departures for s in answer.streams)


def test_a_zero_bounded_stream_has_its_own_family():
    sheet = FOUR_BORES.replace("[features.taper]", "[features.size_range]\nupper = 6.0\n[features.taper]")
    one = cell_of(watched_rows(400), sheet=sheet).trust(bore="1", feature="size_range").streams[0]
    found = next(d for d in one.departures if d.name == "skew")
    assert "cannot fall below 0, taken as" in found.words
    assert 0 < found.lower_um < found.upper_um and found.range_upper_um > 0


def test_the_document_has_no_nan(plain):
    for monitor in (plain, cell_of(watched_rows(4))):
        text = as_json(document(monitor.trust(), zone=ZoneInfo("Europe/Berlin"))).decode()
        assert "NaN" not in text and "Infinity" not in text


def test_looking_changes_nothing(plain):
    before = plain.last_change(), plain.baselines()
    plain.trust()
    assert (plain.last_change(), plain.baselines()) == before

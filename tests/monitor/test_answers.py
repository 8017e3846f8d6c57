"""Answers against figures computed apart from the code, and what they say when they do not know."""

from __future__ import annotations

import json
from datetime import UTC, date, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from cellmon.export.documents import as_json, document
from cellmon.local import moment
from tests.small_cell import HEADER, SHEET, new_cell, rows, write

PLANNED = (
    SHEET
    + """
[planning]
bores_per_shift = { S1 = 72, S2 = 72 }
"""
)


@pytest.fixture(scope="module")
def lines():
    return rows(100, seed=11)


@pytest.fixture(scope="module")
def monitor(tmp_path_factory, lines):
    folder = tmp_path_factory.mktemp("answers")
    opened = new_cell(folder / "cell", sheet=PLANNED)
    opened.take([write(folder, "rows.csv", HEADER, lines)])
    return opened


def readings(lines, bore):
    """Return readings of one bore position, shape (blocks, 4), micrometres from nominal."""
    found: dict[str, list[float]] = {}
    for line in lines:
        part, which, *_, size = line.split(",")
        if which == bore:
            found.setdefault(part, []).append((float(size) - 50) * 1000)
    return np.array(list(found.values()))


def test_performance_is_that_of_the_greatest_and_the_least_reading(monitor, lines):
    um = readings(lines, "1")
    row = next(
        r for r in monitor.capability().capability if r.stream.bore == "1" and r.stream.feature == "diameter"
    )
    greatest, least = um.max(axis=1), um.min(axis=1)
    upper = (10 - greatest.mean()) / (3 * greatest.std(ddof=1))
    lower = (least.mean() + 10) / (3 * least.std(ddof=1))
    assert row.n == 100
    assert row.mean_um == pytest.approx(um.mean())
    assert row.sd_total_um == pytest.approx(um.mean(axis=1).std(ddof=1))
    assert row.ppk.value == pytest.approx(min(upper, lower))
    assert row.ppk.low < row.ppk.value < row.ppk.high
    assert row.lower_bound < row.ppk.value
    assert row.ppm_observed == pytest.approx(1e6 * ((greatest > 10) | (least < -10)).mean())


def test_an_index_of_a_feature_is_that_of_its_values(monitor, lines):
    um = readings(lines, "2")  # top x, top y, bottom x, bottom y
    taper = um[:, :2].mean(axis=1) - um[:, 2:].mean(axis=1)
    row = next(
        r for r in monitor.capability().capability if r.stream.bore == "2" and r.stream.feature == "taper"
    )
    assert row.pp.value == pytest.approx(16 / (6 * taper.std(ddof=1)))


def test_a_claim_waits_for_frozen_limits_and_says_so(monitor):
    for row in monitor.capability().capability:
        assert row.claim == "not supported"
        assert any("provisional" in reason for reason in row.reasons)
        assert (row.movement is None) == ("movement" in row.why_not)


# 14 shifts a week of 72 bores a spindle, one bore position each, in threes: 336 points a chart and week;
# 4 streams. X-bar: 0.0026998 a point (normal tables); R of 3: simulated here, 2 million subgroups
def test_the_price_of_the_plain_rule_is_what_a_simulation_gives(monitor):
    budget = monitor.state().alarms
    price = next(r for r in budget.rules if r.name == "mean-range")
    n, rng = 2_000_000, np.random.default_rng(5)
    x = rng.standard_normal((n, 3))
    d2, d3 = 1.6926, 0.8884  # ASTM MNL 7 factor table: 1.693, 0.888
    beyond = (np.ptp(x, axis=1) > d2 + 3 * d3) | (np.abs(x.mean(axis=1)) > 3 / np.sqrt(3))
    share = beyond.mean()
    assert 1 / price.run_length == pytest.approx(share, abs=4 * np.sqrt(share / n))
    assert price.false_alarms_per_week == pytest.approx(4 * 336 / price.run_length)
    assert not price.switched_on and budget.rules_per_week == 0


def test_the_false_alarms_expected_are_those_the_sheet_asks_for(monitor):
    budget = monitor.state().alarms
    assert budget.expected_per_week == pytest.approx(budget.wanted_per_week, rel=1e-9)
    full = monitor.alarms()
    assert sum(f.false_alarms_per_week for f in full.families) == pytest.approx(budget.wanted_per_week)
    for family in full.families:
        of_points = sum(1 / d.run_length for d in family.detectors)
        assert of_points <= 1 / 370 + 1e-12, "never tighter than one in 370 of a stream's own points"


def nothing_odd(value, path="answer"):
    """Fail on a figure JSON cannot carry; None must stand beside a `why_not` somewhere above it."""
    if isinstance(value, dict):
        for key, inner in value.items():
            nothing_odd(inner, f"{path}.{key}")
    elif isinstance(value, list):
        for i, inner in enumerate(value):
            nothing_odd(inner, f"{path}[{i}]")
    elif isinstance(value, float):
        assert np.isfinite(value), path


@pytest.mark.parametrize("blocks", [0, 1, 4, 100])
def test_every_answer_is_json_without_a_nan_however_little_is_known(tmp_path, lines, blocks):
    opened = new_cell(tmp_path / "cell", sheet=PLANNED)
    if blocks:
        opened.take([write(tmp_path, "rows.csv", HEADER, lines[: 8 * blocks])])
    zone = ZoneInfo("Europe/Berlin")
    answers = [
        opened.state(),
        opened.now(),
        opened.shifts(),
        opened.seismograph(),
        opened.signals(),
        opened.capability(),
        opened.baselines(),
        opened.aside(),
        opened.flags(),
        opened.check(),
    ]
    for answer in answers:
        text = as_json(document(answer, zone=zone))
        assert b"NaN" not in text and b"Infinity" not in text
        nothing_odd(json.loads(text))
        assert json.loads(text)["as_of"]


def test_the_night_the_clock_goes_back_is_one_shift_of_thirteen_hours(tmp_path):
    opened = new_cell(tmp_path / "cell")
    # 2026-10-25: 03:00 summer time becomes 02:00; the night shift of this cell is 18:00 to 06:00
    lines = [
        f"B{i:04d},1,S1,2026-10-{day}T{hour:02d}:30:00Z,{plane},{direction},50.0000"
        for i, (day, hour) in enumerate([(24, 17), (24, 23), (25, 0), (25, 1), (25, 4), (25, 5)])
        for plane in ("top", "bottom")
        for direction in ("x", "y")
    ]
    opened.take([write(tmp_path, "night.csv", HEADER, lines)])
    known = opened.shifts().known
    assert [(s.name, s.date) for s in known] == [("night", date(2026, 10, 24)), ("day", date(2026, 10, 25))]
    assert (known[0].ends - known[0].starts).total_seconds() == 12 * 3600, "wall clock"
    assert known[0].ends.timestamp() - known[0].starts.timestamp() == 13 * 3600, "true time"
    starts = opened.bores().bores.shift_start
    assert len(np.unique(starts)) == 2
    assert (starts == starts[0]).sum() == 5


# c4 of 3: 0.8862, B5 = 0, B6 = 2.276, d2 of 2: 1.128, D2 = 3.686 (ASTM MNL 7 factor table)
def test_means_with_deviations_and_single_bores_rest_on_the_same_limits(monitor, lines):
    named = {"spindle": "S1", "bore": "1", "feature": "diameter"}
    groups = monitor.pair(**named, kind="sd")
    base = monitor.stream(**named).baseline
    means = readings(lines, "1").mean(axis=1)
    assert groups.spread_name == "standard deviation"
    assert groups.spread[0] == pytest.approx(means[:3].std(ddof=1))
    assert groups.spread_center[0] == pytest.approx(0.8862 * base.sigma_um, rel=1e-4)
    assert groups.spread_upper[0] == pytest.approx(2.276 * base.sigma_um, rel=1e-3)
    single = monitor.pair(**named, kind="single")
    assert single.level == pytest.approx(means)
    assert single.level_upper[0] == pytest.approx(base.center_um + 3 * base.sigma_um)
    inside = ~np.isnan(single.spread)
    assert single.spread[inside] == pytest.approx(np.abs(np.diff(means))[inside[1:]])
    assert single.spread_upper[1] == pytest.approx(3.686 * base.sigma_um, rel=1e-3)
    assert (
        single.beyond_level.tolist()
        == ((means > single.level_upper).astype(int) - (means < single.level_lower)).tolist()
    )


# by plain recursions; limits of docs/run-lengths.md: 2.715 at weight 0.1 with the limits of the first points,
# Lucas and Crosier, Technometrics 24 (1982), 4.77 at k = 0.5
def test_a_moving_average_and_sums_remember_the_means_before(monitor):
    named = {"spindle": "S1", "bore": "1", "feature": "diameter"}
    groups, base = monitor.pair(**named), monitor.stream(**named).baseline
    error = base.sigma_um / np.sqrt(groups.n)
    average, up, down, expected = 0.0, 0.0, 0.0, []
    for mean, one in zip(groups.level, error, strict=True):
        away = (mean - base.center_um) / one
        average = 0.1 * away + 0.9 * average
        up, down = max(0.0, up + away - 0.5), max(0.0, down - away - 0.5)
        expected.append((base.center_um + average * one, up * one, down * one))
    found, sums = monitor.pair(**named, kind="ewma"), monitor.pair(**named, kind="cusum")
    assert np.transpose([found.level, sums.level, sums.spread]) == pytest.approx(np.array(expected))
    assert found.spread == pytest.approx(groups.spread)
    t = np.arange(1, len(error) + 1)
    half = 2.715 * error * np.sqrt(0.1 / 1.9 * (1 - 0.81**t))
    assert found.level_upper - base.center_um == pytest.approx(half, rel=1e-3)
    assert sums.level_upper == pytest.approx(4.775 * error, rel=1e-3)
    assert (sums.beyond_level == (sums.level > sums.level_upper)).all() and not (sums.beyond_level < 0).any()


def test_a_shift_tells_deviations_beside_ranges(monitor):
    point = next(s for s in monitor.shifts().shifts if s.subgroups).subgroups[0]
    assert 0 < point.sd_um < point.range_um
    assert point.sd_limits is not None and point.sd_limits.lower == 0.0


def test_one_stream_now_is_what_the_state_tells_of_it(monitor):
    for one in monitor.state().streams:
        s = one.stream
        named = {"spindle": s.spindle, "bore": s.bore, "feature": s.feature, "fixture": s.fixture}
        assert monitor.stream_state(**named).state == one
    pooled = monitor.pooled()[0]
    named = {"spindle": pooled.spindle, "bore": pooled.bore, "feature": pooled.feature}
    assert monitor.stream_state(**named, part_of=pooled.part_of).state is None


def test_now_tells_what_is_ahead_of_the_streams_a_spindle_runs(monitor):
    told = {s.stream: (s.bores_to_limit, s.advice) for s in monitor.state().streams if s.running}
    ahead = [one for spindle in monitor.now().spindles for one in spindle.ahead]
    assert {one.stream: (one.bores_to_limit, one.advice) for one in ahead} == told != {}


def test_shifts_made_name_the_shift_that_is_told(monitor):
    made, found = monitor.shifts_made(), monitor.shifts()
    assert (made.known, made.told) == (found.known, str(found.shift))


def test_a_stream_without_subgroups_in_a_time_says_of_when_its_newest_is(monitor):
    one = monitor.stream(spindle="S1", bore="1", feature="diameter")
    later = one.until + timedelta(days=30)
    assert "no subgroup" not in one.sentence
    early = monitor.stream(spindle="S1", bore="1", feature="diameter", until=one.since - timedelta(days=9))
    newest = one.subgroups.at[-1].item().replace(tzinfo=UTC).astimezone(ZoneInfo(one.zone))
    assert (
        early.sentence == f"S1 bore 1 diameter: no subgroup in this time; its newest is of {moment(newest)}."
    )
    assert monitor.stream(spindle="S1", bore="1", feature="diameter", until=later).sentence == one.sentence

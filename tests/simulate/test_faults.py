"""Each fault leaves the evidence that the scenario says it leaves."""

import numpy as np
import pytest
from reading import A2, D4, at, between, blocks, ovality, size, size_range, subgroups, taper

from cellmon.simulate.harrowmere import SEED, harrowmere_week
from cellmon.simulate.honed import hone
from cellmon.simulate.line import run
from cellmon.simulate.sources import Sources

MINUTES = np.timedelta64(1, "m")


@pytest.fixture(scope="module")
def um(week):
    return blocks(week.readings.um)


def limits(week, um):
    base = subgroups(size(um)[between(week.truth.times, at(19, 9), at(20, 9))])
    return base.mean(axis=(0, 1)), np.ptp(base, axis=1).mean(axis=0)


def test_f1_all_streams_step_up_together_then_feedback_cuts_the_true_size(week, um):
    seen, measured = size(um), week.readings.measured_at[::4]
    before, first = (
        between(measured, at(20, 9), at(20, 10, 20)),
        between(measured, at(20, 10, 20), at(20, 10, 33)),
    )
    step = seen[first].mean(axis=0) - seen[before].mean(axis=0)
    assert (step > 2).all() and (step < 6).all()
    true = size(week.truth.um)
    cut = between(measured, at(20, 11), at(20, 12))
    fall = true[before].mean(axis=0) - true[cut].mean(axis=0)
    assert (fall > 1.5).all() and (fall < 5.5).all()  # falls by 2 to 5 um
    offsets = week.events.select((week.events.event == "feed-offset") & (week.events.value < -1))
    down = offsets.select(between(offsets.at, at(20, 10, 20), at(20, 10, 50)))
    assert set(down.spindle) == {"S1", "S2"}


def test_f1_the_master_shows_it_at_noon_and_not_before(week):
    c = week.gauge_checks.select((week.gauge_checks.gauge == "G1") & (week.gauge_checks.master_mm == 87.3))
    error = np.round((c.reading_mm - c.master_mm) * 1000, 1)
    noon = (c.at == at(20, 12)) & (c.state == "as-found")
    assert error[noon] == pytest.approx([4.0], abs=0.7)
    assert np.abs(error[~noon]).max() < 1.0
    zeroed = week.events.select(week.events.event == "gauge-zeroed")
    assert list(zeroed.value) == [-4.0] and zeroed.at[0] == at(20, 12)


def test_f1_about_seventy_blocks_are_truly_wrong_and_more_suspect(week):
    measured = week.readings.measured_at[::4]
    assert len(week.truth.of("F1").parts) == pytest.approx(71, abs=4)
    assert between(measured, at(20, 9), at(20, 12)).sum() == pytest.approx(113, abs=4)


def test_f1_after_zeroing_streams_read_low(week, um):
    measured = week.readings.measured_at[::4]
    after = size(um)[between(measured, at(20, 12), at(20, 12, 10))].mean(axis=0)
    assert (after < limits(week, um)[0] - 1).all()


def test_f2_shows_in_taper_and_range_while_size_stays_nearly_silent(week, um):
    chipped = np.isin(week.truth.parts, week.truth.of("F2").parts)
    assert chipped.sum() == pytest.approx(30, abs=2)
    t, first = taper(um[chipped])[:, 2:].mean(axis=0), taper(um[chipped])[0, 2:]
    assert t == pytest.approx([5.5, 5.5], abs=1.2)
    assert (first > 3).all() and (first < 9).all()
    assert abs(taper(um[chipped])[:, :2].mean()) < 1.5
    calm = between(week.truth.times, at(20, 13), at(21, 15))
    assert size_range(um[calm])[:, 2:].mean() == pytest.approx(3, abs=0.7)
    assert size_range(um[chipped])[:, 2:].mean() == pytest.approx(7.5, abs=1.0)
    centre, mean_range = limits(week, um)
    groups = subgroups(size(um[chipped]))[:, :, 2:]
    beyond = np.abs(groups.mean(axis=1) - centre[2:]) > A2 * mean_range[2:]
    assert beyond.sum() <= 1 and (np.ptp(groups, axis=1) > D4 * mean_range[2:]).sum() <= 2


def test_f2_the_load_ripples_and_the_spindle_comes_back_with_another_set(week):
    r = week.readings
    chipped = np.isin(r.part, np.array(week.truth.of("F2").parts, dtype=object))
    assert r.load_ripple_pct[chipped & (r.spindle == "S2")].mean() > 2 * r.load_ripple_pct[~chipped].mean()
    assert r.load_ripple_pct[chipped & (r.spindle == "S1")].mean() < 4
    fitted = week.events.select((week.events.stone_set == "FS-1044") & (week.events.event == "stones-fitted"))
    assert fitted.at[0] == at(21, 16, 50)
    assert set(r.stone_set[(r.spindle == "S2") & (r.measured_at > at(21, 17))]) == {"FS-1044"}


def test_f2_bores_outside_are_few_and_those_over_taper_more(week):
    chipped = np.isin(week.truth.parts, week.truth.of("F2").parts)
    true = week.truth.um[chipped][:, 2:]
    outside = (true.max(axis=(2, 3)) > 24) | (true.min(axis=(2, 3)) < 0)
    assert outside.sum() <= 4
    assert 5 <= (taper(true) > 8).sum() <= 10


def test_f3_makes_bore_1_oval_on_one_pallet_only(week, um):
    there = between(week.truth.times, at(22, 8, 10), at(22, 11, 30))
    fixture = week.readings.fixture[::4]
    w = ovality(um)
    assert w[there & (fixture == "P2"), 0].mean() == pytest.approx(8.0, abs=0.6)
    assert w[there & (fixture == "P1"), 0].mean() == pytest.approx(1.3, abs=0.6)
    assert w[there & (fixture == "P2"), 1:].mean() == pytest.approx(
        w[there & (fixture == "P1"), 1:].mean(), abs=0.4
    )
    assert (there & (fixture == "P2")).sum() == pytest.approx(64, abs=2)
    worst = np.abs(week.truth.um[..., 0] - week.truth.um[..., 1]).max(axis=2)
    assert 38 <= (worst[there & (fixture == "P2"), 0] > 8).sum() <= 53


def test_f4_bores_1_and_2_jump_with_their_shape_and_the_log_says_why(week, um):
    jumped = np.isin(week.truth.parts, week.truth.of("F4").parts)
    assert jumped.sum() == pytest.approx(23, abs=1)
    assert size(um[jumped])[:, :2].mean() == pytest.approx(20.5, abs=1.2)
    assert size(um[jumped])[:, 2:].mean() == pytest.approx(11.4, abs=1.2)
    assert taper(um[jumped]).mean() == pytest.approx(0.9, abs=0.5)
    outside = week.truth.um[jumped][:, :2].max(axis=(2, 3)) > 24
    assert outside.sum() <= 9
    by_hand = week.events.select((week.events.event == "feed-offset") & (week.events.by != "machine"))
    assert list(by_hand.value) == [9.0, -8.5] and list(by_hand.spindle) == ["S1", "S1"]
    automatic = week.events.select((week.events.by == "machine") & (week.events.spindle == "S1"))
    assert not between(automatic.at, at(22, 18, 5), at(22, 19, 10)).any()


def test_f5_breaks_the_routing_and_nothing_else(week):
    r = week.readings
    routed = {"1": "S1", "2": "S1", "3": "S2", "4": "S2"}
    wrong = np.array([routed[b] != s for b, s in zip(r.bore, r.spindle, strict=True)])
    wrong &= ~between(r.measured_at, at(24, 20), at(24, 20, 50))
    assert set(r.bore[wrong]) == {"2", "3"}
    assert r.measured_at[wrong].min() >= at(23, 22) and r.measured_at[wrong].max() < at(23, 23, 31)
    calm = run(harrowmere_week().without("F5"), seed=SEED)
    assert np.array_equal(calm.readings.um, r.um, equal_nan=True)


def test_f6_honing_slows_and_spreads_until_the_stones_are_dressed(week, um):
    r, times = week.readings, week.truth.times
    by_block = r.cycle_s.reshape(-1, 4)[:, :2].mean(axis=1)
    late = between(times, at(23, 13), at(23, 13, 59))
    fresh = between(times, at(23, 14, 15), at(23, 15, 15))
    assert by_block[late].mean() == pytest.approx(57, abs=1.5)
    assert by_block[fresh].mean() == pytest.approx(38.5, abs=1.0)
    dull = between(times, at(23, 8), at(23, 14))
    ratio = _own_spread(size(week.truth.um)[dull]) / _own_spread(size(week.truth.um)[_just_dressed(week)])
    assert 1.2 < ratio < 1.8  # the bore's own sigma, +40 to 80 % at the end, so somewhat less over 6 h
    dressed = week.events.select((week.events.event == "stones-dressed") & (week.events.spindle == "S1"))
    assert not between(dressed.at, at(23, 2), at(23, 13, 59)).any()


def _own_spread(s):
    """Spread of bore 1 less bore 2: what they share, level and block, cancels."""
    return np.std(np.diff(s[:, :2], axis=1), ddof=1)


def _just_dressed(week):
    dressed = week.events.select((week.events.event == "stones-dressed") & (week.events.spindle == "S1"))
    found = np.zeros(len(week.truth.times), dtype=bool)
    for moment in dressed.at:
        found |= between(week.truth.times, moment, moment + 90 * MINUTES)
    return found & ~between(week.truth.times, at(22, 18), at(22, 19, 10))


def test_f7_is_seen_by_the_roundness_instrument_alone(week, um):
    c = week.characteristics.select(week.characteristics.characteristic == "roundness_trace")
    there = between(c.at, at(24, 9), at(24, 12)) & np.isin(c.bore, ["3", "4"])
    assert there.sum() == 2
    assert (c.value[there] > 6.8).all() and (c.value[there] < 9.0).all()  # 7 and what every bore has
    assert c.value[~there].max() < 5
    calm = run(harrowmere_week().without("F7"), seed=SEED)
    for other, with_lobes in ((calm.readings, week.readings), (calm.audit, week.audit)):
        assert np.array_equal(other.um, with_lobes.um, equal_nan=True)


def test_f7_the_trace_has_three_lobes(week):
    t = week.traces
    lobed = (t.bore == "3") & (t.plane == "middle") & between(t.at, at(24, 9), at(24, 12))
    height = 2 * np.abs(np.fft.rfft(t.radius_um[lobed])) / lobed.sum()
    assert np.argmax(height[2:]) + 2 == 3
    assert 2 * height[3] == pytest.approx(7.0, abs=0.5)


@pytest.mark.parametrize("name", ["F1", "F2", "F3", "F4"])
def test_scaling_a_fault_to_nothing_takes_its_size_away(name):
    nothing = run(harrowmere_week().scaled(name, 0.0), seed=SEED)
    there = np.isin(nothing.truth.parts, nothing.truth.of(name).parts)
    um = blocks(nothing.readings.um)[there]
    assert np.abs(size(um).mean(axis=0) - [11.7, 10.9, 12.1, 10.7]).max() < 1.6
    assert np.abs(taper(um).mean(axis=0)).max() < 2 and np.abs(ovality(um).mean(axis=0)).max() < 2.5


def test_other_seeds_give_what_the_trials_of_the_scenario_gave():
    """Ranges of the scenario over 20 runs; here the mean of 12, so that the seed above is no lucky one."""
    found = []
    for seed in range(12):
        honed = hone(harrowmere_week(), sources=Sources(seed=seed))
        times, um = honed.clock.times, honed.true_um
        chip = between(times, at(21, 15, 42), at(21, 16, 25))
        wrong = between(times, at(22, 18, 20), at(22, 18, 52))
        strained = between(times, at(22, 8, 10), at(22, 11, 30)) & (honed.shapes.fixture == 1)
        outside = (um.max(axis=(2, 3)) > 24) | (um.min(axis=(2, 3)) < 0)
        worst = np.abs(um[..., 0] - um[..., 1]).max(axis=2)
        found.append(
            [
                outside[chip][:, 2:].sum(),
                (taper(um[chip])[:, 2:] > 8).sum(),
                outside[wrong][:, :2].sum(),
                size(um[wrong])[:, :2].mean(),
                (worst[strained, 0] > 8).sum(),
                outside.sum(),
            ]
        )
    chipped, over_taper, over_size, jumped, oval, week = np.mean(found, axis=0)
    assert 0 <= chipped <= 4 and 5 <= over_taper <= 10
    assert 0 <= over_size <= 9
    assert jumped == pytest.approx(
        20.5, abs=1.0
    )  # 12 + 0.1 - 0.7 + 9, less 0.03 a block while in manual mode
    assert 38 <= oval <= 53 and 1 <= week <= 11

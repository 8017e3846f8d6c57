"""Where streams stand: drift, bores left to a limit, and what correction pays."""

import pytest

from tests.monitor.judge.watched_cell import FOUR_BORES, cell_of, logged, stepped, watched_rows

WEAR = -0.02


def state_of(monitor, bore="1"):
    return next(s for s in monitor.state().streams if (s.stream.bore, s.stream.feature) == (bore, "diameter"))


@pytest.fixture(scope="module")
def worn():
    """A cell that falls by 0.02 um a bore from 3 um on."""
    return cell_of(watched_rows(300, shift=lambda block, bore: 3.0 + WEAR * block))


def test_wear_is_told_as_drift_with_an_interval_that_holds_it():
    # seeds 0 to 3: 16 streams, intervals of 90 %, so fewer than 11 that hold the true drift are 1 in 300
    held = []
    for seed in range(4):
        monitor = cell_of(watched_rows(300, seed=seed, shift=lambda block, bore: 3.0 + WEAR * block))
        for bore in "1234":
            found = state_of(monitor, bore).drift_um_per_100_bores
            assert found.low < found.value < found.high and found.confidence == 0.90
            held.append(found.low < 100 * WEAR < found.high)
    assert sum(held) >= 11


def test_bores_to_the_lower_limit_are_in_order_and_of_the_right_size(worn):
    found = state_of(worn).bores_to_limit
    assert found.side == "lower" and found.p05 <= found.p50 <= found.p95
    # at -3 um with the limit at -10: bores of 1.2 um reach it some 3 deviations before the level does
    assert 100 < found.p50 < 350


def test_a_still_stream_has_no_drift_and_no_bores_to_a_limit_by_it():
    found = state_of(cell_of(watched_rows(300)), "3")
    assert found.drift_um_per_100_bores is None
    assert found.bores_to_limit is None
    assert [a.what for a in found.advice] == ["leave it alone"] and found.advice[0].by_um is None


def test_a_level_off_target_is_worth_a_correction_against_it():
    found = state_of(stepped())
    (advice,) = found.advice
    assert advice.what == "correct" and advice.by_um < 0
    assert advice.by_um == pytest.approx(-4.0, abs=1.5)
    assert "qualified person" in advice.caution


def test_a_stream_that_is_not_watched_yet_has_no_forecast_and_says_why():
    found = state_of(cell_of(watched_rows(30)))
    assert found.drift_um_per_100_bores is None and found.bores_to_limit is None and found.advice == ()
    assert found.why_not


def test_a_form_has_no_correction():
    taper = next(s for s in stepped().state().streams if s.stream.feature == "taper")
    assert taper.advice == ()


def test_feedback_that_is_on_is_asked_first():
    monitor = cell_of(
        watched_rows(300, shift=lambda block, bore: 4.0 * (block >= 240)),
        [logged(100, "feed-offset", value="0.5", by="machine")],
        sheet=FOUR_BORES,
    )
    (advice,) = state_of(monitor).advice
    assert advice.what == "correct" and "feedback is on" in advice.why

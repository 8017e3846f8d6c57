"""Which stream says it best, how far it moved, and which cause is named first."""

import pytest

from tests.monitor.judge.watched_cell import cell_of, logged, stepped, watched_rows


def only(monitor):
    (found,) = monitor.signals().signals
    return found


def test_a_spindle_that_moved_is_told_as_the_spindle_and_how_far():
    found = only(stepped())
    assert (found.stream.spindle, found.stream.bore, found.stream.part_of) == ("S1", None, "itself")
    assert found.size_um == pytest.approx(4.0, abs=0.6)


def test_causes_come_likeliest_first_each_with_what_to_check_and_a_caution():
    causes = only(stepped()).causes
    weights = [c.weight for c in causes]
    assert causes and weights == sorted(weights, reverse=True) and 0 < sum(weights) <= 1 + 1e-9
    assert all(c.check_first and c.caution and c.title for c in causes)


def test_an_offset_logged_just_before_is_the_first_cause():
    monitor = cell_of(
        watched_rows(300, shift=lambda block, bore: 5.0 * (block >= 240 and bore in "12")),
        [logged(240, "feed-offset", value="5.0", by="A. Person")],
    )
    found = only(monitor)
    assert found.causes[0].title == "Wrong offset entered"
    without = {c.title: c.weight for c in only(stepped()).causes}
    assert found.causes[0].weight > without.get("Wrong offset entered", 0.0)


def test_a_signal_says_what_to_do_with_care():
    answer = stepped().signals()
    assert answer.caution
    assert answer.signals[0].words.startswith("S1 diameter: moved up by 4.")

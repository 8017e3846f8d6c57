"""Stock counted from movements, by hand."""

import random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cellmon.stones.stock import Move, Movement, shelf

NOW = np.datetime64("2026-11-01T12:00", "us")


def day(text):
    return np.datetime64(f"2026-{text}", "us")


def one(at, move, sets, **more):
    return Movement(at=day(at), move=Move(move), sets=sets, **more)


def test_movements_add_up_whatever_their_order_in_the_files():
    log = [
        one("10-02", "taken", 1),
        one("10-05", "received", 6, lot="L1", order="PO1"),
        one("10-03", "ordered", 6, order="PO1", due=day("10-06")),
        one("10-09", "scrapped", 1),
        one("10-20", "ordered", 4, order="PO2", due=day("11-15")),
        one("11-02", "taken", 1),  # after now
    ]
    for seed in range(5):
        random.Random(seed).shuffle(log)
        found = shelf(log, now=NOW, opening=3)
        assert found.usable == 7
        assert [(o.order, o.sets, o.due) for o in found.orders] == [("PO2", 4, day("11-15"))]
        assert found.notes == ()


def test_part_of_an_order_received_leaves_the_rest_open():
    log = [one("10-03", "ordered", 6, order="PO1"), one("10-05", "received", 4, order="PO1")]
    assert shelf(log, now=NOW).ordered == 2
    log.append(one("10-10", "ordered", 0, order="PO1"))  # cancelled
    assert shelf(log, now=NOW).ordered == 0


def test_more_taken_than_there_were_is_said_and_never_below_nothing():
    found = shelf([one("10-02", "taken", 3), one("10-05", "received", 2)], now=NOW, opening=1)
    assert found.usable == 2
    assert "2 more sets were taken on 2026-10-02" in found.notes[0]


def test_a_count_stands_and_what_differs_is_said():
    log = [one("10-02", "received", 5, lot="A"), one("10-03", "received", 2, lot="B")]
    found = shelf([*log, one("10-10", "counted", 4)], now=NOW)
    assert found.usable == 4 and "counted 4" in found.notes[0] and "gave 7" in found.notes[0]
    assert shelf([*log, one("10-10", "counted", 7)], now=NOW).notes == ()
    only_b = shelf([*log, one("10-10", "counted", 3, lot="B")], now=NOW)
    assert sum(lot.sets for lot in only_b.lots if lot.name == "B") == 3 and only_b.usable == 8


def test_lots_past_their_shelf_life_are_not_counted_and_the_nearest_date_goes_first():
    log = [
        one("01-02", "received", 2, lot="old", use_by=day("10-30")),
        one("06-01", "received", 2, lot="later", use_by=day("12-30")),
        one("06-02", "received", 2, lot="sooner", use_by=day("12-01")),
        one("10-31", "taken", 1),
    ]
    found = shelf(log, now=NOW)
    assert {lot.name: lot.sets for lot in found.lots} == {"sooner": 1, "later": 2}
    assert [(lot.name, lot.sets) for lot in found.past_use] == [("old", 2)]
    given = shelf([one("01-02", "received", 2)], now=NOW, shelf_life=np.timedelta64(200, "D"))
    assert given.usable == 0 and given.past_use[0].sets == 2
    scrapped = shelf([*log, one("10-31", "scrapped", 2)], now=NOW)
    assert scrapped.past_use == () and scrapped.usable == 3, "what is scrapped is the lot past its date"


def test_what_comes_in_and_goes_out_at_one_moment_is_no_shortage():
    assert shelf([one("10-02", "taken", 1), one("10-02", "received", 1)], now=NOW).notes == ()


MOVES = st.tuples(st.integers(1, 28), st.sampled_from(["received", "taken", "scrapped"]), st.integers(0, 5))


@given(st.lists(MOVES, max_size=20), st.integers(0, 5))
def test_without_a_shortage_the_stock_is_the_sum(moves, opening):
    log = [one(f"10-{d:02d}", move, n) for d, move, n in moves]
    found = shelf(log, now=NOW, opening=opening)
    signed = sum(n if move == "received" else -n for _, move, n in moves)
    assert found.usable >= 0
    if not found.notes:
        assert found.usable == pytest.approx(opening + signed)

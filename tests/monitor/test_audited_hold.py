"""What is held after another instrument finds a block wrong: all made since the block it had before."""

from __future__ import annotations

import numpy as np
import pytest

from tests.small_cell import HEADER, SHEET, new_cell, told, write

ONE_SPINDLE = SHEET.replace(
    '[[spindles]]\nid = "S1"\nbores = ["1"]\n[[spindles]]\nid = "S2"\nbores = ["2"]\n',
    '[[spindles]]\nid = "S1"\nbores = ["1", "2"]\n',
).replace("[measuring]", "[features.roundness_trace]\nupper = 5.0\n[measuring]")
START = np.datetime64("2026-03-02T05:00:00")
MINUTE = np.timedelta64(1, "m")
AUDITS = "part,bore,characteristic,value,at,unit,spindle,gauge"
BLOCKS = 50
LAG = 45 * MINUTE
"""From the measuring of a block to its audit: four blocks are made meanwhile."""


def made(block):
    return START + 10 * block * MINUTE


def sizes():
    return [
        f"B{block:03d},{bore},S1,{made(block)}Z,{plane},{direction},50.0000"
        for block in range(BLOCKS)
        for bore in ("1", "2")
        for plane in ("top", "bottom")
        for direction in ("x", "y")
    ]


def audits(block, um):
    """Return the audit of one block, its bores a few minutes apart."""
    at = made(block) + LAG
    return [
        f"B{block:03d},{bore},roundness_trace,{value},{at + 4 * i * MINUTE}Z,um,S1,R1"
        for i, (bore, value) in enumerate(zip(("1", "2"), um, strict=True))
    ]


ROWS = [*audits(4, (1.1, 1.3)), *audits(12, (1.2, 1.1)), *audits(20, (7.4, 7.9))]


@pytest.fixture
def cell(tmp_path):
    monitor = new_cell(tmp_path / "cell", sheet=ONE_SPINDLE)
    yield monitor
    monitor.close()


def take(cell, tmp_path, *files):
    for number, (header, lines) in enumerate(files):
        (taken,) = cell.take([write(tmp_path, f"{number}.csv", header, lines)]).files
        assert not taken.set_aside


def test_the_change_lies_between_two_blocks_and_not_between_two_bores_of_one(cell, tmp_path):
    take(cell, tmp_path, (HEADER, sizes()), (AUDITS, ROWS))
    (signal,) = cell.signals().signals
    assert (signal.kind, signal.part) == ("limit", "B020")
    assert (signal.change.earliest_part, signal.change.part) == ("B012", "B020")
    assert signal.change.earliest_at.isoformat() == "2026-03-02T08:00:00+01:00"  # B012 was made


def test_held_is_the_block_itself_and_all_made_since_the_one_before(cell, tmp_path):
    take(cell, tmp_path, (HEADER, sizes()), (AUDITS, ROWS))
    (signal,) = cell.signals().signals
    hold = cell.hold(signal.id)
    assert (hold.from_part, hold.to_part) == ("B012", f"B{BLOCKS - 1:03d}")
    assert {part.part for part in hold.parts} == {f"B{block:03d}" for block in range(12, BLOCKS)}
    assert {part.verdict for part in hold.parts} == {"conforms"}
    assert hold.caution.startswith("The verdicts are those of the bore gauge, which does not read what this")


def test_a_block_without_one_before_it_is_held_from_its_own_making_on(cell, tmp_path):
    take(cell, tmp_path, (HEADER, sizes()), (AUDITS, audits(20, (7.4, 7.9))))
    (signal,) = cell.signals().signals
    assert cell.hold(signal.id).from_part == "B020"


def test_a_block_audited_that_no_gauge_of_the_line_measured_is_held_by_its_moment(cell, tmp_path):
    unknown = [row for row in sizes() if not row.startswith("B012")]
    take(cell, tmp_path, (HEADER, unknown), (AUDITS, ROWS))
    (signal,) = cell.signals().signals
    assert signal.change.earliest_part == "B012"
    assert cell.hold(signal.id).from_part == "B017"  # the first after 07:49 UTC


def test_what_is_found_after_the_last_bore_is_a_signal_at_once(cell, tmp_path):
    take(cell, tmp_path, (HEADER, sizes()), (AUDITS, audits(BLOCKS - 1, (1.2, 7.9))))
    (signal,) = cell.signals().signals
    assert signal.part == f"B{BLOCKS - 1:03d}" and cell.now().as_of == signal.raised_at
    assert [s.id for s in cell.signals_listed(most=9).waiting.signals] == [signal.id]
    assert cell.waiting_signals().count == 1


def test_a_figure_dated_in_the_future_does_not_move_the_moment_of_the_answers(cell, tmp_path):
    take(cell, tmp_path, (HEADER, sizes()))
    before = cell.now().as_of
    typed = f"B020,1,roundness_trace,1.1,{np.datetime64('now') + np.timedelta64(40, 'D')}Z,um,S1,R1"
    take(cell, tmp_path, (AUDITS, [typed]))
    assert cell.now().as_of == before


def doubled(*, since):
    """Return audits of every block; the roundness of bore 2 doubles with one of them."""
    rng = np.random.default_rng(11)
    found = []
    for block in range(BLOCKS):
        usual = 1.1 * np.exp(0.1 * rng.standard_normal(2))
        found += audits(block, (f"{usual[0]:.3f}", f"{usual[1] * (2 if block >= since else 1):.3f}"))
    return found


def test_a_level_that_moved_is_held_from_the_making_of_the_block_before(cell, tmp_path):
    take(cell, tmp_path, (HEADER, sizes()), (AUDITS, doubled(since=40)))
    (signal,) = (s for s in cell.signals().signals if s.kind == "level")
    first = signal.change.earliest_part
    assert "B035" <= first <= "B040"
    assert signal.change.earliest_at.replace(tzinfo=None) == (made(int(first[1:])) + 60 * MINUTE).item()
    assert cell.hold(signal.id).from_part == first


LEVEL = doubled(since=40)


@pytest.mark.parametrize("order", [(0, 2, 1, 3), (1, 0, 3, 2), (3, 2, 1, 0), (1, 2, 3, 0)])
@pytest.mark.parametrize("pieces", [(ROWS[:2], ROWS[2:4], ROWS[4:]), (LEVEL[:44], LEVEL[44:84], LEVEL[84:])])
def test_whatever_comes_first_the_answer_is_the_same(tmp_path, order, pieces):
    pieces = [(HEADER, sizes()), *((AUDITS, piece) for piece in pieces)]
    at_once, piecewise = (new_cell(tmp_path / name, sheet=ONE_SPINDLE) for name in "ab")
    take(at_once, tmp_path, *pieces)
    take(piecewise, tmp_path, *(pieces[i] for i in order))
    assert told(piecewise) == told(at_once)
    assert piecewise.check(rebuild=True).sound

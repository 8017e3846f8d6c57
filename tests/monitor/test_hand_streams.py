"""Bores finished by hand beside those of machines: streams of their own, in no machine's figures."""

from __future__ import annotations

import numpy as np
import pytest

import cellmon
from cellmon.export.documents import document
from cellmon.monitor.bore.keeping import TypedRound
from cellmon.records import Verdict
from cellmon.sizing.strokes import Strokes
from tests.small_cell import HEADER, new_cell, rows, write

BLOCKS = 66
SIZING = "part,bore,round,at,plane,direction,deviation_um,strokes_full,by"
PLACES = [(p, d) for p in ("top", "bottom") for d in ("x", "y")]


def by_hand(count: int) -> list[str]:
    """Return readings of bores finished by hand in between the machine's, 6 um above them."""
    rng = np.random.default_rng(5)
    start = np.datetime64("2026-03-02T05:04:00")
    found = []
    for i in range(count):
        at = start + np.timedelta64(15, "m") * i
        for plane, direction in PLACES:
            found.append(
                f"H{i:03d},1,hand,{at}Z,{plane},{direction},{50.006 + rng.normal(0, 0.3) / 1000:.4f}"
            )
    return found


def rounds(serial: str, sizes: list[float], *, minute: int) -> list[str]:
    at = "2026-03-02T06:{:02d}:00Z"
    return [
        f"{serial},2,{i},{at.format(minute + i)},{plane},{direction},{um},{10 if i else 0},A. Person"
        for i, um in enumerate(sizes)
        for plane, direction in PLACES
    ]


def of_machines(monitor):
    """Return what is said of machines: state, limits, indices, charts, signals, statements."""
    zone = monitor.state().as_of.tzinfo
    state = document(monitor.state(), zone=zone)
    state.pop("by_hand")
    said = [state]
    for ask in ("baselines", "capability", "shifts", "signals", "splits", "now"):
        said.append(document(getattr(monitor, ask)(), zone=zone))
    return said


@pytest.fixture(scope="module")
def both(tmp_path_factory):
    """A cell of machines, and the same cell with 40 bores by hand and two by rounds."""
    cells = []
    for name in ("machines", "mixed"):
        folder = tmp_path_factory.mktemp(name)
        monitor = new_cell(folder)
        machine = rows(blocks=BLOCKS)
        lines = [*machine, *(by_hand(40) if name == "mixed" else [])]
        # in order of time, so that nothing is late
        lines.sort(key=lambda line: line.split(",")[3])
        monitor.take([write(folder, "readings.csv", HEADER, lines)])
        if name == "mixed":
            finished = [*rounds("K1", [-30.0, -2.0, 1.0], minute=0), *rounds("K2", [-30.0, -12.0], minute=20)]
            monitor.take([write(folder, "rounds.csv", SIZING, finished)])
        cells.append(monitor)
    return cells


def test_what_is_said_of_machines_does_not_know_of_bores_by_hand(both):
    alone, mixed = both
    for without, with_ in zip(of_machines(alone), of_machines(mixed), strict=True):
        assert with_ == without


def test_bores_by_hand_are_streams_of_their_own_in_state(both):
    alone, mixed = both
    assert alone.state().by_hand == ()
    first, second = mixed.state().by_hand
    assert [s.stream.spindle for s in (first, second)] == ["hand", "hand"]
    assert (first.stream.bore, first.bores) == ("1", 40)
    assert first.mean_um == pytest.approx(6.0, abs=0.1)
    assert (second.stream.bore, second.bores, second.last_part) == ("2", 1, "K1")
    assert second.mean_um == pytest.approx(1.0)
    assert not any(s.stream.spindle == "hand" for s in mixed.state().streams)


def test_the_last_that_counts_stands_once(both):
    made = both[1].hand_streams().made
    assert len({(one.part, one.bore) for one in made}) == len(made) == 41
    rounds_of = {one.part: one.rounds for one in made if one.rounds is not None}
    assert rounds_of == {"K1": 2}
    assert all(one.verdict is Verdict.CONFORMS for one in made if one.part == "K1")
    late = both[1].hand_streams(since=both[1].state().as_of).made
    assert len(late) < len(made)


def test_a_bore_reworked_by_hand_leaves_its_machine_bore_charted(tmp_path):
    monitor = new_cell(tmp_path)
    machine = rows(blocks=12)
    again = [line.replace(",S1,", ",hand,").replace("T05:00", "T05:30") for line in machine[:4]]
    monitor.take([write(tmp_path, "a.csv", HEADER, [*machine, *again])])
    bores = monitor.bores().bores
    mine = (bores.part == "B0000") & (bores.bore == "1")
    assert dict(zip(bores.spindle[mine], bores.charted[mine], strict=True)) == {"S1": 1, "hand": 0}
    assert [one.part for one in monitor.hand_streams().made] == ["B0000"]


def test_a_typed_round_that_finishes_a_bore_is_listed_at_once(tmp_path):
    monitor = new_cell(tmp_path)
    readings = dict.fromkeys(PLACES, "50.001")
    monitor.keep_round(TypedRound(part="K9", bore="1", readings=readings, strokes=Strokes(), by="A. Person"))
    assert [(s.stream.bore, s.last_part) for s in monitor.state().by_hand] == [("1", "K9")]


def test_a_bore_finished_after_the_newest_row_of_the_cell_is_listed_and_not_before_it(tmp_path):
    monitor = new_cell(tmp_path)
    monitor.take([write(tmp_path, "a.csv", HEADER, rows(blocks=3))])
    newest = monitor.state().as_of
    readings = dict.fromkeys(PLACES, "50.001")
    monitor.keep_round(TypedRound(part="K9", bore="1", readings=readings, strokes=Strokes(), by="A. Person"))
    assert monitor.state().as_of == newest, "no machine's moment is moved"
    assert [one.part for one in monitor.hand_streams().made] == ["K9"]
    assert cellmon.open_cell(tmp_path, as_of=newest).hand_streams().made == ()

"""What a block's story holds: each thing of it is what the facts say, computed here a second time."""

from __future__ import annotations

from datetime import datetime

import numpy as np
import pytest

from cellmon.gauge.decision import guard_factor
from cellmon.monitor import Monitor, part_signals
from cellmon.monitor.part_judged import side_by_side
from cellmon.records import Verdict
from tests.monitor.test_judging import bore_rows
from tests.small_cell import CHECKS, EVENTS, HEADER, new_cell, rows, write

BLOCKS, JUMP = 110, 95


@pytest.fixture(scope="module")
def cell(tmp_path_factory):
    folder = tmp_path_factory.mktemp("part")
    monitor = new_cell(folder / "cell")
    events = [
        "2026-03-02T03:00:00Z,stones-fitted,S1,A1,0",
        "2026-03-02T10:03:00Z,stones-dressed,S1,,",
        "2026-03-02T12:00:00Z,stones-dressed,S1,,7",
    ]
    monitor.take(
        [
            write(folder, "events.csv", EVENTS, events),
            write(folder, "rows.csv", HEADER, rows(BLOCKS, jump_at=JUMP)),
        ]
    )
    return monitor


def of_bore(monitor, serial, bore="1"):
    return next(m for m in monitor.part(serial).measurements if m.bore == bore)


def test_the_verdict_is_the_worst_of_its_figures_each_with_the_guard_band_of_the_sheet(cell):
    m = of_bore(cell, "B0100")
    names = [(j.feature, j.figure, j.lower_um, j.upper_um) for j in m.judged]
    assert names == [
        ("diameter", "least", -10.0, None),
        ("diameter", "greatest", None, 10.0),
        ("taper", "taper", -8.0, 8.0),
    ]
    # of one reading: what all share and its own, 0.3 um each; a taper is the difference of two means of
    # two readings, so 0.3 um times the root of 2 / 2 (JCGM 100:2008, 5.1.2)
    wanted = [np.hypot(0.3, 0.3), np.hypot(0.3, 0.3), 0.3]
    assert [j.u_um for j in m.judged] == pytest.approx(wanted)
    assert [j.guard_um for j in m.judged] == pytest.approx(guard_factor(0.95) * np.array(wanted))
    assert (m.judged[0].value_um, m.judged[1].value_um) == (m.um.min(), m.um.max())
    order = [Verdict.DOES_NOT_CONFORM, Verdict.UNDECIDED, Verdict.CONFORMS]
    for serial in ("B0003", "B0050", "B0100", "B0108"):
        for one in cell.part(serial).measurements:
            assert one.verdict is min((j.verdict for j in one.judged), key=order.index)
            assert (one.rule, one.conformance, one.sheet_version) == ("guarded", 0.95, 1)


def test_figures_stand_side_by_side_once_for_each_limit(cell):
    measurements = cell.part("B0100").measurements
    table = side_by_side(measurements)
    assert [(row.feature, row.figure) for row in table] == [
        ("diameter", "least"),
        ("diameter", "greatest"),
        ("taper", "taper"),
    ]
    assert [j.value_um for j in table[1].of] == [m.um.max() for m in measurements]


def test_bores_since_dressing_are_those_of_the_spindle_honed_in_between(cell):
    # blocks come ten minutes apart from 05:00 UTC on, one bore of S1 each; dressed at 10:03 UTC
    m = of_bore(cell, "B0040")  # 11:40 UTC
    assert (m.stones.what, m.stones.bores_since) == ("dressed", len(range(31, 40)))
    assert m.stones.since == datetime.fromisoformat("2026-03-02T11:03+01:00")
    assert m.stones.stone_set == m.stone_set == "A1"
    fitted = of_bore(cell, "B0010").stones
    assert (fitted.what, fitted.bores_since) == ("fitted", 10)
    # logged late, seven bores after it was done: those seven count too
    assert of_bore(cell, "B0050").stones.bores_since == 7 + len(range(43, 50))


def test_without_a_log_it_says_why_nothing_is_known_of_the_stones(cell):
    m = of_bore(cell, "B0040", bore="2")
    assert m.stones.bores_since is None and "S2" in m.stones.why_not["since"]


def test_a_bore_lies_in_the_subgroup_that_the_stream_shows(cell):
    stream = next(s for s in cell.streams() if (s.bore, s.feature) == ("1", "diameter"))
    view = cell.stream(
        spindle="S1", bore="1", feature="diameter", since=datetime.fromisoformat("2026-03-01T00:00+01:00")
    )
    groups = view.subgroups
    for serial in ("B0004", "B0041", "B0100"):
        place = next(p for p in of_bore(cell, serial).places if p.stream == stream)
        g = next(
            i
            for i in range(len(groups.n))
            if groups.first_part[i] <= serial <= groups.last_part[i]  # serials count up as blocks are made
        )
        assert (place.subgroup.first_part, place.subgroup.last_part) == (
            groups.first_part[g],
            groups.last_part[g],
        )
        assert place.subgroup.mean_um == groups.mean_um[g]
        assert place.subgroup.place == int(serial[1:]) - int(groups.first_part[g][1:]) + 1
        assert place.away == pytest.approx((place.value_um - place.center_um) / place.sigma_um)


def test_every_measurement_names_its_file_and_line(cell):
    lines = [HEADER, *rows(BLOCKS, jump_at=JUMP)]
    for bore in ("1", "2"):
        [*origins] = of_bore(cell, "B0077", bore).origins
        assert {o.file for o in origins} == {"rows.csv"}
        assert all(lines[o.line - 1].startswith(f"B0077,{bore},") for o in origins)
        assert origins


def test_a_repeated_measurement_keeps_its_own_lines_and_says_why_it_is_not_charted(tmp_path):
    monitor = new_cell(tmp_path / "cell")
    monitor.take([write(tmp_path, "first.csv", HEADER, bore_rows(1, "1", "2026-03-02T05:00:00Z", 1.0))])
    monitor.take([write(tmp_path, "second.csv", HEADER, bore_rows(1, "1", "2026-03-02T07:00:00Z", 1.2))])
    first, second = monitor.part("B0001").measurements
    assert {o.file for o in first.origins} == {"first.csv"}
    assert {o.file for o in second.origins} == {"second.csv"}
    assert (first.charted, second.charted) == (True, False)
    assert second.charted_why == "not charted: another measurement of this bore came first"


def test_a_bore_with_a_reading_missing_is_named_in_the_sentence(tmp_path):
    monitor = new_cell(tmp_path / "cell")
    whole = bore_rows(1, "1", "2026-03-02T05:00:00Z", 1.0)
    monitor.take(
        [write(tmp_path, "a.csv", HEADER, [*whole, *bore_rows(1, "2", "2026-03-02T05:00:00Z", 1.0)[:3]])]
    )
    story = monitor.part("B0001")
    assert story.sentence.startswith("B0001: bore 1 conforms; no complete measurement of bore 2, last seen")
    assert story.measurements[1].why_not == {"verdict": "a reading is missing"}


def test_what_was_decided_of_a_held_block_is_told_with_who_and_why(tmp_path):
    monitor = new_cell(tmp_path / "cell")
    monitor.take([write(tmp_path, "rows.csv", HEADER, rows(BLOCKS, jump_at=JUMP))])
    held = monitor.part("B0100").held_for
    assert held and "On hold for" in monitor.part("B0100").sentence
    name = held[0].id
    monitor.release(name, parts=["B0100"], as_="scrapped", by="Ada", why="too large")
    story = monitor.part("B0100")
    given = next(s for s in story.held_for if s.id == name).disposition
    assert (given.as_, given.by, given.why) == ("scrapped", "Ada", "too large")
    assert [(e.what, e.words) for e in story.happened if e.what == "decided"] == [
        ("decided", f"scrapped by Ada, for {name}: too large")
    ]
    assert all(s.disposition is None for s in monitor.part("B0101").held_for)
    assert [e.at for e in story.happened] == sorted(e.at for e in story.happened)


def test_a_doubt_is_told_with_what_was_decided_of_it(tmp_path):
    monitor = new_cell(tmp_path / "cell")
    checks = [
        "2026-03-02T05:00:00Z,G1,50.0000,50.0002,as-found",
        "2026-03-02T09:00:00Z,G1,50.0000,50.0031,as-found",
    ]
    monitor.take([write(tmp_path, "c.csv", CHECKS, checks), write(tmp_path, "rows.csv", HEADER, rows(20))])
    [doubt] = of_bore(monitor, "B0010").doubts
    assert (doubt.flag, doubt.state) == ("zero-suspect", "open")
    monitor.correct(doubt.id, accept=False, by="Ada", why="measured again on G2")
    [doubt] = of_bore(monitor, "B0010").doubts
    assert (doubt.state, doubt.by, doubt.why) == ("kept", "Ada", "measured again on G2")


def test_signals_from_what_is_kept_are_those_put_together_anew(cell, monkeypatch):
    serials = [f"B{i:04d}" for i in range(0, BLOCKS, 7)]
    kept = [cell.part(s).held_for for s in serials]
    monkeypatch.setattr(part_signals, "is_kept", lambda *_, **__: False)
    anew = [cell.part(s).held_for for s in serials]
    assert kept == anew and any(kept)


def test_an_answer_as_of_an_earlier_moment_knows_no_later_signal(cell):
    [held] = cell.part("B0095").held_for
    assert held.raised_at == of_bore(cell, "B0095").at < held.last_at
    at_the_call = Monitor.open(cell.folder, as_of=held.raised_at)
    [then] = at_the_call.part("B0095").held_for
    assert (then.id, then.last_at) == (held.id, held.raised_at)
    before = Monitor.open(cell.folder, as_of=of_bore(cell, "B0094").at)
    assert before.part("B0094").held_for == ()


def test_the_newest_blocks_come_newest_first(cell):
    assert cell.newest_parts().parts[:3] == ("B0109", "B0108", "B0107")


def test_a_cell_without_bores_has_no_newest_block(tmp_path):
    assert new_cell(tmp_path / "cell").newest_parts().parts == ()

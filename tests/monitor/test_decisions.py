"""What people decide: freeze, answer, correct, release, adopt; derived still equals recomputed."""

from __future__ import annotations

import hashlib
import json

import pytest
from sqlalchemy import select

from cellmon.errors import NotFound, WrongUsage
from cellmon.store import schema
from tests.small_cell import HEADER, new_cell, rows, write


@pytest.fixture
def monitor(tmp_path):
    """A cell with a jump of bore 1 and 2 after block 95."""
    opened = new_cell(tmp_path / "cell")
    opened.take([write(tmp_path, "rows.csv", HEADER, rows(jump_at=95))])
    return opened


def jump(monitor):
    """Return the signal of the jump of both bores."""
    level = [s for s in monitor.signals().signals if (s.kind, s.stream.feature) == ("level", "diameter")]
    return max(level, key=lambda s: s.size_um)


def test_a_jump_raises_one_signal_that_tells_stream_size_and_parts(monitor):
    signal = jump(monitor)
    assert (signal.state, signal.detector) == ("open", "three cumulative sums of the level")
    assert (signal.stream.spindle, signal.stream.bore) == (None, None), "both bores moved: the mean of all"
    assert {s.bore for s in signal.streams} >= {"1", "2"}
    assert signal.size_um == pytest.approx(9.0, abs=3.0)
    assert "B0095" <= signal.part <= "B0101"
    assert signal.change.earliest_part <= "B0095" <= signal.change.latest_part
    assert signal.causes[0].cause == "gauge-zero" and signal.causes[0].check_first


def test_an_answer_needs_cause_and_action_and_stays_with_its_signal(monitor):
    signal = jump(monitor)
    with pytest.raises(WrongUsage, match="cause and an action"):
        monitor.respond(signal.id, by="A. Person", cause="offset")
    with pytest.raises(NotFound):
        monitor.respond("S-nothing", by="A. Person", seen=True)
    seen = monitor.respond(signal.id, by="A. Person", seen=True)
    assert (seen.state, seen.owner) == ("open", "A. Person")
    answered = monitor.respond(signal.id, by="B. Person", cause="offset", action="undone")
    assert answered.state == "answered" and answered.response.cause == "offset"
    later = monitor.respond(signal.id, by="C. Person", seen=True)
    assert later.response.cause == "offset", "an acknowledgement never hides an answer"


def test_the_hold_list_runs_from_the_first_plausible_part(monitor):
    signal = jump(monitor)
    hold = monitor.hold(signal.id)
    serials = [p.part for p in hold.parts]
    assert serials == sorted(serials) and serials[-1] == "B0109"
    assert "B0092" <= serials[0] <= "B0095", "the first part after the jump is on the list"
    assert {p.bore for p in hold.parts} == {"1", "2"}
    with pytest.raises(WrongUsage, match="not on the hold list"):
        monitor.release(signal.id, parts=["B0001"], as_="released", by="A. Person", why="measured again")
    with pytest.raises(WrongUsage):
        monitor.release(signal.id, parts=[serials[0]], as_="eaten", by="A. Person", why="-")
    after = monitor.release(signal.id, parts=[serials[0]], as_="reworked", by="A. Person", why="opened up")
    assert {p.disposition for p in after.parts if p.part == serials[0]} == {"reworked"}
    assert {p.disposition for p in after.parts if p.part != serials[0]} == {None}
    assert monitor.part(serials[0]).dispositions[0].as_ == "reworked"


def test_a_hold_is_extended_by_earlier_bores_and_stands_in_the_journal(monitor):
    signal = jump(monitor)
    before = monitor.hold(signal.id)
    with pytest.raises(NotFound, match="tells of no bore of B0999"):
        monitor.extend_hold(signal.id, from_part="B0999", by="A. Person", why="doubted")
    with pytest.raises(WrongUsage, match="already"):
        monitor.extend_hold(signal.id, from_part=before.to_part, by="A. Person", why="doubted")
    with pytest.raises(WrongUsage, match="made before"):
        monitor.extend_hold(signal.id, from_part="B0060", to_part="B0050", by="A. Person", why="doubted")
    with pytest.raises(WrongUsage, match="reason"):
        monitor.extend_hold(signal.id, from_part="B0060", by="A. Person", why=" ")
    after = monitor.extend_hold(signal.id, from_part="B0080", by="A. Person", why="gauge doubted since noon")
    assert (after.from_part, after.to_part) == ("B0080", before.to_part)
    assert {p.bore for p in after.parts} == {"1", "2"}
    serials = list(dict.fromkeys(p.part for p in after.parts))
    assert serials == [f"B{i:04}" for i in range(80, 110)]
    [one] = after.extended
    assert (one.from_part, one.to_part, one.by, one.why) == (
        "B0080",
        None,
        "A. Person",
        "gauge doubted since noon",
    )
    entry = monitor.journal().entries[-1]
    assert (entry.kind, entry.subject, entry.by) == ("extend", signal.id, "A. Person")
    assert entry.after["from_part"] == "B0080" and monitor.journal().whole


def test_a_stretch_before_a_hold_is_held_without_what_lies_between(monitor):
    signal = jump(monitor)
    before = {p.part for p in monitor.hold(signal.id).parts}
    monitor.extend_hold(signal.id, from_part="B0010", to_part="B0012", by="A. Person", why="same basket")
    after = monitor.extend_hold(signal.id, from_part="B0030", to_part="B0031", by="B. Person", why="too")
    found = {p.part for p in after.parts}
    assert found == before | {"B0010", "B0011", "B0012", "B0030", "B0031"}
    assert after.from_part == "B0010" and [one.by for one in after.extended] == ["A. Person", "B. Person"]
    released = monitor.release(signal.id, parts=["B0010"], as_="released", by="A. Person", why="measured")
    assert {p.disposition for p in released.parts if p.part == "B0010"} == {"released"}
    assert monitor.check(rebuild=True).sound


def test_a_freeze_keeps_old_limits_for_old_points(monitor, tmp_path):
    before = monitor.stream(spindle="S2", bore="2", feature="taper").subgroups
    frozen = monitor.freeze(by="A. Person", why="first quiet subgroups", spindle="S2", feature="taper")
    newer = [r for r in rows(130, jump_at=95) if r[:5] >= "B0110"]
    monitor.take([write(tmp_path, "newer.csv", HEADER, newer)])
    after = monitor.stream(spindle="S2", bore="2", feature="taper")
    assert after.baseline is not None and after.baseline.by == "A. Person" and not after.baseline.provisional
    assert frozen.baselines[0].version == 1
    old = after.subgroups.at <= before.at[-1]
    assert old.any() and not old.all()
    assert after.subgroups.center_um[old] == pytest.approx(before.center_um)
    assert set(after.subgroups.center_um[~old]) == {after.baseline.center_um}
    untouched = monitor.stream(spindle="S1", bore="1", feature="taper").baseline
    assert untouched is not None and untouched.provisional
    assert monitor.check(rebuild=True).sound


def test_rows_that_come_into_a_frozen_window_are_flagged_late(monitor, tmp_path):
    monitor.freeze(by="A. Person", why="first quiet subgroups")
    late = [r.replace("B0001", "B9001").replace("05:10:00Z", "05:12:00Z") for r in rows() if "B0001" in r]
    monitor.take([write(tmp_path, "late.csv", HEADER, late)])
    assert {(f.flag.value, f.part) for f in monitor.flags().flags} == {("late", "B9001")}


def test_an_accepted_routing_moves_the_bore_and_can_be_rebuilt(tmp_path):
    monitor = new_cell(tmp_path)
    lines = [r.replace(",1,S1,", ",1,S2,") if r.startswith("B0040") else r for r in rows()]
    monitor.take([write(tmp_path, "rows.csv", HEADER, lines)])
    flag = next(f for f in monitor.flags().flags if f.flag == "routing")
    assert (flag.part, flag.bore, flag.spindle) == ("B0040", "1", "S2")
    assert flag.proposal == "count it to spindle S1"
    row = monitor.correct(flag.id, accept=True, by="A. Person", why="the log says S1")
    assert (row.state, row.by) == ("accepted", "A. Person")
    story = monitor.part("B0040")
    assert {m.spindle for m in story.measurements if m.bore == "1"} == {"S1"}
    assert all(not m.flags for m in story.measurements)
    assert monitor.check(rebuild=True).sound


def test_a_single_wild_reading_waits_for_a_person(tmp_path):
    monitor = new_cell(tmp_path)
    lines = rows()
    wild = next(i for i, r in enumerate(lines) if r.startswith("B0050,1,") and ",top,x," in r)
    lines[wild] = lines[wild].rsplit(",", 1)[0] + ",49.9600"
    monitor.take([write(tmp_path, "rows.csv", HEADER, lines)])
    flag = next(f for f in monitor.flags().flags if f.part == "B0050")
    assert flag.flag == "single-reading"
    assert monitor.part("B0050").measurements[0].verdict == "undecided"
    monitor.correct(flag.id, accept=False, by="A. Person", why="it is a burr, the bore is like that")
    assert monitor.part("B0050").measurements[0].verdict == "does not conform"
    assert monitor.check(rebuild=True).sound


def test_a_changed_sheet_judges_nothing_until_it_is_adopted(monitor, tmp_path):
    folder = tmp_path / "cell"
    text = (folder / "cell.toml").read_text(encoding="utf-8")
    (folder / "cell.toml").write_text(text.replace("upper = 50.010", "upper = 50.003"), encoding="utf-8")
    import cellmon

    changed = cellmon.open_cell(folder)
    check = changed.check()
    assert any("upper" in d for d in check.differs)
    assert changed.state().notes
    before = changed.bores().bores.verdict.tolist()
    new = [r.replace("B00", "C00").replace("2026-03-02T", "2026-03-03T") for r in rows(12)]
    changed.take([write(tmp_path, "unadopted.csv", HEADER, new)])
    assert set(changed.bores().bores.sheet.tolist()) == {1}
    changed.adopt(by="A. Person", why="drawing revision D")
    assert changed.check().differs == ()
    assert changed.bores().bores.verdict.tolist()[: len(before)] == before
    newer = [r.replace("B00", "D00").replace("2026-03-02T", "2026-03-04T") for r in rows(12)]
    changed.take([write(tmp_path, "adopted.csv", HEADER, newer)])
    bores = changed.bores().bores
    assert set(bores.sheet[[p.startswith("D") for p in bores.part]].tolist()) == {2}
    assert changed.state().sheet == 2
    assert changed.check(rebuild=True).sound


def test_a_remark_in_the_sheet_needs_no_adoption(monitor, tmp_path):
    import cellmon

    path = tmp_path / "cell" / "cell.toml"
    path.write_text(path.read_text(encoding="utf-8") + "\n# a remark\n", encoding="utf-8")
    reopened = cellmon.open_cell(tmp_path / "cell")
    assert reopened.check().differs == ()
    assert reopened.state().notes == ()
    with pytest.raises(WrongUsage, match="nothing to adopt"):
        reopened.adopt(by="A. Person", why="-")


def test_every_decision_carries_the_hash_of_the_one_before(monitor):
    signal = jump(monitor)
    monitor.respond(signal.id, by="A. Person", seen=True)
    monitor.freeze(by="A. Person", why="quiet", spindle="S1")
    names = ("at", "by", "why", "kind", "subject", "body", "previous")
    previous = ""
    with monitor._store.reading() as session:
        stored = session.conn.execute(select(schema.DECISIONS).order_by(schema.DECISIONS.c.id)).fetchall()
    assert len(stored) >= 2
    for row in stored:
        values = {name: row._mapping[name] for name in names}
        assert values["previous"] == previous
        previous = hashlib.sha256(json.dumps(values, sort_keys=True).encode()).hexdigest()
        assert row.hash == previous


def test_a_signal_that_later_rows_remove_is_withdrawn_and_keeps_its_answer(tmp_path):
    monitor = new_cell(tmp_path)
    lines = rows(jump_at=95)
    later = [r for r in lines if r[:5] in ("B0096", "B0097")]
    monitor.take([write(tmp_path, "a.csv", HEADER, [r for r in lines if r not in later])])
    ids = {s.id for s in monitor.signals().signals}
    first = jump(monitor)
    monitor.respond(first.id, by="A. Person", cause="offset", action="undone")
    monitor.take([write(tmp_path, "b.csv", HEADER, later)])
    after = {s.id: s for s in monitor.signals().signals}
    assert ids <= set(after), "nothing that was shown is forgotten"
    assert after[first.id].response.cause == "offset"
    assert all(
        s.state == "withdrawn" and "state" in s.why_not for s in after.values() if s.state == "withdrawn"
    )


def test_an_unanswered_signal_that_makes_bad_parts_likely_stops_the_spindle(monitor):
    signal = jump(monitor)  # 9 um above the centre of 0, limits at 10 um, sigma about 1.5: a quarter outside
    assert signal.state == "open"
    state = monitor.state()
    spindle = next(s for s in state.spindles if s.spindle == "S1")
    assert spindle.status == "stop"
    stream = next(s for s in state.streams if s.stream.feature == "diameter" and s.stream.spindle == "S1")
    assert stream.status == "stop"
    quiet = next(s for s in state.streams if s.stream.feature == "taper" and s.stream.spindle == "S1")
    assert quiet.status == "look", "its limits are provisional"


def test_a_spindle_with_frozen_limits_and_nothing_open_carries_on(tmp_path):
    opened = new_cell(tmp_path / "cell")
    opened.take([write(tmp_path, "rows.csv", HEADER, rows(seed=3))])
    opened.freeze(by="A. Person", why="quiet")
    for signal in opened.signals().signals:
        if signal.state == "open":
            opened.respond(signal.id, by="A. Person", cause="false alarm", action="none")
    for spindle in opened.state().spindles:
        assert (spindle.status, spindle.due) == ("carry on", ()), spindle.sentence


def test_a_changed_journal_is_found(monitor):
    monitor.respond(jump(monitor).id, by="A. Person", seen=True)
    monitor.freeze(by="A. Person", why="quiet", spindle="S1")
    assert monitor.check().sound
    with monitor._store.writing() as session:
        table = schema.DECISIONS
        session.conn.execute(table.update().where(table.c.id == 1).values(by="Somebody else"))
    check = monitor.check()
    assert not check.sound
    assert "decision 1 was changed" in check.remarks[0]

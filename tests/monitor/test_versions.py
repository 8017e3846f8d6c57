"""Sheet versions: bores are judged by the one in force when they were measured, whenever they arrive."""

from __future__ import annotations

import numpy as np
import pytest

import cellmon
from cellmon.errors import WrongUsage
from tests.monitor.test_judging import bore_rows
from tests.small_cell import HEADER, SHEET, new_cell, rows, write


def changed(monitor, *changes):
    """Change the sheet on disk and open the cell again."""
    path = monitor.folder / "cell.toml"
    text = path.read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    path.write_text(text, encoding="utf-8")
    return cellmon.open_cell(monitor.folder)


TIGHTER = ("upper = 50.010", "upper = 50.003")
CHANGES = {
    "limit": [TIGHTER],
    "shift times": [('starts = "06:00"', 'starts = "05:00"')],
    "a third shift": [
        (
            'name = "night"\nstarts = "18:00"',
            'name = "late"\nstarts = "14:00"\n[[shifts]]\nname = "night"\nstarts = "22:00"',
        )
    ],
    "subgroups": [("size = 3", "size = 4")],
    "across shifts": [("size = 3", 'size = 3\nwithin = ["stone_set"]')],
    "routing": [('id = "S1"\nbores = ["1"]', 'id = "S1"\nbores = ["1", "2"]')],
    "uncertainty": [("uncertainty_common_um = 0.3", "uncertainty_common_um = 2.0")],
    "gauge limit": [("as_found_limit_um = 1.0", "as_found_limit_um = 0.5")],
    "a third plane": [("bottom = 90.0", "middle = 50.0, bottom = 90.0")],
}


@pytest.mark.parametrize("name", CHANGES)
def test_any_change_judges_what_is_measured_after_its_adoption_and_nothing_before(tmp_path, name):
    monitor = new_cell(tmp_path / "cell")
    lines = rows(110)
    late = [r for r in lines if r[:5] in ("B0020", "B0021")]
    monitor.take([write(tmp_path, "a.csv", HEADER, [r for r in lines[: 8 * 70] if r not in late])])
    before = monitor.bores().bores
    reopened = changed(monitor, *CHANGES[name])
    assert reopened.check().differs != ()
    assert reopened.state().notes != ()
    reopened.adopt(by="A. Person", why="new drawing")
    assert reopened.check().differs == () and reopened.state().notes == ()
    reopened.take([write(tmp_path, "b.csv", HEADER, lines[8 * 70 :])])
    reopened.take([write(tmp_path, "late.csv", HEADER, late)])
    bores = reopened.bores().bores
    by_version = {p: int(v) for p, v in zip(bores.part, bores.sheet, strict=True)}
    assert {p for p, v in by_version.items() if v == 1} == {f"B{i:04d}" for i in range(70)}
    old = {(p, b): v for p, b, v in zip(before.part, before.bore, before.verdict, strict=True)}
    new = {(p, b): v for p, b, v in zip(bores.part, bores.bore, bores.verdict, strict=True)}
    assert all(new[key] == verdict for key, verdict in old.items())
    assert reopened.check(rebuild=True).sound


def test_verdicts_follow_the_version_of_their_moment(tmp_path):
    monitor = new_cell(tmp_path / "cell")
    monitor.take([write(tmp_path, "a.csv", HEADER, bore_rows(1, "1", "2026-03-02T05:00:00Z", 5.0))])
    reopened = changed(monitor, TIGHTER)
    reopened.take([write(tmp_path, "b.csv", HEADER, bore_rows(2, "1", "2026-03-02T06:00:00Z", 5.0))])
    assert reopened.bores().bores.verdict.tolist() == [1, 1], "not adopted, so not judged by"
    reopened.adopt(by="A. Person", why="drawing D")
    reopened.take([write(tmp_path, "c.csv", HEADER, bore_rows(3, "1", "2026-03-02T07:00:00Z", 5.0))])
    reopened.take([write(tmp_path, "d.csv", HEADER, bore_rows(4, "1", "2026-03-02T05:30:00Z", 5.0))])
    verdicts = {p: (int(v), int(s)) for p, v, s in _told(reopened)}
    assert verdicts == {"B0001": (1, 1), "B0002": (1, 1), "B0003": (-1, 2), "B0004": (1, 1)}


def _told(monitor):
    bores = monitor.bores().bores
    return zip(bores.part, bores.verdict, bores.sheet, strict=True)


def test_two_adoptions_without_a_row_between_leave_the_last_in_force(tmp_path):
    monitor = new_cell(tmp_path / "cell")
    monitor.take([write(tmp_path, "a.csv", HEADER, bore_rows(1, "1", "2026-03-02T05:00:00Z", 5.0))])
    one = changed(monitor, TIGHTER)
    one.adopt(by="A. Person", why="drawing D")
    two = changed(one, ("upper = 50.003", "upper = 50.010"))
    two.adopt(by="A. Person", why="drawing D was a mistake")
    two.take([write(tmp_path, "b.csv", HEADER, bore_rows(2, "1", "2026-03-02T06:00:00Z", 5.0))])
    assert {p: (int(v), int(s)) for p, v, s in _told(two)} == {"B0001": (1, 1), "B0002": (1, 3)}
    assert two.check(rebuild=True).sound
    with pytest.raises(WrongUsage, match="nothing to adopt"):
        two.adopt(by="A. Person", why="again")


def test_before_anything_is_taken_the_sheet_on_disk_holds_and_needs_no_adoption(tmp_path):
    monitor = new_cell(tmp_path / "cell")
    reopened = changed(monitor, TIGHTER)
    with pytest.raises(WrongUsage, match="nothing has been taken"):
        reopened.adopt(by="A. Person", why="-")
    assert reopened.check().differs == ()
    reopened.take([write(tmp_path, "a.csv", HEADER, bore_rows(1, "1", "2026-03-02T05:00:00Z", 5.0))])
    assert {p: (int(v), int(s)) for p, v, s in _told(reopened)} == {"B0001": (-1, 1)}


def test_a_name_or_a_column_changed_on_disk_holds_at_once(tmp_path):
    monitor = new_cell(tmp_path / "cell")
    monitor.take([write(tmp_path, "a.csv", HEADER, rows(3))])
    reopened = changed(
        monitor, ("[store]", '[columns]\npart = "Serial No"\n[store]'), ("Small cell", "Big cell")
    )
    assert reopened.check().differs == ()
    header = HEADER.replace("part,", "Serial No,")
    taken = reopened.take([write(tmp_path, "b.csv", header, rows(4))]).files[0]
    assert (taken.taken, taken.known) == (8, 24)
    assert reopened.now().cell == "Big cell"


def test_a_new_program_start_and_another_one_beside_it_see_the_adoption(tmp_path):
    monitor = new_cell(tmp_path / "cell")
    monitor.take([write(tmp_path, "a.csv", HEADER, rows(3))])
    first, second = changed(monitor, TIGHTER), cellmon.open_cell(monitor.folder)
    assert second.state().sheet == 1
    first.adopt(by="A. Person", why="drawing D")
    assert second.state().sheet == first.state().sheet == 2
    assert monitor.state().sheet == 2, "also one that was opened before the sheet was changed"


def test_one_flow_of_every_decision_on_postgresql(tmp_path, postgres_url):
    from sqlalchemy import create_engine, text

    engine = create_engine(f"{postgres_url}/postgres", isolation_level="AUTOCOMMIT")
    with engine.connect() as conn:
        conn.execute(text("CREATE DATABASE flow"))
    engine.dispose()
    monitor = new_cell(tmp_path / "cell", url=f"{postgres_url}/flow")
    lines = [r.replace(",1,S1,", ",1,S2,") if r.startswith("B0040") else r for r in rows(110, jump_at=95)]
    monitor.take([write(tmp_path, "a.csv", HEADER, lines)])
    signal = next(s for s in monitor.signals().signals if (s.kind, s.stream.feature) == ("level", "diameter"))
    monitor.respond(signal.id, by="A. Person", cause="offset", action="put back")
    monitor.release(signal.id, parts=["B0100"], as_="reworked", by="A. Person", why="opened up")
    routed = next(f for f in monitor.flags().flags if f.flag == "routing")
    monitor.correct(routed.id, accept=True, by="A. Person", why="the log says S1")
    monitor.freeze(by="A. Person", why="quiet")
    reopened = changed(monitor, TIGHTER)
    reopened.adopt(by="A. Person", why="drawing D")
    newer = [r for r in rows(120, jump_at=95) if r[:5] >= "B0110"]
    reopened.take([write(tmp_path, "b.csv", HEADER, newer)])
    check = reopened.check(rebuild=True)
    assert check.sound, check.rebuilt
    assert reopened.part("B0100").dispositions[0].as_ == "reworked"
    assert set(np.unique(reopened.bores().bores.sheet)) == {1, 2}
    reopened.close()
    monitor.close()


def test_the_sheet_of_the_tests_is_what_they_take_it_for(tmp_path):
    """Each change must be one: a text that is not found would make its test pass for nothing."""
    for changes in CHANGES.values():
        assert all(old in SHEET for old, _ in changes)

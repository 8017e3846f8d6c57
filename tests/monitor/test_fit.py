"""Fit: clearance from what was measured, at temperature; grades and pairs of the parts at hand."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from cellmon.cli.main import main
from cellmon.errors import NotEnoughData, WrongUsage
from tests.small_cell import HEADER, SHEET, new_cell, rows, write

FIT = """[fit]
clearance_lower_um = 30
clearance_upper_um = 46
mating_material = "piston alloy"
grades = 2
[store]"""
FITTED = SHEET.replace("[store]", FIT).replace(
    "length_mm = 100.0", 'length_mm = 100.0\nmaterial = "grey cast iron"'
)
MATING = "part,diameter_mm,temp_c,at"
AT = "2026-03-02T05:30:00Z"


def pistons(um, temp="", at=AT):
    return [f"P{i:03d},{50 + v / 1000:.4f},{temp},{at}" for i, v in enumerate(um)]


@pytest.fixture
def cell(tmp_path):
    monitor = new_cell(tmp_path / "cell", sheet=FITTED)
    monitor.take([write(tmp_path, "sizes.csv", HEADER, rows(60))])
    yield monitor
    monitor.close()


def mates(count=80, seed=5):
    return np.round(np.random.default_rng(seed).normal(-38.0, 3.0, count), 1)


def take(cell, tmp_path, lines, name="pistons.csv", header=MATING):
    taken = cell.take([write(tmp_path, name, header, lines)])
    assert not taken.files[0].set_aside


def test_clearance_is_that_of_all_pairs_of_bores_and_parts(cell, tmp_path):
    um = mates()
    take(cell, tmp_path, pistons(um))
    answer = cell.fit()
    bores = cell.bores().bores
    kept = bores.average[bores.verdict >= 0]
    every = np.subtract.outer(kept, um)
    assert answer.bores.n == len(kept) and answer.mates.n == 80
    assert answer.mean_um == pytest.approx(every.mean(), abs=1e-6)
    assert answer.outside.value == pytest.approx(((every < 30 - 1e-9) | (every > 46 + 1e-9)).mean())
    assert answer.outside.low < answer.outside.value < answer.outside.high
    assert answer.below_at_least_size >= answer.below
    assert answer.growth_um == 0.0 and answer.at_c == 20.0
    assert any("as read" in note for note in answer.notes)
    assert f"{100 * answer.outside.value:.1f} % of clearances lie outside 30 to 46 µm" in answer.sentence


def test_warm_parts_close_the_clearance_by_the_difference_of_expansion(cell, tmp_path):
    take(cell, tmp_path, pistons(mates()))
    cold, warm = cell.fit(), cell.fit(at_c=120.0)
    assert warm.growth_um == pytest.approx(50_000 * (11e-6 - 20.5e-6) * 100)
    assert warm.mean_um == pytest.approx(cold.mean_um + warm.growth_um)


def test_warm_mating_parts_are_referred_to_20_degrees(cell, tmp_path):
    take(cell, tmp_path, pistons(mates(), temp="25.0"))
    answer = cell.fit()
    assert answer.mates.mean_um == pytest.approx(mates().mean() - 50_000 * 20.5e-6 * 5, abs=0.1)
    assert any("from 25.0 on average" in note for note in answer.notes)


def test_grades_are_of_the_newest_bores_and_nothing_is_lost(cell, tmp_path):
    take(cell, tmp_path, pistons(mates()))
    answer = cell.fit(grades=3)
    assert answer.at_hand_bores == answer.at_hand_mates == 80
    assert len(answer.grades.grades) == 3 and len(answer.best) == 3
    for grading in (answer.grades, *answer.best):
        assert sum(g.bores for g in grading.grades) == 80
        assert grading.pairs + grading.left_bores == 80
    assert answer.best[2].good_pairs >= answer.grades.good_pairs
    assert len(cell.fit().grades.grades) == 2
    assert answer.misgraded is not None and 0 < answer.misgraded < 0.5


def test_the_pairing_list_names_each_part_once_and_keeps_the_limits(cell, tmp_path):
    take(cell, tmp_path, pistons(mates()))
    pairing = cell.fit(pairs=True).pairing
    assert pairing is not None and pairing.nearest
    assert len(pairing.pairs) + len(pairing.left_bores) == 80
    assert len({p.mating_part for p in pairing.pairs}) == len(pairing.pairs)
    assert len({(p.part, p.bore) for p in pairing.pairs}) == len(pairing.pairs)
    for p in pairing.pairs:
        assert 30 - 1e-9 <= p.clearance_um <= 46 + 1e-9
        assert p.clearance_um == pytest.approx(p.bore_um - p.mating_um)
    assert cell.fit().pairing is None


def test_a_part_measured_again_counts_once_with_its_newest_size(cell, tmp_path):
    take(cell, tmp_path, pistons(mates()))
    take(cell, tmp_path, pistons([-40.0], at="2026-03-02T05:45:00Z"), "again.csv")
    pairing = cell.fit(pairs=True)
    assert pairing.mates.n == 80
    assert pairing.mates.mean_um == pytest.approx(np.append(mates()[1:], -40.0).mean(), abs=1e-3)


def test_parts_measured_after_the_last_bore_are_at_hand(cell, tmp_path):
    take(cell, tmp_path, pistons(mates(), at="2026-03-09T05:30:00Z"))
    assert cell.fit().mates.n == 80


def test_heights_of_one_part_count_with_the_largest(cell, tmp_path):
    lines = [
        f"P{i:03d},{50 + (v + d) / 1000:.4f},{h},{AT}"
        for i, v in enumerate(mates())
        for h, d in ((12, 0), (40, 5))
    ]
    take(cell, tmp_path, lines, header="part,diameter_mm,height_mm,at")
    answer = cell.fit()
    assert answer.mates.n == 80
    assert answer.mates.mean_um == pytest.approx(mates().mean() + 5, abs=1e-3)
    assert any("largest diameter" in note for note in answer.notes)


def test_parts_scrapped_on_hold_are_not_fitted(cell, tmp_path, monkeypatch):
    take(cell, tmp_path, pistons(mates()))
    before = cell.fit().bores.n

    class Scrapped:
        body = {"as": "scrapped", "parts": ["B0001", "B0002"]}

    from cellmon.store import Session

    found = Session.decisions
    monkeypatch.setattr(
        Session, "decisions", lambda self, kind=None: [Scrapped] if kind == "release" else found(self, kind)
    )
    assert cell.fit().bores.n == before - 4


def test_what_is_missing_is_said(tmp_path):
    plain = new_cell(tmp_path / "plain")
    with pytest.raises(WrongUsage, match="clearance_lower_um"):
        plain.fit()
    plain.close()
    bare = new_cell(tmp_path / "bare", sheet=FITTED.replace('mating_material = "piston alloy"\n', ""))
    with pytest.raises(WrongUsage, match="mating_material"):
        bare.fit(at_c=80.0)
    with pytest.raises(NotEnoughData, match="bores to be fitted"):
        bare.fit()
    bare.take([write(tmp_path, "sizes.csv", HEADER, rows(20))])
    with pytest.raises(NotEnoughData, match="mating parts"):
        bare.fit()
    bare.take([write(tmp_path, "pistons.csv", MATING, pistons(mates(), temp="25.0"))])
    assert any("temperatures are not used" in note for note in bare.fit().notes)
    with pytest.raises(NotEnoughData):
        bare.fit(since=datetime(2026, 1, 1, tzinfo=UTC), until=datetime(2026, 1, 2, tzinfo=UTC))
    bare.close()


def test_the_command_prints_lines_and_a_document(cell, tmp_path, capsys):
    take(cell, tmp_path, pistons(mates()))
    folder = str(cell.folder)
    assert main(["fit", "--cell", folder, "--pairs", "--last", "3", "--at-c", "24"]) == 0
    shown = capsys.readouterr().out
    for words in ("Taken as they come", "Best borders", "Pairing list", "smaller at 24 degrees", "last 3 of"):
        assert words in shown, words
    assert "drawing and the maker's manual" in shown
    assert main(["fit", "--cell", folder, "--json", "--grades", "2"]) == 0
    shown = capsys.readouterr().out
    assert '"outside"' in shown and '"pairing": null' in shown
    assert main(["fit", "--cell", folder, "--grades", "0"]) == 2


def test_the_pairing_list_goes_into_a_file(cell, tmp_path, capsys):
    take(cell, tmp_path, pistons([*mates(), 9.0]))
    out = tmp_path / "pairs.csv"
    assert main(["export", "fit", "--cell", str(cell.folder), "--to", "csv", "--out", str(out)]) == 0
    lines = out.read_text("utf-8-sig").splitlines()
    pairing = cell.fit(pairs=True).pairing
    everything = len(pairing.pairs) + len(pairing.left_bores) + len(pairing.left_mates)
    assert f"{everything} rows" in capsys.readouterr().out
    assert sum("B00" in line and "P0" in line for line in lines) == len(pairing.pairs)
    assert any("P080" in line and "B00" not in line for line in lines)


def test_mating_parts_of_another_drawing_do_not_count(cell, tmp_path):
    lines = [f"{line},{'P-1' if i % 2 else 'P-9'}" for i, line in enumerate(pistons(mates()))]
    take(cell, tmp_path, lines, header=f"{MATING},part_number")
    answer = cell.fit()
    assert answer.mates.n == 40
    assert "40 mating parts are named for another drawing than P-1" in answer.notes


def test_a_level_that_moved_inside_the_week_is_said(tmp_path):
    monitor = new_cell(tmp_path / "cell", sheet=FITTED)
    lines = rows(60)
    take(monitor, tmp_path, lines, "still.csv", HEADER)
    take(monitor, tmp_path, pistons(mates()))
    assert not any("moved" in note for note in monitor.fit().notes)
    monitor.close()
    monitor = new_cell(tmp_path / "moving", sheet=FITTED)
    take(monitor, tmp_path, [_grown(line, um=0.1) for line in lines], "moving.csv", HEADER)
    take(monitor, tmp_path, pistons(mates()))
    (note,) = [note for note in monitor.fit().notes if "moved" in note]
    assert note.startswith("the level moved in this time (S") and "of 2 streams" in note
    monitor.close()


def _grown(line, *, um):
    """Return a row whose bore is so much larger than the one of the block before."""
    *cells, size = line.split(",")
    return ",".join([*cells, f"{float(size) + um * int(cells[0][1:]) / 1000:.4f}"])

"""The lines of `stones`, from a cell to the terminal."""

from __future__ import annotations

import json

import numpy as np
import pytest

from cellmon.cli.main import main
from tests.small_cell import HEADER, new_cell, rows, write
from tests.stones.cells import EVENTS, MEASURED, SETS, STONE_SHEET, measured_rows

AT = [np.datetime64("2026-03-02T05:00:00") + np.timedelta64(h, "h") for h in (0, 8, 16)]


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    home = tmp_path_factory.mktemp("stones") / "cell"
    monitor = new_cell(home, sheet=STONE_SHEET)
    monitor.take([write(home, "rows.csv", HEADER, rows(110))])
    events = [
        "2026-03-02T04:00:00Z,stones-fitted,S1,A1,2000,",
        "2026-03-02T04:00:00Z,stones-fitted,S2,A2,0,",
        "2026-03-02T14:00:00Z,stones-removed,S2,A2,,trial",
        "2026-03-02T14:05:00Z,stones-fitted,S2,A3,0,",
    ]
    monitor.take([write(home, "events.csv", EVENTS, events)])
    lines = measured_rows(np.random.default_rng(1), "A1", AT, [0, 48, 96], rate=0.3, new=2400.0)
    monitor.take([write(home, "measured.csv", MEASURED, lines)])
    monitor.take([write(home, "sets.csv", SETS, [f"A{i},D64,first,L{i}" for i in (1, 2, 3)])])
    monitor.close()
    return home


def shown(folder, capsys, *argv: str) -> str:
    assert main(["stones", "--cell", str(folder), *argv]) == 0
    return capsys.readouterr().out


def test_every_set_stands_in_a_table_with_its_advice_and_the_cautions(folder, capsys):
    out = shown(folder, capsys)
    assert "A1" in out and "A2" in out and "A3" in out
    assert "2,110" in out  # bores of A1: 2000 before, 110 since
    assert "run" in out and "trial" in out
    assert "lock out" in out and "eye protection" in out


def test_one_set_is_shown_in_full(folder, capsys):
    out = shown(folder, capsys, "--set", "A1")
    assert "A1: D64, first, lot L1" in out
    assert "thinnest um" in out and "At its last round:" in out
    assert "qualified people" in out


def test_the_document_is_one_and_names_what_is_not_known(folder, capsys):
    found = json.loads(shown(folder, capsys, "--json"))
    assert {s["stone_set"] for s in found["sets"]} == {"A1", "A2", "A3"}
    assert found["sets"][0]["why_not"]
    assert found["cautions"]


def test_an_unknown_set_is_one_sentence(folder, capsys):
    assert main(["stones", "--cell", str(folder), "--set", "Q"]) == 1
    assert "no stone set Q" in capsys.readouterr().err


def test_sets_are_exported_one_a_row(folder, tmp_path, capsys):
    out = tmp_path / "sets.csv"
    args = ["export", "stones", "--cell", str(folder), "--to", "csv", "--out", str(out)]
    assert main(args) == 0
    lines = out.read_text().splitlines()
    assert len(lines) == 4 and lines[0].startswith('"stone_set","state"')
    assert "thickness_left_um" in lines[0] and "remaining_p05" in lines[0]

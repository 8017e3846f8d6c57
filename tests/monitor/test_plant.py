"""Cells that share a database say what they say alone, and the database says which there are."""

from __future__ import annotations

import json

import pytest

import cellmon
from cellmon.cli.main import main
from cellmon.monitor.plant import plant
from tests.small_cell import EVENTS, HEADER, derived, events, new_cell, rows, write
from tests.store.conftest import new_database


@pytest.fixture(scope="module")
def shared(postgres_url, tmp_path_factory) -> str:
    """A database with two cells that were fed by turns, one of them moved there later."""
    url, folder = new_database(postgres_url), tmp_path_factory.mktemp("plant")
    first = new_cell(folder / "1", url=f"{url}?cell=line_1")
    second = new_cell(folder / "2")
    for monitor, seed in ((first, 1), (second, 2)):
        monitor.take([write(folder, f"events{seed}.csv", EVENTS, events())])
        lines = rows(110, seed=seed)
        for half, part in enumerate((lines[: len(lines) // 2], lines[len(lines) // 2 :])):
            monitor.take([write(folder, f"rows{seed}{half}.csv", HEADER, part)])
    alone = derived(second)
    second.close()
    assert main(["move", "--cell", str(folder / "2"), "--to", f"{url}?cell=line_2"]) == 0
    moved = cellmon.open_cell(folder / "2")
    assert derived(moved) == alone
    assert derived(first) != alone
    assert first.check(rebuild=True).sound and moved.check(rebuild=True).sound
    first.close(), moved.close()
    return url


def test_the_database_says_which_cells_it_holds(shared):
    found = plant(shared)
    assert [one.cell for one in found.cells] == ["line_1", "line_2"]
    assert {one.readings for one in found.cells} == {2 * 110}
    assert all(one.files == 3 and one.newest and one.taken_at for one in found.cells)
    assert found.sentence == "2 cells with 440 rows of readings from 6 files."


def test_the_command_prints_a_row_a_cell_and_one_document(shared, capsys):
    assert main(["plant", shared]) == 0
    assert "line_2" in capsys.readouterr().out
    assert main(["plant", shared, "--json"]) == 0
    assert [one["cell"] for one in json.loads(capsys.readouterr().out)["cells"]] == ["line_1", "line_2"]


def test_an_empty_database_and_a_file_are_told_apart(postgres_url, capsys):
    assert plant(new_database(postgres_url)).sentence.startswith("No cell yet")
    assert main(["plant", "sqlite:///cell.db"]) == 1
    assert "holds one cell" in capsys.readouterr().err

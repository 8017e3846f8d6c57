"""Fifty cells of one database take files at once while others read: no row is lost, none waits for long."""

from __future__ import annotations

import pytest

import cellmon
from cellmon.monitor.plant import plant
from tests.bench.plant_load import BORES, FIRST, Load, make_cell, run, told
from tests.store.conftest import new_database

CELLS = 50


@pytest.mark.slow
def test_fifty_cells_write_at_once_while_others_read(postgres_url, tmp_path, capsys):
    url = new_database(postgres_url)
    load = Load(url=url, cells=CELLS, seconds=120, pace=60, writers=3, readers=1, looked_at=20)
    for number in range(CELLS):
        make_cell(tmp_path / f"{number:02d}", url, number)
    seen = run(load, tmp_path)
    with capsys.disabled():
        print(f"\ntakes {told(seen.takes)}; answers {told(seen.answers)}; {seen.late} late")
    assert seen.failed == []
    assert len(seen.takes) >= CELLS
    assert sum(one.files for one in plant(url).cells) == 2 * CELLS + len(seen.takes)
    monitor = cellmon.open_cell(tmp_path / "07")
    assert monitor.check(rebuild=True).sound, "what was taken beside others is what it is alone"
    assert monitor.totals().taken >= (FIRST + 1) * BORES
    monitor.close()

"""What a page's refresh takes of the processor once something was committed, on the demo week."""

from __future__ import annotations

import shutil

import pytest

import cellmon
from tests.bench.pages_of import refreshes


@pytest.mark.bench
def test_a_refresh_of_every_page(demo_week, tmp_path):
    shutil.copytree(demo_week, tmp_path / "cell")
    monitor = cellmon.open_cell(tmp_path / "cell")
    refreshes(monitor)  # what a process imports and works out once
    for name, seconds in refreshes(monitor).items():
        print(f"\n{name}: {1000 * seconds:.0f} ms of the processor")
    monitor.close()

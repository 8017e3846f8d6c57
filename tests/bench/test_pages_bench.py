"""What a page's refresh takes of the processor once a batch was committed, on the demo week."""

from __future__ import annotations

import shutil

import pytest

import cellmon
from tests.bench.next_batch import next_batches
from tests.bench.pages_of import refreshes


@pytest.mark.bench
def test_a_refresh_of_every_page(demo_week, tmp_path):
    shutil.copytree(demo_week, tmp_path / "cell")
    monitor = cellmon.open_cell(tmp_path / "cell")
    commit = next_batches(monitor, tmp_path)
    refreshes(monitor, commit)  # what a process imports and works out once
    for name, seconds in refreshes(monitor, commit).items():
        print(f"\n{name}: {1000 * seconds:.0f} ms of the processor")
    monitor.close()

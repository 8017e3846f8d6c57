"""Long files: read right in whole columns, and at a small multiple of pandas' bare read."""

from __future__ import annotations

import time

import numpy as np
import pandas as pd
import pytest

from cellmon.intake import read_file
from tests.intake.conftest import is_accounted_for


def written(path, rows):
    """Write readings of four bores a block, six readings a bore; return the file and its deviations."""
    rng = np.random.default_rng(1)
    row = np.arange(rows)
    block, bore = row // 24, row // 6 % 4
    um = np.round(12 + rng.normal(0, 2, rows), 1)
    at = np.datetime64("2026-01-05T06:00:00") + block * np.timedelta64(85, "s")
    columns = {
        "part": np.char.add("B", block.astype(str)),
        "bore": bore + 1,
        "spindle": np.where(bore < 2, "S1", "S2"),
        "measured_at": np.char.add(np.datetime_as_string(at, unit="s"), "+01:00"),
        "plane": np.array(["top", "middle", "bottom"])[row // 2 % 3],
        "direction": np.array(["x", "y"])[row % 2],
        "diameter": np.round(87.3 + um / 1000, 4),
        "stone_set": np.where(bore < 2, "FS-1", "FS-2"),
        "sequence": block,
    }
    pd.DataFrame(columns).to_csv(path, index=False)
    return um


def test_a_long_file_is_read_right_also_where_columns_are_coded_side_by_side(sheet, tmp_path):
    um = written(tmp_path / "long.csv", 24 * 1250)
    taken = read_file(tmp_path / "long.csv", sheet)
    assert np.array_equal(taken.batch.um.ravel(), um)
    assert np.array_equal(taken.batch.lines.ravel(), np.arange(2, 2 + len(um)))
    is_accounted_for(taken)


@pytest.mark.bench
def test_a_million_readings_cost_a_few_times_what_pandas_takes_to_read_them(sheet, tmp_path):
    path = tmp_path / "long.csv"
    written(path, 1_000_000)
    took = {"pandas": [], "ours": []}
    for _ in range(4):
        for name, read in (("pandas", pd.read_csv), ("ours", lambda p: read_file(p, sheet))):
            began = time.perf_counter()
            read(path)
            took[name].append(time.perf_counter() - began)
    ours, bare = min(took["ours"]), min(took["pandas"])
    print(f"intake {ours:.2f} s, pandas {bare:.2f} s, ratio {ours / bare:.1f}")
    assert ours < 2.5 and ours / bare < 8

"""All that is known of one block, in a store of ten thousand bores, of a million, and of ten million.

The million is taken, file by file; the ten are that store with nine more pasts before it.
"""

from __future__ import annotations

import time

import numpy as np
import pytest

from cellmon.monitor import Monitor
from tests.bench.grown import PASTS, WEEKS, filled, year
from tests.bench.longer_store import lengthen

SIZES = (10_000, 1_000_000)
ASKED = 40
ROUNDS = 3
WANTED_S = 0.3


def serials_of(bores: int) -> np.ndarray:
    return np.unique(year().readings.part[:bores].astype(str))


def quickest(monitor: Monitor, serial: str) -> float:
    """Return the seconds of the quickest of three answers: other work slows single ones."""
    took = []
    for _ in range(ROUNDS):
        began = time.perf_counter()
        assert monitor.part(serial).measurements
        took.append(time.perf_counter() - began)
    return min(took)


def asked_of(monitor: Monitor, serials: np.ndarray, *, bores: int) -> float:
    """Return the seconds of the slowest of some blocks, each the quickest of three."""
    asked = np.random.default_rng(3).choice(serials, ASKED, replace=False)
    took = [quickest(monitor, str(serial)) for serial in asked]
    print(
        f"\n{bores:,} bores, {ASKED} blocks: median {1000 * float(np.median(took)):.0f} ms, "
        f"slowest {1000 * max(took):.0f} ms"
    )
    return max(took)


@pytest.mark.bench
def test_a_block_of_a_million_bores_is_told_as_fast_as_one_of_ten_thousand(tmp_path):
    small = filled(tmp_path / f"cell-{SIZES[0]}", bores=SIZES[0])
    worst = [asked_of(small, serials_of(SIZES[0]), bores=SIZES[0])]
    small.close()
    monitor, serials = filled(tmp_path / f"cell-{SIZES[1]}", bores=SIZES[1]), serials_of(SIZES[1])
    worst.append(asked_of(monitor, serials, bores=SIZES[1]))
    with monitor._store.writing() as session:
        lengthen(session, copies=PASTS, weeks=WEEKS + 1)
    marked = np.char.add(np.random.default_rng(7).integers(1, PASTS + 1, len(serials)).astype(str), "-")
    worst.append(asked_of(monitor, np.char.add(marked, serials), bores=SIZES[-1] * (PASTS + 1)))
    monitor.close()
    assert max(worst) < WANTED_S, worst

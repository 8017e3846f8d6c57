"""What the benchmark works on, made once into a folder from fixed seeds and found there again."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np

from cellmon.records import Readings
from cellmon.simulate.line import run
from tests.bench.test_take import long_file
from tests.simulate.year import harrowmere_year

SIZES = {"10k": 10_000, "100k": 100_000, "1m": 1_000_000, "10m": 10_000_000}
PER_BORE = 6
BORES_A_WEEK = 22_000


def readings_file(folder: Path, size: str) -> Path:
    """Return a CSV file of so many readings of the virtual cell, one a row."""
    path = folder / f"readings-{size}.csv"
    if not path.exists():
        part = path.with_suffix(".part")
        long_file(readings(SIZES[size] // PER_BORE), part)
        part.rename(path)
    return path


def readings(bores: int) -> Readings:
    """Return the first so many bores of the virtual cell that lack no reading."""
    made = run(harrowmere_year(weeks=2 + bores // BORES_A_WEEK), seed=3).readings
    whole = made.select(np.isfinite(made.um).all(axis=(1, 2)))
    if len(whole) < bores:
        raise SystemExit(f"the virtual cell made {len(whole)} bores, {bores} are wanted")
    return whole.select(slice(0, bores))


def demo_cell(folder: Path) -> Path:
    """Return the demonstration's cell with its week taken."""
    cell = folder / "demo"
    if not (cell / "cell.toml").exists():
        command = [sys.executable, "-m", "cellmon", "demo", str(cell), "--no-serve"]
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    return cell


def points(count: int) -> np.ndarray:
    """Return so many standard normal numbers."""
    return np.random.default_rng(8).standard_normal(count)

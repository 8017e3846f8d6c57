"""Taking a file of a million readings, against pandas' bare read of the same file in the same run."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import cellmon
from cellmon.records import Readings
from cellmon.simulate.line import run
from cellmon.simulate.sheet_text import sheet_text
from tests.simulate.year import harrowmere_year

MILLION = 1_000_000
ROUNDS = 5


@pytest.fixture(scope="module")
def readings() -> Readings:
    made = run(harrowmere_year(weeks=8), seed=3).readings
    whole = made.select(np.isfinite(made.um).all(axis=(1, 2)))
    return whole.select(slice(0, MILLION // 6))


def iso(times: np.ndarray) -> np.ndarray:
    return np.char.add(np.datetime_as_string(times, unit="s"), "Z")


def beside(r: Readings) -> dict[str, np.ndarray]:
    return {
        "part": r.part,
        "bore": r.bore,
        "spindle": r.spindle,
        "measured_at": iso(r.measured_at),
        "honed_at": iso(r.honed_at),
        "fixture": r.fixture,
        "sequence": r.sequence.astype(int),
    }


def long_file(r: Readings, path: Path) -> Path:
    planes, directions = len(r.planes), len(r.directions)
    table = {name: np.repeat(values, planes * directions) for name, values in beside(r).items()}
    table["plane"] = np.tile(np.repeat(r.planes, directions), len(r))
    table["direction"] = np.tile(r.directions, len(r) * planes)
    table["diameter"] = np.round(87.3 + r.um.reshape(-1) / 1000, 4)
    pd.DataFrame(table).to_csv(path, index=False)
    return path


def wide_file(r: Readings, path: Path) -> Path:
    table = beside(r)
    for i, plane in enumerate(r.planes):
        for j, direction in enumerate(r.directions):
            table[f"{plane}_{direction}"] = np.round(87.3 + r.um[:, i, j] / 1000, 4)
    pd.DataFrame(table).to_csv(path, index=False)
    return path


def median_time(work, rounds: int = ROUNDS) -> float:
    found = []
    for i in range(rounds):
        began = time.perf_counter()
        work(i)
        found.append(time.perf_counter() - began)
    return float(np.median(found))


@pytest.mark.bench
@pytest.mark.parametrize("write", [long_file, wide_file])
def test_taking_a_million_readings(readings, write, tmp_path):
    path = write(readings, tmp_path / "million.csv")
    bare = median_time(lambda _: pd.read_csv(path))
    one_thread = median_time(lambda _: pd.read_csv(path, engine="python"), rounds=1)

    def take(i: int) -> None:
        folder = tmp_path / f"cell-{i}"
        folder.mkdir()
        (folder / "cell.toml").write_text(sheet_text(), encoding="utf-8")
        taken = cellmon.open_cell(folder).take([path]).files[0]
        assert taken.rows == taken.taken and taken.bores == len(readings)

    whole = median_time(take)
    print(
        f"\n{write.__name__}: bare read {bare:.2f} s, plain-Python read {one_thread:.1f} s, "
        f"take {whole:.2f} s, ratio {whole / bare:.1f}"
    )


@pytest.mark.bench
def test_a_batch_costs_the_same_however_long_the_history(readings, tmp_path):
    folder = tmp_path / "cell"
    folder.mkdir()
    (folder / "cell.toml").write_text(sheet_text(), encoding="utf-8")
    monitor = cellmon.open_cell(folder)
    sizes, costs = (10_000, 100_000, 160_000), []
    taken = 0
    for size in sizes:
        monitor.take([wide_file(readings.select(slice(taken, size)), tmp_path / f"{size}.csv")])
        batch = [
            wide_file(readings.select(slice(size + 200 * i, size + 200 * (i + 1))), tmp_path / f"b{i}.csv")
            for i in range(5)
        ]
        costs.append(median_time(lambda i, batch=batch: monitor.take([batch[i]])))
        taken = size + 1000
    print(
        "\n200 bores after", ", ".join(f"{n:,}: {c * 1000:.0f} ms" for n, c in zip(sizes, costs, strict=True))
    )

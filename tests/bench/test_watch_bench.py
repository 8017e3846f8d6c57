"""The watch over a million subgroups against a bare EWMA of the same points; judging 1,000 bores on top."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import cellmon
from cellmon.charts.ewma import ewma
from cellmon.drift.columns import State
from cellmon.drift.watch import watch
from cellmon.monitor.judge.budget import (
    budget,
    detector_limits,
    level_limits,
    log_rate,
    single_limit,
    spread_limits,
)
from cellmon.records import Readings
from cellmon.simulate.line import run
from cellmon.simulate.sheet_text import sheet_text
from tests.bench.test_take import beside
from tests.drift.streams import drawn, known, limits_of, steps_of
from tests.monitor.judge.making import demo_sheet, stream
from tests.simulate.year import harrowmere_year

ROUNDS = 5
BATCH = 1000


def median_time(work, rounds: int = ROUNDS) -> float:
    found = []
    for i in range(rounds):
        began = time.perf_counter()
        work(i)
        found.append(time.perf_counter() - began)
    return float(np.median(found))


@pytest.mark.bench
@pytest.mark.parametrize("streams", [60, 200, 1000])
def test_a_million_subgroups(streams):
    steps = 1_000_000 // streams
    mean, sd = drawn(np.random.default_rng(1), steps, streams)
    made, learned = steps_of(mean, sd), [known()] * streams
    limits = limits_of(
        streams,
        level=level_limits(log_rate(1 / 38_000)),
        spread=spread_limits(log_rate(1 / 76_000), 4),
        single=single_limit(1 / 152_000, 5),
    )
    flat = np.ascontiguousarray(mean.ravel())
    bare = median_time(lambda _: ewma(flat, 0.1))
    whole = median_time(lambda _: watch(State.begin(learned), made, learned, limits), rounds=3)
    print(
        f"\n{steps:,} subgroups of {streams} streams: EWMA {bare * 1000:.1f} ms, watch {whole:.2f} s, "
        f"ratio {whole / bare:.0f}, {whole / mean.size * 1e6:.2f} us a subgroup"
    )


@pytest.mark.bench
def test_every_limit_of_a_cell():
    found = budget(demo_sheet())
    streams = [
        stream(
            f.spindle,
            {"S1": "1", "S2": "3"}.get(f.spindle) if f.scope in ("bore", "distance") else None,
            f.feature,
        )
        for f in found.families
    ]
    for clear in (level_limits, spread_limits, single_limit):
        clear.cache_clear()
    began = time.perf_counter()
    detector_limits(found, streams, [5] * len(streams))
    print(f"\nevery limit of the demonstration's cell: {time.perf_counter() - began:.2f} s")


@pytest.fixture(scope="module")
def readings() -> Readings:
    made = run(harrowmere_year(weeks=6), seed=3).readings
    return made.select(np.isfinite(made.um).all(axis=(1, 2)))


def wide_file(r: Readings, path: Path) -> Path:
    table = beside(r)
    for i, plane in enumerate(r.planes):
        for j, direction in enumerate(r.directions):
            table[f"{plane}_{direction}"] = np.round(87.3 + r.um[:, i, j] / 1000, 4)
    pd.DataFrame(table).to_csv(path, index=False)
    return path


@pytest.mark.bench
@pytest.mark.parametrize("stored", [10_000, 100_000])
def test_judging_a_batch_on_top_of_taking_it(readings, stored, tmp_path, monkeypatch):
    from cellmon.monitor.judge import watching

    (tmp_path / "cell").mkdir()
    (tmp_path / "cell" / "cell.toml").write_text(sheet_text(), encoding="utf-8")
    monitor = cellmon.open_cell(tmp_path / "cell")
    monitor.take([wide_file(readings.select(slice(0, stored)), tmp_path / "stored.csv")])
    batches = [
        wide_file(readings.select(slice(stored + BATCH * i, stored + BATCH * (i + 1))), tmp_path / f"{i}.csv")
        for i in range(2 * ROUNDS)
    ]
    with_watch = median_time(lambda i: monitor.take([batches[i]]))
    import cellmon.monitor.judge as judging

    monkeypatch.setattr(judging, "watch_units", lambda *args, **named: None)
    assert judging.watch_units is not watching.watch_units
    without = median_time(lambda i: monitor.take([batches[ROUNDS + i]]))
    print(
        f"\n1,000 bores after {stored:,}: taking {without * 1000:.0f} ms without the watch, "
        f"{with_watch * 1000:.0f} ms with it, {1000 * (with_watch - without):.0f} ms on top"
    )

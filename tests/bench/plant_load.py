"""Many simulated cells writing into one PostgreSQL database at once, while others read what pages show.

    python -m tests.bench.plant_load URL --cells 50 --seconds 180 --pace 10

Each cell takes a file of ten blocks (80 bores, 480 readings) every so many seconds, at a moment of its own.
Cells share a few processes, each cell in a thread of its own. Readers ask one cell after another for what
the page of its machine and its signals show. What is printed: how long a take and an answer lasted, from the
outside, and whether every row that was taken is there. Fifty cells want `max_connections = 300` of the
server; what failed for lack of them, or else, is named and ends the program with 1.
"""

from __future__ import annotations

import argparse
import multiprocessing
import random
import tempfile
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

import cellmon
from cellmon.monitor.plant import plant
from tests.bench.many_cells import BLOCK_S, PLACES, SHEET, START, simulated_readings

BLOCKS = 10
"""Blocks of a file."""
BORES = BLOCKS * PLACES
FIRST = 20
"""So many files' blocks each cell has taken before, in one file: its provisional limits stand."""
NAMES = tuple(f"{plane}_{direction}" for plane in ("top", "middle", "bottom") for direction in ("x", "y"))


@dataclass
class Seen:
    """What one process measured; seconds."""

    takes: list[float] = field(default_factory=list)
    answers: list[float] = field(default_factory=list)
    take_cpu: list[float] = field(default_factory=list)
    """Of the thread that took."""
    answer_cpu: list[float] = field(default_factory=list)
    late: int = 0
    """Files that were due before the one before was taken."""
    failed: list[str] = field(default_factory=list)


@dataclass(frozen=True, kw_only=True)
class Load:
    """How hard a plant is loaded."""

    url: str
    cells: int
    seconds: float
    pace: float
    writers: int = 5
    readers: int = 2
    looked_at: int | None = None
    """Cells that each reader opens; all by default."""


@dataclass(frozen=True, kw_only=True)
class Signs:
    """What processes tell one another."""

    warm: Any
    go: Any
    results: Any


def make_cell(folder: Path, url: str, number: int) -> None:
    """Write the folder of one cell and take its first file."""
    folder.mkdir(parents=True, exist_ok=True)
    store = f'[store]\nurl = "{url}?cell=cell_{number:02d}"\n'
    (folder / "cell.toml").write_text(SHEET.replace("{name}", f"cell {number:02d}") + store, encoding="utf-8")
    monitor = cellmon.open_cell(folder)
    monitor.take([file_of(folder, number, 0, files=FIRST)])
    monitor.close()


def file_of(folder: Path, number: int, index: int, *, files: int = 1) -> Path:
    """Write the file of ten blocks that a cell makes as its so manieth; of several in one."""
    rng = np.random.default_rng([20261127, number, index])
    block = np.repeat(np.arange(index * BLOCKS, (index + files) * BLOCKS), PLACES)
    place = np.tile(np.arange(PLACES), files * BLOCKS)
    at = START + (block * BLOCK_S + place * 3).astype("timedelta64[s]")
    um = simulated_readings(rng, np.full(len(block), 12.0)).reshape(len(block), -1)
    lines = [f"part,bore,spindle,measured_at,{','.join(NAMES)}"]
    for row in range(len(block)):
        sizes = ",".join(f"{87.3 + v / 1000:.4f}" for v in um[row])
        spindle = "S1" if place[row] < 4 else "S2"
        lines.append(f"B{block[row]:07d},{place[row] + 1},{spindle},{at[row]}Z,{sizes}")
    path = folder / f"{index:06d}.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def run(load: Load, folder: Path) -> Seen:
    """Load a plant and return what was seen; the cells stand already."""
    context = multiprocessing.get_context("spawn")
    results: Any = context.Queue()
    shares = [list(range(load.cells))[i :: load.writers] for i in range(load.writers)]
    warm, go = context.Semaphore(0), context.Event()
    given = (load, folder, Signs(warm=warm, go=go, results=results))
    processes = [context.Process(target=_write, args=(*given, mine)) for mine in shares]
    processes += [context.Process(target=_read, args=(*given, i)) for i in range(load.readers)]
    for process in processes:
        process.start()
    for _ in range(load.cells + load.readers):
        warm.acquire()
    go.set()
    whole = Seen()
    for _ in processes:
        seen = results.get(timeout=load.seconds * 4 + 600)
        for name in ("takes", "answers", "take_cpu", "answer_cpu", "failed"):
            getattr(whole, name).extend(getattr(seen, name))
        whole.late += seen.late
    for process in processes:
        process.join()
    return whole


def _write(load: Load, folder: Path, signs: Signs, cells: list[int]) -> None:
    seen = Seen()
    threads = [
        threading.Thread(target=_feed, args=(load, folder / f"{number:02d}", number, signs, seen))
        for number in cells
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    signs.results.put(seen)


def _feed(load: Load, folder: Path, number: int, signs: Signs, seen: Seen) -> None:
    try:
        monitor = cellmon.open_cell(folder)
        monitor.take([file_of(folder, number, FIRST)])  # limits of the detectors are solved once a process
        signs.warm.release()
        signs.go.wait()
        begin, index = time.monotonic(), FIRST + 1
        due = begin + load.pace * random.Random(number).random()
        while due < begin + load.seconds:
            time.sleep(max(due - time.monotonic(), 0))
            path = file_of(folder, number, index)
            begun, cpu = time.perf_counter(), time.thread_time()
            monitor.take([path])
            seen.takes.append(time.perf_counter() - begun)
            seen.take_cpu.append(time.thread_time() - cpu)
            path.unlink()
            index, due = index + 1, due + load.pace
            seen.late += due < time.monotonic()
        monitor.close()
    except Exception as failed:  # noqa: BLE001  a thread that dies must be seen
        seen.failed.append(repr(failed))
        signs.warm.release()  # else nobody would ever begin


def _read(load: Load, folder: Path, signs: Signs, number: int) -> None:
    seen, draw = Seen(), random.Random(1000 + number)
    try:
        cells = [cellmon.open_cell(folder / f"{i:02d}") for i in range(load.looked_at or load.cells)]
        cells[0].now(), cells[0].signals()
        signs.warm.release()
        signs.go.wait()
        stop = time.monotonic() + load.seconds
        while time.monotonic() < stop:
            cell = draw.choice(cells)
            begun, cpu = time.perf_counter(), time.thread_time()
            cell.last_change()
            cell.now()
            cell.signals()
            seen.answers.append(time.perf_counter() - begun)
            seen.answer_cpu.append(time.thread_time() - cpu)
            time.sleep(0.2)
        for cell in cells:
            cell.close()
    except Exception as failed:  # noqa: BLE001
        seen.failed.append(repr(failed))
        signs.warm.release()
    signs.results.put(seen)


def told(seconds: list[float]) -> str:
    """Return median, 99th percentile and the worst."""
    p50, p99, worst = np.quantile(seconds, [0.5, 0.99, 1.0])
    return f"{len(seconds)}: p50 {p50 * 1e3:.0f} ms, p99 {p99 * 1e3:.0f} ms, worst {worst * 1e3:.0f} ms"


def main() -> None:
    """Make the cells, load the plant, print what was seen."""
    parser = argparse.ArgumentParser()
    parser.add_argument("url")
    parser.add_argument("--cells", type=int, default=50)
    parser.add_argument("--seconds", type=float, default=180)
    parser.add_argument("--pace", type=float, default=10)
    given = parser.parse_args()
    load = Load(url=given.url, cells=given.cells, seconds=given.seconds, pace=given.pace)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for number in range(load.cells):
            make_cell(folder / f"{number:02d}", load.url, number)
        print(f"{load.cells} cells stand", flush=True)
        begun = time.perf_counter()
        seen = run(load, folder)
        lasted = time.perf_counter() - begun
    if not (seen.takes and seen.answers):
        raise SystemExit(f"nothing was taken or answered: {seen.failed}")
    files = sum(one.files for one in plant(load.url).cells)
    print(
        f"takes {told(seen.takes)}; {len(seen.takes) * BORES / lasted:.0f} bores a second; {seen.late} late"
    )
    print(f"answers {told(seen.answers)}")
    print(f"of the processor: takes {told(seen.take_cpu)}; answers {told(seen.answer_cpu)}")
    wanted = load.cells * 2 + len(seen.takes)
    print(f"files in the plant {files}, taken {wanted}; failed {seen.failed}")
    if seen.failed or files != wanted:
        raise SystemExit(1)


if __name__ == "__main__":
    main()

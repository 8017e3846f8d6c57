"""What a taken cell found of what is true of it: delays, names, false alarms, hold lists.

Run it to tune a detector: `python -m tests.monitor.detection.score --weeks 3`, or `--week 7 --signals`.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np

import cellmon
from cellmon.monitor import Monitor
from cellmon.shifts import to_utc
from tests.monitor.detection.cell_files import write_cell
from tests.monitor.detection.cells import CELLS
from tests.monitor.detection.report import listing, summary, table
from tests.monitor.detection.scored import (
    DECOY,
    DIRT,
    ECHO,
    FALSE,
    FAULT,
    FaultScore,
    Judged,
    Score,
    causes_of,
)
from tests.monitor.detection.truth import Fault, Truth
from tests.monitor.detection.weeks import write_week

MARGIN = np.timedelta64(30, "m")
"""A change may be dated so far outside the fault's window and still be that fault."""
NEAR_DIRT = 5
"""Dirt moves the subgroup it lies in: a signal so many blocks after it is true."""


def score(monitor: Monitor, truth: Truth, *, name: str = "cell") -> Score:
    """Score the signals of an open cell against what is true of it."""
    began = time.perf_counter()
    answered = monitor.signals()
    took = time.perf_counter() - began
    alarms = monitor.sheet.alarms
    assert alarms is not None, "a cell that promises nothing cannot break a promise"
    standing = [s for s in answered.signals if s.state != "withdrawn"]
    index = {part: i for i, part in enumerate(truth.parts.tolist())}
    judged = tuple(sorted((judge(s, truth, index) for s in standing), key=lambda j: j.raised))
    return Score(
        name=name,
        faults=tuple(_of_fault(monitor, fault, judged, truth, index) for fault in truth.faults),
        judged=judged,
        withdrawn=len(answered.signals) - len(standing),
        promised=alarms.false_alarms_per_week * truth.weeks,
        weeks=truth.weeks,
        answer_s=took,
    )


def judge(signal: Any, truth: Truth, index: dict[str, int]) -> Judged:
    """Say what a signal was."""
    raised = to_utc(signal.raised_at)
    for fault in truth.faults:
        if fault.scope.fits(signal) and _is_its_time(signal, raised, fault):
            return Judged(signal=signal, raised=raised, what=FAULT, of=fault.name)
    if (dirty := _dirt_under(signal, truth, index)) is not None:
        return Judged(signal=signal, raised=raised, what=DIRT, of=dirty)
    for fault in truth.faults:
        if _is_its_time(signal, raised, fault):
            return Judged(signal=signal, raised=raised, what=ECHO, of=fault.name)
    for decoy in truth.decoys:
        if decoy.holds(raised):
            return Judged(signal=signal, raised=raised, what=DECOY, of=decoy.name)
    return Judged(signal=signal, raised=raised, what=FALSE)


def _is_its_time(signal: Any, raised: np.datetime64, fault: Fault) -> bool:
    """Say whether it was raised while the fault showed, or later with its change dated into the fault."""
    if fault.starts <= raised <= fault.over:
        return True
    change = getattr(signal, "change", None)
    if change is None or raised < fault.starts:
        return False
    return bool(fault.starts - MARGIN <= to_utc(change.at) <= fault.over)


def _dirt_under(signal: Any, truth: Truth, index: dict[str, int]) -> str | None:
    last = index.get(signal.part)
    if last is None or getattr(signal, "stream", None) is None:
        return None
    for part, bore in truth.dirty:
        back = last - index[part]
        if 0 <= back < NEAR_DIRT and signal.stream.bore in (None, bore):
            return part
    return None


def _of_fault(
    monitor: Monitor, fault: Fault, judged: Sequence[Judged], truth: Truth, index: dict[str, int]
) -> FaultScore:
    mine = [j for j in judged if j.what == FAULT and j.of == fault.name]
    if not mine:
        return FaultScore(name=fault.name, size=fault.size, found=False, asked=bool(fault.causes))
    first = mine[0]
    start = index[fault.parts[0]]
    at = int(np.searchsorted(truth.measured_at, first.raised, side="right")) - 1
    ranks = [rank for j in mine if (rank := rank_of(j.signal, fault)) is not None]
    held = [held_parts(monitor, j.signal) for j in mine]
    inside = _inside_interval(first.signal, start, index)
    return FaultScore(
        name=fault.name,
        size=fault.size,
        found=True,
        asked=bool(fault.causes),
        signals=len(mine),
        kind=first.signal.kind,
        stream=str(first.signal.stream),
        delay_blocks=max(at - start + 1, 0),
        rank=ranks[0] if ranks else None,
        best_rank=min((rank for rank in ranks if rank), default=0) if ranks else None,
        named=_first_cause(mine),
        change_off_blocks=_change_off(first.signal, start, index),
        inside_interval=inside,
        covered=_share(fault, held[0]),
        covered_by_all=_share(fault, frozenset().union(*held)),
        length=_length(fault, first, held[0], truth, index, at=at),
    )


def rank_of(signal: Any, fault: Fault) -> int | None:
    """Return the place of a right cause, 0 where it is missing, None where no cause is given at all."""
    given = causes_of(signal)
    if not given or not fault.causes:
        return None
    return next((i for i, cause in enumerate(given, start=1) if cause in fault.causes), 0)


def _first_cause(mine: Sequence[Judged]) -> str | None:
    given = [causes[0] for j in mine if (causes := causes_of(j.signal))]
    return given[0] if given else None


def held_parts(monitor: Monitor, signal: Any) -> frozenset[str]:
    """Return the blocks on the hold list of a signal."""
    return frozenset(h.part for h in monitor.hold(signal.id).parts)


def _share(fault: Fault, held: frozenset[str]) -> float:
    return len(held.intersection(fault.parts)) / len(fault.parts)


def _length(
    fault: Fault, first: Judged, held: frozenset[str], truth: Truth, index: dict[str, int], *, at: int
) -> float | None:
    """Compare the list as it stood at the signal with the shortest that holds all that was touched."""
    fixture = getattr(getattr(first.signal, "stream", None), "fixture", None)
    same = np.ones(len(truth.parts), dtype=bool)
    if fixture is not None and truth.fixture_of is not None:
        same = truth.fixture_of == fixture
    start = index[fault.parts[0]]
    needed = int(same[start : at + 1].sum())
    listed = sum(1 for part in held if part in index and index[part] <= at)
    return listed / needed if needed else None


def _change_off(signal: Any, start: int, index: dict[str, int]) -> int | None:
    change = getattr(signal, "change", None)
    if change is None or change.part not in index:
        return None
    return index[change.part] - start


def _inside_interval(signal: Any, start: int, index: dict[str, int]) -> bool | None:
    change = getattr(signal, "change", None)
    if change is None or change.earliest_part not in index or change.latest_part not in index:
        return None
    return bool(index[change.earliest_part] <= start <= index[change.latest_part])


def score_week(i: int, folder: Path) -> Score:
    """Make week `i` in a folder, take it, and score it."""
    week = write_week(i, folder)
    name = f"week {i}: made in {week.made_s:.1f} s, taken in {week.taken_s:.1f} s"
    return _opened(folder, week.truth, name)


def score_cell(name: str, folder: Path, *, seed: int) -> Score:
    """Make one of the plain cells in a folder, take it, and score it."""
    began = time.perf_counter()
    truth = write_cell(CELLS[name], folder, seed=seed)
    return _opened(folder, truth, f"{name}: made and taken in {time.perf_counter() - began:.1f} s")


def _opened(folder: Path, truth: Truth, name: str) -> Score:
    monitor = cellmon.open_cell(folder)
    try:
        return score(monitor, truth, name=name)
    finally:
        monitor.close()


def main() -> None:
    """Score weeks or plain cells one by one and print them."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--weeks", type=int, default=3, help="score weeks 0 to this, not included")
    asked.add_argument("--week", type=int, action="append", help="score these weeks only")
    asked.add_argument("--cells", action="store_true", help="score the plain cells instead")
    asked.add_argument("--cell", choices=CELLS, action="append", help="score these plain cells only")
    asked.add_argument("--seeds", type=int, default=1, help="with so many seeds each")
    asked.add_argument("--signals", action="store_true", help="list every signal")
    asked.add_argument("--keep", type=Path, help="leave the cells in this folder")
    options = asked.parse_args()
    with tempfile.TemporaryDirectory() as made:
        for group in _asked_for(options, options.keep or Path(made)):
            scores = []
            for scored in group:
                scores.append(scored)
                print(table(scored), flush=True)
                print(listing(scored) + "\n" if options.signals else "")
            print(summary(scores) + "\n")


def _asked_for(options: argparse.Namespace, folder: Path) -> Iterator[Iterator[Score]]:
    """Yield groups of scores that may be summed up together, each made when it is asked for."""
    if not (options.cells or options.cell):
        yield (score_week(i, folder / f"week-{i}") for i in options.week or range(options.weeks))
        return
    for number, name in enumerate(options.cell or CELLS):
        places = [(folder / f"cell-{number}-{seed}", seed) for seed in range(options.seeds)]
        yield (score_cell(name, place, seed=seed) for place, seed in places)


if __name__ == "__main__":
    main()

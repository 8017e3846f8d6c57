"""The level of each spindle: drift of its stones, corrections by the gauge, entries by hand."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cellmon.records import Flags, Numbers
from cellmon.simulate import incidents as plant
from cellmon.simulate.clock import Clock
from cellmon.simulate.moments import inside, utc
from cellmon.simulate.scenario import Feedback, Scenario


@dataclass(frozen=True, kw_only=True)
class Correction:
    """An offset that took effect with a block; `at` is when it was entered, UTC."""

    spindle: int
    block: int
    at: np.datetime64
    um: float
    by: str


@dataclass(frozen=True, kw_only=True, eq=False)
class Levels:
    """Level of each spindle at each block, shape (n, spindles), and how it came about."""

    um: NDArray[np.float64]
    corrections: tuple[Correction, ...]


def spindle_levels(scenario: Scenario, *, clock: Clock, seen_um: NDArray[np.float64]) -> Levels:
    """Run the feedback of every spindle over a run.

    Parameters
    ----------
    seen_um : array, shape (n, spindles)
        What the gauge would show of each spindle's own bores if its level were 0, less the target.
    """
    columns, corrections = [], []
    for spindle in range(len(scenario.spindles)):
        entries = _entries(scenario, clock, spindle)
        level, made = _follow(
            seen_um[:, spindle],
            rule=scenario.feedback,
            drift=scenario.stones.drift_um_per_block,
            automatic=_automatic(scenario, clock, spindle),
            entries={block: um for block, _, um in entries},
            fresh={c.block for c in clock.changes if c.spindle == spindle},
        )
        columns.append(level)
        corrections += [
            Correction(spindle=spindle, block=b, at=clock.times[b], um=um, by="machine") for b, um in made
        ]
        corrections += [
            Correction(spindle=spindle, block=b, at=at, um=um, by="setter") for b, at, um in entries
        ]
    return Levels(um=np.stack(columns, axis=1), corrections=tuple(sorted(corrections, key=lambda c: c.block)))


def _follow(
    seen: Numbers,
    *,
    rule: Feedback,
    drift: float,
    automatic: Flags,
    entries: dict[int, float],
    fresh: set[int],
) -> tuple[NDArray[np.float64], list[tuple[int, float]]]:
    """Go block by block: what is corrected now depends on what was measured of earlier corrections."""
    base, on = seen.tolist(), automatic.tolist()
    levels: list[float] = []
    shown: list[float] = []
    made: list[tuple[int, float]] = []
    level, since = rule.start_um, rule.wait_blocks
    for block, value in enumerate(base):
        if block in fresh:
            level, since = 0.0, 0
        if block in entries:
            level, since = level + entries[block], 0
        if on[block] and since >= rule.wait_blocks and block >= rule.wait_blocks:
            last = block - rule.transit_blocks + 1
            error = sum(shown[last - rule.window_blocks : last]) / rule.window_blocks
            if abs(error) > rule.dead_band_um:
                step = -round(rule.gain * error / rule.step_um) * rule.step_um
                made.append((block, step))
                level, since = level + step, 0
        levels.append(level)
        shown.append(value + level)
        level, since = level + drift, since + 1
    return np.array(levels), made


def _automatic(scenario: Scenario, clock: Clock, spindle: int) -> Flags:
    """Say at which blocks the gauge may correct this spindle."""
    on = np.ones(clock.blocks, dtype=np.bool_)
    name = scenario.spindles[spindle]
    for wrong in scenario.every(plant.WrongOffset):
        if wrong.spindle == name:
            since, until = utc(wrong.starts, scenario.zone), utc(wrong.automatic_again, scenario.zone)
            on &= ~((clock.times >= since) & (clock.times < until))
    for reroute in scenario.every(plant.Reroute):
        if reroute.spindle != name:
            on &= ~inside(clock.times, reroute, scenario.zone)
    return on


def _entries(scenario: Scenario, clock: Clock, spindle: int) -> list[tuple[int, np.datetime64, float]]:
    """Return the offsets entered by hand: first block they act on, moment, micrometres."""
    found = []
    for wrong in scenario.every(plant.WrongOffset):
        if wrong.spindle == scenario.spindles[spindle]:
            for local, um in ((wrong.starts, wrong.entered_um), (wrong.ends, wrong.taken_back_um)):
                at = utc(local, scenario.zone)
                block = int(np.searchsorted(clock.times, at))
                if block < clock.blocks:
                    found.append((block, at, um))
    return found

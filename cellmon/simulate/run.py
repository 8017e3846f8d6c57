"""What a simulated run consists of: the records a cell would have written, and what is true behind them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cellmon.records import (
    Characteristics,
    Events,
    Findings,
    GaugeChecks,
    MatingParts,
    Readings,
    StockMovements,
    StoneMeasurements,
    StoneSets,
    StudyReadings,
    Texts,
    Times,
    TracePoints,
)
from cellmon.simulate.scenario import Scenario


@dataclass(frozen=True, kw_only=True)
class Planted:
    """One incident as it came out: its window in UTC, the parts it touched, the rows it spoilt."""

    name: str
    group: str
    what: str
    starts: np.datetime64
    ends: np.datetime64
    parts: tuple[str, ...]
    rows: tuple[dict[str, Any], ...] = ()


@dataclass(frozen=True, kw_only=True)
class Word:
    """What somebody wrote on a hand sheet in place of one size: row of the audit readings, and where."""

    row: int
    plane: int
    direction: int
    text: str


@dataclass(frozen=True, kw_only=True, eq=False)
class Truth:
    """What is true of a run and stands in none of its records; for tests and lessons only."""

    parts: Texts
    """Shape (n,): the blocks in the order of honing."""
    times: Times
    """Shape (n,): when honing of each block began, UTC."""
    um: NDArray[np.float64]
    """Shape (n, bores, planes, directions): true two-point sizes, micrometres from nominal."""
    levels: NDArray[np.float64]
    """Shape (n, spindles): level of each spindle against the target, micrometres."""
    planted: tuple[Planted, ...]

    def of(self, name: str) -> Planted:
        """Return one planted incident by its name."""
        for found in self.planted:
            if found.name == name:
                return found
        raise KeyError(name)


@dataclass(frozen=True, kw_only=True, eq=False)
class Run:
    """All records of a simulated run."""

    scenario: Scenario
    seed: int
    readings: Readings
    """Of the gauging station, every block."""
    audit: Readings
    """Of the hand gauge, one block an hour."""
    words: tuple[Word, ...]
    repeated: Readings
    """Rows of `readings` as a second export shows them, a few with other values."""
    events: Events
    stone_sets: StoneSets
    stone_measurements: StoneMeasurements
    stock: StockMovements
    gauge_checks: GaugeChecks
    study: StudyReadings
    characteristics: Characteristics
    findings: Findings
    traces: TracePoints
    mating_parts: MatingParts
    truth: Truth

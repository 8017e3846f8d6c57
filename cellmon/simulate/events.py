"""The log of the cell: stones, dressings, offsets, zeroing, routing."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from math import nan

import numpy as np

from cellmon.records import Events
from cellmon.simulate import incidents as plant
from cellmon.simulate.columns import numbers, texts, times
from cellmon.simulate.honed import Honed
from cellmon.simulate.moments import utc


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One line of the log."""

    at: np.datetime64
    event: str
    spindle: str | None = None
    gauge: str | None = None
    value: float = nan
    stone_set: str | None = None
    kind: str | None = None
    bores: str | None = None
    by: str | None = None
    note: str | None = None


def events_of(entries: Iterable[Entry]) -> Events:
    """Return log lines as a batch, in order of time."""
    lines = sorted(entries, key=lambda e: e.at)
    return Events(
        at=times(e.at for e in lines),
        event=texts(e.event for e in lines),
        spindle=texts(e.spindle for e in lines),
        gauge=texts(e.gauge for e in lines),
        value=numbers(e.value for e in lines),
        stone_set=texts(e.stone_set for e in lines),
        kind=texts(e.kind for e in lines),
        bores=texts(e.bores for e in lines),
        by=texts(e.by for e in lines),
        note=texts(e.note for e in lines),
    )


def run_events(honed: Honed, *, earlier: Iterable[Entry]) -> Events:
    """Return the log of a run, with what was logged of the stones before it."""
    return events_of(
        [*earlier, *_at_start(honed), *_stones(honed), *_offsets(honed), *_zeroing(honed), *_routing(honed)]
    )


def _at_start(honed: Honed) -> Iterator[Entry]:
    """Say what was on the spindles when the run began, and how many bores it had honed."""
    quarter = np.timedelta64(15, "m")
    kind = honed.scenario.stones.kind
    for s in honed.scenario.stones.in_use:
        at = honed.clock.start - quarter
        yield Entry(
            at=at,
            event="stones-fitted",
            spindle=s.spindle,
            stone_set=s.stone_set,
            value=2.0 * s.used_blocks,
            kind=kind,
            by="setter",
            note="in use when this log begins",
        )
        yield Entry(
            at=at + np.timedelta64(1, "m"),
            event="stones-dressed",
            spindle=s.spindle,
            stone_set=s.stone_set,
            value=2.0 * s.since_dress,
            by="setter",
            note="logged late",
        )


def _stones(honed: Honed) -> Iterator[Entry]:
    clock, scenario = honed.clock, honed.scenario
    for dressing in clock.dressings:
        index = clock.set_index[min(dressing.block, clock.blocks - 1), dressing.spindle]
        yield Entry(
            at=clock.start + np.timedelta64(dressing.at_s, "s"),
            event="stones-dressed",
            spindle=scenario.spindles[dressing.spindle],
            stone_set=clock.sets[int(index)],
            by="setter",
        )
    for change in clock.changes:
        spindle = scenario.spindles[change.spindle]
        yield Entry(
            at=clock.start + np.timedelta64(change.removed_s, "s"),
            event="stones-removed",
            spindle=spindle,
            stone_set=change.removed,
            value=2.0 * change.honed_blocks,
            by="setter",
            note=change.why,
        )
        yield Entry(
            at=clock.start + np.timedelta64(change.fitted_s, "s"),
            event="stones-fitted",
            spindle=spindle,
            stone_set=change.fitted,
            value=0.0,
            kind=scenario.stones.kind,
            by="setter",
        )


def _offsets(honed: Honed) -> Iterator[Entry]:
    for made in honed.levels.corrections:
        yield Entry(
            at=made.at,
            event="feed-offset",
            spindle=honed.scenario.spindles[made.spindle],
            value=made.um,
            by=made.by,
            note=None if made.by == "machine" else "entered by hand",
        )


def _zeroing(honed: Honed) -> Iterator[Entry]:
    for slip in honed.scenario.every(plant.GaugeSlip):
        at = utc(slip.ends, honed.scenario.zone)
        yield Entry(at=at, event="gauge-zeroed", gauge="G1", value=-slip.reads_large_um, by="BK")


def _routing(honed: Honed) -> Iterator[Entry]:
    zone = honed.scenario.zone
    for reroute in honed.scenario.every(plant.Reroute):
        at = utc(reroute.starts, zone)
        bores = " ".join(reroute.bores)
        yield Entry(at=at, event="rerouted", spindle=reroute.spindle, bores=bores, by="setter")
        back = utc(reroute.ends, zone)
        yield Entry(at=back, event="rerouted", spindle=reroute.spindle, by="setter", note="back to the sheet")

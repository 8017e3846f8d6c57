"""Everything else that arrives in rows: one row of a file, one row of the store."""

from __future__ import annotations

from dataclasses import dataclass

from cellmon.records.batch import Batch, Numbers, Texts, Times, length, number, text, time
from cellmon.records.words import EventKind, Kind


@dataclass(frozen=True, kw_only=True, eq=False)
class Events(Batch):
    """Cell events: stones fitted, dressed or removed, offsets, zeroing, routing, set-up."""

    KIND = Kind.EVENTS

    at: Times = time(needed=True, key=True)
    event: Texts = text(needed=True, key=True, choices=tuple(EventKind))
    spindle: Texts = text(key=True)
    gauge: Texts = text(key=True)
    value: Numbers = number()
    stone_set: Texts = text(key=True)
    kind: Texts = text()
    bores: Texts = text()
    by: Texts = text()
    note: Texts = text()


@dataclass(frozen=True, kw_only=True, eq=False)
class StoneSets(Batch):
    """Stone sets as they were received."""

    KIND = Kind.STONE_SETS

    stone_set: Texts = text(needed=True, key=True)
    kind: Texts = text()
    maker: Texts = text()
    lot: Texts = text()
    price: Numbers = number()
    received_at: Times = time()
    bores_before: Numbers = number()


@dataclass(frozen=True, kw_only=True, eq=False)
class StoneMeasurements(Batch):
    """Thickness of single stones at one position along them."""

    KIND = Kind.STONE_MEASUREMENTS

    at: Times = time(needed=True, key=True)
    stone_set: Texts = text(needed=True, key=True)
    stone: Texts = text(needed=True, key=True)
    position: Texts = text(needed=True, key=True, choices=("top", "middle", "bottom"))
    thickness_mm: Numbers = length(needed=True)
    holder: Texts = text()
    way_up: Texts = text()
    with_holder: Texts = text()
    round: Numbers = number()
    by: Texts = text()


@dataclass(frozen=True, kw_only=True, eq=False)
class StockMovements(Batch):
    """Stone sets that came, went or were counted."""

    KIND = Kind.STOCK

    at: Times = time(needed=True, key=True)
    kind: Texts = text(needed=True, key=True)
    change: Numbers = number(needed=True)
    lot: Texts = text(key=True)
    order: Texts = text(key=True)
    due: Times = time()
    by: Texts = text()
    movement: Texts = text(choices=("received", "taken", "ordered", "scrapped", "counted"))
    use_by: Times = time()


@dataclass(frozen=True, kw_only=True, eq=False)
class GaugeChecks(Batch):
    """Readings of a gauge on a master."""

    KIND = Kind.GAUGE_CHECKS

    at: Times = time(needed=True, key=True)
    gauge: Texts = text(needed=True, key=True)
    master_mm: Numbers = length(needed=True, key=True)
    reading_mm: Numbers = length(needed=True)
    state: Texts = text(key=True, choices=("as-found", "as-left"))
    set_on: Texts = text(choices=("ring", "micrometer", "blocks"))
    temp_c: Numbers = number()
    by: Texts = text()


@dataclass(frozen=True, kw_only=True, eq=False)
class StudyReadings(Batch):
    """Readings of a gauge study."""

    KIND = Kind.GAUGE_STUDY

    study: Texts = text(needed=True, key=True)
    part: Texts = text(needed=True, key=True)
    trial: Numbers = number(needed=True, key=True)
    reading_mm: Numbers = length(needed=True)
    operator: Texts = text(key=True)
    gauge: Texts = text(key=True)
    bore: Texts = text(key=True)
    plane: Texts = text(key=True)
    direction: Texts = text(key=True)
    master_mm: Numbers = length()
    at: Times = time()
    part_number: Texts = text()


@dataclass(frozen=True, kw_only=True, eq=False)
class Characteristics(Batch):
    """Named values of a bore that another instrument gave: texture, angle, roundness."""

    KIND = Kind.CHARACTERISTICS

    part: Texts = text(needed=True, key=True)
    bore: Texts = text(needed=True, key=True)
    characteristic: Texts = text(needed=True, key=True)
    value: Numbers = number(needed=True)
    at: Times = time(needed=True, key=True)
    unit: Texts = text()
    plane: Texts = text(key=True)
    spindle: Texts = text()
    gauge: Texts = text(key=True)
    cutoff_mm: Numbers = number()
    filter: Texts = text()
    by: Texts = text()


@dataclass(frozen=True, kw_only=True, eq=False)
class Findings(Batch):
    """Things seen and counted in a bore: scratches, pores."""

    KIND = Kind.FINDINGS

    part: Texts = text(needed=True, key=True)
    bore: Texts = text(needed=True, key=True)
    at: Times = time(needed=True, key=True)
    finding: Texts = text(needed=True, key=True)
    count: Numbers = number(needed=True)
    plane: Texts = text(key=True)
    spindle: Texts = text()
    by: Texts = text()


@dataclass(frozen=True, kw_only=True, eq=False)
class TracePoints(Batch):
    """Points of a roundness trace; radius is the deviation from half the nominal, micrometres."""

    KIND = Kind.TRACES

    part: Texts = text(needed=True, key=True)
    bore: Texts = text(needed=True, key=True)
    plane: Texts = text(needed=True, key=True)
    angle_deg: Numbers = number(needed=True, key=True)
    radius_um: Numbers = length(needed=True)
    spindle: Texts = text()
    at: Times = time(key=True)
    gauge: Texts = text(key=True)


@dataclass(frozen=True, kw_only=True, eq=False)
class MatingParts(Batch):
    """Pistons or spools that go into the bores."""

    KIND = Kind.MATING_PARTS

    part: Texts = text(needed=True, key=True)
    diameter_mm: Numbers = length(needed=True)
    temp_c: Numbers = number()
    height_mm: Numbers = length(key=True)
    grade: Texts = text()
    at: Times = time(key=True)
    by: Texts = text()
    part_number: Texts = text()
    """The drawing of the bores they go into."""


@dataclass(frozen=True, kw_only=True, eq=False)
class SizingReadings(Batch):
    """Readings of one bore in the hand, round by round."""

    KIND = Kind.SIZING

    part: Texts = text(needed=True, key=True)
    bore: Texts = text(needed=True, key=True)
    round: Numbers = number(needed=True, key=True)
    at: Times = time(needed=True, key=True)
    plane: Texts = text(needed=True, key=True)
    direction: Texts = text(needed=True, key=True)
    diameter_um: Numbers = length(needed=True)
    stones: Texts = text()
    strokes_full: Numbers = number()
    strokes_top: Numbers = number()
    strokes_bottom: Numbers = number()
    rpm: Numbers = number()
    feed_um: Numbers = number()
    part_temp_c: Numbers = number()
    by: Texts = text()
    note: Texts = text()
    part_number: Texts = text()
    """The drawing, where the sheet names several; the first of the sheet unless named."""
    strokes_per_min: Numbers = number()
    """Double strokes a minute, for the crosshatch."""
    master_temp_c: Numbers = number()


ROW_BATCHES: dict[Kind, type[Batch]] = {
    batch.KIND: batch
    for batch in (
        Events,
        StoneSets,
        StoneMeasurements,
        StockMovements,
        GaugeChecks,
        StudyReadings,
        Characteristics,
        Findings,
        TracePoints,
        MatingParts,
        SizingReadings,
    )
}
"""Every kind whose rows are plain: one row of the file, one row of the store."""

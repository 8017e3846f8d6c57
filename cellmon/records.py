"""Facts as they arrive: batches of rows, one array a column, and the closed lists they draw on.

A batch declares its columns once; intake reads files by that declaration, the store keeps tables by
it, the virtual cell fills it. Times are `datetime64[us]` in UTC, texts are object arrays with None
where nothing stands, numbers are float64 with nan where nothing stands.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import MISSING, Field, dataclass, field, fields, replace
from enum import StrEnum
from typing import Any, ClassVar, Self, TypeVar

import numpy as np
from numpy.typing import NDArray

Texts = NDArray[np.object_]
Times = NDArray[np.datetime64]
Numbers = NDArray[np.float64]
Whole = NDArray[np.int64]
Flags = NDArray[np.bool_]


class Kind(StrEnum):
    """What a file holds; the word is also the value of `--kind`."""

    READINGS = "readings"
    EVENTS = "events"
    STONE_SETS = "stone-sets"
    STONE_MEASUREMENTS = "stone-measurements"
    STOCK = "stock"
    GAUGE_CHECKS = "gauge-checks"
    GAUGE_STUDY = "gauge-study"
    CHARACTERISTICS = "characteristics"
    FINDINGS = "findings"
    TRACES = "traces"
    MATING_PARTS = "mating-parts"
    SIZING = "sizing"


class EventKind(StrEnum):
    """What can happen to a spindle or a gauge."""

    STONES_FITTED = "stones-fitted"
    STONES_DRESSED = "stones-dressed"
    STONES_REMOVED = "stones-removed"
    FEED_OFFSET = "feed-offset"
    GAUGE_ZEROED = "gauge-zeroed"
    REROUTED = "rerouted"
    SETUP_CHANGED = "setup-changed"


class Reason(StrEnum):
    """Why a row was set aside."""

    FIELD_COUNT = "field-count"
    MISSING_FIELD = "missing-field"
    NOT_MEASURED = "not-measured"
    NOT_A_NUMBER = "not-a-number"
    NOT_A_TIME = "not-a-time"
    NO_SUCH_HOUR = "no-such-hour"
    UNKNOWN_WORD = "unknown-word"
    UNKNOWN_PART = "unknown-part"
    UNKNOWN_BORE = "unknown-bore"
    UNKNOWN_PLANE = "unknown-plane"
    UNKNOWN_DIRECTION = "unknown-direction"
    UNKNOWN_SPINDLE = "unknown-spindle"
    UNKNOWN_GAUGE = "unknown-gauge"
    UNIT_DOUBT = "unit-doubt"
    NOT_THIS_BORE = "not-this-bore"
    CONTRADICTS = "contradicts"
    UNREADABLE = "unreadable"


class Flag(StrEnum):
    """Why a row that was taken is doubted until a person clears or corrects it."""

    ROUTING = "routing"
    SET_DIFFERS = "set-differs"
    DIAL_TURN = "dial-turn"
    SWAPPED_PLANES = "swapped-planes"
    SWAPPED_DIRECTIONS = "swapped-directions"
    SINGLE_READING = "single-reading"
    CLOCK = "clock"
    REPEATED_HOUR = "repeated-hour"
    ZERO_SUSPECT = "zero-suspect"
    LATE = "late"

    @property
    def bit(self) -> int:
        """This flag's bit in an integer that holds several."""
        return 1 << list(Flag).index(self)


class Verdict(StrEnum):
    """Whether a bore is proven inside its limits, proven outside, or neither (ISO 14253-1)."""

    CONFORMS = "conforms"
    DOES_NOT_CONFORM = "does not conform"
    UNDECIDED = "undecided"


@dataclass(frozen=True, kw_only=True)
class Refused:
    """One line of a file that became no row."""

    line: int
    reason: Reason
    text: str


@dataclass(frozen=True, kw_only=True, order=True)
class Stream:
    """What is watched as one: a feature of one bore position as one spindle hones it."""

    part_number: str
    spindle: str | None
    bore: str | None
    feature: str
    fixture: str | None = None
    part_of: str = "itself"

    def __str__(self) -> str:
        where = f"{self.spindle} bore {self.bore}" if self.bore else (self.spindle or "all")
        return f"{where} {self.feature}" + (f" on {self.fixture}" if self.fixture else "")


class ColumnType(StrEnum):
    """How the cells of a column are read and kept."""

    TEXT = "text"
    TIME = "time"
    NUMBER = "number"
    WHOLE = "whole"
    LENGTH = "length"  # a number whose header may carry the unit: `thickness_mm`, `thickness_in`


@dataclass(frozen=True, kw_only=True)
class Column:
    """One column of a batch as files, store and code know it."""

    name: str
    type: ColumnType
    needed: bool
    key: bool
    choices: tuple[str, ...]


def _column(type_: ColumnType, *, needed: bool, key: bool, choices: Sequence[str] = ()) -> Any:
    spec = {"type": type_, "needed": needed, "key": key, "choices": tuple(choices)}
    return field(metadata=spec) if needed else field(default=None, metadata=spec)


def text(*, needed: bool = False, key: bool = False, choices: Sequence[str] = ()) -> Any:
    """Declare a column of words."""
    return _column(ColumnType.TEXT, needed=needed, key=key, choices=choices)


def time(*, needed: bool = False, key: bool = False) -> Any:
    """Declare a column of moments."""
    return _column(ColumnType.TIME, needed=needed, key=key)


def number(*, needed: bool = False, key: bool = False) -> Any:
    """Declare a column of plain numbers."""
    return _column(ColumnType.NUMBER, needed=needed, key=key)


def whole(*, needed: bool = False, key: bool = False) -> Any:
    """Declare a column of whole numbers, none missing."""
    return _column(ColumnType.WHOLE, needed=needed, key=key)


def length(*, needed: bool = False, key: bool = False) -> Any:
    """Declare a column of lengths; the unit of the stored value ends the column's name."""
    return _column(ColumnType.LENGTH, needed=needed, key=key)


def cells(*, optional: bool = False) -> Any:
    """Declare an array that has a row for each row of the batch but is no column of a file."""
    return field(default=None, metadata={"cells": True}) if optional else field(metadata={"cells": True})


def absent(texts: Texts) -> Flags:
    """Return where nothing stands in a column of words."""
    return np.asarray(texts == np.array(None, dtype=object), dtype=np.bool_)


def missing(type_: ColumnType, size: int) -> NDArray[Any]:
    """Return a column in which nothing stands."""
    if type_ is ColumnType.TEXT:
        return np.full(size, None, dtype=object)
    if type_ is ColumnType.TIME:
        return np.full(size, "NaT", dtype="datetime64[us]")
    return np.full(size, np.nan)


@dataclass(frozen=True, kw_only=True, eq=False)
class Batch:
    """Rows of one kind, column by column; every array has the length of the batch."""

    KIND: ClassVar[Kind | None] = None

    line: Whole = None  # type: ignore[assignment]  # filled in __post_init__
    """The line of the file each row stood on; 0 where there was no file."""

    def __post_init__(self) -> None:
        declared = self.columns()
        size = len(getattr(self, declared[0].name))
        for column in declared:
            if getattr(self, column.name) is None:
                object.__setattr__(self, column.name, missing(column.type, size))
            elif len(getattr(self, column.name)) != size:
                raise ValueError(f"{column.name}: {len(getattr(self, column.name))} cells, expected {size}")
        if self.line is None:
            object.__setattr__(self, "line", np.zeros(size, dtype=np.int64))

    def __len__(self) -> int:
        return len(self.line)

    @classmethod
    def columns(cls) -> tuple[Column, ...]:
        """Return the declared columns, needed ones first as declared."""
        return tuple(
            Column(name=f.name, **f.metadata) for f in fields(cls) if f.metadata and "type" in f.metadata
        )

    @classmethod
    def key(cls) -> tuple[str, ...]:
        """Return the names of the columns that tell one row from another."""
        return tuple(c.name for c in cls.columns() if c.key)

    def arrays(self) -> Iterator[tuple[str, NDArray[Any]]]:
        """Yield every array field by name."""
        for f in fields(self):
            value = getattr(self, f.name)
            if isinstance(value, np.ndarray) and _has_rows(f):
                yield f.name, value

    def select(self, rows: Any) -> Self:
        """Return the rows that a mask, index or slice names, in that order."""
        return replace(self, **{name: array[rows] for name, array in self.arrays()})

    @classmethod
    def concat(cls, batches: Sequence[Self]) -> Self:
        """Join batches end to end; there must be at least one."""
        head = batches[0]
        if len(batches) == 1:
            return head
        return replace(
            head,
            **{name: np.concatenate([getattr(b, name) for b in batches]) for name, _ in head.arrays()},
        )


B = TypeVar("B", bound=Batch)


def no_rows(batch: type[B], **others: Any) -> B:
    """Return a batch without rows; `others` are the fields that are no declared columns."""
    kinds = {ColumnType.TEXT: "object", ColumnType.TIME: "datetime64[us]", ColumnType.WHOLE: "int64"}
    columns = {c.name: np.zeros(0, dtype=kinds.get(c.type, "float64")) for c in batch.columns()}
    return batch(**columns, **others)


def _has_rows(f: Field[Any]) -> bool:
    return f.default is not MISSING or bool(f.metadata)


@dataclass(frozen=True, kw_only=True, eq=False)
class Readings(Batch):
    """Readings of bores: row i is what one gauge read in one bore at one moment.

    `um` has shape (rows, planes, directions): deviation from `nominal_mm` in micrometres, nan where
    nothing was read. `lines` has the same shape and holds the file line of each reading, 0 for none.
    """

    KIND = Kind.READINGS

    planes: tuple[str, ...]
    directions: tuple[str, ...]
    part: Texts = text(needed=True, key=True)
    bore: Texts = text(needed=True, key=True)
    spindle: Texts = text(needed=True)
    measured_at: Times = time(needed=True, key=True)
    um: NDArray[np.float64] = cells()
    lines: NDArray[np.int64] = cells()
    nominal_mm: Numbers = cells()
    repeated_hour: Flags = cells()
    gauge: Texts = text(key=True)
    part_number: Texts = text()
    stone_set: Texts = text()
    operator: Texts = text()
    fixture: Texts = text()
    sequence: Numbers = number()
    measurement: Texts = text()
    honed_at: Times = time()
    stage: Texts = text(choices=("before", "rough", "finish"))
    why_measured: Texts = text()
    part_temp_c: Numbers = number()
    master_temp_c: Numbers = number()
    feed_um: Numbers = number()
    cycle_s: Numbers = number()
    load_pct: Numbers = number()
    load_ripple_pct: Numbers = number()
    extra: Texts = cells(optional=True)
    """JSON text of the columns nobody declared, None where there are none."""

    def __post_init__(self) -> None:
        super().__post_init__()
        if self.extra is None:
            object.__setattr__(self, "extra", np.full(len(self.part), None, dtype=object))
        shape = (len(self.part), len(self.planes), len(self.directions))
        if self.um.shape != shape or self.lines.shape != shape:
            raise ValueError(f"um has shape {self.um.shape}, lines {self.lines.shape}, expected {shape}")

    @property
    def frame(self) -> Frame:
        """The planes and directions of `um`."""
        return self.planes, self.directions

    def laid_on(self, planes: tuple[str, ...], directions: tuple[str, ...]) -> NDArray[np.float64]:
        """Return `um` on these planes and directions: nan where nothing was read there."""
        return laid(self.um, self.frame, (planes, directions), empty=np.nan)

    def on_frame(self, planes: tuple[str, ...], directions: tuple[str, ...]) -> Readings:
        """Return the same rows on these planes and directions, among which its own must be."""
        lines = laid(self.lines, self.frame, (planes, directions), empty=0)
        um = self.laid_on(planes, directions)
        return replace(self, planes=planes, directions=directions, um=um, lines=lines)


Frame = tuple[tuple[str, ...], tuple[str, ...]]
"""The names of some planes and of some directions."""


def laid(cells_: NDArray[Any], frame: Frame, onto: Frame, *, empty: float) -> NDArray[Any]:
    """Lay cells of shape (rows, planes, directions) onto other planes and directions, `empty` elsewhere."""
    if frame == onto:
        return cells_
    planes, directions = onto
    found = np.full((len(cells_), len(planes), len(directions)), empty, dtype=cells_.dtype)
    for i, plane in enumerate(frame[0]):
        for j, direction in enumerate(frame[1]):
            if plane in planes and direction in directions:
                found[:, planes.index(plane), directions.index(direction)] = cells_[:, i, j]
    return found


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

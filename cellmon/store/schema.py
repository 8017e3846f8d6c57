"""The tables: facts that are only ever added, and derived ones that can be thrown away.

A batch's own declaration gives its columns, so a column is named once in the whole program.
"""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import (
    BigInteger,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
)

from cellmon.judged import Alarms, Bores, Doubts, Subgroups
from cellmon.records import ROW_BATCHES, Batch, ColumnType, Kind

METADATA = MetaData()

SQL_TYPES = {
    ColumnType.TEXT: Text,
    ColumnType.TIME: BigInteger,  # microseconds since 1970-01-01 UTC
    ColumnType.NUMBER: Float,
    ColumnType.LENGTH: Float,
    ColumnType.WHOLE: BigInteger,
}


def _declared(batch: type[Batch]) -> Iterator[Column[object]]:
    for column in batch.columns():
        yield Column(column.name, SQL_TYPES[column.type], nullable=not column.needed)


def _identity(name: str = "id") -> Column[int]:
    return Column(name, Integer, primary_key=True, autoincrement=True)


SCHEMA_VERSION = Table(
    "schema_version",
    METADATA,
    Column("version", Integer, primary_key=True),
    Column("at", BigInteger, nullable=False),
)

FILES = Table(
    "files",
    METADATA,
    _identity(),
    Column("name", Text, nullable=False),
    Column("kind", Text),
    Column("sha256", Text, nullable=False),
    Column("at", BigInteger, nullable=False),
    Column("header", Text),
    Column("rows", Integer, nullable=False),
    Column("taken", Integer, nullable=False),
    Column("known", Integer, nullable=False),
    Column("set_aside", Integer, nullable=False),
    Index("files_by_hash", "sha256"),
)

SET_ASIDE = Table(
    "set_aside",
    METADATA,
    _identity(),
    Column("file_id", ForeignKey("files.id"), nullable=False, index=True),
    Column("line", Integer, nullable=False),
    Column("reason", Text, nullable=False),
    Column("text", Text, nullable=False),
    Column("as_read", Text),
)

RETRIED = Table(
    "retried",
    METADATA,
    Column("aside_id", ForeignKey("set_aside.id"), primary_key=True),
    Column("file_id", ForeignKey("files.id"), nullable=False),
)

FRAMES = Table(
    "frames",
    METADATA,
    _identity(),
    Column("planes", Text, nullable=False),
    Column("directions", Text, nullable=False),
    UniqueConstraint("planes", "directions"),
)

READINGS = Table(
    "readings",
    METADATA,
    _identity(),
    Column("file_id", ForeignKey("files.id"), nullable=False),
    Column("day", BigInteger, nullable=False),
    Column("first_at", BigInteger, nullable=False),
    Column("last_at", BigInteger, nullable=False),
    Column("rows", Integer, nullable=False),
    Column("frame_id", ForeignKey("frames.id"), nullable=False),
    Column("data", LargeBinary, nullable=False),
    Index("readings_by_time", "day", "last_at"),
    Index("readings_by_file", "file_id"),
)
"""Rows of readings, a block for each file and day (UTC) in it; see `cellmon.store.chunks`."""

PART_DAYS = Table(
    "part_days",
    METADATA,
    Column("part", Text, primary_key=True),
    Column("day", BigInteger, primary_key=True),
)
"""On which days a block was measured: the way from a serial to its rows."""


FOUND_BY = {
    Kind.EVENTS: (("event", "spindle", "gauge", "at"),),
    Kind.CHARACTERISTICS: (("bore", "characteristic", "at"),),
}
"""Columns by which rows are found beside their moment: the newest event of each, a series of audits."""


def _rows_table(kind: Kind) -> Table:
    name = kind.value.replace("-", "_")
    batch = ROW_BATCHES[kind]
    moments = [c.name for c in batch.columns() if c.name == "at"]
    serials = [c.name for c in batch.columns() if c.name == "part"]
    return Table(
        name,
        METADATA,
        _identity("row_id"),
        Column("file_id", ForeignKey("files.id"), nullable=False),
        Column("row_line", Integer, nullable=False),
        Column("row_key", Text, nullable=False, unique=True),
        *_declared(batch),
        *(Index(f"{name}_by_time", moment) for moment in moments),
        *(Index(f"{name}_by_part", serial) for serial in serials),
        *(Index(f"{name}_by_{first}", first, *rest) for first, *rest in FOUND_BY.get(kind, ())),
    )


ROWS: dict[Kind, Table] = {kind: _rows_table(kind) for kind in ROW_BATCHES if kind is not Kind.TRACES}
"""One table for each kind of plain rows; points of traces are kept in blocks."""

TRACE_BLOCKS = Table(
    "trace_blocks",
    METADATA,
    _identity(),
    Column("file_id", ForeignKey("files.id"), nullable=False),
    Column("part", Text, nullable=False),
    Column("bore", Text, nullable=False),
    Column("gauge", Text),
    Column("at", BigInteger),
    Column("points", Integer, nullable=False),
    Column("data", LargeBinary, nullable=False),
    Index("trace_blocks_by_time", "at"),
    Index("trace_blocks_by_part", "part"),
)
"""Points of roundness traces, a block for each traced bore of a file; see `cellmon.store.traces`."""

DECISIONS = Table(
    "decisions",
    METADATA,
    _identity(),
    Column("at", BigInteger, nullable=False),
    Column("by", Text, nullable=False),
    Column("why", Text, nullable=False),
    Column("kind", Text, nullable=False),
    Column("subject", Text, nullable=False, index=True),
    Column("body", Text, nullable=False),
    Column("previous", Text, nullable=False),
    Column("hash", Text, nullable=False, unique=True),
)

MOVED = Table(
    "moved",
    METADATA,
    Column("at", BigInteger, primary_key=True, autoincrement=False),
    Column("to", Text, nullable=False),
)
"""Where a cell went whose store was left; nothing is read or written here any more."""

PRESSES = Table(
    "presses",
    METADATA,
    Column("name", Text, primary_key=True),
    Column("at", BigInteger, nullable=False),
)
"""Presses of pages that were kept; see `cellmon.store.pressed`."""

SECRETS = Table(
    "secrets",
    METADATA,
    Column("name", Text, primary_key=True),
    Column("kind", Text, primary_key=True),
    Column("kept", Text, nullable=False),
    Column("at", BigInteger, nullable=False),
)
"""Hashes of passwords and tap codes; see `cellmon.store.admitted`."""

SHEETS = Table(
    "sheets",
    METADATA,
    Column("version", Integer, primary_key=True, autoincrement=False),
    Column("at", BigInteger, nullable=False),
    Column("in_force_from", BigInteger),
    Column("text", Text, nullable=False),
    Column("sha256", Text, nullable=False),
)

ANNOUNCED = Table(
    "announced",
    METADATA,
    Column("id", Text, primary_key=True),
    Column("at", BigInteger, nullable=False),
    Column("unit_start", BigInteger, nullable=False),
    Column("stream", Text, nullable=False),
    Column("body", Text, nullable=False),
    Index("announced_by_unit", "unit_start"),
)

BORES = Table(
    "bores",
    METADATA,
    Column("unit_start", BigInteger, primary_key=True, autoincrement=False),
    Column("last_at", BigInteger, nullable=False, index=True),
    Column("shift_starts", Text, nullable=False),
    Column("frame_id", ForeignKey("frames.id"), nullable=False),
    Column("data", LargeBinary, nullable=False),
)
"""Judged bores, a block for each unit of judging."""

SUBGROUPS = Table(
    "subgroups",
    METADATA,
    Column("unit_start", BigInteger, primary_key=True, autoincrement=False),
    Column("last_at", BigInteger, nullable=False, index=True),
    Column("data", LargeBinary, nullable=False),
)
"""Subgroups of the bores themselves, a block for each unit of judging."""

TOGETHER = Table(
    "subgroups_together",
    METADATA,
    Column("unit_start", BigInteger, primary_key=True, autoincrement=False),
    Column("last_at", BigInteger, nullable=False, index=True),
    Column("data", LargeBinary, nullable=False),
)
"""Subgroups of means over bores and of distances from them, likewise."""

WATCHED = Table(
    "watched",
    METADATA,
    Column("unit_start", BigInteger, primary_key=True, autoincrement=False),
    Column("data", LargeBinary, nullable=False),
)
"""Where the detectors of every stream stand at the end of each unit."""

COUNTS = Table(
    "counts",
    METADATA,
    Column("unit_start", BigInteger, nullable=False),
    Column("part_number", Text, nullable=False),
    Column("spindle", Text),
    Column("bore", Text),
    Column("feature", Text, nullable=False),
    Column("fixture", Text),
    Column("part_of", Text, nullable=False),
    Column("bores", Integer, nullable=False),
    Column("subgroups", Integer, nullable=False),
    Index("counts_by_unit", "unit_start", "part_number", "spindle", "bore", "feature", "part_of", "bores"),
    Index(
        "counts_by_stream",
        *("part_number", "spindle", "bore", "feature", "fixture", "part_of", "bores", "subgroups"),
    ),
)
"""How many bores and subgroups each stream has in each unit."""

HONED = Table(
    "honed",
    METADATA,
    Column("unit_start", BigInteger, nullable=False),
    Column("spindle", Text, nullable=False),
    Column("part_number", Text, nullable=False),
    Column("bores", Integer, nullable=False),
    Index("honed_by_unit", "unit_start", "part_number", "spindle", "bores"),
)
"""How many bores each spindle honed of each part in each unit, measured completely or not."""

DOUBTS = Table(
    "doubts",
    METADATA,
    *_declared(Doubts),
    Index("doubts_by_unit", "unit_start"),
    Index("doubts_by_id", "id"),
    Index("doubts_by_flag", "flag", "measured_at"),
)

ALARMS = Table(
    "alarms",
    METADATA,
    *_declared(Alarms),
    Index("alarms_by_unit", "unit_start"),
    Index("alarms_by_time", "at"),
)

PROVISIONAL = Table(
    "provisional",
    METADATA,
    Column("part_number", Text, nullable=False),
    Column("spindle", Text),
    Column("bore", Text),
    Column("feature", Text, nullable=False),
    Column("fixture", Text),
    Column("part_of", Text, nullable=False),
    Column("centre", Float),
    Column("sigma", Float),
    Column("n", Integer, nullable=False),
    Column("subgroups", Integer, nullable=False),
    Column("size", Integer, nullable=False),
    Column("window_from", BigInteger, nullable=False),
    Column("window_to", BigInteger, nullable=False),
    Column("learned", Text),
    Column("why_not", Text),
)

TOLD = Table(
    "told",
    METADATA,
    Column("id", Text, primary_key=True),
    Column("sheet", Integer, nullable=False, index=True),
    Column("earliest_at", BigInteger, nullable=False),
    Column("last_at", BigInteger, nullable=False),
    Column("digest", Text, nullable=False),
    Column("body", Text, nullable=False),
    Index("told_by_time", "earliest_at", "last_at"),
    Index("told_by_end", "last_at"),
)
"""Signals as they were put together when something was judged last."""

OUTLINES = Table(
    "outlines",
    METADATA,
    Column("id", Text, primary_key=True),
    Column("body", Text, nullable=False),
)
"""What is shown of each of those signals, so that it is read without their calls."""

TOLD_CHANGES = Table(
    "told_changes",
    METADATA,
    Column("id", Text, primary_key=True),
    Column("number", BigInteger, nullable=False, index=True),
)
"""Of each of those signals the last change: put together otherwise, or dropped; by a number that grows.

It is not thrown away with them: whoever carries what they told knows by it what to read again.
"""

TRACED = Table(
    "traced",
    METADATA,
    Column("part", Text, nullable=False, index=True),
    Column("bore", Text, nullable=False),
    Column("gauge", Text),
    Column("at", BigInteger, nullable=False),
    Column("feature", Text, nullable=False),
    Column("spindle", Text),
    Column("value", Float),
    Column("why_not", Text),
    Index("traced_by_time", "at"),
)
"""What the points of traced bores give of each feature that the sheet takes from traces."""

MEASURED_SETS = Table(
    "measured_sets",
    METADATA,
    Column("stone_set", Text, primary_key=True),
    Column("data", LargeBinary, nullable=False),
)
"""Measured thickness of stones, a block for each set; see `cellmon.store.measured`."""

AUDIT_STANDS = Table(
    "audit_stands",
    METADATA,
    Column("characteristic", Text, primary_key=True),
    Column("at", BigInteger, primary_key=True, autoincrement=False),
    Column("body", Text, nullable=False),
)
"""Where the series of other instruments' figures stood at some moments."""

UNIT_TABLES = {Bores: BORES, Subgroups: SUBGROUPS, Doubts: DOUBTS, Alarms: ALARMS}
"""The derived batches and their tables."""
DERIVED = (
    *UNIT_TABLES.values(),
    TOGETHER,
    WATCHED,
    COUNTS,
    HONED,
    PROVISIONAL,
    TOLD,
    OUTLINES,
    TRACED,
    MEASURED_SETS,
    AUDIT_STANDS,
)
"""Every table that can be thrown away and rebuilt."""

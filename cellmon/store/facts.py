"""Rows as they arrived: readings and plain rows. Only ever added to."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import BigInteger, Select, and_, bindparam, func, select

from cellmon.judged import StoredReadings
from cellmon.records import (
    ROW_BATCHES,
    Batch,
    Kind,
    Readings,
    StoneMeasurements,
    Texts,
    Times,
    TracePoints,
    Whole,
)
from cellmon.store import bulk, schema
from cellmon.store.audit_stands import audited_bores
from cellmon.store.blocks import edges_of
from cellmon.store.chunks import decode, encode_each
from cellmon.store.files_taken import FilesTaken
from cellmon.store.frames import Frames
from cellmon.store.latest import last_of_each, rows_of
from cellmon.store.measured import MeasuredSets
from cellmon.store.probe import days_of_parts, isin
from cellmon.store.traces import Traces

LOGGED = (Kind.EVENTS, Kind.GAUGE_CHECKS, Kind.STONE_MEASUREMENTS)
"""Kinds of rows beside readings that move the moment of every answer."""
AUDITED = (Kind.CHARACTERISTICS, Kind.FINDINGS, Kind.TRACES)
"""They do so too, that what they call is seen at once; but not by a date that lies in the future."""
CLOCKS = np.timedelta64(1, "h")
"""By so much the clock of an instrument may be ahead of this computer's."""


_OF_ROW = ("part", "gauge", "bore", "measured_at", "line")


@dataclass(frozen=True, kw_only=True)
class RowRead:
    """One row of readings of a block, and the file and line it came from."""

    gauge: str | None
    bore: str
    at: np.datetime64
    file: str
    line: int
    taken_at: np.datetime64


class Facts(FilesTaken, Frames, MeasuredSets, Traces):
    """The facts half of a session."""

    def add_readings(self, fresh: StoredReadings, *, file_id: int) -> None:
        """Add rows of readings that nothing known repeats or contradicts."""
        batch = fresh.readings
        frame = self.frame(batch.planes, batch.directions)
        days = batch.measured_at.astype("datetime64[D]")
        order = np.lexsort((batch.measured_at, days))
        fresh, days = fresh.select(order), days[order]
        batch = fresh.readings
        edges = edges_of(days)
        begins, lasts = edges[:-1], [end - 1 for end in edges[1:]]
        columns: dict[str, Sequence[Any]] = {
            "file_id": [file_id] * len(begins),
            "day": [bulk.moment(day) for day in days[begins]],
            "first_at": [bulk.moment(at) for at in batch.measured_at[begins]],
            "last_at": [bulk.moment(at) for at in batch.measured_at[lasts]],
            "rows": np.diff(edges).tolist(),
            "frame_id": [frame] * len(begins),
            "data": list(encode_each({**dict(_kept(batch)), **_said_of(fresh)}, edges)),
        }
        bulk.insert(self.conn, schema.READINGS, columns)
        self._add_part_days(batch.part, days)

    def _add_part_days(self, part: Texts, days: NDArray[np.datetime64]) -> None:
        changed = np.concatenate(([True], (part[1:] != part[:-1]) | (days[1:] != days[:-1])))
        moments = days[changed].astype("datetime64[us]").astype(np.int64).tolist()
        columns = {"part": part[changed].tolist(), "day": moments}
        bulk.insert(self.conn, schema.PART_DAYS, columns, known="ignore")

    def same_bores(self, batch: Readings) -> StoredReadings | None:
        """Return the stored rows, of any time, of the blocks in a batch; None where there are none."""
        days = days_of_parts(self.conn, batch.part)
        if not days:
            return None
        stored = self._readings(schema.READINGS.c.day.in_(days))
        return None if stored is None else _chosen(stored, isin(stored.readings.part, batch.part))

    def readings_between(
        self, start: np.datetime64, end: np.datetime64, *, not_file: int | None = None
    ) -> StoredReadings | None:
        """Return stored rows measured in [start, end), oldest first; None where there are none."""
        table = schema.READINGS
        where = [
            table.c.day >= bulk.moment(start.astype("datetime64[D]")),
            table.c.day < bulk.moment(end),
            table.c.last_at >= bulk.moment(start),
            table.c.first_at < bulk.moment(end),
        ]
        if not_file is not None:
            where.append(table.c.file_id != not_file)
        stored = self._readings(and_(*where))
        if stored is None:
            return None
        when = stored.readings.measured_at
        return _chosen(stored, (when >= start) & (when < end))

    def _readings(self, where: Any) -> StoredReadings | None:
        table = schema.READINGS
        query = select(table.c.frame_id, table.c.data).where(where).order_by(table.c.first_at, table.c.id)
        frames = self.frames()
        parts = []
        for frame, data in self.conn.execute(query):
            columns = decode(data)
            planes, directions = frames[frame]
            late = columns.pop("late").astype(bool)
            ahead = columns.pop("ahead", np.zeros(len(late))).astype(bool)
            repeated = columns.pop("repeated_hour").astype(bool)
            lines = np.broadcast_to(columns["line"][:, None, None], columns["um"].shape)
            readings = Readings(
                planes=planes, directions=directions, lines=lines, repeated_hour=repeated, **columns
            )
            parts.append(StoredReadings(readings=readings, late=late, ahead=ahead))
        return joined(parts)

    def reading_moments(self) -> Times:
        """Return every moment at which something was read, ascending, each once."""
        found = [np.zeros(0, dtype="datetime64[us]")]
        for data in self.conn.execute(select(schema.READINGS.c.data)).scalars():
            found.append(decode(data, ("measured_at",))["measured_at"])
        return np.unique(np.concatenate(found))

    def newest_reading(self) -> np.datetime64 | None:
        """Return the moment of the newest reading."""
        return self._newest(schema.READINGS.c.last_at)

    def newest_reading_before(self, moment: np.datetime64) -> np.datetime64 | None:
        """Return the moment of the newest reading of the days before that of a moment."""
        table = schema.READINGS
        return self._newest(table.c.last_at, table.c.day < bulk.moment(moment.astype("datetime64[D]")))

    def newest_row(self) -> np.datetime64 | None:
        """Return the moment of the newest reading, or of the newest row of another kind that calls."""
        moments = [moment for moment in self.conn.execute(_newest_rows()).one() if moment is not None]
        return np.datetime64(max(moments), "us") if moments else None

    def newest_row_of(self, kind: Kind) -> int:
        """Return the number of the row of a plain kind that was added last, 0 where there is none."""
        table = schema.TRACE_BLOCKS if kind is Kind.TRACES else schema.ROWS[kind]
        return int(self.conn.execute(select(func.max(table.primary_key.columns[0]))).scalar() or 0)

    def oldest_added(self, kind: Kind, *, after: int) -> np.datetime64 | None:
        """Return the earliest moment of the rows of a plain kind that were added after one of that number."""
        table = schema.ROWS[kind]
        # + 0: not by the index of moments, which would be read from its beginning
        return self._newest(table.c.at + 0, table.primary_key.columns[0] > after, of=func.min)

    def newest_of(self, kind: Kind) -> np.datetime64 | None:
        """Return the moment of the newest row of a plain kind whose rows have one."""
        return self._newest(_moments_of(kind))

    def _newest(self, column: Any, *where: Any, of: Any = func.max) -> np.datetime64 | None:
        value = self.conn.execute(select(of(column)).where(*where)).scalar()
        return None if value is None else np.datetime64(int(value), "us")

    def known_rows(self, batch: Batch, keys: Sequence[str]) -> dict[str, tuple[Any, ...]]:
        """Return, by row key, the declared values of rows that are stored under the same keys."""
        assert batch.KIND is not None
        if isinstance(batch, TracePoints):
            return self.known_trace_points(batch)
        table = schema.ROWS[batch.KIND]
        wanted = [table.c.row_key, *bulk.declared_columns(table, batch.columns())]
        found: dict[str, tuple[Any, ...]] = {}
        for start in range(0, len(keys), 500):
            query = select(*wanted).where(table.c.row_key.in_(keys[start : start + 500]))
            found.update({row[0]: tuple(row[1:]) for row in self.conn.execute(query)})
        return found

    def add_rows(self, batch: Batch, keys: Sequence[str], *, file_id: int) -> None:
        """Add plain rows whose keys are not stored yet."""
        assert batch.KIND is not None
        if isinstance(batch, TracePoints):
            self.add_trace_points(batch, file_id=file_id)
            return
        size = len(batch)
        columns: dict[str, list[Any]] = {
            "file_id": [file_id] * size,
            "row_line": batch.line.tolist(),
            "row_key": list(keys),
            **bulk.columns_of(batch),
        }
        bulk.insert(self.conn, schema.ROWS[batch.KIND], columns)
        if isinstance(batch, StoneMeasurements) and size:
            self.keep_measured(set(batch.stone_set.tolist()))

    def rows(
        self,
        kind: Kind,
        *,
        start: np.datetime64 | None = None,
        end: np.datetime64 | None = None,
        characteristics: Collection[str] | None = None,
        bores: Collection[str] | None = None,
        events: Collection[str] | None = None,
    ) -> Any:
        """Return the stored rows of a plain kind in [start, end), oldest first, as its batch.

        Of figures of other instruments all, or those of some characteristics and bores; of what was logged
        all, or some kinds of events.
        """
        if kind is Kind.TRACES:
            return self.trace_points(start=start, end=end)
        table, batch = schema.ROWS[kind], ROW_BATCHES[kind]
        declared = batch.columns()
        query = select(*bulk.declared_columns(table, declared), table.c.row_line)
        if characteristics is not None:
            query = query.where(table.c.characteristic.in_(sorted(characteristics)))
            if bores is None and start is None:
                bores = list(audited_bores(self.conn))  # by their index, whatever is stored of others
        if bores is not None:
            query = query.where(table.c.bore.in_(sorted(bores)))
        if events is not None:
            query = query.where(table.c.event.in_(sorted(events)))
        if "at" in table.c:
            if start is not None:
                query = query.where(table.c.at >= bulk.moment(start))
            if end is not None:
                query = query.where(table.c.at < bulk.moment(end))
            query = query.order_by(table.c.at, table.c.row_key)
        else:
            query = query.order_by(table.c.row_key)
        found = bulk.fetch(self.conn, query, declared, ("row_line",))
        line: Whole = np.array(found.pop("row_line"), dtype=np.int64)
        return batch(line=line, **found)

    def latest_events(self, before: np.datetime64) -> Any:
        """Return the last event of each kind, spindle and gauge before a moment, in the order of those."""
        batch, asked = ROW_BATCHES[Kind.EVENTS], _last_events(self.conn.dialect.name)
        found = bulk.fetch(self.conn, asked, batch.columns(), before=bulk.moment(before))
        return batch(**found)

    def last_change(self) -> int:
        """Return a number that grows with every committed file and decision."""
        return sum(number or 0 for number in self.conn.execute(_last_numbers()).one())

    def read_of_part(self, part: str) -> list[RowRead]:
        """Return every row of readings of one block with its file and line, in order of time."""
        table, files = schema.READINGS, schema.FILES
        days = days_of_parts(self.conn, np.array([part], dtype=object))
        query = (
            select(table.c.data, files.c.name, files.c.at)
            .select_from(table.join(files, table.c.file_id == files.c.id))
            .where(table.c.day.in_(days))
        )
        found = []
        for data, name, at in self.conn.execute(query):
            columns = decode(data, _OF_ROW)
            for i in np.flatnonzero(columns["part"] == part):
                found.append(
                    RowRead(
                        gauge=columns["gauge"][i],
                        bore=columns["bore"][i],
                        at=columns["measured_at"][i],
                        file=name,
                        line=int(columns["line"][i]),
                        taken_at=np.datetime64(at, "us"),
                    )
                )
        return sorted(found, key=lambda row: (row.at, row.bore, row.file, row.line))

    def rows_of_part(self, kind: Kind, part: str) -> Any:
        """Return plain rows that name one block."""
        if kind is Kind.TRACES:
            return self.trace_points(part=part)
        table, batch = schema.ROWS[kind], ROW_BATCHES[kind]
        declared = batch.columns()
        query = select(*bulk.declared_columns(table, declared)).where(table.c.part == part)
        return batch(**bulk.fetch(self.conn, query, declared))


@lru_cache(maxsize=2)
def _last_events(dialect: str) -> Select[Any]:
    """Return what asks for the last events before a moment; to write it takes longer than to answer it."""
    table, names = schema.ROWS[Kind.EVENTS], ("event", "spindle", "gauge")
    last = last_of_each(table, names, before=bindparam("before", type_=BigInteger))
    found = rows_of(table, last, names, dialect=dialect)
    declared = bulk.declared_columns(found, ROW_BATCHES[Kind.EVENTS].columns())
    order = (found.c.event, found.c.spindle.nulls_first(), found.c.gauge.nulls_first(), found.c.row_id)
    return select(*declared).select_from(found).order_by(*order)


KEPT_BESIDE = ("line", "um", "nominal_mm", "repeated_hour", "extra")


def _kept(batch: Readings) -> Iterator[tuple[str, NDArray[Any]]]:
    for column in batch.columns():
        yield column.name, getattr(batch, column.name)
    for name in KEPT_BESIDE:
        yield name, getattr(batch, name)


def _said_of(fresh: StoredReadings) -> dict[str, NDArray[np.bool_]]:
    """Return what their taking said of rows, as columns beside theirs."""
    return {"late": fresh.late, "ahead": fresh.ahead}


def _chosen(stored: StoredReadings, rows: NDArray[np.bool_]) -> StoredReadings | None:
    return stored.select(rows) if rows.any() else None


def joined(parts: Sequence[StoredReadings]) -> StoredReadings | None:
    """Join rows; those of several frames are brought onto all their planes and directions."""
    if not parts:
        return None
    planes = tuple(dict.fromkeys(plane for p in parts for plane in p.readings.planes))
    directions = tuple(dict.fromkeys(d for p in parts for d in p.readings.directions))
    return StoredReadings(
        readings=Readings.concat([p.readings.on_frame(planes, directions) for p in parts]),
        late=np.concatenate([p.late for p in parts]),
        ahead=np.concatenate([p.ahead for p in parts]),
    )


def _moments_of(kind: Kind) -> Any:
    """Return the column of when rows of a plain kind are."""
    return (schema.TRACE_BLOCKS if kind is Kind.TRACES else schema.ROWS[kind]).c.at


@lru_cache(maxsize=1)
def _newest_rows() -> Select[Any]:
    """Return what asks for the newest moment of readings and of each other kind that calls, at once."""
    files, micros = schema.FILES.c, int(CLOCKS / np.timedelta64(1, "us"))
    taken = select(files.at).order_by(files.id.desc()).limit(1).scalar_subquery()
    logged = (select(func.max(_moments_of(kind))) for kind in LOGGED)
    audited = (_moments_of(kind) for kind in AUDITED)
    newest = [
        select(func.max(schema.READINGS.c.last_at)),
        *logged,
        *(select(func.max(at)).where(at <= taken + micros) for at in audited),
    ]
    return select(*(one.scalar_subquery() for one in newest))


@lru_cache(maxsize=1)
def _last_numbers() -> Select[Any]:
    """Return what asks for the numbers of the last file and the last decision, at once."""
    last = (select(func.max(table.c.id)) for table in (schema.FILES, schema.DECISIONS))
    return select(*(one.scalar_subquery() for one in last))

"""Rows as they arrived: files, readings, plain rows, rows set aside. Only ever added to."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, and_, func, select

from cellmon.judged import StoredReadings
from cellmon.records import ROW_BATCHES, Batch, Kind, Readings, Refused, Times, Whole
from cellmon.store import bulk, schema
from cellmon.store.probe import same_bores


@dataclass(frozen=True, kw_only=True)
class FileFact:
    """A file that was taken, and what became of its rows."""

    name: str
    kind: str | None
    sha256: str
    at: np.datetime64
    header: str | None
    rows: int
    taken: int
    known: int
    set_aside: int


@dataclass(frozen=True, kw_only=True)
class AsideFact:
    """A row that was set aside, with what is needed to try it again."""

    id: int
    file_id: int
    file: str
    kind: str | None
    header: str | None
    line: int
    reason: str
    text: str
    retried: bool


class Facts:
    """The facts half of a session."""

    def __init__(self, conn: Connection) -> None:
        self.conn = conn

    def add_file(self, fact: FileFact, refused: Sequence[Refused]) -> int:
        """Keep a file and the rows of it that were set aside; return its number."""
        values = {**vars(fact), "at": bulk.moment(fact.at)}
        result = self.conn.execute(schema.FILES.insert().values(values))
        assert result.inserted_primary_key is not None
        file_id = int(result.inserted_primary_key[0])
        columns: dict[str, list[Any]] = {
            "file_id": [file_id] * len(refused),
            "line": [r.line for r in refused],
            "reason": [r.reason.value for r in refused],
            "text": [r.text for r in refused],
        }
        bulk.insert(self.conn, schema.SET_ASIDE, columns)
        return file_id

    def newest_file(self) -> int:
        """Return the number of the file added last."""
        return int(self.conn.execute(select(func.max(schema.FILES.c.id))).scalar() or 0)

    def frame(self, planes: Sequence[str], directions: Sequence[str]) -> int:
        """Return the number under which a set of planes and directions is kept."""
        table = schema.FRAMES
        key = {"planes": json.dumps(list(planes)), "directions": json.dumps(list(directions))}
        where = and_(*(table.c[name] == value for name, value in key.items()))
        found = self.conn.execute(select(table.c.id).where(where)).scalar()
        if found is None:
            result = self.conn.execute(table.insert().values(key))
            assert result.inserted_primary_key is not None
            found = result.inserted_primary_key[0]
        return int(found)

    def frames(self) -> dict[int, tuple[tuple[str, ...], tuple[str, ...]]]:
        """Return every set of planes and directions by its number."""
        table = schema.FRAMES
        rows = self.conn.execute(select(table.c.id, table.c.planes, table.c.directions))
        return {i: (tuple(json.loads(p)), tuple(json.loads(d))) for i, p, d in rows}

    def add_readings(self, batch: Readings, *, file_id: int, late: NDArray[np.bool_]) -> None:
        """Add rows of readings that nothing known repeats or contradicts."""
        size = len(batch)
        frame = self.frame(batch.planes, batch.directions)
        columns: dict[str, list[Any]] = {
            "file_id": [file_id] * size,
            "line": batch.line.tolist(),
            "frame_id": [frame] * size,
            "nominal_mm": batch.nominal_mm.tolist(),
            "um": bulk.blobs(batch.um),
            "repeated_hour": batch.repeated_hour.astype(int).tolist(),
            "late": late.astype(int).tolist(),
            "extra": batch.extra.tolist(),
            **bulk.columns_of(batch),
        }
        bulk.insert(self.conn, schema.READINGS, columns)

    def same_bores(self, batch: Readings) -> StoredReadings | None:
        """Return the stored rows, of any time, of the bores that a batch holds; None where there are none."""
        if self.conn.execute(select(schema.READINGS.c.id).limit(1)).first() is None:
            return None
        with same_bores(self.conn, batch, schema.READINGS) as where:
            return self._readings(where)

    def readings_between(
        self, start: np.datetime64, end: np.datetime64, *, not_file: int | None = None
    ) -> StoredReadings | None:
        """Return stored rows measured in [start, end), oldest first; None where there are none."""
        table = schema.READINGS
        where = [table.c.measured_at >= bulk.moment(start), table.c.measured_at < bulk.moment(end)]
        if not_file is not None:
            where.append(table.c.file_id != not_file)
        return self._readings(and_(*where))

    def _readings(self, where: Any) -> StoredReadings | None:
        table = schema.READINGS
        declared = Readings.columns()
        extra = ("line", "frame_id", "nominal_mm", "um", "repeated_hour", "late", "extra")
        query = (
            select(*bulk.declared_columns(table, declared), *(table.c[name] for name in extra))
            .where(where)
            .order_by(table.c.measured_at, table.c.id)
        )
        found = bulk.fetch(self.conn, query, declared, extra)
        if not found["line"]:
            return None
        return _joined(_split_by_frame(found, self.frames()))

    def reading_moments(self) -> Times:
        """Return every moment at which something was read, ascending, each once."""
        column = schema.READINGS.c.measured_at
        found = self.conn.execute(select(column).distinct().order_by(column)).scalars()
        return bulk.moments(list(found))

    def newest_reading(self) -> np.datetime64 | None:
        """Return the moment of the newest reading."""
        return self._newest(schema.READINGS.c.measured_at)

    def newest_row(self) -> np.datetime64 | None:
        """Return the moment of the newest reading, event or gauge check."""
        found = [
            self._newest(schema.READINGS.c.measured_at),
            self._newest(schema.ROWS[Kind.EVENTS].c.at),
            self._newest(schema.ROWS[Kind.GAUGE_CHECKS].c.at),
        ]
        moments = [moment for moment in found if moment is not None]
        return max(moments) if moments else None

    def _newest(self, column: Any) -> np.datetime64 | None:
        value = self.conn.execute(select(func.max(column))).scalar()
        return None if value is None else np.datetime64(int(value), "us")

    def known_rows(self, batch: Batch, keys: Sequence[str]) -> dict[str, tuple[Any, ...]]:
        """Return, by row key, the declared values of rows that are stored under the same keys."""
        assert batch.KIND is not None
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
        size = len(batch)
        columns: dict[str, list[Any]] = {
            "file_id": [file_id] * size,
            "row_line": batch.line.tolist(),
            "row_key": list(keys),
            **bulk.columns_of(batch),
        }
        bulk.insert(self.conn, schema.ROWS[batch.KIND], columns)

    def rows(
        self, kind: Kind, *, start: np.datetime64 | None = None, end: np.datetime64 | None = None
    ) -> Any:
        """Return the stored rows of a plain kind in [start, end), oldest first, as its batch."""
        table, batch = schema.ROWS[kind], ROW_BATCHES[kind]
        declared = batch.columns()
        query = select(*bulk.declared_columns(table, declared), table.c.row_line)
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
        """Return the last event of each kind, spindle and gauge before a moment."""
        table = schema.ROWS[Kind.EVENTS]
        group = (table.c.event, table.c.spindle, table.c.gauge)
        newest = (
            select(*group, func.max(table.c.at).label("newest"))
            .where(table.c.at < bulk.moment(before))
            .group_by(*group)
            .subquery()
        )
        same = and_(
            table.c.at == newest.c.newest,
            table.c.event == newest.c.event,
            table.c.spindle.is_not_distinct_from(newest.c.spindle),
            table.c.gauge.is_not_distinct_from(newest.c.gauge),
        )
        declared = ROW_BATCHES[Kind.EVENTS].columns()
        query = select(*bulk.declared_columns(table, declared)).select_from(table.join(newest, same))
        return ROW_BATCHES[Kind.EVENTS](**bulk.fetch(self.conn, query, declared))

    def aside(self) -> list[AsideFact]:
        """Return every row set aside, newest file first."""
        a, f, r = schema.SET_ASIDE, schema.FILES, schema.RETRIED
        query = (
            select(
                a.c.id,
                a.c.file_id,
                f.c.name,
                f.c.kind,
                f.c.header,
                a.c.line,
                a.c.reason,
                a.c.text,
                r.c.file_id,
            )
            .select_from(a.join(f, a.c.file_id == f.c.id).outerjoin(r, r.c.aside_id == a.c.id))
            .order_by(a.c.file_id.desc(), a.c.line)
        )
        names = ("id", "file_id", "file", "kind", "header", "line", "reason", "text")
        return [
            AsideFact(**dict(zip(names, row[:-1], strict=True)), retried=row[-1] is not None)
            for row in self.conn.execute(query)
        ]

    def mark_retried(self, aside_ids: Sequence[int], *, file_id: int) -> None:
        """Keep that rows set aside came in with a later file."""
        columns = {"aside_id": list(aside_ids), "file_id": [file_id] * len(aside_ids)}
        bulk.insert(self.conn, schema.RETRIED, columns)

    def last_change(self) -> int:
        """Return a number that grows with every committed file and decision."""
        files = self.conn.execute(select(func.max(schema.FILES.c.id))).scalar() or 0
        decided = self.conn.execute(select(func.max(schema.DECISIONS.c.id))).scalar() or 0
        return int(files) + int(decided)

    def has_facts(self) -> bool:
        """Return whether anything has been taken."""
        return self.conn.execute(select(schema.FILES.c.id).limit(1)).first() is not None

    def part_readings(self, part: str) -> StoredReadings | None:
        """Return every stored row of readings of one block."""
        return self._readings(schema.READINGS.c.part == part)

    def rows_of_part(self, kind: Kind, part: str) -> Any:
        """Return plain rows that name one block."""
        table, batch = schema.ROWS[kind], ROW_BATCHES[kind]
        declared = batch.columns()
        query = select(*bulk.declared_columns(table, declared)).where(table.c.part == part)
        return batch(**bulk.fetch(self.conn, query, declared))


def _split_by_frame(
    found: dict[str, Any], frames: dict[int, tuple[tuple[str, ...], tuple[str, ...]]]
) -> list[StoredReadings]:
    frame = np.array(found.pop("frame_id"))
    line, late = np.array(found.pop("line")), np.array(found.pop("late"), dtype=bool)
    nominal = np.array(found.pop("nominal_mm"), dtype=np.float64)
    repeated = np.array(found.pop("repeated_hour"), dtype=bool)
    blocks = np.empty(len(line), dtype=object)
    blocks[:] = found.pop("um")
    extra = np.empty(len(line), dtype=object)
    extra[:] = found.pop("extra")
    parts = []
    for number in np.unique(frame):
        here = frame == number
        planes, directions = frames[int(number)]
        um = bulk.unblob(blocks[here].tolist(), len(planes), len(directions))
        readings = Readings(
            planes=planes,
            directions=directions,
            um=um,
            lines=np.broadcast_to(line[here][:, None, None], um.shape),
            nominal_mm=nominal[here],
            repeated_hour=repeated[here],
            extra=extra[here],
            line=line[here],
            **{name: values[here] for name, values in found.items()},
        )
        parts.append(StoredReadings(readings=readings, late=late[here]))
    return parts


def _joined(parts: Sequence[StoredReadings]) -> StoredReadings | None:
    """Join rows of one frame; rows of several frames are brought onto all their planes and directions."""
    if not parts:
        return None
    if len({(p.readings.planes, p.readings.directions) for p in parts}) > 1:
        parts = _on_one_frame(parts)
    return StoredReadings(
        readings=Readings.concat([p.readings for p in parts]), late=np.concatenate([p.late for p in parts])
    )


def _on_one_frame(parts: Sequence[StoredReadings]) -> list[StoredReadings]:
    planes = tuple(dict.fromkeys(plane for p in parts for plane in p.readings.planes))
    directions = tuple(dict.fromkeys(d for p in parts for d in p.readings.directions))
    return [StoredReadings(readings=p.readings.on_frame(planes, directions), late=p.late) for p in parts]

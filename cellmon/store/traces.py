"""Points of roundness traces, a block for each traced bore of a file, and the figures derived from them.

A trace has a thousand points a plane; kept as one SQL row each, a year of them would be most of the store.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from sqlalchemy import Connection, delete, select

from cellmon.records import Times, TracePoints, absent, no_rows
from cellmon.records.keys import row_keys
from cellmon.store import bulk, schema
from cellmon.store.chunks import decode, encode


@dataclass(frozen=True, kw_only=True)
class TracedBore:
    """One bore as one instrument traced it at one moment."""

    part: str
    bore: str
    gauge: str | None
    at: np.datetime64


@dataclass(frozen=True, kw_only=True)
class TracedFigure:
    """One feature of a traced bore, micrometres; `value` None where its points do not give it."""

    of: TracedBore
    spindle: str | None
    feature: str
    value: float | None
    why_not: str | None


class Traces:
    """The traces' part of a session."""

    conn: Connection

    def add_trace_points(self, batch: TracePoints, *, file_id: int) -> None:
        """Add points that are not stored yet."""
        add_trace_points(self.conn, batch, file_id=file_id)

    def known_trace_points(self, batch: TracePoints) -> dict[str, tuple[Any, ...]]:
        """Return, by row key, the declared values of all stored points of the blocks in a batch."""
        found: dict[str, tuple[Any, ...]] = {}
        for part in dict.fromkeys(batch.part.tolist()):
            stored = self.trace_points(part=part)
            columns = bulk.columns_of(stored).values()
            found.update(zip(row_keys(stored), zip(*columns, strict=True), strict=True))
        return found

    def trace_points(
        self,
        *,
        start: np.datetime64 | None = None,
        end: np.datetime64 | None = None,
        part: str | None = None,
        bore: str | None = None,
    ) -> TracePoints:
        """Return stored points in [start, end), by moment, bore, plane and angle."""
        table = schema.TRACE_BLOCKS
        query = select(table.c.data)
        if start is not None:
            query = query.where(table.c.at >= bulk.moment(start))
        if end is not None:
            query = query.where(table.c.at < bulk.moment(end))
        for column, word in ((table.c.part, part), (table.c.bore, bore)):
            if word is not None:
                query = query.where(column == word)
        found = [TracePoints(**decode(data)) for data in self.conn.execute(query).scalars()]
        if not found:
            return no_rows(TracePoints)
        return _in_order(TracePoints.concat(found))

    def traced_bores(self) -> list[TracedBore]:
        """Return every traced bore whose traces have a moment, oldest first."""
        table = schema.TRACE_BLOCKS
        query = select(table.c.part, table.c.bore, table.c.gauge, table.c.at).distinct()
        rows = self.conn.execute(query.where(table.c.at.is_not(None))).fetchall()
        rows = sorted(rows, key=lambda row: (row[3], row[0], row[1], row[2] or ""))
        return [TracedBore(part=p, bore=b, gauge=g, at=np.datetime64(at, "us")) for p, b, g, at in rows]

    def put_traced(self, parts: Sequence[str] | None, figures: Sequence[TracedFigure]) -> None:
        """Keep what the points of some blocks give (all blocks: None), in place of what was kept of them."""
        table = schema.TRACED
        if parts is None:
            self.conn.execute(delete(table))
        for i in range(0, len(parts or ()), 500):
            self.conn.execute(delete(table).where(table.c.part.in_((parts or ())[i : i + 500])))
        columns: dict[str, list[Any]] = {
            "part": [f.of.part for f in figures],
            "bore": [f.of.bore for f in figures],
            "gauge": [f.of.gauge for f in figures],
            "at": [bulk.moment(f.of.at) for f in figures],
            "feature": [f.feature for f in figures],
            "spindle": [f.spindle for f in figures],
            "value": [f.value for f in figures],
            "why_not": [f.why_not for f in figures],
        }
        bulk.insert(self.conn, table, columns)

    def traced(
        self,
        *,
        start: np.datetime64 | None = None,
        end: np.datetime64 | None = None,
        part: str | None = None,
        feature: str | None = None,
    ) -> list[TracedFigure]:
        """Return what is kept of traced bores in [start, end), oldest first."""
        table = schema.TRACED
        query = select(table)
        if start is not None:
            query = query.where(table.c.at >= bulk.moment(start))
        if end is not None:
            query = query.where(table.c.at < bulk.moment(end))
        for column, word in ((table.c.part, part), (table.c.feature, feature)):
            if word is not None:
                query = query.where(column == word)
        found = [_figure(row) for row in self.conn.execute(query)]
        return sorted(found, key=lambda f: (f.of.at, f.of.part, f.of.bore, f.of.gauge or "", f.feature))


def add_trace_points(conn: Connection, batch: TracePoints, *, file_id: int) -> None:
    """Add points of one file, a block for each traced bore."""
    for of, rows in _by_bore(batch):
        mine = batch.select(rows)
        values = {
            "file_id": file_id,
            "part": of.part,
            "bore": of.bore,
            "gauge": of.gauge,
            "at": _moment(of.at),
            "points": len(mine),
            "data": encode(dict(mine.arrays())),
        }
        conn.execute(schema.TRACE_BLOCKS.insert().values(values))


def _figure(row: Any) -> TracedFigure:
    of = TracedBore(part=row.part, bore=row.bore, gauge=row.gauge, at=np.datetime64(int(row.at), "us"))
    return TracedFigure(of=of, spindle=row.spindle, feature=row.feature, value=row.value, why_not=row.why_not)


def _moment(at: np.datetime64) -> int | None:
    return None if np.isnat(at) else bulk.moment(at)


def _by_bore(batch: TracePoints) -> Iterator[tuple[TracedBore, np.ndarray]]:
    found: dict[tuple[str, str, str | None, int], list[int]] = {}
    moments = moments_of(batch.at)
    for i, key in enumerate(zip(batch.part, batch.bore, batch.gauge, moments, strict=True)):
        found.setdefault(key, []).append(i)
    for (part, bore, gauge, at), rows in found.items():
        of = TracedBore(part=part, bore=bore, gauge=gauge, at=np.datetime64(at, "us"))
        yield of, np.array(rows, dtype=np.int64)


def moments_of(at: Times) -> list[int]:
    """Return moments as whole numbers that tell one from another; none stands for itself too."""
    return list(at.astype("datetime64[us]").astype(np.int64).tolist())


def _in_order(points: TracePoints) -> TracePoints:
    gauge = np.where(absent(points.gauge), "", points.gauge).astype(str)
    names = (points.angle_deg, points.plane.astype(str), gauge, points.bore.astype(str))
    return points.select(np.lexsort((*names, points.part.astype(str), points.at)))

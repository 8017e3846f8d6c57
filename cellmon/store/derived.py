"""Derived tables: bores, subgroups, doubts, signals and provisional limits, replaced unit by unit."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, Select, delete, func, select

from cellmon.judged import Bores, Doubts, Episodes, Limit, Subgroups
from cellmon.records import Batch, Flags, Stream, laid
from cellmon.store import bulk, schema
from cellmon.store.probe import same_bores

STREAM_COLUMNS = ("part_number", "spindle", "bore", "feature", "fixture")


class Derived:
    """The derived half of a session."""

    conn: Connection

    def forget_units(self, units: Sequence[np.datetime64], *, tables: Sequence[type[Batch]]) -> None:
        """Drop what was derived in some units of judging."""
        starts = [bulk.moment(u) for u in units]
        for kind in tables:
            table = schema.DERIVED[kind]
            for i in range(0, len(starts), 500):
                self.conn.execute(delete(table).where(table.c.unit_start.in_(starts[i : i + 500])))

    def forget_all(self) -> None:
        """Drop everything derived."""
        for table in (*schema.DERIVED.values(), schema.PROVISIONAL):
            self.conn.execute(delete(table))

    def add_bores(self, bores: Bores) -> None:
        """Add judged bores."""
        frame = self.frame(bores.planes, bores.directions)  # type: ignore[attr-defined]
        columns = {
            "frame_id": [frame] * len(bores),
            "um": bulk.blobs(bores.um),
            **bulk.columns_of(bores),
        }
        bulk.insert(self.conn, schema.BORES, columns)

    def add(self, batch: Subgroups | Doubts | Episodes) -> None:
        """Add a derived batch."""
        bulk.insert(self.conn, schema.DERIVED[type(batch)], bulk.columns_of(batch))

    def bores(
        self,
        *,
        start: np.datetime64 | None = None,
        end: np.datetime64 | None = None,
        spindle: str | None = None,
        bore: str | None = None,
        part: str | None = None,
        charted: bool | None = None,
        last: int | None = None,
    ) -> Bores:
        """Return judged bores measured in [start, end], oldest first; with `last`, the newest so many."""
        table = schema.BORES
        query: Any = select(*bulk.declared_columns(table, Bores.columns()), table.c.frame_id, table.c.um)
        for name, wanted in (("spindle", spindle), ("bore", bore), ("part", part)):
            if wanted is not None:
                query = query.where(table.c[name] == wanted)
        if charted is not None:
            query = query.where(table.c.charted == int(charted))
        query = _between(query, table.c.measured_at, start, end)
        if last is not None:
            query = query.order_by(table.c.measured_at.desc(), table.c.position.desc()).limit(last)
        else:
            query = query.order_by(table.c.measured_at, table.c.position)
        found = bulk.fetch(self.conn, query, Bores.columns(), ("frame_id", "um"))
        bores = self._on_frame(found)
        return bores.select(slice(None, None, -1)) if last is not None else bores

    def _on_frame(self, found: dict[str, Any]) -> Bores:
        frames = self.frames()  # type: ignore[attr-defined]
        number, blocks = found.pop("frame_id"), found.pop("um")
        if not number:
            planes, directions = next(iter(frames.values()), ((), ()))
            um = np.empty((0, len(planes), len(directions)))
            return Bores(planes=planes, directions=directions, um=um, **found)
        frame = frames[max(number)]
        um = np.full((len(number), len(frame[0]), len(frame[1])), np.nan)
        for one in set(number):
            rows = [i for i, f in enumerate(number) if f == one]
            p, d = frames[one]
            um[rows] = laid(
                bulk.unblob([blocks[i] for i in rows], len(p), len(d)), (p, d), frame, empty=np.nan
            )
        return Bores(planes=frame[0], directions=frame[1], um=um, **found)

    def subgroups(
        self,
        stream: Stream | None = None,
        *,
        start: np.datetime64 | None = None,
        end: np.datetime64 | None = None,
        feature: str | None = None,
        first: int | None = None,
        last: int | None = None,
        clean: bool = False,
    ) -> Subgroups:
        """Return subgroups ended in [start, end], oldest first; the first or last so many where asked."""
        table = schema.SUBGROUPS
        query = select(*bulk.declared_columns(table, Subgroups.columns()))
        if stream is not None:
            query = _of_stream(query, table, stream)
        if feature is not None:
            query = query.where(table.c.feature == feature)
        if clean:
            query = query.where(table.c.flagged == 0)
        query = _between(query, table.c.at, start, end)
        newest_first = last is not None
        order = (
            (table.c.at.desc(), table.c.first_at.desc()) if newest_first else (table.c.at, table.c.first_at)
        )
        query = query.order_by(*order)
        if first is not None or last is not None:
            query = query.limit(first if last is None else last)
        found = Subgroups(**bulk.fetch(self.conn, query, Subgroups.columns()))
        return found.select(slice(None, None, -1)) if newest_first else found

    def subgroups_of_units(self, units: Sequence[np.datetime64]) -> Subgroups:
        """Return the subgroups of some units of judging, oldest first."""
        table = schema.SUBGROUPS
        found = []
        for i in range(0, len(units), 500):
            starts = [bulk.moment(u) for u in units[i : i + 500]]
            query = select(*bulk.declared_columns(table, Subgroups.columns())).where(
                table.c.unit_start.in_(starts)
            )
            found.append(Subgroups(**bulk.fetch(self.conn, query, Subgroups.columns())))
        return Subgroups.concat(found)

    def charted_elsewhere(self, bores: Bores) -> Flags:
        """Return which bores have a charted measurement, made earlier, among those stored."""
        found = np.zeros(len(bores), dtype=bool)
        if self.conn.execute(select(schema.BORES.c.part).limit(1)).first() is None:
            return found
        table = schema.BORES
        with same_bores(self.conn, bores, table) as where:
            query = select(table.c.part, table.c.bore, table.c.measured_at).where(where, table.c.charted == 1)
            earliest = {(row[0], row[1]): row[2] for row in self.conn.execute(query)}
        for i in range(len(bores)) if earliest else ():
            before = earliest.get((bores.part[i], bores.bore[i]))
            found[i] = before is not None and before < bulk.moment(bores.measured_at[i])
        return found

    def streams(self) -> list[Stream]:
        """Return every stream that has subgroups."""
        table = schema.SUBGROUPS
        query = select(*(table.c[name] for name in STREAM_COLUMNS)).distinct()
        return [
            Stream(part_number=row[0], spindle=row[1], bore=row[2], feature=row[3], fixture=row[4])
            for row in self.conn.execute(query)
        ]

    def count_subgroups(self, *, until: np.datetime64 | None = None) -> dict[Stream, int]:
        """Return the number of subgroups of each stream."""
        table = schema.SUBGROUPS
        columns = [table.c[name] for name in STREAM_COLUMNS]
        query = _between(select(*columns, func.count()), table.c.at, None, until).group_by(*columns)
        return {
            Stream(part_number=r[0], spindle=r[1], bore=r[2], feature=r[3], fixture=r[4]): int(r[5])
            for r in self.conn.execute(query)
        }

    def units(self) -> NDArray[np.datetime64]:
        """Return the start of every unit of judging that has bores, ascending."""
        table = schema.BORES
        found = self.conn.execute(select(table.c.unit_start).distinct().order_by(table.c.unit_start))
        return bulk.moments(list(found.scalars()))

    def shift_starts(self) -> NDArray[np.datetime64]:
        """Return the start of every shift that has bores, ascending."""
        table = schema.BORES
        found = self.conn.execute(select(table.c.shift_start).distinct().order_by(table.c.shift_start))
        return bulk.moments(list(found.scalars()))

    def unit_before(self, moment: np.datetime64) -> np.datetime64 | None:
        """Return the last unit with bores that starts before a moment."""
        table = schema.BORES
        value = self.conn.execute(
            select(func.max(table.c.unit_start)).where(table.c.unit_start < bulk.moment(moment))
        ).scalar()
        return None if value is None else np.datetime64(int(value), "us")

    def doubts(self, *, id_: str | None = None) -> Doubts:
        """Return doubts, oldest first."""
        table = schema.DOUBTS
        query = select(*bulk.declared_columns(table, Doubts.columns())).order_by(
            table.c.measured_at, table.c.id
        )
        if id_ is not None:
            query = query.where(table.c.id == id_)
        return Doubts(**bulk.fetch(self.conn, query, Doubts.columns()))

    def episodes(
        self,
        stream: Stream | None = None,
        *,
        start: np.datetime64 | None = None,
        end: np.datetime64 | None = None,
    ) -> Episodes:
        """Return signals whose first point lies in [start, end], oldest first."""
        table = schema.EPISODES
        query = select(*bulk.declared_columns(table, Episodes.columns()))
        if stream is not None:
            query = _of_stream(query, table, stream)
        query = _between(query, table.c.at, start, end).order_by(table.c.at, table.c.id)
        return Episodes(**bulk.fetch(self.conn, query, Episodes.columns()))

    def forget_episodes(self, stream: Stream) -> None:
        """Drop every signal of one stream."""
        table = schema.EPISODES
        self.conn.execute(_of_stream(delete(table), table, stream))

    def provisional(self) -> dict[Stream, Limit]:
        """Return the provisional limits of every stream that has some."""
        table = schema.PROVISIONAL
        return {
            (stream := Stream(**{name: row._mapping[name] for name in STREAM_COLUMNS})): Limit(
                stream=stream,
                centre=np.nan if row.centre is None else row.centre,
                sigma=np.nan if row.sigma is None else row.sigma,
                n=row.n,
                subgroups=row.subgroups,
                size=row.size,
                window_from=np.datetime64(row.window_from, "us"),
                window_to=np.datetime64(row.window_to, "us"),
            )
            for row in self.conn.execute(select(table))
        }

    def put_provisional(self, stream: Stream, limit: Limit | None) -> None:
        """Replace the provisional limits of one stream, or drop them."""
        table = schema.PROVISIONAL
        self.conn.execute(_of_stream(delete(table), table, stream))
        if limit is None:
            return
        known = np.isfinite(limit.sigma)
        self.conn.execute(
            table.insert().values(
                **{name: getattr(stream, name) for name in STREAM_COLUMNS},
                centre=limit.centre if known else None,
                sigma=limit.sigma if known else None,
                n=limit.n,
                subgroups=limit.subgroups,
                size=limit.size,
                window_from=bulk.moment(limit.window_from),
                window_to=bulk.moment(limit.window_to),
            )
        )

    def count_bores(self, stream: Stream, *, until: np.datetime64) -> int:
        """Return how many charted bores a stream has."""
        table = schema.BORES
        query = select(func.count()).where(
            table.c.spindle == stream.spindle,
            table.c.bore == stream.bore,
            table.c.charted == 1,
            table.c.measured_at <= bulk.moment(until),
            table.c.part_number == stream.part_number,
        )
        if stream.fixture is not None:
            query = query.where(table.c.fixture == stream.fixture)
        return int(self.conn.execute(query).scalar() or 0)

    def count_bores_since(
        self, spindle: str, start: np.datetime64 | None, end: np.datetime64, *, gauges: Sequence[str]
    ) -> int:
        """Return how many charted bores a spindle made in [start, end)."""
        table = schema.BORES
        query = select(func.count()).where(table.c.spindle == spindle, table.c.charted == 1)
        if start is not None:
            query = query.where(table.c.measured_at >= bulk.moment(start))
        query = query.where(table.c.measured_at < bulk.moment(end), table.c.gauge.in_(list(gauges)))
        return int(self.conn.execute(query).scalar() or 0)


def _between(
    query: Select[Any], column: Any, start: np.datetime64 | None, end: np.datetime64 | None
) -> Select[Any]:
    if start is not None:
        query = query.where(column >= bulk.moment(start))
    if end is not None:
        query = query.where(column <= bulk.moment(end))
    return query


def _of_stream(query: Any, table: Any, stream: Stream) -> Any:
    for name in STREAM_COLUMNS:
        value = getattr(stream, name)
        query = query.where(table.c[name].is_(None) if value is None else table.c[name] == value)
    return query

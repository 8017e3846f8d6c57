"""Derived tables: bores, subgroups, doubts, signals and provisional limits, replaced unit by unit."""

from __future__ import annotations

import bisect
import itertools
import json
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, Select, Table, delete, false, func, select

from cellmon.judged import STREAM_COLUMNS, Alarms, Bores, Doubts, Limit, Subgroups
from cellmon.records import Flags, Stream, no_rows
from cellmon.store import bulk, schema
from cellmon.store.chunks import decode, encode
from cellmon.store.frames import Frames
from cellmon.store.joining import by_stream, in_order, join_bores
from cellmon.store.probe import days_of_parts, isin

B = TypeVar("B", Bores, Subgroups)

DAY_US = 24 * 3600 * 1_000_000


@dataclass(frozen=True, kw_only=True)
class MadeInUnit:
    """Charted bores of one part that one spindle made in one unit of judging, and the unit's last moment."""

    start: np.datetime64
    end: np.datetime64
    spindle: str
    part_number: str
    bores: int


class Derived(Frames):
    """The derived half of a session."""

    def forget_units(self, units: Sequence[np.datetime64]) -> None:
        """Drop what was derived in some units of judging."""
        starts = [bulk.moment(u) for u in units]
        for table in (*schema.UNIT_TABLES.values(), schema.TOGETHER, schema.COUNTS):
            for i in range(0, len(starts), 500):
                self.conn.execute(delete(table).where(table.c.unit_start.in_(starts[i : i + 500])))

    def forget_all(self) -> None:
        """Drop everything derived."""
        for table in schema.DERIVED:
            self.conn.execute(delete(table))

    def add_bores(self, bores: Bores) -> None:
        """Add judged bores, unit by unit."""
        frame = self.frame(bores.planes, bores.directions)
        for unit, chunk in _by_unit(bores):
            shifts = [bulk.moment(m) for m in np.unique(chunk.shift_start)]
            values = {
                "unit_start": bulk.moment(unit),
                "last_at": bulk.moment(chunk.measured_at.max()),
                "shift_starts": json.dumps(shifts),
                "frame_id": frame,
                "data": encode({**_columns(chunk), "um": chunk.um}),
            }
            self.conn.execute(schema.BORES.insert().values(values))

    def add_subgroups(self, alone: Subgroups, together: Subgroups) -> None:
        """Add subgroups of bores, and of what is watched together, unit by unit."""
        self._add_subgroups(schema.SUBGROUPS, alone)
        self._add_subgroups(schema.TOGETHER, together)

    def _add_subgroups(self, table: Table, subgroups: Subgroups) -> None:
        for unit, chunk in _by_unit(subgroups):
            values = {
                "unit_start": bulk.moment(unit),
                "last_at": bulk.moment(chunk.at.max()),
                "data": encode(_columns(chunk)),
            }
            self.conn.execute(table.insert().values(values))

    def add_counts(self, counts: Mapping[tuple[np.datetime64, Stream], tuple[int, int]]) -> None:
        """Keep how many bores and subgroups each stream has in each unit."""
        columns: dict[str, list[Any]] = {
            "unit_start": [bulk.moment(unit) for unit, _ in counts],
            **{name: [getattr(s, name) for _, s in counts] for name in STREAM_COLUMNS},
            "bores": [bores for bores, _ in counts.values()],
            "subgroups": [subgroups for _, subgroups in counts.values()],
        }
        bulk.insert(self.conn, schema.COUNTS, columns)

    def add(self, batch: Doubts | Alarms) -> None:
        """Add doubts or signals."""
        bulk.insert(self.conn, schema.UNIT_TABLES[type(batch)], bulk.columns_of(batch))

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
        """Return judged bores measured in [start, end], as made; with `last`, the newest so many."""

        def wanted(bores: Bores) -> Bores:
            keep = np.ones(len(bores), dtype=bool)
            for name, word in (("spindle", spindle), ("bore", bore), ("part", part)):
                if word is not None:
                    keep &= getattr(bores, name) == word
            if charted is not None:
                keep &= bores.charted == int(charted)
            return bores.select(keep & _inside(bores.measured_at, start, end))

        query = _overlapping(schema.BORES, start, end, newest_first=last is not None)
        if part is not None:
            query = query.where(_on_days(self.conn, days_of_parts(self.conn, np.array([part], dtype=object))))
        frames = self.frames()
        found: list[Bores] = []
        for row in self.conn.execute(query):
            planes, directions = frames[row.frame_id]
            found.append(wanted(Bores(planes=planes, directions=directions, **decode(row.data))))
            if last is not None and sum(map(len, found)) >= last:
                break
        return in_order(join_bores(found, frames), last)

    def subgroups(
        self,
        stream: Stream | None = None,
        *,
        start: np.datetime64 | None = None,
        end: np.datetime64 | None = None,
        first: int | None = None,
        last: int | None = None,
        clean: bool = False,
    ) -> Subgroups:
        """Return subgroups ended in [start, end], oldest first; the first or last so many where asked.

        Those of the bores themselves, unless a stream says otherwise.
        """
        query = _overlapping(_table_of(stream), start, end, newest_first=last is not None)
        enough = first if last is None else last
        found: list[Subgroups] = []
        for row in self.conn.execute(query):
            batch = Subgroups(**decode(row.data))
            keep = _inside(batch.at, start, end)
            if stream is not None:
                keep &= _is_stream(batch, stream)
            if clean:
                keep &= batch.flagged == 0
            found.append(batch.select(keep))
            if enough is not None and sum(map(len, found)) >= enough:
                break
        joined = Subgroups.concat(found) if found else no_rows(Subgroups)
        joined = _ended_order(joined)
        if last is not None:
            return joined.select(slice(max(len(joined) - last, 0), None))
        return joined.select(slice(None, first))

    def bores_of_unit(self, unit: np.datetime64) -> Bores:
        """Return every judged bore of one unit, as made."""
        query = select(schema.BORES).where(schema.BORES.c.unit_start == bulk.moment(unit))
        frames = self.frames()
        found = []
        for row in self.conn.execute(query):
            planes, directions = frames[row.frame_id]
            found.append(Bores(planes=planes, directions=directions, **decode(row.data)))
        return in_order(join_bores(found, frames), None)

    def subgroups_of_unit(self, unit: np.datetime64) -> Subgroups:
        """Return every subgroup of one unit: of bores, of means and of distances."""
        found = []
        for table in (schema.SUBGROUPS, schema.TOGETHER):
            query = select(table.c.data).where(table.c.unit_start == bulk.moment(unit))
            found += [Subgroups(**decode(data)) for data in self.conn.execute(query).scalars()]
        return Subgroups.concat(found) if found else no_rows(Subgroups)

    def together(self) -> Subgroups:
        """Return every subgroup of means and distances, oldest first."""
        query = select(schema.TOGETHER.c.data).order_by(schema.TOGETHER.c.unit_start)
        found = [Subgroups(**decode(data)) for data in self.conn.execute(query).scalars()]
        return Subgroups.concat(found) if found else no_rows(Subgroups)

    def first_subgroups(
        self, streams: Collection[Stream], *, start: np.datetime64 | None, count: int
    ) -> dict[Stream, Subgroups]:
        """Return the first so many undoubted subgroups of each of some streams, ended from a moment on."""
        found: dict[Stream, list[Subgroups]] = {stream: [] for stream in streams}
        for table in (schema.SUBGROUPS, schema.TOGETHER):
            wanted = {s for s in streams if _table_of(s) is table}
            if not wanted:
                continue
            for row in self.conn.execute(_overlapping(table, start, None, newest_first=False)):
                batch = Subgroups(**decode(row.data))
                batch = batch.select((batch.flagged == 0) & _inside(batch.at, start, None))
                for stream, rows in by_stream(batch).items():
                    if stream in wanted:
                        found[stream].append(batch.select(rows))
                wanted = {s for s in wanted if sum(map(len, found[s])) < count}
                if not wanted:
                    break
        return {
            stream: _ended_order(Subgroups.concat(batches)).select(slice(None, count))
            for stream, batches in found.items()
            if batches
        }

    def is_underived(self) -> bool:
        """Return whether readings are stored of which nothing is derived, as after a change of the schema."""
        stored = self.conn.execute(select(schema.READINGS.c.id).limit(1)).first() is not None
        return stored and self.conn.execute(select(schema.BORES.c.unit_start).limit(1)).first() is None

    def charted_elsewhere(self, bores: Bores) -> Flags:
        """Return which bores have a charted measurement, made earlier, among those stored."""
        found = np.zeros(len(bores), dtype=bool)
        if self.conn.execute(select(schema.BORES.c.unit_start).limit(1)).first() is None:
            return found
        days = days_of_parts(self.conn, bores.part)
        query = select(schema.BORES.c.data).where(_on_days(self.conn, days))
        earliest: dict[tuple[str, str], np.datetime64] = {}
        for data in self.conn.execute(query).scalars():
            other = decode(data)
            rows = np.flatnonzero((other["charted"] == 1) & isin(other["part"], bores.part))
            for row in rows:
                bore, at = (other["part"][row], other["bore"][row]), other["measured_at"][row]
                earliest[bore] = min(at, earliest.get(bore, at))
        for i in range(len(bores)) if earliest else ():
            before = earliest.get((bores.part[i], bores.bore[i]))
            found[i] = before is not None and before < bores.measured_at[i]
        return found

    def counts(self) -> dict[Stream, tuple[int, int]]:
        """Return how many bores and subgroups each stream has."""
        table = schema.COUNTS
        columns = [table.c[name] for name in STREAM_COLUMNS]
        query = select(*columns, func.sum(table.c.bores), func.sum(table.c.subgroups)).group_by(*columns)
        return {
            Stream(**dict(zip(STREAM_COLUMNS, row[:6], strict=True))): (int(row[6]), int(row[7]))
            for row in self.conn.execute(query)
        }

    def bores_by_unit(self) -> dict[tuple[np.datetime64, str], int]:
        """Return how many charted bores each spindle made in each unit, at positions with a subgroup."""
        table = schema.COUNTS
        of_bores = (table.c.feature == "diameter") & (table.c.part_of == "itself") & table.c.bore.is_not(None)
        query = select(table.c.unit_start, table.c.spindle, func.sum(table.c.bores)).where(of_bores)
        rows = list(self.conn.execute(query.group_by(table.c.unit_start, table.c.spindle)))
        starts = bulk.moments([row[0] for row in rows])
        return {(starts[i], row[1] or ""): int(row[2]) for i, row in enumerate(rows)}

    def made_by_unit(self) -> list[MadeInUnit]:
        """Return how many charted bores of each part every spindle made in each unit, oldest first."""
        table, bores = schema.COUNTS, schema.BORES
        of_bores = (table.c.feature == "diameter") & (table.c.part_of == "itself") & table.c.bore.is_not(None)
        group = (table.c.unit_start, bores.c.last_at, table.c.spindle, table.c.part_number)
        joined = table.join(bores, table.c.unit_start == bores.c.unit_start)
        query = select(*group, func.sum(table.c.bores)).select_from(joined).where(of_bores)
        rows = list(self.conn.execute(query.group_by(*group).order_by(table.c.unit_start)))
        starts, ends = bulk.moments([row[0] for row in rows]), bulk.moments([row[1] for row in rows])
        return [
            MadeInUnit(
                start=starts[i], end=ends[i], spindle=row[2] or "", part_number=row[3], bores=int(row[4])
            )
            for i, row in enumerate(rows)
        ]

    def shift_starts(self) -> NDArray[np.datetime64]:
        """Return the start of every shift that has bores, ascending."""
        found = self.conn.execute(select(schema.BORES.c.shift_starts)).scalars()
        return bulk.moments(sorted({start for text in found for start in json.loads(text)}))

    def doubts(self, *, id_: str | None = None) -> Doubts:
        """Return doubts, oldest first."""
        table = schema.DOUBTS
        query = select(*bulk.declared_columns(table, Doubts.columns())).order_by(
            table.c.measured_at, table.c.id
        )
        if id_ is not None:
            query = query.where(table.c.id == id_)
        return Doubts(**bulk.fetch(self.conn, query, Doubts.columns()))

    def doubts_of_part(self, part: str, units: Sequence[np.datetime64]) -> Doubts:
        """Return the doubts about one block that arose in some units of judging, oldest first."""
        table = schema.DOUBTS
        query = (
            select(*bulk.declared_columns(table, Doubts.columns()))
            .where(table.c.unit_start.in_([bulk.moment(u) for u in units]), table.c.part == part)
            .order_by(table.c.measured_at, table.c.id)
        )
        return Doubts(**bulk.fetch(self.conn, query, Doubts.columns()))

    def alarms(self) -> Alarms:
        """Return what the detectors called, in every unit, oldest first."""
        table = schema.ALARMS
        query = select(*bulk.declared_columns(table, Alarms.columns())).order_by(
            table.c.at, table.c.call, table.c.unit_start
        )
        return Alarms(**bulk.fetch(self.conn, query, Alarms.columns()))

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
                learned=None if row.learned is None else json.loads(row.learned),
                why_not=row.why_not,
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
                learned=None if limit.learned is None else json.dumps(limit.learned, sort_keys=True),
                why_not=limit.why_not,
            )
        )

    def count_bores_since(self, spindle: str, start: np.datetime64 | None, end: np.datetime64) -> int:
        """Return how many charted bores a spindle made in [start, end)."""
        found = self.bores(start=start, end=end - np.timedelta64(1, "us"), spindle=spindle, charted=True)
        return len(found)


def _ended_order(subgroups: Subgroups) -> Subgroups:
    return subgroups.select(np.lexsort((subgroups.first_at, subgroups.at)))


def _table_of(stream: Stream | None) -> Table:
    alone = stream is None or (stream.bore is not None and stream.part_of == "itself")
    return schema.SUBGROUPS if alone else schema.TOGETHER


def _by_unit(batch: B) -> Iterator[tuple[np.datetime64, B]]:
    """Yield a derived batch unit by unit; it comes in order of units."""
    order = np.argsort(batch.unit_start, kind="stable")
    batch = batch.select(order)
    starts: NDArray[np.datetime64] = batch.unit_start
    edges: list[int] = [0, *(np.flatnonzero(starts[1:] != starts[:-1]) + 1).tolist(), len(batch)]
    if not len(batch):
        return
    for begin, end in itertools.pairwise(edges):
        yield starts[begin], batch.select(slice(begin, end))


def _columns(batch: Bores | Subgroups) -> dict[str, NDArray[Any]]:
    return {column.name: getattr(batch, column.name) for column in batch.columns()}


def _overlapping(
    table: Table, start: np.datetime64 | None, end: np.datetime64 | None, *, newest_first: bool
) -> Select[Any]:
    """Select the units that may hold rows between two moments, in order of time."""
    query: Select[Any] = select(table)
    if start is not None:
        query = query.where(table.c.last_at >= bulk.moment(start))
    if end is not None:
        query = query.where(table.c.unit_start <= bulk.moment(end))
    return query.order_by(table.c.unit_start.desc() if newest_first else table.c.unit_start)


def _on_days(conn: Connection, days: Sequence[int]) -> Any:
    """Say of a unit of bores that it holds a moment of some days, which ascend.

    The units are named one by one: a condition for each day would grow deeper than SQLite allows.
    """
    table = schema.BORES
    if not days:
        return false()
    query = select(table.c.unit_start, table.c.last_at)
    query = query.where(table.c.last_at >= days[0], table.c.unit_start < days[-1] + DAY_US)
    units = [
        start
        for start, last_at in conn.execute(query)
        if days[bisect.bisect_right(days, start - DAY_US)] <= last_at
    ]
    return table.c.unit_start.in_(units)


def _inside(
    when: NDArray[np.datetime64], start: np.datetime64 | None, end: np.datetime64 | None
) -> NDArray[np.bool_]:
    inside = np.ones(len(when), dtype=bool)
    if start is not None:
        inside &= when >= start
    if end is not None:
        inside &= when <= end
    return inside


def _is_stream(batch: Subgroups, stream: Stream) -> NDArray[np.bool_]:
    same = np.ones(len(batch), dtype=bool)
    for name in STREAM_COLUMNS:
        same &= getattr(batch, name) == np.array(getattr(stream, name), dtype=object)
    return same


def _of_stream(query: Any, table: Any, stream: Stream) -> Any:
    for name in STREAM_COLUMNS:
        value = getattr(stream, name)
        query = query.where(table.c[name].is_(None) if value is None else table.c[name] == value)
    return query

"""Subgroups of bores, and those of means and distances beside them, a block a unit of judging."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Row, Table, select

from cellmon.judged import Subgroups
from cellmon.records import Stream, no_rows
from cellmon.store import bulk, schema
from cellmon.store.blocks import columns, edges_of, inside, unit_order
from cellmon.store.blocks_read import BlocksRead
from cellmon.store.chunks import decode, encode_each
from cellmon.store.joining import by_stream

WEEK = 32
"""So many units of one stream stay joined from batch to batch: those of the days that pages show."""


@dataclass(frozen=True, kw_only=True)
class Packed:
    """A block as it is kept, and the time it may hold rows of."""

    begins: np.datetime64
    ends: np.datetime64
    data: bytes


class KeptSubgroups(BlocksRead):
    """The subgroups of a session, as they were put together."""

    def add_subgroups(self, alone: Subgroups, together: Subgroups) -> None:
        """Add subgroups of bores, and of what is watched together, unit by unit."""
        self._add_subgroups(schema.SUBGROUPS, alone)
        self._add_subgroups(schema.TOGETHER, together)

    def _add_subgroups(self, table: Table, subgroups: Subgroups) -> None:
        order, unit, at = unit_order(subgroups), subgroups.unit_start, subgroups.at
        if order is not None:
            unit, at = unit[order], at[order]
        edges = edges_of(unit)
        rows: dict[str, list[Any]] = {
            "unit_start": [bulk.moment(unit[begin]) for begin in edges[:-1]],
            "last_at": [bulk.moment(at[begin:end].max()) for begin, end in pairwise(edges)],
            "data": list(encode_each(columns(subgroups), edges, order)),
        }
        bulk.insert(self.conn, table, rows)

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
        enough = first if last is None else last
        found: list[Subgroups] = []
        rows = self.blocks(_table_of(stream), start, end, newest_first=last is not None)
        for batch in _batches(rows, stream) if enough is not None else _joined(rows, stream):
            keep = inside(batch.at, start, end)
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

    def subgroup_blocks(self, *, start: np.datetime64, end: np.datetime64) -> list[Packed]:
        """Return the blocks of the bores' subgroups of [start, end], to tell whether they changed."""
        rows = self.blocks(schema.SUBGROUPS, start, end, newest_first=False)
        return [
            Packed(begins=np.datetime64(r.unit_start, "us"), ends=np.datetime64(r.last_at, "us"), data=r.data)
            for r in rows
        ]

    def subgroups_of_unit(self, unit: np.datetime64, stream: Stream | None = None) -> Subgroups:
        """Return every subgroup of one unit: of bores, of means and of distances; or those of one stream."""
        found: list[Subgroups] = []
        for table in (schema.SUBGROUPS, schema.TOGETHER) if stream is None else (_table_of(stream),):
            query = select(table.c.data).where(table.c.unit_start == bulk.moment(unit))
            found += _batches(self.conn.execute(query), stream)
        joined = Subgroups.concat(found) if found else no_rows(Subgroups)
        return joined if stream is None else _ended_order(joined)

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
            for row in self.blocks(table, start, None, newest_first=False):
                batch = _unpacked(row.data)
                batch = batch.select((batch.flagged == 0) & inside(batch.at, start, None))
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


@lru_cache(maxsize=64)
def _unpacked(data: bytes) -> Subgroups:
    """Return a block's subgroups, not to be written to; one answer reads the newest for every stream."""
    return Subgroups(**decode(data))


@lru_cache(maxsize=64)
def _rows_of_streams(data: bytes) -> dict[Stream, NDArray[np.int64]]:
    return by_stream(_unpacked(data))


@lru_cache(maxsize=1024)
def _of_stream(data: bytes, stream: Stream) -> Subgroups | None:
    """Return one stream's subgroups of a block, not to be written to; None where it has none there.

    Blocks of units that are over stay as they are, so from batch to batch most are asked for again.
    """
    rows = _rows_of_streams(data).get(stream)
    return None if rows is None else _unpacked(data).select(rows)


def _batches(rows: Iterable[Row[Any]], stream: Stream | None) -> Iterator[Subgroups]:
    """Yield the subgroups of blocks, block by block: of one stream, or all."""
    for row in rows:
        batch = _unpacked(row.data) if stream is None else _of_stream(row.data, stream)
        if batch is not None:
            yield batch


def _joined(rows: Iterable[Row[Any]], stream: Stream | None) -> Iterator[Subgroups]:
    """Yield the same, those of a week but for its newest unit as they were joined before."""
    blocks = list(rows)
    if stream is None or not 2 < len(blocks) <= WEEK:
        yield from _batches(blocks, stream)
        return
    before = _of_blocks(tuple(row.data for row in blocks[:-1]), stream)
    if before is not None:
        yield before
    yield from _batches(blocks[-1:], stream)


@lru_cache(maxsize=64)
def _of_blocks(blocks: tuple[bytes, ...], stream: Stream) -> Subgroups | None:
    """Return one stream's subgroups of some units that are over, oldest first, not to be written to."""
    found = [batch for data in blocks if (batch := _of_stream(data, stream)) is not None]
    return _ended_order(Subgroups.concat(found)) if found else None


def _ended_order(subgroups: Subgroups) -> Subgroups:
    if (subgroups.at[1:] > subgroups.at[:-1]).all():
        return subgroups
    return subgroups.select(np.lexsort((subgroups.first_at, subgroups.at)))


def _table_of(stream: Stream | None) -> Table:
    alone = stream is None or (stream.bore is not None and stream.part_of == "itself")
    return schema.SUBGROUPS if alone else schema.TOGETHER

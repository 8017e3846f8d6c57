"""Judged bores, a block a unit of judging."""

from __future__ import annotations

import bisect
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import chain, pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, false, select

from cellmon.judged import Bores
from cellmon.records import Flags, Frame, Texts, Times, Whole
from cellmon.records.alike import places_of
from cellmon.store import bulk, schema
from cellmon.store.blocks import columns, edges_of, inside, overlapping, unit_order
from cellmon.store.blocks_read import BlocksRead
from cellmon.store.chunks import decode, encode_each
from cellmon.store.honed import COUNTED, add_honed
from cellmon.store.joining import in_order, join_bores
from cellmon.store.probe import days_of_parts, isin

DAY_US = 24 * 3600 * 1_000_000


class KeptBores(BlocksRead):
    """The bores of a session, as they were judged."""

    def add_bores(self, bores: Bores) -> None:
        """Add judged bores, unit by unit, and how many were honed in each."""
        order = unit_order(bores)
        batch = bores if order is None else bores.select(order)
        edges = edges_of(batch.unit_start)
        units = list(pairwise(edges))
        rows: dict[str, list[Any]] = {
            "unit_start": [bulk.moment(batch.unit_start[begin]) for begin, _ in units],
            "last_at": [bulk.moment(batch.measured_at[begin:end].max()) for begin, end in units],
            "shift_starts": [_moments(batch.shift_start[begin:end]) for begin, end in units],
            "frame_id": [self.frame(batch.planes, batch.directions)] * len(units),
            "data": list(encode_each({**columns(batch), "um": batch.um}, edges)),
        }
        bulk.insert(self.conn, schema.BORES, rows)
        add_honed(self.conn, {name: getattr(batch, name) for name in COUNTED})

    def bores(
        self,
        *,
        start: np.datetime64 | None = None,
        end: np.datetime64 | None = None,
        spindle: str | None = None,
        bore: str | None = None,
        part: str | None = None,
        charted: bool | None = None,
        stone_sets: Sequence[str] | None = None,
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
            if stone_sets is not None:
                keep &= isin(bores.stone_set, np.array(stone_sets, dtype=object))
            return bores.select(keep & inside(bores.measured_at, start, end))

        if part is None:
            rows = self.blocks(schema.BORES, start, end, newest_first=last is not None)
        else:
            query = overlapping(schema.BORES, start, end, newest_first=last is not None)
            days = days_of_parts(self.conn, np.array([part], dtype=object))
            rows = iter(self.conn.execute(query.where(_on_days(self.conn, days))))
        frames = self.frames()
        found: list[Bores] = []
        for row in rows:
            found.append(wanted(_unpacked(row.data, frames[row.frame_id])))
            if last is not None and sum(map(len, found)) >= last:
                break
        return in_order(join_bores(found, frames), last)

    def bore_blocks(
        self, *, start: np.datetime64 | None, end: np.datetime64 | None
    ) -> tuple[tuple[int, bytes], ...]:
        """Return the blocks that `bores` of [start, end] are read from, to tell whether they changed."""
        rows = self.blocks(schema.BORES, start, end, newest_first=False)
        return tuple((row.frame_id, row.data) for row in rows)

    def made_at(self, spindle: str, *, start: np.datetime64, end: np.datetime64) -> Times:
        """Return when the charted bores of a spindle were measured in [start, end], ascending."""
        found = [np.empty(0, dtype="datetime64[us]")]
        for row in self.blocks(schema.BORES, start, end, newest_first=False):
            block = decode(row.data, ("spindle", "charted", "measured_at"))
            mine = (block["spindle"] == spindle) & (block["charted"] == 1)
            found.append(block["measured_at"][mine & inside(block["measured_at"], start, end)])
        return np.sort(np.concatenate(found))

    def made_on(
        self, stone_set: str, *, start: np.datetime64 | None, end: np.datetime64
    ) -> tuple[Times, Texts]:
        """Return when and by which spindle charted bores were made on a set, measured in [start, end]."""
        times, spindles = [np.empty(0, dtype="datetime64[us]")], [np.empty(0, dtype=object)]
        for row in self.blocks(schema.BORES, start, end, newest_first=False):
            block = decode(row.data, ("spindle", "stone_set", "charted", "measured_at"))
            mine = (block["stone_set"] == stone_set) & (block["charted"] == 1)
            mine &= inside(block["measured_at"], start, end)
            times.append(block["measured_at"][mine])
            spindles.append(block["spindle"][mine])
        return np.concatenate(times), np.concatenate(spindles)

    def count_charted(
        self,
        spindle: str,
        *,
        start: np.datetime64,
        end: np.datetime64,
        of: Callable[[Bores], NDArray[np.bool_]] | None = None,
    ) -> int:
        """Return how many charted bores of a spindle, measured in [start, end], are among those `of` some."""
        frames, found = self.frames(), 0
        for row in self.blocks(schema.BORES, start, end, newest_first=False):
            bores = _unpacked(row.data, frames[row.frame_id])
            mine = (bores.spindle == spindle) & (bores.charted == 1) & inside(bores.measured_at, start, end)
            found += int((mine if of is None else mine & of(bores)).sum())
        return found

    def made_of(self, part: str, *, until: np.datetime64) -> Times:
        """Return when the charted bores of a block were measured, up to a moment."""
        days = days_of_parts(self.conn, np.array([part], dtype=object))
        query = overlapping(schema.BORES, None, until, newest_first=False).where(_on_days(self.conn, days))
        found = [np.empty(0, dtype="datetime64[us]")]
        for row in self.conn.execute(query):
            block = decode(row.data, ("part", "charted", "measured_at"))
            mine = (block["part"] == part) & (block["charted"] == 1)
            found.append(block["measured_at"][mine & inside(block["measured_at"], None, until)])
        return np.concatenate(found)

    def bores_of_unit(self, unit: np.datetime64) -> Bores:
        """Return every judged bore of one unit, as made."""
        query = select(schema.BORES).where(schema.BORES.c.unit_start == bulk.moment(unit))
        frames = self.frames()
        found = []
        for row in self.conn.execute(query):
            found.append(_unpacked(row.data, frames[row.frame_id]))
        return in_order(join_bores(found, frames), None)

    def first_honed(self, unit: np.datetime64) -> Mapping[str | None, FirstHoned]:
        """Return when each bore of a unit was honed first, by spindle."""
        query = select(schema.BORES.c.data).where(schema.BORES.c.unit_start == bulk.moment(unit))
        data = self.conn.execute(query).scalar()
        return {} if data is None else _first_honed(data)

    def shift_starts(self) -> NDArray[np.datetime64]:
        """Return the start of every shift that has bores, ascending."""
        found = self.conn.execute(select(schema.BORES.c.shift_starts)).scalars().all()
        every: list[list[int]] = json.loads(f"[{','.join(found)}]")  # one text: years hold thousands
        return bulk.moments(sorted(set(chain.from_iterable(every))))

    def charted_elsewhere(self, bores: Bores) -> Flags:
        """Return which bores have a charted measurement, made earlier, among those stored."""
        found = np.zeros(len(bores), dtype=bool)
        if self.conn.execute(select(schema.BORES.c.unit_start).limit(1)).first() is None:
            return found
        days = days_of_parts(self.conn, bores.part)
        query = select(schema.BORES.c.data).where(_on_days(self.conn, days))
        earliest: dict[tuple[str, str], np.datetime64] = {}
        for data in self.conn.execute(query).scalars():
            other = decode(data, ("part", "bore", "charted", "measured_at"))
            rows = np.flatnonzero((other["charted"] == 1) & isin(other["part"], bores.part))
            for row in rows:
                bore, at = (other["part"][row], other["bore"][row]), other["measured_at"][row]
                earliest[bore] = min(at, earliest.get(bore, at))
        for i in range(len(bores)) if earliest else ():
            before = earliest.get((bores.part[i], bores.bore[i]))
            found[i] = before is not None and before < bores.measured_at[i]
        return found


@dataclass(frozen=True, kw_only=True, eq=False)
class FirstHoned:
    """The bores of one spindle in one unit, each once, in order of time."""

    at: Times
    part_number: Texts


_HONED = ("position", "spindle", "part", "bore", "part_number", "honed_at", "measured_at")


@lru_cache(maxsize=256)
def _first_honed(data: bytes) -> Mapping[str | None, FirstHoned]:
    rows = decode(data, _HONED)
    order = np.argsort(rows["position"], kind="stable")
    rows = {name: column[order] for name, column in rows.items()}
    at = np.where(np.isnat(rows["honed_at"]), rows["measured_at"], rows["honed_at"])
    part, bore = (_numbers(rows[name]) for name in ("part", "bore"))
    which = part * (bore.max(initial=0) + 1) + bore
    found: dict[str | None, FirstHoned] = {}
    for spindle in dict.fromkeys(rows["spindle"].tolist()):
        mine = np.flatnonzero(rows["spindle"] == spindle)
        mine = mine[np.argsort(at[mine], kind="stable")]
        first = mine[np.sort(np.unique(which[mine], return_index=True)[1])]
        found[spindle] = FirstHoned(at=at[first], part_number=rows["part_number"][first])
    return found


def _numbers(texts: Texts) -> Whole:
    """Number the texts of a column of one block, in which a text is one object wherever it stands."""
    return np.unique(places_of(texts), return_inverse=True)[1]


def _moments(times: Times) -> str:
    """Return which moments there are among some, as the store lists them."""
    return json.dumps([bulk.moment(m) for m in np.unique(times)])


@lru_cache(maxsize=64)
def _unpacked(data: bytes, frame: Frame) -> Bores:
    """Return a block's bores, not to be written to: from batch to batch the newest are asked for again."""
    planes, directions = frame
    return Bores(planes=planes, directions=directions, **decode(data))


def _on_days(conn: Connection, days: Sequence[int]) -> Any:
    """Say of a unit of bores that it holds a moment of some days, which ascend.

    The units are named one by one: a condition for each day would grow deeper than SQLite allows.
    """
    table = schema.BORES
    if not days:
        return false()
    # by the index of the last moments alone, which holds both columns: the blocks themselves stay unread
    query = select(table.c.unit_start, table.c.last_at).where(table.c.last_at >= days[0])
    units, end = [], days[-1] + DAY_US
    with conn.execute(query.order_by(table.c.last_at)) as rows:
        for start, last_at in rows:
            if start >= end:  # units do not overlap: those after begin later still
                break
            if days[bisect.bisect_right(days, start - DAY_US)] <= last_at:
                units.append(start)
    return table.c.unit_start.in_(units)

"""Blocks that another instrument finds beyond a limit of the sheet, or unlike those before."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from cellmon.monitor.judge.audits import audited_spindles, in_sheet_units, part_of_feature
from cellmon.monitor.judge.calls import OTHER_INSTRUMENTS, Called
from cellmon.monitor.judge.usual_blocks import Blocks, Spread, Walk, walked
from cellmon.records import Characteristics, Flags, Stream, Texts, Whole
from cellmon.sheet import TRACE_SIZE, Sheet


class Newest(NamedTuple):
    """The newest row of a spindle: when it was measured, and of which block."""

    at: np.datetime64
    part: str


@dataclass(frozen=True, kw_only=True)
class Before:
    """What the blocks before leave behind: sums of usual figures, and each spindle's newest row."""

    usual: Spread = field(default_factory=Spread)
    last: Mapping[str, Newest] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class BlockCalls:
    """What the blocks of one characteristic called, and what was before each of the moments asked for."""

    calls: Sequence[Called]
    stands: Sequence[Before]


def block_calls(
    sheet: Sheet,
    name: str,
    rows: Characteristics,
    before: Before,
    marks: Sequence[np.datetime64] = (),
) -> BlockCalls:
    """Judge one characteristic block by block and spindle by spindle, against usual ones before.

    Parameters
    ----------
    rows : Characteristics
        All from a moment on, in any unit; `before` is what the blocks before it left behind.
    marks : sequence of datetime64
        In order of time; no block has rows on both sides of one.
    """
    if part_of_feature(sheet, name).feature(name) is None:
        return BlockCalls(calls=(), stands=[before] * len(marks))
    rows = in_sheet_units(rows, sheet)
    rows = rows.select(np.isfinite(rows.value))  # what is in a unit of another kind is held against nothing
    rows = rows.select(np.lexsort((rows.bore.astype(str), rows.at)))
    spindles = audited_spindles(rows, sheet)
    held = _Held.of(sheet, name, rows, spindles, before)
    places = np.searchsorted(rows.at[held.blocks.first], np.array(marks, dtype="datetime64[us]"))
    usual = [held.walk.before(int(place)) for place in places]
    lasts = _last_rows(rows, spindles, before.last, marks)
    stands = [Before(usual=known, last=last) for known, last in zip(usual, lasts, strict=True)]
    return BlockCalls(calls=list(held.calls()), stands=stands)


def _last_rows(
    rows: Characteristics, spindles: Texts, before: Mapping[str, Newest], marks: Sequence[np.datetime64]
) -> Iterator[dict[str, Newest]]:
    """Yield the newest row of each spindle before each of some moments, all in order of time."""
    found, begin = dict(before), 0
    for mark in marks:
        end = int(np.searchsorted(rows.at, mark))
        found.update((spindles[i], Newest(at=rows.at[i], part=rows.part[i])) for i in range(begin, end))
        begin = end
        yield dict(found)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Held:
    """The rows of one characteristic as they were held against its limits, one block after another."""

    sheet: Sheet
    name: str
    rows: Characteristics
    spindles: Texts
    before: Before
    blocks: Blocks
    upper: float
    over: Flags
    under: Flags
    walk: Walk

    @classmethod
    def of(cls, sheet: Sheet, name: str, rows: Characteristics, spindles: Texts, before: Before) -> _Held:
        feature = part_of_feature(sheet, name).feature(name)
        assert feature is not None, "only features of the sheet are held against limits"
        lower = -np.inf if feature.lower_um is None else feature.lower_um
        upper = np.inf if feature.upper_um is None else feature.upper_um
        about = upper if 0 < upper < np.inf else 1.0
        blocks = Blocks.of(rows.value, list(zip(rows.part, spindles, strict=True)), about=about)
        over, under = blocks.most > upper, blocks.least < lower
        walk = walked(blocks, before.usual, beyond=over | under, compared=name != TRACE_SIZE)
        return cls(
            sheet=sheet,
            name=name,
            rows=rows,
            spindles=spindles,
            before=before,
            blocks=blocks,
            upper=upper,
            over=over,
            under=under,
            walk=walk,
        )

    def calls(self) -> Iterator[Called]:
        """Yield what blocks call, in the order of their first rows."""
        unlike = self.walk.unlike
        for block in np.flatnonzero(self.over | self.under | unlike):
            mine = np.flatnonzero(self.blocks.of_row == block)
            yield self._call(mine, over=self.over[block], under=self.under[block], unlike=unlike[block])

    def _call(self, mine: Whole, *, over: bool, under: bool, unlike: bool) -> Called:
        values = self.rows.value[mine]
        i = int(mine[np.argmax(values) if over or unlike else np.argmin(values)])
        spindle = self.spindles[i]
        several = len(mine) > 1 and (unlike or float(values.min()) > self.upper)
        stream = Stream(
            part_number=part_of_feature(self.sheet, self.name).number,
            spindle=spindle or None,
            bore=None if several and spindle else self.rows.bore[i],
            feature=self.name,
        )
        side = -1 if under and not over else 1
        return self._call_at(i, stream, limit=bool(over or under), side=side)

    def _call_at(self, i: int, stream: Stream, *, limit: bool, side: int) -> Called:
        """Return the call of one row: beyond a limit of the sheet, or unlike what was usual.

        It changed after the block of the spindle that was audited before this one.
        """
        at, part = self.rows.at[i], self.rows.part[i]
        earliest = self._block_before(i)
        return Called(
            stream=stream,
            kind="limit" if limit else "single",
            detector=OTHER_INSTRUMENTS[0] if limit else OTHER_INSTRUMENTS[1],
            side=side,
            at=at,
            last_at=at,
            part=part,
            last_part=part,
            over=True,
            size=float(self.rows.value[i]),
            sigma=np.nan,
            change_at=at,
            earliest_at=earliest.at,
            latest_at=at,
            change_part=part,
            earliest_part=earliest.part,
            latest_part=part,
            audited_from=earliest.at,
        )

    def _block_before(self, i: int) -> Newest:
        """Return the newest row of another block of the same spindle before a row; else that row itself."""
        at, part, spindle = self.rows.at[i], self.rows.part[i], self.spindles[i]
        others = (self.rows.at < at) & (self.spindles == spindle) & (self.rows.part != part)
        if others.any():
            newest = int(np.flatnonzero(others)[-1])
            return Newest(at=self.rows.at[newest], part=self.rows.part[newest])
        return self.before.last.get(spindle, Newest(at=at, part=part))

"""Blocks that another instrument finds beyond a limit of the sheet, or unlike those before."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from cellmon.drift.deviates import as_normal
from cellmon.monitor.judge.audits import audited_spindles, in_sheet_units, part_of_feature
from cellmon.monitor.judge.calls import OTHER_INSTRUMENTS, Called
from cellmon.records import Characteristics, Stream, Texts
from cellmon.sheet import TRACE_SIZE, Sheet

LEAST_BEFORE = 12
"""So many values of a characteristic are known before one is called unlike them."""
UNLIKE = 3.5
"""Normal deviates, of logarithms, from which a block is unlike those before: one in some 4,000."""


@dataclass(frozen=True, kw_only=True)
class Spread:
    """Mean and spread of figures that come a few at a time, none of them looked at again.

    References
    ----------
    Chan, Golub and LeVeque, Algorithms for computing the sample variance, The American Statistician 37
    (1983), 242-247 (from memory): sums of squares about the mean of two samples put together.
    """

    n: int = 0
    mean: float = 0.0
    squares: float = 0.0
    """Sum of squares about the mean."""

    def more(self, values: NDArray[np.float64]) -> Spread:
        """Return what it is with some figures more."""
        if not len(values):
            return self
        more, mean = len(values), float(values.mean())
        away, whole = mean - self.mean, self.n + more
        squares = float(((values - mean) ** 2).sum()) + away**2 * self.n * more / whole
        return Spread(n=whole, mean=self.mean + away * more / whole, squares=self.squares + squares)

    @property
    def sd(self) -> float:
        """The standard deviation, divisor n - 1."""
        return float(np.sqrt(self.squares / (self.n - 1)))


class Newest(NamedTuple):
    """The newest row of a spindle: when it was measured, and of which block."""

    at: np.datetime64
    part: str


@dataclass(frozen=True, kw_only=True)
class Before:
    """What the blocks before leave behind: logarithms of usual figures, and each spindle's newest row."""

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
    audits: dict[tuple[str, str], list[int]] = {}
    for i, key in enumerate(zip(rows.part, spindles, strict=True)):
        audits.setdefault(key, []).append(i)
    held = _Held.of(sheet, name, rows, spindles, before)
    calls, usual, waiting = list[Called](), list[Spread](), list(marks)
    for (_, spindle), mine in audits.items():
        while waiting and rows.at[mine[0]] >= waiting[0]:
            usual.append(held.usual)
            waiting.pop(0)
        call = held.call(spindle, mine)
        if call is not None:
            calls.append(call)
    usual += [held.usual] * len(waiting)
    lasts = _last_rows(rows, spindles, before.last, marks)
    stands = [Before(usual=known, last=last) for known, last in zip(usual, lasts, strict=True)]
    return BlockCalls(calls=calls, stands=stands)


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


@dataclass(eq=False)
class _Held:
    """The rows of one characteristic as they are held against its limits, one block after another."""

    sheet: Sheet
    name: str
    rows: Characteristics
    spindles: Texts
    before: Before
    usual: Spread
    lower: float
    upper: float

    @classmethod
    def of(cls, sheet: Sheet, name: str, rows: Characteristics, spindles: Texts, before: Before) -> _Held:
        feature = part_of_feature(sheet, name).feature(name)
        assert feature is not None, "only features of the sheet are held against limits"
        return cls(
            sheet=sheet,
            name=name,
            rows=rows,
            spindles=spindles,
            before=before,
            usual=before.usual,
            lower=-np.inf if feature.lower_um is None else feature.lower_um,
            upper=np.inf if feature.upper_um is None else feature.upper_um,
        )

    def call(self, spindle: str, mine: list[int]) -> Called | None:
        """Return what one block on one spindle calls; else it is usual from now on."""
        values = self.rows.value[mine]
        worst, lowest = mine[int(np.argmax(values))], mine[int(np.argmin(values))]
        over, under = self.rows.value[worst] > self.upper, self.rows.value[lowest] < self.lower
        unlike = self.name != TRACE_SIZE and _unlike(self.usual, values)
        if not (over or under or unlike):
            self.usual = self.usual.more(np.log(values[values > 0]))
            return None
        i = worst if over or unlike else lowest
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


def _unlike(logs: Spread, values: NDArray[np.float64]) -> bool:
    """Return whether a block's positive figures lie, on average, far above those before on a log scale."""
    if logs.n < LEAST_BEFORE or not (values > 0).all():
        return False
    spread = logs.sd
    if not spread > 0:
        return False
    away = (float(np.log(values).mean()) - logs.mean) / spread
    t = away / np.sqrt(1 / len(values) + 1 / logs.n)
    return float(as_normal(t, logs.n - 1)) > UNLIKE

"""Time text to moments in UTC, by offset or by the cell's zone, through the hours clocks change.

Written as ISO 8601 (`2026-10-19T06:00:00+02:00`, seconds and offset may be missing, a space may
stand for T) or as `19.10.2026 06:00`. A local hour that came twice is settled by the sequence of
the rows where there is one, else its first occurrence is taken; either way its rows are told.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from cellmon.intake.words import Codes, Words
from cellmon.records import Flags, Numbers, Times, Whole

CLOCK = (
    r"(?:[T ]\s*(?P<hour>\d{1,2}):(?P<minute>\d{2})(?::(?P<second>\d{2})(?:[.,](?P<part>\d{1,9}))?)?"
    r"\s*(?P<offset>Z|[+-]\d{2}(?::?\d{2})?)?)?$"
)
YEAR_FIRST = r"^(?P<year>\d{4})-(?P<month>\d{2})-(?P<day>\d{2})" + CLOCK
DAY_FIRST = r"^(?P<day>\d{1,2})\.(?P<month>\d{1,2})\.(?P<year>\d{4})" + CLOCK
PLAIN = r"^\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}(?:Z|[+-]\d{2}:\d{2})$"
"""As most programs write a moment; Arrow reads it ten times as fast as the patterns above."""
NONE = np.datetime64("NaT", "us")
MICROSECONDS = 1_000_000
ZONE_KNOWS = (np.datetime64("1900-01-01", "us"), np.datetime64("2200-01-01", "us"))
"""Moments outside are typing slips, and zones say nothing of them."""
DAY = np.timedelta64(1, "D")


@dataclass(frozen=True, kw_only=True, eq=False)
class TimeColumn:
    """Moments of a column in UTC, NaT where there is none; what the other cells are."""

    at: Times
    empty: Flags
    refused: Flags
    no_such_hour: Flags
    repeated_hour: Flags


@dataclass(frozen=True, kw_only=True, eq=False)
class Order:
    """What tells in which order rows came: their stream, and the sequence inside it (nan: unknown)."""

    streams: Callable[[], Codes]
    """Asked only where an hour came twice."""
    sequence: Numbers


@dataclass(frozen=True, kw_only=True, eq=False)
class _Clock:
    """Each distinct time as a clock shows it; `offset` in microseconds, `local` where there is none."""

    shown: Times
    offset: Whole
    local: Flags


def time_column(
    column: Words, *, zone: ZoneInfo, order: Order | None = None, date_alone: bool = False
) -> TimeColumn:
    """Read a column of times.

    Parameters
    ----------
    column : Words
        Times as text.
    zone : ZoneInfo
        The zone of times without an offset.
    order : Order, optional
        What settles an hour that came twice.
    date_alone : bool
        Whether a date without a clock time will do; it means midnight.
    """
    clock = _clock(column.told, date_alone=date_alone)
    first, second, missing = _both(clock, zone)
    at = column.spread(first, nothing=NONE)
    empty = column.empty
    no_such_hour = column.spread(missing, nothing=False)
    twice = column.spread(clock.local & (first != second) & ~np.isnat(first), nothing=False)
    if order is not None and twice.any():
        later = _second_time(column.spread(clock.shown, nothing=NONE), at, twice, order)
        at = np.where(later, column.spread(second, nothing=NONE), at)
    return TimeColumn(
        at=at,
        empty=empty,
        refused=np.isnat(at) & ~empty & ~no_such_hour,
        no_such_hour=no_such_hour,
        repeated_hour=twice,
    )


def _clock(text: Any, *, date_alone: bool) -> _Clock:
    at = _plain(text)
    if at is not None:  # with an offset everywhere, so that UTC may stand for what was shown
        nothing = np.zeros(len(text), dtype=np.int64)
        return _Clock(shown=at, offset=nothing, local=nothing.astype(bool))
    shown = np.full(len(text), NONE)
    offset = np.zeros(len(text), dtype=np.int64)
    local = np.zeros(len(text), dtype=bool)
    left = np.arange(len(text))
    for pattern in (YEAR_FIRST, DAY_FIRST):
        if len(left) == 0:
            break
        found = pc.extract_regex(text.take(pa.array(left)), pattern=pattern)
        valid = found.is_valid().to_numpy(zero_copy_only=False)
        rows, matched = left[valid], found.filter(pa.array(valid))
        shown[rows] = _shown(matched, date_alone=date_alone)
        told = matched.field("offset")
        offset[rows] = _offset(told)
        local[rows] = pc.equal(told, "").to_numpy(zero_copy_only=False)
        left = left[~valid]
    return _Clock(shown=shown, offset=offset, local=local)


def _plain(text: Any) -> Times | None:
    """Return the moments in UTC where all are written alike, with an offset; None where one is not."""
    if not pc.all(pc.match_substring_regex(text, pattern=PLAIN)).as_py():
        return None
    try:
        at: Times = text.cast(pa.timestamp("us", "UTC")).to_numpy(zero_copy_only=False)
    except pa.ArrowInvalid:  # a day or an hour that there is not: the patterns tell which
        return None
    inside = (at > ZONE_KNOWS[0] + DAY) & (at < ZONE_KNOWS[1] - DAY)
    return at if inside.all() else None


def _number(found: Any, name: str) -> Whole:
    text = found.field(name)
    filled = pc.if_else(pc.equal(text, ""), "0", text)
    whole: Whole = filled.cast(pa.int64()).to_numpy(zero_copy_only=False)
    return whole


def _shown(found: Any, *, date_alone: bool) -> Times:
    """Return what clock and calendar showed, NaT where neither can show it."""
    year, month, day = (_number(found, name) for name in ("year", "month", "day"))
    hour, minute, second = (_number(found, name) for name in ("hour", "minute", "second"))
    fraction = pc.utf8_slice_codeunits(pc.utf8_rpad(found.field("part"), 6, "0"), 0, 6)
    sane = (month >= 1) & (month <= 12) & (day >= 1) & (hour < 24) & (minute < 60) & (second < 60)
    first = ((year - 1970) * 12 + np.clip(month, 1, 12) - 1).astype("datetime64[M]")
    date = first.astype("datetime64[D]") + (day - 1)
    sane &= date.astype("datetime64[M]") == first
    if not date_alone:
        sane &= pc.not_equal(found.field("hour"), "").to_numpy(zero_copy_only=False)
    seconds = hour * 3600 + minute * 60 + second
    micro = seconds * MICROSECONDS + fraction.cast(pa.int64()).to_numpy(zero_copy_only=False)
    at = date.astype("datetime64[us]") + micro
    sane &= (at > ZONE_KNOWS[0]) & (at < ZONE_KNOWS[1])
    shown: Times = np.where(sane, at, NONE)
    return shown


def _offset(told: Any) -> Whole:
    """Return offsets such as `+02:00`, `-0330` or `Z` in microseconds."""
    digits = pc.utf8_rpad(pc.replace_substring_regex(told, "[^0-9]", ""), 4, "0")
    hours = pc.utf8_slice_codeunits(digits, 0, 2).cast(pa.int64()).to_numpy(zero_copy_only=False)
    minutes = pc.utf8_slice_codeunits(digits, 2, 4).cast(pa.int64()).to_numpy(zero_copy_only=False)
    west = pc.starts_with(told, "-").to_numpy(zero_copy_only=False)
    found: Whole = np.where(west, -1, 1) * (hours * 60 + minutes) * 60 * MICROSECONDS
    return found


def _both(clock: _Clock, zone: ZoneInfo) -> tuple[Times, Times, Flags]:
    """Return the first and the second moment at which clocks showed this, and where none did."""
    first = clock.shown - clock.offset
    second = first.copy()
    missing = np.zeros(len(first), dtype=bool)
    rows = np.flatnonzero(clock.local & ~np.isnat(clock.shown))
    if len(rows):
        index = pd.DatetimeIndex(clock.shown[rows])
        for summer, into in ((True, first), (False, second)):
            told = np.full(len(rows), summer)
            placed = index.tz_localize(zone, ambiguous=told, nonexistent="NaT")
            into[rows] = placed.tz_convert("UTC").tz_localize(None).to_numpy().astype("datetime64[us]")
        missing[rows] = np.isnat(first[rows])
    return first, second, missing


def _second_time(shown: Times, at: Times, twice: Flags, order: Order) -> Flags:
    """Tell which rows of a repeated hour belong to its second occurrence.

    Inside a stream the clock only goes forward with the sequence; where it steps back, the second
    occurrence begins. Without a step the hour goes where it lies nearer to the rows round it.
    """
    later = np.zeros(len(shown), dtype=bool)
    usable = ~np.isnan(order.sequence) & ~np.isnat(shown)
    stream = order.streams()
    rows = np.flatnonzero(usable & np.isin(stream, np.unique(stream[twice & usable])))
    rows = rows[np.lexsort((shown[rows], order.sequence[rows], stream[rows]))]
    cuts = np.flatnonzero(np.diff(stream[rows])) + 1
    for part in np.split(rows, cuts):
        _settle_stream(part, shown, at, twice, later)
    return later


def _settle_stream(rows: Whole, shown: Times, at: Times, twice: Flags, later: Flags) -> None:
    inside = np.flatnonzero(twice[rows])
    if len(inside) == 0:
        return
    cuts = np.flatnonzero(np.diff(shown[rows[inside]].astype("datetime64[D]").astype(np.int64))) + 1
    for places in np.split(inside, cuts):
        hour = rows[places]
        falls = np.diff(shown[hour]).astype(np.int64)
        if len(falls) and falls.min() < 0:
            later[hour[int(falls.argmin()) + 1 :]] = True
            continue
        before, after = places[0] - 1, places[-1] + 1
        gap_before = at[hour[0]] - at[rows[before]] if before >= 0 else None
        gap_after = at[rows[after]] - at[hour[-1]] - np.timedelta64(1, "h") if after < len(rows) else None
        if gap_after is not None and (gap_before is None or abs(gap_after) < abs(gap_before)):
            later[hour] = True

"""Moments of a batch in the cell's own zone."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from cellmon.records import Texts, Times

_QUARTER = np.timedelta64(15, "m")
"""Zones change their offset at whole quarters of an hour, so one look-up a quarter is enough."""


def offsets(at: Times, zone: ZoneInfo) -> NDArray[np.timedelta64]:
    """Return the zone's offset from UTC at each moment, NaT where there is no moment."""
    found = np.full(at.shape, "NaT", dtype="timedelta64[us]")
    there = ~np.isnat(at)
    since_epoch = at[there].astype("datetime64[us]") - np.datetime64(0, "us")
    quarters, which = np.unique(since_epoch // _QUARTER, return_inverse=True)
    each = [_offset(q, zone) for q in quarters]
    found[there] = np.array(each, dtype="timedelta64[us]")[which] if each else found[there]
    return found


def local_times(at: Times, zone: ZoneInfo) -> Times:
    """Return what the cell's clocks showed, without an offset."""
    moved = at.astype("datetime64[us]") + offsets(at, zone)
    return moved.astype("datetime64[us]")


def local_texts(at: Times, zone: ZoneInfo) -> Texts:
    """Return ISO 8601 texts with an offset, None where there is no moment."""
    found = np.full(at.shape, None, dtype=object)
    there = ~np.isnat(at)
    kept = at[there].astype("datetime64[us]")
    if kept.size == 0:
        return found
    moved = offsets(kept, zone)
    whole = bool((kept == kept.astype("datetime64[s]")).all())
    clock = np.datetime_as_string((kept + moved).astype("datetime64[us]"), unit="s" if whole else "us")
    ends = {offset: _offset_text(offset) for offset in np.unique(moved)}
    found[there] = [f"{c}{ends[o]}" for c, o in zip(clock, moved, strict=True)]
    return found


def _offset(quarter: np.int64, zone: ZoneInfo) -> timedelta:
    at = datetime(1970, 1, 1, tzinfo=UTC) + int(quarter) * timedelta(minutes=15)
    offset = at.astimezone(zone).utcoffset()
    assert offset is not None
    return offset


def _offset_text(offset: np.timedelta64) -> str:
    seconds = int(offset / np.timedelta64(1, "s"))
    sign, seconds = ("-", -seconds) if seconds < 0 else ("+", seconds)
    hours, rest = divmod(seconds, 3600)
    minutes, odd = divmod(rest, 60)
    return f"{sign}{hours:02}:{minutes:02}" + (f":{odd:02}" if odd else "")

"""Sheets, events and calls, made small enough to be checked by hand."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from cellmon.monitor.judge.audited_blocks import Before, block_calls
from cellmon.monitor.judge.calls import Called
from cellmon.monitor.judge.inputs import Spans
from cellmon.records import Characteristics, Events, Stream, no_rows
from cellmon.sheet import Sheet
from cellmon.sheet_checks import checked_sheet
from cellmon.simulate.sheet_text import sheet_text

START = np.datetime64("2026-03-02T06:00:00", "us")


def demo_sheet(**sections: Any) -> Sheet:
    """Return the demonstration's sheet: two spindles with two of four bores each; sections replaced."""
    given = {**tomllib.loads(sheet_text()), **sections}
    return checked_sheet({name: value for name, value in given.items() if value is not None})


def block_called(rows: Characteristics, sheet: Sheet) -> list[Called]:
    """Return what blocks of rows of other instruments call, one characteristic after another."""
    names = sorted(set(rows.characteristic.tolist()))
    mine = {name: rows.select(rows.characteristic == name) for name in names}
    return [c for name in names for c in block_calls(sheet, name, mine[name], Before()).calls]


def stream(
    spindle: str | None = "S1", bore: str | None = "1", feature: str = "diameter", **other: Any
) -> Stream:
    """Return a stream of the demonstration's part."""
    return Stream(part_number="HM-214", spindle=spindle, bore=bore, feature=feature, **other)


def minute(at: float) -> np.datetime64:
    """Return the moment so many minutes after the start."""
    return START + np.timedelta64(int(at * 60_000_000), "us")


def events_of(rows: Sequence[Mapping[str, Any]]) -> Events:
    """Return events from mappings; `at` in minutes."""
    if not rows:
        return no_rows(Events)
    columns: dict[str, Any] = {}
    for column in Events.columns():
        values: list[Any] = [row.get(column.name) for row in rows]
        if column.name == "at":
            columns["at"] = np.array([minute(v) for v in values], dtype="datetime64[us]")
        elif column.name == "value":
            columns["value"] = np.array([np.nan if v is None else v for v in values], dtype=np.float64)
        else:
            texts = np.empty(len(rows), dtype=object)
            texts[:] = values
            columns[column.name] = texts
    return Events(**columns)


def spans_of(minutes: Sequence[tuple[float, float]], thermal: Sequence[float] | None = None) -> Spans:
    """Return the spans of subgroups, each from its first to its last bore."""
    return Spans(
        first=np.array([minute(a) for a, _ in minutes], dtype="datetime64[us]"),
        last=np.array([minute(b) for _, b in minutes], dtype="datetime64[us]"),
        thermal=np.full(len(minutes), np.nan) if thermal is None else np.array(thermal, dtype=np.float64),
    )


def called(
    of: Stream,
    at: float,
    *,
    kind: str = "level",
    side: int = 1,
    earliest: float | None = None,
    latest: float | None = None,
    lasts: float = 0.0,
    over: bool = False,
    size: float = 2.0,
    **other: Any,
) -> Called:
    """Return a call; moments in minutes, its change from `earliest` to `latest`, ten minutes before it."""
    earliest = at - 10 if earliest is None else earliest
    latest = at if latest is None else latest
    figures: dict[str, Any] = {
        "stream": of,
        "kind": kind,
        "detector": "three cumulative sums of the level",
        "side": side,
        "at": minute(at),
        "last_at": minute(at + lasts),
        "part": f"B{at:.0f}",
        "last_part": f"B{at + lasts:.0f}",
        "over": over,
        "size": size,
        "sigma": 1.0,
        "change_at": minute(earliest),
        "earliest_at": minute(earliest),
        "latest_at": minute(latest),
        "change_part": f"B{earliest:.0f}",
        "earliest_part": f"B{earliest:.0f}",
        "latest_part": f"B{latest:.0f}",
    }
    return Called(**{**figures, **other})

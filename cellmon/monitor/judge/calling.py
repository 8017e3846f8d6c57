"""From calls to rows: when what was called began, how large it is, and what moved beside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from cellmon.drift.change import change_point
from cellmon.drift.columns import Call
from cellmon.drift.spread import spread_change
from cellmon.judged import OFFSETS, STREAM_COLUMNS, Alarms
from cellmon.monitor.judge.evidence import moved_with
from cellmon.monitor.judge.patterns import pattern_rows
from cellmon.records import Times, no_rows
from cellmon.words import to_say

if TYPE_CHECKING:
    from cellmon.monitor.judge.watching import Stretch, Watcher

POINTS_BACK = 250
"""So far back a change is looked for."""
DETECTORS = {
    "level": to_say("three cumulative sums of the level"),
    "spread": to_say("three cumulative sums of the variance"),
    "single": to_say("one bore far from its level"),
}


@dataclass(frozen=True, kw_only=True, eq=False)
class Past:
    """Figures of one stream up to a step, with when and of which parts; `broken`: a call cuts it off."""

    values: NDArray[np.float64]
    first_at: Times
    at: Times
    first_part: NDArray[Any]
    last_part: NDArray[Any]
    broken: bool

    @classmethod
    def joined(cls, parts: Sequence[Past]) -> Past:
        whole = {
            name: np.concatenate([getattr(p, name) for p in parts])[-POINTS_BACK:]
            for name in ("values", "first_at", "at", "first_part", "last_part")
        }
        return cls(**whole, broken=parts[0].broken)


def past_of(stretch: Stretch, column: int, until: int, what: str) -> Past:
    """Return a stream's surprises, or variance ratios, up to a step, as far as one change reaches."""
    figures = stretch.watched.surprise if what == "level" else stretch.watched.ratio
    values = figures[: until + 1, column]
    rows = stretch.columns.rows(column)[: len(values)]
    values = values[: len(rows)]
    earlier = [
        c.step for c in stretch.watched.calls if c.stream == column and c.step < until and c.kind == what
    ]
    start = max(earlier) + 1 if earlier else 0
    fresh = np.flatnonzero(stretch.steps.changed[: until + 1, column])
    start = max(start, int(fresh[-1])) if len(fresh) else start
    there = np.flatnonzero(np.isfinite(values[start:])) + start
    subgroups = stretch.subgroups
    return Past(
        values=values[there],
        first_at=subgroups.first_at[rows[there]],
        at=subgroups.at[rows[there]],
        first_part=subgroups.first_part[rows[there]],
        last_part=subgroups.last_part[rows[there]],
        broken=bool(earlier) or len(fresh) > 0,
    )


def alarm_rows(watcher: Watcher, unit: np.datetime64, stretch: Stretch) -> Alarms:
    """Return what a unit has of every call: those that begin in it, and those that go on."""
    found: list[dict[str, Any]] = []
    open_calls: dict[tuple[int, str], dict[str, Any]] = {}
    before = stretch.before
    for c in range(len(stretch.streams)):
        for kind, calls in (("level", before.level_call), ("spread", before.spread_call)):
            if calls[c]:
                side = int(before.level_side[c]) if kind == "level" else 1
                open_calls[c, kind] = _row(unit, stretch, c, kind, side, int(calls[c]), step=0)
    for call in stretch.watched.calls:
        key = (call.stream, call.kind)
        if not call.begins:
            row = open_calls.pop(key, None)
            if row is not None:
                found.append(_ended(row, stretch, call.stream, call.step, over=1))
            continue
        row = _row(unit, stretch, call.stream, call.kind, call.side, call.call, step=call.step)
        row |= _change(watcher, stretch, call)
        if call.kind == "single":
            found.append(_ended(row, stretch, call.stream, call.step, over=1))
        else:
            open_calls[key] = row
    for (c, _), row in open_calls.items():
        found.append(_ended(row, stretch, c, len(stretch.columns.rows(c)) - 1, over=0))
    sheet = watcher.rules.at(unit).sheet
    for row in found:
        if row["detector"]:  # it begins in this unit
            until = int(row["last_at"].astype(np.int64))
            if row["over"] and row["last_at"] > row["at"]:
                until -= 1  # the last subgroup is the one that was back
            begin, sure = (int(row.pop(n, row["at"]).astype(np.int64)) for n in ("begin", "sure"))
            parts = {row["part_number"], *sheet.charted_numbers(row["part_number"])}
            parts.add(sheet.charted_as(row["part_number"]))
            row["moved"] = moved_with(begin, sure, until, stretch, parts=parts)
    found += pattern_rows(stretch.cut, watcher.limits, sheet)
    return _alarms(found)


def _row(
    unit: np.datetime64, stretch: Stretch, c: int, kind: str, side: int, call: int, *, step: int
) -> dict[str, Any]:
    row, stream = stretch.columns.rows(c)[step], stretch.streams[c]
    return {
        **{name: getattr(stream, name) for name in STREAM_COLUMNS},
        "call": str(call),
        "kind": kind,
        "detector": "",
        "side": side,
        "unit_start": unit,
        "at": np.datetime64(call, "us"),
        "part": stretch.subgroups.last_part[row],
        "sigma": stretch.learned[c].mean_sd if stream.feature == OFFSETS else stretch.learned[c].bore_sd,
    }


def _ended(row: dict[str, Any], stretch: Stretch, c: int, step: int, *, over: int) -> dict[str, Any]:
    last = stretch.columns.rows(c)[step]
    return row | {
        "last_at": stretch.subgroups.at[last],
        "last_part": stretch.subgroups.last_part[last],
        "over": over,
    }


def _change(watcher: Watcher, stretch: Stretch, call: Call) -> dict[str, Any]:
    """Return when what was called began, with its range, and how large it is."""
    learned = stretch.learned[call.stream]
    found: dict[str, Any] = {"detector": DETECTORS[call.kind]}
    if call.kind == "single":
        row = stretch.columns.rows(call.stream)[call.step]
        s = stretch.subgroups
        moment, part, last = s.first_at[row], s.first_part[row], s.last_part[row]
        found |= {"begin": moment, "sure": moment}
        return found | _when((moment, part), (moment, part), (s.at[row], last)) | {"size": call.size}
    past = watcher.history(stretch, call.stream, call.step, what=call.kind)
    if call.kind == "level":
        change = change_point(past.values)
        found["kind"] = change.kind
        found["size"] = change.shift * learned.mean_sd
        places = (change.index, change.earliest, change.latest)
    else:
        wider = spread_change(past.values, learned.size - 1)
        found["size"] = wider.ratio
        places = (wider.index, wider.earliest, wider.latest)
    i, early, late = places
    found |= {"begin": past.first_at[i], "sure": past.at[i]}
    return found | _when(
        (past.first_at[i], past.first_part[i]),
        (past.first_at[early], past.first_part[early]),
        (past.at[late], past.last_part[late]),
    )


def _when(*places: tuple[np.datetime64, str]) -> dict[str, Any]:
    names = ("change", "earliest", "latest")
    found: dict[str, Any] = {}
    for name, (at, part) in zip(names, places, strict=True):
        found[f"{name}_at"], found[f"{name}_part"] = at, part
    return found


def _alarms(rows: Sequence[dict[str, Any]]) -> Alarms:
    if not rows:
        return no_rows(Alarms)
    columns: dict[str, NDArray[Any]] = {}
    for column in Alarms.columns():
        values = [row.get(column.name) for row in rows]
        columns[column.name] = _typed(column.name, values)
    return Alarms(**columns)


def _typed(name: str, values: Sequence[Any]) -> NDArray[Any]:
    if name.endswith("at") or name == "unit_start":
        moments = [np.datetime64("NaT", "us") if v is None else v for v in values]
        return np.array(moments, dtype="datetime64[us]")
    if name in ("side", "over"):
        return np.array(values, dtype=np.int64)
    if name in ("size", "sigma"):
        return np.array([np.nan if v is None else v for v in values], dtype=np.float64)
    texts = np.empty(len(values), dtype=object)
    texts[:] = values
    return texts

"""What speaks for a cause: what moved beside a call, what stayed, and what was logged around the change."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from cellmon.diagnosis import Evidence, Logged, Movement
from cellmon.monitor.judge.best_told import STRADDLES, Place
from cellmon.monitor.judge.calls import Called
from cellmon.monitor.judge.groups import Group
from cellmon.monitor.judge.honed_at import bores_of
from cellmon.monitor.view import View
from cellmon.records import EventKind

LOOKED_BACK, LOOKED_AFTER = np.timedelta64(4, "h"), np.timedelta64(2, "h")


def evidence_of(view: View, group: Group, main: Called, places: Mapping[tuple[str, str], Place]) -> Evidence:
    """Return what moved, what stayed and what was logged around the change that a signal tells of."""
    movements = list(_movements(view, group, main, places))
    spindle = _spindle(main, places)
    watched = {name for part in view.sheet.parts for name in part.charted}
    moved = {m.feature for m in movements} | {"diameter" for m in movements if m.feature == "size"}
    routed = next((s for s in view.sheet.spindles if s.id == spindle), None)
    return Evidence(
        movements=tuple(movements),
        logged=tuple(_logged(view, main, spindle)),
        quiet=frozenset(watched - moved),
        feed=routed.feed if routed else None,
        spindles=max(len(view.sheet.spindles), 1),
        bores_on_spindle=len(routed.bores) if routed else 1,
        spindle=spindle,
    )


def _spindle(main: Called, places: Mapping[tuple[str, str], Place]) -> str | None:
    place = places.get((main.stream.feature, main.family))
    return place.spindle if place is not None else main.stream.spindle


def _movements(
    view: View, group: Group, main: Called, places: Mapping[tuple[str, str], Place]
) -> Iterator[Movement]:
    for (feature, family), place in places.items():
        drift = main.kind == "drift" and feature == main.stream.feature and family == "level"
        size_um = place.size_um if family == "level" else None
        yield Movement(
            feature=feature,
            kind="drift" if drift else ("spread" if family == "spread" else "level"),
            scope=place.scope,  # type: ignore[arg-type]
            size=place.size,
            bores=place.bores,
            size_um=size_um,
        )
    shown = {(f, k) for f, k in places}
    for call in group.calls:
        if call.kind == "pattern":
            continue
        key = (call.stream.feature, "spread" if call.family == "spread" else "level")
        if call.family in ("level", "spread") and key in shown:
            continue
        yield _called_movement(view, call)


def _called_movement(view: View, call: Called) -> Movement:
    """Return a call that nothing beside it bears out as a movement of its own."""
    bores = tuple(sorted(bores_of(call, view.sheet)))
    stream = call.stream
    scope = "bore" if stream.bore else ("spindle" if stream.spindle else "all")
    size = call.size / call.sigma if np.isfinite(call.sigma) and call.kind != "spread" else call.size
    feature = "gauge" if call.kind == "gauge" else stream.feature
    return Movement(
        feature=feature,
        kind="limit" if call.family == "limit" else call.kind,  # type: ignore[arg-type]
        scope="fixture" if stream.fixture and stream.bore else scope,  # type: ignore[arg-type]
        size=size if np.isfinite(size) else 0.0,
        bores=bores,
    )


def logged_until(main: Called) -> np.datetime64:
    """Return until when what was logged may bear on why a stream was called."""
    return max(main.at, _changed(main)) + LOOKED_AFTER


def _changed(main: Called) -> np.datetime64:
    return min(main.latest_at, main.change_at + STRADDLES)


def _logged(view: View, main: Called, spindle: str | None) -> Iterator[Logged]:
    """Yield what was logged around the change; offsets by the machine only tell of feedback."""
    change = _changed(main)
    start, end = change - LOOKED_BACK, min(logged_until(main), view.as_of)
    events = view.logged(start, end)
    for i in range(len(events)):
        if spindle is not None and events.spindle[i] not in (None, spindle):
            continue
        value = float(events.value[i])
        yield Logged(
            event=str(events.event[i]),  # type: ignore[arg-type]
            minutes_before=_minutes(change, events.at[i]),
            value=value if np.isfinite(value) else None,
            by=events.by[i],
            spindle=events.spindle[i],
        )
    limit = view.sheet.checks.as_found_limit_um if view.sheet.checks else None
    checks = view.checked(start, end)
    for i in range(len(checks)) if limit is not None else ():
        if checks.gauge[i] in view.sheet.stream_gauges:
            off = abs(round((checks.reading_mm[i] - checks.master_mm[i]) * 1000.0, 4))
            event = "master-bad" if off > (limit or 0) else "master-good"
            yield Logged(event=event, minutes_before=_minutes(change, checks.at[i]))  # type: ignore[arg-type]
    started = view.rules.now.calendar.starts_of(np.array([change]))[0]
    yield Logged(event="shift-start", minutes_before=_minutes(change, started))
    overdue = dressing_overdue(view, spindle, main.at) if main.family == "spread" else None
    if overdue is not None:
        yield Logged(event="dressing-overdue", minutes_before=_minutes(change, overdue), spindle=spindle)


def _minutes(change: np.datetime64, at: np.datetime64) -> float:
    return float((change - at) / np.timedelta64(1, "m"))


OVERDUE = 1.25
LEAST_INTERVALS = 1
INTERVALS_OF, LONGEST_UNIT = np.timedelta64(14, "D"), np.timedelta64(1, "D")


def bores_before(view: View, main: Called) -> Any:
    """Return what tells whether the bores are as they were on which it rests that a dressing is overdue."""
    units = view.session.units_since(main.at - INTERVALS_OF - LONGEST_UNIT, until=main.at)
    return units, view.session.newest_decision()


def dressing_overdue(view: View, spindle: str | None, at: np.datetime64) -> np.datetime64 | None:
    """Return since when a spindle's dressing is overdue: 1.25 times its usual interval in bores; None if not.

    The usual interval is the median of those between the last ten dressings and changes before.
    """
    if spindle is None:
        return None
    events = view.logged(at - INTERVALS_OF, at)
    resets = (EventKind.STONES_DRESSED, EventKind.STONES_FITTED)
    mine = events.select((events.spindle == spindle) & np.isin(events.event.astype(str), resets))
    mine = mine.select(np.argsort(mine.at, kind="stable"))
    if len(mine) < LEAST_INTERVALS + 1:
        return None
    dressed = mine.event == EventKind.STONES_DRESSED
    before = np.where(dressed, np.nan_to_num(mine.value), 0.0)  # bores since, where it was logged late
    made = view.session.made_at(spindle, start=mine.at[0], end=at)
    counts = (np.diff(np.searchsorted(made, mine.at)) + before[:-1])[-10:]
    usual = float(np.median(counts[counts > 0])) if (counts > 0).any() else 0.0
    since = made[np.searchsorted(made, mine.at[-1]) :]
    due = int(OVERDUE * usual)
    return since[due] if usual and len(since) > due else None

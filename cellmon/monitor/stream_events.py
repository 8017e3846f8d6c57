"""What happened to a stream's spindle and to its gauge, in a few words each."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from cellmon import lengths
from cellmon.monitor.judge.inputs import BY_MACHINE
from cellmon.monitor.view import View
from cellmon.records import EventKind, Events, Stream
from cellmon.words import say


@dataclass(frozen=True, kw_only=True)
class EventMark:
    """Something logged that touches this stream; `kind` is an event kind, `gauge-check` or `gauge-off`."""

    at: datetime
    kind: str
    words: str


def stream_events(
    view: View, stream: Stream, start: np.datetime64, end: np.datetime64
) -> tuple[EventMark, ...]:
    """Return what happened to a stream's spindle and to its gauge between two moments."""
    events = view.logged(start, end)
    gauges = np.isin(events.gauge.astype(str), list(view.sheet.stream_gauges))
    mine = events.select((events.spindle == stream.spindle) | gauges)
    marks = [
        EventMark(at=view.local(mine.at[i]), kind=mine.event[i], words=event_words(mine, i))
        for i in range(len(mine))
    ]
    limit = view.sheet.checks.as_found_limit_um if view.sheet.checks else None
    checks = view.checked(start, end)
    for i in range(len(checks)):
        off = round((checks.reading_mm[i] - checks.master_mm[i]) * 1000.0, 4)
        if checks.gauge[i] in view.sheet.stream_gauges:
            said = {"gauge": checks.gauge[i], "size": lengths.said(off, 1, sign=True)}
            bad = limit is not None and abs(off) > limit
            words = say("{gauge} found {size} off", **said) if bad else say("{gauge} checked, {size}", **said)
            kind = "gauge-off" if bad else "gauge-check"
            marks.append(EventMark(at=view.local(checks.at[i]), kind=kind, words=words))
    return tuple(sorted(marks, key=lambda m: m.at))


def event_words(events: Events, i: int) -> str:
    """Return what one event says, in a few words."""
    kind, value, by = events.event[i], events.value[i], events.by[i]
    size = None if np.isnan(value) else lengths.said(value, 1, sign=True)
    words: Mapping[EventKind, Callable[[], str]] = {
        EventKind.FEED_OFFSET: lambda: _offset_words(size, by),
        EventKind.STONES_FITTED: lambda: say("stones {set} fitted", set=events.stone_set[i]),
        EventKind.STONES_REMOVED: lambda: _removed_words(events.stone_set[i]),
        EventKind.STONES_DRESSED: lambda: say("stones dressed"),
        EventKind.GAUGE_ZEROED: lambda: _zeroed_words(events.gauge[i], size),
        EventKind.REROUTED: lambda: _rerouted_words(events.bores[i]),
        EventKind.SETUP_CHANGED: lambda: events.note[i] or say("set-up changed"),
    }
    return words[EventKind(kind)]()


def _offset_words(size: str | None, by: str | None) -> str:
    who = say("machine") if by == BY_MACHINE else by or say("by hand")
    return say("offset, {who}", who=who) if size is None else say("offset {size}, {who}", size=size, who=who)


def _removed_words(stone_set: str | None) -> str:
    return say("stones {set} removed", set=stone_set) if stone_set else say("stones removed")


def _zeroed_words(gauge: str | None, size: str | None) -> str:
    if size is None:
        return say("{gauge} zeroed", gauge=gauge)
    return say("{gauge} zeroed {size}", gauge=gauge, size=size)


def _rerouted_words(bores: str | None) -> str:
    return say("hones {bores}", bores=bores) if bores else say("back to its own bores")

"""All streams over days, each as one line of deviation in its own sigma."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from cellmon.monitor.answers import Answer, SignalMark
from cellmon.monitor.signal_register import tells_of
from cellmon.monitor.view import View
from cellmon.monitor.wording import short_words
from cellmon.records import Numbers, Stream, Texts, Times
from cellmon.shifts import ShiftOf, to_utc
from cellmon.words import say, to_say


@dataclass(frozen=True, kw_only=True, eq=False)
class Trace:
    """One stream: subgroup means less the centre, in standard errors of a subgroup mean.

    `at` is `datetime64[us]` in UTC, ascending; `rank` the largest absolute deviation; `last_part` and
    `stone_set` name the last block of each subgroup and the stones that honed it.
    """

    stream: Stream
    at: Times
    last_part: Texts
    stone_set: Texts
    deviation: Numbers
    signals: tuple[SignalMark, ...]
    rank: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Seismograph(Answer):
    """Every stream of the cell from `since` to `until`, in the sheet's order."""

    sentence: str
    since: datetime
    until: datetime
    shifts: tuple[ShiftOf, ...]
    traces: tuple[Trace, ...]


GUESTS = to_say("{count} streams off their routing have no limits and are not drawn")
DAYS = np.timedelta64(7, "D")


def seismograph(
    view: View, *, feature: str | None = None, since: datetime | None = None, until: datetime | None = None
) -> Seismograph:
    """Answer with every stream's deviations between two moments, by default the last seven days."""
    end = min(view.as_of, to_utc(until)) if until else view.as_of
    start = to_utc(since) if since else end - DAYS
    streams = [s for s in view.streams if feature in (None, s.feature)]
    every = tuple(_trace(view, stream, start, end) for stream in streams)
    traces = tuple(t for t in every if view.routed(t.stream) or t.rank > 0)
    first = min((t.at[0] for t in traces if len(t.at)), default=start)
    start = max(start, first)
    loud = [t for t in traces if t.signals]
    waiting = sum(mark.open for t in traces for mark in t.signals)
    sentence = say("All {count} streams stayed inside their limits.", count=len(traces))
    if loud:
        sentence = say(
            "{count} of {all} streams went beyond a limit; {waiting} signals wait for an answer.",
            count=len(loud),
            all=len(traces),
            waiting=waiting,
        )
    return Seismograph(
        **view.head(),
        sentence=sentence,
        since=view.local(start),
        until=view.local(end),
        shifts=tuple(view.rules.now.calendar.between(start, end)),
        traces=traces,
        why_not={} if len(traces) == len(every) else {"traces": say(GUESTS, count=len(every) - len(traces))},
    )


def _trace(view: View, stream: Stream, start: np.datetime64, end: np.datetime64) -> Trace:
    subgroups = view.session.subgroups(stream, start=start, end=end)
    centre, sigma = view.limits[stream].over(subgroups.at)
    deviation = (subgroups.mean - centre) / (sigma / np.sqrt(subgroups.n))
    marks = tuple(
        SignalMark(
            id=s.id,
            stream=stream,
            at=s.raised_at,
            kind=s.kind,
            words=s.words,
            short=short_words(s.kind, size=s.size, unit=s.unit, ratio=s.ratio),
            open=s.state != "answered",
        )
        for s in view.signals_since(start)
        if to_utc(s.raised_at) <= end and tells_of(s, stream)
    )
    known = deviation[np.isfinite(deviation)]
    return Trace(
        stream=stream,
        at=subgroups.at,
        last_part=subgroups.last_part,
        stone_set=subgroups.stone_set,
        deviation=deviation,
        signals=marks,
        rank=float(np.abs(known).max()) if len(known) else 0.0,
    )

"""Whether frozen limits are older than a change that was declared since: what they rest on may be gone.

Wear, dressings and stones of the same kind are expected and make no limits old. A set-up, another kind of
stones, a spindle that hones other bores, a gauge set to another zero, and a sheet that judges otherwise do
not; whether they matter is for a person to say, who freezes anew.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from typing import Any

import numpy as np

from cellmon import lengths, local
from cellmon.judged import Limit
from cellmon.monitor.answers import Answer
from cellmon.monitor.view import View
from cellmon.records import EventKind, Events, Kind, Stream
from cellmon.words import say, say_many

SIZE = "diameter"
JUDGING = ("measuring", "parts", "spindles", "subgroups")
"""Tables of the sheet under which a changed key makes limits old."""
SHEET = "sheet"
NEW_KIND = "stone-kind"


@dataclass(frozen=True, kw_only=True)
class DeclaredChange:
    """What was declared since: an event kind, `stone-kind` or `sheet`; `count` times, `at` last."""

    what: str
    at: datetime
    count: int
    words: str


@dataclass(frozen=True, kw_only=True)
class OldLimits:
    """Streams whose frozen limits rest on bores made before some declared changes."""

    streams: tuple[Stream, ...]
    rest_until: datetime
    """When the last bore that any of them rests on was made."""
    frozen_at: datetime | None
    by: str | None
    changes: tuple[DeclaredChange, ...]
    sentence: str


@dataclass(frozen=True, kw_only=True)
class LimitsAge(Answer):
    """Limits that are older than a change, oldest first."""

    sentence: str
    old: tuple[OldLimits, ...]


def limits_age(view: View) -> LimitsAge:
    """Answer with the frozen limits in force that are older than a declared change."""
    groups: dict[tuple[DeclaredChange, ...], list[Limit]] = {}
    for stream in (*view.streams, *view.pooled):
        limit = view.limits[stream].after(view.as_of)
        changes = changes_since(view, stream, limit)
        if limit is not None and changes:
            groups.setdefault(changes, []).append(limit)
    old = [_old(view, changes, limits) for changes, limits in groups.items()]
    old.sort(key=lambda one: (one.rest_until, one.sentence))
    count = sum(len(one.streams) for one in old)
    sentence = say("No frozen limits are older than a declared change.")
    if count:
        sentence = say_many(
            "The frozen limits of {count} stream are older than a declared change.",
            "The frozen limits of {count} streams are older than a declared change.",
            count,
        )
    return LimitsAge(**view.head(), sentence=sentence, old=tuple(old))


def old_limits(view: View, stream: Stream) -> OldLimits | None:
    """Return the frozen limits of one stream where they are older than a declared change."""
    limit = view.limits[stream].after(view.as_of) if stream in view.limits else None
    changes = changes_since(view, stream, limit)
    return _old(view, changes, [limit]) if limit is not None and changes else None


def _old(view: View, changes: tuple[DeclaredChange, ...], limits: list[Limit]) -> OldLimits:
    first = max(limits, key=lambda limit: limit.window_to)
    until = view.local(first.window_to)
    return OldLimits(
        streams=tuple(limit.stream for limit in limits),
        rest_until=until,
        frozen_at=None if first.frozen_at is None else view.local(first.frozen_at),
        by=first.by,
        changes=changes,
        sentence=age_sentence(until, changes),
    )


def age_sentence(until: datetime, changes: tuple[DeclaredChange, ...]) -> str:
    """Return until when the bores were made that limits rest on, and what was declared since."""
    return say(
        "These limits rest on bores up to {until}; since then: {changes}. See whether they still hold, and "
        "freeze anew where they do not.",
        until=_when(until),
        changes="; ".join(change.words for change in changes),
    )


def changes_since(view: View, stream: Stream, limit: Limit | None) -> tuple[DeclaredChange, ...]:
    """Return what was declared of a stream since the bores were made that its frozen limits rest on."""
    if limit is None or limit.version == 0:
        return ()
    events = view.declared.events
    since = events.select((events.at > limit.window_to) & _of_stream(view, stream, events))
    found = [*_logged(view, since), *_kinds(view, stream, limit), *_sheets(view, limit)]
    return tuple(sorted(found, key=lambda change: change.at))


@dataclass(frozen=True, kw_only=True, eq=False)
class Declared:
    """What was logged since the oldest frozen limits, and which stones were fitted at any time."""

    events: Events
    fitted: Events
    """Stones fitted of a known kind; none where the cell knows but one kind."""
    kind_of: Mapping[str, str]
    """The kind of each stone set."""


def declared(view: View) -> Declared:
    """Return what was logged since the oldest frozen limits in force ended."""
    ends = [
        limit.window_to
        for limits in view.limits.values()
        if (limit := limits.after(view.as_of)) is not None and limit.version
    ]
    until = view.as_of + np.timedelta64(1, "us")
    events = view.session.rows(Kind.EVENTS, start=min(ends, default=until), end=until)
    sets = view.session.rows(Kind.STONE_SETS)
    kind_of = {str(s): str(k) for s, k in zip(sets.stone_set, sets.kind, strict=True) if k is not None}
    every = view.session.rows(Kind.EVENTS, end=until) if len(set(kind_of.values())) > 1 else events
    known = np.isin(every.stone_set.astype(str), list(kind_of)) & (len(set(kind_of.values())) > 1)
    fitted = every.select(known & (every.event == EventKind.STONES_FITTED))
    return Declared(events=events, fitted=fitted, kind_of=kind_of)


def _of_stream(view: View, stream: Stream, events: Events) -> Any:
    """Return which events are of a stream's spindle, or of the gauge that reads its size."""
    mine = np.ones(len(events), dtype=bool) if stream.spindle is None else events.spindle == stream.spindle
    gauge = events.event == EventKind.GAUGE_ZEROED
    if stream.feature != SIZE or stream.part_of != "itself":
        return mine & ~gauge
    ours = np.isin(events.gauge.astype(str), (str(view.sheet.measuring.gauge), "None"))
    return np.where(gauge, ours, mine)


def _logged(view: View, since: Events) -> Iterator[DeclaredChange]:
    for kind in (EventKind.SETUP_CHANGED, EventKind.REROUTED, EventKind.GAUGE_ZEROED):
        rows = np.flatnonzero(since.event == kind)
        if not len(rows):
            continue
        last = int(rows[np.argmax(since.at[rows])])
        if kind is not EventKind.REROUTED or since.bores[last]:  # without bores it is back to the sheet
            yield DeclaredChange(
                what=str(kind),
                at=view.local(since.at[last]),
                count=len(rows),
                words=_words(view, kind, since, last, len(rows)),
            )


def _words(view: View, kind: EventKind, since: Events, last: int, count: int) -> str:
    at, note = _when(view.local(since.at[last])), since.note[last]
    spindle = since.spindle[last] or ""
    if kind is EventKind.GAUGE_ZEROED:
        gauge = since.gauge[last] or view.sheet.measuring.gauge
        value = since.value[last]
        by = "" if np.isnan(value) else lengths.said(value, 1, sign=True)
        return say_many(
            "{gauge} set to another zero, {by} {at}",
            "{gauge} set to another zero {count} times, the last {by} {at}",
            count,
            gauge=gauge,
            by=by,
            at=at,
        )
    if kind is EventKind.REROUTED:
        return say("{spindle} hones other bores since {at}", spindle=spindle, at=at)
    said = say_many(
        "set-up of {spindle} changed {at}",
        "set-up of {spindle} changed {count} times, the last {at}",
        count,
        spindle=spindle,
        at=at,
    )
    return f"{said} ({note})" if note else said


def _kinds(view: View, stream: Stream, limit: Limit) -> Iterator[DeclaredChange]:
    """Yield stones of another kind than those of their stage when the limits' bores were made."""
    fitted, kind_of = view.declared.fitted, view.declared.kind_of
    stage_of = {kind.id: str(kind.stage) for kind in view.sheet.stone_kinds}
    then: dict[tuple[str, str], str] = {}
    changed: dict[tuple[str, str], list[int]] = {}
    for i in range(len(fitted)):
        spindle, kind = str(fitted.spindle[i]), kind_of[str(fitted.stone_set[i])]
        place = spindle, stage_of.get(kind, "")
        if fitted.at[i] <= limit.window_to:
            then[place] = kind
        elif stream.spindle in (None, spindle) and then.get(place, kind) != kind:
            changed.setdefault(place, []).append(i)
    for place, rows in changed.items():
        at, kind = view.local(fitted.at[rows[-1]]), kind_of[str(fitted.stone_set[rows[-1]])]
        words = say(
            "{spindle} fitted with stones {kind} instead of {before}, {at}",
            spindle=place[0],
            kind=kind,
            before=then[place],
            at=_when(at),
        )
        yield DeclaredChange(what=NEW_KIND, at=at, count=len(rows), words=words)


def _sheets(view: View, limit: Limit) -> Iterator[DeclaredChange]:
    """Yield versions of the sheet that came in force since and judge otherwise."""
    versions = view.rules.versions
    for before, after in pairwise(versions):
        if not limit.window_to < after.since <= view.as_of + np.timedelta64(1, "us"):
            continue
        old, new = json.loads(before.sheet.judging()), json.loads(after.sheet.judging())
        keys = [key for key in JUDGING if old.get(key) != new.get(key)]
        if keys:
            at = view.local(after.since)
            yield DeclaredChange(
                what=SHEET,
                at=at,
                count=1,
                words=say(
                    "sheet version {version} in force since {at} ({keys})",
                    version=after.version,
                    at=_when(at),
                    keys=", ".join(keys),
                ),
            )


def _when(moment: datetime) -> str:
    return local.moment(moment)

"""The limits of each stream: frozen versions people decided, and the provisional ones before them."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from functools import lru_cache

import numpy as np

from cellmon.charts.shewhart import baseline_from_ranges
from cellmon.drift.wear import Window, learn
from cellmon.errors import NoSpread, NotEnoughData
from cellmon.judged import OF_ALL, OF_SPINDLE, OFFSETS, Limit, Subgroups
from cellmon.monitor.judge.inputs import SIZE, UNDONE_WITHIN, Spans, moves, usual_events
from cellmon.monitor.rules import Rules
from cellmon.records import Events, Kind, Numbers, Stream, Times
from cellmon.sheet import Sheet
from cellmon.store import Session
from cellmon.words import in_english

PROVISIONAL_SUBGROUPS = 25
LEAST_SUBGROUPS = 20
"""Below so many subgroups nothing is called a limit."""


@lru_cache(maxsize=4096)
def stream_key(stream: Stream) -> str:
    """Return a stream as the text under which decisions about it are kept."""
    return json.dumps(asdict(stream), sort_keys=True)


@dataclass(frozen=True, kw_only=True)
class StreamLimits:
    """A stream's provisional limits and its frozen versions, oldest first."""

    provisional: Limit | None
    frozen: tuple[Limit, ...] = ()

    def after(self, moment: np.datetime64) -> Limit | None:
        """Return the limits that hold right after a moment; None where nothing is called a limit."""
        for limit in reversed(self.frozen):
            if limit.since is not None and limit.since <= moment + np.timedelta64(1, "us"):
                return limit
        return self.provisional if self.provisional and np.isfinite(self.provisional.sigma) else None

    def over(self, times: Times) -> tuple[Numbers, Numbers]:
        """Return centre and sigma at each moment, nan where nothing is called a limit."""
        centre, sigma = np.full(len(times), np.nan), np.full(len(times), np.nan)
        if self.provisional is not None:
            centre[:], sigma[:] = self.provisional.centre, self.provisional.sigma
        for limit in self.frozen:
            later = times >= (limit.window_to if limit.since is None else limit.since)
            centre[later], sigma[later] = limit.centre, limit.sigma
        return centre, sigma


def frozen_limits(session: Session) -> Mapping[Stream, tuple[Limit, ...]]:
    """Return every frozen version of every stream, oldest first."""
    found: dict[Stream, list[Limit]] = {}
    for decision in session.decisions("freeze"):
        body, stream = decision.body, Stream(**json.loads(decision.subject))
        versions = found.setdefault(stream, [])
        versions.append(
            Limit(
                stream=stream,
                centre=body["centre"],
                sigma=body["sigma"],
                n=body["n"],
                subgroups=body["subgroups"],
                size=body["size"],
                window_from=np.datetime64(body["window_from"], "us"),
                window_to=np.datetime64(body["window_to"], "us"),
                since=np.datetime64(body["since"], "us"),
                by=body.get("proposed_by", decision.by),
                signed_by=decision.by if "proposal" in body else None,
                why=body.get("proposed_why", decision.why),
                learned=body.get("learned"),
                frozen_at=decision.at,
                version=len(versions) + 1,
            )
        )
    return {stream: tuple(versions) for stream, versions in found.items()}


def all_limits(session: Session) -> Mapping[Stream, StreamLimits]:
    """Return the limits of every stream that has any."""
    provisional, frozen = session.provisional(), frozen_limits(session)
    return {
        stream: StreamLimits(provisional=provisional.get(stream), frozen=frozen.get(stream, ()))
        for stream in {*provisional, *frozen}
    }


def limit_from(stream: Stream, window: Subgroups, known: Known, *, past: Subgroups | None = None) -> Limit:
    """Return the limits that a window of subgroups gives; sigma is nan where they give none.

    How the stream wears is learned from a longer `past` where one is given.
    """
    centre = sigma = np.nan
    learned, why_not = None, None
    try:
        with in_english():  # what is refused is kept
            baseline = baseline_from_ranges(window.mean, window.range, window.n)
            centre, sigma = baseline.centre_um, baseline.sigma_um
            longer = _window(stream, past, known) if past is not None and len(past) else None
            learned = asdict(learn(_window(stream, window, known), past=longer))
    except (NotEnoughData, NoSpread) as refused:
        why_not = str(refused)
    sizes, counts = np.unique(window.n, return_counts=True)
    return Limit(
        stream=stream,
        centre=float(centre),
        sigma=float(sigma),
        n=int(window.n.sum()),
        subgroups=len(window),
        size=int(sizes[np.argmax(counts)]) if len(sizes) else 0,
        window_from=window.first_at[0],
        window_to=window.at[-1],
        learned=learned,
        why_not=why_not,
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class Known:
    """What was logged over the time of some windows, and the sheet that says whom it moves."""

    events: Events
    sheet: Sheet

    @classmethod
    def of(cls, session: Session, sheet: Sheet, start: np.datetime64, end: np.datetime64) -> Known:
        """Load what was logged between two moments."""
        events = session.rows(Kind.EVENTS, start=start - UNDONE_WITHIN, end=end)
        return cls(events=events.select(np.lexsort((events.value, events.at))), sheet=sheet)

    def over(self, spans: Spans) -> Events:
        """Return what may bear on some subgroups, less offsets that are not taken as known.

        Only their own past counts: what else was loaded depends on the windows of other streams.
        """
        near = self.events.select(self.events.at >= spans.first.min() - UNDONE_WITHIN)
        return usual_events(near, self.sheet)


def wears(stream: Stream) -> bool:
    """Return whether stones' wear moves a stream."""
    return stream.feature in (SIZE, *OF_SPINDLE)


def _window(stream: Stream, window: Subgroups, known: Known) -> Window:
    spans = Spans.of(window)
    before = spans.after(Spans(first=spans.first[:1], last=spans.first[:1], thermal=spans.thermal[:1]))
    found = moves(stream, spans, before, known.over(spans), known.sheet)
    return Window(
        mean=window.mean,
        sd=window.sd,
        n=window.n.astype(np.float64),
        moved=found.machine + found.by_hand + found.zeroed + found.thermal,
        fresh=found.dressed | found.changed,
        changed=found.changed,
        doubt=found.doubt,
        wears=wears(stream),
        slopes=stream.feature not in (*OF_ALL, OFFSETS),
        anew=stream.feature == "feed_um",
    )


def renew_provisional(
    session: Session, streams: Iterable[Stream], rules: Rules, *, since: np.datetime64
) -> set[Stream]:
    """Bring provisional limits up to date; return the streams whose limits moved.

    `streams` have subgroups that may have changed from `since` on; others may have lost all of theirs.
    A window that ended before then stands, unless it is short and its stream goes on. Each is learned
    under the sheet that was in force at its end, so that adopting another one changes nothing before it.
    """
    known, changed = session.provisional(), set(streams)
    due = set()
    for stream in {*changed, *known}:
        before = known.get(stream)
        whole = before is not None and before.subgroups >= PROVISIONAL_SUBGROUPS
        if not before or since <= before.window_to or (not whole and stream in changed):
            due.add(stream)
    if not due:
        return set()
    found = session.first_subgroups(due, start=None, count=PROVISIONAL_SUBGROUPS)
    windows = {stream: window for stream, window in found.items() if len(window)}
    if windows:
        start = min(min(w.first_at[0], w.honed_first.min()) for w in windows.values())
        events = Known.of(session, rules.now.sheet, start, max(w.at[-1] for w in windows.values())).events
    moved, afters = set(), {}
    for stream in due:
        window, after = windows.get(stream), None
        if window is not None:
            known_then = Known(events=events, sheet=rules.at(window.at[-1]).sheet)
            after = limit_from(stream, window, known_then)
        afters[stream] = after
        if not _same(known.get(stream), after):
            moved.add(stream)
    session.put_provisional(afters)
    return moved


def _same(before: Limit | None, after: Limit | None) -> bool:
    figures = [(limit.centre, limit.sigma) if limit else (np.nan, np.nan) for limit in (before, after)]
    same = bool(np.array_equal(figures[0], figures[1], equal_nan=True))
    return same and (before.learned if before else None) == (after.learned if after else None)

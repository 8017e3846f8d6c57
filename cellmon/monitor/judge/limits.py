"""The limits of each stream: frozen versions people decided, and the provisional ones before them."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from functools import lru_cache

import numpy as np

from cellmon.charts.shewhart import baseline_from_ranges
from cellmon.errors import NoSpread, NotEnoughData
from cellmon.judged import Limit, Subgroups
from cellmon.records import Numbers, Stream, Times
from cellmon.store import Session

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
                by=decision.by,
                why=decision.why,
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


def limit_from(stream: Stream, window: Subgroups) -> Limit:
    """Return the limits that a window of subgroups gives; sigma is nan where they give none."""
    centre = sigma = np.nan
    if len(window) >= LEAST_SUBGROUPS:
        try:
            baseline = baseline_from_ranges(window.mean, window.range, window.n)
            centre, sigma = baseline.centre_um, baseline.sigma_um
        except (NotEnoughData, NoSpread):
            pass
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
    )


def renew_provisional(session: Session, streams: Iterable[Stream], *, since: np.datetime64) -> set[Stream]:
    """Bring provisional limits up to date; return the streams whose limits moved.

    `streams` have subgroups that may have changed from `since` on; others may have lost all of theirs.
    A window that ended before then stands, unless it is short and its stream goes on.
    """
    known, moved, changed = session.provisional(), set(), set(streams)
    for stream in {*changed, *known}:
        before = known.get(stream)
        whole = before is not None and before.subgroups >= PROVISIONAL_SUBGROUPS
        if before and since > before.window_to and (whole or stream not in changed):
            continue
        window = session.subgroups(stream, first=PROVISIONAL_SUBGROUPS, clean=True)
        after = limit_from(stream, window) if len(window) else None
        session.put_provisional(stream, after)
        if not _same(before, after):
            moved.add(stream)
    return moved


def _same(before: Limit | None, after: Limit | None) -> bool:
    figures = [(limit.centre, limit.sigma) if limit else (np.nan, np.nan) for limit in (before, after)]
    return bool(np.array_equal(figures[0], figures[1], equal_nan=True))

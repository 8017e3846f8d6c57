"""Means of a stream less what is known to have moved them, cut where stones were dressed or changed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cellmon.judged import Subgroups
from cellmon.monitor.judge.inputs import UNDONE_WITHIN, Spans, moves
from cellmon.monitor.judge.limits import Known
from cellmon.monitor.view import View
from cellmon.records import Events, Flags, Numbers, Stream, Whole

JUST_AFTER = np.timedelta64(1, "us")


@dataclass(frozen=True, kw_only=True, eq=False)
class Unmoved:
    """Subgroups of a stream in order; arrays of shape (k,), micrometres."""

    mean: Numbers
    """Less offsets, zeroings and temperatures, as if the first had stayed."""
    bores: Numbers
    """Made until the middle of each."""
    fresh: Flags
    """Whether stones were dressed or changed, or the set-up, since the one before."""
    changed: Flags
    """Whether stones or set-up were changed."""

    @property
    def stretch(self) -> Whole:
        """The number of the stretch between such events that each lies in."""
        return np.cumsum(self.fresh).astype(np.int64)

    @property
    def since_fresh(self) -> Numbers:
        """Bores of the stream since the last such event; nan before the first."""
        begun = np.maximum.accumulate(np.where(self.fresh, self.bores, -np.inf))
        found: Numbers = np.where(np.isfinite(begun), self.bores - begun, np.nan)
        return found


def logged_over(view: View, rows: Subgroups) -> Events:
    """Return what was logged that may bear on some subgroups, at least one."""
    spans = Spans.of(rows)
    return view.logged(spans.first.min() - UNDONE_WITHIN, spans.last.max() + JUST_AFTER)


def unmoved(view: View, stream: Stream, rows: Subgroups) -> Unmoved:
    """Return a stream's subgroups, at least one, less what the log says moved them."""
    spans = Spans.of(rows)
    before = spans.after(Spans(first=spans.first[:1], last=spans.first[:1], thermal=spans.thermal[:1]))
    events = logged_over(view, rows)
    logged = Known(events=events.select(np.lexsort((events.value, events.at))), sheet=view.sheet)
    moved = moves(stream, spans, before, logged.over(spans), view.sheet)
    steps = moved.machine + moved.by_hand + moved.zeroed + moved.thermal
    steps[0] = 0.0
    fresh = moved.dressed | moved.changed
    fresh[0] = False
    return Unmoved(
        mean=np.asarray(rows.mean - np.cumsum(steps), dtype=np.float64),
        bores=np.asarray(np.cumsum(rows.n) - rows.n / 2, dtype=np.float64),
        fresh=fresh,
        changed=np.asarray(moved.changed & (np.arange(len(rows)) > 0)),
    )

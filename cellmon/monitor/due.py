"""What waits for a person: a master check, an answer, a decision on doubted rows."""

from __future__ import annotations

import numpy as np

from cellmon.monitor.answers import Due
from cellmon.monitor.view import View
from cellmon.records import EventKind, Kind

FIRST_BORES = "first bores"


def due_at(view: View, *, spindle: str) -> tuple[Due, ...]:
    """Return what is due at a spindle: its gauge's master check, and its first bores after a change."""
    found = []
    if view.sheet.checks is not None:
        found += _master_check(view)
        found += _first_bores(view, spindle)
    return tuple(found)


def _master_check(view: View) -> list[Due]:
    checks = view.sheet.checks
    if checks is None or checks.master_every_h is None:
        return []
    gauge = view.sheet.measuring.gauge
    every = np.timedelta64(int(checks.master_every_h * 3600), "s")
    known = view.session.rows(
        Kind.GAUGE_CHECKS, start=view.as_of - 20 * every, end=view.as_of + np.timedelta64(1, "us")
    )
    mine = known.at[known.gauge == gauge]
    if not len(mine):
        return [Due(what=f"master check of {gauge}: none is known", at=None, overdue=True)]
    next_at = mine.max() + every
    return [Due(what=f"master check of {gauge}", at=view.local(next_at), overdue=bool(next_at < view.as_of))]


def _first_bores(view: View, spindle: str) -> list[Due]:
    """After a change of stones, dressing or set-up the first bores are measured and released by a person."""
    checks = view.sheet.checks
    if checks is None or checks.first_bores is None:
        return []
    latest = view.session.latest_events(view.as_of + np.timedelta64(1, "us"))
    changes = [EventKind.STONES_FITTED, EventKind.STONES_DRESSED, EventKind.SETUP_CHANGED]
    mine = latest.select((latest.spindle == spindle) & np.isin(latest.event.astype(str), changes))
    if not len(mine):
        return []
    newest = mine.select(np.array([int(np.argmax(mine.at))]))
    made = view.session.count_bores_since(spindle, newest.at[0], view.as_of + np.timedelta64(1, "us"))
    wanted = checks.first_bores * len(view.sheet.spindle(spindle).bores)
    if made >= wanted:
        return []
    after = newest.event[0].replace("-", " ")
    what = f"{FIRST_BORES} after {after}: {made} of {wanted} measured"
    return [Due(what=what, at=view.local(newest.at[0]), overdue=False)]

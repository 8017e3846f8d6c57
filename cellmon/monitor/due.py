"""What waits for a person: a master check, an answer, a decision on doubted rows."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np

from cellmon import local
from cellmon.monitor.answers import Due
from cellmon.monitor.changes import newest_change
from cellmon.monitor.running import is_of, routed_bores
from cellmon.monitor.view import View
from cellmon.records import Kind
from cellmon.words import say

LOOKED_FOR = 20
"""So many times the interval of master checks back the newest check is looked for."""


@dataclass(frozen=True, kw_only=True)
class FirstBoresDue(Due):
    """First bores that were not measured yet."""


def due_at(view: View, *, spindle: str) -> tuple[Due, ...]:
    """Return what is due at a spindle: its gauge's master check, and its first bores after a change."""
    found = []
    if view.sheet.checks is not None:
        found += master_check(view)
        found += _first_bores(view, spindle)
    return tuple(found)


def master_check(view: View) -> list[Due]:
    """Return when the gauge of the streams is to be read on its master next; nothing where no time is set."""
    checks = view.sheet.checks
    if checks is None or checks.master_every_h is None:
        return []
    gauge = view.sheet.measuring.gauge
    every = np.timedelta64(int(checks.master_every_h * 3600), "s")
    known = view.session.rows(
        Kind.GAUGE_CHECKS, start=view.as_of - LOOKED_FOR * every, end=view.as_of + np.timedelta64(1, "us")
    )
    mine = known.at[known.gauge == gauge]
    if not len(mine):
        none = say(
            "master check of {gauge}: none in the last {hours} h",
            gauge=gauge,
            hours=local.number(LOOKED_FOR * checks.master_every_h),
        )
        return [Due(what=none, at=None, overdue=True)]
    next_at = mine.max() + every
    what = say("master check of {gauge}", gauge=gauge)
    return [Due(what=what, at=view.local(next_at), overdue=bool(next_at < view.as_of))]


def _first_bores(view: View, spindle: str) -> list[Due]:
    """After a change of stones, dressing, set-up or part a person measures first bores and releases it."""
    checks = view.sheet.checks
    if checks is None or checks.first_bores is None:
        return []
    newest = newest_change(view, spindle)
    if newest is None:
        return []
    of = None if len(view.sheet.parts) == 1 else partial(is_of, view.running(spindle).number)
    made = view.session.count_charted(spindle, start=newest.at, end=view.as_of, of=of)
    wanted = checks.first_bores * len(routed_bores(view, spindle))
    if made >= wanted:
        return []
    what = say(
        "first bores after {change}: {made} of {wanted} measured",
        change=newest.words,
        made=made,
        wanted=wanted,
    )
    return [FirstBoresDue(what=what, at=view.local(newest.at), overdue=False)]

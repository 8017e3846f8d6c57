"""When a set will have honed what it has left, by the planned shifts of its spindle."""

from __future__ import annotations

from datetime import datetime

import numpy as np

from cellmon.monitor.stones.ranges import BoresRange, DueAt, GoodBores
from cellmon.monitor.view import View
from cellmon.stones.output import Output, output
from cellmon.words import say, to_say

MOST_DAYS = 800
SLACK_DAYS = 21
NO_PLAN = to_say("the sheet plans no bores_per_shift for this spindle")


def clock_of(view: View, spindle: str, *, bores: float) -> Output | None:
    """Return a spindle's planned output far enough to hone so many bores; None where the sheet plans none."""
    planning = view.sheet.planning
    per_shift = None if planning is None else planning.bores_per_shift.get(spindle)
    if planning is None or not per_shift:
        return None
    days = min(SLACK_DAYS + len(planning.closed) + int(2 * bores / per_shift), MOST_DAYS)
    ahead = view.rules.now.calendar.spans(view.as_of, view.as_of + np.timedelta64(days, "D"))
    return output(
        ahead.starts,
        ahead.ends,
        [s.worked and s.date not in planning.closed for s in ahead.shifts],
        bores_per_shift=per_shift,
        now=view.as_of,
    )


def due_at(
    view: View,
    spindle: str,
    left: BoresRange | None,
    good: GoodBores | None,
    why_not: dict[str, str],
) -> DueAt | None:
    """Return when a fitted set is to be changed, by whichever limit comes first."""
    if left is None:
        return None
    clock = clock_of(view, spindle, bores=left.p95)
    if clock is None:
        why_not["due_at"] = say(NO_PLAN)
        return None
    first = left if good is None or good.p50 >= left.p50 else good
    bores = [np.inf if b is None else float(b) for b in (first.p05, first.p50, first.p95)]
    found: list[datetime | None] = [
        None if np.isnat(at) else view.local(at) for at in clock.at(np.minimum(bores, clock.total + 1))
    ]
    return DueAt(p05=found[0], p50=found[1], p95=found[2])

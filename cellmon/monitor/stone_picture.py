"""All of the stones for drawing: the answer with its plan, every set's line, the shifts to come."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np

from cellmon.monitor.answers import Answer
from cellmon.monitor.stone_plan import StonePlan, with_plan
from cellmon.monitor.stones import StonesAnswer
from cellmon.monitor.stones.lines import SetLine, set_lines
from cellmon.monitor.stones.now import stones_now
from cellmon.monitor.view import View

USUAL_DAYS = 28.0
"""Shifts are told so far ahead where there is no plan."""


@dataclass(frozen=True, kw_only=True)
class ShiftAhead:
    """One shift to come; `closed` where the sheet closes its day, else not worked by the calendar."""

    name: str
    date: date
    starts: datetime
    ends: datetime
    worked: bool
    closed: bool


@dataclass(frozen=True, kw_only=True)
class StoneBody:
    """What the stones of a kind measure, as the sheet says."""

    kind: str
    length_mm: float | None
    least_um: float
    parallel_um: float | None
    matched_um: float | None
    flat_um: float | None


@dataclass(frozen=True, kw_only=True, eq=False)
class StonePicture(Answer):
    """What the page of stones draws, all of one moment."""

    stones: StonesAnswer
    lines: tuple[SetLine, ...]
    bodies: tuple[StoneBody, ...]
    shifts: tuple[ShiftAhead, ...]
    """From the one that runs to the end of the plan."""
    spindles: tuple[str, ...]


def stone_picture(view: View) -> StonePicture:
    """Answer with all stones, their plan, and what their drawings need beside."""
    now = stones_now(view)
    answer = with_plan(view, now=now)
    return StonePicture(
        **view.head(),
        stones=answer,
        lines=set_lines(now),
        bodies=tuple(
            StoneBody(
                kind=kind.id,
                length_mm=kind.stone_length_mm,
                least_um=kind.least_thickness_mm * 1000,
                parallel_um=kind.parallel_um,
                matched_um=kind.matched_um,
                flat_um=kind.flat_um,
            )
            for kind in view.sheet.stone_kinds
        ),
        shifts=_shifts(view, answer.plan),
        spindles=view.sheet.spindle_ids,
    )


def _shifts(view: View, plan: StonePlan | None) -> tuple[ShiftAhead, ...]:
    planning = view.sheet.planning
    closed = set() if planning is None else set(planning.closed)
    days = USUAL_DAYS if plan is None else plan.horizon_days
    until = view.as_of + np.timedelta64(round(timedelta(days=days).total_seconds()), "s")
    return tuple(
        ShiftAhead(
            name=s.name,
            date=s.date,
            starts=s.starts,
            ends=s.ends,
            worked=s.worked and s.date not in closed,
            closed=s.date in closed,
        )
        for s in view.rules.now.calendar.between(view.as_of, until)
    )

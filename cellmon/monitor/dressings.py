"""When a spindle is dressed next, and how many bores are left to a limit if it is dressed as planned."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from cellmon.drift.dressing import LEAST_DRESSINGS, DressingEffect, dressed_to_limit, learn_step
from cellmon.drift.survival import Process
from cellmon.drift.wear import DRESSED_BORES, SLOPE_VARIES
from cellmon.errors import NotEnoughData
from cellmon.judged import Subgroups
from cellmon.monitor.answers import Estimate
from cellmon.monitor.forecast import CONFIDENCE, DEVIATES, BoresLeft, Standing, known_of
from cellmon.monitor.made import made_since
from cellmon.monitor.running import routed_bores
from cellmon.monitor.unmoved import Unmoved, logged_over, unmoved
from cellmon.monitor.view import View
from cellmon.records import EventKind, Events, Stream
from cellmon.store.joining import by_stream
from cellmon.words import say, to_say

LOOKED_BACK = np.timedelta64(30, "D")
INTERVALS, LEAST_INTERVALS = 5, 3
"""Intervals whose median is the plan where the sheet has none, and how many it takes."""
EFFECTS = 6
"""Past dressings from which is learned what one does."""
AROUND = np.timedelta64(12, "h")
SIDE = 3
"""Subgroups on each side of a dressing."""
NOTHING = DressingEffect(step_um=0.0, step_sd_um=0.0)
NO_LOG = to_say("no dressing or new stones were logged in the last 30 days")
NO_PLAN = to_say(
    "the sheet has no `dress_every_bores` for this spindle, and the log has {got} of the 3 intervals that "
    "would tell"
)
NO_EFFECT = to_say("{got} of the 3 dressings known that would tell what one does to this level")


@dataclass(frozen=True, kw_only=True)
class Chance:
    """A probability."""

    value: float


@dataclass(frozen=True, kw_only=True)
class PlannedDressing:
    """The next dressing of a stream's spindle, and bores to a limit while it is dressed by plan."""

    in_bores: int
    """Of this stream until the next dressing; below 0: so many past it."""
    every_bores: int
    """Of this stream from one dressing to the next."""
    from_: str
    """Whence the plan is: `sheet`, or `log`: the median of the last intervals."""
    reached_before: Chance
    """That a limit is reached before the next dressing."""
    bores_to_limit: BoresLeft | None
    """Quantiles; None beyond the tenth dressing planned."""
    step_um: Estimate | None
    """What the next dressing does to the level, as those past did."""
    step_from: str | None = None
    """Whence that is: `log`, the last dressings logged; `baseline`, what it learned of its own."""
    why_not: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True, eq=False)
class Plan:
    """When a spindle is dressed: bores of the spindle until the next time, and between."""

    in_bores: float
    every_bores: float
    from_: str


@dataclass(frozen=True, kw_only=True, eq=False)
class Dressed:
    """A dressing of the past, and the subgroups of each stream around it."""

    at: np.datetime64
    around: Mapping[Stream, Subgroups]
    beside: dict[Stream, _Beside] = field(default_factory=dict)
    """What was looked at of each stream, while nothing else is logged of that time."""


@dataclass(frozen=True, kw_only=True, eq=False)
class _Beside:
    """The subgroups on both sides of a dressing; None: stones or set-up were changed among them."""

    rests_on: Any
    rows: Unmoved | None


@dataclass(frozen=True, kw_only=True)
class NoPlan:
    """Why it is not known when a spindle is dressed next."""

    why_not: str


def planned_dressing(view: View, stream: Stream, found: Standing | None) -> PlannedDressing | NoPlan:
    """Return the next dressing of a stream and the forecast with planned dressings."""
    known = None if found is None else known_of(view, stream, found)
    if found is None or known is None or stream.spindle is None:
        return NoPlan(why_not=say("nothing is forecast of this stream"))
    plan = view.dressing_plan(stream.spindle)
    if isinstance(plan, NoPlan):
        return plan
    share = _bores_a_part(view, stream)
    due, every = round(plan.in_bores / share), max(1, round(plan.every_bores / share))
    process = Process.of(**known)
    ahead, why_not, effect = max(due, 0), {}, None
    try:
        effect = _effect(view, stream, found, view.past_dressings(stream.spindle))
    except NotEnoughData as few:
        why_not = dict.fromkeys(("bores_to_limit", "step_um"), say(NO_EFFECT, got=few.got))
    told = dressed_to_limit(process, effect.does if effect else NOTHING, in_bores=ahead, every_bores=every)
    left = BoresLeft(p05=told.p05, p50=told.p50, p95=told.p95, side=told.side)
    return PlannedDressing(
        in_bores=due,
        every_bores=every,
        from_=plan.from_,
        reached_before=Chance(value=round(told.reached_before, 4)),
        bores_to_limit=None if effect is None else left,
        step_um=None if effect is None else _estimate(effect.does, found, ahead),
        step_from=None if effect is None else effect.from_,
        why_not=why_not,
    )


def plan_of(view: View, spindle: str) -> Plan | NoPlan:
    """Return when a spindle is dressed next, by the sheet or else by the median of its last intervals."""
    events = _resets(view, spindle)
    if not len(events):
        return NoPlan(why_not=say(NO_LOG))
    every = next((s.dress_every_bores for s in view.sheet.spindles if s.id == spindle), None)
    dressed = events.event == EventKind.STONES_DRESSED
    begin = 0 if every is None else len(events) - 1
    made = made_since(view, spindle, events.at[begin])
    before = np.where(dressed, np.nan_to_num(events.value), 0.0)  # bores since, where it was logged late
    since = len(made) - np.searchsorted(made, events.at[-1], side="right") + before[-1]
    if every is not None:
        return Plan(in_bores=float(every - since), every_bores=float(every), from_="sheet")
    counts = np.diff(np.searchsorted(made, events.at, side="right")) + before[:-1] - before[1:]
    counts = counts[dressed[1:] & (counts > 0)][-INTERVALS:]  # new stones cut an interval short
    if len(counts) < LEAST_INTERVALS:
        return NoPlan(why_not=say(NO_PLAN, got=len(counts)))
    usual = float(np.median(counts))
    return Plan(in_bores=usual - float(since), every_bores=usual, from_="log")


def past_dressings(view: View, spindle: str) -> tuple[Dressed, ...]:
    """Return the last dressings with the subgroups around them; as they were, where those are the same."""
    events = _resets(view, spindle)
    last = events.at[events.event == EventKind.STONES_DRESSED][-EFFECTS:]
    if not len(last):
        return ()
    ends = {at: min(at + AROUND, view.as_of) for at in last}
    every = view.session.subgroup_blocks(start=last.min() - AROUND, end=max(ends.values()))
    blocks = {
        at: (end, [b for b in every if b.ends >= at - AROUND and b.begins <= end]) for at, end in ends.items()
    }

    def look(at: np.datetime64) -> Dressed:
        near = view.session.subgroups(start=at - AROUND, end=ends[at])
        streams = by_stream(near).items()
        return Dressed(at=at, around={stream: near.select(rows) for stream, rows in streams})

    found = view.carry_each(f"dressings of {spindle}", blocks, look)
    return tuple(found[at] for at in last)


def _resets(view: View, spindle: str) -> Events:
    """Return the last dressings and fittings of a spindle, oldest first."""
    now = view.as_of + np.timedelta64(1, "us")
    events = view.logged(now - LOOKED_BACK, now)
    kinds = (events.event == EventKind.STONES_DRESSED) | (events.event == EventKind.STONES_FITTED)
    mine = events.select((events.spindle == spindle) & kinds)
    return mine.select(np.argsort(mine.at, kind="stable")[-(2 * INTERVALS) :])


def _bores_a_part(view: View, stream: Stream) -> float:
    """Return how many bores its spindle hones for each bore of a stream."""
    place = (stream.part_number, stream.spindle, stream.bore, stream.feature, stream.part_of)
    beside = [s for s in view.streams if (s.part_number, s.spindle, s.bore, s.feature, s.part_of) == place]
    return float(len(routed_bores(view, stream.spindle)) * max(len(beside), 1))


def _learned_slope(view: View, stream: Stream) -> float:
    """Return the slope that the baseline taught, micrometres a bore; 0 where it taught none."""
    limit = view.baseline(stream)
    return float(limit.learned["slope"]) if limit is not None and limit.learned is not None else 0.0


@dataclass(frozen=True, kw_only=True)
class _Effect:
    does: DressingEffect
    from_: str


def _effect(view: View, stream: Stream, now: Standing, past: tuple[Dressed, ...]) -> _Effect:
    """Return what a dressing does to a stream: as the last ones did, or the baseline's if few are known."""
    limit = view.baseline(stream)
    learned = limit.learned if limit is not None and limit.learned is not None else {}
    slope = _learned_slope(view, stream)
    found = (_step_at(view, stream, one, slope or now.slope) for one in past)
    steps = [step for step in found if step is not None]
    noise = float(learned.get("mean_sd", 0.0)) * np.sqrt(2 / SIDE)
    of_baseline = _of_baseline(learned) if len(steps) < LEAST_DRESSINGS else None
    does = of_baseline or learn_step(steps, noise_um=float(noise))
    if slope:
        slope_sd = float(np.sqrt(float(learned["slope_var"]) + (SLOPE_VARIES * slope) ** 2))
        does = replace(does, slope_um=slope, slope_sd_um=slope_sd)
    return _Effect(does=does, from_="baseline" if of_baseline else "log")


def _of_baseline(learned: Mapping[str, Any]) -> DressingEffect | None:
    """Return what the baseline's own dressings did; None where it saw too few to say."""
    variance = learned.get("dressed_var")
    if variance is None:
        return None
    level, sd = float(learned["dressed"]), float(np.sqrt(variance))
    if learned["resets"]:
        return DressingEffect(step_um=0.0, step_sd_um=sd, level_um=level)
    return DressingEffect(step_um=level, step_sd_um=sd)


def _step_at(view: View, stream: Stream, dressed: Dressed, slope: float) -> float | None:
    """Return how far a level moved at one dressing, drift and known moves taken out; None if not to be told.

    The first bores after it, which have a level of their own, are passed over.
    """
    near = dressed.around.get(stream)
    if near is None:
        return None
    earlier = np.flatnonzero(near.honed_last <= dressed.at)[-SIDE:]
    later = np.flatnonzero(near.honed_first > dressed.at)
    later = later[np.cumsum(near.n[later]) > DRESSED_BORES]
    if len(earlier) < SIDE or len(later) < SIDE:
        return None
    last = later[SIDE - 1]
    rows = _beside(view, stream, dressed, near.select(slice(int(earlier[0]), int(last) + 1)))
    if rows is None:
        return None
    level = rows.mean - slope * rows.bores
    return float(level[-SIDE:].mean() - level[:SIDE].mean())


def _beside(view: View, stream: Stream, dressed: Dressed, near: Subgroups) -> Unmoved | None:
    """Return the subgroups beside a dressing less what moved them; None where stones or set-up changed."""
    rests_on = (view.rules.now.version, logged_over(view, near).digest())
    known = dressed.beside.get(stream)
    if known is None or known.rests_on != rests_on:
        rows = unmoved(view, stream, near)
        known = _Beside(rests_on=rests_on, rows=None if rows.changed.any() else rows)
        dressed.beside[stream] = known
    return known.rows


def _estimate(effect: DressingEffect, now: Standing, ahead: int) -> Estimate:
    """Return the step of the next dressing, so many bores ahead: to a level, from where it is by then."""
    step, variance = effect.step_um, effect.step_sd_um**2
    if effect.level_um is not None:
        (level_var, both), (_, slope_var) = now.covariance
        step += effect.level_um - now.level - now.slope * ahead
        variance += level_var + 2 * ahead * both + ahead**2 * slope_var + ahead * now.walk**2
    half = DEVIATES * float(np.sqrt(variance))
    return Estimate(
        value=round(step, 3),
        low=round(step - half, 3),
        high=round(step + half, 3),
        confidence=CONFIDENCE,
    )

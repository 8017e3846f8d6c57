"""X-bar/R of every stream in one shift, against the shift before."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from math import isnan
from typing import Any

import numpy as np

from cellmon import local
from cellmon.charts import shewhart
from cellmon.charts.batches import batches_apart
from cellmon.charts.shewhart import beyond, mean_limits, range_limits, sd_limits
from cellmon.errors import NotEnoughData, NotFound
from cellmon.judged import Subgroups
from cellmon.monitor.answers import Answer, Estimate, Limits
from cellmon.monitor.decided import Decided, decided_in
from cellmon.monitor.loudest import ShiftCalls, loudest
from cellmon.monitor.shifts_known import ShiftsKnown, place_of
from cellmon.monitor.signal_register import tells_of
from cellmon.monitor.signals import Signal
from cellmon.monitor.view import View
from cellmon.records import Stream
from cellmon.shifts import ShiftOf, to_utc
from cellmon.words import say, say_many, to_say

BEYOND = {
    ("mean", -1): to_say("mean below"),
    ("mean", 1): to_say("mean above"),
    ("range", -1): to_say("range below"),
    ("range", 1): to_say("range above"),
}
"""Which limit a point lies beyond, by its name in every language; whoever shows one says it."""
TOGETHER = 0.95
"""That what is said of how far every stream moved holds of all of them."""


@dataclass(frozen=True, kw_only=True)
class SubgroupPoint:
    """One subgroup as a point of both charts; `beyond` names the limits it lies outside of."""

    first_part: str
    last_part: str
    at: datetime
    n: int
    mean_um: float
    range_um: float
    sd_um: float
    mean_limits: Limits | None
    range_limits: Limits | None
    sd_limits: Limits | None
    beyond: tuple[str, ...]
    flagged: bool
    stone_set: str | None = None


@dataclass(frozen=True, kw_only=True)
class StreamShift:
    """One stream in one shift; bores that are doubted are counted in `bores`, not in `mean_um`.

    `moved_um` is how far its mean lies above that of the shift before; the intervals of all streams of the
    cell hold together at 95 %.
    """

    stream: Stream
    shift: ShiftOf
    bores: int
    mean_um: float | None
    previous_mean_um: float | None
    moved_um: Estimate | None
    subgroups: tuple[SubgroupPoint, ...]
    signals: tuple[str, ...]
    why_not: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Shifts(Answer):
    """A shift as the quality lead reads it; `known` lists the shifts that have bores, newest last."""

    sentence: str
    shift: ShiftOf | None
    previous: ShiftOf | None
    shifts: tuple[StreamShift, ...]
    known: Sequence[ShiftOf]
    called: tuple[Signal, ...] = ()
    """The signals raised in the shift, newest first, without causes."""
    loudest: tuple[ShiftCalls, ...] = ()
    """The shifts with the most signals in the week up to its end."""
    decided: tuple[Decided, ...] = ()
    """What was decided in the shift of limits, sheet, set-ups and figures, oldest first."""


@dataclass(frozen=True, kw_only=True)
class ShiftsMade(Answer):
    """The shifts that have bores, newest last, and the newest that has a whole subgroup."""

    known: Sequence[ShiftOf]
    told: str | None


def shifts_made(view: View) -> ShiftsMade:
    """Answer with the shifts in which bores were made, newest last, and the one `shifts` tells of."""
    known = view.shifts_made
    told = str(known[_newest_full(view, known)]) if known else None
    return ShiftsMade(**view.head(), known=known, told=told)


def shifts(view: View, *, feature: str | None = None, shift: str | None = None) -> Shifts:
    """Answer with one shift (DATE/NAME; the newest by default), of one feature or all.

    Raises
    ------
    NotFound
        When no bore was made in that shift, or nothing watches that feature.
    """
    known = view.shifts_made
    streams = [s for s in view.streams if feature in (None, s.feature)]
    if feature is not None and not streams:
        features = ", ".join(dict.fromkeys(s.feature for s in view.streams)) or say("nothing yet")
        raise NotFound(say("no stream of {feature}; watched are {known}", feature=feature, known=features))
    if not known:
        return Shifts(
            **view.head(),
            sentence=say("No bore of a machine has been taken yet."),
            shift=None,
            previous=None,
            shifts=(),
            known=(),
        )
    index = _newest_full(view, known) if shift is None else _index(known, shift)
    chosen, previous = known[index], known[index - 1] if index else None
    since = view.signals_since(to_utc(chosen.starts))
    signals = tuple(s for s in since if s.raised_at < chosen.ends)
    every = (_stream_shift(view, s, chosen, previous, signals) for s in streams)
    rows = tuple(r for r in every if r.subgroups or view.routed(r.stream))
    return Shifts(
        **view.head(),
        sentence=_sentence(view, chosen, rows),
        shift=chosen,
        previous=previous,
        shifts=rows,
        known=known,
        called=signals,
        loudest=loudest(view, chosen),
        decided=decided_in(view, chosen),
    )


def known_shifts(view: View) -> ShiftsKnown:
    """Return the shifts in which bores were made, oldest first."""
    # a unit of a shift is of that shift whatever comes into it; one of all its time may come to hold others
    by_shift = all(version.by_shift for version in view.rules.versions)
    rests_on = (view.session.stamp_of_units(), None if by_shift else view.session.last_change())
    starts = view.carry("shift starts", rests_on, view.session.shift_starts)
    return ShiftsKnown(starts[starts <= view.as_of], view.rules)


def _newest_full(view: View, known: ShiftsKnown) -> int:
    """Return the newest shift with a whole subgroup; a shift that has just begun says nothing yet."""
    newest = view.session.subgroups(end=view.as_of, last=1)
    if not len(newest):
        return len(known) - 1
    return int(np.searchsorted(known.starts, newest.shift_start[0]))


def _index(known: ShiftsKnown, wanted: str) -> int:
    found = place_of(known, wanted)
    if found is None:
        newest = ", ".join(map(str, known[-3:]))
        text = to_say("no bores in shift {shift}; the newest are {newest}")
        raise NotFound(say(text, shift=wanted, newest=newest))
    return found


def _sentence(view: View, shift: ShiftOf, rows: tuple[StreamShift, ...]) -> str:
    loud = [r for r in rows if r.signals]
    named = say("{day}, {shift}", day=local.long_day(shift.date), shift=shift.name)
    if not loud:
        outside = sum(bool(p.beyond) for r in rows for p in r.subgroups)
        if not outside:
            return say("{shift}: no signal was raised.", shift=named)
        text = to_say("{shift}: no signal was raised; {count} subgroups lie beyond plain three-sigma limits.")
        return say(text, shift=named, count=outside)
    names = ", ".join(view.name(r.stream) for r in sorted(loud, key=lambda r: -len(r.signals))[:3])
    if len(loud) > 3:
        names = say("{some} and {more} more", some=names, more=len(loud) - 3)
    return say_many(
        "{shift}: {count} stream of {all} had a signal: {names}.",
        "{shift}: {count} streams of {all} had a signal: {names}.",
        len(loud),
        shift=named,
        all=len(rows),
        names=names,
    )


def _in_shifts(view: View, stream: Stream, shifts: Sequence[ShiftOf]) -> list[Subgroups]:
    """Return a stream's subgroups of each of some shifts that follow one another, read at once."""
    start, end = to_utc(shifts[0].starts), min(to_utc(shifts[-1].ends), view.as_of)
    found = view.session.subgroups(stream, start=start, end=end)
    return [
        found.select((found.shift_start == to_utc(one.starts)) & (found.at <= to_utc(one.ends)))
        for one in shifts
    ]


def _stream_shift(
    view: View, stream: Stream, shift: ShiftOf, previous: ShiftOf | None, signals: Sequence[Signal]
) -> StreamShift:
    *earlier, subgroups = _in_shifts(view, stream, [one for one in (previous, shift) if one])
    before = earlier[0] if earlier else subgroups.select(slice(0, 0))
    why_not = {} if len(subgroups) else {"mean_um": say("no whole subgroup in this shift")}
    if not len(before):
        why_not["previous_mean_um"] = say("no subgroup in the shift before")
    moved = None
    if len(before) and len(subgroups):
        moved, why_no_interval = _moved(_undoubted(before), _undoubted(subgroups), streams=len(view.streams))
        why_not |= why_no_interval
    return StreamShift(
        stream=stream,
        shift=shift,
        bores=int(subgroups.n.sum()),
        mean_um=_mean(subgroups),
        previous_mean_um=_mean(before),
        moved_um=moved,
        subgroups=_points(view, stream, subgroups),
        signals=tuple(s.id for s in signals if tells_of(s, stream)),
        why_not=why_not,
    )


def _moved(before: Subgroups, now: Subgroups, *, streams: int) -> tuple[Estimate, dict[str, str]]:
    """Return how far a mean moved, and why without an interval; of so many streams, after Bonferroni."""
    value, each = _average(now) - _average(before), 1 - (1 - TOGETHER) / streams
    try:
        apart = batches_apart(before.mean, now.mean, confidence=each)
    except NotEnoughData as few:
        why = say("a range needs {need} undoubted subgroups in each of both shifts", need=few.need)
        return Estimate(value=value, low=None, high=None), {"moved_um": why}
    half = (apart.high - apart.low) / 2
    return Estimate(value=value, low=value - half, high=value + half, confidence=each), {}


def _undoubted(subgroups: Subgroups) -> Subgroups:
    clean = subgroups.select(subgroups.flagged == 0)
    return clean if len(clean) else subgroups


def _mean(subgroups: Subgroups) -> float | None:
    return _average(_undoubted(subgroups)) if len(subgroups) else None


def _average(chosen: Subgroups) -> float:
    return float(np.average(chosen.mean, weights=chosen.n))


def _points(view: View, stream: Stream, subgroups: Subgroups) -> tuple[SubgroupPoint, ...]:
    centre, sigma = view.limits[stream].over(subgroups.at)
    means, ranges = mean_limits(centre, sigma, subgroups.n), range_limits(sigma, subgroups.n)
    deviations = sd_limits(sigma, subgroups.n)
    mean_side, range_side = beyond(subgroups.mean, means), beyond(subgroups.range, ranges)
    columns: dict[str, Sequence[Any]] = {
        "first_part": subgroups.first_part.tolist(),
        "last_part": subgroups.last_part.tolist(),
        "at": [view.local(at) for at in subgroups.at],
        "n": subgroups.n.tolist(),
        "mean_um": subgroups.mean.tolist(),
        "range_um": subgroups.range.tolist(),
        "sd_um": subgroups.sd.tolist(),
        "mean_limits": _limits(means),
        "range_limits": _limits(ranges),
        "sd_limits": _limits(deviations),
        "beyond": [_beyond(*side) for side in zip(mean_side.tolist(), range_side.tolist(), strict=True)],
        "flagged": subgroups.flagged.astype(bool).tolist(),
        "stone_set": subgroups.stone_set.tolist(),
    }
    rows = zip(*columns.values(), strict=True)
    return tuple(SubgroupPoint(**dict(zip(columns, row, strict=True))) for row in rows)


def _limits(found: shewhart.Limits) -> list[Limits | None]:
    """Return the limits of each subgroup; those that are alike are one and the same."""
    made: dict[tuple[float, float, float], Limits | None] = {}
    rows = zip(found.lower.tolist(), found.centre.tolist(), found.upper.tolist(), strict=True)
    return [made[row] if row in made else made.setdefault(row, _limit(*row)) for row in rows]


def _limit(lower: float, centre: float, upper: float) -> Limits | None:
    return None if isnan(centre) else Limits(lower=lower, center=centre, upper=upper)


def _beyond(mean: int, spread: int) -> tuple[str, ...]:
    found = [BEYOND["mean", mean]] if mean else []
    return tuple(found + ([BEYOND["range", spread]] if spread else []))

"""The features of one bore judged together: T-squared of each subgroup, and the MEWMA of all up to it.

On demand only: it raises no signal and has no share in the false alarms the cell is promised. Its own
rate is part of the answer. Features are compared with the centres in force; size with what the watch
expected of it (wear, offsets, temperatures), with the doubt that expectation has.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from cellmon.charts.multivariate import mewma, t_squared, vector_ewma
from cellmon.charts.run_length.multivariate import mewma_limit_estimated, t2_limit_estimated
from cellmon.errors import NotFound
from cellmon.local import moment, number
from cellmon.monitor.answers import Answer, BaselineSummary
from cellmon.monitor.joint_beyond import JointBeyond, JointPoints, runs_beyond
from cellmon.monitor.joint_points import Footing, Placed, Position, footing, placed, position, word_of
from cellmon.monitor.judge.budget import budget
from cellmon.monitor.stream import TWO_DAYS
from cellmon.monitor.view import View
from cellmon.records import Numbers, Stream
from cellmon.shifts import ShiftOf, to_utc
from cellmon.words import say, say_many, to_say

WEIGHT = 0.2
"""Of the newest subgroup in the MEWMA."""
RUN_IN = 50
"""Subgroups before the time asked for that the MEWMA is begun with."""
CAUTION = to_say(
    "Drawn on demand: this chart raises no signal and has no share in the cell's promise, so its false "
    "alarms come on top. Before anything is changed at the machine, a qualified person looks at the parts "
    "and the gauge's last master check."
)


@dataclass(frozen=True, kw_only=True)
class JointFeature:
    """One of the features, with the spread of single bores inside the baseline's subgroups."""

    feature: str
    sigma_um: float
    correlation: tuple[float, ...]
    """With every feature, itself included, in their order."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Joint(Answer):
    """The features of one bore together, from `since` to `until`; `zone` names the cell's time zone.

    `run_length` is that of either chart, in subgroups; `false_alarms_per_week` of both together, at the
    planned rate. `left_out` counts subgroups with doubted or missing readings, or before the watch began.
    """

    sentence: str
    part_number: str
    spindle: str | None
    bore: str
    since: datetime
    until: datetime
    zone: str
    shifts: tuple[ShiftOf, ...]
    features: tuple[JointFeature, ...]
    baseline: BaselineSummary | None
    baseline_subgroups: int
    t_squared_limit: float
    mewma_limit: float
    weight: float
    run_length: float
    false_alarms_per_week: float
    promise: str
    points: JointPoints
    left_out: int
    beyond: tuple[JointBeyond, ...]
    caution: str


def joint(
    view: View,
    *,
    spindle: str | None,
    bore: str,
    since: datetime | None = None,
    until: datetime | None = None,
    part_number: str | None = None,
) -> Joint:
    """Answer with T-squared and MEWMA of one bore's features, by default over the last two days.

    Raises
    ------
    NotFound
        When there is no such bore, it has no limits yet, or the sheet does not route it.
    NotEnoughData
        With fewer than two charted features, or fewer than 20 baseline subgroups with all of them.
    MadeOfOthers
        When a feature never differs, or follows from the others.
    """
    place = position(view, spindle=spindle, bore=bore, part_number=part_number)
    base, rate = footing(view, place), _rate(view, place.size)
    end = min(view.as_of, to_utc(until)) if until else view.as_of
    start = to_utc(since) if since else end - TWO_DAYS
    before = view.session.subgroups(place.size, end=start, last=RUN_IN)
    found = placed(view, place, base, min(start, before.at[0]) if len(before) else start, end)
    points, smooth = _points(found, base, start)
    limits = _limits(len(place.names), rate.run_length, base.subgroups, place.limit.size)
    beyond = (
        *runs_beyond(view, place, base, "T-squared", points, points.deviation, limits[0]),
        *runs_beyond(view, place, base, "MEWMA", points, smooth, limits[1]),
    )
    if len(points.at):
        start = max(start, points.at[0])
    return Joint(
        **view.head(),
        sentence=_sentence(place, points, beyond),
        part_number=place.size.part_number,
        spindle=place.size.spindle,
        bore=bore,
        since=view.local(start),
        until=view.local(end),
        zone=view.zone.key,
        shifts=tuple(view.rules.now.calendar.between(start, end)),
        features=_features(place, base),
        baseline=view.summary(place.limit),
        baseline_subgroups=base.subgroups,
        t_squared_limit=limits[0],
        mewma_limit=limits[1],
        weight=WEIGHT,
        run_length=rate.run_length,
        false_alarms_per_week=rate.per_week,
        promise=_promise(rate),
        points=points,
        left_out=int((found.left_out >= start).sum()),
        beyond=beyond,
        caution=say(CAUTION),
    )


@dataclass(frozen=True, kw_only=True)
class _Rate:
    run_length: float
    per_week: float


def _rate(view: View, size: Stream) -> _Rate:
    """Return what the two charts may cost: together as much as the detectors of the bore's size."""
    found = budget(view.sheet)
    family = found.family_of(size)
    if family is None:
        raise NotFound(
            say(
                "{stream}: the sheet does not route this bore, so its charts have no rate to keep",
                stream=size,
            )
        )
    rates = found.rates(family)
    total = rates.level + rates.spread + rates.single
    return _Rate(run_length=2 / total, per_week=family.points * total)


def _limits(features: int, run_length: float, subgroups: int, n: int) -> tuple[float, float]:
    return (
        t2_limit_estimated(features, run_length, subgroups=subgroups, n=n),
        mewma_limit_estimated(features, WEIGHT, run_length, subgroups=subgroups, n=n),
    )


def _points(found: Placed, base: Footing, start: np.datetime64) -> tuple[JointPoints, Numbers]:
    """Return the points from a moment on, and their EWMA in its own standard errors."""
    subgroups, nought = found.subgroups, np.zeros(len(base.sigma))
    shown = subgroups.at >= start
    chosen = subgroups.select(shown)
    some = len(subgroups) > 0
    points = JointPoints(
        first_part=chosen.first_part,
        last_part=chosen.last_part,
        at=chosen.at,
        n=chosen.n,
        t_squared=t_squared(found.deviation, nought, base.correlation)[shown] if some else np.zeros(0),
        mewma=mewma(found.deviation, WEIGHT, nought, base.correlation)[shown] if some else np.zeros(0),
        deviation=found.deviation[shown],
    )
    smooth = vector_ewma(found.deviation, WEIGHT) * np.sqrt((2 - WEIGHT) / WEIGHT)
    return points, smooth[shown]


def _features(place: Position, base: Footing) -> tuple[JointFeature, ...]:
    return tuple(
        JointFeature(
            feature=name, sigma_um=float(base.sigma[i]), correlation=tuple(map(float, base.correlation[i]))
        )
        for i, name in enumerate(place.names)
    )


def _promise(rate: _Rate) -> str:
    length = float(f"{rate.run_length:.2g}")
    return say(
        "Either chart calls falsely once in about {length} subgroups, both together {per_week} times a week "
        "at the planned rate: as often as the detectors of this bore's size, and on top of them.",
        length=number(length),
        per_week=number(rate.per_week, 2),
    )


def _sentence(place: Position, points: JointPoints, beyond: tuple[JointBeyond, ...]) -> str:
    what, count = _what(place), number(len(points.at))
    if not len(points.at):
        return say("{what}: no subgroup in this time.", what=what)
    if not beyond:
        return say("{what}: all {subgroups} subgroups lie inside.", what=what, subgroups=count)
    first = min(beyond, key=lambda one: one.first_at)
    return say_many(
        "{what}: beyond a limit once among {subgroups} subgroups, first {when}: {words}.",
        "{what}: beyond a limit {count} times among {subgroups} subgroups, first {when}: {words}.",
        len(beyond),
        what=what,
        subgroups=count,
        when=moment(first.first_at),
        words=first.words,
    )


def _what(place: Position) -> str:
    """Return the bore and its features, named."""
    words = [word_of(name) for name in place.names]
    names = {"bore": place.size.bore, "features": ", ".join(words[:-1]), "last": words[-1]}
    if place.size.spindle is None:
        return say("bore {bore}, {features} and {last} together", **names)
    return say("{spindle} bore {bore}, {features} and {last} together", spindle=place.size.spindle, **names)

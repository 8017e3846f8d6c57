"""Points of several features together that lie beyond a limit, and the features they come from."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from cellmon.charts.multivariate import parts_of_t_squared
from cellmon.local import number
from cellmon.monitor.joint_points import Footing, Position, word_of
from cellmon.monitor.judge.inputs import SIZE
from cellmon.monitor.view import View
from cellmon.records import Numbers, Texts, Times, Whole
from cellmon.words import say, to_say

NAMED, BESIDE = 3.0, 0.5
"""Standard errors, and share of the farthest feature's, from which one is named; the farthest always is."""
ALONE = {
    (True, True): to_say("{feature} {errors} standard errors above what was expected"),
    (True, False): to_say("{feature} {errors} standard errors below what was expected"),
    (False, True): to_say("{feature} {errors} standard errors above its centre"),
    (False, False): to_say("{feature} {errors} standard errors below its centre"),
}
"""By whether the feature is size, and whether it lies above."""


@dataclass(frozen=True, kw_only=True)
class Contribution:
    """One feature's part in a point; signed, in standard errors of that point."""

    feature: str
    alone: float
    """From its own centre, or of size from what was expected."""
    given_others: float
    """From what the other features lead one to expect."""
    words: str


@dataclass(frozen=True, kw_only=True)
class JointBeyond:
    """Points on end beyond a limit; `at`, `part` and `value` of the highest, which the features explain."""

    chart: str
    first_at: datetime
    first_part: str
    last_at: datetime
    last_part: str
    points: int
    at: datetime
    part: str
    value: float
    contributions: tuple[Contribution, ...]
    words: str


@dataclass(frozen=True, kw_only=True, eq=False)
class JointPoints:
    """One entry a subgroup, in making order; `deviation` in standard errors, shape (points, features)."""

    first_part: Texts
    last_part: Texts
    at: Times
    n: Whole
    t_squared: Numbers
    mewma: Numbers
    deviation: Numbers


def runs_beyond(
    view: View,
    place: Position,
    base: Footing,
    chart: str,
    points: JointPoints,
    deviation: Numbers,
    limit: float,
) -> Iterator[JointBeyond]:
    """Yield each run of points beyond a limit, with the features of its highest."""
    values = points.t_squared if chart == "T-squared" else points.mewma
    beyond = values > limit
    first = np.flatnonzero(beyond & ~np.concatenate(([False], beyond[:-1])))
    last = np.flatnonzero(beyond & ~np.concatenate((beyond[1:], [False])))
    for a, b in zip(first, last, strict=True):
        top = a + int(np.argmax(values[a : b + 1]))
        named = _contributions(place, deviation[top], base)
        yield JointBeyond(
            chart=chart,
            first_at=view.local(points.at[a]),
            first_part=points.first_part[a],
            last_at=view.local(points.at[b]),
            last_part=points.last_part[b],
            points=int(b - a + 1),
            at=view.local(points.at[top]),
            part=points.last_part[top],
            value=float(values[top]),
            contributions=named,
            words=", ".join(_short(one) for one in named),
        )


def _contributions(place: Position, deviation: Numbers, base: Footing) -> tuple[Contribution, ...]:
    """Return the features a point comes from, the one that explains most of it first."""
    parts = parts_of_t_squared(deviation[None, :], base.correlation)
    alone, rest = parts.alone[0], parts.given_others[0]
    weight = np.maximum(np.abs(alone), np.abs(rest))
    order = np.argsort(-weight, kind="stable")
    least = max(NAMED, BESIDE * float(weight[order[0]]))
    named = [i for i in order if weight[i] >= least] or [order[0]]
    return tuple(_contribution(place.names[i], float(alone[i]), float(rest[i])) for i in named)


def _contribution(name: str, alone: float, rest: float) -> Contribution:
    words = say(ALONE[name == SIZE, alone > 0], feature=word_of(name), errors=number(abs(alone), 1))
    if abs(alone - rest) >= 0.1 * abs(alone):
        if rest > 0:
            expected = say("{errors} above what the other features lead one to expect", errors=_errors(rest))
        else:
            expected = say("{errors} below what the other features lead one to expect", errors=_errors(rest))
        words = f"{words}, {expected}"
    return Contribution(feature=name, alone=alone, given_others=rest, words=words)


def _errors(value: float) -> str:
    return number(abs(value), 1)


def _short(one: Contribution) -> str:
    """Return a contribution in a few words: up or down by itself, or at odds with the other features."""
    word = word_of(one.feature)
    if abs(one.alone) >= NAMED or abs(one.alone) >= abs(one.given_others):
        return say("{feature} up", feature=word) if one.alone > 0 else say("{feature} down", feature=word)
    if one.given_others > 0:
        return say("{feature} high for the others", feature=word)
    return say("{feature} low for the others", feature=word)

"""Which calls are one signal: each joins the one whose change it may share.

A fault moves many streams at once. A call joins a signal that touches the same bores and whose change began
before that one had called.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from cellmon.judged import OFFSETS
from cellmon.monitor.judge.calls import Called
from cellmon.monitor.judge.groups import Group
from cellmon.monitor.judge.honed_at import Honed, Seen, span
from cellmon.sheet import Sheet

NEVER = int(np.iinfo(np.int64).min)
SHARED = np.timedelta64(30, "m")
"""How far apart the ranges of two calls' beginnings may lie where they are one change."""


def joined_by(sheet: Sheet) -> tuple[object, ...]:
    """Return what of a sheet decides which calls are one signal: two alike join the same."""
    parts = tuple((p.number, sheet.charted_as(p.number), tuple(p.bores)) for p in sheet.parts)
    return parts, tuple((s.id, tuple(s.bores)) for s in sheet.spindles)


def begins(call: Called) -> np.datetime64:
    """Return before when a signal must have been over, to be none that a call joins; add `AGAIN`."""
    first: np.datetime64 = min(call.at, call.earliest_at, call.change_at - SHARED)
    return first


def grouped(calls: Sequence[Called], sheet: Sheet) -> list[Group]:
    """Join calls, which come in order of time, to signals."""
    groups: list[list[Seen]] = []
    over = np.full(len(calls), NEVER)  # when nothing joins a group any more
    honed = Honed(sheet)
    for call in (Seen.of(one, honed) for one in calls):
        begun = min(call.at, call.earliest_at, call.change_at - _SHARED)  # as `begins` has it
        near = np.flatnonzero(over[: len(groups)] >= begun).tolist()
        mine = [g for g in near if _shares(groups[g], call)]
        if not mine:
            over[len(groups)] = call.last_at + _AGAIN
            groups.append([call])
            continue
        last = mine[-1]  # what a call has in common with others that came at the same time is one change
        joined = [g for g in mine[:-1] if groups[last][0].at - groups[g][0].at <= _SHARED]
        first, *others = (*joined, last)
        for other in others:
            groups[first].extend(groups[other])
            groups[other], over[other] = [], NEVER
        groups[first].append(call)
        over[first] = max(one.last_at for one in groups[first]) + _AGAIN
    return [Group(lead=g[0].call, others=tuple(one.call for one in g[1:])) for g in groups if g]


ALONE = ("routing", "limit", "pattern", "audit")
"""Kinds whose calls only join calls of their own; those of run rules join none."""
AFTER_SINGLE = np.timedelta64(90, "m")
"""A wild bore may be the first of many: so long a level or a spread that follows is taken with it."""
ANSWERED = np.timedelta64(2, "h")
"""So long after a change is over feedback still brings the level back, and its offsets belong to it."""
AGAIN = np.timedelta64(8, "h")
"""The same detector of the same stream calling again so soon tells of the same change.

No call joins a signal that was over for longer when the call's change began: of the times above it is the
longest.
"""


_SHARED, _AFTER_SINGLE, _ANSWERED, _AGAIN = map(span, (SHARED, AFTER_SINGLE, ANSWERED, AGAIN))


def _shares(group: Sequence[Seen], call: Seen) -> bool:
    """Return whether a call may tell of the same change as a signal."""
    lead = group[0]
    if lead.charted_as != call.charted_as:
        return False
    if call.family in ALONE or lead.family in ALONE:
        joins = lead.family == call.family != "pattern"
        if call.family == "audit":  # the same audit of the same spindle
            joins = joins and lead.stream.spindle == call.stream.spindle
            return joins and call.at - lead.at <= _SHARED * 2
        return joins and call.at - lead.last_at <= _SHARED * 2
    if any(call.at - one.last_at <= _AGAIN and one.is_same(call) for one in group):
        return True
    if not any(_touch(one, call) for one in group):
        return False
    told = any(_ends(one, call) or _answers(one, call) or _answers(call, one) for one in group)
    return told or _began_with(group, call)


def _answers(one: Seen, given: Seen) -> bool:
    """Return whether offsets were given while something else stood called, or soon after it was over."""
    if given.feature != OFFSETS or one.feature == OFFSETS:
        return False
    return given.earliest_at <= one.last_at + _ANSWERED and one.earliest_at <= given.at


def _began_with(group: Sequence[Seen], call: Seen) -> bool:
    """Return whether a call came while a signal stood, and its range begins with that of the signal."""
    if call.earliest_at > group[0].at + _SHARED:
        return False
    until = max(one.last_at + (_AFTER_SINGLE if one.family == "single" else _SHARED) for one in group)
    began = min(one.earliest_at for one in group)
    return call.at <= until and call.latest_at >= began - _SHARED


def _ends(one: Seen, call: Seen) -> bool:
    """Return whether a call tells of no more than that a level is back where it was."""
    if one.family != "level" or not one.over or one.feature != call.feature:
        return False
    near = call.change_at - _SHARED <= one.last_at <= call.at + _SHARED
    return near and not one.places.isdisjoint(call.places)


def _touch(one: Seen, other: Seen) -> bool:
    """Return whether two calls have a bore in common; a distance touches all it is a distance from."""
    same, singles = one.feature == other.feature, (one.family == "single") + (other.family == "single")
    if singles and not same and abs(one.at - other.at) > _SHARED:
        return False
    if singles == 2 and same:
        return True
    if same and one.stream.fixture == other.stream.fixture:
        return not one.around.isdisjoint(other.around)
    return not one.places.isdisjoint(other.places)

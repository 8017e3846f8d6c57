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
from cellmon.sheet import Sheet

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
    groups: list[list[Called]] = []
    over = np.full(len(calls), "NaT", dtype="datetime64[us]")  # when nothing joins a group any more
    for call in calls:
        near = np.flatnonzero(over[: len(groups)] >= begins(call)).tolist()
        mine = [g for g in near if _shares(groups[g], call, sheet)]
        if not mine:
            over[len(groups)] = call.last_at + AGAIN
            groups.append([call])
            continue
        last = mine[-1]  # what a call has in common with others that came at the same time is one change
        joined = [g for g in mine[:-1] if groups[last][0].at - groups[g][0].at <= SHARED]
        first, *others = (*joined, last)
        for other in others:
            groups[first].extend(groups[other])
            groups[other], over[other] = [], np.datetime64("NaT", "us")
        groups[first].append(call)
        over[first] = max(one.last_at for one in groups[first]) + AGAIN
    return [Group(lead=g[0], others=tuple(g[1:])) for g in groups if g]


Place = tuple[str | None, str]
"""A spindle and a bore; a bore that is routed to one spindle has but that place."""
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


def _shares(group: Sequence[Called], call: Called, sheet: Sheet) -> bool:
    """Return whether a call may tell of the same change as a signal."""
    lead = group[0]
    if sheet.charted_as(lead.stream.part_number) != sheet.charted_as(call.stream.part_number):
        return False
    if call.family in ALONE or lead.family in ALONE:
        joins = lead.family == call.family != "pattern"
        if call.family == "audit":  # the same audit of the same spindle
            joins = joins and lead.stream.spindle == call.stream.spindle
            return bool(joins and call.at - lead.at <= SHARED * 2)
        return bool(joins and call.at - lead.last_at <= SHARED * 2)
    same_again = [
        one for one in group if (one.stream, one.family, one.side) == (call.stream, call.family, call.side)
    ]
    if any(call.at - one.last_at <= AGAIN for one in same_again):
        return True
    if not any(_touch(one, call, sheet) for one in group):
        return False
    told = any(_ends(one, call, sheet) or _answers(one, call) or _answers(call, one) for one in group)
    return told or _began_with(group, call)


def _answers(one: Called, given: Called) -> bool:
    """Return whether offsets were given while something else stood called, or soon after it was over."""
    if given.stream.feature != OFFSETS or one.stream.feature == OFFSETS:
        return False
    return bool(given.earliest_at <= one.last_at + ANSWERED and one.earliest_at <= given.at)


def _began_with(group: Sequence[Called], call: Called) -> bool:
    """Return whether a call came while a signal stood, and its range begins with that of the signal."""
    lead = group[0]
    until = max(one.last_at + (AFTER_SINGLE if one.family == "single" else SHARED) for one in group)
    began = min(one.earliest_at for one in group)
    joins = call.earliest_at <= lead.at + SHARED and call.at <= until
    return bool(joins and call.latest_at >= began - SHARED)


def _ends(one: Called, call: Called, sheet: Sheet) -> bool:
    """Return whether a call tells of no more than that a level is back where it was."""
    same = one.family == "level" and one.over and one.stream.feature == call.stream.feature
    near = call.change_at - SHARED <= one.last_at <= call.at + SHARED
    return bool(same and near and _places_of(one, sheet) & _places_of(call, sheet))


def _touch(one: Called, other: Called, sheet: Sheet) -> bool:
    """Return whether two calls have a bore in common; a distance touches all it is a distance from."""
    same = one.stream.feature == other.stream.feature
    if "single" in (one.family, other.family) and not same and abs(one.at - other.at) > SHARED:
        return False
    if one.family == other.family == "single" and same:
        return True
    mine, others = _places_of(one, sheet), _places_of(other, sheet)
    if same and one.stream.fixture == other.stream.fixture:
        mine, others = _with_neighbours(mine, sheet), _with_neighbours(others, sheet)
    return bool(mine & others)


def _with_neighbours(places: set[Place], sheet: Sheet) -> set[Place]:
    """Return some places and those of the same spindles."""
    of_spindles = [{(s.id, b) for b in s.bores} for s in sheet.spindles]
    return places.union(*(every for every in of_spindles if places & every))


def _places_of(call: Called, sheet: Sheet) -> set[Place]:
    """Return where the bores that a call tells of are honed.

    A spindle beside others that hone the same bores makes other blocks than they.
    """
    spindle, found = call.stream.spindle, set[Place]()
    itself = spindle is not None and call.stream.part_of == "itself"
    for bore in bores_of(call, sheet):
        routed = sheet.honed_by(bore)
        if len(routed) < 2:
            found.add((routed[0] if routed else None, bore))
        elif itself or spindle in routed:
            found.add((spindle, bore))
        else:
            found |= {(s, bore) for s in routed}
    return found


def bores_of(call: Called, sheet: Sheet) -> set[str]:
    """Return the bores a call tells of."""
    part = sheet.charted_part(call.stream.part_number)
    if call.stream.bore is not None and call.stream.part_of == "itself":
        return {call.stream.bore}
    if call.stream.spindle is not None and call.stream.part_of == "itself":
        return {b for s in sheet.spindles if s.id == call.stream.spindle for b in s.bores}
    return set(part.bores)

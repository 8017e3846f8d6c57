"""The changes of a plan, dated, and brought forward where one stop can serve two."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from cellmon.monitor.stone_plan.ahead import SetAhead
from cellmon.monitor.stone_plan.results import PlannedChange
from cellmon.monitor.stone_plan.terms import Places, Terms
from cellmon.stones.planning import Change, dated_changes, merged_changes


def planned_changes(terms: Terms, placed: Sequence[Places]) -> tuple[PlannedChange, ...]:
    """Return the changes inside the horizon, with those brought forward to another's stop."""
    ways = {name: drawn for one in placed for name, drawn in one.ways.items()}
    clocks = {name: terms.seen[s.spindle] for one in placed for name, s in one.sets.items()}
    early = {name: _most_early(one) for one in placed for name in one.ways}
    named = {name: (s, one.ahead.kind.id) for one in placed for name, s in one.sets.items()}
    found = merged_changes(dated_changes(ways, clocks), clocks, most_early=early)
    return tuple(_planned(terms, change, *named[change.spindle], named) for change in found)


def _most_early(one: Places) -> float:
    """Return the bores of a set worth as much as a stop of its own."""
    if one.prices is None or one.prices.set_price <= 0:
        return 0.0
    stop = one.prices.change_minutes / 60 * one.prices.machine_per_hour
    return stop / one.prices.set_price * one.ahead.new.mean


def _planned(
    terms: Terms,
    change: Change,
    place: SetAhead,
    kind: str,
    named: Mapping[str, tuple[SetAhead, str]],
) -> PlannedChange:
    local = terms.local
    beside = None if change.with_spindle is None else named[change.with_spindle][0].spindle
    return PlannedChange(
        spindle=place.spindle,
        stage=place.stage,
        kind=kind,
        number=change.number,
        after_set=place.stone_set,
        stone_set=place.stone_set if change.number == 1 else None,
        at=local(change.at),
        earliest=local(change.earliest),
        latest=None if np.isnat(change.latest) else local(change.latest),
        bores=change.bores,
        with_spindle=beside,
        early_bores=change.early_bores,
    )

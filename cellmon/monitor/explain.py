"""Why a signal may be: the causes that explain what moved, likeliest first."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from cellmon import lengths
from cellmon.monitor.judge.best_told import Best, best_told
from cellmon.monitor.judge.groups import Group
from cellmon.monitor.view import View
from cellmon.records import Kind
from cellmon.words import voice

if TYPE_CHECKING:
    from cellmon.diagnosis import Cause


def causes_of(view: View, group: Group) -> tuple[Cause, ...]:
    """Return the causes that may explain a signal, likeliest first; to ask takes most of the time.

    They stay while the signal does and nothing more is logged or checked; why a spread grew rests on the
    bores made since a dressing as well.
    """
    from cellmon.monitor.causes import bores_before, logged_until  # late: what moved is asked far oftener

    best = best_told(group)
    if view.as_of < logged_until(best.call):
        return _asked(view, group, best)
    logged = tuple(view.newest_row_of(kind) for kind in (Kind.EVENTS, Kind.GAUGE_CHECKS))
    known: dict[str, tuple[Group, Any, tuple[Cause, ...]]] = view.carry(
        f"causes {voice()} {lengths.shown()}", (view.rules.now.version, logged), dict
    )
    made = bores_before(view, best.call) if best.call.family == "spread" else None
    before = known.get(group.id)
    if before is None or before[0] is not group or before[1] != made:
        before = known[group.id] = (group, made, _asked(view, group, best))
    return before[2]


def _asked(view: View, group: Group, best: Best) -> tuple[Cause, ...]:
    from cellmon.diagnosis import rank
    from cellmon.monitor.causes import evidence_of

    evidence = evidence_of(view, group, best.call, best.places)
    return rank(evidence, view.causes) if evidence.movements else ()

"""Why a signal may be: the causes that explain what moved, likeliest first."""

from __future__ import annotations

from dataclasses import dataclass
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

    logged = tuple(view.newest_row_of(kind) for kind in (Kind.EVENTS, Kind.GAUGE_CHECKS))
    known: dict[str, _Known] = view.carry(
        f"causes {voice()} {lengths.shown()}", (view.rules.now.version, logged), dict
    )
    before = known.get(group.id)
    before = before if before is not None and before.group is group else None
    best = best_told(group) if before is None else before.best
    if view.as_of < logged_until(best.call):
        return _asked(view, group, best)
    made = bores_before(view, best.call) if best.call.family == "spread" else None
    if before is None or before.made != made:
        before = known[group.id] = _Known(group=group, best=best, made=made, causes=_asked(view, group, best))
    return before.causes


@dataclass(frozen=True, kw_only=True, eq=False)
class _Known:
    """Why one signal may be, and what that rests on."""

    group: Group
    best: Best
    made: Any
    causes: tuple[Cause, ...]


def _asked(view: View, group: Group, best: Best) -> tuple[Cause, ...]:
    from cellmon.diagnosis import rank
    from cellmon.monitor.causes import evidence_of

    evidence = evidence_of(view, group, best.call, best.places)
    return rank(evidence, view.causes) if evidence.movements else ()

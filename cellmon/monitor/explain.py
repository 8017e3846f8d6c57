"""Why a signal may be: the causes that explain what moved, likeliest first."""

from __future__ import annotations

from typing import TYPE_CHECKING

from cellmon.monitor.judge.best_told import best_told
from cellmon.monitor.judge.groups import Group
from cellmon.monitor.view import View

if TYPE_CHECKING:
    from cellmon.diagnosis import Cause


def causes_of(view: View, group: Group) -> tuple[Cause, ...]:
    """Return the causes that may explain a signal, likeliest first; to ask takes most of the time."""
    from cellmon.diagnosis import rank  # late: which streams moved is asked far oftener than why
    from cellmon.monitor.causes import evidence_of

    best = best_told(group)
    evidence = evidence_of(view, group, best.call, best.places)
    return rank(evidence, view.causes) if evidence.movements else ()

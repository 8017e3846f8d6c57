"""Between which limits nearly all bores of a stream lie, said with a confidence."""

from __future__ import annotations

from dataclasses import dataclass

from cellmon.capability.tolerance import (
    ToleranceInterval,
    free_tolerance_interval,
    normal_tolerance_interval,
)
from cellmon.errors import NotEnoughData
from cellmon.monitor.answers import Tolerance
from cellmon.monitor.capability_figures import Figures
from cellmon.monitor.kept import kept
from cellmon.records import Numbers
from cellmon.words import say, to_say

CONTENT = 0.99
CONFIDENCE = 0.95
METHODS = {"normal": to_say("for normal bores"), "distribution-free": to_say("for bores of any distribution")}
MOVES = to_say("level or spread move in time, so no such limits hold for bores to come")


@dataclass(frozen=True, kw_only=True)
class BoresWithin:
    """Limits between which a share `content` of the bores lies, with a `confidence`; micrometres.

    None on the side on which the sheet has no limit.
    """

    low_um: float | None
    high_um: float | None
    content: float
    confidence: float
    method: str
    """In words: for normal bores, or for bores of any distribution."""


def bores_within(
    values: Numbers, tolerance: Tolerance, found: Figures | None
) -> tuple[BoresWithin | None, str]:
    """Return the tolerance interval of a stream's charted figure, and why there is none.

    Parameters
    ----------
    values : ndarray, shape (n,)
        The charted figure, in making order.
    found : Figures or None
        Says whether the bores are normal, move in time, and what they are worth: of bores that are worth
        half as many, every second one is taken.
    """
    if found is None:
        return None, ""
    if found.time is not None and found.time.over_time:
        return None, say(MOVES)
    side = "both"
    if tolerance.lower_um is None or tolerance.upper_um is None:
        side = "upper" if tolerance.lower_um is None else "lower"
    worth = found.effective.for_mean / len(values) if found.effective.noted else 1.0
    apart = values[:: max(1, round(1 / worth))]
    work = normal_tolerance_interval if found.normal else free_tolerance_interval
    try:
        limits: ToleranceInterval = kept(work, apart, content=CONTENT, confidence=CONFIDENCE, side=side)
    except NotEnoughData as refused:
        return None, str(refused)
    return BoresWithin(
        low_um=limits.low,
        high_um=limits.high,
        content=limits.content,
        confidence=limits.confidence,
        method=say(METHODS[limits.method]),
    ), ""

"""The past of one stone set as an answer tells of it: where it was, and how it wore from round to round."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from cellmon.monitor.stones.kinds import KindKnown
from cellmon.monitor.stones.log import Stay
from cellmon.monitor.stones.measured import Rounds
from cellmon.monitor.stones.now import StonesNow


@dataclass(frozen=True, kw_only=True)
class RoundOf:
    """One round: mean wear since the first, the thinnest place, and what it is where no plain wear."""

    at: datetime
    bores: float
    wear_um: float
    thinnest_um: float | None
    jump: str | None


@dataclass(frozen=True, kw_only=True)
class StayOf:
    """One time a set was on a spindle."""

    spindle: str
    fitted_at: datetime
    removed_at: datetime | None
    why: str | None
    by: str | None


def stay_told(now: StonesNow, stay: Stay) -> StayOf:
    """Return one stay as an answer tells of it."""
    return StayOf(
        spindle=stay.spindle,
        fitted_at=now.view.local(stay.start),
        removed_at=None if stay.end is None else now.view.local(stay.end),
        why=stay.why,
        by=stay.by,
    )


def rounds_told(
    now: StonesNow, known: KindKnown | None, rounds: Rounds | None, name: str
) -> tuple[RoundOf, ...]:
    """Return the rounds of a set as an answer tells of them; none where its kind is not known."""
    if known is None or rounds is None or name not in known.wear:
        return ()
    wear = known.wear[name]

    def told() -> tuple[RoundOf, ...]:
        return tuple(
            RoundOf(
                at=now.view.local(rounds.at[i]),
                bores=float(wear.bores[i]),
                wear_um=float(wear.mean_um[i]),
                thinnest_um=float(wear.thinnest_um[i]) if np.isfinite(wear.thinnest_um[i]) else None,
                jump=None if wear.jumps[i] is None else str(wear.jumps[i]),
            )
            for i in range(len(wear.bores))
        )

    return now.told("rounds", name, (wear, rounds), told)

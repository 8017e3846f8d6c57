"""The bores of a spindle by which it is asked whether its streams should be split."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np

from cellmon.judged import Bores
from cellmon.monitor.judge.inputs import SIZE
from cellmon.monitor.stones.counted import units_holding
from cellmon.monitor.view import View

RECENT = 400
"""Bores of each position that are looked at where nothing is frozen.

What lasts can wait for the end of the shift that runs: with so many before it, the answer stays until then.
"""
MOST = 6_000
"""Bores of a spindle looked at in any case, however long the baseline's window."""


@dataclass(frozen=True, kw_only=True)
class Window:
    """The bores a spindle is judged from."""

    bores: Callable[[], Bores]
    rests_on: tuple[Any, ...]
    """How they are stored: the same as long as they are."""


def window_of(view: View, spindle: str) -> Window:
    """Return the bores a spindle is judged from, as made: of its newest frozen window, or its last ones."""
    limits = [
        limit
        for s in view.streams
        if s.spindle == spindle and s.feature == SIZE and (limit := view.baseline(s)) is not None
    ]
    frozen = [limit for limit in limits if limit.version]
    if frozen:
        newest = max(frozen, key=lambda limit: limit.window_to)
        start, end = newest.window_from, newest.window_to
        stored = (one.stored for one in units_holding(view, start, end))
        return Window(
            bores=partial(_charted, view, spindle, start=start, end=end, last=MOST),
            rests_on=(start, end, *stored),
        )
    positions = len({s.bore for s in view.streams if s.spindle == spindle and view.routed(s)})
    enough = RECENT * max(positions, 1)
    return _over(view, spindle, enough) or Window(
        bores=partial(_charted, view, spindle, end=view.as_of, last=enough),
        rests_on=(view.session.last_change(),),
    )


def _over(view: View, spindle: str, enough: int) -> Window | None:
    """Return so many bores of the shifts that are over; None where the last weeks do not have them."""
    until = view.whole_until
    if until is None:
        return None
    units = [one for one in view.units_stored if one.start < until]
    bores = partial(_charted, view, spindle, end=until - np.timedelta64(1, "us"), last=enough)
    rests_on = (enough, *(one.stored for one in units))

    def are_enough() -> bool:
        found = bores()
        return len(found) == enough and bool(found.unit_start.min() >= units[0].start)

    there = view.carry(f"enough bores to split {spindle}", rests_on, are_enough)
    return Window(bores=bores, rests_on=rests_on) if there else None


def _charted(view: View, spindle: str, **of: Any) -> Bores:
    found: Bores = view.session.bores(spindle=spindle, charted=True, **of)
    return found

"""What is odd about a set as it was logged and measured, and what was assumed."""

from __future__ import annotations

import numpy as np

from cellmon import lengths
from cellmon.local import number
from cellmon.monitor.stones.kinds import KindKnown
from cellmon.monitor.stones.now import StonesNow
from cellmon.stones.wear import Jump
from cellmon.words import say, to_say

SETS_APART = 5.0
"""Standard deviations by which one place must grow to be told of: among thousands of readings."""
UNKNOWN_REPEATABILITY_UM = 5.0
"""One reading repeats to this where the cell has not shown it; practice, no source."""
OTHERWISE, LEAST_COUNT = 0.2, 500.0
"""Bores typed and counted differ by blocks not measured; by more than this share they contradict."""
JUMPED = {
    Jump.GREW: to_say(
        "thicker than before at {bores} bores: other stones, or a slip of the measurement? taken as no wear"
    ),
    Jump.STEP: to_say("a step in wear at {bores} bores: kept in what is left, left out of the rate"),
    Jump.CHIP: to_say("one place lost far more than the others at {bores} bores: as of a chip"),
}


def odd_of(now: StonesNow, name: str) -> tuple[str, ...]:
    """Say where thickness grew, jumped or fell under the least, and what was assumed."""
    known = now.known(name)
    wear = None if known is None else known.wear.get(name)
    reading = None if known is None else known.reading

    def look() -> tuple[str, ...]:
        worn = [] if known is None or wear is None else _worn(now, name, known)
        return (*worn, *_counted_otherwise(now, name))

    rests_on = (now.rounds.get(name), wear, reading, now.stays(name), now.by_ends(name))
    return now.told("oddities", name, rests_on, look)


def _worn(now: StonesNow, name: str, known: KindKnown) -> list[str]:
    wear, found = known.wear[name], []
    for i, jump in enumerate(wear.jumps):
        if jump in JUMPED:
            found.append(say(JUMPED[jump], bores=f"{wear.bores[i]:.0f}"))
    return [*found, *_grown(now, name, known)]


def _grown(now: StonesNow, name: str, known: KindKnown) -> list[str]:
    """Say which single places grew by more than readings repeat to, where the set as a whole did not."""
    rounds, jumps = now.rounds[name], known.wear[name].jumps
    clear = SETS_APART * np.sqrt(2) * (known.reading_um or UNKNOWN_REPEATABILITY_UM)
    um, found = rounds.thickness.um, []
    for i in range(1, len(um)):
        by = um[i] - um[i - 1]
        for s, p in np.argwhere(by > clear) if jumps[i] is not Jump.GREW else ():
            found.append(
                say(
                    "stone {stone} {place} reads {um} thicker at {bores} bores, the others do not: taken "
                    "as read",
                    stone=rounds.stones[s],
                    place=rounds.places[p],
                    um=lengths.said(float(by[s, p]), 0),
                    bores=f"{rounds.thickness.bores[i]:.0f}",
                )
            )
    return found


def _counted_otherwise(now: StonesNow, name: str) -> list[str]:
    """Say where a set came back with other bores than the log had counted."""
    found = []
    for stay, counted in zip(now.stays(name)[1:], now.by_ends(name), strict=True):
        if stay.before and contradicts(stay.before, counted):
            larger = max(stay.before, counted)
            found.append(
                say(
                    "fitted to {spindle} {at} with {before} bores before, where the log has {counted}: "
                    "{larger} are taken",
                    spindle=stay.spindle,
                    at=f"{now.view.local(stay.start):%Y-%m-%d %H:%M}",
                    before=number(stay.before),
                    counted=number(counted),
                    larger=number(larger),
                )
            )
    return found


def contradicts(said: float, counted: float) -> bool:
    """Return whether bores that were typed are not those that were counted; where none were, none can be."""
    return counted > 0 and abs(said - counted) > OTHERWISE * max(counted, LEAST_COUNT)

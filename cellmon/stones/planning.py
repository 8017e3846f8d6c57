"""The changes to come: many ways it may go for every spindle, and the dates and ranges they give.

A set is changed a little before its end (`margin`), or when it chips. Lives of new sets are alike by as
much as is not yet known of their kind: where three sets have ended, all to come may be shorter together.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from cellmon.stones.life import Life
from cellmon.stones.output import Output, Times

Floats = NDArray[np.float64]

MOST_CHANGES = 4000
"""Changes of one spindle that can be looked at."""
MARGIN_SHARE, STOP_SHARE, MOST_UNUSED = 0.02, 0.9, 0.5


def margin_bores(mean_life: float, *, step: float) -> float:
    """Return how many bores before its end a set is changed, on average, by a look ahead at each stop.

    Parameters
    ----------
    mean_life, step : float
        Bores: of a set, and from one stop to the next.

    References
    ----------
    Fitted to the simulation of `look_ahead`: docs/planning.md has the figures.

    Examples
    --------
    >>> margin_bores(8700.0, step=800.0)
    894.0
    """
    return min(MARGIN_SHARE * mean_life + STOP_SHARE * step, MOST_UNUSED * mean_life)


@dataclass(frozen=True, kw_only=True, eq=False)
class Ways:
    """The changes of one spindle in many ways the future may go.

    Attributes
    ----------
    bores : ndarray, shape (ways, changes)
        Bores from now to each change, rising along a row.
    chipped : ndarray of bool, shape (ways, changes)
        Whether the set chipped before it was worn.
    """

    bores: Floats
    chipped: NDArray[np.bool_]


def change_ways(
    fitted: Life | None,
    new: Life,
    *,
    bores: float,
    margin: float = 0.0,
    first_margin: float | None = None,
    chips_per_bore: float = 0.0,
    alike: Floats | None = None,
    alike_share: float = 0.0,
    first_share: float = 0.0,
    ways: int = 2000,
    random: np.random.Generator,
) -> Ways:
    """Draw the changes of one spindle until it has honed so many bores.

    Parameters
    ----------
    fitted : Life or None
        Bores left to the set that is fitted; None: no set is, so one is fitted now.
    new : Life
        Of a new set.
    bores : float
        How far to look.
    margin : float
        Bores before its end at which a set is changed.
    first_margin : float, optional
        The same of the set that is fitted, where more is known of it.
    chips_per_bore : float
        Chance that a bore chips the set.
    alike : ndarray, shape (ways,), optional
        Standard normal: by how much all new sets of a way are better than expected. The same for all
        spindles of a kind.
    alike_share : float
        Share of the variance of lives that new sets have in common, 0 to 1.
    first_share : float
        The same of the set that is fitted: above 0 where nothing of its own is known.
    ways : int
        How many ways are drawn, where `alike` does not say.
    random : numpy.random.Generator

    References
    ----------
    Sums of lives (Cox, Renewal Theory (1962), from memory); lives of one way are tied by a normal copula
    (Nelsen, An Introduction to Copulas (1999), from memory), which leaves the law of each as it is.
    """
    shared = random.standard_normal(ways) if alike is None else alike
    size, columns, chips = len(shared), list[Floats](), list[NDArray[np.bool_]]()
    if fitted is None:
        at, column = np.zeros(size), np.zeros(size, dtype=bool)
    else:
        early = margin if first_margin is None else first_margin
        u = _tied(shared, first_share, random) if first_share else random.random(size)
        at, column = _ended(_draw(fitted, u), early, chips_per_bore, random)
    while True:
        columns.append(at)
        chips.append(column)
        if at.min() > bores:
            break
        if len(columns) >= MOST_CHANGES:
            raise ValueError(f"more than {MOST_CHANGES:,} changes of a spindle: look less far ahead")
        u = _tied(shared, alike_share, random)
        lived, column = _ended(_draw(new, u), margin, chips_per_bore, random)
        at = at + np.maximum(lived, 1.0)
    return Ways(bores=np.column_stack(columns), chipped=np.column_stack(chips))


def _tied(shared: Floats, share: float, random: np.random.Generator) -> Floats:
    own = random.standard_normal(len(shared))
    return np.asarray(ndtr(np.sqrt(share) * shared + np.sqrt(1 - share) * own), dtype=np.float64)


def _draw(life: Life, u: Floats) -> Floats:
    """Return the bores at which the chance reaches u; the last of the grid beyond it."""
    return np.asarray(np.interp(u, life.chance, life.bores), dtype=np.float64)


def _ended(
    worn: Floats, margin: float, chips_per_bore: float, random: np.random.Generator
) -> tuple[Floats, NDArray[np.bool_]]:
    worn = np.maximum(worn - margin, 0.0)
    if chips_per_bore <= 0:
        return worn, np.zeros(len(worn), dtype=bool)
    chip = random.exponential(1 / chips_per_bore, len(worn))
    return np.minimum(worn, chip), chip < worn


def mean_bores(new: Life, *, margin: float, chips_per_bore: float = 0.0) -> float:
    """Return how many bores a set hones on average until it is changed or chips.

    Parameters
    ----------
    new : Life
        Of a new set.
    margin, chips_per_bore : float
        As of `change_ways`.

    References
    ----------
    The mean is the area above the cumulative chance; competing risks as in `with_breakage`.

    Examples
    --------
    >>> import numpy as np
    >>> exact = Life(bores=np.array([0.0, 999.0, 1001.0]), chance=np.array([0.0, 0.0, 1.0]))
    >>> round(mean_bores(exact, margin=100.0))
    900
    """
    at = np.linspace(0.0, max(float(new.bores[-1]) - margin, 1.0), 4000)
    lives = (1.0 - new.cdf(at + margin)) * np.exp(-chips_per_bore * at)
    return float(np.trapezoid(lives, at))


@dataclass(frozen=True, kw_only=True)
class Change:
    """One change to come: in how many bores of its spindle, and when."""

    spindle: str
    number: int
    """1: the next of this spindle."""
    bores: float
    at: np.datetime64
    earliest: np.datetime64
    """1 of 20 comes before it."""
    latest: np.datetime64
    """1 of 20 comes after it; not-a-time beyond the shifts looked at."""
    with_spindle: str | None = None
    """The spindle whose stop serves this change too."""
    early_bores: float = 0.0
    """Bores it is brought forward for that."""


def dated_changes(ways: Mapping[str, Ways], clocks: Mapping[str, Output]) -> tuple[Change, ...]:
    """Return the changes likelier than not inside the shifts looked at, each spindle by itself, by date.

    Parameters
    ----------
    ways : mapping of str to Ways
        By spindle.
    clocks : mapping of str to Output
        By spindle.

    References
    ----------
    Quantiles of the ways drawn.
    """
    found: list[Change] = []
    for spindle, drawn in ways.items():
        clock = clocks[spindle]
        shares = np.quantile(drawn.bores, [0.05, 0.5, 0.95], axis=0)
        shares = shares[:, shares[1] <= clock.total]
        moments: Times = clock.at(shares)
        found += [
            Change(
                spindle=spindle,
                number=k + 1,
                bores=float(shares[1, k]),
                at=moments[1, k],
                earliest=moments[0, k],
                latest=moments[2, k],
            )
            for k in range(shares.shape[1])
        ]
    return tuple(sorted(found, key=lambda c: (c.at, c.spindle)))


def merged_changes(
    changes: Sequence[Change], clocks: Mapping[str, Output], *, most_early: Mapping[str, float]
) -> tuple[Change, ...]:
    """Bring changes forward to another spindle's stop where that costs less than a stop of their own.

    Parameters
    ----------
    changes : sequence of Change
        As `dated_changes` gives them.
    clocks : mapping of str to Output
        By spindle.
    most_early : mapping of str to float
        By spindle: bores given up at which a stop of its own costs as much, its cost over the stones' cost
        of a bore.

    References
    ----------
    A saving and a loss compared; by hand in the test. Later changes of a spindle move with it.
    """
    queues: dict[str, deque[Change]] = {}
    for change in sorted(changes, key=lambda c: c.number):
        queues.setdefault(change.spindle, deque()).append(change)
    given_up, done = dict.fromkeys(queues, 0.0), list[Change]()
    heads = {spindle: queue.popleft() for spindle, queue in queues.items()}

    def next_of(spindle: str) -> None:
        del heads[spindle]
        if queues[spindle]:
            heads[spindle] = _sooner(queues[spindle].popleft(), given_up[spindle], clocks[spindle])

    while heads:
        stop = min(heads.values(), key=lambda c: (c.at, c.spindle))
        done.append(stop)
        next_of(stop.spindle)
        for spindle in sorted(set(heads) - {stop.spindle}):
            early = heads[spindle].bores - float(clocks[spindle].by(stop.at))
            if 0 <= early <= most_early.get(spindle, 0.0):
                done.append(_beside(heads[spindle], early, stop))
                given_up[spindle] += early
                next_of(spindle)
    return tuple(done)


def _sooner(change: Change, bores: float, clock: Output) -> Change:
    """Return a change so many bores earlier, with its range."""
    if bores == 0:
        return change
    at = np.datetime64(clock.at(change.bores - bores).item(), "us")
    back = change.at - at
    return replace(
        change,
        bores=change.bores - bores,
        at=at,
        earliest=change.earliest - back,
        latest=change.latest - back,
    )


def _beside(change: Change, early: float, stop: Change) -> Change:
    """Return a change brought forward to another spindle's stop."""
    return replace(
        change,
        bores=change.bores - early,
        at=stop.at,
        earliest=min(change.earliest, stop.earliest),
        latest=stop.latest,
        with_spindle=stop.spindle,
        early_bores=early,
    )

"""Bores to a limit while the stones are dressed by a plan, and what a dressing does to the level.

A plan reaches only as far as it is laid out: some dressings ahead. What lies farther off is not foreseen.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from cellmon.drift.forecast import Side
from cellmon.drift.survival import P05, P50, P95, Dressing, Process, closest
from cellmon.errors import NotEnoughData

LEAST_DRESSINGS = 3
"""Of the past, before what one does is believed."""
PLANNED = 10
"""Dressings that are laid out ahead."""


@dataclass(frozen=True, kw_only=True)
class DressingEffect:
    """What a dressing does to a level and a slope; micrometres."""

    step_um: float
    step_sd_um: float
    """Of the next step, as unsure as the mean of those past is."""
    slope_um: float | None = None
    """A bore; None: as before."""
    slope_sd_um: float = 0.0
    level_um: float | None = None
    """Where the level starts anew, from wherever it was, plus `step_um`; None: it steps by that."""


@dataclass(frozen=True, kw_only=True)
class DressedToLimit:
    """Bores to the first beyond a limit while dressings are done as planned; None beyond the plan."""

    reached_before: float
    """Chance that a limit is reached before the next dressing."""
    p05: int | None
    p50: int | None
    p95: int | None
    side: Side


def learn_step(steps: ArrayLike, *, noise_um: float) -> DressingEffect:
    """Learn from past dressings by how much one moves a level.

    Parameters
    ----------
    steps : array_like, shape (k,)
        How far the level moved at each, drift and known moves taken out, micrometres.
    noise_um : float
        Standard deviation that the means on both sides give a step by themselves.

    Raises
    ------
    NotEnoughData
        Below 3 dressings.

    Notes
    -----
    The variance between steps is what they show beyond their noise; the next one is as unsure as the
    steps differ and as their mean is: s^2 + v / k, where v is the variance seen (at least that of
    noise), widened by (k - 1) / (k - 3) above 3 steps and threefold at 3, as a variance of so few asks.
    """
    x = np.asarray(steps, dtype=np.float64)
    if len(x) < LEAST_DRESSINGS:
        raise NotEnoughData("dressings to learn from", need=LEAST_DRESSINGS, got=len(x))
    seen = max(float(x.var(ddof=1)), noise_um**2)
    few = (len(x) - 1) / (len(x) - 3) if len(x) > 3 else 3.0
    own = max(seen - noise_um**2, 0.0)
    return DressingEffect(step_um=float(x.mean()), step_sd_um=float(np.sqrt(few * (own + seen / len(x)))))


def dressed_to_limit(
    process: Process, effect: DressingEffect, *, in_bores: int, every_bores: int
) -> DressedToLimit:
    """Forecast bores to a limit with a dressing in so many bores, and then every so many.

    Parameters
    ----------
    process : Process
        Level and slope as they stand, without dressings.
    effect : DressingEffect
        What each dressing does.
    in_bores, every_bores : int
        Bores of this stream until the next dressing (0: now), and from one to the next (at least 1).

    Returns
    -------
    DressedToLimit
        Quantiles are None beyond the tenth planned dressing and one interval after it.

    References
    ----------
    As `bores_to_limit`; coverage by simulation: docs/drift.md.
    """
    if in_bores < 0 or every_bores < 1:
        raise ValueError(f"a dressing in 0 bores or more, every 1 or more, not {in_bores}, {every_bores}")
    one = Dressing(
        after_bores=in_bores,
        step_um=effect.step_um,
        step_sd_um=effect.step_sd_um,
        slope_um=effect.slope_um,
        slope_sd_um=effect.slope_sd_um,
        level_um=effect.level_um,
    )
    planned = tuple(replace(one, after_bores=in_bores + i * every_bores) for i in range(PLANNED))
    process = replace(process, dressings=())
    mirrored = process.leads_down
    if mirrored:
        process = process.mirrored()
        planned = tuple(d.mirrored() for d in planned)
    before = 1 - process.survival(float(in_bores)).none_yet[-1] if in_bores else 0.0
    survival = closest(replace(process, dressings=planned), float(in_bores + PLANNED * every_bores))
    return DressedToLimit(
        reached_before=float(before),
        p05=survival.first(P05),
        p50=survival.first(P50),
        p95=survival.first(P95),
        side="upper" if survival.upward != mirrored else "lower",
    )

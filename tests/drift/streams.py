"""Streams drawn at random, laid side by side for the watch, and what it called of them."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cellmon.drift.columns import Limits, State, Steps, Watched
from cellmon.drift.watch import watch
from cellmon.drift.wear import Learned

Floats = NDArray[np.float64]
SIZE = 5
MEAN_SD = 1 / np.sqrt(SIZE)
"""Of the mean of five bores whose standard deviation is 1."""


def known(**other: float) -> Learned:
    """Return what a baseline without end would teach: bores of standard deviation 1 about nought."""
    figures = {
        "centre": 0.0,
        "level": 0.0,
        "level_var": 0.0,
        "slope": 0.0,
        "slope_var": 0.0,
        "walk": 0.0,
        "mean_sd": MEAN_SD,
        "mean_df": 1e6,
        "bore_sd": 1.0,
        "bore_df": 1e6,
        "size": SIZE,
        "spread_of_level": 0.0,
    }
    return Learned(**{**figures, **other})


def limits_of(
    streams: int, *, level: ArrayLike = np.inf, spread: ArrayLike = np.inf, single: float = np.inf
) -> Limits:
    """Return the same limits for some streams."""
    return Limits(
        level=np.broadcast_to(np.asarray(level, dtype=float).reshape(-1, 1), (3, streams)).copy(),
        spread=np.broadcast_to(np.asarray(spread, dtype=float).reshape(-1, 1), (3, streams)).copy(),
        single=np.full(streams, single),
        tells_single=np.ones(streams, dtype=bool),
        least=np.zeros(streams),
    )


def steps_of(mean: Floats, sd: Floats | None = None, *, first: int = 0, **other: Any) -> Steps:
    """Return subgroups of five in which nothing else happened; arrays of shape (steps, streams)."""
    mean = np.asarray(mean, dtype=float)
    sd = np.where(np.isfinite(mean), 1.0, np.nan) if sd is None else sd
    at = np.repeat(np.arange(first + 1, first + len(mean) + 1)[:, None], mean.shape[1], axis=1)
    zero, no = np.zeros(mean.shape), np.zeros(mean.shape, dtype=bool)
    made = Steps(
        at=at,
        mean=mean,
        sd=sd,
        low=mean - 1.2 * sd,
        high=mean + 1.2 * sd,
        n=np.full(mean.shape, float(SIZE)),
        moved=zero,
        by_hand=zero,
        zeroed=zero,
        doubt=zero,
        dressed=no,
        changed=no,
    )
    return replace(made, **other)


def drawn(rng: np.random.Generator, steps: int, streams: int) -> tuple[Floats, Floats]:
    """Return means and standard deviations of subgroups of bores about nought, standard deviation 1."""
    mean = rng.normal(0.0, MEAN_SD, (steps, streams))
    return mean, np.sqrt(rng.chisquare(SIZE - 1, (steps, streams)) / (SIZE - 1))


def begun(found: Watched, kind: str) -> NDArray[np.int64]:
    """Return step and stream of each call of a kind that began, shape (calls, 2)."""
    rows = [(c.step, c.stream) for c in found.calls if c.begins and c.kind == kind]
    return np.array(rows, dtype=np.int64).reshape(-1, 2)


def first_calls(found: Watched, kind: str, streams: int, *, since: int = 0) -> Floats:
    """Return the step of each stream's first call of a kind from a step on; inf without one."""
    first = np.full(streams, np.inf)
    for step, stream in begun(found, kind):
        if step >= since:
            first[stream] = min(first[stream], step)
    return first


def watched(learned: list[Learned], steps: Steps, limits: Limits, state: State | None = None) -> Watched:
    """Watch from the end of the baselines, or from a state."""
    return watch(State.begin(learned) if state is None else state, steps, learned, limits)

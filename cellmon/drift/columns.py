"""Many streams side by side: where the watch stands on each, what comes, when it calls, what it found."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from cellmon.drift.baselines import Baselines
from cellmon.drift.wear import Learned

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
Flags = NDArray[np.bool_]
MEAN_DF_MOST, BORE_DF_MOST = 500.0, 4000.0
"""Degrees of freedom at which a spread goes on learning no slower."""
IN_MICROMETRES = ("level", "expected", "up", "down", "wide", "lately")
"""What is kept to so many decimals, sums and ratios too."""
SIGNIFICANT = (
    *("slope", "p11", "p12", "p22", "mean_var", "mean_df", "bore_var", "bore_df"),
    *("since_dressing", "since_change", "level_shift", "spread_ratio"),
)
"""What is kept to so many digits."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Limits:
    """When each stream's detectors call; arrays of shape (streams,), inf: never."""

    level: Floats
    """Shape (3, streams): of each of the level's CUSUMs, two-sided."""
    spread: Floats
    """Shape (3, streams): of each CUSUM of the variance ratio, upward."""
    single: Floats
    """Of the farthest bore of a subgroup, standard deviations; farther ones are left out of its mean."""
    tells_single: Flags
    """Whether such a bore is called; of means and distances the bore's own stream tells."""
    least: Floats
    """Smallest move of the level that is worth a call, standard deviations of a bore."""


@dataclass(kw_only=True, eq=False)
class State:
    """Where the watch stands on each stream; arrays of shape (streams,), changed in place by `watch`."""

    level: Floats
    slope: Floats
    p11: Floats
    p12: Floats
    p22: Floats
    mean_var: Floats
    mean_df: Floats
    bore_var: Floats
    bore_df: Floats
    expected: Floats
    """Where the level would be had nothing been called."""
    up: Floats
    """Shape (3, streams), as `down` and `wide`."""
    down: Floats
    wide: Floats
    lately: Floats
    """Smoothed variance ratio."""
    since_dressing: Floats
    since_change: Floats
    level_side: Whole
    level_call: Whole
    """The moment of the call that stands, microseconds; 0 where none does."""
    level_shift: Floats
    spread_call: Whole
    spread_ratio: Floats

    @classmethod
    def begin(cls, learned: Sequence[Learned]) -> State:
        """Return the state right after the windows that some streams were learned from."""
        size, begins = len(learned), Baselines.of(learned).figures.begins.copy()
        level, slope, level_var, slope_var, mean_sd, mean_df, bore_sd, bore_df = begins
        return cls(
            level=level,
            slope=slope,
            p11=level_var,
            p12=np.zeros(size),
            p22=slope_var,
            mean_var=mean_sd**2,
            mean_df=np.minimum(mean_df, MEAN_DF_MOST),
            bore_var=bore_sd**2,
            bore_df=np.minimum(bore_df, BORE_DF_MOST),
            expected=level.copy(),
            up=np.zeros((3, size)),
            down=np.zeros((3, size)),
            wide=np.zeros((3, size)),
            lately=np.ones(size),
            since_dressing=np.full(size, 1e6),
            since_change=np.full(size, 1e6),
            level_side=np.zeros(size, dtype=np.int64),
            level_call=np.zeros(size, dtype=np.int64),
            level_shift=np.zeros(size),
            spread_call=np.zeros(size, dtype=np.int64),
            spread_ratio=np.ones(size),
        )

    def stacked(self, *names: str) -> Floats:
        """Lay some figures into one array, of which the state's own become views."""
        found: Floats = np.stack([getattr(self, name) for name in names])
        for i, name in enumerate(names):
            setattr(self, name, found[i])
        return found

    def put(self, other: State, where: Flags | Whole) -> None:
        """Take some streams' places from another state of as many streams."""
        for f in fields(self):
            getattr(self, f.name)[..., where] = getattr(other, f.name)[..., where]

    def rounded(self) -> None:
        """Keep so many digits as matter, so that pasts that differ in nothing that matters end alike."""
        for name in IN_MICROMETRES:
            values = getattr(self, name)
            np.round(values, 3, out=values)
        others = [getattr(self, name) for name in SIGNIFICANT]
        for values, rounded in zip(others, _significant(np.stack(others), 5), strict=True):
            values[...] = rounded


@dataclass(frozen=True, kw_only=True, eq=False)
class Steps:
    """Subgroups of many streams side by side, arrays of shape (steps, streams); nan where a stream has none.

    `moved` is what offsets by the machine and temperatures did since the step before, `by_hand` what a
    person's offset would do, `zeroed` what a gauge's zeroing did to its readings, `doubt` the variance
    they leave; micrometres.
    """

    at: Whole
    """Microseconds."""
    mean: Floats
    sd: Floats
    low: Floats
    high: Floats
    n: Floats
    moved: Floats
    by_hand: Floats
    zeroed: Floats
    doubt: Floats
    dressed: Flags
    changed: Flags


@dataclass(frozen=True, kw_only=True)
class Call:
    """One detector of one stream called, or its call ended, at one step."""

    step: int
    stream: int
    kind: str
    side: int
    call: int
    begins: bool
    size: float = np.nan


class Calls(list[Call]):
    """The calls of a walk, in the order in which they came."""

    def add(
        self, t: int, c: int, kind: str, side: int, call: int, *, begins: bool, size: float = np.nan
    ) -> None:
        """Add one of stream c at step t; `call` is the moment that it goes by."""
        self.append(Call(step=t, stream=c, kind=kind, side=side, call=call, begins=begins, size=size))


@dataclass(frozen=True, kw_only=True, eq=False)
class Watched:
    """What a stretch of subgroups brought: surprises of shape (steps, streams) and calls in order."""

    surprise: Floats
    ratio: Floats
    """Variance ratios as `variance_ratio` makes them comparable."""
    expected: Floats
    """The mean that was expected, micrometres."""
    error: Floats
    """Standard error of a mean about that."""
    calls: tuple[Call, ...]


def _significant(values: Floats, digits: int) -> Floats:
    """Round to so many significant digits."""
    with np.errstate(divide="ignore"):
        power = np.where(values == 0, 0.0, np.floor(np.log10(np.abs(values))))
    scale = 10.0 ** (digits - 1 - power)
    found: Floats = np.round(values * scale) / scale
    return found

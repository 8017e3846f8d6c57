"""The watch over the spread inside subgroups: each variance ratio, three CUSUMs of it, and what they call."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from cellmon.drift.ahead import Ahead
from cellmon.drift.baselines import Figures
from cellmon.drift.columns import Calls, Limits, State, Steps
from cellmon.drift.deviates import Constants, variance_ratio

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

SPREAD_RATIOS = np.array([1.2, 1.5, 2.0])
"""Ratios of standard deviations that the CUSUMs of the variance are tuned for."""
SPREAD_K = (SPREAD_RATIOS**2 * np.log(SPREAD_RATIOS**2) / (SPREAD_RATIOS**2 - 1))[:, None]
KEEPS, ADDS = 0.8, 0.2
"""What the smoothed variance ratio keeps of itself at each subgroup, and takes of that one's."""


class SpreadWatch:
    """One pass over the spread of all streams; numbers stand as arrays, as in the watch of the level.

    References
    ----------
    CUSUM of a variance: Hawkins and Olwell, Cumulative Sum Charts (1998), chapter 4 (from memory).
    """

    def __init__(
        self, state: State, steps: Steps, ahead: Ahead, known: Figures, limits: Limits, calls: Calls
    ) -> None:
        self.state, self.steps, self.ahead = state, steps, ahead
        self.known, self.limits, self.calls = known, limits.spread, calls
        shape, size = state.wide.shape, len(known.size)
        self.c, self.none, self.ratios = Constants.of(size), np.zeros(shape), np.empty(shape)
        self.references = np.broadcast_to(SPREAD_K, shape).copy()
        self.keeps, self.adds = np.full(size, KEEPS), np.full(size, ADDS)
        self.ratio = np.full(steps.mean.shape, np.nan)
        self.stands = True
        """Whether a call may stand."""

    def judge(self, t: int, told: Flags, *, all_told: bool) -> Floats:
        """Judge the spread inside a subgroup; return its variance ratio, as `variance_ratio` does."""
        s, ahead = self.state, self.ahead
        v = variance_ratio(
            ahead.sd_squared[t] / s.bore_var,
            ahead.df_term[t],
            ahead.less_df_term[t],
            s.bore_df,
            self.c,
            to_term=self.known.usual_term,
            root_of_to=self.known.usual_root,
            out=self.ratio[t],
        )
        self.ratios[:] = v
        wide = np.add(s.wide, self.ratios, out=s.wide if all_told else None)
        wide -= self.references
        np.maximum(wide, self.none, out=wide)
        lately = self.keeps * s.lately
        lately += self.adds * v
        if all_told:
            s.lately = lately
        else:
            np.copyto(s.wide, wide, where=told)
            np.copyto(s.lately, lately, where=told)
        over: Flags = s.wide > self.limits
        if self.stands or np.count_nonzero(over):
            self._call(t, np.asarray(over.any(axis=0)), told)
            self.stands = bool(np.count_nonzero(s.spread_call))
        return v

    def _call(self, t: int, called: Flags, told: Flags) -> None:
        """Call where a sum is over its limit, and end what is back."""
        s, at = self.state, self.steps.at[t]
        for c in np.flatnonzero(called):
            s.wide[:, c] = 0.0
            if not s.spread_call[c]:
                s.spread_call[c] = at[c]
                s.spread_ratio[c] = max(float(s.lately[c]), 1.3)
                self.calls.add(t, int(c), "spread", 1, int(at[c]), begins=True)
        over = (s.spread_call > 0) & told & ~called & (s.lately < 1 + 0.4 * (s.spread_ratio - 1))
        for c in np.flatnonzero(over):
            self.calls.add(t, int(c), "spread", 1, int(s.spread_call[c]), begins=False)
        s.spread_call[over] = 0

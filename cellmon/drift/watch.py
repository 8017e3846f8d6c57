"""The watch over many streams at once: level, spread and single wild bores, one subgroup after another.

The level is judged by what a subgroup's mean adds to what the wear model expects: those surprises are
standard normal and independent while nothing has changed, and three two-sided CUSUMs of them see shifts
from half a sigma to three. When one calls, the level is let go to find its new place, so that one change
is one call; the call ends when the level is back.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from cellmon.drift.columns import BORE_DF_MOST, MEAN_DF_MOST, Call, Limits, State, Steps, Watched
from cellmon.drift.deviates import as_normal, as_variance_ratio
from cellmon.drift.wear import (
    DRESSED_BORES,
    DRESSED_VAR,
    FRESH_VAR,
    FRESH_VAR_OF_WEAR,
    SLOPE_VARIES,
    Learned,
)

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
Flags = NDArray[np.bool_]

LEVEL_K = np.array([0.21, 0.52, 1.34])[:, None]
"""References of the level's CUSUMs, in standard deviations of a mean: tuned for 0.4, 1 and 2.7."""
SPREAD_RATIOS = np.array([1.2, 1.5, 2.0])
"""Ratios of standard deviations that the CUSUMs of the variance are tuned for."""
SPREAD_K = (SPREAD_RATIOS**2 * np.log(SPREAD_RATIOS**2) / (SPREAD_RATIOS**2 - 1))[:, None]
BREAK_IN_BORES = 25
"""After new stones or another set-up so many bores of a stream have their own spread."""
BACK = 0.5
"""A call ends when less than this share of its shift is left."""
LEARNS_WITHIN = 3.0


def watch(state: State, steps: Steps, learned: Sequence[Learned], limits: Limits) -> Watched:
    """Go through some subgroups; the state is brought to their end.

    References
    ----------
    Kalman filter: Harvey (1989), as `learn`. CUSUM: Page, Continuous inspection schemes, Biometrika 41
    (1954); of a variance: Hawkins and Olwell, Cumulative Sum Charts (1998), chapter 4 (both from memory).
    """
    walker = _Walker(state, learned, limits)
    count, size = steps.mean.shape
    surprise, ratio, expected, error = (np.full((count, size), np.nan) for _ in range(4))
    for t in range(count):
        surprise[t], ratio[t], expected[t], error[t] = walker.step(t, steps)
    return Watched(surprise=surprise, ratio=ratio, expected=expected, error=error, calls=tuple(walker.calls))


class _Walker:
    """One pass of the watch; every line works on all streams."""

    def __init__(self, state: State, learned: Sequence[Learned], limits: Limits) -> None:
        self.state, self.limits = state, limits
        self.start = State.begin(learned)
        self.centre = np.array([one.centre for one in learned])
        self.walk = np.array([one.walk for one in learned])
        self.size = np.array([float(one.size) for one in learned])
        self.resets = np.array([one.resets for one in learned], dtype=bool)
        self.dressed = np.array([one.dressed for one in learned])
        self.dressed_var = np.array(
            [np.nan if one.dressed_var is None else one.dressed_var for one in learned]
        )
        self.unknown = np.array([FRESH_VAR_OF_WEAR if one.wears else FRESH_VAR for one in learned])
        self.set_var = np.array([max(2 * one.mean_sd, one.spread_of_level) ** 2 for one in learned])
        self.calls: list[Call] = []

    def step(self, t: int, steps: Steps) -> tuple[Floats, Floats, Floats, Floats]:
        """Judge one subgroup of every stream: surprise, variance ratio, mean expected and its error."""
        s = self.state
        here = np.isfinite(steps.mean[t])
        n = np.where(here, steps.n[t], 0.0)
        self._move(t, steps, n)
        early = self._early()
        mean, sd, wild = self._without_wild(t, steps, here)
        noise = s.mean_var * self.size / np.maximum(n, 1.0) + early
        spread = s.p11 + noise
        away = np.where(here, mean - s.level, 0.0)
        surprise = np.where(here, as_normal(away / np.sqrt(spread), s.mean_df), 0.0)
        before = (s.level.copy(), s.p11.copy())
        self._update(away, spread, here)
        self._level_calls(t, steps, surprise, away, noise, before, here)
        v = self._spread_calls(t, steps, sd, n, here & ~wild)
        self._learn(surprise, v, n, here)
        error = np.where(here, np.sqrt(spread), np.nan)
        return np.where(here, surprise, np.nan), v, np.where(here, before[0], np.nan), error

    def _move(self, t: int, steps: Steps, n: Floats) -> None:
        """Carry level and slope on to this step by what is known, and what is not."""
        s = self.state
        if steps.changed[t].any():
            self._end_calls(t, steps.changed[t])
            self._change(steps.changed[t])
        if steps.dressed[t].any():
            self._dress(steps.dressed[t])
        if steps.by_hand[t].any():
            self._by_hand(steps.by_hand[t])
        if steps.zeroed[t].any():
            self._by_hand(steps.zeroed[t])
        s.level += s.slope * n + steps.moved[t]
        s.expected += s.slope * n + steps.moved[t]
        s.p11 += 2 * n * s.p12 + n * n * s.p22 + self.walk * n + steps.doubt[t]
        s.p12 += n * s.p22
        s.since_dressing += n
        s.since_change += n

    def _by_hand(self, known: Floats) -> None:
        """Move the levels; what undoes a called shift leaves alone where the level was to be."""
        s = self.state
        undoes = (s.level_side != 0) & (np.sign(known) == -s.level_side)
        s.level += known
        s.expected += np.where(undoes, 0.0, known)

    def _dress(self, where: Flags) -> None:
        """Carry the level over a dressing as the baseline's did; its slope is drawn anew.

        Where too few were seen to say, it may go on, or be back at the baseline's centre.
        """
        s = self.state
        known = where & np.isfinite(self.dressed_var)
        called = s.level_side != 0
        anew = known & self.resets
        shift = np.where(called, s.level - s.expected, 0.0)
        s.expected = np.where(anew, self.dressed, s.expected + np.where(known, self.dressed, 0.0))
        s.level = np.where(anew, s.expected + shift, s.level + np.where(known, self.dressed, 0.0))
        s.p11 = np.where(anew & ~called, 0.0, s.p11) + np.where(known, np.nan_to_num(self.dressed_var), 0.0)
        away = np.where(called, 0.0, s.level - self.centre)
        s.p11 += np.where(where & ~known, self.unknown * s.mean_var + 4 * away**2, 0.0)
        s.p12[where] = 0.0
        s.slope[where] = self.start.slope[where]
        s.p22[where] = self.start.p22[where]
        s.since_dressing[where] = 0.0

    def _end_calls(self, t: int, where: Flags) -> None:
        """What was called of the stones before, or the set-up before, ends with them."""
        s = self.state
        for c in np.flatnonzero(where & (s.level_call > 0)):
            self._call(t, int(c), "level", int(s.level_side[c]), int(s.level_call[c]), begins=False)
        for c in np.flatnonzero(where & (s.spread_call > 0)):
            self._call(t, int(c), "spread", 1, int(s.spread_call[c]), begins=False)

    def _change(self, where: Flags) -> None:
        """Other stones or another set-up: all begins again, at the baseline's level give or take."""
        s = self.state
        s.put(self.start, where)
        s.level[where] = s.expected[where] = self.centre[where]
        s.p11[where] += self.set_var[where]
        s.p22[where] += (SLOPE_VARIES * self.start.slope[where]) ** 2
        s.since_change[where] = s.since_dressing[where] = 0.0

    def _early(self) -> Floats:
        """Return the variance that the first bores after a change have beyond the usual."""
        s = self.state
        var = np.where(s.since_dressing <= DRESSED_BORES, DRESSED_VAR, 0.0)
        var = np.where(s.since_change <= BREAK_IN_BORES, 1.0, var)
        var = np.where(s.since_change <= 15, 4.0, var)
        return np.asarray(var * s.bore_var)

    def _without_wild(self, t: int, steps: Steps, here: Flags) -> tuple[Floats, Floats, Flags]:
        """Call a single wild bore, and return means and deviations without it."""
        s = self.state
        mean, sd, n = steps.mean[t], steps.sd[t], np.where(here, steps.n[t], 3.0)
        up, down = steps.high[t] - s.level, s.level - steps.low[t]
        far = np.where(up >= down, up, -down)
        wide = np.sqrt(s.bore_var + s.p11)
        with np.errstate(invalid="ignore"):
            z = as_normal(np.abs(far) / wide, s.bore_df)
            wild = here & (s.since_change > BREAK_IN_BORES) & (n > 2) & (z > self.limits.single)
        if not wild.any():
            return mean, sd, wild
        rest = (n * mean - (s.level + far)) / (n - 1)
        wild &= np.abs(rest - s.level) < 4 * np.sqrt(s.mean_var * self.size / (n - 1) + s.p11)
        for c in np.flatnonzero(wild & self.limits.tells_single):
            at, side = int(steps.at[t, c]), int(np.sign(far[c]))
            self._call(t, int(c), "single", side, at, begins=True, size=float(far[c]))
        return np.where(wild, rest, mean), sd, wild

    def _update(self, away: Floats, spread: Floats, here: Flags) -> None:
        s = self.state
        gain, gain2 = np.where(here, s.p11 / spread, 0.0), np.where(here, s.p12 / spread, 0.0)
        s.level += gain * away
        s.slope += gain2 * away
        s.p22 -= gain2 * s.p12
        s.p12 *= 1 - gain
        s.p11 *= 1 - gain

    def _level_calls(
        self,
        t: int,
        steps: Steps,
        surprise: Floats,
        away: Floats,
        noise: Floats,
        before: tuple[Floats, Floats],
        here: Flags,
    ) -> None:
        s = self.state
        s.up = np.where(here, np.maximum(s.up + surprise - LEVEL_K, 0.0), s.up)
        s.down = np.where(here, np.maximum(s.down - surprise - LEVEL_K, 0.0), s.down)
        high: Flags = np.asarray((s.up > self.limits.level).any(axis=0))
        low: Flags = np.asarray((s.down > self.limits.level).any(axis=0))
        for c in np.flatnonzero(high | low):
            self._level_call(t, int(c), 1 if high[c] else -1, steps, away, noise, before)
        quiet: Flags = s.level_side == 0
        near: Flags = np.less(np.abs(s.level - s.expected), BACK * np.abs(s.level_shift))
        back: Flags = np.logical_and(~quiet & here, near & np.less(s.level_call, steps.at[t]))
        for c in np.flatnonzero(back):
            self._call(t, int(c), "level", int(s.level_side[c]), int(s.level_call[c]), begins=False)
        s.level_side[back], s.level_call[back] = 0, 0
        # what was known of the level before the change says more than the few subgroups of its return
        s.level[back], s.p11[back], s.p12[back] = s.expected[back], 0.5 * s.mean_var[back], 0.0
        s.up[:, back] = s.down[:, back] = 0.0
        s.expected = np.where(quiet | back, s.level, s.expected)

    def _level_call(
        self,
        t: int,
        c: int,
        side: int,
        steps: Steps,
        away: Floats,
        noise: Floats,
        before: tuple[Floats, Floats],
    ) -> None:
        """Let the level go to where the change took it, and call unless that only goes on or comes back."""
        s = self.state
        wide = max(before[1][c], 9 * s.mean_var[c])
        gain = wide / (wide + noise[c])
        s.level[c] = before[0][c] + gain * away[c]
        s.p11[c], s.p12[c] = (1 - gain) * wide, 0.0
        s.up[:, c] = s.down[:, c] = 0.0
        shift = float(s.level[c] - s.expected[c])
        standing = int(s.level_side[c])
        if not standing and abs(shift) < self.limits.least[c] * np.sqrt(s.bore_var[c]):
            s.expected[c] = s.level[c]
            return
        if standing and (standing == side or abs(shift) < BACK * abs(s.level_shift[c]) or shift * side <= 0):
            if standing == side and abs(shift) > abs(s.level_shift[c]):
                s.level_shift[c] = shift
            return
        if standing:  # back, and beyond: whether it lies beyond is for the next subgroups to say
            self._call(t, c, "level", standing, int(s.level_call[c]), begins=False)
            s.level_side[c], s.level_call[c] = 0, 0
            s.level[c], s.p11[c] = s.expected[c], s.mean_var[c]
            return
        s.level_side[c], s.level_call[c], s.level_shift[c] = side, steps.at[t, c], shift
        self._call(t, c, "level", side, int(steps.at[t, c]), begins=True, size=shift)

    def _spread_calls(self, t: int, steps: Steps, sd: Floats, n: Floats, here: Flags) -> Floats:
        s = self.state
        here = here & np.isfinite(sd) & (n >= 2) & (s.since_change > BREAK_IN_BORES)
        seen = np.where(here, sd, 0.0) ** 2 / s.bore_var
        v = as_variance_ratio(seen, np.maximum(n - 1, 1.0), s.bore_df, to_df=np.maximum(self.size - 1, 1.0))
        s.wide = np.where(here, np.maximum(s.wide + v - SPREAD_K, 0.0), s.wide)
        s.lately = np.where(here, 0.8 * s.lately + 0.2 * v, s.lately)
        called = (s.wide > self.limits.spread).any(axis=0)
        for c in np.flatnonzero(called):
            s.wide[:, c] = 0.0
            if not s.spread_call[c]:
                s.spread_call[c] = steps.at[t, c]
                s.spread_ratio[c] = max(float(s.lately[c]), 1.3)
                self._call(t, int(c), "spread", 1, int(steps.at[t, c]), begins=True)
        over = (s.spread_call > 0) & here & ~called & (s.lately < 1 + 0.4 * (s.spread_ratio - 1))
        for c in np.flatnonzero(over):
            self._call(t, int(c), "spread", 1, int(s.spread_call[c]), begins=False)
        s.spread_call[over] = 0
        return np.where(here, v, np.nan)

    def _learn(self, surprise: Floats, v: Floats, n: Floats, here: Flags) -> None:
        """Let the spreads learn from what is neither called nor far out."""
        s = self.state
        use = (
            here
            & (s.level_side == 0)
            & (np.abs(surprise) < LEARNS_WITHIN)
            & (s.since_change > BREAK_IN_BORES)
        )
        step = np.where(use, 1.0 / (s.mean_df + 1), 0.0)
        s.mean_var *= 1 + step * (surprise**2 / 0.9733 - 1)
        s.mean_df = np.minimum(s.mean_df + use, MEAN_DF_MOST)
        use = np.isfinite(v) & (s.spread_call == 0)
        extra = np.where(use, np.maximum(n - 1, 0.0), 0.0)
        s.bore_var *= 1 + extra / (s.bore_df + extra) * (np.where(use, v, 1.0) - 1)
        s.bore_df = np.minimum(s.bore_df + extra, BORE_DF_MOST)

    def _call(
        self, t: int, c: int, kind: str, side: int, call: int, *, begins: bool, size: float = np.nan
    ) -> None:
        self.calls.append(
            Call(step=t, stream=int(c), kind=kind, side=side, call=call, begins=begins, size=size)
        )

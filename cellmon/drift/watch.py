"""The watch over many streams at once: level, spread and single wild bores, one subgroup after another.

The level is judged by what a subgroup's mean adds to what the wear model expects: those surprises are
standard normal and independent while nothing has changed, and three two-sided CUSUMs of them see shifts
from half a sigma to three. When one calls, the level is let go to find its new place, so that one change
is one call; the call ends when the level is back.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from cellmon.drift.ahead import Ahead
from cellmon.drift.baselines import Baselines
from cellmon.drift.columns import BORE_DF_MOST, MEAN_DF_MOST, Calls, Limits, State, Steps, Watched
from cellmon.drift.deviates import Constants, as_normal, normal
from cellmon.drift.spread_watch import SpreadWatch
from cellmon.drift.wear import DRESSED_BORES, DRESSED_VAR, SLOPE_VARIES, Learned

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

LEVEL_K = np.array([0.21, 0.52, 1.34])[:, None]
"""References of the level's CUSUMs, in standard deviations of a mean: tuned for 0.4, 1 and 2.7."""
BREAK_IN_BORES = 25
"""After new stones or another set-up so many bores of a stream have their own spread."""
BACK = 0.5
"""A call ends when less than this share of its shift is left."""
LEARNS_WITHIN = 3.0
USUAL_SQUARE = 0.9733
"""Mean square of a standard normal deviate that lies within them."""


def watch(state: State, steps: Steps, learned: Sequence[Learned], limits: Limits) -> Watched:
    """Go through some subgroups; the state is brought to their end.

    References
    ----------
    Kalman filter: Harvey (1989), as `learn`. CUSUM: Page, Continuous inspection schemes, Biometrika 41
    (1954); of a variance: Hawkins and Olwell, Cumulative Sum Charts (1998), chapter 4 (both from memory).
    """
    walker = _Walker(state, steps, Baselines.of(learned), limits)
    for t in range(len(steps.mean)):
        walker.step(t)
    return walker.watched()


class _Walker:
    """One pass of the watch; every line works on all streams.

    For speed, since a step costs what its calls of numpy cost: of figures that take the same step the
    state's own are views of one array; what only a few steps need is asked for once a step; and numbers,
    limits and references stand as arrays of the shape they meet, which numpy takes at half the cost.
    """

    def __init__(self, state: State, steps: Steps, learned: Baselines, limits: Limits) -> None:
        self.state, self.steps, self.learned, self.limits = state, steps, learned, limits
        self.known, self.size = learned.figures, learned.figures.size
        self.ahead = Ahead.of(steps, self.known.walk)
        self.since = state.stacked("since_dressing", "since_change")
        self.sums = state.stacked("up", "down")
        self.up, self.down = self.sums
        self.vars, self.dfs = state.stacked("mean_var", "bore_var"), state.stacked("mean_df", "bore_df")
        size, both = len(learned), self.sums.shape
        self.c, self.none = Constants.of(size), np.zeros(both)
        self.level_k = np.broadcast_to(LEVEL_K, both).copy()
        self.level_limits = np.broadcast_to(limits.level, both).copy()
        self.within, self.usual_square = np.full(size, LEARNS_WITHIN), np.full(size, USUAL_SQUARE)
        self.ones, self.seen, self.gained = np.ones((2, size)), np.empty((2, size)), np.empty((2, size))
        self.df_most = np.repeat([[MEAN_DF_MOST], [BORE_DF_MOST]], size, axis=1)
        """Of a mean's spread, then of a bore's: what a step saw of it, and by how much it is known better."""
        self.surprises = np.empty(both[1:])
        """A step's surprises before each CUSUM."""
        self.calls = Calls()
        shape = steps.mean.shape
        self.surprise, self.expected, self.error = (np.full(shape, np.nan) for _ in range(3))
        self.spread = SpreadWatch(state, steps, self.ahead, self.known, limits, self.calls)
        self.has_ratio = self.ahead.has_spread.copy()
        self.quiet = False
        """Whether no stream is near a dressing or a change; `level_stands`: whether a call of a level may."""
        self.level_stands = True

    @cached_property
    def start(self) -> State:
        """Where the watch begins; asked only where stones are dressed or changed."""
        return State.begin(self.learned)

    def watched(self) -> Watched:
        """Return what the steps brought, nan where a stream has none."""
        for figures in (self.surprise, self.expected, self.error):
            figures[self.ahead.gone] = np.nan
        self.spread.ratio[~self.has_ratio] = np.nan
        return Watched(
            surprise=self.surprise,
            ratio=self.spread.ratio,
            expected=self.expected,
            error=self.error,
            calls=tuple(self.calls),
        )

    def step(self, t: int) -> None:
        """Judge one subgroup of every stream."""
        s, ahead = self.state, self.ahead
        self._move(t)
        noise, use = s.mean_var * self.size / ahead.n_or_one[t], ahead.here[t]
        self.quiet = self.quiet or self._since_all() > max(BREAK_IN_BORES, DRESSED_BORES)
        told, all_told = ahead.has_spread[t], ahead.all_have_spread[t]
        if not self.quiet:
            settled = s.since_change > BREAK_IN_BORES
            noise, use, told, all_told = noise + self._early(), use & settled, told & settled, False
        mean, wild = self._without_wild(t, use)
        if wild is not None:
            told, all_told = told & ~wild, False
        if not self.quiet or wild is not None:
            self.has_ratio[t] = told
        spread = s.p11 + noise
        away = mean - s.level
        if not ahead.whole[t]:
            np.copyto(away, 0.0, where=ahead.gone[t])
        error = np.sqrt(spread, out=self.error[t])
        surprise = normal(away / error, s.mean_df, self.c, out=self.surprise[t])
        self.expected[t] = s.level
        doubt = s.p11.copy()
        self._update(t, away, spread)
        self._level_calls(t, surprise, away, noise, doubt)
        v = self.spread.judge(t, told, all_told=all_told)
        self._learn(t, surprise, v, use, told, all_told=all_told)

    def _move(self, t: int) -> None:
        """Carry level and slope on to this step by what is known, and what is not."""
        s, steps, ahead, n = self.state, self.steps, self.ahead, self.ahead.n[t]
        if ahead.changed[t]:
            self._end_calls(t, steps.changed[t])
            self._change(steps.changed[t])
        if ahead.dressed[t]:
            self._dress(steps.dressed[t])
        if ahead.by_hand[t]:
            self._by_hand(steps.by_hand[t])
        if ahead.zeroed[t]:
            self._by_hand(steps.zeroed[t])
        moved = s.slope * n
        moved += steps.moved[t]
        s.expected += moved
        s.level += moved
        grown = ahead.twice_n[t] * s.p12
        grown += ahead.n_squared[t] * s.p22
        grown += ahead.walked[t]
        grown += steps.doubt[t]
        s.p11 += grown
        s.p12 += n * s.p22
        self.since += ahead.both[t]

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
        s, self.quiet = self.state, False
        of = self.known
        known = where & np.isfinite(of.dressed_var)
        called = s.level_side != 0
        anew = known & of.resets
        shift = np.where(called, s.level - s.expected, 0.0)
        s.expected[:] = np.where(anew, of.dressed, s.expected + np.where(known, of.dressed, 0.0))
        s.level[:] = np.where(anew, s.expected + shift, s.level + np.where(known, of.dressed, 0.0))
        s.p11[anew & ~called] = 0.0
        s.p11 += np.where(known, np.nan_to_num(of.dressed_var), 0.0)
        away = np.where(called, 0.0, s.level - of.centre)
        s.p11 += np.where(where & ~known, of.unknown_var * s.mean_var + 4 * away**2, 0.0)
        s.p12[where] = 0.0
        s.slope[where] = self.start.slope[where]
        s.p22[where] = self.start.p22[where]
        s.since_dressing[where] = 0.0

    def _end_calls(self, t: int, where: Flags) -> None:
        """What was called of the stones before, or the set-up before, ends with them."""
        s = self.state
        for c in np.flatnonzero(where & (s.level_call > 0)):
            self.calls.add(t, int(c), "level", int(s.level_side[c]), int(s.level_call[c]), begins=False)
        for c in np.flatnonzero(where & (s.spread_call > 0)):
            self.calls.add(t, int(c), "spread", 1, int(s.spread_call[c]), begins=False)

    def _change(self, where: Flags) -> None:
        """Other stones or another set-up: all begins again, at the baseline's level give or take."""
        s, self.quiet = self.state, False
        s.put(self.start, where)
        s.level[where] = s.expected[where] = self.known.centre[where]
        s.p11[where] += self.known.set_var[where]
        s.p22[where] += (SLOPE_VARIES * self.start.slope[where]) ** 2
        s.since_change[where] = s.since_dressing[where] = 0.0

    def _since_all(self) -> float:
        """Return how many bores each stream has at least made since a dressing or a change."""
        return float(np.minimum.reduce(self.since, axis=None, initial=np.inf))

    def _early(self) -> Floats:
        """Return the variance that the first bores after a change have beyond the usual."""
        s = self.state
        var = np.where(s.since_dressing <= DRESSED_BORES, DRESSED_VAR, 0.0)
        var = np.where(s.since_change <= BREAK_IN_BORES, 1.0, var)
        var = np.where(s.since_change <= 15, 4.0, var)
        return np.asarray(var * s.bore_var)

    def _without_wild(self, t: int, use: Flags) -> tuple[Floats, Flags | None]:
        """Call a single wild bore, and return means without it, and where there is one."""
        s, steps = self.state, self.steps
        mean, up, down = steps.mean[t], steps.high[t] - s.level, s.level - steps.low[t]
        wide = np.sqrt(s.bore_var + s.p11)
        wild: Flags = np.maximum(up, down) > self.limits.single * wide
        if not np.count_nonzero(wild):  # a deviate lies nearer than the ratio it is made of
            return mean, None
        n = np.where(self.ahead.here[t], steps.n[t], 3.0)
        far = np.where(up >= down, up, -down)
        with np.errstate(invalid="ignore"):
            z = as_normal(np.abs(far) / wide, s.bore_df)
            wild = use & (n > 2) & (z > self.limits.single)
        rest = (n * mean - (s.level + far)) / (n - 1)
        wild &= np.abs(rest - s.level) < 4 * np.sqrt(s.mean_var * self.size / (n - 1) + s.p11)
        for c in np.flatnonzero(wild & self.limits.tells_single):
            at, side = int(steps.at[t, c]), int(np.sign(far[c]))
            self.calls.add(t, int(c), "single", side, at, begins=True, size=float(far[c]))
        return np.where(wild, rest, mean), wild

    def _update(self, t: int, away: Floats, spread: Floats) -> None:
        s = self.state
        gain, slope_gain = s.p11 / spread, s.p12 / spread
        if not self.ahead.whole[t]:
            np.copyto(gain, 0.0, where=self.ahead.gone[t])
            np.copyto(slope_gain, 0.0, where=self.ahead.gone[t])
        s.level += gain * away
        s.slope += slope_gain * away
        s.p22 -= slope_gain * s.p12
        left = self.c.one - gain
        s.p11 *= left
        s.p12 *= left

    def _level_calls(self, t: int, surprise: Floats, away: Floats, noise: Floats, doubt: Floats) -> None:
        s, ahead, sums = self.state, self.ahead, self.sums
        before = None if ahead.whole[t] else sums.copy()
        self.surprises[:] = surprise
        self.up += self.surprises
        self.down -= self.surprises
        sums -= self.level_k
        np.maximum(sums, self.none, out=sums)
        if before is not None:
            np.copyto(sums, before, where=ahead.gone[t])
        over: Flags = sums > self.level_limits
        if np.count_nonzero(over):
            called, high = over.any(axis=(0, 1)), over[0].any(axis=0)
            for c in np.flatnonzero(called):
                self._level_call(t, int(c), 1 if high[c] else -1, away, noise, doubt)
            self.level_stands = True
        if not self.level_stands:
            s.expected[:] = s.level
            return
        standing: Flags = s.level_side != 0
        self.level_stands = bool(np.count_nonzero(standing))
        if not self.level_stands:
            s.expected[:] = s.level
            return
        near: Flags = np.less(np.abs(s.level - s.expected), BACK * np.abs(s.level_shift))
        back: Flags = np.logical_and(standing & ahead.here[t], near & np.less(s.level_call, self.steps.at[t]))
        for c in np.flatnonzero(back):
            self.calls.add(t, int(c), "level", int(s.level_side[c]), int(s.level_call[c]), begins=False)
        s.level_side[back], s.level_call[back] = 0, 0
        # what was known of the level before the change says more than the few subgroups of its return
        s.level[back], s.p11[back], s.p12[back] = s.expected[back], 0.5 * s.mean_var[back], 0.0
        s.up[:, back] = s.down[:, back] = 0.0
        np.copyto(s.expected, s.level, where=~standing | back)

    def _level_call(
        self,
        t: int,
        c: int,
        side: int,
        away: Floats,
        noise: Floats,
        doubt: Floats,
    ) -> None:
        """Let the level go to where the change took it, and call unless that only goes on or comes back."""
        s, steps = self.state, self.steps
        wide = max(doubt[c], 9 * s.mean_var[c])
        gain = wide / (wide + noise[c])
        s.level[c] = self.expected[t, c] + gain * away[c]
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
            self.calls.add(t, c, "level", standing, int(s.level_call[c]), begins=False)
            s.level_side[c], s.level_call[c] = 0, 0
            s.level[c], s.p11[c] = s.expected[c], s.mean_var[c]
            return
        s.level_side[c], s.level_call[c], s.level_shift[c] = side, steps.at[t, c], shift
        self.calls.add(t, c, "level", side, int(steps.at[t, c]), begins=True, size=shift)

    def _learn(self, t: int, surprise: Floats, v: Floats, use: Flags, told: Flags, *, all_told: bool) -> None:
        """Let the spreads learn from what is neither called nor far out."""
        s, gained, seen = self.state, self.gained, self.seen
        use = use & (np.abs(surprise) < self.within)
        if self.level_stands:
            use &= s.level_side == 0
        extra = self.ahead.df[t]
        if self.spread.stands or not all_told:
            extra = extra * (told & (s.spread_call == 0))
        gained[0], gained[1] = use, extra
        seen[0], seen[1] = surprise**2 / self.usual_square, v
        known = self.dfs + gained
        learns = gained / known
        learns *= seen - self.ones
        learns += self.ones
        self.vars *= learns
        np.minimum(known, self.df_most, out=self.dfs)

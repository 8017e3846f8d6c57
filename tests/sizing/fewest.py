"""The fewest rounds in which any policy that keeps the rule can finish a lone bore.

One plane, a gauge without error, and a policy that knows exactly from where bores are drawn
(`cellmon.simulate.hand.Hardness`): every doubt that a real bore adds is left out. A round of n strokes
removes n R, log R normal about the hand's rate with the hand's scatter, so a round teaches the same
whatever its n: log R once more. What is known before round k then does not depend on the policy, only how
far it goes does. Of what may be taken under the bounds the most is best: with less left, no later bound
ever asks for more rounds. So the greedy policy here is the best there is, round by round and bore by bore.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from cellmon.simulate.hand import Hardness

Floats = np.ndarray
HALF_UM = 12.0
"""From the target to either limit."""
MOST_ROUNDS = 60


@dataclass(frozen=True, kw_only=True)
class Fewest:
    """Mean rounds, and the chance of loss worked out, by what the policy knows of the hand."""

    rounds: float
    error: float
    risk: float


@dataclass(frozen=True, kw_only=True)
class Bounds:
    """Most chance that a round passes the target, the upper limit, a third of what is left at first."""

    past_target: float = 0.1
    past_upper: float = 0.00004
    past_share: float = 0.1


def fewest_rounds(
    *,
    bores: int,
    seed: int,
    window_um: float,
    bounds: Bounds | None = None,
    rate_known: bool = False,
    scatter_known: bool = False,
    rate_sd: float | None = None,
    test: bool = True,
) -> Fewest:
    """Play bores by the best policy; finished when no more than `window_um` are left to the target.

    The window is what the target leaves down to the lower limit, less the guard band and the bore's form.
    `rate_sd`: the rate is told, wrong by so much (log scale).
    """
    care, of, rng = bounds or Bounds(), Hardness(), np.random.default_rng(seed)
    log_rate = rng.uniform(*np.log(of.rate_um), bores)
    scatter, left = rng.uniform(*of.scatter, bores), rng.uniform(*of.stock_um, bores)
    rates, scatters = _grid(log_rate, scatter, rate_known=rate_known, scatter_known=scatter_known)
    weights, rounds, risk = np.zeros(rates.shape), np.zeros(bores), 0.0
    if rate_sd is not None:
        told = log_rate + rate_sd * rng.standard_normal(bores)
        off = rate_sd * np.repeat(np.linspace(-3.5, 3.5, 41), rates.shape[1] // 41)
        rates, weights = told[:, None] + off, np.tile(-((off / rate_sd) ** 2) / 2, (bores, 1))
    for number in range(MOST_ROUNDS):
        live = np.flatnonzero(left > window_um)
        if not len(live):
            break
        points = weights[live], rates[live], scatters[live]
        go = np.minimum(
            np.log(left[live]) - _quantile(*points, care.past_target),
            np.log(left[live] + HALF_UM) - _quantile(*points, care.past_upper),
        )
        if test and number == 0:
            go = np.minimum(go, np.log(left[live] / 3) - _quantile(*points, care.past_share))
        risk += ndtr((log_rate[live] + go - np.log(left[live] + HALF_UM)) / scatter[live]).sum()
        seen = log_rate[live] + scatter[live] * rng.standard_normal(len(live))
        left[live] -= np.exp(go + seen)
        rounds[live] += 1
        weights[live] -= np.log(scatters[live]) + ((seen[:, None] - rates[live]) / scatters[live]) ** 2 / 2
    return Fewest(rounds=float(rounds.mean()), error=float(rounds.std() / bores**0.5), risk=risk / bores)


def _grid(
    log_rate: Floats, scatter: Floats, *, rate_known: bool, scatter_known: bool
) -> tuple[Floats, Floats]:
    of, bores = Hardness(), len(log_rate)
    rates = log_rate[:, None] if rate_known else np.tile(np.linspace(*np.log(of.rate_um), 41), (bores, 1))
    scatters = scatter[:, None] if scatter_known else np.tile(np.linspace(*of.scatter, 9), (bores, 1))
    shape = rates.shape[1], scatters.shape[1]
    return np.repeat(rates, shape[1], axis=1), np.tile(scatters, (1, shape[0]))


def _quantile(log_weight: Floats, rates: Floats, scatters: Floats, chance: float) -> Floats:
    """Return, for each bore, the log removal a stroke that is passed with a chance."""
    weight = np.exp(log_weight - log_weight.max(axis=1, keepdims=True))
    weight /= weight.sum(axis=1, keepdims=True)
    low, high = np.full(len(rates), rates.min() - 3), np.full(len(rates), rates.max() + 3)
    for _ in range(22):
        middle = (low + high) / 2
        over = (weight * ndtr((rates - middle[:, None]) / scatters)).sum(axis=1) > chance
        low, high = np.where(over, middle, low), np.where(over, high, middle)
    return high

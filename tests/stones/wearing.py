"""Sets that wear as a drift with noise, played stop by stop; what is known of each is its wear so far."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import log_ndtr, ndtr

from cellmon.stones.replacement import ChangeCosts, to_change

DEPTH = 100.0
"""A life is about 100 units; sets differ in drift by 20 %."""
SPREAD = 0.2


def passage(x, *, depth, drift, noise2):
    """Chance that a Wiener path meets the depth within x; inverse Gaussian."""
    s = np.sqrt(noise2 * x)
    late = np.exp(np.minimum(2 * drift * depth / noise2 + log_ndtr((-drift * x - depth) / s), 0.0))
    return np.where(depth <= 0, 1.0, np.minimum(ndtr((drift * x - depth) / s) + late, 1.0))


@dataclass(frozen=True)
class Played:
    """Lives, and when each set would have been changed by looking ahead."""

    lives: np.ndarray
    changed: np.ndarray


def play(*, noise, sets, step, seed, costs, past=None):
    """Play sets to their end; `past` sets teach mean and spread of the drift, else they are known."""
    rng = np.random.default_rng(seed)
    drift = np.maximum(rng.normal(1.0, SPREAD, sets), 0.3)
    mean, var = np.ones(sets), np.full(sets, SPREAD**2)
    if past is not None:
        known = np.maximum(rng.normal(1.0, SPREAD, (sets, past)), 0.3)
        mean = known.mean(axis=1)
        var = known.var(axis=1, ddof=1) * (1 + 1 / past) * (past + 1) / max(past - 1, 1)
    wear, lives, changed = np.zeros(sets), np.full(sets, np.inf), np.full(sets, np.inf)
    fine = max(8, round(8 * step))
    at = 0.0
    while np.isinf(lives).any() and at < 1000:
        precision = 1 / var + at / noise**2
        now = (mean / var + wear / noise**2) / precision
        chance = passage(step, depth=DEPTH - wear, drift=now, noise2=noise**2 + step / precision)
        long_run = costs.planned / (DEPTH / mean)
        due = to_change(chance, costs, cost_per_bore=long_run, step=step)
        changed[due & np.isinf(changed) & np.isinf(lives)] = at
        for _ in range(fine):
            dt = step / fine
            after = wear + drift * dt + noise * np.sqrt(dt) * rng.standard_normal(sets)
            between = np.exp(np.minimum(-2 * (DEPTH - wear) * (DEPTH - after) / (noise**2 * dt), 0.0))
            met = (wear >= DEPTH) | (after >= DEPTH) | (rng.random(sets) < between)
            at += dt
            lives[met & np.isinf(lives)] = at - dt / 2
            wear = after
    return Played(lives=lives, changed=changed)


COSTS = ChangeCosts(planned=1.0, failed=5.0)


@dataclass(frozen=True, kw_only=True)
class PolicyCost:
    """What a way of replacing costs in a run of simulated sets."""

    cost_per_bore: float
    against_clairvoyant: float
    """Times what it costs to change each set at its last good bore."""
    failed: float
    """Share of sets that reached their end."""
    given_up: float
    """Share of life left unused, in the mean over sets changed in time."""


def cost_of_changes(lives: np.ndarray, changed_at: np.ndarray, costs: ChangeCosts) -> PolicyCost:
    """Return what changing sets at given ages costs, against knowing each life beforehand.

    Parameters
    ----------
    lives : array_like, shape (n,)
        Bores to the end of each set.
    changed_at : array_like, shape (n,)
        Bores at which each would be changed; beyond its life it ends first.
    costs : ChangeCosts
        Any currency.

    References
    ----------
    Renewal reward: the long-run cost is the mean cost of a set over its mean bores (Ross, Applied
    Probability Models with Optimization Applications (1970), from memory).
    """
    life, changed = np.asarray(lives, dtype=np.float64), np.asarray(changed_at, dtype=np.float64)
    ended = changed > life
    honed = np.where(ended, life, changed)
    cost = float(np.where(ended, costs.failed, costs.planned).mean() / honed.mean())
    kept = ~ended
    return PolicyCost(
        cost_per_bore=cost,
        against_clairvoyant=cost / (costs.planned / float(life.mean())),
        failed=float(ended.mean()),
        given_up=float((1 - honed[kept] / life[kept]).mean()) if kept.any() else 0.0,
    )

"""Indices of bores that need not be normal, each with its interval and what a claim may rest on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr

from cellmon.capability.choice import LEVELS, UNBOUNDED, Choice, Fit, choose, lifted
from cellmon.capability.families import Floats
from cellmon.capability.indices import Index
from cellmon.capability.intervals import (
    Standing,
    averaged_ends,
    averaged_quantile,
    quantile_indices,
    sampled_index,
    sampled_share,
    sampled_width,
    share_outside,
    stand,
    unsteadied,
)
from cellmon.capability.unbounded import NORMAL
from cellmon.stats.intervals import cp_interval, cpk_interval, one_sided_index_bound, one_sided_index_interval
from cellmon.stats.normal import PER_MILLION
from cellmon.stats.summary import as_series, summarise


@dataclass(frozen=True, kw_only=True, eq=False)
class FittedIndices:
    """Indices by quantiles of the family chosen; None where a limit is missing."""

    choice: Choice
    pp: Index | None
    ppk: Index
    ppl: float | None
    ppu: float | None
    bound: float
    """What Ppk exceeds with the one-sided confidence of claims, if the family is the right one."""
    cautious_bound: float
    """The same where the family may also be another that the bores do not rule out."""
    ppm: Index


def fitted_indices(
    values: ArrayLike,
    *,
    lower: float | None,
    upper: float | None,
    zero_bounded: bool = False,
    worth: float = 1.0,
    confidence: float = 0.95,
    claim_confidence: float = 0.975,
) -> FittedIndices:
    """Return the indices of all bores by the family that explains them.

    Parameters
    ----------
    values : array_like, shape (n,)
        Bores; at least ten.
    lower, upper : float or None
        Limits, at least one.
    zero_bounded : bool
        The feature cannot be negative; it has an upper limit only.
    worth : float
        What the bores are worth beside as many independent ones, at most 1 (see `effective_bores`).
    confidence : float
        Of the two-sided intervals.
    claim_confidence : float
        Of the one-sided bounds.

    Notes
    -----
    Where the normal is chosen, index and interval are those of the normal formulas, exact or nearly so.
    Else the index is by quantiles of the family chosen, and the interval weighs all families.
    The cautious bound of a feature without a bound always weighs the normal, a skewed and a heavy-tailed
    family: a few hundred bores do not tell whether the far tail is normal.

    References
    ----------
    ISO 22514-2 (from memory) for the quantiles; see `intervals` for the averaging.
    """
    if lower is None and upper is None:
        raise ValueError("at least one limit")
    if zero_bounded and lower is not None:
        raise ValueError("a feature that cannot be negative has an upper limit only")
    if not 0 < worth <= 1:
        raise ValueError(f"a worth above 0 and at most 1, not {worth}")
    x = as_series(values)
    choice = choose(x, zero_bounded=zero_bounded)
    x = lifted(x) if zero_bounded else x
    task = _Task(x[None, :], lower, upper, worth, confidence, claim_confidence, zero_bounded)
    if choice.best.family is NORMAL and not zero_bounded:
        return _normal(choice, task)
    return _averaged(choice, task)


@dataclass(frozen=True, eq=False)
class _Task:
    x: Floats
    lower: float | None
    upper: float | None
    worth: float
    confidence: float
    claim_confidence: float
    zero_bounded: bool
    stood: dict[str, Standing] = field(default_factory=dict)

    def standing(self, fits: Sequence[Fit]) -> list[Standing]:
        """Make each fit ready once for all its figures."""
        for fit in fits:
            if fit.family.name not in self.stood:
                self.stood[fit.family.name] = stand(fit.family, self.x, fit.theta, worth=self.worth)
        return [self.stood[fit.family.name] for fit in fits]


def _normal(choice: Choice, task: _Task) -> FittedIndices:
    found = summarise(task.x[0])
    n, df = found.n * task.worth, max(found.n * task.worth - 1, 1.0)
    ppl = None if task.lower is None else (found.mean - task.lower) / (3 * found.sd)
    ppu = None if task.upper is None else (task.upper - found.mean) / (3 * found.sd)
    both = [v for v in (ppl, ppu) if v is not None]
    interval = cpk_interval if len(both) == 2 else one_sided_index_interval
    ends = interval(min(both), n=n, df=df, confidence=task.confidence)
    bound = one_sided_index_bound(min(both), n=n, df=df, confidence=task.claim_confidence)
    pp = None
    if task.lower is not None and task.upper is not None:
        value = (task.upper - task.lower) / (6 * found.sd)
        width = cp_interval(value, df=df, confidence=task.confidence)
        pp = Index(value=value, low=width.low, high=width.high, confidence=task.confidence)
    return FittedIndices(
        choice=choice,
        pp=pp,
        ppk=Index(value=min(both), low=ends.low, high=ends.high, confidence=task.confidence),
        ppl=ppl,
        ppu=ppu,
        bound=bound,
        cautious_bound=min(bound, _cautious(choice, task)),
        ppm=_ppm(choice, task),
    )


def _averaged(choice: Choice, task: _Task) -> FittedIndices:
    best = choice.best
    families = choice.with_a_say
    sampled = [sampled_index(f, lower=task.lower, upper=task.upper) for f in task.standing(families)]
    ends = averaged_ends(sampled, confidence=task.confidence, claim_confidence=task.claim_confidence)
    towards = quantile_indices(best.family, best.theta, lower=task.lower, upper=task.upper)[0]
    own = averaged_quantile([s for s in sampled if s.name == best.family.name], 1 - task.claim_confidence)
    ppk = _index(float(towards.min()), ends.low, ends.high, task.confidence)
    if task.zero_bounded or best.family in LEVELS:
        cautious = float(unsteadied(ends.bound)[0])
    else:
        cautious = _cautious(choice, task)
    return FittedIndices(
        choice=choice,
        pp=_width(choice, task),
        ppk=ppk,
        ppl=None if task.lower is None else float(towards[0]),
        ppu=None if task.upper is None else float(towards[1]),
        bound=float(unsteadied(own)[0]),
        cautious_bound=min(cautious, float(unsteadied(own)[0])),
        ppm=_ppm(choice, task),
    )


def _cautious(choice: Choice, task: _Task) -> float:
    """Return the bound that weighs the normal, a skewed and a heavy-tailed family."""
    families = [fit for fit in choice.fits if fit.family in UNBOUNDED]
    sampled = [sampled_index(f, lower=task.lower, upper=task.upper) for f in task.standing(families)]
    return float(unsteadied(averaged_quantile(sampled, 1 - task.claim_confidence))[0])


def _width(choice: Choice, task: _Task) -> Index | None:
    if task.lower is None or task.upper is None:
        return None
    sampled = [sampled_width(f, lower=task.lower, upper=task.upper) for f in task.standing(choice.with_a_say)]
    ends = averaged_ends(sampled, confidence=task.confidence, claim_confidence=task.claim_confidence)
    low, high = choice.best.family.quantile(np.array([[0.00135, 0.99865]]), choice.best.theta)[0]
    return _index(float((task.upper - task.lower) / (high - low)), ends.low, ends.high, task.confidence)


def _ppm(choice: Choice, task: _Task) -> Index:
    best = choice.best
    families = [best] if best.family is NORMAL and not task.zero_bounded else choice.with_a_say
    sampled = [sampled_share(f, lower=task.lower, upper=task.upper) for f in task.standing(families)]
    ends = averaged_ends(sampled, confidence=task.confidence, claim_confidence=task.claim_confidence)
    value = PER_MILLION * float(share_outside(best.family, best.theta, lower=task.lower, upper=task.upper)[0])
    low, high = (PER_MILLION * float(ndtr(-3 * unsteadied(end)[0])) for end in (ends.high, ends.low))
    return Index(value=value, low=min(low, value), high=max(high, value), confidence=task.confidence)


def _index(value: float, low: Floats, high: Floats, confidence: float) -> Index:
    """Undo the steadied scale; the interval always holds the value beside it."""
    ends = float(unsteadied(low)[0]), float(unsteadied(high)[0])
    return Index(value=value, low=min(ends[0], value), high=max(ends[1], value), confidence=confidence)

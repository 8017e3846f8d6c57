"""How location and spread of a process behave in time, and the estimator that goes with it.

The letters are those of ISO 22514-2 (from memory): A both constant, B the spread moves, C the location
moves, D both move; 1 and 2 tell normal from not normal, C3 is a location that moves by a cause in time
(wear, feedback), C4 one that moves by a cause and at random besides.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr

from cellmon.capability.choice import CLEARLY, UNBOUNDED
from cellmon.capability.equality import bartlett, equal_spreads, rows_of_one_size, variances_of
from cellmon.capability.families import Floats, information_criterion
from cellmon.capability.goodness import FITS, goodness_of_fit
from cellmon.capability.unbounded import NORMAL
from cellmon.errors import NoSpread, NotEnoughData
from cellmon.records import Whole
from cellmon.stats.summary import as_series
from cellmon.words import say, to_say

ALPHA = 0.01
"""Chance that a constant location, or spread, is said to move."""
MATTERS = 0.05
"""Share of the variance of all bores below which a movement of the location does not count."""
SPREAD_MATTERS = 0.1
"""Scatter of the spread, relative to it, below which its movement does not count."""
MANY = 1000
"""Bores of which none are quite normal; then it is enough that no other family is clearly nearer."""
LEAST_SUBGROUPS = 20
BLOCK = 25
"""Bores in a stretch whose spread is compared with the next."""


class TimeModel(StrEnum):
    """Distribution-time models, as ISO 22514-2 names them."""

    A1 = "A1"
    A2 = "A2"
    B = "B"
    C1 = "C1"
    C2 = "C2"
    C3 = "C3"
    C4 = "C4"
    D = "D"


WORDS = {
    TimeModel.A1: to_say("location and spread constant, normal"),
    TimeModel.A2: to_say("location and spread constant, not normal"),
    TimeModel.B: to_say("location constant, spread moves"),
    TimeModel.C1: to_say("location moves at random, all bores normal; spread constant"),
    TimeModel.C2: to_say("location moves at random, all bores not normal; spread constant"),
    TimeModel.C3: to_say("location moves with time, spread constant"),
    TimeModel.C4: to_say("location moves with time and at random besides, spread constant"),
    TimeModel.D: to_say("location and spread move"),
}


class Movement(StrEnum):
    """What may be expected of the time to come."""

    CONSTANT = "constant"
    MODELLED = "moves as modelled"
    NOT_PREDICTABLE = "not predictable"


class Estimator(StrEnum):
    """How location and spread of all bores are taken for the index."""

    MOMENTS = "mean and standard deviation of all bores"
    QUANTILES = "quantiles of all bores: 0.135 %, 50 %, 99.865 %"


@dataclass(frozen=True, kw_only=True)
class Recognised:
    """The model of a stream, and what speaks for it."""

    model: TimeModel
    movement: Movement
    estimator: Estimator
    between_share: float
    """Share of the variance of all bores that comes from a moving location, 0 to 1."""
    location_p: float
    """Chance of subgroup means so far apart, were the location constant."""
    in_time_p: float
    """Chance of neighbouring means so near each other, were they in no order."""
    at_random_p: float
    """Chance of steps between neighbouring means so large, were there none but by chance."""
    spread_p: float
    """Chance of spreads so unequal, were they equal."""
    normal_p: float
    """Chance of all bores being so far from normal, were they normal."""
    sentence: str

    @property
    def in_time(self) -> bool:
        """The location moves with time: neighbouring subgroups tell of one another."""
        return self.model in (TimeModel.C3, TimeModel.C4, TimeModel.D)

    @property
    def spread_moves(self) -> bool:
        """The spread is not the same all the time."""
        return self.model in (TimeModel.B, TimeModel.D)

    @property
    def over_time(self) -> bool:
        """The distribution of all bores is put together over time (see `moving`), not fitted whole."""
        return self.in_time or self.spread_moves


def recognise(values: ArrayLike, subgroup: ArrayLike) -> Recognised:
    """Recognise the distribution-time model of bores in subgroups.

    Parameters
    ----------
    values : array_like, shape (n,)
        Bores in the order they were made, micrometres.
    subgroup : array_like of int, shape (n,)
        The subgroup of each, numbers rising with time; subgroups of fewer than two are left out. At
        least `LEAST_SUBGROUPS`.

    Notes
    -----
    The location moves where the variance between subgroups is significant (F test at `ALPHA`) and at
    least `MATTERS` of the whole. It moves in time where successive means are nearer than in random
    order (von Neumann's ratio), and at random besides where even successive means differ by more than
    the spread inside explains. The spread moves where stretches of `BLOCK` bores differ (Brown and
    Forsythe) or, for normal bores, single subgroups do (Bartlett), and it scatters by `SPREAD_MATTERS`.

    References
    ----------
    ISO 22514-2:2017, clause on distribution-time models, from memory; von Neumann, Annals of
    Mathematical Statistics 12 (1941), 367-395.
    """
    x, labels = _whole(values, subgroup)
    sizes = np.bincount(labels).astype(np.float64)
    means = np.bincount(labels, weights=x) / sizes
    left = x - means[labels]
    squares = np.bincount(labels, weights=left * left).astype(np.float64)
    variances = variances_of(sizes=sizes, means=means, squares=squares)
    error = variances.within_variance / _harmonic(sizes)
    between = max(float(means.var(ddof=1)) - error, 0.0)
    share = between / (between + variances.within_variance)
    in_time = _neumann_p(means)
    at_random = _steps_p(means, error)
    normal_p = goodness_of_fit(NORMAL, x, NORMAL.fit(x[None, :])).p_value
    spread_p, scatter = _spreads(left * np.sqrt(sizes / (sizes - 1))[labels], squares, sizes)
    moves = variances.test.p_value < ALPHA and share >= MATTERS
    unsteady = spread_p < ALPHA and scatter >= SPREAD_MATTERS
    model = _model(
        moves=moves,
        unsteady=unsteady,
        in_time=in_time < ALPHA,
        at_random=at_random < ALPHA,
        normal=lambda: (normal_p >= FITS or x.size > MANY) and _no_better(x),
    )
    return Recognised(
        model=model,
        movement=_movement(model),
        estimator=_estimator(model),
        between_share=share if moves else 0.0,
        location_p=variances.test.p_value,
        in_time_p=in_time,
        at_random_p=at_random,
        spread_p=spread_p,
        normal_p=normal_p,
        sentence=f"{model}: {say(WORDS[model])}",
    )


def _no_better(x: Floats) -> bool:
    """Return whether no other family is clearly nearer than the normal, as `choice` asks too."""
    rows = x[None, :]
    normal, *others = (float(information_criterion(f, rows, f.fit(rows))[0]) for f in UNBOUNDED)
    return normal <= min(others) + CLEARLY


def _whole(values: ArrayLike, subgroup: ArrayLike) -> tuple[Floats, Whole]:
    """Return the bores of whole subgroups in time order, and the subgroup of each from 0 on."""
    x = as_series(values, what="bores in subgroups")
    labels = np.asarray(subgroup)
    if labels.shape != x.shape:
        raise ValueError("a subgroup for every bore")
    _, where, count = np.unique(labels, return_inverse=True, return_counts=True)
    kept = count[where] >= 2
    if (number := int((count >= 2).sum())) < LEAST_SUBGROUPS:
        raise NotEnoughData("subgroups for a distribution-time model", need=LEAST_SUBGROUPS, got=number)
    if x[kept].max() == x[kept].min():
        raise NoSpread("bores in subgroups")
    order = np.argsort(where[kept], kind="stable")
    return x[kept][order], np.unique(where[kept][order], return_inverse=True)[1].astype(np.int64)


def _harmonic(sizes: Floats) -> float:
    return float(sizes.size / (1 / sizes).sum())


def _neumann_p(means: Floats) -> float:
    """Return the chance of so small a mean square successive difference in random order."""
    k = means.size
    ratio = float((np.diff(means) ** 2).sum() / ((means - means.mean()) ** 2).sum())
    return float(ndtr((ratio - 2) / math.sqrt(4 * (k - 2) / (k * k - 1))))


def _steps_p(means: Floats, error: float) -> float:
    """Return the chance of so large steps between neighbouring means of a steady or slow location.

    Counted are steps above the median one, so that a dressing or a correction now and then, which is a
    cause in time, does not pass for chance. Neighbouring steps share a mean: a little more variance.
    """
    large = np.abs(np.diff(means)) > 0.674490 * math.sqrt(2 * error)
    return float(ndtr(-(large.sum() - large.size / 2) / math.sqrt(1.25 * large.size / 4)))


def _spreads(residuals: Floats, squares: Floats, sizes: Floats) -> tuple[float, float]:
    """Return the chance of spreads so unequal, and the scatter of the spread relative to it."""
    blocks = np.array_split(residuals, max(2, residuals.size // BLOCK))
    chances = [equal_spreads(blocks).p_value]
    normal = goodness_of_fit(NORMAL, residuals, NORMAL.fit(residuals[None, :])).p_value
    if normal >= FITS and squares.min() > 0:
        chances.append(bartlett(variances=squares / (sizes - 1), df=sizes - 1).p_value)
    sds = np.concatenate([rows.std(axis=1) for rows in rows_of_one_size(blocks)])
    chance_scatter = 1 / (2 * (residuals.size / len(blocks) * (1 - 1 / _harmonic(sizes))))
    scatter = float(sds.var(ddof=1) / sds.mean() ** 2) - chance_scatter
    return min(1.0, min(chances) * len(chances)), math.sqrt(max(scatter, 0.0))


def _model(
    *, moves: bool, unsteady: bool, in_time: bool, at_random: bool, normal: Callable[[], bool]
) -> TimeModel:
    """Return the model; whether all bores are normal is looked for only where it decides."""
    if unsteady:
        return TimeModel.D if moves else TimeModel.B
    if not moves:
        return TimeModel.A1 if normal() else TimeModel.A2
    if in_time:
        return TimeModel.C4 if at_random else TimeModel.C3
    return TimeModel.C1 if normal() else TimeModel.C2


def _movement(model: TimeModel) -> Movement:
    if model in (TimeModel.A1, TimeModel.A2):
        return Movement.CONSTANT
    return Movement.NOT_PREDICTABLE if model in (TimeModel.B, TimeModel.D) else Movement.MODELLED


def _estimator(model: TimeModel) -> Estimator:
    return Estimator.MOMENTS if model in (TimeModel.A1, TimeModel.C1) else Estimator.QUANTILES

"""Charts of single values that come seldom: limits by probability, of values and of moving ranges.

Limits from 25 values carry what 25 values leave unsure: a value still to come has Student's t
distribution about their mean. The level is watched by `cellmon.charts.level_watch`.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtrit

from cellmon.charts.shewhart import moving_range
from cellmon.errors import NoSpread, NotEnoughData
from cellmon.stats.summary import as_series, summarise

Floats = NDArray[np.float64]
LEAST_VALUES = 20
"""Below so many values nothing is called a limit and no level is called."""
BASELINE_VALUES = 25
LEAST_DIFFERENT = 3
"""So many different values are in a baseline, or the instrument is too coarse for it."""
CHANCE = 1 / 370.4
"""Of each limit to be passed by chance: that of three standard errors of a normal mean."""


class Scale(StrEnum):
    """On which scale values are near normal."""

    PLAIN = "plain"
    LOG = "log"


@dataclass(frozen=True, kw_only=True)
class SingleLimits:
    """Limits of single values and of moving ranges, in the unit of the values.

    On the log scale a moving range is the ratio of a value to the one before, the larger over the smaller.
    """

    scale: Scale
    n: int
    mean: float
    sd: float
    """Both on the scale."""
    lower: float
    centre: float
    upper: float
    range_centre: float
    range_upper: float


def scale_of(values: ArrayLike, *, lower: float | None, upper: float | None) -> Scale:
    """Return the log scale for positive values with an upper limit alone, else the plain one.

    What cannot fall below nought and should be small is skewed to the right; the logarithm takes most
    of that out and keeps a lower limit above nought.

    >>> scale_of([0.3, 0.4], lower=None, upper=1.0)
    <Scale.LOG: 'log'>
    """
    positive = bool((np.asarray(values, dtype=np.float64) > 0).all())
    return Scale.LOG if positive and lower is None and upper is not None else Scale.PLAIN


def on_scale(values: ArrayLike, scale: Scale) -> Floats:
    """Return values on a scale; nan for what has no logarithm."""
    x = np.asarray(values, dtype=np.float64)
    if scale is Scale.PLAIN:
        return x.copy()
    return np.log(x, out=np.full(x.shape, np.nan), where=x > 0)


def off_scale(y: ArrayLike, scale: Scale) -> Floats:
    """Return what `on_scale` was given."""
    x = np.asarray(y, dtype=np.float64)
    return np.exp(x) if scale is Scale.LOG else x.copy()


def single_limits(baseline: ArrayLike, *, scale: Scale, chance: float = CHANCE) -> SingleLimits:
    """Set limits of single values and of moving ranges, each passed by chance once in 1 / `chance`.

    A value to come less the mean of n, over s sqrt(1 + 1/n), has Student's t distribution with n - 1
    degrees of freedom; so has the difference of two to come, over s sqrt 2. Both hold exactly for
    independent values that are normal on the scale.

    Parameters
    ----------
    baseline : array_like, shape (n,)
        Values in their unit, at least 20.
    chance : float
        Of each limit pair, both sides together.

    Raises
    ------
    NotEnoughData, GapInReadings, NoSpread
        With fewer than 20, one that has no place on the scale, fewer than 3 different ones.

    References
    ----------
    Hahn and Meeker, Statistical Intervals (1991), prediction interval for one future observation (from
    memory); checked by simulation.

    Examples
    --------
    >>> found = single_limits([1.0, 2.0, 3.0, 2.0] * 6, scale=Scale.PLAIN)
    >>> round(found.centre, 6), found.n
    (2.0, 24)
    """
    if not 0 < chance < 1:
        raise ValueError(f"a chance between 0 and 1, not {chance}")
    y = as_series(on_scale(baseline, scale), need=LEAST_VALUES, what="values for limits")
    different = len(np.unique(y))
    if different == 1:
        raise NoSpread("values for limits")
    if different < LEAST_DIFFERENT:
        raise NotEnoughData("different values for limits", need=LEAST_DIFFERENT, got=different)
    found = summarise(y)
    t = float(-stdtrit(y.size - 1, chance / 2))
    half, wide = found.sd * t * np.sqrt(1 + 1 / y.size), found.sd * t * np.sqrt(2.0)
    usual = float(moving_range(y)[1:].mean())
    lower, centre, upper, step, widest = (
        float(off_scale(v, scale)) for v in (found.mean - half, found.mean, found.mean + half, usual, wide)
    )
    return SingleLimits(
        scale=scale,
        n=y.size,
        mean=found.mean,
        sd=found.sd,
        lower=lower,
        centre=centre,
        upper=upper,
        range_centre=step,
        range_upper=widest,
    )


def moving_ranges(values: ArrayLike, scale: Scale) -> Floats:
    """Return the range of each value and the one before, on the log scale their ratio; nan for the first.

    >>> moving_ranges([1.0, 2.0, 1.0], Scale.LOG)
    array([nan,  2.,  2.])
    """
    return off_scale(moving_range(on_scale(values, scale)), scale)


def refusal_of(values: ArrayLike, scale: Scale) -> str | None:
    """Return why no limits are set from the first values of a series; None where they are."""
    first = np.asarray(values, dtype=np.float64)[:BASELINE_VALUES]
    try:
        single_limits(first, scale=scale)
    except (NotEnoughData, NoSpread) as refused:
        return str(refused)
    return None

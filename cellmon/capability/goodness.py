"""Whether a fitted family could have made the bores: the test of Anderson and Darling.

The parameters were taken from the same bores, so the tables of a known distribution do not hold.
Where the chance depends on no parameter and is published, the published formula is taken; else it
was found by drawing samples from the family and fitting each anew, and is tabled here.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from cellmon.capability.families import Family, Floats
from cellmon.capability.levels import THREE_LEVELS, TWO_LEVELS
from cellmon.capability.unbounded import HEAVY_TAILED, NORMAL, SHIFTED_LOGNORMAL
from cellmon.capability.zero_bounded import (
    FOLDED_NORMAL,
    GAMMA,
    HALF_NORMAL,
    RAYLEIGH,
    WEIBULL,
)

FITS = 0.05
"""Chance below which a family is taken as ruled out."""
_CHANCES = np.array([0.5, 0.25, 0.15, 0.1, 0.05, 0.025, 0.01, 0.005, 0.001])
_TABLES: dict[str, dict[float, tuple[float, ...]]] = {
    HALF_NORMAL.name: {0.0: (0.532, 0.801, 1.018, 1.201, 1.523, 1.852, 2.253, 2.761, 3.368)},
    RAYLEIGH.name: {0.0: (0.493, 0.737, 0.912, 1.052, 1.334, 1.589, 1.971, 2.227, 2.863)},
    WEIBULL.name: {0.0: (0.346, 0.473, 0.565, 0.639, 0.762, 0.900, 1.072, 1.157, 1.336)},
    GAMMA.name: {
        -1.0: (0.364, 0.510, 0.614, 0.702, 0.849, 1.004, 1.215, 1.379, 1.726),
        0.0: (0.351, 0.487, 0.582, 0.657, 0.790, 0.925, 1.079, 1.181, 1.435),
        1.0: (0.343, 0.471, 0.569, 0.644, 0.764, 0.888, 1.027, 1.173, 1.480),
        2.0: (0.338, 0.468, 0.561, 0.627, 0.747, 0.888, 1.059, 1.215, 1.421),
        3.5: (0.339, 0.469, 0.559, 0.632, 0.745, 0.865, 1.011, 1.140, 1.462),
    },
    FOLDED_NORMAL.name: {
        0.0: (0.429, 0.647, 0.808, 0.973, 1.237, 1.553, 2.006, 2.330, 3.077),
        0.1: (0.388, 0.567, 0.697, 0.811, 1.028, 1.249, 1.543, 1.846, 2.497),
        0.3: (0.337, 0.463, 0.559, 0.640, 0.776, 0.922, 1.154, 1.358, 1.827),
        0.6: (0.327, 0.449, 0.530, 0.597, 0.716, 0.829, 0.971, 1.082, 1.392),
        0.9: (0.344, 0.472, 0.564, 0.636, 0.758, 0.867, 1.031, 1.147, 1.584),
    },
    SHIFTED_LOGNORMAL.name: {
        0.0: (0.278, 0.374, 0.443, 0.498, 0.587, 0.667, 0.778, 0.863, 1.054),
        0.3: (0.284, 0.383, 0.453, 0.503, 0.591, 0.685, 0.817, 0.931, 1.170),
        0.6: (0.288, 0.392, 0.463, 0.522, 0.618, 0.712, 0.846, 0.973, 1.165),
        0.8: (0.296, 0.404, 0.481, 0.535, 0.647, 0.749, 0.896, 1.032, 1.747),
    },
    HEAVY_TAILED.name: {
        0.01: (0.309, 0.421, 0.502, 0.567, 0.683, 0.796, 0.945, 1.037, 1.263),
        0.1: (0.291, 0.395, 0.468, 0.527, 0.618, 0.711, 0.866, 0.969, 1.245),
        0.2: (0.285, 0.385, 0.460, 0.517, 0.615, 0.728, 0.855, 0.959, 1.298),
        0.35: (0.293, 0.404, 0.488, 0.548, 0.674, 0.780, 0.939, 1.074, 1.341),
    },
    TWO_LEVELS.name: {
        1.0: (0.224, 0.298, 0.345, 0.387, 0.468, 0.550, 0.653, 0.758, 0.953),
        2.0: (0.205, 0.264, 0.302, 0.332, 0.383, 0.436, 0.503, 0.548, 0.629),
        3.0: (0.212, 0.273, 0.313, 0.346, 0.395, 0.447, 0.518, 0.567, 0.671),
        5.0: (0.243, 0.319, 0.368, 0.407, 0.470, 0.530, 0.617, 0.665, 0.816),
    },
    THREE_LEVELS.name: {
        1.0: (0.161, 0.207, 0.238, 0.263, 0.306, 0.350, 0.408, 0.462, 0.580),
        2.0: (0.155, 0.193, 0.218, 0.236, 0.272, 0.304, 0.351, 0.380, 0.443),
        3.0: (0.161, 0.203, 0.231, 0.251, 0.285, 0.321, 0.371, 0.401, 0.474),
        5.0: (0.188, 0.238, 0.271, 0.298, 0.341, 0.382, 0.436, 0.484, 0.599),
    },
}
"""By family and shape, the statistic that is exceeded with each of `_CHANCES`: 10,000 samples of 100 drawn
from the family and fitted anew (a parametric bootstrap, numpy seed 1954); tests draw again. The shape is the
family's own, of levels their distance in standard deviations; of a skew its size."""


@dataclass(frozen=True, kw_only=True)
class GoodnessOfFit:
    """The statistic, and the chance of one as large if the bores came from the family."""

    statistic: float
    p_value: float


def anderson_darling(share: Floats) -> Floats:
    """Return the statistic of each row, (rows,), from the shares of a fitted distribution.

    Parameters
    ----------
    share : ndarray, shape (rows, n)
        The distribution at the values, each row in rising order.

    References
    ----------
    Anderson and Darling, Journal of the American Statistical Association 49 (1954), 765-769:
    -n - sum (2 i - 1) (log F_i + log(1 - F_(n + 1 - i))) / n.
    """
    n = share.shape[1]
    inside = np.clip(share, 1e-300, 1 - 1e-16)
    weights = (2 * np.arange(1, n + 1) - 1) / n
    return np.asarray(
        -n - (weights * (np.log(inside) + np.log1p(-inside[:, ::-1]))).sum(axis=1), dtype=np.float64
    )


def normal_p_value(adjusted: float) -> float:
    """Return the chance of a larger statistic for normal bores, mean and spread estimated.

    Parameters
    ----------
    adjusted : float
        The statistic times 1 + 0.75 / n + 2.25 / n^2.

    References
    ----------
    D'Agostino and Stephens, Goodness-of-Fit Techniques (1986), table 4.9.

    >>> round(normal_p_value(0.752), 2)
    0.05
    """
    a = adjusted
    if a >= 0.6:
        p = math.exp(1.2937 - 5.709 * a + 0.0186 * a * a) if a < 13 else 0.0
    elif a > 0.34:
        p = math.exp(0.9177 - 4.279 * a - 1.38 * a * a)
    elif a > 0.2:
        p = 1 - math.exp(-8.318 + 42.796 * a - 59.938 * a * a)
    else:
        p = 1 - math.exp(-13.436 + 101.14 * a - 223.73 * a * a)
    return min(max(p, 0.0), 1.0)


def goodness_of_fit(family: Family, x: Floats, theta: Floats) -> GoodnessOfFit:
    """Test whether the bores could come from the family they were fitted with.

    Rounded values are first spread evenly over the step they were rounded to, else a coarse gauge
    alone would rule out every family.

    Parameters
    ----------
    x : ndarray, shape (n,)
        Values.
    theta : ndarray, shape (1, p)
        The parameters fitted to them.

    References
    ----------
    D'Agostino and Stephens, Goodness-of-Fit Techniques (1986), chapter 4; Stute, Gonzalez Manteiga and
    Presedo Quindimil, Metrika 40 (1993), for the parametric bootstrap.
    """
    values = spread_ties(x)
    n = values.size
    statistic = float(anderson_darling(family.cdf(values[None, :], theta))[0])
    tested = family.of or family  # a rising transform leaves the statistic as it is
    if tested is NORMAL:
        p_value = normal_p_value(statistic * (1 + 0.75 / n + 2.25 / n**2))
        return GoodnessOfFit(statistic=statistic, p_value=p_value)
    rows = _TABLES[tested.name]
    shape = 0.0 if family.shape is None else float(family.shape(theta)[0])
    row = rows[min(rows, key=lambda tabled: abs(tabled - shape))]
    return GoodnessOfFit(statistic=statistic, p_value=tabled_chance(statistic, row))


def tabled_chance(statistic: float, row: Sequence[float]) -> float:
    """Return the chance of a larger statistic from a row of the tables, its logarithm interpolated.

    Beyond the row the last two figures are drawn on.
    """
    at = np.concatenate([[0.0], row])
    logs = np.concatenate([[0.0], np.log(_CHANCES)])
    if statistic > at[-1]:
        slope = (logs[-1] - logs[-3]) / (at[-1] - at[-3])
        return math.exp(float(logs[-1] + slope * (statistic - at[-1])))
    return math.exp(float(np.interp(statistic, at, logs)))


def spread_ties(x: Floats) -> Floats:
    """Return the values in rising order, equal ones spread evenly over their rounding step.

    >>> spread_ties(np.array([2.0, 1.0, 1.0])).tolist()
    [0.75, 1.25, 2.0]
    """
    values = np.sort(x)
    found, first, count = np.unique(values, return_index=True, return_counts=True)
    if len(found) == len(values) or len(found) < 2:
        return values
    step = float(np.diff(found).min())
    place = np.arange(len(values)) - np.repeat(first, count)
    spread = values + step * ((place + 0.5) / np.repeat(count, count) - 0.5)
    lowest = spread[0] if found[0] != 0 else step / 4  # a reading of nought stays above it
    return np.maximum(spread, lowest) if values[0] >= 0 else spread

"""Decisions on conformity that respect the gauge's uncertainty (ISO 14253-1).

Conformity is proven inside the limits drawn in by a guard band, nonconformity outside the limits
moved out by it; between the two neither is proven. The guard band is z standard uncertainties, z the
one-sided normal quantile of the conformance wanted: 1.645 for 95 %, which the standard prints as 1.65
(edition 2017, from memory).
"""

from __future__ import annotations

import math
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cellmon.stats.normal import quantile

Floats = NDArray[np.float64]
Rule = Literal["guarded", "simple"]
CONFORMS, UNDECIDED, DOES_NOT_CONFORM = 1, 0, -1


def guard_factor(conformance: float) -> float:
    """Return the guard band in standard uncertainties.

    >>> round(guard_factor(0.95), 3)
    1.645
    """
    if not 0.5 <= conformance < 1:
        raise ValueError(f"a conformance from 0.5 to below 1, not {conformance}")
    return float(quantile(conformance))


def guard_band(u: ArrayLike, conformance: float = 0.95) -> Floats:
    """Return the guard band at each limit, in the unit of the standard uncertainty u (k = 1)."""
    return np.asarray(guard_factor(conformance) * np.asarray(u, dtype=np.float64), dtype=np.float64)


def verdicts(
    values: ArrayLike,
    *,
    lower: float | None,
    upper: float | None,
    u: ArrayLike | None,
    rule: Rule = "guarded",
    conformance: float = 0.95,
) -> NDArray[np.int8]:
    """Return 1 conforms, 0 undecided, -1 does not conform, for each value.

    Parameters
    ----------
    values : array_like
        What was measured; nan is undecided.
    lower, upper : float or None
        Tolerance limits; None on a side without one.
    u : array_like or None
        Standard uncertainty (k = 1), one or one a value. Where it is nan, or None under the guarded
        rule, nothing is proven: undecided.
    rule : "guarded" or "simple"
        Simple takes no guard band: a value on or inside the limits conforms.

    Examples
    --------
    >>> verdicts([0.5, 12.0, 24.5, 25.5], lower=0.0, upper=24.0, u=0.62)
    array([ 0,  1,  0, -1], dtype=int8)
    """
    if lower is None and upper is None:
        raise ValueError("at least one limit")
    if rule not in ("guarded", "simple"):
        raise ValueError(f"rule guarded or simple, not {rule}")
    x = np.asarray(values, dtype=np.float64)
    guard = np.zeros(()) if rule == "simple" else guard_band(np.nan if u is None else u, conformance)
    low, high = (-np.inf if lower is None else lower), (np.inf if upper is None else upper)
    inside = (x >= low + guard) & (x <= high - guard)
    outside = (x < low - guard) | (x > high + guard)
    return np.asarray(inside.astype(np.int8) - outside.astype(np.int8), dtype=np.int8)


def feature_uncertainty(
    feature: str,
    *,
    common_um: float,
    reading_um: float,
    planes: int,
    directions: int,
    scale: float = 1.0,
) -> float | None:
    """Return the standard uncertainty (k = 1) of a feature of two-point readings, micrometres.

    What all readings of a bore share (master, zero, temperature) moves sizes and cancels in
    differences; what is of each reading alone averages out over those that go in.

    Parameters
    ----------
    feature : str
        A size (average, least, greatest, mid_range; `diameter` is one reading) or a form feature;
        `ovality` is that of the worst plane, `ovality_mean` the mean over planes.
    common_um, reading_um : float
        Standard uncertainties of [measuring].
    planes, directions : int
        Of a whole measurement.
    scale : float
        What a taper was multiplied by to state it over another length.

    Returns
    -------
    float or None
        None where so few planes or directions do not give the feature. That the worst of several is
        picked is not counted: extremes of noisy readings lie a little too far out.

    References
    ----------
    JCGM 100:2008, section 5.1 (propagation of independent inputs); the weights are arithmetic.
    """
    weights = _reading_weights(planes, directions)
    name = feature.replace("-", "_")  # the sheet writes mid-range
    if name not in weights:
        raise ValueError(f"a feature among {', '.join(weights)}, not {feature}")
    share, square = weights[name]
    if square is None:
        return None
    factor = scale if name == "taper" else 1.0
    return abs(factor) * math.hypot(share * common_um, math.sqrt(square) * reading_um)


def _reading_weights(planes: int, directions: int) -> dict[str, tuple[float, float | None]]:
    """Return for each feature the weight of what is shared and the summed squared weights of readings."""
    # an oval is the difference of two readings, or by least squares twice an amplitude: 4 * 2 / directions
    oval = {0: None, 1: None, 2: 2.0}.get(directions, 8.0 / max(directions, 1))
    readings = planes * directions
    return {
        "diameter": (1.0, 1.0),
        "average": (1.0, 1.0 / readings),
        "least": (1.0, 1.0),
        "greatest": (1.0, 1.0),
        "mid_range": (1.0, 0.5 if readings > 1 else 1.0),
        "taper": (0.0, 2.0 / directions if planes >= 2 else None),
        "barrel": (0.0, 1.5 / directions if planes >= 3 else None),
        "ovality": (0.0, oval),
        "ovality_mean": (0.0, None if oval is None else oval / planes),
        "twist": (0.0, None if oval is None or planes < 2 else 2 * oval),
        "roundness": (0.0, 0.5 if directions >= 2 else None),
        "size_range": (0.0, 2.0 if readings >= 2 else None),
    }

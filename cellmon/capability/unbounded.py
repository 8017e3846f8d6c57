"""Families without a bound: the normal, and the shifted lognormal, which is skewed either way."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from scipy.special import gammaln, ndtr, ndtri, stdtr, stdtrit

from cellmon.capability.families import (
    HALF_LOG_TWO_PI,
    Family,
    Floats,
    column,
    in_rows,
    parameter,
    placed,
    scored,
)

# --- normal -------------------------------------------------------------------------------------


def _fit_normal(x: Floats) -> Floats:
    return np.stack([x.mean(axis=1), np.log(x.std(axis=1))], axis=1)


def _normal_log_density(x: Floats, theta: Floats) -> Floats:
    z = scored(x, theta)
    return -z * z / 2 - column(theta, 1) - HALF_LOG_TWO_PI


def _normal_cdf(x: Floats, theta: Floats) -> Floats:
    return np.asarray(ndtr(scored(x, theta)), dtype=np.float64)


def _normal_quantile(p: Floats, theta: Floats) -> Floats:
    return placed(ndtri(p), theta)


# --- shifted lognormal, either way round --------------------------------------------------------
# x = median + scale (exp(skew z) - 1) / skew with z standard normal: the generalised normal of
# Hosking and Wallis. At skew 0 it is the normal; a negative skew is the mirror image.


def _fit_shifted(x: Floats) -> Floats:
    """Find the shift of greatest likelihood; for a given shift the rest is that of a normal sample."""
    mean, sd = x.mean(axis=1, keepdims=True), x.std(axis=1, keepdims=True)
    z = (x - mean) / sd
    low = -np.minimum(0.98 / z.max(axis=1, keepdims=True), 1.5)
    high = np.minimum(-0.98 / z.min(axis=1, keepdims=True), 1.5)
    tries = np.linspace(0.0, 1.0, 17)
    values = np.concatenate([_shift_likelihood(z, low + t * (high - low)) for t in tries], axis=1)
    best = np.clip(values.argmax(axis=1), 1, 15)[:, None]
    step = (high - low) / 16
    low, high = low + (best - 1) * step, low + (best + 1) * step
    u = _golden(lambda at: _shift_likelihood(z, at), low, high)
    y = _unshift(z, u)
    middle, spread = y.mean(axis=1, keepdims=True), y.std(axis=1, keepdims=True)
    skew = u * spread
    median = mean + sd * _expm1_over(u, middle)
    scale = sd * np.exp(u * middle) * spread
    return np.concatenate([median, np.log(scale), skew], axis=1)


def _golden(function: Callable[[Floats], Floats], low: Floats, high: Floats) -> Floats:
    """Return where a function is greatest, by the golden section: each round asks it at one place more.

    References
    ----------
    Kiefer, Proceedings of the American Mathematical Society 4 (1953), 502-506.
    """
    ratio = (math.sqrt(5) - 1) / 2
    at_left, at_right = function(high - ratio * (high - low)), function(low + ratio * (high - low))
    for _ in range(28):
        up = at_right > at_left
        low, high = (
            np.where(up, high - ratio * (high - low), low),
            np.where(up, high, low + ratio * (high - low)),
        )
        fresh = function(np.where(up, low + ratio * (high - low), high - ratio * (high - low)))
        at_left, at_right = np.where(up, at_right, fresh), np.where(up, fresh, at_left)
    return (low + high) / 2


def _unshift(z: Floats, u: Floats) -> Floats:
    """Return log(1 + u z) / u, which is z at u = 0."""
    return _over_shift(z, u, np.log1p(u * z))


def _over_shift(z: Floats, u: Floats, logs: Floats) -> Floats:
    small = np.abs(u) < 1e-6
    if not small.any():
        return np.asarray(logs / u, dtype=np.float64)
    return np.where(small, z - u * z * z / 2, logs / np.where(small, 1.0, u))


def _expm1_over(u: Floats, y: Floats) -> Floats:
    """Return (exp(u y) - 1) / u, which is y at u = 0."""
    small = np.abs(u) < 1e-6
    return np.where(small, y + u * y * y / 2, np.expm1(u * y) / np.where(small, 1.0, u))


def _shift_likelihood(z: Floats, u: Floats) -> Floats:
    logs = np.log1p(u * z)
    y = _over_shift(z, u, logs)
    return np.asarray(
        -np.log(y.std(axis=1, keepdims=True)) - logs.mean(axis=1, keepdims=True), dtype=np.float64
    )


def _shifted_z(x: Floats, theta: Floats) -> Floats:
    """Return the standard normal score of each value; nan beyond the end of the family."""
    z, skew = scored(x, theta), column(theta, 2)
    inside = skew * z > -1
    y = _unshift(np.where(inside, z, 0.0), skew)
    return np.where(inside, y, np.where(z < 0, -40.0, 40.0))


def _shifted_log_density(x: Floats, theta: Floats) -> Floats:
    y, skew = _shifted_z(x, theta), column(theta, 2)
    return -y * y / 2 - skew * y - column(theta, 1) - HALF_LOG_TWO_PI


def _shifted_cdf(x: Floats, theta: Floats) -> Floats:
    return np.asarray(ndtr(_shifted_z(x, theta)), dtype=np.float64)


def _shifted_quantile(p: Floats, theta: Floats) -> Floats:
    z = np.asarray(ndtri(in_rows(p, theta)), dtype=np.float64)
    skew = np.broadcast_to(column(theta, 2), z.shape)
    return placed(_expm1_over(skew, z), theta)


def _skew(theta: Floats) -> Floats:
    return np.abs(theta[:, 2])


# --- heavy tails: Student's t with its place and scale ------------------------------------------
# The third parameter is 1 over the degrees of freedom: 0 would be the normal.

_TAILS = np.array([0.01, 0.04, 0.08, 0.12, 0.16, 0.2, 0.25, 0.3, 0.36, 0.43])
_ROUNDS = 10
_FALLEN = 20.0
"""Loss of log-likelihood from which no heavier tail is tried: it falls ever faster on that side."""


def _fit_heavy(x: Floats) -> Floats:
    """Weigh down far values until place and scale stand, for each of some tails; keep the likeliest.

    Lange, Little and Taylor, Journal of the American Statistical Association 84 (1989), 881-896.
    """
    best = np.full(len(x), -np.inf)
    kept = np.zeros((len(x), 3))
    place, square = np.median(x, axis=1, keepdims=True), x.var(axis=1, keepdims=True)
    apart = (x - place) ** 2
    for tail in _TAILS:
        df = 1 / tail
        for _ in range(_ROUNDS):
            weight = (df + 1) / (df + apart / square)
            place = (weight * x).sum(axis=1, keepdims=True) / weight.sum(axis=1, keepdims=True)
            apart = (x - place) ** 2
            square = (weight * apart).mean(axis=1, keepdims=True)
        theta = np.concatenate([place, np.log(square) / 2, np.full_like(place, tail)], axis=1)
        likelihood = _heavy_log_density(x, theta).sum(axis=1)
        better = likelihood > best
        best, kept = np.where(better, likelihood, best), np.where(better[:, None], theta, kept)
        if (likelihood < best - _FALLEN).all():
            break
    return kept


def _degrees(theta: Floats) -> Floats:
    return 1 / np.clip(column(theta, 2), 1e-3, 0.9)


def _heavy_log_density(x: Floats, theta: Floats) -> Floats:
    df, z = _degrees(theta), scored(x, theta)
    constant = gammaln((df + 1) / 2) - gammaln(df / 2) - np.log(df * np.pi) / 2
    return np.asarray(constant - column(theta, 1) - (df + 1) / 2 * np.log1p(z * z / df), dtype=np.float64)


def _heavy_cdf(x: Floats, theta: Floats) -> Floats:
    return np.asarray(stdtr(_degrees(theta), scored(x, theta)), dtype=np.float64)


def _heavy_quantile(p: Floats, theta: Floats) -> Floats:
    return placed(stdtrit(_degrees(theta), in_rows(p, theta)), theta)


NORMAL = Family(
    name="normal",
    parameters=("mean", "log_sd"),
    bounded=False,
    fit=_fit_normal,
    log_density=_normal_log_density,
    cdf=_normal_cdf,
    quantile=_normal_quantile,
)
SHIFTED_LOGNORMAL = Family(
    name="shifted lognormal",
    parameters=("median", "log_scale", "skew"),
    bounded=False,
    fit=_fit_shifted,
    log_density=_shifted_log_density,
    cdf=_shifted_cdf,
    quantile=_shifted_quantile,
    shape=_skew,
)
HEAVY_TAILED = Family(
    name="heavy-tailed",
    parameters=("median", "log_scale", "tail"),
    bounded=False,
    fit=_fit_heavy,
    log_density=_heavy_log_density,
    cdf=_heavy_cdf,
    quantile=_heavy_quantile,
    shape=parameter(2),
)

"""A family of distributions that bores are drawn from, and what can be told of any of them.

Every function works on many samples at once: values in rows, one row of parameters a sample. That
makes a simulation of thousands of cells, and the bootstrap of a goodness of fit, one call. Scales
are kept as logarithms, so that no step of a derivative leaves the family.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

Floats = NDArray[np.float64]
HALF_LOG_TWO_PI = math.log(2 * math.pi) / 2


@dataclass(frozen=True, kw_only=True, eq=False)
class Family:
    """A family of distributions; parameters in rows, shape (rows, p)."""

    name: str
    parameters: tuple[str, ...]
    bounded: bool
    """Lives above zero only: an unsigned feature such as ovality or roundness."""
    fit: Callable[[Floats], Floats]
    """Values (rows, n) -> the parameters of greatest likelihood (rows, p)."""
    log_density: Callable[[Floats, Floats], Floats]
    """Values (rows, n), parameters (rows, p) -> (rows, n)."""
    cdf: Callable[[Floats, Floats], Floats]
    """Values (rows, n), parameters (rows, p) -> the share at or below, (rows, n)."""
    quantile: Callable[[Floats, Floats], Floats]
    """Shares (rows or 1, m), parameters (rows, p) -> (rows, m)."""
    shape: Callable[[Floats], Floats] | None = None
    """What the goodness of fit depends on, from the parameters, (rows,); None where on nothing."""
    of: Family | None = None
    """The family of the values' transform, where this one is made from it; the goodness of fit is its."""


_STEP = 1e-4
_SCORES = np.linspace(-6.0, 6.0, 121)
_WEIGHTS = np.exp(-(_SCORES**2) / 2)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()
_SHARES = np.asarray(ndtr(_SCORES), dtype=np.float64)[None, :]


def column(theta: Floats, which: int) -> Floats:
    """Return one parameter of each row as a column, shape (rows, 1)."""
    return theta[:, which : which + 1]


def parameter(which: int) -> Callable[[Floats], Floats]:
    """Return what picks one parameter out of rows of them, (rows,)."""
    return lambda theta: theta[:, which]


def scored(x: Floats, theta: Floats) -> Floats:
    """Return values less the first parameter, over the scale whose logarithm is the second."""
    return (x - column(theta, 0)) * np.exp(-column(theta, 1))


def placed(scores: Floats, theta: Floats) -> Floats:
    """Return the values that have these scores: the way back of `scored`."""
    return column(theta, 0) + np.exp(column(theta, 1)) * scores


def in_rows(p: Floats, theta: Floats) -> Floats:
    """Return shares with a row for every row of parameters."""
    return np.broadcast_to(p, (len(theta), p.shape[1]))


def transformed(
    family: Family,
    *,
    name: str,
    parameters: tuple[str, ...],
    to: Callable[[Floats], Floats],
    back: Callable[[Floats], Floats],
    log_slope: Callable[[Floats], Floats],
) -> Family:
    """Return the family of values above zero whose rising transform belongs to another family.

    Parameters
    ----------
    to, back : callable
        The transform of a value, and the way back.
    log_slope : callable
        Logarithm of the slope of `to` at a value: what the density is multiplied by.
    """
    return Family(
        name=name,
        parameters=parameters,
        bounded=True,
        fit=lambda x: family.fit(to(x)),
        log_density=lambda x, theta: family.log_density(to(x), theta) + log_slope(x),
        cdf=lambda x, theta: family.cdf(to(x), theta),
        quantile=lambda p, theta: back(family.quantile(p, theta)),
        shape=family.shape,
        of=family,
    )


def log_likelihood(family: Family, x: Floats, theta: Floats) -> Floats:
    """Return the log-likelihood of each row of values, (rows,)."""
    return np.asarray(family.log_density(x, theta).sum(axis=1), dtype=np.float64)


def information_criterion(family: Family, x: Floats, theta: Floats) -> Floats:
    """Return Akaike's criterion with the correction for small samples, (rows,); small is good.

    References
    ----------
    Hurvich and Tsai, Biometrika 76 (1989): -2 log L + 2 p + 2 p (p + 1) / (n - p - 1).
    """
    p, n = theta.shape[1], x.shape[1]
    penalty = 2 * p + 2 * p * (p + 1) / max(n - p - 1, 1)
    return np.asarray(penalty - 2 * log_likelihood(family, x, theta), dtype=np.float64)


def bayes_criterion(family: Family, x: Floats, theta: Floats) -> Floats:
    """Return the criterion of Schwarz, -2 log L + p log n, (rows,); small is good.

    References
    ----------
    Schwarz, Annals of Statistics 6 (1978), 461-464.
    """
    penalty = theta.shape[1] * np.log(x.shape[1])
    return np.asarray(penalty - 2 * log_likelihood(family, x, theta), dtype=np.float64)


def covariance(family: Family, theta: Floats) -> Floats:
    """Return the covariance of the fitted parameters times n, (rows, p, p).

    The inverse of the expected information of one value: the mean product of the scores, over values
    at the quantiles of evenly spaced normal scores (the trapezoid rule, exact far beyond what a
    sample can tell).

    References
    ----------
    Cramer, Mathematical Methods of Statistics (1946), chapter 33 (maximum likelihood).
    """
    information = _information(family, theta)
    # levels that lie on one another tell nothing of one parameter: its error is large, not infinite
    ridge = 1e-7 * np.diagonal(information, axis1=1, axis2=2) + 1e-30
    return np.asarray(
        np.linalg.inv(information + ridge[:, :, None] * np.eye(theta.shape[1])), dtype=np.float64
    )


def bias(family: Family, theta: Floats, inverse: Floats) -> Floats:
    """Return how far fitted parameters lie off on the average, times n, (rows, p), to the first order.

    `inverse` is their `covariance`.

    References
    ----------
    Cox and Snell, Journal of the Royal Statistical Society B 30 (1968), 248-275: with inverse
    information v, v_sr v_tu (d_u k_rt + k_rt,u) / 2 summed, where k_rt is less the information and
    k_rt,u the mean of second derivative times score.
    """
    x = family.quantile(_SHARES, theta)
    wide = 10 * _STEP
    changes = gradient(lambda t: -_information(family, t), theta, step=wide)  # (rows, u, r, t)

    def density(moved: Floats) -> Floats:
        return family.log_density(repeated(x, moved), moved)

    score = gradient(density, theta)
    second = gradient(lambda t: gradient(density, t, step=wide), theta, step=wide)  # (rows, t, r, m)
    product = np.einsum("atrm,aum,m->aurt", second, score, _WEIGHTS)
    return np.asarray(
        np.einsum("asr,atu,aurt->as", inverse, inverse, (changes + product) / 2), dtype=np.float64
    )


def divergence(family: Family, theta: Floats, other: Floats) -> Floats:
    """Return the mean log-likelihood that a value of one member loses under another, (rows,).

    References
    ----------
    Kullback and Leibler, Annals of Mathematical Statistics 22 (1951), 79-86.
    """
    x = family.quantile(_SHARES, theta)
    lost = family.log_density(x, theta) - family.log_density(x, other)
    return np.asarray(np.maximum(lost @ _WEIGHTS, 0.0), dtype=np.float64)


def gradient(function: Callable[[Floats], Floats], theta: Floats, *, step: float = _STEP) -> Floats:
    """Return the derivatives of a function of parameters, (rows, p, and what the function adds).

    The function is asked once, with the rows moved each way one below the other; see `repeated`.
    """
    p = theta.shape[1]
    moves = step * np.concatenate([np.eye(p), -np.eye(p)])
    found = function((theta + moves[:, None, :]).reshape(-1, p))
    up, down = found.reshape(2, p, len(theta), *found.shape[1:])
    return np.ascontiguousarray(np.moveaxis((up - down) / (2 * step), 0, 1))


def repeated(rows: Floats, theta: Floats) -> Floats:
    """Return what belongs to each row of parameters, once for each time that these come moved."""
    return np.tile(rows, (len(theta) // len(rows), *[1] * (rows.ndim - 1)))


def _information(family: Family, theta: Floats) -> Floats:
    x = family.quantile(_SHARES, theta)
    scores = gradient(lambda moved: family.log_density(repeated(x, moved), moved), theta)
    scores = scores - (scores @ _WEIGHTS)[:, :, None]
    return np.asarray(np.einsum("rpm,rqm,m->rpq", scores, scores, _WEIGHTS), dtype=np.float64)

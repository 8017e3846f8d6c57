"""Families above zero, for unsigned features: ovality, roundness, cylindricity, and their like."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammainc, gammaincinv, gammaln, ndtr, ndtri, polygamma, psi

from cellmon.capability.bisection import bisected
from cellmon.capability.families import (
    HALF_LOG_TWO_PI,
    Family,
    Floats,
    column,
    in_rows,
    parameter,
    transformed,
)
from cellmon.capability.unbounded import NORMAL

# --- half normal and Rayleigh: one scale --------------------------------------------------------


def _fit_half_normal(x: Floats) -> Floats:
    return np.asarray(np.log((x * x).mean(axis=1, keepdims=True)) / 2, dtype=np.float64)


def _half_normal_log_density(x: Floats, theta: Floats) -> Floats:
    z = x * np.exp(-theta)
    return np.asarray(math.log(2) - HALF_LOG_TWO_PI - theta - z * z / 2, dtype=np.float64)


def _half_normal_cdf(x: Floats, theta: Floats) -> Floats:
    return np.asarray(2 * ndtr(x * np.exp(-theta)) - 1, dtype=np.float64)


def _half_normal_quantile(p: Floats, theta: Floats) -> Floats:
    return np.asarray(-np.exp(theta) * ndtri((1 - p) / 2), dtype=np.float64)


def _fit_rayleigh(x: Floats) -> Floats:
    return _fit_half_normal(x) - math.log(2) / 2


def _rayleigh_log_density(x: Floats, theta: Floats) -> Floats:
    z = x * np.exp(-theta)
    return np.asarray(np.log(z) - theta - z * z / 2, dtype=np.float64)


def _rayleigh_cdf(x: Floats, theta: Floats) -> Floats:
    z = x * np.exp(-theta)
    return np.asarray(-np.expm1(-z * z / 2), dtype=np.float64)


def _rayleigh_quantile(p: Floats, theta: Floats) -> Floats:
    return np.asarray(np.exp(theta) * np.sqrt(-2 * np.log1p(-p)), dtype=np.float64)


# --- Weibull: log of scale and of shape ---------------------------------------------------------


def _fit_weibull(x: Floats) -> Floats:
    """Solve the likelihood equation of the shape by Newton's steps in its logarithm."""
    logs = np.log(x)
    middle = logs.mean(axis=1, keepdims=True)
    logs = logs - middle
    log_shape = np.log(1.28255 / np.maximum(logs.std(axis=1, keepdims=True), 1e-9))
    for _ in range(60):
        shape = np.exp(log_shape)
        weight = np.exp(np.minimum(shape * logs, 500.0))
        total = weight.sum(axis=1, keepdims=True)
        first = (weight * logs).sum(axis=1, keepdims=True) / total
        second = (weight * logs * logs).sum(axis=1, keepdims=True) / total
        slope = shape * (second - first * first) + 1 / shape
        step = np.clip((first - 1 / shape) / slope, -1.0, 1.0)
        log_shape = log_shape - step
        if np.abs(step).max() < 1e-10:
            break
    shape = np.exp(log_shape)
    weight = np.exp(np.minimum(shape * logs, 500.0))
    log_scale = np.log(weight.mean(axis=1, keepdims=True)) / shape + middle
    return np.concatenate([log_scale, log_shape], axis=1)


def _weibull_log_density(x: Floats, theta: Floats) -> Floats:
    log_shape = column(theta, 1)
    power = np.exp(log_shape) * (np.log(x) - column(theta, 0))
    return np.asarray(log_shape - np.log(x) + power - np.exp(np.minimum(power, 500.0)), dtype=np.float64)


def _weibull_cdf(x: Floats, theta: Floats) -> Floats:
    power = np.exp(column(theta, 1)) * (np.log(x) - column(theta, 0))
    return np.asarray(-np.expm1(-np.exp(np.minimum(power, 500.0))), dtype=np.float64)


def _weibull_quantile(p: Floats, theta: Floats) -> Floats:
    log_power = np.log(-np.log1p(-p)) * np.exp(-column(theta, 1))
    return np.asarray(np.exp(column(theta, 0) + log_power), dtype=np.float64)


# --- gamma: log of mean and of shape ------------------------------------------------------------


def _fit_gamma(x: Floats) -> Floats:
    """Solve log k - psi(k) = log mean - mean log by Newton's steps (Minka, 2002, for the start)."""
    mean = x.mean(axis=1, keepdims=True)
    excess = np.maximum(np.log(mean) - np.log(x).mean(axis=1, keepdims=True), 1e-12)
    shape = (3 - excess + np.sqrt((excess - 3) ** 2 + 24 * excess)) / (12 * excess)
    for _ in range(40):
        wrong = np.log(shape) - psi(shape) - excess
        step = np.clip(wrong / (1 - shape * polygamma(1, shape)), -1.0, 1.0)
        shape = shape * np.exp(-step)
        if np.abs(step).max() < 1e-12:
            break
    return np.concatenate([np.log(mean), np.log(shape)], axis=1)


def _gamma_log_density(x: Floats, theta: Floats) -> Floats:
    shape = np.exp(column(theta, 1))
    scaled = shape * x * np.exp(-column(theta, 0))
    return np.asarray(shape * np.log(scaled) - scaled - np.log(x) - gammaln(shape), dtype=np.float64)


def _gamma_cdf(x: Floats, theta: Floats) -> Floats:
    shape = np.exp(column(theta, 1))
    return np.asarray(gammainc(shape, shape * x * np.exp(-column(theta, 0))), dtype=np.float64)


def _gamma_quantile(p: Floats, theta: Floats) -> Floats:
    shape = np.exp(column(theta, 1))
    return np.asarray(gammaincinv(shape, p) / shape * np.exp(column(theta, 0)), dtype=np.float64)


# --- folded normal ------------------------------------------------------------------------------
# The size of a signed normal feature. Level m and spread s of the signed one cannot be told apart
# to the first order where m is small; log sqrt(m^2 + s^2) and (m^2 / (m^2 + s^2))^2 can.

_LEAST_FOLD, _MOST_FOLD = 2e-4, 0.9999  # the least leaves room for a step of a derivative


def _signed(theta: Floats) -> tuple[Floats, Floats]:
    """Return level and spread of the signed feature."""
    root = np.sqrt(np.clip(column(theta, 1), 0.0, _MOST_FOLD))
    size = np.exp(column(theta, 0))
    return size * np.sqrt(root), size * np.sqrt(1 - root)


def _fit_folded(x: Floats) -> Floats:
    """Bisect the likelihood equation mean(x tanh(m x / s^2)) = m, with m^2 + s^2 = mean(x^2)."""
    square = (x * x).mean(axis=1, keepdims=True)
    z = x / np.sqrt(square)
    low, high = np.full_like(square, 1e-3), np.full_like(square, _MOST_FOLD**0.25)

    def short(level: Floats) -> NDArray[np.bool_]:
        pull = np.tanh(np.minimum(level / (1 - level**2) * z, 50.0))
        return np.asarray((z * pull).mean(axis=1, keepdims=True) > level)

    fold = np.maximum(bisected(short, low=low, high=high, rounds=34) ** 4, _LEAST_FOLD)
    return np.concatenate([np.log(square) / 2, fold], axis=1)


def _folded_log_density(x: Floats, theta: Floats) -> Floats:
    level, spread = _signed(theta)
    near, far = (x - level) / spread, (x + level) / spread
    both = np.logaddexp(-near * near / 2, -far * far / 2)
    return np.asarray(both - np.log(spread) - HALF_LOG_TWO_PI, dtype=np.float64)


def _folded_cdf(x: Floats, theta: Floats) -> Floats:
    level, spread = _signed(theta)
    return np.asarray(ndtr((x - level) / spread) - ndtr((-x - level) / spread), dtype=np.float64)


def _folded_quantile(p: Floats, theta: Floats) -> Floats:
    level, spread = _signed(theta)
    p = in_rows(p, theta)

    def short(size: Floats) -> NDArray[np.bool_]:
        # upper tails keep their digits
        beyond = ndtr((level - size) / spread) + ndtr((-level - size) / spread)
        return np.asarray(beyond > 1 - p)

    return bisected(
        short, low=np.zeros(p.shape), high=np.broadcast_to(level + 9 * spread, p.shape), rounds=50
    )


LOGNORMAL = transformed(
    NORMAL,
    name="lognormal",
    parameters=("mean_log", "log_sd_log"),
    to=np.log,
    back=np.exp,
    log_slope=lambda x: -np.log(x),
)
HALF_NORMAL = Family(
    name="half normal",
    parameters=("log_scale",),
    bounded=True,
    fit=_fit_half_normal,
    log_density=_half_normal_log_density,
    cdf=_half_normal_cdf,
    quantile=_half_normal_quantile,
)
RAYLEIGH = Family(
    name="Rayleigh",
    parameters=("log_scale",),
    bounded=True,
    fit=_fit_rayleigh,
    log_density=_rayleigh_log_density,
    cdf=_rayleigh_cdf,
    quantile=_rayleigh_quantile,
)
WEIBULL = Family(
    name="Weibull",
    parameters=("log_scale", "log_shape"),
    bounded=True,
    fit=_fit_weibull,
    log_density=_weibull_log_density,
    cdf=_weibull_cdf,
    quantile=_weibull_quantile,
)
GAMMA = Family(
    name="gamma",
    parameters=("log_mean", "log_shape"),
    bounded=True,
    fit=_fit_gamma,
    log_density=_gamma_log_density,
    cdf=_gamma_cdf,
    quantile=_gamma_quantile,
    shape=parameter(1),
)
NAKAGAMI = transformed(
    GAMMA,
    name="Nakagami",
    parameters=("log_mean_square", "log_shape"),
    to=np.square,
    back=np.sqrt,
    log_slope=lambda x: np.log(2 * x),
)
"""Its square is gamma; half normal, Rayleigh and Maxwell are members."""
FOLDED_NORMAL = Family(
    name="folded normal",
    parameters=("log_size", "fold"),
    bounded=True,
    fit=_fit_folded,
    log_density=_folded_log_density,
    cdf=_folded_cdf,
    quantile=_folded_quantile,
    shape=parameter(1),
)

"""Plain arithmetic on simulated readings, written apart from the code under test."""

from zoneinfo import ZoneInfo

import numpy as np

ZONE = ZoneInfo("Europe/Berlin")
D2 = 2.326  # n = 5: NIST/SEMATECH e-Handbook, section 6.3.2.1, and every printed table of factors
A2, D4 = 0.577, 2.114  # n = 5, the same tables


def at(day, hour, minute=0):
    """A moment of the week in UTC; all of these lie before the clocks go back."""
    return np.datetime64(f"2026-10-{day:02d}T{hour:02d}:{minute:02d}") - np.timedelta64(2, "h")


def blocks(values, bores=4):
    """Rows of readings as (blocks, bores, ...)."""
    return values.reshape(-1, bores, *values.shape[1:])


def between(times, start, end):
    return (times >= start) & (times < end)


def size(um):
    return np.nanmean(um, axis=(-2, -1))


def taper(um):
    return np.nanmean(um[..., 0, :], axis=-1) - np.nanmean(um[..., -1, :], axis=-1)


def ovality(um):
    return np.nanmean(um[..., 0] - um[..., 1], axis=-1)


def size_range(um):
    return np.nanmax(um, axis=(-2, -1)) - np.nanmin(um, axis=(-2, -1))


def subgroups(values):
    """Subgroups of 5 consecutive blocks, shape (k, 5, bores)."""
    whole = len(values) // 5 * 5
    return values[:whole].reshape(-1, 5, values.shape[1])

"""Columns of records from what the virtual cell computed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cellmon.records import Numbers, Texts, Times


def texts(values: Iterable[str | None]) -> Texts:
    """Return words as an object array, None where nothing stands."""
    given = list(values)
    found = np.empty(len(given), dtype=object)
    found[:] = given
    return found


def named(names: Sequence[str], index: ArrayLike) -> Texts:
    """Return, for each index, its name; any shape in, flat out."""
    found: Texts = texts(names)[np.asarray(index).ravel()]
    return found


def same(value: str, size: int) -> Texts:
    """Return one word as often as asked."""
    return np.full(size, value, dtype=object)


def times(values: Iterable[np.datetime64]) -> Times:
    """Return moments as `datetime64[us]`, whole seconds."""
    found: Times = np.array(list(values), dtype="datetime64[s]").astype("datetime64[us]")
    return found


def rounded(values: ArrayLike, step: float) -> NDArray[np.float64]:
    """Return values to the nearest step, without the dust of binary fractions."""
    found: NDArray[np.float64] = np.round(np.round(np.asarray(values) / step) * step, 9)
    return found


def numbers(values: Iterable[float]) -> Numbers:
    """Return floats as an array."""
    return np.array(list(values), dtype=np.float64)

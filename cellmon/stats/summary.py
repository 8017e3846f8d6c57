"""Mean, standard deviation and serial correlation of one series, in two passes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cellmon.errors import GapInReadings, NotEnoughData


@dataclass(frozen=True, kw_only=True)
class Summary:
    """A series in four figures, in the unit of its values."""

    n: int
    mean: float
    sd: float
    """Divisor n - 1."""
    r1: float
    """Correlation with the value before; nan where the values do not differ."""


def as_series(values: ArrayLike, *, need: int = 2, what: str = "values") -> NDArray[np.float64]:
    """Return values as floats of one dimension, or refuse them.

    Raises
    ------
    TypeError
        When they have more or fewer dimensions than one.
    NotEnoughData, GapInReadings
        When there are fewer than `need`, or one is nan or infinite.
    """
    x = np.asarray(values, dtype=np.float64)
    if x.ndim != 1:
        raise TypeError(f"expected one dimension, got {x.ndim}")
    if x.size < need:
        raise NotEnoughData(what, need=need, got=x.size)
    if not np.isfinite(x).all():
        raise GapInReadings(what, position=int(np.flatnonzero(~np.isfinite(x))[0]))
    return x


def summarise(x: ArrayLike) -> Summary:
    """Summarise a series of at least two values.

    The mean is taken twice, the second time of what the first left over, and squares are summed of
    deviations only, so that values with many equal leading digits keep theirs.

    Raises
    ------
    NotEnoughData, GapInReadings
        See `as_series`.

    References
    ----------
    NIST Statistical Reference Datasets, univariate summary statistics, for the definitions:
    r1 = sum d_i d_(i+1) / sum d_i^2.

    Examples
    --------
    >>> summarise([1.0, 2.0, 3.0, 4.0])
    Summary(n=4, mean=2.5, sd=1.2909944487358056, r1=0.25)
    """
    values = as_series(x)
    rough = values.mean()
    mean = rough + (values - rough).mean()
    deviation = values - mean
    squares = float(deviation @ deviation)
    return Summary(
        n=values.size,
        mean=float(mean),
        sd=float(np.sqrt(squares / (values.size - 1))),
        r1=float(deviation[:-1] @ deviation[1:]) / squares if squares > 0 else float("nan"),
    )

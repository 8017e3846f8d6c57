"""When a spindle will have honed so many bores: planned shifts as a clock that stands while it is closed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Times = NDArray[np.datetime64]

_US = "datetime64[us]"


@dataclass(frozen=True, kw_only=True, eq=False)
class Output:
    """The bores one spindle is planned to hone, shift by shift, from a moment on.

    Attributes
    ----------
    starts, ends : ndarray of datetime64[us], shape (n,)
        Of the shifts that are worked, in order.
    bores : ndarray, shape (n,)
        Planned in each, above 0.
    """

    starts: Times
    ends: Times
    bores: Floats

    @property
    def total(self) -> float:
        """Bores planned in all of them."""
        return float(self.bores.sum())

    def at(self, bores: ArrayLike) -> Times:
        """Return when so many bores will have been honed; not-a-time beyond the last shift."""
        x = np.asarray(bores, dtype=np.float64)
        before = np.concatenate([[0.0], np.cumsum(self.bores)])
        k = np.clip(np.searchsorted(before[1:], x, side="left"), 0, len(self.bores) - 1)
        part = np.clip((x - before[k]) / self.bores[k], 0.0, 1.0)
        length = (self.ends[k] - self.starts[k]).astype(np.int64)
        found = self.starts[k] + (part * length).astype("timedelta64[us]")
        return np.where(x <= self.total * (1 + 1e-12), found, np.datetime64("NaT", "us"))

    def by(self, moments: ArrayLike) -> Floats:
        """Return how many bores will have been honed by some moments."""
        t = np.asarray(moments, dtype=_US).astype(np.int64)
        edges = np.column_stack([self.starts, self.ends]).astype(_US).astype(np.int64).ravel()
        done = np.cumsum(self.bores)
        honed = np.column_stack([done - self.bores, done]).ravel()
        return np.asarray(np.interp(t, edges, honed), dtype=np.float64)


def output(
    starts: ArrayLike, ends: ArrayLike, worked: ArrayLike, *, bores_per_shift: float, now: np.datetime64
) -> Output:
    """Return the clock of one spindle from now on; of the shift that runs now, the share that is left.

    Parameters
    ----------
    starts, ends : array_like of datetime64, shape (n,)
        Of every shift, in order.
    worked : array_like of bool, shape (n,)
        Whether it is worked: by the calendar, and not on a closed day.
    bores_per_shift : float
        Bores planned per worked shift of this spindle, above 0.
    now : datetime64
        The moment from which bores count.

    References
    ----------
    A count by hand over a week with a closed day.

    Examples
    --------
    >>> hour = np.timedelta64(1, "h")
    >>> start = np.array(["2026-03-02T06:00", "2026-03-02T14:00"], dtype="datetime64[us]")
    >>> clock = output(start, start + 8 * hour, [True, True], bores_per_shift=100, now=start[0] + 4 * hour)
    >>> clock.total, str(clock.at(100.0))[:16]
    (150.0, '2026-03-02T18:00')
    """
    if not bores_per_shift > 0:
        raise ValueError(f"more than 0 bores per shift, not {bores_per_shift:g}")
    start, end = np.asarray(starts, dtype=_US), np.asarray(ends, dtype=_US)
    kept = np.asarray(worked, dtype=bool) & (end > now)
    start, end = start[kept], end[kept]
    left = np.maximum(start, now)
    share = (end - left) / (end - start)
    return Output(starts=left, ends=end, bores=np.asarray(bores_per_shift * share, dtype=np.float64))

"""Wear between two measurements of a set, from where its expander stands when the size is reached."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

AROUND = 50
"""Bores by which a measurement may lie before the first position or after the last."""
BLOCK = 20
"""Bores whose median is one position; a single odd one does not show in it."""
LEAST = 6
JUMP = 8.0
"""A block this many of the blocks' own steps from the one before has jumped: a slip, a chip, a zero."""
SCATTERED = 5.0
"""A block that scatters so many times the usual holds bores of another set: left out."""
LEAST_RATIO = 3.0
"""The cone's ratio must be known so many of its standard deviations from 0."""


@dataclass(frozen=True, kw_only=True)
class FeedWear:
    """Mean wear since the last measurement, as the expander tells it.

    `um_per_um` is how far the expander goes for one µm of wear; `jumps` counts steps of it without a
    change of stones, which were taken out.
    """

    wear_um: float
    sd_um: float
    um_per_um: float
    jumps: int


def feed_wear(
    bores: ArrayLike, feed_um: ArrayLike, *, measured_bores: ArrayLike, measured_um: ArrayLike
) -> FeedWear | None:
    """Tell the wear of a set since it was measured last from its expander's position.

    Parameters
    ----------
    bores, feed_um : array_like, shape (n,)
        Bores of the set, rising, and the position at size; of this set alone.
    measured_bores, measured_um : array_like, shape (k,)
        Measurements of this set: bores and mean wear.

    Returns
    -------
    FeedWear or None
        None with fewer than two measurements among the positions, or where wear does not move them.

    References
    ----------
    Position at size less that of a new set is summed radial wear times the cone's ratio: trade
    knowledge, common practice. The ratio by least squares through these measurements.

    Examples
    --------
    >>> import numpy as np
    >>> n = np.arange(3000.0)
    >>> told = feed_wear(n, 2 * 0.1 * n, measured_bores=[500, 2000], measured_um=[50, 200])
    >>> round(told.wear_um), told.um_per_um
    (99, 2.0)
    """
    n, e = np.asarray(bores, dtype=np.float64), np.asarray(feed_um, dtype=np.float64)
    known = np.isfinite(n) & np.isfinite(e)
    walk = _blocks(n[known], e[known])
    if len(walk.at) < LEAST:
        return None
    at, worn = np.asarray(measured_bores, dtype=np.float64), np.asarray(measured_um, dtype=np.float64)
    used = (at >= walk.at[0] - AROUND) & (at <= walk.at[-1] + AROUND)
    if used.sum() < 2 or not used[-1]:
        return None
    there = np.array([walk.near(b) for b in at[used]])
    x, y = worn[used] - worn[used].mean(), there - there.mean()
    if float((x**2).sum()) == 0.0:
        return None
    ratio = float((x * y).sum() / (x**2).sum())
    off = float(np.sqrt(((y - ratio * x) ** 2).sum() / max(len(x) - 2, 1)))
    spread = max(off, walk.noise)
    ratio_sd = spread / float(np.sqrt((x**2).sum()))
    if ratio <= LEAST_RATIO * ratio_sd:
        return None
    wear = (float(walk.steady[-1]) - float(there[-1])) / ratio
    since = walk.jumped[walk.at > at[-1]]
    unsure = float(np.abs(since).sum()) / ratio  # a jump may have been wear after all
    sd = float(np.sqrt(2 * (spread / ratio) ** 2 + (wear * ratio_sd / ratio) ** 2 + unsure**2))
    return FeedWear(wear_um=wear, sd_um=sd, um_per_um=ratio, jumps=int((walk.jumped != 0).sum()))


@dataclass(frozen=True, kw_only=True, eq=False)
class _Walk:
    """Medians of blocks of bores: where, the position without its jumps, the jump before each, the noise."""

    at: Floats
    steady: Floats
    jumped: Floats
    noise: float

    def near(self, bores: float) -> float:
        """Return the position at some bores, between the blocks on both sides."""
        return float(np.interp(bores, self.at, self.steady))


def _blocks(n: Floats, e: Floats) -> _Walk:
    """Return the walk of positions; blocks that scatter far more than the others are left out."""
    count = len(n) // BLOCK
    if count < 2:
        nothing = np.zeros(0)
        return _Walk(at=nothing, steady=nothing, jumped=nothing, noise=0.0)
    x, y = (v[-count * BLOCK :].reshape(count, BLOCK) for v in (n, e))
    at, middle = x.mean(axis=1), np.median(y, axis=1)
    spread = np.median(np.abs(y - middle[:, None]), axis=1)
    sound = spread <= SCATTERED * max(float(np.median(spread)), 1e-9)
    at, middle = at[sound], middle[sound]
    moved, honed = np.diff(middle), np.diff(at)
    slope = float(np.median(moved / honed)) if len(moved) else 0.0
    off = moved - slope * honed
    scale = max(1.4826 * float(np.median(np.abs(off))) if len(off) else 0.0, 1e-9)
    jumped = np.concatenate(
        ([0.0], np.where(np.abs(off) > np.maximum(JUMP * scale, slope * honed), off, 0.0))
    )
    return _Walk(at=at, steady=middle - np.cumsum(jumped), jumped=jumped, noise=scale)

"""Measured thickness becomes wear: what a reading repeats to, what a set wore, and where it jumped."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

REPEATS = 5
"""Degrees of freedom from which a repeatability is believed."""
APART = 5.0
"""A place this many standard deviations from the others of its set has jumped."""
SHARE_APART = 0.3
"""And by at least this share of what the set wore."""
SETS_APART = 4.0
"""A set is quicker or slower than its own line by this many standard deviations: a step."""


class Jump(StrEnum):
    """What an increment is that is no plain wear."""

    CHIP = "chip"
    """One place lost far more than the others."""
    STEP = "step"
    """The whole set lost or gained at once: a slip of the measurement, a dressing that went deep."""
    GREW = "grew"
    """Thicker than before, by more than the readings repeat to."""


@dataclass(frozen=True, kw_only=True)
class Repeatability:
    """What one measured thickness repeats to.

    `from_` is `repeats`, or `scatter`: of each place about its own line.
    """

    sd_um: float
    df: int
    from_: str

    @property
    def least_wear_um(self) -> float:
        """A smaller difference of two readings of one place says nothing (95 %)."""
        return 1.96 * float(np.sqrt(2)) * self.sd_um


@dataclass(frozen=True, kw_only=True, eq=False)
class Thickness:
    """Rounds of measurements of one set, in order of time.

    Attributes
    ----------
    bores : ndarray, shape (rounds,)
        What the set had honed by then; never falls.
    um : ndarray, shape (rounds, stones, places)
        Thickness from one end of each stone to the other; nan where not measured.
    """

    bores: Floats
    um: Floats

    def __post_init__(self) -> None:
        if self.um.ndim != 3 or len(self.um) != len(self.bores):
            raise TypeError(f"expected (rounds, stones, places), got {self.um.shape}")
        if (np.diff(self.bores) < 0).any():
            raise ValueError("bores that never fall")

    @property
    def flat(self) -> Floats:
        """The same with all places of a round in one row."""
        return self.um.reshape(len(self.um), -1)

    def upto(self, rounds: int) -> Self:
        """Return the first so many rounds."""
        return type(self)(bores=self.bores[:rounds], um=self.um[:rounds])


def repeatability(sets: Sequence[Thickness], repeats_um: ArrayLike = ()) -> Repeatability | None:
    """Learn what a measured thickness repeats to.

    Parameters
    ----------
    sets : sequence of Thickness
        Used where repeats are few: what places scatter about a line over their set's own mean wear,
        which takes uneven wear out.
    repeats_um : array_like, shape (k,)
        Differences of two readings of one place with no bores between.

    Returns
    -------
    Repeatability or None
        None where neither says anything.

    References
    ----------
    Standard deviation of a difference of two readings: sqrt(2) that of one. The rest follows from least
    squares: a line a place takes two degrees of freedom, the mean of the set another.
    """
    d = np.asarray(repeats_um, dtype=np.float64)
    d = d[np.isfinite(d)]
    if len(d) >= REPEATS:
        return Repeatability(sd_um=float(np.sqrt((d**2).mean() / 2)), df=len(d), from_="repeats")
    squares, df = float((d**2).sum() / 2), len(d)
    for one in sets:
        found = _scatter(one.flat[np.isfinite(one.flat).all(axis=1)])
        if found is not None:
            squares, df = squares + found.squares, df + found.df
    if df < REPEATS:
        return None
    return Repeatability(sd_um=float(np.sqrt(squares / df)), df=df, from_="scatter")


@dataclass(frozen=True, kw_only=True)
class _Scatter:
    squares: float
    df: int


def _scatter(um: Floats) -> _Scatter | None:
    """Return what places scatter about their own lines over the mean; jumps are left to their medians."""
    rounds, places = um.shape
    if rounds < 4 or places < 3:
        return None
    steps = np.diff(um, axis=0)
    off = np.abs(steps - np.median(steps, axis=1, keepdims=True))
    sound = (off <= np.maximum(APART * 1.4826 * np.median(off), 1.0) + SHARE_APART * np.abs(steps)).all(
        axis=0
    )
    um = um[:, sound]
    if um.shape[1] < 3:
        return None
    mean = um.mean(axis=1, keepdims=True)
    x = mean - mean.mean()
    if float((x**2).sum()) == 0.0:
        return None
    y = um - um.mean(axis=0)
    residual = y - x * ((x * y).sum(axis=0) / (x**2).sum())
    return _Scatter(squares=float((residual**2).sum()), df=(rounds - 2) * (um.shape[1] - 1))


@dataclass(frozen=True, kw_only=True, eq=False)
class SetWear:
    """What one set wore, round by round.

    Attributes
    ----------
    bores : ndarray, shape (rounds,)
    mean_um : ndarray, shape (rounds,)
        Mean wear over all places since the first round.
    thinnest_um : ndarray, shape (rounds,)
        Thickness of the thinnest place.
    jumps : tuple of Jump or None
        Of each round against the one before; None for plain wear.
    """

    bores: Floats
    mean_um: Floats
    thinnest_um: Floats
    jumps: tuple[Jump | None, ...]

    @property
    def plain(self) -> NDArray[np.bool_]:
        """Which increments, shape (rounds - 1,), are plain wear over some bores."""
        sound = np.array([jump is None for jump in self.jumps[1:]], dtype=bool)
        return sound & (np.diff(self.bores) > 0)


def set_wear(thickness: Thickness, reading: Repeatability | None) -> SetWear:
    """Return what a set wore, and say where it jumped.

    A place that is missing in a round takes no part in that round's increments. A chip is one place far
    from the others; it leaves the mean of the others as the set's wear.

    Examples
    --------
    >>> import numpy as np
    >>> um = 3000.0 - np.array([0.0, 250.0, 500.0])[:, None, None] * np.ones((1, 4, 3))
    >>> set_wear(Thickness(bores=np.array([0.0, 1000.0, 2000.0]), um=um), None).mean_um.tolist()
    [0.0, 250.0, 500.0]
    """
    flat, sd = thickness.flat, 0.0 if reading is None else reading.sd_um
    worn = flat[:-1] - flat[1:]
    known = np.isfinite(worn)
    usual = _of_rows(np.median, worn, known)
    allowed = np.maximum(np.maximum(APART * np.sqrt(2) * sd, SHARE_APART * np.abs(usual)), 1.0)
    with np.errstate(invalid="ignore"):
        chipped = known & (worn - usual[:, None] > allowed[:, None])
    mean, there = _of_rows(np.mean, worn, known & ~chipped), known.any(axis=1)
    noise = sd * np.sqrt(2 / np.maximum(known.sum(axis=1), 1))
    with np.errstate(invalid="ignore"):
        grew = np.less(mean, -np.maximum(SETS_APART * noise, 1.0 if reading is None else 0.0))
    means = np.concatenate(([0.0], np.where(there & ~grew, mean, 0.0)))
    jumped = np.column_stack((there, grew, chipped.any(axis=1)))
    jumps: list[Jump | None] = [None, *(_jump(*one) for one in jumped.tolist())]
    mean_um = np.cumsum(means)
    jumps = _stepped(thickness.bores, means, jumps, sd)
    return SetWear(
        bores=thickness.bores,
        mean_um=mean_um,
        thinnest_um=_thinnest(flat, means),
        jumps=tuple(jumps),
    )


def _jump(there: bool, grew: bool, chipped: bool) -> Jump | None:
    return Jump.STEP if not there else Jump.GREW if grew else Jump.CHIP if chipped else None


def _of_rows(of: Callable[..., Floats], values: Floats, taken: NDArray[np.bool_]) -> Floats:
    """Return the median or mean of what is taken of each row; nan where nothing is."""
    found, many = np.full(len(values), np.nan), taken.sum(axis=1)
    for size in np.unique(many[many > 0]).tolist():
        rows = many == size
        found[rows] = of(values[rows][taken[rows]].reshape(-1, size), axis=1)
    return found


def _thinnest(flat: Floats, worn: Floats) -> Floats:
    """Return the thinnest place of each round; one not measured wore as the others did since it was."""
    if np.isfinite(flat).all():
        return np.asarray(flat.min(axis=1), dtype=np.float64)
    now, found = np.full(flat.shape[1], np.nan), np.full(len(flat), np.nan)
    for k, row in enumerate(flat):
        now = np.where(np.isfinite(row), row, now - worn[k])
        found[k] = np.nanmin(now) if np.isfinite(now).any() else np.nan
    return found


def _stepped(bores: Floats, worn: Floats, jumps: list[Jump | None], sd: float) -> list[Jump | None]:
    """Mark increments that lie far off the set's own line: a step, told from the others by their median."""
    honed = np.diff(bores)
    use = np.array([j is None for j in jumps[1:]], dtype=bool) & (honed > 0)
    if use.sum() < 5:
        return jumps
    worn = worn[1:]
    rate = float(np.median(worn[use] / honed[use]))
    off = (worn - rate * honed) / np.sqrt(np.where(honed > 0, honed, 1.0))
    scale = 1.4826 * float(np.median(np.abs(off[use])))
    far = np.abs(off) * np.sqrt(np.where(honed > 0, honed, 1.0)) > np.maximum(
        SETS_APART * 1.5 * scale * np.sqrt(np.where(honed > 0, honed, 1.0)),
        SHARE_APART * rate * honed + 5 * sd,
    )
    far[:2] = False  # the break-in is no step
    return [jumps[0], *(Jump.STEP if f and j is None else j for f, j in zip(far, jumps[1:], strict=True))]

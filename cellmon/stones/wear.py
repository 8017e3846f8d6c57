"""Measured thickness becomes wear: what a reading repeats to, what a set wore, and where it jumped."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Self

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import gammaincinv

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

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


@dataclass(frozen=True, kw_only=True)
class BreakIn:
    """What a new set loses at first beside its usual wear: `extra_um` in its first `bores`."""

    bores: float
    extra_um: float
    sd_um: float = 0.0
    """How well `extra_um` is known."""

    def pending(self, honed: float) -> float:
        """Return what of it is still to come after so many bores, µm."""
        return float(self.still(honed))

    def still(self, honed: ArrayLike) -> Floats:
        """Return what `pending` says after each of many counts of bores, of their shape."""
        gone = np.maximum(np.asarray(honed, dtype=np.float64), 0.0)
        if self.bores <= 0:
            return np.zeros(gone.shape)
        return np.asarray(self.extra_um * (1.0 - np.minimum(gone / self.bores, 1.0)), dtype=np.float64)


NO_BREAK_IN = BreakIn(bores=0.0, extra_um=0.0)
BREAK_INS = (0.0025, 0.005, 0.01, 0.02, 0.03, 0.05, 0.08, 0.12)
"""Lengths tried, shares of the bores a set lasts."""
SURE = float(2 * gammaincinv(0.5, 0.9999))
"""Twice the gain of likelihood that makes a break-in one; high, as eight lengths are tried."""


def break_in(bores: Sequence[ArrayLike], wear_um: Sequence[ArrayLike], *, life_bores: float) -> BreakIn:
    """Find the break-in that sets of one kind share: wear that is quick at first, then even.

    Parameters
    ----------
    bores, wear_um : sequences of array_like, shape (rounds,)
        Of each set from new on, rising from 0 bores.
    life_bores : float
        About how long a set lasts.

    Returns
    -------
    BreakIn
        Of the length that fits best; nothing where it does not make the paths clearly likelier.

    References
    ----------
    Likelihood ratio of a Wiener process with a line for each set, with and without the extra wear.
    Two regimes: common practice, no source.
    """
    pairs = [(np.asarray(b, float), np.asarray(w, float)) for b, w in zip(bores, wear_um, strict=True)]
    sets = [(b, w) for b, w in pairs if len(b) > 2 and (np.diff(b) > 0).all()]
    if not sets:
        return NO_BREAK_IN
    lines = _OffLines.of(sets)
    without = float((lines.off**2).sum())
    points = sum(len(b) - 2 for b, _ in sets)
    best, gain = NO_BREAK_IN, SURE
    for share in BREAK_INS:
        length = share * life_bores
        bend = lines.bend(length)
        bending = float((bend**2).sum())
        if bending <= 0:
            continue
        extra = float((bend * lines.off).sum()) / bending
        left = without - extra**2 * bending
        found = points * np.log(without / left) if left > 0 else np.inf
        if extra > 0 and found > gain:
            sd = float(np.sqrt(max(left, 0.0) / max(points - 1, 1) / bending))
            best, gain = BreakIn(bores=length, extra_um=float(extra), sd_um=sd), float(found)
    return best


@dataclass(frozen=True, kw_only=True, eq=False)
class _OffLines:
    """The increments of sets, set after set, each against its set's own line, over the root of its bores."""

    begun: Floats
    """Bores honed before each increment."""
    by: Floats
    """And by its end."""
    honed: Floats
    which: Whole
    """The set of each increment."""
    off: Floats

    @classmethod
    def of(cls, sets: Sequence[tuple[Floats, Floats]]) -> _OffLines:
        which = np.repeat(np.arange(len(sets)), [len(b) - 1 for b, _ in sets])
        honed = np.concatenate([np.diff(b) for b, _ in sets])
        worn = np.concatenate([np.diff(w) for _, w in sets])
        begun, by = (np.concatenate([b[part] for b, _ in sets]) for part in (slice(-1), slice(1, None)))
        return cls(begun=begun, by=by, honed=honed, which=which, off=_residual(worn, honed, which))

    def bend(self, length: float) -> Floats:
        """Return what a break-in of some length would add to each increment, off a line."""
        gone = np.minimum(self.by / length, 1.0) - np.minimum(self.begun / length, 1.0)
        return _residual(gone, self.honed, self.which)


def _residual(step: Floats, honed: Floats, which: Whole) -> Floats:
    """Return increments less a line's of their set, standardised by the root of their bores."""
    rate = np.bincount(which, step) / np.bincount(which, honed)
    return np.asarray((step - rate[which] * honed) / np.sqrt(honed), dtype=np.float64)

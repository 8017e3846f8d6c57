"""The next round of one bore in the hand: strokes by zone that are safe, or why none are made.

The widest place governs how far, the tightest where. A round aims short: the chance that the widest place
passes the target stays small, the chance that it passes the upper limit very small. The first round with
some stones is a test: few strokes, and hardly a chance of more than a third of what is left at the tightest
place.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from math import floor

import numpy as np
from numpy.typing import NDArray

from cellmon.sizing.chance import Outlook, outlook
from cellmon.sizing.learned import Learned
from cellmon.sizing.left import GaugeDoubt, Left, Limits
from cellmon.sizing.strokes import Strokes

Floats = NDArray[np.float64]

WARMTH_SHARE = 0.1
"""Warmth that could hide more than this share of what is left: let it cool."""
FAR_END = 0.25
"""Short strokes at one end take at most such a share off the other (`strokes.expected_reach`: a tenth)."""
MOST_STROKES = 400
"""No round is longer: the bore grows warm and nobody counts further."""


@dataclass(frozen=True, kw_only=True)
class Caution:
    """How sure a round must be.

    Attributes
    ----------
    past_target, past_upper : float
        Most chance that the widest place passes the target, and the upper limit.
    test_share, past_share : float
        A test round takes more than this share of what is left at the tightest place with at most this
        chance.
    """

    past_target: float = 0.1
    past_upper: float = 0.00004
    test_share: float = 1 / 3
    past_share: float = 0.1


class Step(StrEnum):
    """What is to be done next."""

    TEST = "test round"
    STROKES = "strokes"
    COOL = "let it cool"
    FINER = "finer stones"
    FINISHED = "finished"
    UNSETTLED = "stop, undecided"
    CANNOT = "cannot be saved"


class Held(StrEnum):
    """Form against its limits, as far as the gauge proves it."""

    INSIDE = "inside"
    UNDECIDED = "undecided"
    BEYOND = "beyond"


@dataclass(frozen=True, kw_only=True, eq=False)
class NextRound:
    """What is advised, and what it is expected to do.

    Attributes
    ----------
    step : Step
    strokes : Strokes
        None of them but in a test round or a round of strokes.
    begin_at : int or None
        Plane to begin at: the tightest. None where the gauge cannot tell the planes apart.
    ceiling_um : float
        Size the widest place is kept below: the target, or further up where the tightest needs it.
    low_um, expected_um, high_um : ndarray, shape (planes,)
        Plane means after the strokes: 5 % quantile, expectation and 95 % quantile, µm from nominal.
    past_target, past_upper : float
        Chance that the widest place passes them.
    """

    step: Step
    strokes: Strokes
    begin_at: int | None
    ceiling_um: float
    low_um: Floats
    expected_um: Floats
    high_um: Floats
    past_target: float
    past_upper: float


@dataclass(frozen=True, kw_only=True)
class Stage:
    """Where the bore stands in its stones.

    Attributes
    ----------
    test : bool
        No round with these stones was measured on this bore.
    leaves_um : float
        What these stones leave for finer ones, on diameter; 0 for the last.
    short_top, short_bottom : bool
        Short strokes are allowed at that end: no port, step or floor stands in the way.
    warmth_um : float
        What warmth could hide of the size, without sign.
    along, around : Held
        Form along the bore (taper, barrel) and around it (ovality, roundness) against the sheet's limits.
    """

    test: bool
    leaves_um: float = 0.0
    short_top: bool = True
    short_bottom: bool = True
    warmth_um: float = 0.0
    along: Held = Held.INSIDE
    around: Held = Held.INSIDE

    @property
    def formed(self) -> bool:
        """Whether no form is beyond its limit or undecided."""
        return self.along is Held.INSIDE and self.around is Held.INSIDE

    def short_at(self, left: Left) -> tuple[int, ...]:
        """Return the ends (1 top, 2 bottom, as in `ZONES`) where short strokes are of use and allowed."""
        wanted: tuple[int, ...] = ()
        if left.ends_tight:
            wanted = (1, 2)
        elif left.taper_told:
            wanted = (1,) if left.tight.plane < len(left.plane_um) / 2 else (2,)
        return tuple(end for end in wanted if (self.short_top, self.short_bottom)[end - 1])


def next_round(
    known: Learned,
    left: Left,
    limits: Limits,
    doubt: GaugeDoubt,
    *,
    stage: Stage,
    caution: Caution | None = None,
) -> NextRound:
    """Return what to do next with a bore.

    Parameters
    ----------
    known : Learned
        What the rounds so far taught, the last readings among them.
    left : Left
        What the last readings say.
    limits, doubt : Limits, GaugeDoubt
    stage : Stage
    caution : Caution, optional
    """
    care = Caution() if caution is None else caution
    settled = _settled(left, limits, stage)
    if settled is not None:
        return _without_strokes(settled, known, left, limits)
    if stage.warmth_um > WARMTH_SHARE * _still_left(left, limits):
        return _without_strokes(Step.COOL, known, left, limits)
    for ceiling in _ceilings(left, limits, doubt, stage):
        bounds = _Bounds.of(known, left, limits, care, ceiling=ceiling, doubt=doubt, test=stage.test)
        strokes = _most(known, bounds, short=stage.short_at(left))
        if strokes.total:
            return _told(known, left, limits, strokes, bounds)
    if left.proven_above_lower:  # the size is right, the form is not, and no stroke mends it
        beyond = Held.BEYOND in (stage.along, stage.around)
        return _without_strokes(Step.CANNOT if beyond else Step.UNSETTLED, known, left, limits)
    if stage.leaves_um > 0:
        return _without_strokes(Step.FINER, known, left, limits)
    room = limits.upper - left.guard_um - left.wide.um
    step = Step.CANNOT if room < -left.guard_um else Step.UNSETTLED
    return _without_strokes(step, known, left, limits)


def _settled(left: Left, limits: Limits, stage: Stage) -> Step | None:
    """Return what the readings settle by themselves."""
    if left.proven_too_wide:
        return Step.CANNOT
    if left.proven_above_lower:
        if not left.proven_below_upper:
            return Step.UNSETTLED
        return Step.FINISHED if stage.formed else None
    ready = left.tight.um >= limits.lower + left.guard_um - stage.leaves_um
    return Step.FINER if stage.leaves_um > 0 and ready else None


def _still_left(left: Left, limits: Limits) -> float:
    """Return what is left at the widest place, to the target or else to the upper limit."""
    to_target = limits.target - left.wide.um
    return to_target if to_target > 0 else max(limits.upper - left.wide.um, 0.0)


def _ceilings(left: Left, limits: Limits, doubt: GaugeDoubt, stage: Stage) -> list[float]:
    """Return the sizes that the widest place may be kept below, the first that allows a stroke is taken.

    It is the target, less what finer stones need. Only where the bore's own spread is wider than the room
    from there down to the proven lower limit, it is further up by so much, and never in the upper guard band.
    A bore of the right size whose form is not proven may grow by what short strokes take off its far end;
    where none are of use, only a form around the bore is honed on for.
    """
    if left.proven_above_lower:
        if not stage.short_at(left) and stage.around is Held.INSIDE:
            return []
        grown = left.wide.um + FAR_END * (left.wide.um - left.tight.um)
        highest = limits.upper - left.guard_um
        return [min(max(limits.target, grown), highest), highest]
    target = limits.target - stage.leaves_um
    if stage.leaves_um > 0:
        return [target]
    spread, last = left.wide.um - left.tight.um, max(limits.upper - left.guard_um, target)
    needed = limits.lower + left.guard_um + spread + doubt.reading_um
    return [min(max(target, needed), last), last]


@dataclass(frozen=True, kw_only=True, eq=False)
class _Bounds:
    """What a round must hold: at every plane its widest direction below ceiling and upper limit."""

    ceiling: Floats
    upper: Floats
    common_um: float
    third: float
    tight: int
    care: Caution
    test: bool

    @classmethod
    def of(
        cls,
        known: Learned,
        left: Left,
        limits: Limits,
        care: Caution,
        *,
        ceiling: float,
        doubt: GaugeDoubt,
        test: bool,
    ) -> _Bounds:
        read = np.isfinite(left.plane_um)
        wide = np.where(read, left.wide_um - left.plane_um, 0.0)
        wide = np.where(read, wide, wide.max())
        tight = left.tight.plane
        at = known.size_um[tight]
        goal = max(limits.target, left.wide.um) if left.proven_above_lower else limits.target
        return cls(
            ceiling=ceiling - wide,
            upper=limits.upper - wide,
            common_um=doubt.common_um,
            third=float(at + care.test_share * max(goal - left.tight.um, 0.0)),
            tight=tight,
            care=care,
            test=test,
        )

    def hold(self, seen: Outlook) -> bool:
        if seen.chance_beyond(self.ceiling).max() > self.care.past_target:
            return False
        if self.past_upper(seen) > self.care.past_upper:
            return False
        if not self.test:
            return True
        return bool(seen.chance_beyond(self.third)[self.tight] <= self.care.past_share)

    def past_upper(self, seen: Outlook) -> float:
        """Return the chance that the widest place truly passes the upper limit, the gauge's zero included."""
        return float(seen.chance_beyond(self.upper, shared_um=self.common_um).max())


def _most(known: Learned, bounds: _Bounds, *, short: tuple[int, ...]) -> Strokes:
    """Return the most strokes that hold the bounds, zones mixed so that the tightest place is raised."""
    mixture = _mixture(known, bounds, short=short)
    low, high = 0.0, 1.0
    if mixture.sum() <= 0 or not bounds.hold(outlook(known, np.zeros(3))):
        return Strokes()
    mixture = mixture / mixture.sum()
    while high < MOST_STROKES and bounds.hold(outlook(known, high * mixture)):
        low, high = high, 2 * high
    while high - low > max(0.05, 0.01 * low):
        middle = (low + high) / 2
        low, high = (middle, high) if bounds.hold(outlook(known, middle * mixture)) else (low, middle)
    strokes = _whole(min(low, MOST_STROKES) * mixture)
    while strokes.total and not bounds.hold(outlook(known, strokes)):  # whole strokes are another mixture
        strokes = _one_less(strokes)
    return strokes


def _one_less(strokes: Strokes) -> Strokes:
    """Return strokes with one less where most are made."""
    counts = strokes.counts.astype(int)
    counts[int(np.argmax(counts))] -= 1
    return Strokes(full=int(counts[0]), top=int(counts[1]), bottom=int(counts[2]))


def _whole(counts: Floats) -> Strokes:
    """Return whole strokes, none more than the counts in all; what rounding drops goes to the larger part."""
    whole = np.floor(counts + 1e-9).astype(int)
    whole[int(np.argmax(counts))] += floor(counts.sum() - whole.sum() + 1e-9)
    full, top, bottom = (int(n) for n in whole)
    return Strokes(full=full, top=top, bottom=bottom)


def _mixture(known: Learned, bounds: _Bounds, *, short: tuple[int, ...]) -> Floats:
    """Return strokes by zone that bring the tightest plane furthest and no plane past its ceiling.

    A linear programme in the expected removal; only the mixture is taken from it, not how far to go.
    """
    from scipy.optimize import linprog  # late: slow to import

    full = np.array([1.0, 0.0, 0.0])
    if not short:
        return full
    used = [0, *short]
    per, sizes = known.per_stroke_um()[used], known.size_um
    # raise the least size t: sizes + per' n >= t, sizes + per' n <= ceiling; strokes cost next to nothing
    cost = np.array([*np.full(len(used), 1e-3 * per[0].mean()), -1.0])
    least = np.column_stack([-per.T, np.ones(len(sizes))])
    most = np.column_stack([per.T, np.zeros(len(sizes))])
    room = np.maximum(bounds.ceiling - sizes, 1e-6)
    found = linprog(
        cost,
        A_ub=np.vstack([least, most]),
        b_ub=np.concatenate([sizes, room]),
        bounds=[(0, None)] * len(used) + [(None, None)],
    )
    if found.x is None or not found.success or found.x[:-1].sum() <= 0:
        return full
    mixture = np.zeros(3)
    mixture[used] = found.x[:-1]
    return mixture


def _told(known: Learned, left: Left, limits: Limits, strokes: Strokes, bounds: _Bounds) -> NextRound:
    seen = outlook(known, strokes)
    wide = limits.upper - bounds.upper
    return NextRound(
        step=Step.TEST if bounds.test else Step.STROKES,
        strokes=strokes,
        begin_at=left.tight.plane if left.taper_told else None,
        ceiling_um=float((bounds.ceiling + wide).max()),
        low_um=seen.quantile(0.05),
        expected_um=seen.expected_um,
        high_um=seen.quantile(0.95),
        past_target=float(seen.chance_beyond(limits.target - wide).max()),
        past_upper=bounds.past_upper(seen),
    )


def _without_strokes(step: Step, known: Learned, left: Left, limits: Limits) -> NextRound:
    sizes = known.size_um
    return NextRound(
        step=step,
        strokes=Strokes(),
        begin_at=None,
        ceiling_um=limits.target,
        low_um=sizes,
        expected_um=sizes,
        high_um=sizes,
        past_target=float(left.wide.um > limits.target),
        past_upper=float(left.wide.um > limits.upper),
    )

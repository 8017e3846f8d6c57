"""The next round of one bore in the hand: strokes by zone that are safe, or why none are made.

The widest place governs how far, the tightest where. A round aims short: the chance that the widest place
passes the target stays small, the chance that it passes the upper limit very small. The first round with
some stones is a test: few strokes, and hardly a chance of more than a third of what is left at the tightest
place.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from cellmon.sizing.bounds import Bounds, Caution, most_strokes
from cellmon.sizing.chance import outlook
from cellmon.sizing.learned import Learned
from cellmon.sizing.left import GaugeDoubt, Left, Limits
from cellmon.sizing.strokes import Strokes

Floats = NDArray[np.float64]

WARMTH_SHARE = 0.1
"""Warmth that could hide more than this share of what is left: let it cool."""
FAR_END = 0.25
"""Short strokes at one end take at most such a share off the other (`strokes.expected_reach`: a tenth)."""


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
        bounds = Bounds.of(known, left, limits, care, ceiling=ceiling, doubt=doubt, test=stage.test)
        strokes = most_strokes(known, bounds, short=stage.short_at(left))
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


def _told(known: Learned, left: Left, limits: Limits, strokes: Strokes, bounds: Bounds) -> NextRound:
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

"""Roundness traces of one section: filter, harmonics, lobes, and what a two-point gauge sees of them.

A trace is the deviation from half the nominal at angles around the bore. A Gaussian weight smooths it to
so many undulations per revolution (upr); half the height of a wave passes at the cut-off. Where points
lie evenly this is done wave by wave, else by weights that are made whole again where points are missing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import log, pi, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cellmon import local
from cellmon.errors import CellmonError, GapInReadings, NotEnoughData
from cellmon.words import say, say_many, to_say

Floats = NDArray[np.float64]
TURN = 360.0
EVEN = 0.01
"""Part of a step by which evenly spaced angles may be out, as printed digits make them."""
FEW_PER_WAVE = 7
"""Points per wave of the cut-off below which a trace is called coarse (ISO 12181-2, from memory)."""
MISSING = 1.5
"""Steps, of the usual one, from which points are called missing."""
ALPHA = sqrt(log(2) / pi)
"""Width of the Gaussian weight in waves of the cut-off: half of that wave passes (ISO 16610-21)."""
SOME_SHARE = 0.25
"""Share of the unroundness (as variance) from which lobes are named."""
LOBES = (
    "",
    "",
    to_say("oval"),
    to_say("three lobes"),
    to_say("four lobes"),
    to_say("five lobes"),
    to_say("six lobes"),
    to_say("seven lobes"),
)


GAP_IN_TRACE = to_say(
    "a trace with no points from {from_} to {to} degrees; the widest gap that the filter bridges is {most} "
    "degrees"
)
FILTERED = to_say("points of a trace filtered at {upr} upr")
OF_TRACES = (GAP_IN_TRACE, FILTERED)
"""What is said of a trace that gives no figure, with values in it."""


class GapInTrace(CellmonError, ValueError):
    """A stretch without points that is too wide to say anything about the form."""

    def __init__(self, *, from_deg: float, to_deg: float, most_deg: float) -> None:
        degrees = {
            "from_": local.significant(from_deg),
            "to": local.significant(to_deg),
            "most": local.significant(most_deg),
        }
        super().__init__(say(GAP_IN_TRACE, **degrees))
        self.from_deg, self.to_deg = from_deg, to_deg


@dataclass(frozen=True, kw_only=True, eq=False)
class Profile:
    """A filtered trace, in order of angle."""

    angle_deg: Floats
    um: Floats
    """Deviation from half the nominal after the filter."""
    filter_upr: float
    even: bool
    notes: tuple[str, ...]
    """What was not as it should be, in words."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Harmonics:
    """Waves of a profile by undulations per revolution; order 1 is how far the centre lies off."""

    order: NDArray[np.int64]
    amplitude_um: Floats
    peak_deg: Floats
    """Angle of the first crest."""
    share: Floats
    """Of the variance that all orders from 2 on make; 0 for order 1."""


@dataclass(frozen=True, kw_only=True)
class Lobes:
    """Lobes that make much of the form."""

    order: int
    words: str
    height_um: float
    """Crest to trough, on radius."""
    share: float
    peak_deg: float


@dataclass(frozen=True, kw_only=True, eq=False)
class TwoPoint:
    """What a two-point gauge reads of a profile: opposite radii summed, micrometres from nominal."""

    sizes_um: Floats
    """In the directions asked for."""
    roundness_um: float
    """Half of largest less smallest of these: what the gauge calls roundness, a radial figure."""
    least_um: float
    greatest_um: float
    """Over all directions around the bore."""


def gaussian_transmission(upr: ArrayLike, *, cutoff_upr: float) -> Floats:
    """Return the part of a wave's height that a Gaussian filter lets pass.

    References
    ----------
    ISO 16610-21:2011: exp(-pi (alpha n / n_c)^2) with alpha = sqrt(ln 2 / pi), which is 2^-(n/n_c)^2.

    Examples
    --------
    >>> gaussian_transmission([50, 100], cutoff_upr=50).tolist()
    [0.5, 0.0625]
    """
    ratio = np.asarray(upr, dtype=np.float64) / cutoff_upr
    return np.asarray(np.exp2(-(ratio**2)), dtype=np.float64)


def filtered_profile(angle_deg: ArrayLike, radius_um: ArrayLike, *, filter_upr: float) -> Profile:
    """Return a trace after the Gaussian filter for closed profiles.

    Parameters
    ----------
    angle_deg, radius_um : array_like, shape (n,)
        In any order; angles count around. An angle that stands twice is taken at its mean radius.
    filter_upr : float
        Cut-off, undulations per revolution; a figure of roundness means nothing without it.

    Raises
    ------
    NotEnoughData
        Fewer than two points per wave of the cut-off.
    GapInReadings
        An angle or radius that is not a finite number.
    GapInTrace
        A stretch without points as wide as a wave of the cut-off. Narrower ones are used and noted.

    References
    ----------
    ISO 16610-21:2011, ISO 12181-2:2011. Missing points: weights made whole again, as ISO 16610-28
    does at the ends of open profiles (from memory).
    """
    angle, um, notes = _ordered(angle_deg, radius_um)
    need = int(2 * filter_upr) + 1
    if len(angle) < need:
        what = say(FILTERED, upr=local.significant(filter_upr))
        raise NotEnoughData(what, need=need, got=len(angle))
    steps = np.diff(angle, append=angle[0] + TURN)
    notes += _gaps(angle, steps, filter_upr)
    if len(angle) < FEW_PER_WAVE * filter_upr:
        text = to_say("coarse: {count} points per wave of the filter, fewer than {least}")
        per_wave = local.number(len(angle) / filter_upr, 1)
        notes += (say(text, count=per_wave, least=FEW_PER_WAVE),)
    step = TURN / len(angle)
    even = bool(np.abs(steps - step).max() <= EVEN * step)
    smooth = _by_waves(um, filter_upr) if even else _by_weights(angle, um, steps, filter_upr)
    return Profile(angle_deg=angle, um=smooth, filter_upr=filter_upr, even=even, notes=notes)


def _ordered(angle_deg: ArrayLike, radius_um: ArrayLike) -> tuple[Floats, Floats, tuple[str, ...]]:
    angle = np.asarray(angle_deg, dtype=np.float64)
    um = np.asarray(radius_um, dtype=np.float64)
    if angle.ndim != 1 or angle.shape != um.shape:
        raise TypeError(f"expected angles and radii of one length, got {angle.shape} and {um.shape}")
    finite = np.isfinite(angle) & np.isfinite(um)
    if not finite.all():
        raise GapInReadings("a trace", position=int(np.argmin(finite)))
    around, which, times = np.unique(np.mod(angle, TURN), return_inverse=True, return_counts=True)
    if len(around) == len(angle):
        order = np.argsort(np.mod(angle, TURN), kind="stable")
        return around, um[order], ()
    twice = int((times > 1).sum())
    note = say_many(
        "{count} angle stands twice: the mean radius is used",
        "{count} angles stand twice: the mean radius is used",
        twice,
    )
    return around, np.bincount(which, weights=um) / times, (note,)


def _gaps(angle: Floats, steps: Floats, filter_upr: float) -> tuple[str, ...]:
    """Refuse a gap as wide as one wave of the filter; say where narrower ones are."""
    usual = float(np.median(steps))
    widest = int(steps.argmax())
    wave = TURN / filter_upr
    if steps[widest] >= wave and steps[widest] > MISSING * usual:
        end = float(angle[widest] + steps[widest])
        raise GapInTrace(from_deg=float(angle[widest]), to_deg=end % TURN or TURN, most_deg=wave)
    gaps = np.flatnonzero(steps > MISSING * usual)
    if not len(gaps):
        return ()
    ends = [(local.significant(angle[i]), local.significant((angle[i] + steps[i]) % TURN)) for i in gaps[:3]]
    places = ", ".join(say("{begin} to {end}", begin=begin, end=end) for begin, end in ends)
    if len(gaps) > 3:
        places = say("{some} and {more} more", some=places, more=len(gaps) - 3)
    text = to_say("points missing between {places} degrees, narrower than one wave of the filter: bridged")
    return (say(text, places=places),)


def _by_waves(um: Floats, filter_upr: float) -> Floats:
    waves = np.fft.rfft(um)
    waves *= gaussian_transmission(np.arange(len(waves)), cutoff_upr=filter_upr)
    return np.asarray(np.fft.irfft(waves, n=len(um)), dtype=np.float64)


def _by_weights(angle: Floats, um: Floats, steps: Floats, filter_upr: float) -> Floats:
    """Smooth uneven points: each counts by the weight of its distance and by the arc it stands for."""
    arc = (steps + np.roll(steps, 1)) / 2
    found = np.empty(len(um))
    for start in range(0, len(um), 512):
        apart = np.abs(angle[start : start + 512, None] - angle[None, :])
        apart = np.minimum(apart, TURN - apart) * filter_upr / TURN
        weight = np.exp(-pi * (apart / ALPHA) ** 2) * arc
        found[start : start + 512] = weight @ um / weight.sum(axis=1)
    return found


def harmonics(profile: Profile, *, orders: int = 15) -> Harmonics:
    """Return the waves of a profile from 1 to so many undulations per revolution, by least squares.

    >>> angle = np.arange(360.0)
    >>> waves = harmonics(filtered_profile(angle, 3 * np.cos(np.radians(3 * angle)), filter_upr=50))
    >>> waves.order[waves.share.argmax()], round(waves.amplitude_um.max(), 2)
    (np.int64(3), np.float64(2.99))
    """
    order = np.arange(1, min(orders, (len(profile.um) - 1) // 2) + 1)
    turn = np.outer(np.radians(profile.angle_deg), order)
    basis = np.hstack((np.ones((len(profile.um), 1)), np.cos(turn), np.sin(turn)))
    found = np.linalg.solve(basis.T @ basis, basis.T @ profile.um)  # gaps are narrow: well conditioned
    along, across = found[1 : len(order) + 1], found[len(order) + 1 :]
    amplitude = np.hypot(along, across)
    off_centre = basis[:, [0, 1, len(order) + 1]] @ found[[0, 1, len(order) + 1]]
    variance = float(np.mean((profile.um - off_centre) ** 2))
    share = amplitude**2 / 2 / variance if variance > 0 else np.zeros(len(order))
    return Harmonics(
        order=order,
        amplitude_um=amplitude,
        peak_deg=_first_crest(np.degrees(np.arctan2(across, along)) / order, TURN / order),
        share=np.where(order == 1, 0.0, share),
    )


def _first_crest(at_deg: Floats, apart_deg: Floats) -> Floats:
    found = np.mod(at_deg, apart_deg)
    return np.where(apart_deg - found < 1e-9, 0.0, found)


def named_lobes(waves: Harmonics) -> tuple[Lobes, ...]:
    """Return the lobes that make a quarter of the form or more, the largest first; none where none does."""
    large = [i for i in np.argsort(-waves.share) if waves.share[i] >= SOME_SHARE]
    return tuple(
        Lobes(
            order=int(waves.order[i]),
            words=lobes_words(int(waves.order[i])),
            height_um=2 * float(waves.amplitude_um[i]),
            share=float(waves.share[i]),
            peak_deg=float(waves.peak_deg[i]),
        )
        for i in large
    )


def lobes_words(order: int) -> str:
    """Return the name of a form of so many lobes.

    >>> lobes_words(2), lobes_words(3), lobes_words(11)
    ('oval', 'three lobes', '11 lobes')
    """
    return say(LOBES[order]) if 2 <= order < len(LOBES) else say("{count} lobes", count=order)


def two_point(profile: Profile, *, directions_deg: Sequence[float]) -> TwoPoint:
    """Return what a two-point gauge reads of a profile: nothing of odd lobes, all of even ones.

    The diameter at an angle is the sum of the radii on both sides, so a wave of order n counts
    1 + (-1)^n times (derived). Between points the profile is joined by straight lines.
    """
    sizes = _diameters(profile, np.asarray(directions_deg, dtype=np.float64))
    around = _diameters(profile, profile.angle_deg)
    return TwoPoint(
        sizes_um=sizes,
        roundness_um=float(np.ptp(sizes)) / 2,
        least_um=float(around.min()),
        greatest_um=float(around.max()),
    )


def _diameters(profile: Profile, at_deg: Floats) -> Floats:
    sides = [np.interp(at_deg + turn, profile.angle_deg, profile.um, period=TURN) for turn in (0.0, 180.0)]
    return np.asarray(sides[0] + sides[1], dtype=np.float64)

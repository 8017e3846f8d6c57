"""Speeds of a hone, its stroke, and the crosshatch they leave.

A stroke rate counts double strokes: there and back. The crosshatch angle is the included one, opened
along the circumference: 0 for pure rotation, 180 for pure stroking; its supplement is measured about the
bore axis. The mean stroke speed gives the mean angle. A crank or a hand moves fastest in the middle, by
pi/2, and the angle opens there; a machine whose stroke speed is steady leaves the mean angle mid-bore too.
"""

from __future__ import annotations

from enum import StrEnum
from math import atan, degrees, pi, radians, tan

from cellmon import local
from cellmon.errors import WrongUsage
from cellmon.units import UM_PER, LengthUnit
from cellmon.words import say, to_say

MM_PER_INCH = UM_PER[LengthUnit.INCH] / UM_PER[LengthUnit.MM]
MM_PER_M = 1000.0
SHOP_RULE = 1200.0
"""Divided by the bore diameter in inches it gives rev/min (common practice, no source)."""
MID_STROKE = pi / 2
"""Speed in the middle of a crank's or hand's stroke, in mean speeds (derived: a sine)."""


class Place(StrEnum):
    """Where in the stroke an angle is meant."""

    MEAN = "mean"
    MID_STROKE = "mid-stroke"


def surface_speed(diameter_mm: float, *, rpm: float) -> float:
    """Return the speed of the wall past the stones, m/min.

    >>> round(surface_speed(87.3, rpm=180), 1)
    49.4
    """
    return pi * _positive(diameter_mm, to_say("diameter")) / MM_PER_M * rpm


def rpm_for_surface_speed(diameter_mm: float, *, speed_m_min: float) -> float:
    """Return the spindle speed that gives a surface speed, rev/min.

    >>> round(rpm_for_surface_speed(87.3, speed_m_min=49.4))
    180
    """
    return _positive(speed_m_min, to_say("surface speed")) / surface_speed(diameter_mm, rpm=1.0)


def rpm_by_shop_rule(diameter_mm: float) -> float:
    """Return 1200 divided by the diameter in inches, rev/min: common practice, no source.

    >>> round(rpm_by_shop_rule(87.3))
    349
    """
    return SHOP_RULE * MM_PER_INCH / _positive(diameter_mm, to_say("diameter"))


def stroke_length(
    length_mm: float, *, stone_mm: float, overrun_top_mm: float, overrun_bottom_mm: float
) -> float:
    """Return how far the tool travels, mm: the bore and both overruns less the stone.

    >>> stroke_length(140.0, stone_mm=70.0, overrun_top_mm=23.0, overrun_bottom_mm=23.0)
    116.0

    Raises
    ------
    WrongUsage
        When the stone leaves the bore at an end, or there is nothing to stroke.
    """
    for overrun in (overrun_top_mm, overrun_bottom_mm):
        if not 0 <= overrun < _positive(stone_mm, to_say("stone length")):
            text = to_say(
                "an overrun of {overrun} mm with stones of {stone} mm: it must be 0 or more and less than "
                "the stone, or the hone leaves the bore"
            )
            raise WrongUsage(say(text, overrun=local.significant(overrun), stone=local.significant(stone_mm)))
    stroke = _positive(length_mm, to_say("bore length")) + overrun_top_mm + overrun_bottom_mm - stone_mm
    if stroke <= 0:
        text = to_say("stones of {stone} mm fill a bore of {length} mm with these overruns: no stroke")
        raise WrongUsage(say(text, stone=local.significant(stone_mm), length=local.significant(length_mm)))
    return stroke


def stroke_speed(stroke_mm: float, *, strokes_per_min: float, place: Place | str = Place.MEAN) -> float:
    """Return the axial speed, m/min; strokes are double strokes.

    >>> round(stroke_speed(116.0, strokes_per_min=88), 1)
    20.4
    """
    mean = (
        2
        * _positive(stroke_mm, to_say("stroke"))
        / MM_PER_M
        * _positive(strokes_per_min, to_say("stroke rate"))
    )
    return mean * (MID_STROKE if Place(place) is Place.MID_STROKE else 1.0)


def crosshatch_angle(axial_m_min: float, surface_m_min: float) -> float:
    """Return the included crosshatch angle, degrees: twice the arc tangent of the ratio of speeds.

    >>> round(crosshatch_angle(20.4, 49.4), 1)
    44.9

    References
    ----------
    Kinematics (derived); Sender and Buj-Corral, *Metals* 13(1) 140 (2023).
    """
    return 2 * degrees(atan(axial_m_min / _positive(surface_m_min, to_say("surface speed"))))


def rpm_for_angle(
    diameter_mm: float,
    angle_deg: float,
    *,
    stroke_mm: float,
    strokes_per_min: float,
    place: Place | str = Place.MEAN,
) -> float:
    """Return the spindle speed that leaves an included angle at a stroke rate, rev/min.

    >>> round(rpm_for_angle(87.3, 45.0, stroke_mm=116.0, strokes_per_min=60))
    123
    """
    axial = stroke_speed(stroke_mm, strokes_per_min=strokes_per_min, place=place)
    return rpm_for_surface_speed(diameter_mm, speed_m_min=axial / _half_tangent(angle_deg))


def strokes_for_angle(
    diameter_mm: float, angle_deg: float, *, stroke_mm: float, rpm: float, place: Place | str = Place.MEAN
) -> float:
    """Return the double strokes a minute that leave an included angle at a spindle speed.

    >>> round(strokes_for_angle(87.3, 45.0, stroke_mm=116.0, rpm=180))
    88
    """
    one = stroke_speed(stroke_mm, strokes_per_min=1.0, place=place)
    return (
        surface_speed(diameter_mm, rpm=_positive(rpm, to_say("spindle speed")))
        * _half_tangent(angle_deg)
        / one
    )


def _half_tangent(angle_deg: float) -> float:
    if not 0 < angle_deg < 180:
        text = to_say("an included crosshatch angle between 0 and 180 degrees, not {given}")
        raise WrongUsage(say(text, given=local.significant(angle_deg)))
    return tan(radians(angle_deg) / 2)


def _positive(value: float, what: str) -> float:
    if not value > 0:
        raise WrongUsage(say("a {what} above 0, not {given}", what=say(what), given=local.significant(value)))
    return value

"""What a bore costs the stones: work removed, stone worn, strokes and time."""

from __future__ import annotations

from math import ceil, pi

from cellmon.errors import WrongUsage
from cellmon.units import UM_PER, LengthUnit
from cellmon.words import say

UM_PER_MM = UM_PER[LengthUnit.MM]


def work_removed_mm3(diameter_mm: float, length_mm: float, *, stock_um: float) -> float:
    """Return the volume honed off a bore, mm3; the stock is on diameter.

    >>> round(work_removed_mm3(87.3, 140.0, stock_um=30.0))
    576
    """
    return pi * diameter_mm * length_mm * stock_um / UM_PER_MM / 2


def stone_wear_um(work_mm3: float, *, g_ratio: float, face_mm2: float) -> float:
    """Return how much a set wears in a bore, micrometres on radius.

    Parameters
    ----------
    work_mm3 : float
        Volume honed off the bore.
    g_ratio : float
        Volume of work for one of stone: a figure of the stones' own, from wear that was measured.
    face_mm2 : float
        Face of all stones of the set together.

    Examples
    --------
    A diamond set with a face of 1680 mm2 and G about 1250:

    >>> round(stone_wear_um(576.0, g_ratio=1250.0, face_mm2=1680.0), 2)
    0.27
    """
    if not (g_ratio > 0 and face_mm2 > 0):
        raise WrongUsage(say("a G ratio and a stone face above 0"))
    return work_mm3 / g_ratio / face_mm2 * UM_PER_MM


def bores_per_set(usable_um: float, *, wear_um: float) -> float:
    """Return how many bores a usable thickness lasts, nothing kept in reserve.

    >>> bores_per_set(2400.0, wear_um=0.3)
    8000.0
    """
    return usable_um / wear_um


def strokes_needed(stock_um: float, *, um_per_stroke: float) -> int:
    """Return the double strokes that take off a stock on diameter, rounded up.

    >>> strokes_needed(30.0, um_per_stroke=0.8)
    38
    """
    if not um_per_stroke > 0:
        raise WrongUsage(say("a removal per stroke above 0"))
    return ceil(stock_um / um_per_stroke - 1e-9)

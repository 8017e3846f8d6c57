"""How much of a reading could be warmth."""

from __future__ import annotations

from math import hypot

from cellmon.units import UM_PER, LengthUnit

TEMPERATURE_SD_C = 0.5
"""Of a thermometer held to the part (*common practice, no source*)."""
EXPANSION_SD_PER_C = 1e-6
"""How far the expansion of a named material is known: one step in the last digit of public tables."""


def warmth_um(
    nominal_mm: float,
    *,
    part_c: float | None,
    zero_c: float,
    expansion_per_c: float,
    corrected: bool,
) -> float:
    """Return what warmth could hide of a size, micrometres, without sign.

    Parameters
    ----------
    nominal_mm : float
        Diameter.
    part_c : float or None
        Temperature of the part when it was read; None: not measured, nothing is said.
    zero_c : float
        Temperature at which the gauge reads the part right.
    expansion_per_c : float
        Linear expansion of the part, 1/K.
    corrected : bool
        The readings are referred to 20 degrees already: only what is not known of temperature and expansion
        is left, at two standard uncertainties.

    Examples
    --------
    A bore of 68 mm in iron that is 8 K warm reads about 6 µm large:

    >>> round(warmth_um(68.0, part_c=28.0, zero_c=20.0, expansion_per_c=11e-6, corrected=False), 1)
    6.0
    """
    if part_c is None:
        return 0.0
    per_c = UM_PER[LengthUnit.MM] * nominal_mm
    above = abs(part_c - zero_c)
    if not corrected:
        return per_c * expansion_per_c * above
    return 2 * per_c * hypot(EXPANSION_SD_PER_C * above, expansion_per_c * TEMPERATURE_SD_C)

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
    master_c: float | None = None,
    master_zero_c: float = 20.0,
    master_expansion_per_c: float = 11.5e-6,
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
    master_c : float or None
        Temperature of the master the gauge was set on; None: as at its zero. A master as warm as the part
        takes most of the warmth away.
    master_zero_c, master_expansion_per_c : float
        Temperature at which the gauge reads right on its master, Celsius, and the master's expansion, 1/K.

    Examples
    --------
    A bore of 68 mm in iron that is 8 K warm reads about 6 µm large:

    >>> round(warmth_um(68.0, part_c=28.0, zero_c=20.0, expansion_per_c=11e-6, corrected=False), 1)
    6.0
    """
    if part_c is None:
        return 0.0
    per_c = UM_PER[LengthUnit.MM] * nominal_mm
    part = part_c - zero_c
    master = 0.0 if master_c is None else master_c - master_zero_c
    if not corrected:
        return per_c * abs(expansion_per_c * part - master_expansion_per_c * master)
    read = TEMPERATURE_SD_C if master_c is not None else 0.0
    doubts = (EXPANSION_SD_PER_C * part, expansion_per_c * TEMPERATURE_SD_C)
    return 2 * per_c * hypot(*doubts, EXPANSION_SD_PER_C * master, master_expansion_per_c * read)

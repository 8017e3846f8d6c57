"""Correction of readings to 20 degrees Celsius (ISO 1), for a gauge that compares with a master.

Correct once only: many gauges do it themselves (`temperature` in the sheet says who does).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cellmon.units import REFERENCE_TEMPERATURE_C, UM_PER, LengthUnit

Floats = NDArray[np.float64]


def size_at_20(
    diameter_mm: ArrayLike,
    *,
    part_c: ArrayLike,
    part_expansion: float,
    master_c: ArrayLike = REFERENCE_TEMPERATURE_C,
    master_expansion: float = 0.0,
) -> Floats:
    """Return a diameter referred to 20 degrees, mm, by the full quotient.

    References
    ----------
    ISO 1: d20 = d (1 + a_m (T_m - 20)) / (1 + a_p (T_p - 20)).
    """
    master = 1 + master_expansion * (np.asarray(master_c, dtype=np.float64) - REFERENCE_TEMPERATURE_C)
    part = 1 + part_expansion * (np.asarray(part_c, dtype=np.float64) - REFERENCE_TEMPERATURE_C)
    return np.asarray(np.asarray(diameter_mm, dtype=np.float64) * master / part, dtype=np.float64)


def correction_um(
    nominal_mm: ArrayLike,
    part_c: ArrayLike,
    master_c: ArrayLike,
    *,
    part_expansion: float,
    master_expansion: float,
    zeroed_part_c: float = REFERENCE_TEMPERATURE_C,
    zeroed_master_c: float = REFERENCE_TEMPERATURE_C,
) -> Floats:
    """Return what is added to a reading to refer it to 20 degrees, micrometres.

    A gauge set on its master reads high by D [a_p (T_p - 20) - a_m (T_m - 20)]. One that was zeroed
    on warm parts already reads right at the temperatures of that moment: only what has changed since
    is corrected.

    Parameters
    ----------
    nominal_mm : array_like
        Diameter, mm; broadcast with the temperatures.
    part_c, master_c : array_like
        Temperatures, Celsius; nan: those of the zeroing.
    part_expansion, master_expansion : float
        Linear expansion, 1/K.
    zeroed_part_c, zeroed_master_c : float
        Temperatures when the gauge was zeroed; 20 for one set by the certificate of its master.

    References
    ----------
    JCGM 100:2008, annex H.1 (comparison with a standard at temperature); Swyt, J. Res. NIST 99, 31
    (1994).

    Examples
    --------
    >>> round(float(correction_um(87.3, 26.0, 22.0, part_expansion=11e-6, master_expansion=11.5e-6)), 2)
    -3.75
    """
    part = _since(part_c, zeroed_part_c)
    master = _since(master_c, zeroed_master_c)
    high = part_expansion * part - master_expansion * master
    return np.asarray(
        -UM_PER[LengthUnit.MM] * np.asarray(nominal_mm, dtype=np.float64) * high, dtype=np.float64
    )


def _since(temperature_c: ArrayLike, zeroed_c: float) -> Floats:
    """Return the change since zeroing; no temperature is taken as no change."""
    change = np.asarray(temperature_c, dtype=np.float64) - zeroed_c
    return np.where(np.isnan(change), 0.0, change)

"""Length units at the border: inside, every diameter is a deviation from nominal in micrometres."""

from __future__ import annotations

from enum import StrEnum


class LengthUnit(StrEnum):
    """A unit a file or a sheet may give lengths in."""

    MM = "mm"
    INCH = "in"
    UM = "um"


UM_PER = {LengthUnit.MM: 1000.0, LengthUnit.INCH: 25400.0, LengthUnit.UM: 1.0}
"""Micrometres in one of each unit; the inch is 25.4 mm exactly (international yard and pound, 1959)."""

REFERENCE_TEMPERATURE_C = 20.0
"""The temperature at which a drawing's sizes hold (ISO 1)."""

"""Sizes to micrometres from nominal, and the doubt whether a file's unit is what it says.

Nothing is converted by guess: a file whose sizes lie far from nominal in its own unit and near it
in another is set aside whole, and a person takes it again with the unit named.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cellmon.intake.columns import SizeColumn
from cellmon.intake.words import Words
from cellmon.records import Flags, Numbers
from cellmon.sheet import Part, Sheet
from cellmon.units import UM_PER, LengthUnit
from cellmon.words import say

FAR = 10.0
"""Tolerances from nominal beyond which the median of a file raises the doubt."""
NOT_THIS_BORE = 0.02
"""Share of nominal beyond which a size is of another bore, or a slip."""
DECIMALS = 4
"""Of a micrometre; finer than any gauge reads and coarser than the arithmetic's own error."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Targets:
    """What each row's part asks: nominal and tolerance in micrometres; tolerance nan where not given.

    Arrays of shape (rows,), of shape (1,) where there is one part.
    """

    nominal_um: Numbers
    tolerance_um: Numbers

    @classmethod
    def of(cls, sheet: Sheet, part_number: Words) -> Targets:
        """Return nominal and tolerance of the parts of rows; of the first part where none is named."""
        nominal = [_nominal_um(part) for part in sheet.parts]
        tolerance = [_tolerance_um(part) for part in sheet.parts]
        if len(sheet.parts) == 1:
            return cls(nominal_um=np.array(nominal), tolerance_um=np.array(tolerance))
        which = np.maximum(part_number.find([part.number for part in sheet.parts]).codes, 0)
        return cls(nominal_um=np.array(nominal)[which], tolerance_um=np.array(tolerance)[which])

    def select(self, rows: NDArray[Any]) -> Targets:
        """Return those of some rows, a mask or an index."""
        if len(self.nominal_um) == 1:
            return self
        return Targets(nominal_um=self.nominal_um[rows], tolerance_um=self.tolerance_um[rows])

    @property
    def near_um(self) -> Numbers:
        """How far from nominal the middle of a file may lie before its unit is doubted."""
        wide = FAR * self.tolerance_um
        found: Numbers = np.where(np.isnan(wide), NOT_THIS_BORE * self.nominal_um, wide)
        return found


@dataclass(frozen=True, kw_only=True, eq=False)
class Scale:
    """How the numbers of rows become sizes: micrometres in one, and whether they count from nominal.

    Arrays of shape (rows,), of shape (1,) where all rows are of one gauge.
    """

    um_per: Numbers
    deviation: Flags

    @classmethod
    def of(cls, sheet: Sheet, column: SizeColumn, gauge: Words) -> Scale:
        """Return what a size column says itself, and else what the gauges of the rows say."""
        known = sheet.gauge_ids
        units = [sheet.gauge(one).unit for one in known]
        from_nominal = [
            one == sheet.measuring.gauge and sheet.measuring.reads == "deviation" for one in known
        ]
        which = np.maximum(gauge.find(known).codes, 0)
        if len(which) and which.min() == which.max():
            which = which[:1]
        um_per = np.array([UM_PER[column.unit or unit] for unit in units])
        deviation = np.array(
            [each if column.deviation is None else column.deviation for each in from_nominal]
        )
        return cls(um_per=um_per[which], deviation=deviation[which])

    def um(self, numbers: Numbers, nominal_um: Numbers) -> Numbers:
        """Return numbers as micrometres from nominal."""
        found = numbers * self.um_per
        found -= np.where(self.deviation, 0.0, nominal_um)
        return np.round(found, DECIMALS, out=found)


@dataclass(frozen=True, kw_only=True)
class Fit:
    """A unit in which a file's sizes lie near nominal, and whether they then count from nominal."""

    unit: LengthUnit
    deviation: bool

    def __str__(self) -> str:
        unit = self.unit.value
        return say("{unit} from nominal", unit=unit) if self.deviation else unit


def fits(um: Numbers, targets: Targets) -> bool:
    """Tell whether the middle of a file's sizes lies near enough to nominal; nan is left out."""
    share = np.abs(um)
    share /= targets.near_um
    finite = np.isfinite(share)
    share = share if finite.all() else share[finite]
    return len(share) == 0 or bool(np.median(share, overwrite_input=True) <= 1.0)


def fitting(
    numbers: Numbers, targets: Targets, *, from_nominal: bool, unit: LengthUnit | None = None
) -> list[Fit]:
    """Return every unit in which a file's sizes would lie near nominal.

    `from_nominal` says that the header calls them deviations; else sizes count from zero, and in
    micrometres perhaps from nominal.
    """
    if from_nominal:
        tried = [Fit(unit=each, deviation=True) for each in LengthUnit]
    else:
        tried = [Fit(unit=each, deviation=False) for each in LengthUnit]
        tried.append(Fit(unit=LengthUnit.UM, deviation=True))
    return [
        fit
        for fit in tried
        if unit in (None, fit.unit)
        and fits(numbers * UM_PER[fit.unit] - (0.0 if fit.deviation else targets.nominal_um), targets)
    ]


def forced(column: SizeColumn, unit: LengthUnit, numbers: Numbers, targets: Targets) -> SizeColumn:
    """Return a size column in the unit that a person named; micrometres may count from nominal."""
    if column.deviation:
        return replace(column, unit=unit)
    likely = fitting(numbers, targets, from_nominal=False, unit=unit)
    return replace(column, unit=unit, deviation=likely[0].deviation if likely else False)


def not_this_bore(um: NDArray[np.float64], targets: Targets) -> Flags:
    """Tell which sizes lie too far from nominal to be of this bore."""
    found: Flags = np.abs(um) > NOT_THIS_BORE * targets.nominal_um
    return found


def _nominal_um(part: Part) -> float:
    return part.diameter.nominal * UM_PER[LengthUnit.MM]


def _tolerance_um(part: Part) -> float:
    size = part.diameter
    if size.lower_um is None or size.upper_um is None:
        return float("nan")
    return size.upper_um - size.lower_um

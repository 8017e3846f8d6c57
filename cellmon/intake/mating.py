"""Whether the sizes of mating parts can be those of parts that go into these bores.

They have no tolerance in the sheet, so nearness is a share of the nominal: a piston or spool lies well
within it, and no size read in another unit does.
"""

from __future__ import annotations

import numpy as np

from cellmon.intake.cells import Cells
from cellmon.intake.sizes import NOT_THIS_BORE
from cellmon.intake.taken import UnitDoubt
from cellmon.records import Flags, Numbers, Reason
from cellmon.sheet import Sheet
from cellmon.units import UM_PER, LengthUnit
from cellmon.words import say


def mark_strange_sizes(
    cells: Cells, numbers: Numbers, diameter_mm: Numbers, *, named: bool
) -> UnitDoubt | None:
    """Mark sizes that fit no bore; a file that fits in another unit is doubted whole.

    Parameters
    ----------
    cells : Cells
        The file; its marks are added to.
    numbers : array, shape (n,)
        Diameters as they stand in the file.
    diameter_mm : array, shape (n,)
        The same in the unit the file or the cell says.
    named : bool
        Whether a person named the unit, which settles the doubt.
    """
    near = _near(cells.sheet, diameter_mm)
    known = np.isfinite(diameter_mm) & cells.marks.good
    if not named and known.any() and np.mean(near[known]) < 0.5:
        fits = [
            unit
            for unit in LengthUnit
            if np.mean(_near(cells.sheet, numbers[known] * UM_PER[unit] / UM_PER[LengthUnit.MM])) >= 0.5
        ]
        if fits:
            cells.marks.add(np.ones(len(near), dtype=bool), Reason.UNIT_DOUBT)
            or_ = say(" or ")
            note = say(
                "its diameters fit no bore in their unit and fit in {units}: {again} takes it",
                units=or_.join(unit.value for unit in fits),
                again=or_.join(f"--unit {unit.value}" for unit in fits),
            )
            return UnitDoubt(note=note, units=tuple(fits))
    cells.marks.add(np.isfinite(diameter_mm) & ~near, Reason.NOT_THIS_BORE)
    return None


def _near(sheet: Sheet, diameter_mm: Numbers) -> Flags:
    nominals = np.array([part.diameter.nominal for part in sheet.parts])
    off = np.abs(diameter_mm[:, None] / nominals[None, :] - 1).min(axis=1)
    found: Flags = off <= NOT_THIS_BORE
    return found

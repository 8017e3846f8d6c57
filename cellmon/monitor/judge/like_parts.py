"""Like parts: their subgroups stand in streams of deviation from each part's own nominal."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from cellmon.judged import PROCESS, Subgroups
from cellmon.records import Texts
from cellmon.sheet import Sheet


def charted_numbers(numbers: Texts, sheet: Sheet) -> Texts:
    """Return the part numbers that streams carry for some part numbers."""
    found = numbers.copy()
    for part in sheet.parts:
        if part.like is not None:
            found[numbers == part.number] = sheet.charted_as(part.number)
    return found


def charted_together(subgroups: Subgroups, sheet: Sheet) -> Subgroups:
    """Put the subgroups of like parts, each of one part number, into the streams they share.

    What a machine tells of itself is no deviation from a nominal: its streams stay each part's own.
    """
    if all(part.like is None for part in sheet.parts):
        return subgroups
    own = np.isin(subgroups.feature.astype(str), list(PROCESS))
    together = charted_numbers(subgroups.part_number, sheet)
    return replace(subgroups, part_number=np.where(own, subgroups.part_number, together))

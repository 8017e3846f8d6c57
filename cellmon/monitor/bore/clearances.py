"""What room the part that goes into a bore would have, by the bore's last readings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cellmon.errors import NotFound
from cellmon.monitor.bore.rounds import Round
from cellmon.monitor.bore.terms import Terms
from cellmon.monitor.fit_parts import expansions, fit_mates
from cellmon.monitor.view import View
from cellmon.records import Verdict
from cellmon.words import say


@dataclass(frozen=True, kw_only=True)
class BoreClearance:
    """Bore less mating part on diameter, µm; the mating part's size counts from the bore's nominal.

    `verdict` is None where the sheet names no clearance; what the gauge does not know is not counted in it.
    """

    mating_part: str
    mating_um: float
    least_um: float
    mean_um: float
    greatest_um: float
    lower_um: float | None
    upper_um: float | None
    verdict: Verdict | None
    notes: tuple[str, ...]


def clearance_of(view: View, terms: Terms, one: Round, mating_part: str) -> BoreClearance:
    """Return the clearance of one mating part in a bore.

    Raises
    ------
    NotFound
        When no such part was measured (file kind `mating-parts`).
    """
    mates = fit_mates(view, terms.part, expansions(view, terms.part).mating)
    found = np.flatnonzero(mates.part == mating_part)
    if not len(found):
        raise NotFound(say("no mating part {part} of this bore size was measured", part=mating_part))
    um, bore = float(mates.um[found[-1]]), terms.referred(one)
    least, greatest = float(np.nanmin(bore)) - um, float(np.nanmax(bore)) - um
    fit = view.sheet.fit
    lower = None if fit is None else fit.clearance_lower_um
    upper = None if fit is None else fit.clearance_upper_um
    verdict = None
    if lower is not None or upper is not None:
        inside = (lower is None or least >= lower) and (upper is None or greatest <= upper)
        verdict = Verdict.CONFORMS if inside else Verdict.DOES_NOT_CONFORM
    return BoreClearance(
        mating_part=mating_part,
        mating_um=um,
        least_um=least,
        mean_um=float(np.nanmean(bore)) - um,
        greatest_um=greatest,
        lower_um=lower,
        upper_um=upper,
        verdict=verdict,
        notes=mates.notes,
    )

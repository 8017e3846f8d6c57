"""Fit: what clearance the assembly gets, what grades do about it, and which part goes into which bore."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from cellmon import lengths
from cellmon.errors import WrongUsage
from cellmon.fits.clearance import Clearance, Limits, clearance, growth_of_clearance_um, shares_by_part
from cellmon.fits.grades import Grade, Grading, best_borders, equal_borders, grading, misgraded_share
from cellmon.fits.pairing import pair_up
from cellmon.local import number, significant
from cellmon.monitor.answers import Answer, Estimate
from cellmon.monitor.fit_parts import (
    Expansions,
    FitBores,
    FitMates,
    expansions,
    fit_bores,
    fit_mates,
    temperatures_refused,
)
from cellmon.monitor.judge.verdict import standard_uncertainty
from cellmon.monitor.view import View
from cellmon.sheet import Fit, Part
from cellmon.units import REFERENCE_TEMPERATURE_C
from cellmon.words import say, to_say

__all__ = ["FitAnswer", "FitPair", "Grade", "Grading", "LeftOver", "PairList", "Population", "fit"]

GRADES = 3
"""How many grades where neither the sheet nor a person says."""
CAUTION = to_say(
    "A pairing list says what was measured. Measure both parts clean and at one temperature; the drawing and "
    "the maker's manual decide the clearance."
)


@dataclass(frozen=True, kw_only=True)
class Population:
    """One side of the fit; micrometres from the bore's nominal, at 20 degrees."""

    n: int
    mean_um: float
    sd_um: float


@dataclass(frozen=True, kw_only=True)
class FitPair:
    """One bore and the part that goes into it."""

    part: str
    bore: str
    bore_um: float
    mating_part: str
    mating_um: float
    clearance_um: float


@dataclass(frozen=True, kw_only=True)
class LeftOver:
    """A bore without a part, or a mating part (bore None) without one."""

    part: str
    bore: str | None
    um: float


@dataclass(frozen=True, kw_only=True)
class PairList:
    """The pairing list of the parts at hand."""

    pairs: tuple[FitPair, ...]
    left_bores: tuple[LeftOver, ...]
    left_mates: tuple[LeftOver, ...]
    nearest: bool


@dataclass(frozen=True, kw_only=True)
class FitAnswer(Answer):
    """Clearance by chance, by grades and pair by pair."""

    sentence: str
    caution: str
    part_number: str
    at_c: float
    growth_um: float
    """How much larger every clearance is at this temperature than at 20 degrees."""
    lower_um: float
    upper_um: float
    bores: Population
    mates: Population
    bore_size: str
    mean_um: float
    sd_um: float
    outside: Estimate
    below: float
    above: float
    outside_if_normal: float
    below_at_least_size: float
    """Share too tight where each bore counts with its least two-point size."""
    at_hand_bores: int
    at_hand_mates: int
    grades: Grading
    best: tuple[Grading, ...]
    """The best borders of one grade, two, and so on."""
    misgraded: float | None
    """Share of bores that the gauge puts into a wrong grade."""
    pairing: PairList | None
    notes: tuple[str, ...]


def fit(
    view: View,
    *,
    grades: int | None = None,
    pairs: bool = False,
    at_c: float = REFERENCE_TEMPERATURE_C,
    part_number: str | None = None,
    since: datetime | None = None,
    until: datetime | None = None,
) -> FitAnswer:
    """Answer with clearance and matching; the bores of the last week unless said otherwise.

    Grades and pairs are of the parts at hand: the newest bores, as many as there are mating parts.

    Raises
    ------
    WrongUsage
        Without clearance limits in the sheet, or an expansion that is needed.
    NotEnoughData
        Without bores or mating parts.
    """
    asked, part = view.sheet.fit, view.sheet.part(part_number)
    limits, known = _limits(asked), expansions(view, part)
    temperatures_refused(known, at_c)
    growth = _growth(part, known, at_c)
    bores = fit_bores(view, part, since=since, until=until)
    mates = fit_mates(view, part, known.mating)
    found = clearance(bores.um, mates.um, limits, growth_um=growth)
    tight, _ = shares_by_part(bores.least_um + growth, mates.um, limits)
    at_20 = Limits(lower=limits.lower - growth, upper=limits.upper - growth)
    hand = bores.um[-len(mates.um) :]
    borders = _borders(asked, part, bores, grades)
    graded = grading(hand, mates.um, at_20, borders_um=borders)
    best = _best(hand, mates.um, at_20, len(borders) + 1)
    return FitAnswer(
        **view.head(),
        sentence=_sentence(found, limits, at_c, best),
        caution=say(CAUTION),
        part_number=part.number,
        at_c=at_c,
        growth_um=growth,
        lower_um=limits.lower,
        upper_um=limits.upper,
        bores=_population(bores.um),
        mates=_population(mates.um),
        bore_size=bores.size,
        mean_um=found.mean,
        sd_um=found.sd,
        outside=Estimate.of(found.outside, confidence=found.outside.confidence),
        below=found.below,
        above=found.above,
        outside_if_normal=found.outside_if_normal,
        below_at_least_size=float(tight.mean()),
        at_hand_bores=len(hand),
        at_hand_mates=len(mates.um),
        grades=graded,
        best=best,
        misgraded=_misgraded(view, bores, borders),
        pairing=_pairing(bores, mates, limits, growth) if pairs else None,
        notes=(*bores.notes, *mates.notes),
    )


def _limits(asked: Fit | None) -> Limits:
    if asked is None or asked.clearance_lower_um is None or asked.clearance_upper_um is None:
        raise WrongUsage(
            say("the sheet allows no clearance: [fit] needs clearance_lower_um and clearance_upper_um")
        )
    return Limits(lower=asked.clearance_lower_um, upper=asked.clearance_upper_um)


def _growth(part: Part, known: Expansions, at_c: float) -> float:
    if known.bore is None or known.mating is None:
        return 0.0
    return growth_of_clearance_um(
        part.diameter.nominal,
        bore_expansion=known.bore,
        mating_expansion=known.mating,
        bore_c=at_c,
        mating_c=at_c,
    )


def _borders(asked: Fit | None, part: Part, bores: FitBores, grades: int | None) -> tuple[float, ...]:
    """Return the sheet's borders, or equal ones over the tolerance, or over the sizes without one."""
    if grades is None and asked is not None and asked.borders_um is not None:
        return asked.borders_um
    count = grades or (asked.grades if asked is not None else None) or GRADES
    lower, upper = part.diameter.lower_um, part.diameter.upper_um
    if lower is None or upper is None:
        lower, upper = float(bores.um.min()), float(bores.um.max())
    return equal_borders(lower, upper, grades=count)


def _best(bores: np.ndarray, mates: np.ndarray, limits: Limits, most: int) -> tuple[Grading, ...]:
    found = []
    for count in range(1, most + 1):
        try:
            found.append(best_borders(bores, mates, limits, grades=count))
        except WrongUsage:  # the sizes do not reach over so many borders
            break
    return tuple(found)


def _misgraded(view: View, bores: FitBores, borders: tuple[float, ...]) -> float | None:
    u = standard_uncertainty(view.sheet, bores.size)
    return misgraded_share(bores.um, borders_um=borders, u_um=u) if u > 0 else None


def _population(um: np.ndarray) -> Population:
    return Population(n=len(um), mean_um=float(um.mean()), sd_um=float(um.std(ddof=1)))


def _pairing(bores: FitBores, mates: FitMates, limits: Limits, growth: float) -> PairList:
    first = max(0, len(bores.um) - len(mates.um))
    found = pair_up(bores.um[first:], mates.um, limits, growth_um=growth)
    rows = zip(found.bore.tolist(), found.mate.tolist(), found.clearance_um.tolist(), strict=True)
    return PairList(
        pairs=tuple(
            FitPair(
                part=bores.part[first + b],
                bore=bores.bore[first + b],
                bore_um=float(bores.um[first + b]),
                mating_part=mates.part[m],
                mating_um=float(mates.um[m]),
                clearance_um=um,
            )
            for b, m, um in rows
        ),
        left_bores=tuple(
            LeftOver(part=bores.part[first + b], bore=bores.bore[first + b], um=float(bores.um[first + b]))
            for b in found.left_bores
        ),
        left_mates=tuple(
            LeftOver(part=mates.part[m], bore=None, um=float(mates.um[m])) for m in found.left_mates
        ),
        nearest=found.nearest,
    )


def _sentence(found: Clearance, limits: Limits, at_c: float, best: tuple[Grading, ...]) -> str:
    o = found.outside
    words = say(
        "Taken as they come at {at} degrees, {share} % of clearances lie outside {lower} to {upper} "
        "({low} to {high} %); their mean is {mean}.",
        at=significant(at_c),
        share=number(100 * o.value, 1),
        lower=lengths.bare(limits.lower, None),
        upper=lengths.said(limits.upper, None),
        low=number(100 * o.low, 1),
        high=number(100 * o.high, 1),
        mean=lengths.said(found.mean, 1),
    )
    if len(best) < 2:
        return words
    last = best[-1]
    graded = say(
        "The best {grades} grades pair {pairs}, {share} % outside.",
        grades=len(last.grades),
        pairs=last.pairs,
        share=number(100 * last.outside, 1),
    )
    return f"{words} {graded}"

"""The two populations of a fit: bores that may be assembled, and the mating parts measured so far."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from cellmon import lengths
from cellmon.bores.temperature import size_at_20
from cellmon.capability.window import effective_bores, find_trend
from cellmon.errors import NoSpread, NotEnoughData, WrongUsage
from cellmon.judged import SIZE_COLUMNS, Bores
from cellmon.local import number
from cellmon.monitor.judge.doubts import CONTEXT_FLAGS
from cellmon.monitor.latest import last_moment
from cellmon.monitor.view import View
from cellmon.records import Kind, MatingParts, Numbers, Texts
from cellmon.sheet import EXPANSION_PER_C, Part
from cellmon.shifts import to_utc
from cellmon.units import REFERENCE_TEMPERATURE_C, UM_PER, LengthUnit
from cellmon.words import say

WINDOW = timedelta(days=7)


@dataclass(frozen=True, kw_only=True, eq=False)
class FitBores:
    """Bores that may take a part, oldest first, sizes at 20 degrees."""

    part: Texts
    bore: Texts
    um: Numbers
    least_um: Numbers
    size: str
    notes: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class FitMates:
    """Mating parts, micrometres from the bore's nominal at 20 degrees."""

    part: Texts
    um: Numbers
    notes: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Expansions:
    """Linear expansion of both materials, 1/K; None where the sheet does not say."""

    bore: float | None
    mating: float | None


def expansions(view: View, part: Part) -> Expansions:
    """Return what the sheet says both parts expand by."""
    fit = view.sheet.fit
    named = None if fit is None or fit.mating_material is None else fit.mating_material.lower()
    mating = None if fit is None else fit.mating_expansion_per_c
    return Expansions(
        bore=part.expansion, mating=mating or (None if named is None else EXPANSION_PER_C.get(named))
    )


def fit_bores(view: View, part: Part, *, since: datetime | None, until: datetime | None) -> FitBores:
    """Return the bores of some time that may be assembled: charted, not doubted, not out, not scrapped."""
    end = view.as_of if until is None else to_utc(until)
    start = end - np.timedelta64(WINDOW) if since is None else to_utc(since)
    bores = view.session.bores(start=start, end=end, charted=True)
    bores = bores.select(bores.part_number == part.number)
    column, notes = SIZE_COLUMNS.get(part.diameter.size), []
    if column is None:
        column = "average"
        notes.append(
            say(
                "a {size} size needs a trace of each bore: the average of two-point sizes stands for it",
                size=part.diameter.size,
            )
        )
    if view.sheet.measuring.temperature in (None, "as-read"):
        notes.append(say("bores are as read: their sizes are taken as those at 20 degrees"))
    kept = bores.select(_usable(view, bores))
    notes += _moved(kept, getattr(kept, column))
    if len(kept) < len(bores):
        notes.append(
            say(
                "{out} of {bores} bores are left out: doubted, incomplete, scrapped or not conforming",
                out=len(bores) - len(kept),
                bores=len(bores),
            )
        )
    return FitBores(
        part=kept.part,
        bore=kept.bore,
        um=getattr(kept, column),
        least_um=kept.least,
        size=column.replace("_", "-"),
        notes=tuple(notes),
    )


def _moved(bores: Bores, um: Numbers) -> list[str]:
    """Return that the level moved inside the window, which the interval of the share does not know."""
    ways, worth = [], 1.0
    for spindle, bore in sorted(set(zip(bores.spindle.tolist(), bores.bore.tolist(), strict=True))):
        mine = um[(bores.spindle == spindle) & (bores.bore == bore)]
        try:
            trend = find_trend(mine)
            worth = min(worth, effective_bores(mine).for_mean / len(mine))
        except (NotEnoughData, NoSpread):
            continue
        if trend.matters:
            ways.append((say("{spindle} bore {bore}", spindle=spindle, bore=bore), trend.way))
    if ways:
        return [_moved_words(ways)]
    if worth < NOTED:
        return [
            say(
                "neighbouring bores are alike: of some stream they are worth only {share} % as many "
                "independent ones, so the interval of the share is narrower than meant",
                share=number(100 * worth),
            )
        ]
    return []


def _moved_words(ways: list[tuple[str, float]]) -> str:
    name, way = max(ways, key=lambda one: abs(one[1]))
    known = {"stream": name, "way": lengths.said(way, 1, sign=True)}
    if len(ways) == 1:
        return say(
            "the level moved in this time ({stream} by {way} from first to last): the share is that of "
            "the whole time, its interval narrower than meant, and newer bores lie elsewhere",
            **known,
        )
    return say(
        "the level moved in this time ({stream} by {way} from first to last, the most of {count} "
        "streams): the share is that of the whole time, its interval narrower than meant, and newer bores "
        "lie elsewhere",
        **known,
        count=len(ways),
    )


NOTED = 0.8
"""Share of independent bores below which it is said."""


def _usable(view: View, bores: Bores) -> np.ndarray:
    doubted = (bores.flags & ~CONTEXT_FLAGS) != 0
    scrapped = {
        part
        for decision in view.session.decisions("release")
        if decision.body["as"] == "scrapped"
        for part in decision.body["parts"]
    }
    gone = np.isin(bores.part.astype(str), sorted(scrapped)) if scrapped else np.zeros(len(bores), dtype=bool)
    return np.asarray(~doubted & ~gone & (bores.verdict >= 0) & np.isfinite(bores.least))


def fit_mates(view: View, part: Part, expansion: float | None) -> FitMates:
    """Return every mating part once, by its newest measurement, referred to 20 degrees."""
    rows: MatingParts = view.session.rows(Kind.MATING_PARTS)
    rows = rows.select(~(rows.at > last_moment(view, Kind.MATING_PARTS)))
    other = np.array([number not in (None, part.number) for number in rows.part_number], dtype=bool)
    rows, apart = rows.select(~other), int(other.sum())
    near = np.abs(rows.diameter_mm / part.diameter.nominal - 1) <= _NEAR
    rows, notes = rows.select(near), []
    if apart:
        notes.append(
            say(
                "{count} mating parts are named for another drawing than {part}",
                count=apart,
                part=part.number,
            )
        )
    elif len(view.sheet.parts) > 1 and (rows.part_number == np.array(None, dtype=object)).any():
        notes.append(say("mating parts without a part_number are taken as those of {part}", part=part.number))
    if not near.all():
        notes.append(say("{count} mating parts belong to another bore size", count=int((~near).sum())))
    rows = rows.select(_newest(rows))
    heights = np.unique(rows.height_mm[np.isfinite(rows.height_mm)])
    if len(heights) > 1:
        rows = rows.select(_largest(rows))
        notes.append(say("mating parts measured at several heights count with their largest diameter"))
    mm = rows.diameter_mm
    warm = np.isfinite(rows.temp_c)
    if expansion is not None and warm.any():
        mm = np.where(warm, size_at_20(mm, part_c=rows.temp_c, part_expansion=expansion), mm)
        notes.append(_referred(rows.temp_c[warm], len(rows)))
    elif warm.any():
        notes.append(say("the sheet gives no expansion of the mating parts: their temperatures are not used"))
    um = (mm - part.diameter.nominal) * UM_PER[LengthUnit.MM]
    return FitMates(part=rows.part, um=um, notes=tuple(notes))


_NEAR = 0.02


def _newest(rows: MatingParts) -> np.ndarray:
    """Return the rows that are the last of their part and height."""
    moments = np.where(np.isnat(rows.at), np.datetime64(0, "us"), rows.at)
    order = np.lexsort((np.arange(len(rows)), moments))
    last: dict[tuple[str, float | None], int] = {}
    for i in order:
        height = float(rows.height_mm[i])
        last[rows.part[i], None if np.isnan(height) else height] = int(i)
    return np.array(sorted(last.values()), dtype=np.int64)


def _largest(rows: MatingParts) -> np.ndarray:
    best: dict[str, int] = {}
    for i in range(len(rows)):
        held = best.get(rows.part[i])
        if held is None or rows.diameter_mm[i] > rows.diameter_mm[held]:
            best[rows.part[i]] = i
    return np.array(sorted(best.values()), dtype=np.int64)


def _referred(temperatures: Numbers, count: int) -> str:
    mean = number(float(temperatures.mean()), 1)
    rest = count - len(temperatures)
    if not rest:
        return say(
            "mating parts are referred to 20 degrees by their own expansion, from {mean} on average",
            mean=mean,
        )
    return say(
        "mating parts are referred to 20 degrees by their own expansion, from {mean} on average; {rest} "
        "without a temperature are taken as at 20",
        mean=mean,
        rest=rest,
    )


def temperatures_refused(found: Expansions, at_c: float) -> None:
    """Refuse another temperature than 20 where an expansion is not known.

    Raises
    ------
    WrongUsage
        Naming the key of the sheet that is missing.
    """
    if at_c == REFERENCE_TEMPERATURE_C:
        return
    if found.bore is None:
        raise WrongUsage(say("clearance at another temperature needs part.material or part.expansion_per_c"))
    if found.mating is None:
        raise WrongUsage(
            say("clearance at another temperature needs fit.mating_material or fit.mating_expansion_per_c")
        )

"""The uncertainty budget of one reading of a gauge, beside what the sheet uses."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from cellmon import lengths
from cellmon.gauge.budget import (
    Contribution,
    combined,
    comparison_uncertainty_um,
    resolution_uncertainty,
)
from cellmon.judged import Bores
from cellmon.local import number, significant
from cellmon.monitor.gauge.checks import MasterChecks
from cellmon.monitor.gauge.studies import StudyAnswer
from cellmon.monitor.gauge.study_feature import ONE_READING, StudyFeature
from cellmon.monitor.view import View
from cellmon.sheet import Sheet, Uncertainty, Zeroing
from cellmon.words import say

COMMON, READING = "common", "reading"
NEAR = 1.15
"""Budget and sheet agree where neither is larger by more than this factor."""


@dataclass(frozen=True, kw_only=True)
class BudgetLine:
    """One source of doubt of one reading; standard uncertainty, micrometres."""

    name: str
    u_um: float | None
    df: float | None
    """None: taken as known."""
    part: str
    """`common`: shared by all readings of a bore; `reading`: of each alone."""
    counted: bool
    source: str


@dataclass(frozen=True, kw_only=True)
class Budget:
    """The uncertainty of one reading of one gauge, beside what the sheet says; micrometres."""

    gauge: str
    lines: tuple[BudgetLine, ...]
    common_um: float
    reading_um: float | None
    u_um: float | None
    df: float | None
    coverage: float
    expanded_um: float | None
    sheet_common_um: float | None
    sheet_reading_um: float | None
    sheet_expanded_um: float | None
    of_tolerance: float | None
    """Twice the expanded uncertainty over the tolerance, per cent: the part of it that nobody can decide."""
    sentence: str


def budget(
    view: View, gauge: str, checks: MasterChecks | None, studies: Sequence[StudyAnswer], bores: Bores
) -> Budget:
    """Return the budget of one reading of a gauge."""
    sheet = view.sheet
    known = sheet.uncertainty or Uncertainty()
    lines = [
        *_own(sheet, gauge, _newest(studies, gauge)),
        _master(known, stated=sheet.uncertainty is not None),
        _zero(checks),
        *_temperature(sheet, known, bores),
    ]
    common = combined([_counted(line) for line in lines if line.counted and line.part == COMMON])
    own = [_counted(line) for line in lines if line.counted and line.part == READING]
    reading = combined(own) if own else None
    whole = combined([_counted(line) for line in lines if line.counted]) if own else None
    size = sheet.part().diameter
    width = None
    if size.lower_um is not None and size.upper_um is not None:
        width = size.upper_um - size.lower_um
    expanded = None if whole is None else whole.expanded()
    streams = gauge in sheet.stream_gauges
    sheet_common = sheet.measuring.common_um if streams else None
    sheet_reading = sheet.gauge(gauge).uncertainty_reading_um if gauge in sheet.gauge_ids else None
    found = Budget(
        gauge=gauge,
        lines=tuple(lines),
        common_um=common.u,
        reading_um=None if reading is None else reading.u,
        u_um=None if whole is None else whole.u,
        df=None if whole is None or math.isinf(whole.df) else whole.df,
        coverage=2.0,
        expanded_um=expanded,
        sheet_common_um=sheet_common,
        sheet_reading_um=sheet_reading,
        sheet_expanded_um=_expanded(sheet_common, sheet_reading),
        of_tolerance=None if expanded is None or not width else 200 * expanded / width,
        sentence="",
    )
    return replace(found, sentence=_compared(found, streams=streams, assumed=sheet.uncertainty is None))


def _expanded(common: float | None, reading: float | None) -> float | None:
    if common is None and reading is None:
        return None
    return 2 * math.hypot(common or 0.0, reading or 0.0)


def _compared(found: Budget, *, streams: bool, assumed: bool) -> str:
    """Say in words where budget and sheet differ, and what follows."""
    if found.expanded_um is None or found.reading_um is None:
        return say("No budget: neither a study nor the sheet says how well it repeats.")
    known = lengths.said(found.expanded_um, 2)
    alone = _one_compared(say("one reading alone"), found.reading_um, found.sheet_reading_um)
    if not streams:
        first = say("One reading is known to ±{known} (k = 2).", known=known)
        return " ".join([first, alone, say("Verdicts do not use this gauge.")])
    if found.sheet_expanded_um is None:
        return say(
            "One reading is known to ±{known} (k = 2); the sheet states no uncertainty, so no guard band "
            "is taken.",
            known=known,
        )
    used = lengths.bare(found.sheet_expanded_um, 2)
    said = [
        say("One reading is known to ±{known} (k = 2); the sheet uses ±{used}.", known=known, used=used),
        _one_compared(say("what all readings of a bore share"), found.common_um, found.sheet_common_um),
        alone,
    ]
    if found.expanded_um > NEAR * found.sheet_expanded_um:
        said.append(say("Guard bands are narrower than they should be."))
    if assumed:
        said.append(say("Master and temperatures are assumed; [uncertainty] of the sheet takes yours."))
    return " ".join(said)


def _one_compared(name: str, mine: float, theirs: float | None) -> str:
    figures = {"name": name, "mine": lengths.bare(mine, 2)}
    if theirs is None:
        return say("For {name} the sheet says nothing; the budget says {mine}.", **figures)
    figures["theirs"] = lengths.said(theirs, 2)
    if mine > NEAR * theirs:
        return say("For {name} the sheet's {theirs} is too small: the budget says {mine}.", **figures)
    if theirs > NEAR * mine:
        return say("For {name} the sheet's {theirs} is on the safe side: the budget says {mine}.", **figures)
    return say("For {name} both agree ({mine} and {theirs}).", **figures)


def _newest(studies: Sequence[StudyAnswer], gauge: str) -> StudyFeature | None:
    """Return what the newest study says of one reading; one with persons before others, a master last."""
    mine = [one for s in studies if s.gauge == gauge and (one := s.of(ONE_READING)) is not None]
    mine = [one for one in mine if one.gauge_um is not None]
    on_parts = [one for one in mine if one.part_um is not None]
    with_persons = [one for one in on_parts if one.operators > 1]
    best = with_persons or on_parts or mine
    return best[-1] if best else None


def _own(sheet: Sheet, gauge: str, study: StudyFeature | None) -> list[BudgetLine]:
    """Return repetition and resolution; the larger counts, because what is repeated is rounded already."""
    stated = sheet.gauge(gauge) if gauge in sheet.gauge_ids else None
    step = stated.resolution_um if stated else None
    if study is not None and study.gauge_um is not None and study.gauge_um.value is not None:
        repeat: float | None = study.gauge_um.value
        df, source = study.gauge_df, _of_study(study)
    else:
        repeat = stated.uncertainty_reading_um if stated else None
        df, source = None, say("from the sheet: no study of this gauge is known")
    rounding = None if step is None else resolution_uncertainty(step)
    by_step = rounding is not None and rounding > (repeat or 0.0)
    return [
        BudgetLine(
            name=say("repetition"),
            u_um=repeat,
            df=df,
            part=READING,
            counted=repeat is not None and not by_step,
            source=source if repeat is not None else say("not known: no study, nothing on the sheet"),
        ),
        BudgetLine(
            name=say("resolution"),
            u_um=rounding,
            df=None,
            part=READING,
            counted=by_step,
            source=_of_steps(step, counted=by_step),
        ),
    ]


def _of_study(study: StudyFeature) -> str:
    if study.operators > 1:
        return say("from the study, {places} places, persons included", places=study.parts)
    return say("from the study, {places} places, no persons in it", places=study.parts)


def _of_steps(step: float | None, *, counted: bool) -> str:
    if step is None:
        return say("not on the sheet")
    if counted:
        return say("steps of {step}; counted", step=lengths.said(step, None))
    return say("steps of {step}; in the repetition already", step=lengths.said(step, None))


def _master(known: Uncertainty, *, stated: bool) -> BudgetLine:
    assumed = say(
        "assumed: a ring calibrated to {size} (k = 2); say yours in [uncertainty] master_um",
        size=lengths.said(0.5),
    )
    return BudgetLine(
        name=say("master"),
        u_um=known.master_um,
        df=None,
        part=COMMON,
        counted=True,
        source=say("from the sheet, [uncertainty] master_um") if stated else assumed,
    )


def _zero(checks: MasterChecks | None) -> BudgetLine:
    mean, sd = (checks.zero_um, checks.zero_sd_um) if checks else (None, None)
    if checks is None or mean is None or mean.value is None:
        why = say("no master checks are known")
        return BudgetLine(name=say("zero"), u_um=None, df=None, part=COMMON, counted=False, source=why)
    off = math.hypot(mean.value, sd.value if sd and sd.value else 0.0)
    return BudgetLine(
        name=say("zero"),
        u_um=off,
        df=float(checks.zero_n - 1),
        part=COMMON,
        counted=True,
        source=say(
            "{count} as-found checks within the limit, off by so much (root mean square)",
            count=checks.zero_n,
        ),
    )


def _temperature(sheet: Sheet, known: Uncertainty, bores: Bores) -> list[BudgetLine]:
    part, measuring, name = sheet.part(), sheet.measuring, say("temperature")
    if part.expansion is None:
        why = say("the sheet does not say how the part expands")
        return [BudgetLine(name=name, u_um=None, df=None, part=COMMON, counted=False, source=why)]
    zero = measuring.zeroed_at or Zeroing()
    temps = bores.part_temp_c[np.isfinite(bores.part_temp_c)]
    above = float(np.sqrt(((temps - zero.part_c) ** 2).mean())) if len(temps) else 0.0
    u = comparison_uncertainty_um(
        part.diameter.nominal,
        part_expansion=part.expansion,
        master_expansion=measuring.master_expansion_per_c,
        above_c=above,
        part_c=known.part_temp_c,
        master_c=known.master_temp_c,
        expansion_share=known.expansion_share,
    )
    how = say("from the sheet") if sheet.uncertainty else say("assumed")
    lines = [
        BudgetLine(
            name=name,
            u_um=u,
            df=None,
            part=COMMON,
            counted=True,
            source=say(
                "{how}: part to {part} C, master to {master} C, expansion to {share} %, {above} C from the "
                "zeroing",
                how=how,
                part=significant(known.part_temp_c),
                master=significant(known.master_temp_c),
                share=significant(100 * known.expansion_share),
                above=number(above, 1),
            ),
        )
    ]
    high = bores.thermal[np.isfinite(bores.thermal)]
    if measuring.temperature != "correct" and len(high):
        lines.append(
            BudgetLine(
                name=say("not corrected"),
                u_um=float(np.sqrt((high**2).mean())),
                df=None,
                part=COMMON,
                counted=True,
                source=say("what part and master temperatures made bores read off, as they were logged"),
            )
        )
    return lines


def _counted(line: BudgetLine) -> Contribution:
    return Contribution(name=line.name, u=line.u_um or 0.0, df=math.inf if line.df is None else line.df)

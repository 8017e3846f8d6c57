"""What the verdict on a bore rests on: every figure against its limits, with the guard band."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from cellmon.gauge.decision import guard_factor
from cellmon.judged import VERDICTS, Bores
from cellmon.monitor.judge.verdict import judged_figures
from cellmon.records import Verdict
from cellmon.records.words import feature_words
from cellmon.sheet import Sheet
from cellmon.words import say


@dataclass(frozen=True, kw_only=True)
class JudgedAgainst:
    """One figure of a bore against its limits; micrometres, or the feature's unit."""

    feature: str
    figure: str
    """Which figure is judged: `average`, `least`, `greatest`, or the feature itself."""
    value_um: float | None
    lower_um: float | None
    upper_um: float | None
    u_um: float
    """Standard uncertainty of the figure (k = 1)."""
    guard_um: float
    """Guard band at each limit; 0 under the simple rule."""
    verdict: Verdict


class Judged(Protocol):
    """A measurement, as far as its judged figures go."""

    @property
    def judged(self) -> tuple[JudgedAgainst, ...]: ...


@dataclass(frozen=True, kw_only=True)
class FigureOfBores:
    """One judged figure of several measurements that share its limits; `of[i]` is None where one lacks it."""

    feature: str
    figure: str
    lower_um: float | None
    upper_um: float | None
    u_um: float
    guard_um: float
    of: tuple[JudgedAgainst | None, ...]


def side_by_side(measurements: Sequence[Judged]) -> tuple[FigureOfBores, ...]:
    """Return every judged figure of some measurements once for each set of limits, in the sheet's order."""
    found: dict[tuple[object, ...], list[JudgedAgainst | None]] = {}
    for i, m in enumerate(measurements):
        for j in m.judged:
            key = (j.feature, j.figure, j.lower_um, j.upper_um, j.u_um, j.guard_um)
            found.setdefault(key, [None] * len(measurements))[i] = j
    rows = []
    for of in found.values():
        one = next(j for j in of if j is not None)
        rows.append(
            FigureOfBores(
                feature=one.feature,
                figure=one.figure,
                lower_um=one.lower_um,
                upper_um=one.upper_um,
                u_um=one.u_um,
                guard_um=one.guard_um,
                of=tuple(of),
            )
        )
    return tuple(rows)


def figure_name(feature: str, figure: str) -> str:
    """Return what a judged figure is called: `diameter, least`, `taper`, `ovality of the worst plane`."""
    if figure == f"{feature}_worst":
        return say("{feature} of the worst plane", feature=feature_words(feature))
    name = feature_words(feature)
    return name if figure == feature else f"{name}, {feature_words(figure)}"


def judged_against(bores: Bores, i: int, sheet: Sheet) -> Iterator[JudgedAgainst]:
    """Yield every figure that the verdict on one row rests on, with its limits."""
    one, decision = bores.select(slice(i, i + 1)), sheet.decision
    part = next((p for p in sheet.parts if p.number == bores.part_number[i]), None)
    if part is None:
        return
    for figure in judged_figures(one, sheet, part):
        if figure.lower is None and figure.upper is None:
            continue
        guard = guard_factor(decision.conformance) * figure.u if decision.rule == "guarded" else 0.0
        yield JudgedAgainst(
            feature=figure.feature,
            figure=figure.column,
            value_um=float(figure.values[0]) if np.isfinite(figure.values[0]) else None,
            lower_um=figure.lower,
            upper_um=figure.upper,
            u_um=figure.u,
            guard_um=guard,
            verdict=VERDICTS[int(figure.codes[0])],
        )

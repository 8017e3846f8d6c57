"""Inspection results as other programs take them: characteristics of the drawing, and each measured value."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

import numpy as np

from cellmon.errors import NotFound, WrongUsage
from cellmon.judged import VERDICTS, Bores
from cellmon.local import number
from cellmon.monitor.answers import Answer
from cellmon.monitor.judge.doubts import CONTEXT_FLAGS
from cellmon.monitor.judge.verdict import JudgedFigure, judged_figures
from cellmon.monitor.traced_bore import BoreTraces, TraceFigure
from cellmon.monitor.traces import traces
from cellmon.monitor.view import View
from cellmon.records import Verdict
from cellmon.sheet import Part
from cellmon.shifts import to_utc
from cellmon.words import say


class Quantity(StrEnum):
    """What sort of characteristic a value is of."""

    DIAMETER = "diameter"
    CIRCULARITY = "circularity"
    CYLINDRICITY = "cylindricity"
    LENGTH = "length"


WHAT = {
    "least": "least of the two-point sizes of the bore",
    "greatest": "greatest of the two-point sizes of the bore",
    "average": "mean of the two-point sizes of the bore",
    "mid_range": "middle between least and greatest two-point size of the bore",
    "taper": "signed: diameter at the plane of least depth less that at the plane of greatest depth",
    "barrel": "signed: diameter near half depth less the mean of the outer two planes",
    "twist": "signed: ovality of the top plane less that of the bottom plane",
    "ovality_worst": "signed: size at the lower angle less size at the higher one, worst plane",
    "roundness": "half of largest less smallest two-point size in the worst plane; blind to odd lobes",
    "size_range": "largest less smallest reading of the bore",
    "roundness_trace": "from traces, radial, worst plane",
    "cylindricity": "from traces over planes, radial",
}


@dataclass(frozen=True, kw_only=True)
class ResultCharacteristic:
    """One characteristic of one bore of a drawing; limits and nominal in millimetres."""

    key: int
    part_number: str
    revision: str | None
    bore: str
    feature: str
    column: str
    number: str | None
    quantity: Quantity
    what: str
    nominal_mm: float | None
    lower_mm: float | None
    upper_mm: float | None


@dataclass(frozen=True, kw_only=True)
class ResultValue:
    """One value; `verdict` by the sheet's rule, or undecided where a doubt about the readings stands."""

    characteristic: int
    serial: str
    at: datetime | None
    gauge: str | None
    value_mm: float
    verdict: Verdict


@dataclass(frozen=True, kw_only=True, eq=False)
class Results(Answer):
    """Every value of some blocks in time order; `left_out` names features that no length is."""

    cell: str
    rule: str
    characteristics: tuple[ResultCharacteristic, ...]
    gauges: tuple[str, ...]
    serials: tuple[str, ...]
    values: tuple[ResultValue, ...]
    left_out: tuple[str, ...]


MOST_BORES = 200_000
"""So many bores one answer carries; they make a file of half a gigabyte."""


def results(
    view: View, *, part: str | None = None, since: datetime | None = None, until: datetime | None = None
) -> Results:
    """Answer with the results of one block, or of all measured in some time.

    Raises
    ------
    NotFound
        When nothing was measured under that serial.
    WrongUsage
        When there are more bores than `MOST_BORES`.
    """
    start = None if since is None else to_utc(since)
    end = view.as_of if until is None else to_utc(until)
    bores = view.session.bores(start=start, end=end, part=part)
    bores = bores.select((bores.stage == "finish") & (bores.charted == 1 if part is None else True))
    if len(bores) > MOST_BORES:
        raise WrongUsage(
            say(
                "{bores} bores: results are given of {most} at most; narrow --since and --until",
                bores=number(len(bores)),
                most=number(MOST_BORES),
            )
        )
    if part is not None and not len(bores):
        raise NotFound(say("no part {part}", part=part))
    made = _Made()
    for drawing in view.sheet.parts:
        mine = bores.select(bores.part_number == drawing.number)
        for figure in judged_figures(mine, view.sheet, drawing):
            made.values += _values(view, made, drawing, mine, figure)
    first = since if since is not None or not len(bores) else view.local(bores.measured_at.min())
    for traced in _traced(view, part, first, until):
        made.values += _of_traces(view, made, traced)
    values = sorted(made.values, key=lambda v: (v.serial, v.characteristic, v.at is not None, v.at))
    return Results(
        **view.head(),
        cell=view.sheet.cell.name,
        rule=_rule(view),
        characteristics=tuple(made.known.values()),
        gauges=tuple(sorted({v.gauge for v in values if v.gauge is not None})),
        serials=tuple(dict.fromkeys(v.serial for v in values)),
        values=tuple(values),
        left_out=_left_out(view.sheet.parts),
    )


class _Made:
    """Characteristics and values as they are found."""

    def __init__(self) -> None:
        self.known: dict[tuple[str, str, str], ResultCharacteristic] = {}
        self.values: list[ResultValue] = []

    def characteristic(self, part: Part, bore: str, feature: str, column: str) -> ResultCharacteristic:
        """Return the characteristic of a bore, new or known."""
        key = (part.number, bore, column)
        if key not in self.known:
            self.known[key] = _characteristic(len(self.known), part, bore, feature, column)
        return self.known[key]


def _characteristic(key: int, part: Part, bore: str, name: str, column: str) -> ResultCharacteristic:
    feature = part.features[name]
    nominal = part.diameter.nominal if name == "diameter" else None
    lower, upper = feature.lower_um, feature.upper_um
    lower = None if column == "greatest" else lower
    upper = None if column == "least" else upper
    quantities = {
        "diameter": Quantity.DIAMETER,
        "roundness_trace": Quantity.CIRCULARITY,
        "cylindricity": Quantity.CYLINDRICITY,
    }
    return ResultCharacteristic(
        key=key,
        part_number=part.number,
        revision=part.revision,
        bore=bore,
        feature=name,
        column=column,
        number=feature.number,
        quantity=quantities.get(name, Quantity.LENGTH),
        what=WHAT.get(column, column.replace("_", " ")),
        nominal_mm=nominal,
        lower_mm=_mm(lower, nominal),
        upper_mm=_mm(upper, nominal),
    )


def _mm(um: float | None, nominal: float | None) -> float | None:
    return None if um is None else round((nominal or 0.0) + um / 1000.0, 7)


def _values(view: View, made: _Made, part: Part, bores: Bores, figure: JudgedFigure) -> Iterator[ResultValue]:
    nominal = part.diameter.nominal if figure.feature == "diameter" else 0.0
    doubted = (bores.flags & ~CONTEXT_FLAGS) != 0
    codes = np.where(doubted, 0, figure.codes)
    limited = figure.lower is not None or figure.upper is not None
    for i in np.flatnonzero(np.isfinite(figure.values) & limited):
        found = made.characteristic(part, str(bores.bore[i]), figure.feature, figure.column)
        yield ResultValue(
            characteristic=found.key,
            serial=str(bores.part[i]),
            at=view.local(bores.measured_at[i]),
            gauge=str(bores.gauge[i]),
            value_mm=round(nominal + float(figure.values[i]) / 1000.0, 7),
            verdict=VERDICTS[int(codes[i])],
        )


def _traced(
    view: View, part: str | None, since: datetime | None, until: datetime | None
) -> Sequence[BoreTraces]:
    try:
        return traces(view, part=part, since=since, until=until).bores
    except NotFound:
        return ()


def _of_traces(view: View, made: _Made, traced: BoreTraces) -> Iterator[ResultValue]:
    part = next((p for p in view.sheet.parts if p.number == traced.part_number), None)
    for figure in (traced.roundness_trace, traced.cylindricity):
        value = _judged(figure)
        if part is None or value is None or figure.feature not in part.features or figure.verdict is None:
            continue
        found = made.characteristic(part, traced.bore, figure.feature, figure.feature)
        yield ResultValue(
            characteristic=found.key,
            serial=traced.part,
            at=traced.at,
            gauge=traced.gauge,
            value_mm=round(value / 1000.0, 7),
            verdict=figure.verdict,
        )


def _judged(figure: TraceFigure) -> float | None:
    return figure.value_um if figure.used == "points" else figure.reported_um


def _rule(view: View) -> str:
    decision = view.sheet.decision
    return f"{decision.rule} at {100 * decision.conformance:g} %" if decision.rule == "guarded" else "simple"


def _left_out(parts: Sequence[Part]) -> tuple[str, ...]:
    return tuple(
        f"{part.number} {name}, {unit}"
        for part in parts
        for name, feature in part.features.items()
        if (unit := getattr(feature, "unit", None)) not in (None, "um", "µm")
    )

"""One traced bore: each section, the figures judged by the sheet, and what two points saw of it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np

from cellmon import lengths
from cellmon.errors import CellmonError
from cellmon.gauge.decision import guard_band, verdicts
from cellmon.judged import VERDICTS, Bores
from cellmon.monitor.judge.traced import cylindricity, filter_of, traced_size
from cellmon.monitor.traced_plane import PlaneTrace, plane_traces
from cellmon.monitor.view import View
from cellmon.records import TracePoints, Verdict
from cellmon.sheet import SIZES_OF_TRACES, TRACE_FEATURES, TRACE_SIZE, FormFeature, Part
from cellmon.words import say


@dataclass(frozen=True, kw_only=True)
class TraceFigure:
    """One feature of a bore from its traces, judged by the sheet."""

    feature: str
    value_um: float | None
    reported_um: float | None
    """What the instrument gave for the same bore and moment."""
    used: str | None
    """Which of the two was judged: points or reported."""
    upper_um: float | None
    guard_um: float | None
    reference: str
    filter_upr: float
    verdict: Verdict | None
    """None where the sheet sets no limit."""
    lower_um: float | None = None
    """Of a size; form has none."""
    why_not: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class SeenByGauge:
    """What the two-point gauge had read in the same bore."""

    gauge: str
    at: datetime
    roundness_um: float | None
    ovality_um: float | None


@dataclass(frozen=True, kw_only=True, eq=False)
class BoreTraces:
    """One bore as one instrument traced it at one moment."""

    part: str
    part_number: str
    bore: str
    spindle: str | None
    gauge: str | None
    at: datetime | None
    sentence: str
    roundness_trace: TraceFigure
    cylindricity: TraceFigure
    missed_um: float | None
    """Roundness of the worst plane less what two points see there."""
    seen: SeenByGauge | None
    planes: tuple[PlaneTrace, ...]
    diameter_trace: TraceFigure | None = None
    """The size, where the sheet names one that needs a trace."""

    @property
    def figures(self) -> tuple[TraceFigure, ...]:
        """Return every figure of the bore that the sheet takes from traces."""
        size = () if self.diameter_trace is None else (self.diameter_trace,)
        return (self.roundness_trace, self.cylindricity, *size)


@dataclass(frozen=True, kw_only=True, eq=False)
class Traced:
    """All that came of one bore at one moment: points, reported figures by feature, or both."""

    part: str
    bore: str
    spindle: str | None
    gauge: str | None
    at: np.datetime64
    points: TracePoints | None
    reported: Mapping[str, float]


def bore_traces(view: View, one: Traced, bores: Bores, *, curves: bool) -> BoreTraces:
    """Return one traced bore; `bores` is what the gauges of the cell measured of its block."""
    bores = bores.select(bores.bore == one.bore)
    part = _part_of(view, bores, one.bore)
    round_, cylinder = (filter_of(part, name) for name in TRACE_FEATURES)
    planes = () if one.points is None else plane_traces(view, one.points, part, round_, curves=curves)
    known = [p for p in planes if p.roundness_um is not None]
    worst = max(known, key=lambda p: p.roundness_um or 0.0, default=None)
    roundness = _figure(view, one, "roundness_trace", round_, *_worst_of(planes))
    return BoreTraces(
        part=one.part,
        part_number=part.number,
        bore=one.bore,
        spindle=one.spindle,
        gauge=one.gauge,
        at=None if np.isnat(one.at) else view.local(one.at),
        sentence=_bore_sentence(one.bore, roundness, worst),
        roundness_trace=roundness,
        cylindricity=_figure(view, one, "cylindricity", cylinder, *_tried(cylindricity, view, one, part)),
        missed_um=None if worst is None else worst.missed_um,
        seen=_seen(view, bores),
        planes=planes,
        diameter_trace=_sized(view, one, part) if part.sized_by_trace else None,
    )


def _sized(view: View, one: Traced, part: Part) -> TraceFigure:
    """Return the size of a traced bore, judged only where the sheet lets it decide."""
    limits = part.feature(TRACE_SIZE)
    assert isinstance(limits, FormFeature), "a part sized by its traces has the feature"
    given = {
        "lower": limits.lower if part.diameter.judge == "size" else None,
        "upper": limits.upper if part.diameter.judge == "size" else None,
        "reference": SIZES_OF_TRACES[part.diameter.size],
        "filter_upr": filter_of(part, "roundness_trace").filter_upr,
    }
    found = _tried(traced_size, view, one, part)
    return _figure(view, one, TRACE_SIZE, limits.model_copy(update=given), *found)


def _part_of(view: View, bores: Bores, bore: str) -> Part:
    """Return the drawing of a bore: as it was measured, else the first that has such a bore."""
    if len(bores):
        return view.sheet.part(bores.part_number[0])
    return next((p for p in view.sheet.parts if bore in p.bores), view.sheet.parts[0])


def _worst_of(planes: Sequence[PlaneTrace]) -> tuple[float | None, str | None]:
    """Return the roundness of the worst plane; one plane refused leaves the bore without."""
    if not planes:
        return None, say("no points of it were sent")
    refused = [p for p in planes if p.roundness_um is None]
    if refused:
        first = refused[0]
        return None, say("plane {plane}: {why}", plane=first.plane, why=first.why_not["roundness_um"])
    return max(p.roundness_um for p in planes if p.roundness_um is not None), None


def _tried(
    figure: Callable[[TracePoints, Part, Mapping[str, float]], float], view: View, one: Traced, part: Part
) -> tuple[float | None, str | None]:
    """Return a figure of a bore's points, or why there is none."""
    if one.points is None:
        return None, say("no points of it were sent")
    try:
        return figure(one.points, part, view.sheet.measuring.planes), None
    except CellmonError as refusal:
        return None, str(refusal)


def _figure(
    view: View, one: Traced, name: str, feature: FormFeature, value: float | None, refused: str | None
) -> TraceFigure:
    reported = one.reported.get(name)
    judged = reported if value is None else value
    why_not = {} if refused is None else {"value_um": refused}
    guarded, u = view.sheet.decision.rule == "guarded", _uncertainty(view, one.gauge)
    verdict = None
    if judged is not None and (feature.lower_um is not None or feature.upper_um is not None):
        verdict = _verdict(view, judged, feature, u)
        if guarded and u is None:
            why_not["verdict"] = _no_uncertainty(one.gauge)
    band = guarded and u is not None and verdict is not None
    return TraceFigure(
        feature=name,
        value_um=value,
        reported_um=reported,
        used=None if judged is None else "reported" if value is None else "points",
        lower_um=feature.lower_um,
        upper_um=feature.upper_um,
        guard_um=float(guard_band(u or 0.0, view.sheet.decision.conformance)) if band else None,
        reference=feature.reference,
        filter_upr=feature.filter_upr,
        verdict=verdict,
        why_not=why_not,
    )


def _no_uncertainty(gauge: str | None) -> str:
    if gauge is None:
        return say("the sheet states no uncertainty of gauge that traced it")
    return say("the sheet states no uncertainty of gauge {gauge}", gauge=gauge)


def _verdict(view: View, value: float, feature: FormFeature, u: float | None) -> Verdict:
    decision, (lower, upper) = view.sheet.decision, (feature.lower_um, feature.upper_um)
    code = verdicts(
        [value], lower=lower, upper=upper, u=u, rule=decision.rule, conformance=decision.conformance
    )[0]
    return VERDICTS[int(code)]


def _uncertainty(view: View, gauge: str | None) -> float | None:
    """Return the standard uncertainty that the sheet gives a figure of this instrument."""
    known = view.sheet.gauge_ids
    return view.sheet.gauge(gauge).uncertainty_reading_um if gauge in known and gauge is not None else None


def _seen(view: View, bores: Bores) -> SeenByGauge | None:
    """Return what two points read: the charted measurement, another where that lacks a reading."""
    if not len(bores):
        return None
    row = int(np.argmax(2 * np.isfinite(bores.roundness) + (bores.charted == 1)))
    figures = (float(bores.roundness[row]), float(bores.ovality_worst[row]))
    roundness, ovality = (None if np.isnan(v) else v for v in figures)
    return SeenByGauge(
        gauge=bores.gauge[row],
        at=view.local(bores.measured_at[row]),
        roundness_um=roundness,
        ovality_um=ovality,
    )


def _bore_sentence(bore: str, figure: TraceFigure, worst: PlaneTrace | None) -> str:
    if worst is None or figure.value_um is None:
        if figure.reported_um is None:
            return say("Bore {bore}: roundness not known.", bore=bore)
        reported = lengths.said(figure.reported_um, 2)
        return say("Bore {bore}: roundness {value} as reported.", bore=bore, value=reported)
    form = say(" and ").join(lobe.words for lobe in worst.lobes)
    return say(
        "Bore {bore}: roundness {value} in the {plane} plane ({form}); two points see {seen} of it.",
        bore=bore,
        value=lengths.said(worst.roundness_um or 0.0, 2),
        plane=worst.plane,
        form=form or say("no number of lobes stands out"),
        seen=lengths.said(worst.two_point_roundness_um or 0.0, 2),
    )

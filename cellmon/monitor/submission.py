"""What stands behind a capability statement that is signed: drawing, sampling, gauge, what was left out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from cellmon.judged import Bores
from cellmon.monitor.answers import Answer, Estimate
from cellmon.monitor.audited_bores import audited_bores, is_audited
from cellmon.monitor.audits import of_series, untold
from cellmon.monitor.capability import CapabilityAnswer, capability
from cellmon.monitor.capability_picture import CapabilityPicture, picture_of
from cellmon.monitor.capability_span import Spans
from cellmon.monitor.capability_stream import StreamCapability
from cellmon.monitor.gauge import GaugeAnswer, StudyAnswer, gauge
from cellmon.monitor.row_words import DOUBTS
from cellmon.monitor.stream_bores import holds
from cellmon.monitor.view import View
from cellmon.records import EventKind, Flag, Stream
from cellmon.words import say, to_say

DECIDED = {True: to_say("counted as corrected"), False: to_say("counted as read")}


@dataclass(frozen=True, kw_only=True)
class Drawing:
    """What the part's drawing asks of a stream's feature."""

    part_number: str
    revision: str | None
    feature: str
    number: str | None
    class_: str | None
    control_plan: str | None
    nominal_mm: float | None
    """Of the size; None for a feature of form."""
    judged: str
    """Which figure of a bore is held against the limits, in words."""


@dataclass(frozen=True, kw_only=True)
class Sampling:
    """Which bores the figures rest on."""

    first_at: datetime | None
    last_at: datetime | None
    first_part: str | None
    last_part: str | None
    bores: int
    """Counted, doubted ones left out."""
    shifts: int
    stone_sets: tuple[str, ...]
    dressings: int
    size: int
    """Bores of a subgroup."""
    every: int
    within: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class LeftOut:
    """Bores or readings the figures leave out or use as decided, and why."""

    what: str
    bores: int
    reason: str
    by: str | None = None


@dataclass(frozen=True, kw_only=True)
class GaugeBehind:
    """The gauge the bores were read with."""

    gauge: str
    resolution_um: float | None
    common_um: float | None
    reading_um: float | None
    on_masters: str
    study: str | None
    of_tolerance: Estimate | None
    """Share of this feature's tolerance that six standard deviations of the gauge take, per cent."""
    rule: str


@dataclass(frozen=True, kw_only=True, eq=False)
class Statement:
    """One stream: its figures, and all a person who signs them asks about."""

    name: str
    unit: str
    capability: StreamCapability
    drawing: Drawing
    sampling: Sampling
    left_out: tuple[LeftOut, ...]
    gauge: GaugeBehind
    picture: CapabilityPicture


@dataclass(frozen=True, kw_only=True, eq=False)
class Submission(Answer):
    """Every stream with limits, ready to be signed or refused."""

    cell: str
    sentence: str
    required: float
    confidence: float
    capability: CapabilityAnswer
    statements: tuple[Statement, ...]


def submission(
    view: View,
    *,
    spindle: str | None = None,
    bore: str | None = None,
    feature: str | None = None,
    since: datetime | None = None,
    until: datetime | None = None,
) -> Submission:
    """Answer with the capability of streams and all that stands behind it; refusals as of `capability`."""
    found = capability(view, spindle=spindle, bore=bore, feature=feature, since=since, until=until)
    gauges = gauge(view)
    spans = Spans(view, since, until)
    statements = tuple(_statement(view, row, gauges, spans) for row in found.capability)
    return Submission(
        **view.head(),
        cell=view.sheet.cell.name,
        sentence=found.sentence,
        required=found.required,
        confidence=found.confidence,
        capability=found,
        statements=statements,
    )


def _statement(view: View, row: StreamCapability, gauges: GaugeAnswer, spans: Spans) -> Statement:
    stream = row.stream
    span = spans.of(stream)
    every = _measured(view, stream, span.start, span.end)
    bores = every.select(every.charted == 1)
    picture = picture_of(view, stream, bores, end=span.end)
    return Statement(
        name=view.name(stream),
        unit=view.unit(stream),
        capability=row,
        drawing=_drawing(view, stream),
        sampling=_sampling(view, bores.select(bores.flags == 0), row, picture),
        left_out=_left_out(view, stream, every),
        gauge=_gauge(view, stream, gauges),
        picture=picture,
    )


def _measured(view: View, stream: Stream, start: np.datetime64 | None, end: np.datetime64) -> Bores:
    """Return every measurement of a stream's bores, of an audited one its values."""
    if is_audited(view, stream):
        return audited_bores(view, stream, start, end)
    every = view.session.bores(start=start, end=end, spindle=stream.spindle, bore=stream.bore)
    return every.select(holds(stream, every, view.sheet))


def _drawing(view: View, stream: Stream) -> Drawing:
    part = view.part_of(stream)
    feature = part.feature(stream.feature)
    assert feature is not None, "a stream with limits is of a feature of the sheet"
    size = stream.feature == "diameter"
    every = size and part.diameter.judge == "every-reading"
    judged = part.diameter.size if size else say("the figure charted")
    return Drawing(
        part_number=part.number,
        revision=part.revision,
        feature=stream.feature,
        number=feature.number,
        class_=feature.class_,
        control_plan=feature.control_plan,
        nominal_mm=part.diameter.nominal if size else None,
        judged=say("every reading of a bore") if every else judged,
    )


def _sampling(view: View, clean: Bores, row: StreamCapability, picture: CapabilityPicture) -> Sampling:
    rules, last = view.sheet.subgroups, len(clean) - 1
    single = is_audited(view, row.stream)
    sets = dict.fromkeys(s for s in clean.stone_set.tolist() if s is not None)
    return Sampling(
        first_at=view.local(clean.measured_at[0]) if len(clean) else None,
        last_at=view.local(clean.measured_at[last]) if len(clean) else None,
        first_part=str(clean.part[0]) if len(clean) else None,
        last_part=str(clean.part[last]) if len(clean) else None,
        bores=row.n,
        shifts=len(np.unique(clean.shift_start)),
        stone_sets=tuple(sets),
        dressings=sum(e.kind == EventKind.STONES_DRESSED for e in picture.events),
        size=1 if single else rules.size,
        every=1 if single else rules.step,
        within=() if single else tuple(rules.within),
    )


def _left_out(view: View, stream: Stream, every: Bores) -> tuple[LeftOut, ...]:
    """Return what is not counted of all measurements of a stream's bores, and what was decided."""
    if is_audited(view, stream):
        return _not_given(view, stream)
    bores = every.select(every.charted == 1)
    found = []
    doubted = bores.select(bores.flags != 0)
    first = [doubted.flags_of(i)[0] for i in range(len(doubted))]
    for flag in Flag:
        if count := first.count(flag):
            found.append(LeftOut(what=say("doubted"), bores=count, reason=f"{flag}: {say(DOUBTS[flag])}"))
    again = (every.charted == 0) & np.isin(every.gauge.astype(str), list(view.sheet.stream_gauges))
    again &= (every.stage == "finish") & np.isin(every.part.astype(str), bores.part.astype(str))
    if again.any():
        reason = say("the first complete measurement of a bore counts")
        found.append(LeftOut(what=say("repeated"), bores=int(again.sum()), reason=reason))
    return tuple(found + _decided(view, stream, bores))


def _not_given(view: View, stream: Stream) -> tuple[LeftOut, ...]:
    """Return the audits and traces that gave no value, and why."""
    series = view.audited.get(stream)
    notes = () if series is None else of_series(series.left_out)
    every = (*notes, *untold(view, stream))
    return tuple(LeftOut(what=say("not given"), bores=note.count, reason=note.why) for note in every)


def _decided(view: View, stream: Stream, bores: Bores) -> list[LeftOut]:
    """Return what persons decided of doubts about these bores, by flag, decision and name."""
    decisions = {d.subject: d for d in view.session.decisions("correct")}
    if not decisions:
        return []
    doubts = view.session.doubts()
    mine = (doubts.bore == stream.bore) & np.isin(doubts.part.astype(str), bores.part.astype(str))
    counts: dict[tuple[str, bool, str], int] = {}
    for i in np.flatnonzero(mine):
        decision = decisions.get(doubts.id[i])
        if decision is not None:
            key = (doubts.flag[i], bool(decision.body["accept"]), decision.by)
            counts[key] = counts.get(key, 0) + 1
    return [
        LeftOut(what=say(DECIDED[accepted]), bores=n, reason=f"{flag}: {say(DOUBTS[Flag(flag)])}", by=by)
        for (flag, accepted, by), n in counts.items()
    ]


def _gauge(view: View, stream: Stream, gauges: GaugeAnswer) -> GaugeBehind:
    measuring = view.sheet.measuring
    if is_audited(view, stream):
        return _instrument(view, stream, gauges)
    standing = next(g for g in gauges.gauges if g.gauge == measuring.gauge)
    study, share = _study(gauges.studies, measuring.gauge, stream.feature)
    return GaugeBehind(
        gauge=measuring.gauge,
        resolution_um=measuring.resolution_um,
        common_um=measuring.common_um,
        reading_um=measuring.reading_um,
        on_masters=standing.on_masters,
        study=study,
        of_tolerance=share,
        rule=gauges.rule.sentence,
    )


def _instrument(view: View, stream: Stream, gauges: GaugeAnswer) -> GaugeBehind:
    """Return what the sheet says of the instrument that audits, masters and studies being the cell's own."""
    series = view.audited.get(stream)
    name = None if series is None else series.gauge
    known = view.sheet.gauge(name) if name in view.sheet.gauge_ids and name is not None else None
    return GaugeBehind(
        gauge=name or say("not named"),
        resolution_um=None if known is None else known.resolution_um,
        common_um=None,
        reading_um=None if known is None else known.uncertainty_reading_um,
        on_masters=say("its own masters are not kept here"),
        study=None,
        of_tolerance=None,
        rule=gauges.rule.sentence,
    )


def _study(studies: Sequence[StudyAnswer], gauge: str, feature: str) -> tuple[str | None, Estimate | None]:
    """Return the study of a gauge that takes most of a feature's tolerance, and that share."""
    found = [
        (s.study, f.of_tolerance)
        for s in studies
        for f in s.features
        if s.gauge == gauge and f.feature == feature and f.of_tolerance is not None
    ]
    known = [(name, share) for name, share in found if share.value is not None]
    return max(known, key=lambda one: one[1].value or 0.0, default=(None, None))

"""One stream's bores in the order they were made, and the two edges of their distribution enlarged."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np

from cellmon import lengths
from cellmon.capability.choice import choose
from cellmon.capability.edges import Edge, edge_sizes, edge_span, fitted_edge, moving_edge, seen_share
from cellmon.capability.models import Recognised
from cellmon.capability.moving import moving_distribution
from cellmon.capability.window import effective_bores
from cellmon.errors import NoSpread, NotEnoughData
from cellmon.judged import Bores
from cellmon.monitor.answers import Answer, Tolerance
from cellmon.monitor.capability_figures import LEAST_FOR_FAMILY, ZERO_BOUNDED, time_of, worth_of
from cellmon.monitor.capability_sides import judged_columns, runs
from cellmon.monitor.capability_span import Spans
from cellmon.monitor.capability_stream import NO_MOVEMENT
from cellmon.monitor.kept import kept
from cellmon.monitor.stream_bores import value_column
from cellmon.monitor.stream_events import EventMark, stream_events
from cellmon.monitor.view import View
from cellmon.records import Flags, Kind, Numbers, Stream, Texts, Times, Whole
from cellmon.words import say, voice


@dataclass(frozen=True, kw_only=True, eq=False)
class EdgePicture:
    """One edge: the share beyond each size near a limit, as seen and by the model, sizes rising.

    `column` says which figure of a bore is held against this limit: least, greatest or the charted one.
    """

    side: str
    limit_um: float
    column: str
    span_um: float
    """How far inside the limit the edge begins."""
    seen_size_um: Numbers
    seen_share: Numbers
    size_um: Numbers
    share: Numbers
    share_low: Numbers
    share_high: Numbers
    seen_beyond: int
    """Bores measured beyond the limit."""
    why_not: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True, eq=False)
class CapabilityPicture(Answer):
    """Bores in making order inside the tolerance, and the edges; arrays of shape (bores,).

    `left_out` marks bores that are drawn and not counted, because a doubt about them stands.
    """

    stream: Stream
    name: str
    unit: str
    tolerance: Tolerance
    model: str | None
    confidence: float
    part: Texts
    at: Times
    value_um: Numbers
    least_um: Numbers
    greatest_um: Numbers
    left_out: Flags
    stone_set: Texts
    events: tuple[EventMark, ...]
    edges: tuple[EdgePicture, ...]


def capability_picture(
    view: View,
    stream: Stream,
    *,
    since: datetime | None = None,
    until: datetime | None = None,
    confidence: float = 0.95,
) -> CapabilityPicture:
    """Answer with what the picture of one stream's capability is drawn from; times as of `capability`."""
    spans = Spans(view, since, until)
    return picture_of(view, stream, spans.bores(stream), end=spans.of(stream).end, confidence=confidence)


def picture_of(
    view: View, stream: Stream, bores: Bores, *, end: np.datetime64, confidence: float = 0.95
) -> CapabilityPicture:
    """Return the picture of a stream from its charted bores."""
    column = value_column(view, stream)
    bores = bores.select(np.isfinite(getattr(bores, column)))
    clean = bores.select(bores.flags == 0)
    low, high = judged_columns(view, stream)
    time = kept(time_of, getattr(clean, column), runs(clean, view.sheet.subgroups.size))
    why_not = {} if time is not None else {"model": say(NO_MOVEMENT)}
    first = bores.measured_at.min() if len(bores) else end
    return CapabilityPicture(
        **{**view.head(), "why_not": why_not},
        stream=stream,
        name=view.name(stream),
        unit=view.unit(stream),
        tolerance=view.tolerance(stream),
        model=None if time is None else time.sentence,
        confidence=confidence,
        part=bores.part,
        at=bores.measured_at,
        value_um=getattr(bores, column),
        least_um=getattr(bores, low),
        greatest_um=getattr(bores, high),
        left_out=bores.flags != 0,
        stone_set=bores.stone_set,
        events=_happened(view, stream, first, end),
        edges=_edges(view, stream, clean, time, confidence),
    )


def _happened(view: View, stream: Stream, start: np.datetime64, end: np.datetime64) -> tuple[EventMark, ...]:
    """Return what happened to a stream between two moments, in words; as it was, where nothing was added."""
    added = [view.newest_row_of(kind) for kind in (Kind.EVENTS, Kind.GAUGE_CHECKS)]
    said = (voice(), lengths.shown(), view.zone.key, view.rules.now.version)
    rests_on = (stream, start, end, *added, *said)
    return view.carry("events of a claim", rests_on, lambda: stream_events(view, stream, start, end))


def _edges(
    view: View, stream: Stream, clean: Bores, time: Recognised | None, confidence: float
) -> tuple[EdgePicture, ...]:
    tolerance, columns = view.tolerance(stream), judged_columns(view, stream)
    sides = (("lower", tolerance.lower_um, columns[0]), ("upper", tolerance.upper_um, columns[1]))
    wanted = [(side, limit, column) for side, limit, column in sides if limit is not None]
    if not len(clean):
        return ()
    span = max(edge_span(getattr(clean, c), limit=limit, side=side) for side, limit, c in wanted)
    labels = runs(clean, view.sheet.subgroups.size)
    return tuple(
        kept(
            _edge,
            _Task(
                values=getattr(clean, column),
                labels=labels,
                time=time,
                side=side,
                limit=limit,
                column=column,
                zero_bounded=stream.feature in ZERO_BOUNDED,
                confidence=confidence,
            ),
            span,
        )
        for side, limit, column in wanted
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class _Task:
    """One edge to be drawn."""

    values: Numbers
    labels: Whole
    time: Recognised | None
    side: str
    limit: float
    column: str
    zero_bounded: bool
    confidence: float


def _edge(task: _Task, span: float) -> EdgePicture:
    seen = seen_share(task.values, side=task.side)
    sizes = edge_sizes(limit=task.limit, side=task.side, span=span)
    found: Edge | None = None
    why_not: dict[str, str] = {}
    try:
        found = _model(task, sizes)
    except (NotEnoughData, NoSpread) as refused:
        why_not["share"] = str(refused)
    none = np.full(sizes.shape, np.nan)
    beyond = task.values > task.limit if task.side == "upper" else task.values < task.limit
    return EdgePicture(
        side=task.side,
        limit_um=task.limit,
        column=task.column,
        span_um=span,
        seen_size_um=seen.size,
        seen_share=seen.share,
        size_um=sizes,
        share=none if found is None else found.share,
        share_low=none if found is None else found.low,
        share_high=none if found is None else found.high,
        seen_beyond=int(beyond.sum()),
        why_not=why_not,
    )


def _model(task: _Task, sizes: Numbers) -> Edge:
    """Return the edge by the model the indices rest on: over time, or a family."""
    values, time = task.values, task.time
    if len(values) < LEAST_FOR_FAMILY:
        what = say("bores for a model of the edges")
        raise NotEnoughData(what, need=LEAST_FOR_FAMILY, got=len(values))
    if time is not None and time.over_time:
        inside = task.labels >= 0
        found = moving_distribution(
            values[inside], task.labels[inside], in_time=time.in_time, spread_moves=time.spread_moves
        )
        return moving_edge(found, sizes, side=task.side, confidence=task.confidence)
    bounded = task.zero_bounded and task.side == "upper" and bool(values.min() >= 0)
    return fitted_edge(
        choose(values, zero_bounded=bounded),
        sizes,
        side=task.side,
        worth=worth_of(effective_bores(values), time, task.labels, len(values)),
        confidence=task.confidence,
    )

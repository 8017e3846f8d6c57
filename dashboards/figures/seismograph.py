"""All streams over days, one thin line each; only what moved is inked and named."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np

from cellmon.monitor.answers import SignalMark
from cellmon.monitor.seismograph import Seismograph, Trace
from cellmon.records import Numbers, Stream, Texts
from cellmon.shifts import ShiftOf
from dashboards import theme
from dashboards.figures.clock import Clock, clock_of, shift_bands, shift_names
from dashboards.figures.words import Label, place

ROW_PX = 36
TOP, BOTTOM, LEFT = 26, 44, 182
HEADROOM, FOOTROOM = 1.45, 0.9  # rows above the first and below the last
SIGMAS_PER_ROW = 11.0
REACH = 1.3  # rows a line may leave its own before it is cut off
LOUD = 3.0
LONE = 4.5  # sigma from which a single signal is named; every one is told on hover
GAP = np.timedelta64(3, "h")
TOGETHER = timedelta(hours=2)
WIDTH_PX = 1000  # of the plot, for placing words; the page may be wider


@dataclass(frozen=True, kw_only=True)
class Bend:
    """Signals of one stream that follow close on one another; `named` is the one that is told."""

    row: int
    named: SignalMark
    count: int
    peak: float
    at: datetime


def seismograph_figure(
    seismograph: Seismograph, *, chosen: Stream | None = None, shift: ShiftOf | None = None
) -> theme.Figure:
    """Draw each stream's deviation in its own sigma; name the largest bends."""
    traces = seismograph.traces
    if not traces:
        return theme.notice("No stream has limits yet, so nothing can be called a movement.")
    clock = clock_of(seismograph.since, seismograph.until)
    height = TOP + BOTTOM + round(ROW_PX * (len(traces) - 1 + HEADROOM + FOOTROOM))
    data = [_quiet(t, row, clock, chosen == t.stream) for row, t in enumerate(traces)]
    data += [_loud(traces, clock), _marks(traces, clock)]
    spread = {"text": _scale_words(), "font": {"size": 12, "color": theme.SOFT}}
    return theme.figure(
        data,
        height=height,
        margin={"l": LEFT, "r": 20, "t": TOP, "b": BOTTOM},
        shapes=shift_bands(clock, seismograph.shifts, chosen=shift) + _rests(len(traces), clock),
        annotations=shift_names(clock, seismograph.shifts)
        + _names(traces, clock, height)
        + [
            theme.word(
                spread["text"],
                1,
                0,
                xref="paper",
                yref="paper",
                xanchor="right",
                yanchor="bottom",
                yshift=2,
                font=spread["font"],
            )
        ],
        xaxis=clock.axis(),
        yaxis=_rows_axis(traces, chosen),
    )


def _scale_words() -> str:
    return f"one row = {SIGMAS_PER_ROW:g} sigma of a subgroup mean; ink from {LOUD:g} sigma on"


def _rows_axis(traces: Sequence[Trace], chosen: Stream | None) -> dict[str, Any]:
    names = [f"<b>▸ {t.stream}</b>" if t.stream == chosen else str(t.stream) for t in traces]
    return theme.axis(
        range=[-len(traces) + 1 - FOOTROOM, HEADROOM],
        tickvals=[-float(row) for row in range(len(traces))],
        ticktext=names,
        ticks="",
        fixedrange=True,
    )


def _heights(trace: Trace, row: int) -> Numbers:
    return np.asarray(-row + np.clip(trace.deviation / SIGMAS_PER_ROW, -REACH, REACH))


def _hover(trace: Trace, clock: Clock) -> Texts:
    sigmas = np.char.mod("%+.1f", np.nan_to_num(trace.deviation))
    texts = np.char.add(np.char.add(f"{trace.stream}<br>", clock.words(trace.at).astype(str)), "<br>")
    return np.char.add(np.char.add(texts, sigmas), " sigma").astype(object)


def _quiet(trace: Trace, row: int, clock: Clock, chosen: bool) -> theme.Trace:
    """Return the whole line in quiet grey, broken where nothing was made for hours."""
    breaks = np.nonzero(np.diff(trace.at) > GAP)[0] + 1
    y = np.insert(_heights(trace, row), breaks, np.nan)
    x = np.insert(np.array(clock.xs(trace.at), dtype=object), breaks, None)
    hover = np.insert(_hover(trace, clock), breaks, "")
    return theme.points(
        x.tolist(),
        [None if np.isnan(v) else float(v) for v in y],
        mode="lines",
        line={"color": theme.LINE if chosen else theme.QUIET, "width": 1.2 if chosen else 0.8},
        text=hover.tolist(),
        hoverinfo="text",
        customdata=[row] * len(x),
        name=str(trace.stream),
    )


def _loud(traces: Sequence[Trace], clock: Clock) -> theme.Trace:
    """Return, in ink, the pieces of all lines that lie beyond three sigma, with their flanks."""
    xs: list[Any] = []
    ys: list[Any] = []
    rows: list[int] = []
    for row, trace in enumerate(traces):
        beyond = np.abs(trace.deviation) > LOUD
        kept = beyond.copy()
        kept[:-1] |= beyond[1:]
        kept[1:] |= beyond[:-1]
        picked = np.nonzero(kept)[0]
        x, y = np.array(clock.xs(trace.at), dtype=object)[picked], _heights(trace, row)[picked]
        breaks = np.nonzero(np.diff(picked) > 1)[0] + 1
        xs += [*np.insert(x, breaks, None).tolist(), None]
        ys += [*(None if np.isnan(v) else float(v) for v in np.insert(y, breaks, np.nan)), None]
        rows += [row] * (len(picked) + len(breaks) + 1)
    line = {"color": theme.INK, "width": 1.5}
    return theme.points(xs, ys, mode="lines", line=line, customdata=rows, name="beyond three sigma")


def _marks(traces: Sequence[Trace], clock: Clock) -> theme.Trace:
    """Return a ring at the greatest excursion of every bend that holds more than one signal."""
    bends = [b for b in bends_of(traces) if b.count > 1]
    x = [clock.x(b.at) for b in bends]
    y = [-b.row + min(max(b.peak / SIGMAS_PER_ROW, -REACH), REACH) for b in bends]
    words = [f"{traces[b.row].stream}<br>{b.count} signals, first: {said(b.named)}" for b in bends]
    rows = [b.row for b in bends]
    ring = {**theme.RING, "size": 11, "line": {"width": 1.8, "color": theme.ATTENTION}}
    return theme.points(
        x, y, mode="markers", marker=ring, text=words, hoverinfo="text", customdata=rows, name="signals"
    )


def said(mark: SignalMark) -> str:
    """Return the words of a signal without the name of its stream, which the row carries."""
    return mark.words.removeprefix(f"{mark.stream}: ")


def bends_of(traces: Sequence[Trace]) -> list[Bend]:
    """Gather signals of a stream that follow within two hours into bends."""
    found = []
    for row, trace in enumerate(traces):
        group: list[SignalMark] = []
        for mark in sorted(trace.signals, key=lambda m: m.at):
            if group and mark.at - group[-1].at > TOGETHER:
                found.append(_bend(row, trace, group))
                group = []
            group.append(mark)
        if group:
            found.append(_bend(row, trace, group))
    return found


def _bend(row: int, trace: Trace, group: Sequence[SignalMark]) -> Bend:
    first, last = (
        np.datetime64(m.at.astimezone(UTC).replace(tzinfo=None), "us") for m in (group[0], group[-1])
    )
    inside = np.nonzero((trace.at >= first) & (trace.at <= last))[0]
    named = next((m for m in group if m.kind == "level"), group[0])
    if not len(inside):
        return Bend(row=row, named=named, count=len(group), peak=0.0, at=named.at)
    top = inside[np.nanargmax(np.abs(trace.deviation[inside]))]
    at = trace.at[top].astype("datetime64[us]").item().replace(tzinfo=UTC)
    return Bend(row=row, named=named, count=len(group), peak=float(trace.deviation[top]), at=at)


def _names(traces: Sequence[Trace], clock: Clock, height: int) -> list[Any]:
    labels = []
    for bend in bends_of(traces):
        if bend.count < 2 and abs(bend.peak) < LONE:
            continue
        y = -bend.row + min(max(bend.peak / SIGMAS_PER_ROW, -REACH), REACH)
        share = (bend.at - clock.since) / (clock.until - clock.since)
        more = f", {bend.count} signals" if bend.count > 1 else ""
        at = bend.named.at.astimezone(clock.zone)
        labels.append(
            Label(
                text=f"{at:%a %H:%M} {bend.named.short}{more}",
                x=clock.x(bend.at),
                y=y,
                px=share * WIDTH_PX,
                py=(y + len(traces) - 1 + FOOTROOM) * ROW_PX,
                weight=abs(bend.peak) * bend.count,
            )
        )
    return place(labels, width=WIDTH_PX, height=height - TOP - BOTTOM, most=10)


def _rests(count: int, clock: Clock) -> list[Any]:
    """Return the resting line of every row."""
    x0, x1 = clock.x(clock.since), clock.x(clock.until)
    return [
        {**theme.level(x0, x1, -float(r), colour=theme.HAIR, width=0.8), "layer": "below"}
        for r in range(count)
    ]


def rows(seismograph: Seismograph) -> dict[str, list[Any]]:
    """Return every point, one row a subgroup mean."""
    zone = clock_of(seismograph.since, seismograph.until)
    table: dict[str, list[Any]] = {"stream": [], "at": [], "deviation_sigma": []}
    for trace in seismograph.traces:
        table["stream"] += [str(trace.stream)] * len(trace.at)
        table["at"] += zone.words(trace.at).tolist()
        table["deviation_sigma"] += trace.deviation.tolist()
    return table

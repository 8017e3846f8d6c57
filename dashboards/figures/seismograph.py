"""All streams over days, one thin line each; only what moved is inked and named."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import repeat
from typing import Any

import numpy as np

from cellmon import local
from cellmon.monitor.answers import SignalMark
from cellmon.monitor.seismograph import Seismograph, Trace
from cellmon.records import Numbers, Stream, Whole, stream_names
from cellmon.shifts import ShiftOf, to_utc
from cellmon.words import say
from dashboards import theme
from dashboards.figures.clock import Clock, clock_of, shift_bands, shift_names
from dashboards.figures.narrow import narrowed, timed, words_at
from dashboards.figures.opened import opens_bore, stones_line
from dashboards.figures.thinned import kept
from dashboards.figures.words import Label, place

ROW_PX = 36
TOP, BOTTOM, LEFT = 44, 44, 182
HEADROOM, FOOTROOM = 1.45, 0.9  # rows above the first and below the last
SIGMAS_PER_ROW = 11.0
REACH = 1.3  # rows a line may leave its own before it is cut off
LOUD = 3.0
LONE = 4.5  # sigma from which a single signal is named; every one is told on hover
GAP = np.timedelta64(3, "h")
TOGETHER = timedelta(hours=1)
SEVERAL = 3
ABOVE, SLIM_BELOW = "above", 800
WIDTH_PX = 1000  # of the plot, for placing words; the page may be wider


@dataclass(frozen=True, kw_only=True)
class Bend:
    """Signals of one stream that follow close on one another.

    `row` counts the traces given, `named` is the signal that is told, `peak` the greatest sigma.
    """

    row: int
    named: SignalMark
    count: int
    points: int
    peak: float
    at: datetime

    @property
    def notable(self) -> bool:
        """Whether it is ringed; a single point just beyond its limit is only inked."""
        return self.count >= SEVERAL or self.points >= SEVERAL or abs(self.peak) >= LONE


@dataclass(frozen=True, kw_only=True)
class Row:
    """A stream that is drawn, and its place among all traces."""

    trace: Trace
    place: int


def drawn_rows(traces: Sequence[Trace]) -> list[Row]:
    """Return the streams that have limits and points; nothing can be called a movement without."""
    return [Row(trace=t, place=i) for i, t in enumerate(traces) if np.isfinite(t.deviation).any()]


def seismograph_figure(
    seismograph: Seismograph, *, chosen: Stream | None = None, shift: ShiftOf | None = None
) -> theme.Figure:
    """Draw each stream's deviation in its own sigma; name the largest bends.

    `customdata` of a point of a line begins with the place of its stream in `seismograph.traces`.
    """
    rows = drawn_rows(seismograph.traces)
    if not rows:
        return theme.notice(say("No stream has limits yet, so nothing can be called a movement."), height=320)
    clock = clock_of(seismograph.since, seismograph.until)
    height = TOP + BOTTOM + round(ROW_PX * (len(rows) - 1 + HEADROOM + FOOTROOM))
    said = _Said()
    data = [_quiet(row, i, clock, chosen == row.trace.stream, said) for i, row in enumerate(rows)]
    data += [_loud(rows, clock), _marks(rows, clock)]
    words = shift_names(clock, seismograph.shifts) + _names(rows, clock, height)
    words.append(_scale_words(len(seismograph.traces) - len(rows)))
    words += _names_above(rows, chosen)
    drawn = theme.figure(
        data,
        height=height,
        margin={"l": LEFT, "r": 20, "t": TOP, "b": BOTTOM},
        shapes=shift_bands(clock, seismograph.shifts, chosen=shift) + _rests(len(rows), clock),
        annotations=words,
        xaxis=clock.axis(),
        yaxis=_rows_axis(rows, chosen),
    )
    return narrowed(drawn, _slim(drawn), below=SLIM_BELOW)


def _slim(drawn: theme.Figure) -> dict[str, Any]:
    """Return what changes in a narrow box: streams are named above their lines, a ring tells on a tap."""
    changes = timed(drawn, ABOVE, left=8, right=8)
    words = drawn["layout"]["annotations"]
    names = {f"{words_at(i)}.visible": True for i, one in enumerate(words) if one.get("name") == ABOVE}
    return {**changes, **names, "yaxis.showticklabels": False}


def _scale_words(left_out: int) -> Any:
    text = say(
        "one row is {row} sigma of a subgroup mean; ink from {loud} sigma on, cut off at {most}",
        row=local.significant(SIGMAS_PER_ROW),
        loud=local.significant(LOUD),
        most=local.number(SIGMAS_PER_ROW * REACH),
    )
    if left_out:
        text += "; " + say("{count} streams without limits are not drawn", count=left_out)
    font = {"size": 12, "color": theme.SOFT}
    return theme.word(
        text, 1, 0, xref="paper", yref="paper", xanchor="right", yanchor="bottom", yshift=2, font=font
    )


def _marked(rows: Sequence[Row], chosen: Stream | None) -> list[str]:
    """Return the names of streams, the chosen one marked."""
    names = stream_names([row.trace.stream for row in rows])
    return [f"<b>▸ {n}</b>" if r.trace.stream == chosen else n for n, r in zip(names, rows, strict=True)]


def _names_above(rows: Sequence[Row], chosen: Stream | None) -> list[dict[str, Any]]:
    """Return the names of streams above their lines, seen only in a narrow box."""
    more = {"xref": "paper", "yanchor": "bottom", "yshift": 2, "borderpad": 1, "bgcolor": theme.VEIL}
    more |= {"visible": False, "name": ABOVE, "font": {"size": 11, "color": theme.SOFT}}
    return [theme.word(name, 0, -float(i), **more) for i, name in enumerate(_marked(rows, chosen))]


def _rows_axis(rows: Sequence[Row], chosen: Stream | None) -> dict[str, Any]:
    return theme.axis(
        range=[-len(rows) + 1 - FOOTROOM, HEADROOM],
        tickvals=[-float(i) for i in range(len(rows))],
        ticktext=_marked(rows, chosen),
        showticklabels=True,
        ticks="",
        fixedrange=True,
    )


def _level(row: int, sigmas: Any) -> Any:
    """Return where a deviation is drawn, to a thousandth of a row: finer is no pixel."""
    return np.round(-row + np.clip(sigmas / SIGMAS_PER_ROW, -REACH, REACH), 3)


class _Said(dict[float, str]):
    """Deviations in words, each worded once for all lines."""

    def __missing__(self, deviation: float) -> str:
        words = self[deviation] = _size_words(deviation)
        return words


@dataclass(frozen=True, kw_only=True, eq=False)
class _Told:
    """What a line says at its points: the words they share, and of each what is filled in."""

    hover: str
    customdata: list[tuple[Any, ...]]
    """The place of the stream, size, block, stones; and the time where the axis does not tell it."""

    @classmethod
    def of(cls, row: Row, clock: Clock, points: Whole, said: _Said) -> _Told:
        trace = row.trace
        sizes, size = np.unique(np.round(trace.deviation[points], 1), return_inverse=True)
        away = np.array([said[one] for one in sizes.tolist()], dtype=object)[size]
        stones: list[str] = trace.stone_set[points].tolist()
        worn = stones_line("%{customdata[3]}") if all(stones) else "%{customdata[3]}"
        if not all(stones):
            stones = [stones_line(one) for one in stones]
        columns = [repeat(row.place), away.tolist(), trace.last_part[points].tolist(), stones]
        at = clock.told_by_x
        if at is None:
            at = "%{customdata[4]}"
            columns.append(clock.words(trace.at[points]).tolist())
        lines = say("{size} sigma", size="%{customdata[1]}"), say("to block {part}", part="%{customdata[2]}")
        hover = "<br>".join((str(trace.stream), *lines, at)) + worn + "<extra></extra>"
        return cls(hover=hover, customdata=list(zip(*columns, strict=False)))


def _or_none(values: Numbers) -> list[float | None]:
    return np.where(np.isnan(values), None, values).tolist()


def _quiet(row: Row, i: int, clock: Clock, chosen: bool, said: _Said) -> theme.Trace:
    """Return the whole line in quiet grey, broken where nothing was made for hours.

    A click on it chooses its stream; on the line that is chosen, the block of the point.
    """
    trace = row.trace
    drawn = kept(trace.at, trace.deviation, always=np.abs(trace.deviation) > LOUD)
    piece = np.cumsum(np.diff(trace.at, prepend=trace.at[:1]) > GAP)[drawn]
    breaks = np.flatnonzero(np.diff(piece)) + 1
    points = np.insert(drawn, breaks, drawn[breaks - 1])
    y = _level(i, trace.deviation[points])
    y[breaks + np.arange(len(breaks))] = np.nan
    told = _Told.of(row, clock, points, said)
    line = theme.points(
        clock.xs(trace.at[points]),
        _or_none(y),
        mode="lines",
        line={"color": theme.LINE if chosen else theme.QUIET, "width": 1.2 if chosen else 0.8},
        hoverinfo="text",
        hovertemplate=told.hover,
        name=str(trace.stream),
    )
    if chosen:
        line = opens_bore({**line, "ids": trace.last_part[points].tolist()}, [], trace.stream.bore)
    return {**line, "customdata": told.customdata}


def _loud(rows: Sequence[Row], clock: Clock) -> theme.Trace:
    """Return, in ink, the pieces of all lines that lie beyond three sigma, with their flanks."""
    xs: list[Any] = []
    ys: list[Any] = []
    places: list[int] = []
    for i, row in enumerate(rows):
        beyond = np.abs(row.trace.deviation) > LOUD
        kept = beyond.copy()
        kept[:-1] |= beyond[1:]
        kept[1:] |= beyond[:-1]
        picked = np.nonzero(kept)[0]
        breaks = np.nonzero(np.diff(picked) > 1)[0] + 1
        x = np.array(clock.xs(row.trace.at[picked]), dtype=object)
        xs += [*np.insert(x, breaks, None).tolist(), None]
        ys += [*_or_none(np.insert(_level(i, row.trace.deviation[picked]), breaks, np.nan)), None]
        places += [row.place] * (len(picked) + len(breaks) + 1)
    line = {"color": theme.INK, "width": 1.5}
    return theme.points(xs, ys, mode="lines", line=line, customdata=places, name="beyond three sigma")


def _marks(rows: Sequence[Row], clock: Clock) -> theme.Trace:
    """Return a ring at the greatest excursion of every notable bend."""
    bends = [b for b in bends_of([row.trace for row in rows]) if b.notable]
    names = stream_names([rows[b.row].trace.stream for b in bends])
    words = [
        f"{name}<br>{moment(b, clock)} {said(b)}<br>{say('signal: {words}', words=b.named.words)}"
        for name, b in zip(names, bends, strict=True)
    ]
    return theme.points(
        [clock.x(b.at) for b in bends],
        [float(_level(b.row, b.peak)) for b in bends],
        mode="markers",
        marker={**theme.RING, "size": 11, "line": {"width": 1.8, "color": theme.ATTENTION}},
        text=words,
        hoverinfo="text",
        customdata=[rows[b.row].place for b in bends],
        name="signals",
    )


def said(bend: Bend) -> str:
    """Return what a bend says in a few words; its row carries the name of the stream.

    The size is the line's own, in its sigma: that of a signal belongs to the stream that tells it best.
    """
    told = [sigma_words(bend.peak)]
    if bend.points > 1:
        told.append(say("{count} in a row", count=bend.points))
    if bend.count > 1:
        told.append(say("{count} signals", count=bend.count))
    return ", ".join(told)


def sigma_words(deviation: float) -> str:
    """Return a deviation in sigma."""
    return say("{size} sigma", size=_size_words(deviation))


def _size_words(deviation: float) -> str:
    return local.number(deviation, 1, sign=True)


def moment(bend: Bend, clock: Clock) -> str:
    """Return the day and time at which a bend begins."""
    return clock.day_and_time(bend.named.at)


def bends_of(traces: Sequence[Trace]) -> list[Bend]:
    """Gather signals of a stream that follow within the hour into bends."""
    found = []
    for i, trace in enumerate(traces):
        group: list[SignalMark] = []
        for mark in sorted(trace.signals, key=lambda m: m.at):
            if group and mark.at - group[-1].at > TOGETHER:
                found.append(_bend(i, trace, group))
                group = []
            group.append(mark)
        if group:
            found.append(_bend(i, trace, group))
    return found


def _bend(row: int, trace: Trace, group: Sequence[SignalMark]) -> Bend:
    """Return the bend of some signals: from the first of them to the end of what lies beyond."""
    start = int(np.searchsorted(trace.at, to_utc(group[0].at), side="left"))
    end = int(np.searchsorted(trace.at, to_utc(group[-1].at), side="right"))
    beyond = np.abs(trace.deviation) > LOUD
    while end < len(beyond) and beyond[end]:
        end += 1
    named = next((m for m in group if m.kind == "level"), group[0])
    piece = trace.deviation[start:end]
    if not np.isfinite(piece).any():
        return Bend(row=row, named=named, count=len(group), points=0, peak=0.0, at=named.at)
    top = start + int(np.nanargmax(np.abs(piece)))
    at = trace.at[top].astype("datetime64[us]").item().replace(tzinfo=UTC)
    peak, points = float(trace.deviation[top]), int(beyond[start:end].sum())
    return Bend(row=row, named=named, count=len(group), points=points, peak=peak, at=at)


def _names(rows: Sequence[Row], clock: Clock, height: int) -> list[Any]:
    labels = []
    for bend in bends_of([row.trace for row in rows]):
        if not bend.notable:
            continue
        y = float(_level(bend.row, bend.peak))
        labels.append(
            Label(
                text=f"{moment(bend, clock)} {said(bend)}",
                x=clock.x(bend.at),
                y=y,
                px=(bend.at - clock.since) / (clock.until - clock.since) * WIDTH_PX,
                py=(y + len(rows) - 1 + FOOTROOM) * ROW_PX,
                weight=abs(bend.peak) * max(bend.points, 1),
            )
        )
    return place(labels, width=WIDTH_PX, height=height - TOP - BOTTOM, most=12)


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
    names = stream_names([trace.stream for trace in seismograph.traces])
    for name, trace in zip(names, seismograph.traces, strict=True):
        table["stream"] += [name] * len(trace.at)
        table["at"] += zone.stamps(trace.at)
        table["deviation_sigma"] += trace.deviation.tolist()
    return table

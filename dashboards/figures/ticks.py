"""The bores of a ribbon: a tick each, crossed where doubted, ringed where outside; long doubts as a bar."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from cellmon import lengths
from cellmon.monitor.stream import StreamBores, StreamView
from cellmon.records import Flags, Verdict, Whole
from cellmon.shifts import to_utc
from cellmon.words import say
from dashboards import theme
from dashboards.figures.clock import Clock
from dashboards.figures.opened import opens_bore, stones_line
from dashboards.figures.strokes import NONE, Marks, level
from dashboards.figures.terms import term
from dashboards.figures.thinned import kept

MANY = 3000
"""More bores than these are dots: too close for lines that lie side by side."""
DIGITS = 4
"""Of a height as it is drawn, behind the point: finer than a pixel; what is told and saved is whole."""
STRETCH = 8
"""Doubted bores from which a stretch is drawn as one bar."""


def bores(view: StreamView, clock: Clock, width: float) -> Marks:
    """Return every bore as a tick; doubted ones crossed, those outside the tolerance ringed.

    Of a long history those are drawn that `shown` keeps. `width` is that of the drawing in pixels.
    """
    if not len(view.bores.at):
        return NONE
    made = view.bores if len(rows := shown(view)) == len(view.bores.at) else chosen(view.bores, rows)
    x, told = clock.xs(made.at), _Told.of(view, made, clock)
    y = np.round(made.value_um, DIGITS).tolist()
    every = theme.points(x, y, mode="none", name="bores", customdata=made.part.tolist())
    drawn = [every | told.hover(range(len(x))), *_marked(made, x, told)]
    traces = [opens_bore(trace, trace["customdata"], view.stream.bore) for trace in drawn]
    many = len(made.at) > MANY
    length = 1.6 if many else float(np.clip(1.1 * width / len(x), 2.1, 9.8))
    line = {"colour": theme.QUIET, "width": 1.6 if many else 1.0}
    return Marks(traces=traces, shapes=level(made.at, made.value_um, clock, length=length / width, **line))


def outside(view: StreamView) -> Flags:
    """Return which bores do not conform, or lie beyond the tolerance of the stream."""
    made, tolerance = view.bores, view.tolerance
    found: Flags = np.array([v == Verdict.DOES_NOT_CONFORM for v in made.verdict], dtype=bool)
    if tolerance.lower_um is not None:
        found |= made.value_um < tolerance.lower_um
    if tolerance.upper_um is not None:
        found |= made.value_um > tolerance.upper_um
    return found


def shown(view: StreamView) -> Whole:
    """Return which bores are drawn: of a long history its outline, and all that call for attention."""
    return kept(view.bores.at, view.bores.value_um, always=outside(view) | view.bores.flagged)


def chosen(made: StreamBores, rows: Whole) -> StreamBores:
    """Return some of the bores."""
    return StreamBores(**{f.name: getattr(made, f.name)[rows] for f in fields(made)})


@dataclass(frozen=True, kw_only=True, eq=False)
class _Told:
    """What is told of bores on hover: one sentence with places, and of each bore what stands in them.

    The part is `customdata` of the point, the moment its x; where the clock is changed it is told besides.
    """

    sentence: str
    sizes: list[str]
    besides: list[str]

    @classmethod
    def of(cls, view: StreamView, made: StreamBores, clock: Clock) -> _Told:
        whose = "" if view.stream.bore is None else f"{say('bore {bore}', bore=view.stream.bore)}, "
        unit = lengths.unit_of(view.unit, spoken=True)
        said = say("block {part}: {size} {unit}", part="%{customdata}", size="%{text}", unit=unit)
        doubt = f"<br>{say('doubted')}"
        states = list(zip(made.stone_set, made.verdict, made.flagged.tolist(), strict=True))
        words = {
            one: f"{stones_line(one[0])}<br>{term(one[1])}{doubt if one[2] else ''}" for one in set(states)
        }
        besides = [words[one] for one in states]
        if clock.told_by_x is None:
            besides = [f"{at}{one}" for at, one in zip(clock.words(made.at), besides, strict=True)]
        sentence = f"{whose}{said}<br>{clock.told_by_x or ''}%{{hovertext}}<extra></extra>"
        return cls(sentence=sentence, sizes=theme.ums(made.value_um, 2, unit=view.unit), besides=besides)

    def hover(self, rows: Iterable[int]) -> dict[str, Any]:
        """Return what a trace of some of the bores has for its hover."""
        of = list(rows)
        texts = {"text": [self.sizes[i] for i in of], "hovertext": [self.besides[i] for i in of]}
        return {**texts, "hovertemplate": self.sentence, "hoverinfo": "text"}


def off(view: StreamView, clock: Clock, low: float, high: float) -> list[theme.Trace]:
    """Return every bore beyond the drawing as a triangle at its edge, so that none is hidden."""
    value = view.bores.value_um
    rows = np.flatnonzero((value < low) | (value > high))
    if not len(rows):
        return []
    made = chosen(view.bores, rows)
    room = 0.012 * (high - low)
    up = made.value_um > high
    y = np.where(up, high - room, low + room).tolist()
    grave = outside(view)[rows]
    marker = {
        "symbol": np.where(up, "triangle-up-open", "triangle-down-open").tolist(),
        "size": 9,
        "color": [theme.ATTENTION if one else theme.LINE for one in grave],
        "line": {"width": 1.6},
    }
    edge = theme.points(clock.xs(made.at), y, mode="markers", marker=marker, name="beyond the drawing")
    told = _Told.of(view, made, clock).hover(range(len(rows)))
    return [opens_bore(edge | told, made.part, view.stream.bore)]


def _marked(made: StreamBores, x: list[str], told: _Told) -> list[theme.Trace]:
    """Return rings about bores that do not conform, and a cross on each that is doubted by itself."""
    failed = np.array([v == Verdict.DOES_NOT_CONFORM for v in made.verdict], dtype=bool)
    small = {**theme.RING, "size": 7, "line": {"width": 1.3, "color": theme.ATTENTION}}
    cross = {"symbol": "x-thin", "size": 7, "color": theme.NOTE, "line": {"width": 1.4, "color": theme.NOTE}}
    drawn: list[theme.Trace] = []
    alone = np.zeros(len(x), dtype=bool)
    alone[
        [i for first, last, n in doubted_runs(made.flagged) if n < STRETCH for i in range(first, last + 1)]
    ] = True
    for rows, marker, name in (
        (failed, small, "does not conform"),
        (alone & made.flagged, cross, "doubted"),
    ):
        at = np.nonzero(rows)[0]
        if len(at):
            of, y = made.part[at].tolist(), made.value_um[at].tolist()
            mark = theme.points([x[i] for i in at], y, mode="markers", marker=marker, name=name)
            drawn.append({**mark, "customdata": of} | told.hover(at))
    return drawn


def doubted_runs(flagged: Any) -> list[tuple[int, int, int]]:
    """Return first, last and number of doubted bores of each stretch; a few sound ones do not end it."""
    found: list[tuple[int, int, int]] = []
    for i in np.nonzero(flagged)[0].tolist():
        if found and i - found[-1][1] <= STRETCH:
            found[-1] = (found[-1][0], i, found[-1][2] + 1)
        else:
            found.append((i, i, 1))
    return found


def doubted(view: StreamView, clock: Clock, low: float, high: float) -> list[theme.Trace]:
    """Return every stretch of doubted bores as a bar along the floor, with its number in words."""
    runs = [run for run in doubted_runs(view.bores.flagged) if run[2] >= STRETCH]
    if not runs:
        return []
    floor = low + 0.055 * (high - low)  # over the triangles of bores beyond the drawing
    ends = [clock.xs(view.bores.at[[first, last]]) for first, last, _ in runs]
    x = [v for a, b in ends for v in (a, b, None)]
    words = [v for _, _, n in runs for v in (say("doubted: {count} bores", count=n), "", "")]
    near_end = to_utc(clock.since + 0.55 * (clock.until - clock.since))
    under = [view.bores.at[a] > near_end for a, _, _ in runs for _ in range(3)]
    sides = ["bottom left" if late else "bottom right" for late in under]  # the lower limit lies above
    return [
        theme.points(
            x,
            [floor, floor, None] * len(runs),
            mode="lines+markers+text",
            text=words,
            textposition=sides,
            textfont={"size": 11, "color": theme.SOFT},
            marker={"size": 8, "opacity": 0},  # unseen: words stand off a mark, but not off a line
            line={"color": theme.NOTE, "width": 4},
            cliponaxis=False,
            name="doubted stretch",
        )
    ]

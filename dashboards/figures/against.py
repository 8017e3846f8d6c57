"""Two sides against each other: how far each stream's level and spread lie apart, each with its interval.

At left the level in micrometres about a line at none, at right the spread as a ratio about a line at one. An
interval that holds the line is grey; one that does not is ink, ringed, and says its figure.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from cellmon import lengths, local
from cellmon.monitor.answers import Estimate
from cellmon.monitor.compare import ComparedStream, Comparison
from cellmon.records import stream_names
from cellmon.words import say
from dashboards import theme
from dashboards.figures.narrow import few_marks, narrowed
from dashboards.figures.scaled import scaled

ROW_PX, TOP, BOTTOM = 44, 24, 52
LEVEL, SPREAD = (0.0, 0.54), (0.6, 1.0)
ABOVE_PX = 13
"""How high the words of a row stand above its line."""


def against_figure(answer: Comparison) -> theme.Figure:
    """Draw one row a stream, in the order of the answer, the first at the top."""
    rows = answer.streams
    panels = (("x", "level", [s.level_um for s in rows]), ("x2", "spread", [s.spread_ratio for s in rows]))
    data, words = [], _names(rows)
    apart_words = say("level apart, {unit}", unit=lengths.axis_unit())
    for axis, what, found in panels:
        apart = [what in s.differs for s in rows]
        hover = [_hover(s, what) for s in rows]
        data += _intervals(axis, found, apart, hover)
        words += _figures(axis, found, apart)
    drawn = theme.figure(
        data,
        height=TOP + BOTTOM + ROW_PX * len(rows),
        margin={"l": 12, "r": 16, "t": TOP, "b": BOTTOM},
        xaxis=theme.axis(apart_words, domain=list(LEVEL), range=_room(panels[0][2])),
        xaxis2=theme.axis(
            say("spread, times as wide"), domain=list(SPREAD), anchor="y", type="log", nticks=5
        ),
        yaxis=theme.hidden_axis(range=[-len(rows) + 0.4, 0.6], fixedrange=True),
        shapes=[_line("x", 0.0), _line("x2", 1.0)],
        annotations=words,
    )
    figures = range(len(rows), len(words))  # the names of rows come first
    slim = {**few_marks(drawn["layout"]["xaxis"]), "xaxis2.nticks": 3}
    slim |= {f"annotations[{i}].visible": False for i in figures}
    return narrowed(scaled(drawn, "x"), slim)


def _names(rows: Sequence[ComparedStream]) -> list[dict[str, Any]]:
    """Return the name of each row, at its left end above its line."""
    named = stream_names([s.stream for s in rows])
    return [
        theme.word(
            f"<b>{name}</b>" if s.differs else name,
            0,
            -i,
            xref="paper",
            yshift=ABOVE_PX,
            font={"size": 12, "color": theme.INK if s.differs else theme.SOFT},
        )
        for i, (s, name) in enumerate(zip(rows, named, strict=True))
    ]


def _intervals(
    axis: str, found: Sequence[Estimate | None], apart: Sequence[bool], hover: Sequence[str]
) -> list[theme.Trace]:
    traces = []
    for clear, colour in ((False, theme.LINE), (True, theme.INK)):
        mine = [(i, one) for i, one in enumerate(found) if one is not None and apart[i] is clear]
        ends = [(x, -i) for i, one in mine for x in (one.low, one.high, None)]
        traces.append(
            theme.points(
                [x for x, _ in ends],
                [y for _, y in ends],
                mode="lines",
                line={"color": colour, "width": 2.4 if clear else 1.6},
                xaxis=axis,
                name="intervals",
            )
        )
        traces.append(
            theme.points(
                [one.value for _, one in mine],
                [-i for i, _ in mine],
                mode="markers",
                marker={"color": colour, "size": 7},
                text=[hover[i] for i, _ in mine],
                hoverinfo="text",
                xaxis=axis,
                name="apart" if clear else "not shown",
            )
        )
    ringed = [(one.value, -i) for i, one in enumerate(found) if one is not None and apart[i]]
    ring = theme.points(
        [x for x, _ in ringed], [y for _, y in ringed], mode="markers", marker=theme.RING, xaxis=axis
    )
    return [*traces, {**ring, "name": "rings"}]


def _figures(axis: str, found: Sequence[Estimate | None], apart: Sequence[bool]) -> list[dict[str, Any]]:
    """Return the figure of each that is apart, above its mark; on a logarithmic axis by its exponent."""
    return [
        theme.word(
            theme.um_said(one.value, 2) if axis == "x" else _times(one.value),
            1.0,
            -i,
            xref=f"{axis} domain",
            xanchor="right",
            yshift=ABOVE_PX,
            font={"size": 12, "color": theme.INK},
        )
        for i, one in enumerate(found)
        if one is not None and apart[i]
    ]


def _times(ratio: float | None) -> str:
    return say("{times} times", times=local.number(ratio or 0.0, 2))


def _hover(s: ComparedStream, what: str) -> str:
    if what == "level":
        sides = theme.um_said(s.second.mean_um), theme.um_said(s.first.mean_um)
        return say("mean {second}, against {first}", second=sides[0], first=sides[1])
    spreads = [
        lengths.said(side.sd_within_um, 2) if side.sd_within_um is not None else say("unknown")
        for side in (s.second, s.first)
    ]
    return say("standard deviation {second}, against {first}", second=spreads[0], first=spreads[1])


def _room(found: Sequence[Estimate | None]) -> list[float]:
    """Return the ends of the level's axis: as far on both sides, so that none is drawn larger than it is."""
    ends = [abs(x) for one in found if one for x in (one.value, one.low, one.high) if x is not None]
    most = 1.1 * max(ends, default=1.0)
    return [-most, most]


def _line(axis: str, at: float) -> dict[str, Any]:
    line = {"color": theme.LINE, "width": 0.9}
    place = {"xref": axis, "yref": "paper", "x0": at, "x1": at, "y0": 0, "y1": 1}
    return {"type": "line", **place, "line": line, "layer": "below"}

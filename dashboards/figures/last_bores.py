"""The last bores against the limits: each an upright tick from its least to its greatest size."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from cellmon import local
from cellmon.monitor.answers import Tolerance
from cellmon.monitor.now import BoreNow
from cellmon.records import Verdict
from cellmon.words import say
from dashboards import theme
from dashboards.figures.opened import opens_bore, stones_line
from dashboards.figures.terms import term

USED = 0.86  # of a column's width
DOMAIN = (0.0, 0.37)
COUNT = "count"
"""The words below a column, by name."""


@dataclass
class Strip:
    """What the strip adds to the block's figure."""

    axis: dict[str, Any]
    data: list[theme.Trace] = field(default_factory=list)
    shapes: list[Any] = field(default_factory=list)
    words: list[Any] = field(default_factory=list)


def strip(
    bores: Sequence[tuple[Tolerance, BoreNow]],
    *,
    centres: Sequence[float],
    pitch: float,
    labels: Sequence[str],
) -> Strip:
    """Draw the last bores of each position in its own column with its limits, oldest at the left."""
    every = list(dict.fromkeys(tolerance for tolerance, _ in bores))
    low, high = _span(every, [bore for _, bore in bores])
    drawn = Strip(axis=_axis(every, low, high))
    for (tolerance, bore), centre, label in zip(bores, centres, labels, strict=True):
        x0, x1 = centre - USED * pitch / 2, centre + USED * pitch / 2
        drawn.data += _bands(tolerance, x0, x1, low, high) + _ticks(bore, x0, x1)
        drawn.shapes += _limits(tolerance, x0, x1)
        drawn.words.append(_count(bore, centre, label))
    return drawn


def _span(every: Sequence[Tolerance], bores: Sequence[BoreNow]) -> tuple[float, float]:
    seen = np.concatenate([np.concatenate([b.least_um, b.greatest_um]) for b in bores])
    values = [v for t in every for v in (t.lower_um, t.upper_um) if v is not None]
    values += [float(v) for v in seen[np.isfinite(seen)]] or [0.0]
    low, high = min(values), max(values)
    pad = 0.08 * (high - low or 1.0)
    return low - pad, high + pad


def _axis(every: Sequence[Tolerance], low: float, high: float) -> dict[str, Any]:
    named: dict[float, list[str]] = {}
    for t in every:
        for name, value in (
            (say("lower"), t.lower_um),
            (say("aim"), t.target_um),
            (say("upper"), t.upper_um),
        ):
            if value is not None and name not in named.setdefault(value, []):
                named[value].append(name)
    return theme.axis(
        domain=list(DOMAIN),
        anchor="x",
        range=[low, high],
        fixedrange=True,
        tickvals=list(named),
        ticktext=[f"{', '.join(names)} {theme.um(value)}" for value, names in named.items()],
        ticks="",
        showticklabels=False,
    )


def _bands(tolerance: Tolerance, x0: float, x1: float, low: float, high: float) -> list[theme.Trace]:
    bottom = tolerance.lower_um if tolerance.lower_um is not None else low
    top = tolerance.upper_um if tolerance.upper_um is not None else high
    drawn = [theme.band([x0, x1], [bottom] * 2, [top] * 2, colour=theme.ALLOWED)]
    guard = tolerance.guard_um or 0.0
    if guard and tolerance.lower_um is not None:
        drawn.append(theme.hatched(x0, x1, bottom, bottom + guard))
    if guard and tolerance.upper_um is not None:
        drawn.append(theme.hatched(x0, x1, top - guard, top))
    return [{**trace, "yaxis": "y2"} for trace in drawn]


def _limits(tolerance: Tolerance, x0: float, x1: float) -> list[Any]:
    lines = [
        theme.level(x0, x1, v, width=1.3) for v in (tolerance.lower_um, tolerance.upper_um) if v is not None
    ]
    if tolerance.target_um is not None:
        lines.append(theme.level(x0, x1, tolerance.target_um, colour=theme.QUIET, width=0.8))
    return [{**line, "yref": "y2"} for line in lines]


def _ticks(bore: BoreNow, x0: float, x1: float) -> list[theme.Trace]:
    count = len(bore.parts)
    inset = 0.04 * (x1 - x0)
    xs = np.linspace(x0 + inset, x1 - inset, count) if count > 1 else np.array([(x0 + x1) / 2])
    upright_x = [v for x in xs for v in (x, x, None)]
    upright_y = [v for a, b in zip(bore.least_um, bore.greatest_um, strict=True) for v in (a, b, None)]
    sizes = [5.0] * (count - 1) + [9.0] if count else []
    dots = {"size": sizes, "color": theme.INK, "opacity": 1, "line": {"width": 0}}
    drawn = [
        theme.points(upright_x, upright_y, mode="lines", line={"color": theme.LINE, "width": 2}),
        opens_bore(
            theme.points(
                xs.tolist(),
                bore.average_um.tolist(),
                mode="markers",
                marker=dots,
                text=_hover(bore),
                hoverinfo="text",
            ),
            bore.parts,
            bore.bore,
        ),
    ]
    outside = [i for i, verdict in enumerate(bore.verdicts) if verdict is Verdict.DOES_NOT_CONFORM]
    unsure = [i for i, verdict in enumerate(bore.verdicts) if verdict is Verdict.UNDECIDED]
    drawn += _marked(bore, xs, outside, theme.RING, "does not conform")
    drawn += _marked(bore, xs, unsure, UNSURE, "undecided")
    return [{**trace, "yaxis": "y2"} for trace in drawn]


def _hover(bore: BoreNow) -> list[str]:
    columns = bore.parts, bore.ats, bore.stone_sets, bore.least_um, bore.greatest_um, bore.verdicts
    return [
        say(
            "bore {bore}, block {part}: {least} to {greatest}, {verdict}",
            bore=bore.bore,
            part=part,
            least=theme.um(low),
            greatest=theme.um_said(high),
            verdict=term(verdict.value),
        )
        + f"<br>{local.moment(at)}{stones_line(stones)}"
        for part, at, stones, low, high, verdict in zip(*columns, strict=True)
    ]


UNSURE: dict[str, Any] = {
    "symbol": "diamond-open",
    "size": 11,
    "color": theme.NOTE,
    "line": {"width": 1.6, "color": theme.NOTE},
}


def _marked(bore: BoreNow, xs: Any, rows: list[int], marker: Any, name: str) -> list[theme.Trace]:
    if not rows:
        return []
    y = [float(bore.average_um[i]) for i in rows]
    return [theme.points([float(xs[i]) for i in rows], y, mode="markers", marker=marker, name=name)]


def _count(bore: BoreNow, centre: float, label: str) -> Any:
    outside = sum(v is Verdict.DOES_NOT_CONFORM for v in bore.verdicts)
    unsure = sum(v is Verdict.UNDECIDED for v in bore.verdicts)
    said = [say("{count} not conforming (ring)", count=outside)] * bool(outside)
    said += [say("{count} undecided (diamond)", count=unsure)] * bool(unsure)
    if label == bore.bore:
        head = say("bore {bore}, last {count}:", bore=label, count=len(bore.parts))
    else:
        head = say("{bore}, last {count}:", bore=label, count=len(bore.parts))
    text = f"{head}<br>{', '.join(said) or say('all conform')}"
    font = {"size": 13, "color": theme.INK if said else theme.SOFT}
    place = {"yref": "paper", "xanchor": "center", "yanchor": "top"}
    return theme.word(text, centre, -0.02, name=COUNT, font=font, **place)

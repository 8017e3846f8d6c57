"""Two gauges on the same bores: their difference against the size, with the limits of agreement."""

from __future__ import annotations

from typing import Any

from cellmon import lengths
from cellmon.monitor.gauge import FeatureAgreement, GaugesAgree
from cellmon.words import say
from dashboards import theme
from dashboards.figures.narrow import few_marks, narrowed
from dashboards.figures.scaled import scaled

HEIGHT = 300


def two_gauges_figure(pair: GaugesAgree) -> theme.Figure:
    """Draw the differences in the pale band that holds 95 of 100 bores, about a thin line at their mean."""
    size = size_of(pair)
    if size is None or size.difference_um is None or size.lower_um is None or size.upper_um is None:
        why = size.sentence if size else say("no size was measured by both")
        return theme.notice(why, height=HEIGHT)
    middle, apart = (pair.first_um + pair.second_um) / 2, pair.first_um - pair.second_um
    said = [
        say("block {part}, bore {bore}: {size}", part=p, bore=b, size=theme.um_said(d, 2))
        for p, b, d in zip(pair.part, pair.bore, apart, strict=True)
    ]
    x0, x1 = float(middle.min()), float(middle.max())
    traces = [
        theme.points(
            middle.tolist(),
            apart.tolist(),
            mode="markers",
            marker={"color": theme.INK, "size": 4, "opacity": 0.55},
            text=said,
            hoverinfo="text",
            name="bores",
        )
    ]
    if pair.apart.any():
        ringed = middle[pair.apart].tolist(), apart[pair.apart].tolist()
        traces.append(theme.points(*ringed, mode="markers", marker=theme.RING, name="apart"))
    band = {"type": "rect", "xref": "paper", "x0": 0, "x1": 1, "line": {"width": 0}, "layer": "below"}
    low, high = size.lower_um.value, size.upper_um.value
    mean, unit = size.difference_um.value or 0.0, lengths.axis_unit()
    drawn = theme.figure(
        traces,
        height=HEIGHT,
        margin={"l": 64, "r": 24, "t": 20, "b": 46},
        xaxis=theme.axis(say("size, mean of both gauges, {unit} from nominal", unit=unit)),
        yaxis=theme.axis(
            say("{first} less {second}, {unit}", first=pair.first, second=pair.second, unit=unit), nticks=7
        ),
        shapes=[
            {**band, "y0": low, "y1": high, "fillcolor": theme.INSIDE},
            theme.level(x0, x1, mean, colour=theme.LINE, width=0.9),
            theme.level(x0, x1, 0.0, colour=theme.LINE, width=0.9, dash="dot"),
        ],
        annotations=[_above(_held_words(low, high, unit))],
    )
    slim = {"margin.l": 46, "margin.r": 6, **few_marks(drawn["layout"]["xaxis"])}
    return narrowed(scaled(drawn, "x", "y"), slim)


def size_of(pair: GaugesAgree) -> FeatureAgreement | None:
    """Return what two gauges say of size."""
    return next((f for f in pair.features if f.feature == "diameter"), None)


def _held_words(low: float, high: float, unit: str) -> str:
    values = {"low": theme.um(low), "high": theme.um(high), "unit": unit}
    return say("pale: 95 of 100 bores between {low} and {high} {unit}", **values)


def _above(text: str) -> Any:
    """Return words above the drawing, where no bore lies."""
    font = {"size": 11, "color": theme.SOFT}
    return theme.word(text, 1, 1, xref="paper", yref="paper", xanchor="right", yanchor="bottom", font=font)


def rows(pair: GaugesAgree) -> dict[str, list[Any]]:
    """Return both sizes of every bore as columns."""
    return {
        "part": pair.part.tolist(),
        "bore": pair.bore.tolist(),
        f"{pair.first}_um": pair.first_um.tolist(),
        f"{pair.second}_um": pair.second_um.tolist(),
    }

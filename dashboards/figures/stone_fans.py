"""The fan of futures of a stone set, and the names of the sets beside their lines."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from cellmon import lengths, local
from cellmon.monitor.stones.lines import Fan, SetLine
from cellmon.words import say
from dashboards import theme

HEIGHT, TOP, BOTTOM = 440, 14, 44
BELOW = 0.085
"""Of the height of the drawing, hatched below the least usable thickness."""
PLOT_PX = HEIGHT - TOP - BOTTOM
STAGGER = 38
"""Pixels between the names of sets whose lines end near each other."""


def fan_traces(one: SetLine, *, faint: bool) -> list[theme.Trace]:
    """Draw where a set may go; a faint fan leaves its middle and its range to hover."""
    if one.fan is None:
        return []
    fan = one.fan
    left = fan.left_um.tolist()
    area = {
        "type": "scatter",
        "x": [*fan.p05.tolist(), *fan.p95.tolist()[::-1]],
        "y": [*left, *left[::-1]],
        "mode": "lines",
        "line": {"width": 0},
        "fill": "toself",
        "fillcolor": theme.INSIDE if faint else theme.DENSE_BAR,
        "opacity": 0.5 if faint else 0.8,
        "hoverinfo": "skip",
        "name": "fan",
    }
    middle = theme.points(
        fan.p50.tolist(),
        left,
        mode="markers" if faint else "lines+markers",
        line={"color": theme.INK, "width": 1.3, "dash": "dot"},
        marker={"size": 9, "color": "rgba(0,0,0,0)"},
        text=[_future_words(one, fan, i) for i in range(len(left))],
        hoverinfo="text",
        name="half of such sets",
    )
    return [area, middle] if faint else [area, middle, _end(one, fan)]


def _end(one: SetLine, fan: Fan) -> theme.Trace:
    """Draw the range in which the least thickness is reached."""
    ends = [float(fan.p05[-1]), float(fan.p50[-1]), float(fan.p95[-1])]
    shares = ("1 in 20", "1 in 2", "19 in 20")
    return theme.points(
        ends,
        [0.0] * 3,
        mode="lines+markers",
        line={"color": theme.INK, "width": 5},
        marker={
            "symbol": ["line-ns-open", "diamond", "line-ns-open"],
            "size": [12, 9, 12],
            "color": theme.INK,
            "line": {"width": 2, "color": theme.INK},
        },
        text=[_end_words(one, end, share) for end, share in zip(ends, shares, strict=True)],
        hoverinfo="text",
        name="least thickness reached",
    )


def _future_words(one: SetLine, fan: Fan, i: int) -> str:
    at = fan.p50_at[i]
    when = "" if at is None else "<br>" + say("by the shifts planned about {at}", at=local.moment(at))
    said = say(
        "{set}: {left} left at {bores} bores ({low} to {high})",
        set=one.stone_set,
        left=lengths.said(fan.left_um[i], 0),
        bores=local.number(fan.p50[i]),
        low=local.number(fan.p05[i]),
        high=local.number(fan.p95[i]),
    )
    return said + when


def _end_words(one: SetLine, bores: float, share: str) -> str:
    return say(
        "{set}: {share} such sets is at its least thickness by {bores} bores",
        set=one.stone_set,
        share=share,
        bores=local.number(bores),
    )


def set_names(
    lines: Sequence[SetLine], chosen: str | None, *, far: float, top: float, crowded: bool
) -> list[Any]:
    """Name every set that is drawn in ink beside where it stands; names near each other are staggered."""
    words = []
    step, aside = (20, 0) if crowded else (STAGGER, 0)
    for rank, one in enumerate(sorted(lines, key=lambda line: -float(line.bores[-1]))):
        x, y = float(one.bores[-1]), float(one.left_um[-1])
        rises, room = 30 + step * (rank % 5), PLOT_PX * (top - y) / (top * (1 + BELOW)) - 8
        if rises > room:  # young sets stand at the top: their names go beside them, one after the other
            aside += 1
        left = x > 0.82 * far
        words.append(
            theme.word(
                _name(one, strong=one.stone_set == chosen, short=crowded),
                x,
                y,
                showarrow=True,
                arrowhead=0,
                arrowwidth=0.8,
                arrowcolor=theme.SOFT,
                ax=-16 if left else 16 + (110 * aside - 60 if rises > room else 0),
                xanchor="right" if left else "left",
                ay=-max(min(rises, room), 0),
                align="left",
                standoff=8,
                bgcolor=theme.VEIL,
                borderpad=1,
                font={"size": 12, "color": theme.INK},
            )
        )
    return words


def _name(one: SetLine, *, strong: bool, short: bool) -> str:
    """Return a set's name with its spindle, and how many bores it has left."""
    where = f"{one.spindle} " if one.state == "fitted" and one.spindle else ""
    name = f"<b>{where}{one.stone_set}</b>" if strong else f"{where}{one.stone_set}"
    if one.fan is None or one.now_bores is None or (short and not strong):
        return name
    low, high = (max(float(edge[-1]) - one.now_bores, 0.0) for edge in (one.fan.p05, one.fan.p95))
    left = say("{low} to {high} left", low=local.number(low), high=local.number(high))
    return f'{name}<br><span style="color:{theme.SOFT}">{left}</span>'

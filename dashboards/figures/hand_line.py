"""The bores of a position, or of a part, finished by hand: one after another, between their limits."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from urllib.parse import urlencode

from cellmon import lengths, local
from cellmon.monitor.hand_streams import HandBore, HandStream
from cellmon.records import Verdict
from cellmon.words import say
from dashboards import theme
from dashboards.figures.allowed import allowed
from dashboards.figures.narrow import few_marks, narrowed
from dashboards.figures.opened import opens_links
from dashboards.figures.scaled import scaled

HEIGHT = 300
NAMED = 6
"""So many bores are named along the foot; by hand they come at no pace, so a clock says nothing there."""

SLIM_NAMED = 2
"""And so many in a narrow box."""


def hand_figure(stream: HandStream, made: Sequence[HandBore]) -> theme.Figure:
    """Draw each bore from its least to its greatest size with a dot at its size; ring what is not proven."""
    x = list(range(1, len(made) + 1))
    low, high = _span(stream, made)
    upright = {"color": theme.LINE, "width": 2}
    dots = {"size": 8, "color": theme.INK}
    drawn = [
        *allowed(stream.tolerance, [0.5, len(made) + 0.5], low, high),
        theme.points(
            [one for at in x for one in (at, at, None)],
            [um for one in made for um in (one.least_um, one.greatest_um, None)],
            mode="lines",
            line=upright,
        ),
        opens_links(
            theme.points(
                x,
                [one.um for one in made],
                mode="markers",
                marker=dots,
                text=[bore_words(one) for one in made],
                hoverinfo="text",
            ),
            [link_to(one) for one in made],
        ),
        *_rings(x, made),
    ]
    figure = theme.figure(
        drawn,
        height=HEIGHT,
        xaxis=_foot(made),
        yaxis=theme.axis(
            say("size from nominal, {unit}", unit=lengths.axis_unit()), range=[low, high], nticks=6
        ),
    )
    slim = {"margin.l": 46, "margin.r": 6, **few_marks(figure["layout"]["xaxis"], marks=SLIM_NAMED)}
    return narrowed(scaled(figure, "y"), slim)


def link_to(one: HandBore) -> str:
    """Return the address of a bore on the page of one bore in the hand."""
    return f"bore?{urlencode({'serial': one.part, 'bore': one.bore})}"


def bore_words(one: HandBore) -> str:
    """Return what is said of one bore when it is pointed at."""
    rounds = "" if one.rounds is None else "<br>" + say("rounds: {count}", count=one.rounds)
    sizes = say(
        "block {part}, bore {bore}: {size} ({least} to {greatest})",
        part=one.part,
        bore=one.bore,
        size=theme.um_said(one.um),
        least=theme.um(one.least_um),
        greatest=theme.um(one.greatest_um),
    )
    return f"{sizes}<br>{local.moment(one.at)}{rounds}"


def _foot(made: Sequence[HandBore]) -> theme.Figure:
    """Return the axis of the bores in the order in which they were finished, some of them named."""
    every = -(-len(made) // NAMED)
    named = range(0, len(made), every)
    return theme.axis(
        "",
        range=[0.5, len(made) + 0.5],
        tickvals=[i + 1 for i in named],
        ticktext=[f"{made[i].part}<br>{say('bore {bore}', bore=made[i].bore)}" for i in named],
    )


def _span(stream: HandStream, made: Sequence[HandBore]) -> tuple[float, float]:
    limits = [um for um in (stream.tolerance.lower_um, stream.tolerance.upper_um) if um is not None]
    values = [*limits, *(um for one in made for um in (one.least_um, one.greatest_um))]
    low, high = min(values), max(values)
    pad = 0.08 * ((high - low) or 1.0)
    return low - pad, high + pad


def _rings(x: Sequence[int], made: Sequence[HandBore]) -> list[theme.Trace]:
    at = [i for i, one in enumerate(made) if one.verdict is not Verdict.CONFORMS]
    if not at:
        return []
    y = [made[i].um for i in at]
    return [
        theme.points([x[i] for i in at], y, mode="markers", marker=theme.RING, name="not proven to conform")
    ]


def rows(made: Sequence[HandBore]) -> dict[str, list[Any]]:
    """Return the bores as columns."""
    return {
        "part": [one.part for one in made],
        "bore": [one.bore for one in made],
        "at": [one.at.isoformat() for one in made],
        "deviation_um": [one.um for one in made],
        "least_um": [one.least_um for one in made],
        "greatest_um": [one.greatest_um for one in made],
        "verdict": [one.verdict.value for one in made],
        "rounds": [one.rounds for one in made],
    }

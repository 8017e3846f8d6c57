"""A set drawn as the stones it has: each upright as in the bore, its face exaggerated, its holder left.

Length and the drawing share one scale; what a face departs from the mean of the set is drawn
`Exaggerated.times` larger. The dotted line stands at that mean in every stone, so heights compare; the pale
band is as wide as the ends of a stone may differ.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil
from typing import Any

import numpy as np

from cellmon import lengths, local
from cellmon.monitor.stone_picture import StoneBody, StonePicture
from cellmon.monitor.stones.laid_out import StoneNow
from cellmon.monitor.stones.sets import StoneSetOf
from cellmon.words import say
from dashboards import theme
from dashboards.figures.narrow import in_lines, narrowed, small, words_at

HEIGHT, ROW_HEIGHT = "clamp(300px, 34vw, 450px)", "clamp(270px, 24vw, 330px)"
"""The room the page gives to one row of stones, or to each of several; proportions are kept inside."""
STEPS = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000)
USUAL_MM = 70.0
"""Length drawn where the sheet does not say how long the stones are."""
IN_A_ROW = 4
HOLDER, BODY, FACE, GAP = 0.05, 0.10, 0.16, 0.21
"""Widths in lengths of a stone: holder, stone behind its least face, room for the face, and for figures."""
PITCH = HOLDER + BODY + FACE + GAP
NAMED, TURNED, BELOW = 0.19, 0.29, 0.27
"""Room above a row for the names, more where the way up is told, and below it for the differences."""
PLACES = {"top": 0.04, "middle": 0.5, "bottom": 0.96}
"""Where a stone is measured, as a share of its length; near its ends."""


@dataclass(frozen=True, kw_only=True)
class Exaggerated:
    """How thickness becomes a drawing, in drawn millimetres, one to one with length."""

    length: float
    mean_um: float
    low_um: float
    times: int
    above: float
    """Room above a row of stones, in lengths of one."""

    def out(self, um: float) -> float:
        """Return how far right of the least face drawn a thickness lies."""
        return (um - self.low_um) * self.times / 1000


def stone_shape_figure(picture: StonePicture, chosen: str | None) -> theme.Figure:
    """Draw the stones of a set at its last round."""
    one = next((s for s in picture.stones.sets if s.stone_set == chosen), None)
    if one is None or not one.stones or not _known(one.stones):
        text = say("Choose a set.") if one is None else say("{set} was never measured.", set=one.stone_set)
        return theme.notice(text)
    body = next((b for b in picture.bodies if b.kind == one.kind), None)
    scale = scale_of(one.stones, body)
    data: list[theme.Trace] = []
    words: list[Any] = []
    rows = rows_of(one.stones)
    in_row = ceil(len(one.stones) / rows)
    for i, stone in enumerate(one.stones):
        row, column = divmod(i, in_row)
        x = column * PITCH * scale.length
        y = row * (1 + scale.above + BELOW) * scale.length
        data += _stone(stone, scale, body, x, y)
        words += _words(stone, scale, body, x, y)
    words.append(_scale_words(scale, rows))
    drawn = theme.figure(
        data,
        height=None,
        annotations=words,
        margin={"l": 4, "r": 4, "t": 4, "b": 24},
        xaxis=theme.hidden_axis(
            range=[-0.02 * scale.length, in_row * PITCH * scale.length], fixedrange=True, constrain="domain"
        ),
        yaxis=theme.hidden_axis(
            range=[
                (rows * (1 + scale.above + BELOW) - scale.above) * scale.length,
                -scale.above * scale.length,
            ],
            fixedrange=True,
            scaleanchor="x",
            scaleratio=1,
            constrain="domain",
            constraintoward="top",
        ),
        dragmode=False,
    )
    return narrowed(drawn, _slim(words))


def _slim(words: Sequence[Any]) -> dict[str, Any]:
    """Return what changes in a narrow box: words are small, so that each keeps to its stone."""
    last = words_at(len(words) - 1)
    return {
        **small(len(words)),
        "margin.l": 0,
        "margin.r": 0,
        f"{last}.text": in_lines(words[-1]["text"], 40),
    }


def rows_of(stones: Sequence[StoneNow]) -> int:
    """Return in how many rows a set is drawn."""
    return max(ceil(len(stones) / IN_A_ROW), 1)


def height_of(picture: StonePicture, chosen: str | None) -> str:
    """Return how high the page draws a set, as a length of its style sheet."""
    one = next((s for s in picture.stones.sets if s.stone_set == chosen), None)
    rows = 1 if one is None else rows_of(one.stones)
    return HEIGHT if rows == 1 else f"calc({rows} * {ROW_HEIGHT})"


def _known(stones: Sequence[StoneNow]) -> list[float]:
    return [um for s in stones for um in s.places_um.values() if um is not None]


def scale_of(stones: Sequence[StoneNow], body: StoneBody | None) -> Exaggerated:
    """Return the largest round exaggeration at which every face keeps inside its room."""
    um = np.array(_known(stones))
    length = (body.length_mm if body is not None else None) or USUAL_MM
    low, high = float(um.min()), float(um.max())
    widest = max(high - low, 1.0)
    fits = [step for step in STEPS if widest * step / 1000 <= FACE * length]
    return Exaggerated(
        length=length,
        mean_um=float(um.mean()),
        low_um=low,
        times=fits[-1] if fits else STEPS[0],
        above=TURNED if any(s.way_up for s in stones) else NAMED,
    )


def _stone(
    stone: StoneNow, scale: Exaggerated, body: StoneBody | None, x: float, y: float
) -> list[theme.Trace]:
    """Draw one stone: holder, body with its face, what its ends may differ, the mean of the set."""
    length = scale.length
    holder, base = x + HOLDER * length, x + (HOLDER + BODY) * length
    drawn = [
        _box(x, holder, y, y + length, theme.LINE),
        _box(holder, base, y, y + length, theme.METAL),
    ]
    at = [(name, um) for name, um in stone.places_um.items() if um is not None and name in PLACES]
    if not at:
        return drawn
    down = [y + PLACES[name] * length for name, _ in at]
    out = [base + scale.out(um) for _, um in at]
    drawn.append(
        _filled([base, out[0], *out, out[-1], base], [y, y, *down, y + length, y + length], theme.METAL)
    )
    allowed = None if body is None else body.parallel_um
    if allowed is not None:
        middle, half = (max(out) + min(out)) / 2, allowed / 2 * scale.times / 1000
        drawn.append(_box(middle - half, middle + half, y, y + length, theme.INSIDE))
    hover = [
        say("stone {stone}, {place}: {um} thick", stone=stone.stone, place=name, um=lengths.said(um, 0))
        for name, um in at
    ]
    drawn += _face(out, down, hover, ends=(y, y + length), mean=base + scale.out(scale.mean_um))
    if _differ(stone, allowed):
        x_ends, y_ends = [out[0], out[-1]], [down[0], down[-1]]
        ring = {**theme.RING, "size": 14}
        drawn.append(theme.points(x_ends, y_ends, mode="markers", marker=ring, name="ends differ"))
    return drawn


def _face(
    out: list[float], down: list[float], hover: list[str], *, ends: tuple[float, float], mean: float
) -> list[theme.Trace]:
    """Draw the face of a stone through its measured places, beside the mean of the set."""
    dotted = {"color": theme.SOFT, "width": 1.1, "dash": "1.5px,3px"}
    x, y = [out[0], *out, out[-1]], [ends[0], *down, ends[1]]
    marks = {"size": 8, "color": theme.INK, "line": {"color": theme.PAPER, "width": 1}}
    return [
        theme.points([mean, mean], list(ends), mode="lines", line=dotted, name="mean of the set"),
        theme.points(x, y, mode="lines", line={"color": theme.INK, "width": 2.4}, name="face"),
        theme.points(out, down, mode="markers", marker=marks, text=hover, hoverinfo="text", name="measured"),
    ]


def _differ(stone: StoneNow, allowed: float | None) -> bool:
    """Return whether the ends of a stone differ by more than the sheet allows."""
    ends = _ends(stone)
    return ends is not None and allowed is not None and abs(ends) > allowed


def _ends(stone: StoneNow) -> float | None:
    """Return top less bottom; None where one of them was not measured."""
    top, bottom = stone.places_um.get("top"), stone.places_um.get("bottom")
    return None if top is None or bottom is None else top - bottom


def _box(x0: float, x1: float, y0: float, y1: float, colour: str) -> theme.Trace:
    return _filled([x0, x1, x1, x0], [y0, y0, y1, y1], colour)


def _filled(x: list[float], y: list[float], colour: str) -> theme.Trace:
    shape = {"x": [*x, x[0]], "y": [*y, y[0]], "mode": "lines", "line": {"width": 0}, "hoverinfo": "skip"}
    return {"type": "scatter", "fill": "toself", "fillcolor": colour, **shape}


def _words(stone: StoneNow, scale: Exaggerated, body: StoneBody | None, x: float, y: float) -> list[Any]:
    """Return a stone's name and place above it, its thicknesses beside it, what its ends differ below."""
    length = scale.length
    base = x + (HOLDER + BODY) * length
    names = [f"<b>{say('stone {stone}', stone=stone.stone)}</b>", _where(stone)]
    words = [theme.word("<br>".join(n for n in names if n), x, y, yanchor="bottom", align="left", yshift=3)]
    allowed = None if body is None else body.parallel_um
    for name, um in stone.places_um.items():
        if um is None or name not in PLACES:
            continue
        words.append(
            theme.word(
                lengths.bare(um, 0),
                base + scale.out(um),
                y + PLACES[name] * length,
                xshift=9,
                font={"size": 11, "color": theme.INK},
            )
        )
    ends = _ends(stone)
    if ends is not None:
        over = _differ(stone, allowed)
        text = say("ends differ<br>by {um}", um=lengths.said(abs(ends), 0))
        words.append(
            theme.word(
                f"<b>{text}</b>" if over else text,
                x,
                y + length,
                yanchor="top",
                yshift=-3,
                align="left",
                font={"size": 12, "color": theme.INK if over else theme.SOFT},
            )
        )
    return words


def _where(stone: StoneNow) -> str:
    said = []
    if stone.holder:
        said.append(say("holder {holder}", holder=stone.holder))
    if stone.way_up:
        said.append(say("{way} up", way=stone.way_up))
    return "<br>".join(said)


def _scale_words(scale: Exaggerated, rows: int) -> Any:
    text = say("thickness drawn {times} times larger than length", times=local.number(scale.times))
    bottom = (rows + (rows - 1) * (scale.above + BELOW)) * scale.length
    font = {"size": 12, "color": theme.SOFT}
    return theme.word(text, 0.0, bottom, yanchor="top", yshift=-42, font=font)


def rows(picture: StonePicture, chosen: str | None) -> dict[str, list[Any]]:
    """Return the thicknesses that are drawn, one row a place."""
    one: StoneSetOf | None = next((s for s in picture.stones.sets if s.stone_set == chosen), None)
    found = [
        (chosen, s.stone, s.holder, s.way_up, place, um)
        for s in (() if one is None else one.stones)
        for place, um in s.places_um.items()
    ]
    names = ("stone_set", "stone", "holder", "way_up", "position", "thickness_um")
    return {name: [row[i] for row in found] for i, name in enumerate(names)}

"""Every stone set as a falling line over bores honed: past sets pale, running sets in ink with their fan.

What is left is that of the thinnest place over the least usable thickness, which lies at 0. A dot is a
measured round with what readings repeat to, a stroke across the line a dressing. The pale fan is where the
set may go: 1 of 20 such sets falls before its near edge, 1 of 20 behind its far one.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from functools import lru_cache
from typing import Any
from urllib.parse import quote, urlencode

import numpy as np

from cellmon import lengths, local
from cellmon.monitor.stone_picture import StonePicture
from cellmon.monitor.stones.lines import LineMark, LinePoint, SetLine
from cellmon.monitor.stones.sets import StoneSetOf
from cellmon.words import say, voice
from dashboards import theme
from dashboards.figures import thinned
from dashboards.figures.narrow import few_marks, narrowed, small
from dashboards.figures.opened import opens_links, opens_stream, stream_until
from dashboards.figures.scaled import scaled
from dashboards.figures.stone_fans import BELOW, BOTTOM, HEIGHT, TOP, fan_traces, set_names
from dashboards.figures.terms import term

MANY = 40
"""Past sets from which their lines are drawn finer."""
FEW = 3
"""Fans up to which all are drawn alike; where more overlap, that of the chosen set stands out."""
DRESSED: dict[str, Any] = {"symbol": "line-ns-open", "size": 13, "line": {"width": 1.6}}
CHIPPED: dict[str, Any] = {"symbol": "x-thin-open", "size": 10, "line": {"width": 1.6}}


__all__ = ["HEIGHT", "lines_of", "rows", "stone_lines_figure"]


def stone_lines_figure(picture: StonePicture, chosen: str | None) -> theme.Figure:
    """Draw the sets of one kind, that of the chosen set; the chosen one is drawn heaviest."""
    lines = lines_of(picture, chosen)
    if not lines:
        return theme.notice(say("No set of stones was fitted or measured yet."), height=HEIGHT)
    past = [one for one in lines if one.state == "ended" and one.stone_set != chosen]
    shown = [one for one in lines if one not in past]
    far = 1.03 * max(_reach(one) for one in lines)
    top = 1.04 * max(float(one.left_um.max()) for one in lines)
    crowded = sum(one.fan is not None for one in shown) > FEW
    data = list(_past(tuple(past), (voice(), lengths.shown())))
    for one in sorted(shown, key=lambda line: line.stone_set == chosen):
        data += fan_traces(one, faint=crowded and one.stone_set != chosen)
    for one in sorted(shown, key=lambda line: line.stone_set == chosen):
        data += _line(one, heavy=one.stone_set == chosen)
    words = [*set_names(shown, chosen, far=far, top=top, crowded=crowded), _least_words(lines[0], far, top)]
    marks, said = _form_limits(picture, shown)
    drawn = theme.figure(
        [*_least(far, top), *data, *marks],
        height=HEIGHT,
        annotations=[*words, *said],
        margin={"l": 58, "r": 16, "t": TOP, "b": BOTTOM},
        xaxis=theme.axis(say("bores honed by the set"), range=[0, far], tickformat=",d", nticks=9),
        yaxis=theme.axis(
            say("thickness left, {unit}", unit=lengths.axis_unit()),
            range=[-BELOW * top, top],
            tickformat=",d",
            nticks=7,
            rangemode="tozero",
        ),
    )
    slim = {
        "margin.l": 58,
        "margin.r": 8,
        **few_marks(drawn["layout"]["xaxis"]),
        **small(len(drawn["layout"]["annotations"])),
    }
    return narrowed(scaled(drawn, "y"), slim)


def lines_of(picture: StonePicture, chosen: str | None) -> list[SetLine]:
    """Return the lines of the kind of the chosen set, or of the first that runs."""
    named = next((one for one in picture.lines if one.stone_set == chosen), None)
    named = named or next((one for one in picture.lines if one.state == "fitted"), None)
    named = named or (picture.lines[-1] if picture.lines else None)
    return [] if named is None else [one for one in picture.lines if one.kind == named.kind]


def _reach(one: SetLine) -> float:
    return max(float(one.bores[-1]), 1.0) if one.fan is None else float(one.fan.p95[-1])


@lru_cache(maxsize=4)
def _past(lines: tuple[SetLine, ...], spoken: tuple[object, ...]) -> tuple[theme.Trace, ...]:
    """Draw all past sets as one pale trace, where they ended, and a name at every point.

    They stand still from batch to batch, so they are drawn once for each way of speaking. Of rounds that
    are one to the eye one is named.

    Of very many, lines that would lie in the same pixels are drawn once; no chip is left out.
    """
    x: list[Any] = []
    y: list[Any] = []
    for one in shown_lines(lines):
        x += [*one.bores.tolist(), None]
        y += [*one.left_um.tolist(), None]
    pale = {"color": theme.QUIET, "width": 1 if len(lines) <= MANY else 0.5}
    drawn = theme.points(x, y, mode="lines", line=pale, name="past sets")
    every = [(one, r) for one in lines for r in one.rounds]
    seen = [every[i] for i in _seen([(r.bores, r.left_um) for _, r in every])]
    links = {one.stone_set: stream_until(_size_of(one)) for one in lines}
    unseen = {"size": 9, "color": "rgba(0,0,0,0)"}
    named = theme.points(
        [r.bores for _, r in seen],
        [r.left_um for _, r in seen],
        mode="markers",
        marker=unseen,
        text=[_stood(one.stone_set, r.at, r.bores, r.left_um, spoken) for one, r in seen],
        name="rounds of past sets",
    )
    opened = [f"{links[one.stone_set]}{quote(r.at.isoformat())}" for one, r in seen]
    linked = opens_links({**named, "hoverinfo": "text"}, opened)
    return drawn, linked, _chipped([r for _, r in every if r.jump == "chip"])


def _chipped(chips: Sequence[LinePoint]) -> theme.Trace:
    return theme.points(
        [r.bores for r in chips],
        [r.left_um for r in chips],
        mode="markers",
        marker={**CHIPPED, "color": theme.SOFT},
        name="chipped",
    )


class _Told:
    """A line, the same as another where its rounds are the very same ones."""

    def __init__(self, one: SetLine) -> None:
        self.one = one
        self._key = (
            one.stone_set,
            one.spindle,
            id(one.rounds),
        )  # held by the line, so no other has its place

    def __hash__(self) -> int:
        return hash(self._key)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Told) and self._key == other._key


def shown_lines(lines: Sequence[SetLine]) -> list[SetLine]:
    """Return the past sets whose lines are drawn: all, or of very many those that differ to the eye.

    A set is drawn for its end, its middle or any chip that no other line drawn has in the same place.
    """
    if sum(len(one.bores) for one in lines) <= thinned.FROM:
        return list(lines)
    places = [
        (i, float(one.bores[j]), float(one.left_um[j]))
        for i, one in enumerate(lines)
        for j in (len(one.bores) - 1, len(one.bores) // 2)
    ]
    told = [places[i][0] for i in _seen([place[1:] for place in places], above=0)]
    chipped = [i for i, one in enumerate(lines) if any(r.jump == "chip" for r in one.rounds)]
    return [lines[i] for i in sorted({*told, *chipped})]


def _seen(places: Sequence[tuple[float, float]], *, above: int = thinned.FROM) -> list[int]:
    if not places:
        return []
    x, y = np.array(places, dtype=np.float64).T
    found: list[int] = thinned.apart(x, y, above=above).tolist()
    return found


def _line(one: SetLine, *, heavy: bool) -> list[theme.Trace]:
    """Draw one set in ink: its line, what is expected since its last round, rounds and dressings."""
    width, colour = (2.6, theme.INK) if heavy else (1.5, theme.SOFT)
    last = one.rounds[-1].bores if one.rounds else 0.0
    told = int((one.bores <= last).sum())
    solid = {"color": colour, "width": width}
    drawn = [_stretch(one, slice(0, told), solid, one.stone_set)]
    if told < len(one.bores):
        since = slice(max(told - 1, 0), None)
        drawn.append(_stretch(one, since, {**solid, "dash": "4px,3px"}, "since it was measured"))
    return [*drawn, _rounds(one, colour), _dressings(one, colour), *_chip(one), *_now(one, colour)]


def _stretch(one: SetLine, part: slice, line: dict[str, Any], name: str) -> theme.Trace:
    x, y = one.bores[part].tolist(), one.left_um[part].tolist()
    return theme.points(x, y, mode="lines", line=line, name=name)


def _now(one: SetLine, colour: str) -> list[theme.Trace]:
    """Mark where a set that has not ended stands by now."""
    if one.now_bores is None or one.now_left_um is None:
        return []
    place = _place(one.now_bores, one.now_left_um)
    text = say("{set}, now: {bores} bores, {left} left", set=one.stone_set, **place)
    mark = {"symbol": "circle-open", "size": 11, "color": colour, "line": {"width": 2}}
    x, y = [one.now_bores], [one.now_left_um]
    return [
        theme.points(x, y, mode="markers", marker=mark, text=[text], hoverinfo="text", name="now"),
    ]


def _opens(trace: theme.Trace, one: SetLine, at: Sequence[datetime]) -> theme.Trace:
    """Return a trace whose points open the size of the set's spindle at their moments."""
    return opens_stream(trace, _size_of(one), [moment.isoformat() for moment in at])


def _size_of(one: SetLine) -> str:
    spindle = {} if one.spindle is None else {"spindle": one.spindle}
    return urlencode({**spindle, "feature": "diameter"})


def _rounds(one: SetLine, colour: str) -> theme.Trace:
    half = [r.half_um or 0.0 for r in one.rounds]
    drawn = theme.points(
        [r.bores for r in one.rounds],
        [r.left_um for r in one.rounds],
        mode="markers",
        marker={"size": 7, "color": colour, "line": {"color": theme.PAPER, "width": 1}},
        error_y={"type": "data", "array": half, "color": colour, "thickness": 1.2, "width": 4},
        text=_measured(_Told(one), (voice(), lengths.shown())),
        hoverinfo="text",
        name="measured",
    )
    return _opens(drawn, one, [r.at for r in one.rounds])


def _dressings(one: SetLine, colour: str) -> theme.Trace:
    drawn = theme.points(
        [d.bores for d in one.dressings],
        [d.left_um for d in one.dressings],
        mode="markers",
        marker={**DRESSED, "color": colour},
        text=[say("dressed: {where}", where=_marked(one, d)) for d in one.dressings],
        hoverinfo="text",
        name="dressed",
    )
    return _opens(drawn, one, [d.at for d in one.dressings])


def _chip(one: SetLine) -> list[theme.Trace]:
    """Ring a chip: attention where the set still runs, neutral where it has ended."""
    chips = [r for r in one.rounds if r.jump == "chip"]
    if not chips:
        return []
    mark = theme.RING if one.state == "fitted" else {**CHIPPED, "color": theme.INK}
    x, y = [r.bores for r in chips], [r.left_um for r in chips]
    return [theme.points(x, y, mode="markers", marker=mark, name="chipped")]


def _least_words(one: SetLine, far: float, top: float) -> Any:
    text = say("least usable thickness, {mm}", mm=lengths.size_said(one.least_um / 1000, 2))
    font = {"size": 12, "color": theme.INK}
    return theme.word(
        text, 0.004 * far, -BELOW * top / 2, yanchor="middle", bgcolor=theme.PAPER, borderpad=2, font=font
    )


def _least(far: float, top: float) -> list[theme.Trace]:
    """Draw the least usable thickness as a heavy line, hatched below: nothing is drawn there."""
    line = {"color": theme.INK, "width": 2.4}
    level = theme.points([0, far], [0.0, 0.0], mode="lines", line=line, name="least usable thickness")
    return [{**theme.hatched(0, far, -BELOW * top, 0.0), "name": "below the least"}, level]


def _form_limits(picture: StonePicture, lines: Sequence[SetLine]) -> tuple[list[theme.Trace], list[Any]]:
    """Mark where a bore's form may leave its tolerance before the stones are used up."""
    marks: list[theme.Trace] = []
    words: list[Any] = []
    sets = {one.stone_set: one for one in picture.stones.sets}
    for one in lines:
        told: StoneSetOf | None = sets.get(one.stone_set)
        if told is None or told.good_bores is None or told.limited_by != "quality" or one.now_bores is None:
            continue
        good, level = told.good_bores, one.now_left_um or 0.0
        x = [one.now_bores + good.p05, one.now_bores + good.p50]
        marks.append(
            theme.points(
                x,
                [level] * 2,
                mode="lines+markers",
                line={"color": theme.ATTENTION, "width": 2, "dash": "2px,2px"},
                marker={"symbol": ["line-ns-open", "square-open"], "size": 11, "color": theme.ATTENTION},
                name="form limit",
            )
        )
        text = say("{feature} may leave its tolerance first", feature=good.feature)
        words.append(theme.word(text, x[-1], level, xshift=10))
    return marks, words


def _place(bores: float, left: float) -> dict[str, str]:
    return {"bores": local.number(bores), "left": lengths.said(left, 0)}


@lru_cache(maxsize=8192)
def _stood(stone_set: str, at: datetime, bores: float, left: float, _spoken: tuple[object, ...]) -> str:
    """Say where a set stood, once for each way of speaking: its marks stay where they are."""
    where = _place(bores, left)
    return say("{set}: {bores} bores, {left} left, {at}", set=stone_set, at=local.moment(at), **where)


def _marked(one: SetLine, mark: LinePoint | LineMark) -> str:
    return _stood(one.stone_set, mark.at, mark.bores, mark.left_um, (voice(), lengths.shown()))


@lru_cache(maxsize=64)
def _measured(told: _Told, _spoken: tuple[object, ...]) -> list[str]:
    return [_measured_words(told.one, r) for r in told.one.rounds]


def _measured_words(one: SetLine, r: LinePoint) -> str:
    said = say("measured: {where}", where=_marked(one, r))
    if r.half_um is not None:
        said += "<br>" + say("readings repeat to {half} (90 %)", half=lengths.said(r.half_um, 1))
    return said if r.jump is None else f"{said}<br>{term(r.jump)}"


def rows(picture: StonePicture, chosen: str | None) -> dict[str, list[Any]]:
    """Return what is drawn as columns: rounds, dressings, now, and the fan with its range of bores."""
    found: list[tuple[Any, ...]] = []
    for one in lines_of(picture, chosen):
        head = (one.stone_set, one.kind, one.spindle, one.state)
        found += [(*head, "measured", r.at.isoformat(), r.bores, r.left_um, None, None) for r in one.rounds]
        found += [(*head, "dressed", d.at.isoformat(), d.bores, d.left_um, None, None) for d in one.dressings]
        if one.now_bores is not None:
            found.append(
                (*head, "now", picture.as_of.isoformat(), one.now_bores, one.now_left_um, None, None)
            )
        if one.fan is not None:
            fan = one.fan
            found += [
                (*head, "expected", None if at is None else at.isoformat(), mid, left, low, high)
                for at, mid, left, low, high in zip(
                    fan.p50_at, fan.p50, fan.left_um, fan.p05, fan.p95, strict=True
                )
            ]
    names = (
        "stone_set",
        "kind",
        "spindle",
        "state",
        "what",
        "at",
        "bores",
        "left_um",
        "bores_p05",
        "bores_p95",
    )
    return {name: [row[i] for row in found] for i, name in enumerate(names)}

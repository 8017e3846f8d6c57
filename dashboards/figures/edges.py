"""Bores and edges: the bores in making order inside the tolerance, and its two edges enlarged beside them.

One upright axis of size. At the right the share of bores beyond each size on a log scale: steps are
the bores measured, the line is the model, the pale band its interval. The guard band is hatched.
"""

from __future__ import annotations

from math import log10
from typing import Any

import numpy as np

from cellmon import lengths, local
from cellmon.monitor.capability_picture import CapabilityPicture, EdgePicture
from cellmon.monitor.capability_words import share_words
from cellmon.records import EventKind, Flags, Whole
from cellmon.shifts import to_utc
from cellmon.words import say, to_say
from dashboards import theme
from dashboards.figures.allowed import allowed
from dashboards.figures.clock import clock_of
from dashboards.figures.narrow import in_lines, narrowed
from dashboards.figures.opened import opens_bore, stones_line
from dashboards.figures.scaled import scaled
from dashboards.figures.terms import term
from dashboards.figures.thinned import FEW_COLUMNS, FEW_FROM, kept

HEIGHT = 560
LEFT, RIGHT = (0.0, 0.56), (0.67, 1.0)
UPPER, LOWER = (0.55, 0.95), (0.05, 0.45)
COUNT, FLOOR = "count", "floor"
"""The words below the bores and at their lower limit, by name; those above an edge have that of its side."""
LEAST = 1e-8
"""The log scale begins at 0.01 in a million."""
SHARES = {1e-8: "0.01 ppm", 1e-6: "1 ppm", 1e-4: "100 ppm", 1e-2: "1 %", 1.0: to_say("all")}


def edges_figure(picture: CapabilityPicture) -> theme.Figure:
    """Draw one stream's bores and the edges of their distribution."""
    if not len(picture.part):
        return theme.notice(say("No bore of this stream was measured in this time."), height=HEIGHT)
    low, high = _span(picture)
    shown = allowed(picture.tolerance, [0, len(picture.part)], low, high)
    data = [*shown, *_bores(picture), *_marks(picture, low, high)]
    shapes, words = _limits(picture)
    layout: dict[str, Any] = {
        "xaxis": theme.axis(
            domain=list(LEFT),
            range=[-0.01 * len(picture.part), 1.01 * len(picture.part)],
            showticklabels=False,
            ticks="",
        ),
        "yaxis": theme.axis(
            say("from nominal, {unit}", unit=lengths.axis_unit(picture.unit)), range=[low, high]
        ),
    }
    for i, edge in enumerate(picture.edges):
        x, y = f"x{i + 2}", f"y{i + 2}"
        room = [0.0, 1.0] if len(picture.edges) == 1 else list(UPPER if edge.side == "upper" else LOWER)
        data += [{**trace, "xaxis": x, "yaxis": y} for trace in _edge(picture, edge)]
        shapes.append({**_line(LEAST, 2.0, edge.limit_um), "xref": x, "yref": y})
        words.append(_beyond(edge, room[1]))
        layout[f"xaxis{i + 2}"] = _share_axis(anchor=y, named=edge.side == "lower" or len(picture.edges) == 1)
        layout[f"yaxis{i + 2}"] = theme.axis(
            domain=room, anchor=x, range=[float(edge.size_um[0]), float(edge.size_um[-1])], nticks=5
        )
    words.append(_count(picture))
    drawn = theme.figure(
        [{**trace, "type": "scatter"} for trace in data],
        height=HEIGHT,
        shapes=shapes,
        annotations=words,
        margin={"l": 64, "r": 24, "t": 36, "b": 62},
        **layout,
    )
    sizes = ("y", *(f"y{i + 2}" for i in range(len(picture.edges))))
    drawn = scaled(drawn, *sizes) if picture.unit == lengths.UM else drawn
    return narrowed(drawn, _slim(picture, drawn))


def _slim(picture: CapabilityPicture, drawn: theme.Figure) -> dict[str, Any]:
    """Return what changes in a narrow box: the edges stand side by side below the bores."""
    bores, below, few = [0.56, 1.0], [0.1, 0.27], (1e-6, 1.0)
    changes: dict[str, Any] = {
        "xaxis.domain": [0.0, 1.0],
        "yaxis.domain": bores,
        "margin.l": 50,
        "margin.r": 8,
    }
    sides = {edge.side: i + 2 for i, edge in enumerate(picture.edges)}
    rooms = dict(zip(sides, ([0.0, 0.42], [0.58, 1.0]) if len(sides) > 1 else ([0.0, 1.0],), strict=True))
    for side, i in sides.items():
        changes |= {f"xaxis{i}.domain": rooms[side], f"yaxis{i}.domain": below}
        changes |= {f"xaxis{i}.tickvals": list(few), f"xaxis{i}.ticktext": [say(SHARES[p]) for p in few]}
        if "title" in (axis := drawn["layout"][f"xaxis{i}"]):
            changes[f"xaxis{i}.title.text"] = in_lines(axis["title"]["text"].replace("<br>", " "), 20)
    for i, one in enumerate(drawn["layout"]["annotations"]):
        at, side = f"annotations[{i}]", one.get("name")
        if side in sides:
            changes |= {f"{at}.x": rooms[side][0], f"{at}.y": below[1], f"{at}.font.size": 10}
            changes[f"{at}.text"] = "<br>".join(in_lines(t, 20) for t in one["text"].split("<br>"))
        elif side == COUNT:
            changes |= {f"{at}.y": bores[0] - 0.03, f"{at}.font.size": 10}
            changes[f"{at}.text"] = "<br>".join(in_lines(t, 44) for t in one["text"].split("<br>"))
        elif side == FLOOR:
            changes[f"{at}.yshift"] = -14  # below the strokes of what is left out, which lie nearer there
    return changes


def _span(picture: CapabilityPicture) -> tuple[float, float]:
    kept = ~picture.left_out
    seen = np.concatenate([picture.least_um[kept], picture.greatest_um[kept]])
    values = [*seen[np.isfinite(seen)].tolist(), *(e.limit_um for e in picture.edges)] or [0.0, 1.0]
    low, high = min(values), max(values)
    pad = 0.08 * (high - low or 1.0)
    return low - pad, high + pad


def _bores(picture: CapabilityPicture) -> list[theme.Trace]:
    rows = _shown(picture)
    place, gap = rows + 0.5, np.full(len(rows), np.nan)
    upright_x = np.column_stack([place, place, gap]).ravel()
    upright_y = np.column_stack([picture.least_um[rows], picture.greatest_um[rows], gap]).ravel()
    dots = {"size": 3, "color": theme.INK, "opacity": 1, "line": {"width": 0}}
    values = theme.points(
        place, picture.value_um[rows], mode="markers", marker=dots, text=_hover(picture, rows)
    )
    return [
        theme.points(upright_x, upright_y, mode="lines", line={"color": theme.QUIET, "width": 1}),
        opens_bore({**values, "hoverinfo": "text"}, picture.part[rows], picture.stream.bore),
    ]


def _shown(picture: CapabilityPicture) -> Whole:
    """Return which counted bores are drawn: of a long history its outline, and all beyond a limit."""
    counted = np.flatnonzero(~picture.left_out)
    order = np.arange(len(counted)).astype("datetime64[s]")  # bores stand in making order, not in time
    heights = (picture.least_um, picture.value_um, picture.greatest_um)
    values, always = [h[counted] for h in heights], _outside(picture)[counted]
    found: Whole = counted[kept(order, *values, always=always, columns=FEW_COLUMNS, above=FEW_FROM)]
    return found


def _outside(picture: CapabilityPicture) -> Flags:
    lower, upper = picture.tolerance.lower_um, picture.tolerance.upper_um
    beyond = np.zeros(len(picture.part), dtype=bool)
    if lower is not None:
        beyond |= picture.least_um < lower
    if upper is not None:
        beyond |= picture.greatest_um > upper
    return beyond


def _hover(picture: CapabilityPicture, rows: Whole) -> list[str]:
    bore = picture.stream.bore
    whose = "" if bore is None else f"{say('bore {bore}', bore=bore)}, "
    moments = clock_of(picture.as_of, picture.as_of).words(picture.at[rows])
    unit, sets = lengths.unit_of(picture.unit, spoken=True), picture.stone_set[rows].tolist()
    stones = {name: stones_line(name) for name in set(sets)}
    block = say("block {part}: {least} to {greatest} {unit}")  # looked up once for all bores
    said = zip(
        picture.part[rows].tolist(),
        theme.ums(picture.least_um[rows], unit=picture.unit),
        theme.ums(picture.greatest_um[rows], unit=picture.unit),
        moments,
        sets,
        strict=True,
    )
    return [
        f"{whose}{block.format(part=part, least=least, greatest=greatest, unit=unit)}<br>{at}{stones[name]}"
        for part, least, greatest, at, name in said
    ]


def _marks(picture: CapabilityPicture, low: float, high: float) -> list[theme.Trace]:
    """Mark what lies beyond with a ring, what is left out and when stones were changed below the bores."""
    upper = picture.tolerance.upper_um
    rows = np.flatnonzero(_outside(picture) & ~picture.left_out)
    far = np.where(
        picture.greatest_um > (np.inf if upper is None else upper), picture.greatest_um, picture.least_um
    )
    rings = theme.points(rows + 0.5, far[rows], mode="markers", marker=theme.RING, name="beyond a limit")
    rings = {**rings, "text": _hover(picture, rows), "hoverinfo": "text"}
    drawn = [opens_bore(rings, picture.part[rows], picture.stream.bore)]
    out = np.flatnonzero(picture.left_out)
    _, first = np.unique(out * FEW_COLUMNS // len(picture.part), return_index=True)
    out = out[first]  # strokes nearer than that are one to the eye
    thin = {"symbol": "line-ns-open", "size": 9, "color": theme.INK, "line": {"width": 1}}
    lane = low + 0.01 * (high - low)  # below the name of the limit
    drawn.append(
        theme.points(out + 0.5, np.full(len(out), lane), mode="markers", marker=thin, name="left out")
    )
    fitted = [e for e in picture.events if e.kind == EventKind.STONES_FITTED]
    at = np.searchsorted(picture.at, np.array([to_utc(e.at) for e in fitted], dtype="datetime64[us]"))
    sign = {"symbol": "triangle-up", "size": 11, "color": theme.INK}
    drawn.append(
        theme.points(
            at.astype(float),
            np.full(len(fitted), lane),
            mode="markers",
            marker=sign,
            text=[e.words for e in fitted],
            hoverinfo="text",
        )
    )
    return drawn


def _limits(picture: CapabilityPicture) -> tuple[list[Any], list[Any]]:
    tolerance, end = picture.tolerance, len(picture.part)
    shapes = [_line(0, end, e.limit_um) for e in picture.edges]
    if tolerance.target_um is not None:
        shapes.append(theme.level(0, end, tolerance.target_um, colour=theme.QUIET, width=0.8))
    words = [
        theme.word(
            say("{side} limit {size}", side=term(e.side), size=theme.um(e.limit_um, unit=picture.unit)),
            0,
            e.limit_um,
            yanchor="bottom" if e.side == "upper" else "top",
            name="" if e.side == "upper" else FLOOR,
        )
        for e in picture.edges
    ]
    return shapes, words


def _line(x0: float, x1: float, y: float) -> Any:
    return {**theme.level(x0, x1, y, width=1.3), "layer": "above"}


def _edge(picture: CapabilityPicture, edge: EdgePicture) -> list[theme.Trace]:
    bottom, top = float(edge.size_um[0]), float(edge.size_um[-1])
    inside = (bottom, edge.limit_um) if edge.side == "upper" else (edge.limit_um, top)
    drawn = [theme.band([LEAST, 2.0], [inside[0]] * 2, [inside[1]] * 2, colour=theme.ALLOWED)]
    if np.isfinite(edge.share).all():
        low, middle, high = (np.clip(s, 1e-12, 1.0) for s in (edge.share_low, edge.share, edge.share_high))
        around = np.concatenate([low, high[::-1]]), np.concatenate([edge.size_um, edge.size_um[::-1]])
        drawn.append(
            {
                "type": "scatter",
                "x": around[0],
                "y": around[1],
                "mode": "lines",
                "line": {"width": 0},
                "fill": "toself",
                "fillcolor": theme.INSIDE,
                "hoverinfo": "skip",
            }
        )
        text = [
            say("beyond {size}: {share}", size=theme.um(s, unit=picture.unit), share=share_words(p))
            for s, p in zip(edge.size_um, middle, strict=True)
        ]
        drawn.append(
            theme.points(
                middle,
                edge.size_um,
                mode="lines",
                line={"color": theme.INK, "width": 1.6},
                text=text,
                hoverinfo="text",
                name="model",
            )
        )
    guard = picture.tolerance.guard_um
    if guard:
        ends = sorted((edge.limit_um, edge.limit_um + (-guard if edge.side == "upper" else guard)))
        drawn.append(theme.hatched(LEAST, 2.0, *ends))
    shape = "vh" if edge.side == "upper" else "hv"
    x, y = edge.seen_share, edge.seen_size_um
    x, y = (
        (np.append(x, LEAST), np.append(y, y[-1]))
        if edge.side == "upper"
        else (np.insert(x, 0, LEAST), np.insert(y, 0, y[0]))
    )
    steps = {"color": theme.ATTENTION, "width": 1.4, "shape": shape}
    drawn.append(theme.points(x, y, mode="lines", line=steps, name="measured"))
    return drawn


def _share_axis(*, anchor: str, named: bool) -> dict[str, Any]:
    return theme.axis(
        in_lines(say("share of bores beyond each size"), 20) if named else None,
        type="log",
        domain=list(RIGHT),
        anchor=anchor,
        range=[log10(LEAST), 0.05],
        tickvals=list(SHARES),
        ticktext=[say(words) for words in SHARES.values()] if named else [""] * len(SHARES),
        showgrid=True,
        gridcolor=theme.HAIR,
    )


def _beyond(edge: EdgePicture, top: float) -> dict[str, Any]:
    """Say above an edge what share lies beyond its limit."""
    seen = {"side": term(edge.side), "count": local.number(edge.seen_beyond)}
    text = say("beyond {side}: {count} measured", **seen)
    if np.isfinite(edge.share).all():
        at = [
            float(10 ** np.interp(edge.limit_um, edge.size_um, np.log10(np.clip(s, 1e-15, 1.0))))
            for s in (edge.share, edge.share_low, edge.share_high)
        ]
        text = say(
            "beyond {side}: model {share}<br>({low} to {high}), {count} measured",
            share=share_words(at[0]),
            low=share_words(at[1]),
            high=share_words(at[2]),
            **seen,
        )
    place = {"xref": "paper", "yref": "paper", "yanchor": "bottom", "align": "left"}
    return theme.word(text, RIGHT[0], top, name=edge.side, **place)


def _count(picture: CapabilityPicture) -> dict[str, Any]:
    out = int(picture.left_out.sum())
    values = {
        "first": picture.part[0],
        "last": picture.part[-1],
        "count": local.number(len(picture.part)),
        "out": local.number(out),
    }
    text = (
        say("{first} to {last}: {count} bores, {out} of them left out (strokes below)", **values)
        if out
        else say("{first} to {last}: {count} bores", **values)
    )
    drawn, counted = len(_shown(picture)), len(picture.part) - out
    if drawn < counted:
        values = {"drawn": local.number(drawn), "count": local.number(counted)}
        text += "<br>" + say("{drawn} of {count} drawn, all beyond a limit among them", **values)
    place = {"xref": "paper", "yref": "paper", "yanchor": "top", "yshift": -8, "align": "left"}
    font = {"size": 11, "color": theme.INK}
    return theme.word(text, 0.0, 0.0, name=COUNT, font=font, **place)


def rows(picture: CapabilityPicture) -> dict[str, list[Any]]:
    """Return the bores as columns."""
    return {
        "part": picture.part.tolist(),
        "measured_at": np.datetime_as_string(picture.at, unit="s", timezone="UTC").tolist(),
        "value_um": picture.value_um.tolist(),
        "least_um": picture.least_um.tolist(),
        "greatest_um": picture.greatest_um.tolist(),
        "left_out": picture.left_out.tolist(),
        "stone_set": picture.stone_set.tolist(),
    }

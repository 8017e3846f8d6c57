"""One stream as a ribbon: bores, subgroups and the line they follow, over what was done meanwhile.

A bore is a tick, a subgroup a bar as high as its range with a notch at its mean. Limits are a pale
band, the tolerance two full lines, the guard band hatching. Events stand as flags below.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from cellmon.monitor.answers import Tolerance
from cellmon.monitor.stream import StreamView
from cellmon.records import Numbers, Verdict
from cellmon.shifts import to_utc
from dashboards import theme
from dashboards.figures import flags
from dashboards.figures.clock import Clock, clock_from, clock_of, shift_bands, shift_names
from dashboards.figures.mean_range import zone_inside
from dashboards.figures.words import Label, place

HEIGHT, TOP, BOTTOM, LEFT, RIGHT = 520, 26, 44, 104, 104
PLOT, LANES = (0.20, 1.0), (0.0, 0.16)
BAR, DENSE_BAR = "#9aabb6", "#c9d3d9"
DENSE = 600  # subgroups from which the ribbon is drawn finer
WIDTH_PX = 1120
STRETCH = 8  # doubted bores from which a stretch is drawn as one bar


def ribbon_figure(view: StreamView) -> theme.Figure:
    """Draw a stream with its events on one time axis."""
    if not len(view.bores.at):
        return theme.notice("No bore of this stream was measured in this time.", height=HEIGHT)
    clock = clock_from(view.bores.at, view.since, view.until, view.zone)
    low, high = span(view)
    x0, x1 = clock.x(clock.since), clock.x(clock.until)
    data = _tolerance(view.tolerance, x0, x1, low, high) + _limits(view, clock)
    data += (
        _bores(view, clock)
        + _doubted(view, clock, low, high)
        + _subgroups(view, clock)
        + _beyond(view, clock)
        + flags.flags(view, clock)
    )
    lanes = theme.axis(
        domain=list(LANES), range=[-0.6, 2.7], tickvals=[0, 1, 2], ticktext=list(flags.LANE_NAMES)
    )
    return theme.figure(
        data,
        height=HEIGHT,
        margin={"l": LEFT, "r": RIGHT, "t": TOP, "b": BOTTOM},
        shapes=shift_bands(clock, view.shifts) + _lines(view.tolerance, x0, x1, low, high),
        annotations=shift_names(clock, view.shifts)
        + _named_limits(view.tolerance, low, high)
        + _named_points(view, clock, low, high)
        + flags.names(view, clock, width=WIDTH_PX, beside=RIGHT)
        + _off_drawing(view, low, high),
        xaxis=clock.axis(anchor="y2"),
        yaxis=theme.axis(
            f"from nominal, {view.unit}"
            if view.stream.feature == "diameter"
            else f"{view.stream.feature}, {view.unit}",
            domain=list(PLOT),
            range=[low, high],
            nticks=7,
        ),
        yaxis2={**lanes, "fixedrange": True, "ticks": ""},
    )


def span(view: StreamView) -> tuple[float, float]:
    """Return the levels drawn: the tolerance, every mean, and all but the wildest bores."""
    value = view.bores.value_um[np.isfinite(view.bores.value_um)]
    levels = [v for v in (view.tolerance.lower_um, view.tolerance.upper_um) if v is not None]
    levels += [float(v) for v in np.quantile(value, [0.002, 0.998])] if len(value) else []
    means = view.subgroups.mean_um
    levels += [float(means.min()), float(means.max())] if len(means) else []
    low, high = (min(levels), max(levels)) if levels else (-1.0, 1.0)
    pad = 0.09 * (high - low or 1.0)
    return low - pad, high + pad


def _tolerance(tolerance: Tolerance, x0: str, x1: str, low: float, high: float) -> list[theme.Trace]:
    guard = tolerance.guard_um or 0.0
    drawn = []
    if guard and tolerance.lower_um is not None:
        drawn.append(theme.hatched(x0, x1, tolerance.lower_um, tolerance.lower_um + guard))
    if guard and tolerance.upper_um is not None:
        drawn.append(theme.hatched(x0, x1, tolerance.upper_um - guard, tolerance.upper_um))
    return drawn


def _lines(tolerance: Tolerance, x0: str, x1: str, low: float, high: float) -> list[Any]:
    return [
        theme.level(x0, x1, v, width=1.4) for v in (tolerance.lower_um, tolerance.upper_um) if v is not None
    ]


def _named_limits(tolerance: Tolerance, low: float, high: float) -> list[Any]:
    named = [("upper", tolerance.upper_um), ("lower", tolerance.lower_um), ("aim", tolerance.target_um)]
    words = [
        theme.word(
            f"{name} {theme.um(value)}", 1.005, value, xref="paper", font={"size": 12, "color": theme.INK}
        )
        for name, value in named
        if value is not None
    ]
    if tolerance.guard_um and tolerance.upper_um is not None:
        soft = {"size": 11, "color": theme.SOFT}
        at = tolerance.upper_um - tolerance.guard_um / 2
        words.append(theme.word("hatched: guard", 1.005, at, xref="paper", yshift=-13, font=soft))
    return words


def _limits(view: StreamView, clock: Clock) -> list[theme.Trace]:
    groups = view.subgroups
    if not len(groups.at):
        return []
    x = clock.xs(groups.at)
    centre = [None if np.isnan(v) else float(v) for v in groups.center_um]
    line = {"color": theme.SOFT, "width": 0.9, "shape": "hv"}
    thin = theme.points(x, centre, mode="lines", line=line, name="centre")
    return [zone_inside(x, groups.lower_um, groups.upper_um), thin]


def _bores(view: StreamView, clock: Clock) -> list[theme.Trace]:
    """Return every bore as a tick; doubted ones crossed, those outside the tolerance ringed."""
    bores = view.bores
    many = len(bores.at) > theme.GL_FROM
    x, words = clock.xs(bores.at), clock.words(bores.at)
    hover = [
        f"block {p}: {theme.um(float(v), 2)} {view.unit}<br>{at}<br>{verdict}" + ("<br>doubted" if f else "")
        for p, v, at, verdict, f in zip(
            bores.part, bores.value_um, words, bores.verdict, bores.flagged, strict=True
        )
    ]
    length = float(np.clip(0.8 * WIDTH_PX / len(x), 1.5, 7.0))
    shape = {"symbol": "circle" if many else "line-ew", "size": 1.6 if many else length, "color": theme.QUIET}
    tick = {**shape, "line": {"width": 0 if many else 1, "color": theme.QUIET}}
    drawn = [
        theme.points(
            x,
            bores.value_um.tolist(),
            mode="markers",
            marker=tick,
            text=hover,
            hoverinfo="text",
            name="bores",
        )
    ]
    outside = np.array([v == Verdict.DOES_NOT_CONFORM for v in bores.verdict], dtype=bool)
    small = {**theme.RING, "size": 7, "line": {"width": 1.3, "color": theme.ATTENTION}}
    cross = {"symbol": "x-thin", "size": 7, "color": theme.NOTE, "line": {"width": 1.4, "color": theme.NOTE}}
    alone = np.zeros(len(x), dtype=bool)
    alone[
        [i for first, last, n in doubted_runs(bores.flagged) if n < STRETCH for i in range(first, last + 1)]
    ] = True
    for rows, marker, name in (
        (outside, small, "does not conform"),
        (alone & bores.flagged, cross, "doubted"),
    ):
        at = np.nonzero(rows)[0]
        if len(at):
            y = bores.value_um[at].tolist()
            drawn.append(theme.points([x[i] for i in at], y, mode="markers", marker=marker, name=name))
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


def _doubted(view: StreamView, clock: Clock, low: float, high: float) -> list[theme.Trace]:
    """Return every stretch of doubted bores as a bar along the floor, with its number in words."""
    runs = [run for run in doubted_runs(view.bores.flagged) if run[2] >= STRETCH]
    if not runs:
        return []
    floor = low + 0.02 * (high - low)
    ends = [clock.xs(view.bores.at[[first, last]]) for first, last, _ in runs]
    x = [v for a, b in ends for v in (a, b, None)]
    words = [v for _, _, n in runs for v in (f"doubted: {n} bores", "", "")]
    near_end = to_utc(clock.since + 0.8 * (clock.until - clock.since))
    sides = ["top left" if view.bores.at[a] > near_end else "top right" for a, _, _ in runs for _ in range(3)]
    return [
        theme.points(
            x,
            [floor, floor, None] * len(runs),
            mode="lines+text",
            text=words,
            textposition=sides,
            textfont={"size": 11, "color": theme.SOFT},
            line={"color": theme.NOTE, "width": 4},
            name="doubted stretch",
        )
    ]


def bars_of(view: StreamView) -> tuple[Numbers, Numbers]:
    """Return bottom and top of each subgroup's bar: its own bores where they give its range.

    Where they do not (doubted bores, another selection), the bar is set about the mean.
    """
    groups, bores = view.subgroups, view.bores
    bottom, top = groups.mean_um - groups.range_um / 2, groups.mean_um + groups.range_um / 2
    kept = ~bores.flagged
    at, value = bores.at[kept], bores.value_um[kept]
    first = np.searchsorted(at, groups.first_at, side="left")
    last = np.searchsorted(at, groups.at, side="right")
    for i in np.nonzero(last > first)[0]:
        inside = value[first[i] : last[i]]
        low, high = float(inside.min()), float(inside.max())
        if abs(high - low - groups.range_um[i]) < 1e-6:
            bottom[i], top[i] = low, high
    return bottom, top


def _subgroups(view: StreamView, clock: Clock) -> list[theme.Trace]:
    groups = view.subgroups
    count = len(groups.at)
    if not count:
        return []
    middle = clock.xs(groups.first_at + (groups.at - groups.first_at) / 2)
    bottom, top = bars_of(view)
    width = float(np.clip(0.5 * WIDTH_PX / count, 1.3, 12.0))
    bar_x = [v for x in middle for v in (x, x, None)]
    bar_y = [v for low, high in zip(bottom.tolist(), top.tolist(), strict=True) for v in (low, high, None)]
    hover = [
        f"blocks {a} to {b}<br>mean {m:.2f}, range {r:.2f} {view.unit} of {n}<br>{at}"
        for a, b, m, r, n, at in zip(
            groups.first_part,
            groups.last_part,
            groups.mean_um,
            groups.range_um,
            groups.n,
            clock.words(groups.at),
            strict=True,
        )
    ]
    dense = count > DENSE
    line = {"width": 0 if dense else 2, "color": theme.INK}
    notch = {"symbol": "circle" if dense else "line-ew", "size": 2.2 if dense else max(3.0, 0.7 * width)}
    notch |= {"color": theme.INK, "line": line}
    return [
        theme.points(
            bar_x,
            bar_y,
            mode="lines",
            line={"color": DENSE_BAR if count > DENSE else BAR, "width": width},
            name="ranges",
        ),
        theme.points(
            middle,
            groups.mean_um.tolist(),
            mode="markers",
            marker=notch,
            text=hover,
            hoverinfo="text",
            name="means",
        ),
    ]


def _beyond(view: StreamView, clock: Clock) -> list[theme.Trace]:
    """Return a ring round every mean, and a square round every range, beyond its limit."""
    groups = view.subgroups
    if not len(groups.at):
        return []
    middle = clock.xs(groups.first_at + (groups.at - groups.first_at) / 2)
    drawn = []
    many = len(groups.at) > 400
    for beyond, level, marker, name in (
        (groups.beyond_mean, groups.mean_um, theme.RING, "mean beyond"),
        (groups.beyond_range, bars_of(view)[1], theme.SQUARE_RING, "range beyond"),
    ):
        at = np.nonzero(beyond)[0]
        if len(at):
            x, y = [middle[i] for i in at], level[at].tolist()
            parts = [f"{name}, blocks {groups.first_part[i]} to {groups.last_part[i]}" for i in at]
            ring = {
                **marker,
                "size": 9 if many else 15,
                "line": {**marker["line"], "width": 1.6 if many else 2.2},
            }
            drawn.append(
                theme.points(
                    x,
                    y,
                    mode="markers",
                    marker=ring,
                    text=parts,
                    hoverinfo="text",
                    name=name,
                    customdata=[str(groups.last_part[i]) for i in at],
                )
            )
    return drawn


def _named_points(view: StreamView, clock: Clock, low: float, high: float) -> list[Any]:
    """Name the first point of every run beyond a limit, the longest and widest runs first."""
    groups, labels = view.subgroups, []
    plot_px = (HEIGHT - TOP - BOTTOM) * (PLOT[1] - PLOT[0])
    start = to_utc(clock.since)
    tops = bars_of(view)[1]
    for beyond, what in ((groups.beyond_mean, "mean"), (groups.beyond_range, "range")):
        for first, last in _runs(beyond):
            middle = groups.first_at[first] + (groups.at[first] - groups.first_at[first]) / 2
            share = (middle - start) / np.timedelta64(1, "h") / clock.hours
            side = "above" if beyond[first] > 0 else "below"
            often = f", {last - first + 1} in a row" if last > first else ""
            y = float(groups.mean_um[first] if what == "mean" else tops[first])
            size = (
                abs(y - float(groups.center_um[first]))
                if what == "mean"
                else float(groups.range_um[first]) / 3
            )
            at = clock.words(groups.at[first : first + 1])[0]
            labels.append(
                Label(
                    text=f"{clock.short(at)} {what} {side}{often}",
                    x=clock.xs(np.array([middle]))[0],
                    y=y,
                    px=share * WIDTH_PX,
                    py=(y - low) / (high - low) * plot_px,
                    weight=(last - first + 1) * size,
                )
            )
    return place(labels, width=WIDTH_PX, height=plot_px, most=9)


def _runs(beyond: Any) -> list[tuple[int, int]]:
    found: list[tuple[int, int]] = []
    for i in np.nonzero(beyond)[0].tolist():
        if found and found[-1][1] == i - 1 and beyond[found[-1][0]] == beyond[i]:
            found[-1] = (found[-1][0], i)
        else:
            found.append((i, i))
    return found


def _off_drawing(view: StreamView, low: float, high: float) -> list[Any]:
    value = view.bores.value_um
    off = int(((value < low) | (value > high)).sum())
    if not off:
        return []
    text = f"{off} bore{'s' if off > 1 else ''} beyond<br>this drawing"
    font = {"size": 11, "color": theme.SOFT}
    return [
        theme.word(text, 1.005, PLOT[0], xref="paper", yref="paper", yanchor="top", align="left", font=font)
    ]


def rows(view: StreamView) -> dict[str, list[Any]]:
    """Return the bores of the ribbon, one row each."""
    clock, bores = clock_of(view.since, view.until, view.zone), view.bores
    return {
        "stream": [str(view.stream)] * len(bores.at),
        "part": bores.part.tolist(),
        "measured_at": clock.words(bores.at).tolist(),
        "value_um": bores.value_um.tolist(),
        "doubted": bores.flagged.tolist(),
        "verdict": [str(v) for v in bores.verdict],
    }

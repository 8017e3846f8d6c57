"""One stream as a ribbon: bores, subgroups and the line they follow, over what was done meanwhile.

A bore is a tick, a subgroup a bar as high as its range with a notch at its mean. The level that is
expected is a thin line in the pale band of its limits, the tolerance two full lines, the guard band
hatching. A signal stands at its change, with the time in which that may have begun. Events stand as
flags below.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from cellmon.monitor.answers import Tolerance
from cellmon.monitor.stream import StreamBores, StreamView
from cellmon.records import Verdict
from cellmon.records.words import FEATURE_WORDS
from cellmon.shifts import to_utc
from dashboards import theme
from dashboards.figures import beyond, calls, flags, wear
from dashboards.figures.clock import Clock, clock_from, clock_of, shift_bands, shift_names
from dashboards.figures.mean_range import zone_inside
from dashboards.figures.words import place

HEIGHT, TOP, BOTTOM, LEFT, RIGHT = 520, 26, 44, 104, 104
BAR, DENSE_BAR = "#9aabb6", "#c9d3d9"
DENSE = 600  # subgroups from which the ribbon is drawn finer
WIDTH_PX = 1120
STRETCH = 8  # doubted bores from which a stretch is drawn as one bar
MOST_NAMES = 9


@dataclass(frozen=True, kw_only=True)
class Room:
    """What a ribbon has to draw in: pixels, and the shares of its height for the stream and the flags.

    `width` is that of the plot on a usual screen, `narrow` on a tablet: words must have room on both.
    """

    height: int = HEIGHT
    width: int = WIDTH_PX
    narrow: int = 780
    plot: tuple[float, float] = (0.20, 1.0)
    lanes: tuple[float, float] = (0.0, 0.16)

    @property
    def plot_px(self) -> float:
        """Height of the stream's own part in pixels."""
        return (self.height - TOP - BOTTOM) * (self.plot[1] - self.plot[0])


PAGE = Room()
SMALL = Room(height=360, width=700, narrow=460, plot=(0.26, 1.0), lanes=(0.0, 0.22))
"""A ribbon across a page, and one that stands beside words."""


def ribbon_figure(
    view: StreamView, *, plain: bool = False, unaided: bool = False, room: Room = PAGE
) -> theme.Figure:
    """Draw a stream with its events on one time axis.

    `plain` draws the limits of the classic charts instead of those around the wear line, and rings
    what lies beyond them; `unaided` adds the means as they would be without the offsets.
    """
    if not len(view.bores.at) and not len(view.subgroups.at):
        return theme.notice("No bore of this stream was measured in this time.", height=room.height)
    view = replace(view, tolerance=tolerance_of(view), bores=bores_of(view))
    first = view.bores.at if len(view.bores.at) else view.subgroups.first_at
    clock = clock_from(first, view.since, view.until, view.zone)
    line = None if plain else view.wear
    low, high = span(view, unaided=unaided)
    x0, x1 = clock.x(clock.since), clock.x(clock.until)
    called = calls.calls_of(view, clock)
    data = _tolerance(view.tolerance, x0, x1, low, high)
    data += wear.wear_traces(view, line, clock) if line else _limits(view, clock)
    data += _bores(view, clock, room) + _doubted(view, clock, low, high) + _subgroups(view, clock, room)
    data += [] if line else beyond.rings(view, clock)
    data += wear.without_offsets(view, view.wear, clock) if unaided and view.wear else []
    data += calls.rings(called) + flags.flags(view, clock)
    words = _named_limits(view.tolerance, low, high) + _off_drawing(view, low, high, room)
    words += wear.without_name(view.wear, clock) if unaided and view.wear else []
    words += flags.names(view, clock, width=room.narrow, beside=RIGHT)
    words += _named_points(view, clock, low, high, called, room, plain=line is None)
    lanes = theme.axis(
        domain=list(room.lanes), range=[-0.6, 2.7], tickvals=[0, 1, 2], ticktext=list(flags.LANE_NAMES)
    )
    return theme.figure(
        data,
        height=room.height,
        margin={"l": LEFT, "r": RIGHT, "t": TOP, "b": BOTTOM},
        shapes=shift_bands(clock, view.shifts)
        + calls.ranges(view, clock, bottom=room.plot[0])
        + _lines(view.tolerance, x0, x1, low, high),
        annotations=shift_names(clock, view.shifts) + words,
        xaxis=clock.axis(anchor="y2"),
        yaxis=theme.axis(level_name(view), domain=list(room.plot), range=[low, high], nticks=7),
        yaxis2={**lanes, "fixedrange": True, "ticks": ""},
    )


def level_name(view: StreamView) -> str:
    """Return what the upright axis measures, with its unit."""
    name = FEATURE_WORDS.get(view.stream.feature, view.stream.feature.replace("_", " "))
    if view.stream.part_of == "distance":
        return f"{name}, from the mean of all bores, {view.unit}"
    return f"from nominal, {view.unit}" if view.stream.feature == "diameter" else f"{name}, {view.unit}"


def bores_of(view: StreamView) -> StreamBores:
    """Return the bores as far as they lie on the stream's own axis; those of a distance do not."""
    bores = view.bores
    if view.stream.part_of != "distance":
        return bores
    columns = {f.name: getattr(bores, f.name)[:0] for f in fields(bores)}
    return StreamBores(**columns)


def tolerance_of(view: StreamView) -> Tolerance:
    """Return what the drawing allows of a stream; of a distance from the others it says nothing."""
    if view.stream.part_of == "distance":
        return Tolerance(lower_um=None, upper_um=None, target_um=None, guard_um=None)
    return view.tolerance


def span(view: StreamView, *, unaided: bool = False) -> tuple[float, float]:
    """Return the levels drawn: the tolerance, every mean, and all but the wildest bores."""
    value = view.bores.value_um[np.isfinite(view.bores.value_um)]
    levels = [v for v in (view.tolerance.lower_um, view.tolerance.upper_um) if v is not None]
    levels += [float(v) for v in np.quantile(value, [0.002, 0.998])] if len(value) else []
    means = view.subgroups.mean_um
    if unaided and view.wear:
        means = np.concatenate([means, view.wear.without_offsets_um])
    means = means[np.isfinite(means)]
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


def _bores(view: StreamView, clock: Clock, room: Room) -> list[theme.Trace]:
    """Return every bore as a tick; doubted ones crossed, those outside the tolerance ringed."""
    bores = view.bores
    if not len(bores.at):
        return []
    many = len(bores.at) > theme.GL_FROM
    x, words = clock.xs(bores.at), clock.words(bores.at)
    hover = [
        f"block {p}: {theme.um(float(v), 2)} {view.unit}<br>{at}<br>{verdict}" + ("<br>doubted" if f else "")
        for p, v, at, verdict, f in zip(
            bores.part, bores.value_um, words, bores.verdict, bores.flagged, strict=True
        )
    ]
    length = float(np.clip(0.8 * room.width / len(x), 1.5, 7.0))
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


def _subgroups(view: StreamView, clock: Clock, room: Room) -> list[theme.Trace]:
    groups = view.subgroups
    count = len(groups.at)
    if not count:
        return []
    middle = clock.xs(wear.middles(groups))
    bottom, top = beyond.bars_of(view)
    width = float(np.clip(0.5 * room.width / count, 1.3, 12.0))
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


def _named_points(
    view: StreamView,
    clock: Clock,
    low: float,
    high: float,
    called: list[calls.Call],
    room: Room,
    *,
    plain: bool,
) -> list[Any]:
    """Name every call, and with plain limits the first point of every run beyond one, widest first."""

    def py(y: float) -> float:
        return (y - low) / (high - low) * room.plot_px

    labels = calls.labels(view, clock, called, width=room.narrow, py=py)
    if plain:
        labels += beyond.labels(view, clock, room.narrow, py)
    return place(labels, width=room.narrow, height=room.plot_px, most=MOST_NAMES)


def _off_drawing(view: StreamView, low: float, high: float, room: Room) -> list[Any]:
    value = view.bores.value_um
    off = int(((value < low) | (value > high)).sum())
    if not off:
        return []
    text = f"{off} bore{'s' if off > 1 else ''} beyond this drawing"
    font = {"size": 11, "color": theme.SOFT}
    at = {"xref": "paper", "yref": "paper", "yanchor": "bottom"}
    return [theme.word(text, 0.003, room.plot[0], font=font, **at)]


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

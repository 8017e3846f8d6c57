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

from cellmon import lengths, local
from cellmon.monitor.answers import Tolerance
from cellmon.monitor.stream import StreamBores, StreamView
from cellmon.records.words import feature_words
from cellmon.words import say, say_many
from dashboards import theme
from dashboards.figures import bars, beyond, calls, flags, strokes, ticks, wear
from dashboards.figures.clock import MARKS, Clock, clock_from, clock_of, shift_bands, shift_names
from dashboards.figures.mean_range import runs_of
from dashboards.figures.narrow import few_marks, in_lines, narrowed
from dashboards.figures.scaled import scaled
from dashboards.figures.words import place

HEIGHT, TOP, BOTTOM, LEFT, RIGHT = 538, 44, 44, 104, 104
WIDTH_PX = 1120
MOST_NAMES = 9
LETTER_PX = 6
"""Width of a small letter, about."""
LIMIT, NOTE = "limit", "note"
"""Words of the drawing that stand in a narrow box too, by name."""


@dataclass(frozen=True, kw_only=True)
class Room:
    """What a ribbon has to draw in: pixels, and the shares of its height for the stream and the flags.

    `width` is that of the plot on a usual screen, `narrow` on a tablet: words must have room on both.
    `marks` of time stand below it, about. In a box narrower than `slim` it is drawn with few words.
    """

    height: int = HEIGHT
    width: int = WIDTH_PX
    narrow: int = 780
    plot: tuple[float, float] = (0.20, 1.0)
    lanes: tuple[float, float] = (0.0, 0.15)
    marks: int = MARKS
    slim: int = 640

    @property
    def plot_px(self) -> float:
        """Height of the stream's own part in pixels."""
        return (self.height - TOP - BOTTOM) * (self.plot[1] - self.plot[0])


PAGE = Room()
SMALL = Room(height=378, width=700, narrow=460, plot=(0.26, 1.0), lanes=(0.0, 0.2), marks=6, slim=480)
"""A ribbon across a page, and one that stands beside words."""


def ribbon_figure(
    view: StreamView, *, plain: bool = False, unaided: bool = False, room: Room = PAGE
) -> theme.Figure:
    """Draw a stream with its events on one time axis.

    `plain` draws the limits of the classic charts instead of those around the wear line, and rings
    what lies beyond them; `unaided` adds the means as they would be without the offsets.
    """
    if not len(view.bores.at) and not len(view.subgroups.at):
        return theme.notice(say("No bore of this stream was measured in this time."), height=room.height)
    view = replace(view, tolerance=tolerance_of(view), bores=bores_of(view))
    first = view.bores.at if len(view.bores.at) else view.subgroups.first_at
    clock = clock_from(first, view.since, view.until, view.zone)
    line = None if plain else view.wear
    low, high = span(view, unaided=unaided)
    ends = clock.x(clock.since), clock.x(clock.until)
    called = calls.calls_of(view, clock)
    bores, groups = ticks.bores(view, clock, room.width), bars.subgroups(view, clock, room.width)
    data = [*bores.traces, *groups.traces, *_hatched(view.tolerance, *ends)]
    data += ticks.doubted(view, clock, low, high) + ticks.off(view, clock, low, high)
    data += [] if line else beyond.rings(view, clock)
    data += wear.without_offsets(view, view.wear, clock) if unaided and view.wear else []
    data += calls.rings(view, clock, called) + flags.flags(view, clock)
    words = _named_limits(view.tolerance, view.unit) + _notes(view, low, high, room)
    words += wear.without_name(view.wear, view.unit) if unaided and view.wear else []
    words += flags.names(view, clock, width=room.narrow, beside=RIGHT)
    words += _named_points(view, clock, low, high, called, room, plain=line is None)
    drawn = theme.figure(
        data,
        height=room.height,
        margin={"l": LEFT, "r": RIGHT, "t": TOP, "b": BOTTOM},
        shapes=shift_bands(clock, view.shifts)
        + calls.ranges(view, clock, bottom=room.plot[0])
        + _lines(view.tolerance, *ends)
        + (wear.wear_line(view, line, clock) if line else _limits(view, clock))
        + bores.shapes
        + groups.shapes,
        annotations=[{"visible": True, **one} for one in shift_names(clock, view.shifts) + words],
        xaxis=clock.axis(anchor="y2", marks=room.marks),
        yaxis=theme.axis(level_name(view), domain=list(room.plot), range=[low, high], nticks=7),
        yaxis2=flags.axis(domain=list(room.lanes)),
    )
    drawn = scaled(drawn, "y") if view.unit == lengths.UM else drawn
    return narrowed(drawn, _slim(drawn), below=room.slim)


def _slim(drawn: theme.Figure) -> dict[str, Any]:
    """Return what changes in a narrow box: names stand inside; a ring or a flag says its words on a tap."""
    changes: dict[str, Any] = {"margin.l": 50, "margin.r": 6, **flags.slim()}
    changes |= few_marks(drawn["layout"]["xaxis"])
    for i, one in enumerate(drawn["layout"]["annotations"]):
        at, name = f"annotations[{i}]", one.get("name")
        if name == LIMIT:
            changes |= {f"{at}.x": 1, f"{at}.xanchor": "right", f"{at}.yanchor": "bottom"}
            changes[f"{at}.bgcolor"] = theme.VEIL
        elif name == NOTE:
            text = in_lines(one["text"].replace("<br>", " "), 44)  # above, where no shifts are named
            changes |= {f"{at}.y": 1, f"{at}.yanchor": "bottom", f"{at}.text": text, f"{at}.font.size": 10}
        else:
            changes[f"{at}.visible"] = False
    return changes


def level_name(view: StreamView) -> str:
    """Return what the upright axis measures, with its unit."""
    name, unit = feature_words(view.stream.feature), lengths.axis_unit(view.unit)
    if view.stream.part_of == "distance":
        return say("{feature}, from the mean of all bores, {unit}", feature=name, unit=unit)
    if view.stream.feature == "diameter":
        return say("from nominal, {unit}", unit=unit)
    return f"{name}, {unit}"


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


def _guards(tolerance: Tolerance) -> list[tuple[float, float]]:
    """Return the guard bands: from where to where."""
    guard = tolerance.guard_um or 0.0
    lower, upper = tolerance.lower_um, tolerance.upper_um
    found = [] if lower is None else [(lower, lower + guard)]
    return [*found, *([] if upper is None else [(upper - guard, upper)])] if guard else []


def _hatched(tolerance: Tolerance, x0: str, x1: str) -> list[theme.Trace]:
    """Return the strokes of the guard bands; what stands in them shows through."""
    return [theme.hatched(x0, x1, *one, through=True) for one in _guards(tolerance)]


def _lines(tolerance: Tolerance, x0: str, x1: str) -> list[strokes.Shape]:
    """Return the limits as lines, and under them the paper of the guard bands."""
    ends = {"type": "rect", "x0": x0, "x1": x1, "layer": "between", "line": {"width": 0}}
    paper = [{**ends, "y0": a, "y1": b, "fillcolor": theme.ALLOWED} for a, b in _guards(tolerance)]
    limits = (tolerance.lower_um, tolerance.upper_um)
    return paper + [theme.level(x0, x1, v, width=1.4) for v in limits if v is not None]


def _named_limits(tolerance: Tolerance, unit: str) -> list[Any]:
    named = [
        (say("upper"), tolerance.upper_um),
        (say("lower"), tolerance.lower_um),
        (say("aim"), tolerance.target_um),
    ]
    words = [
        theme.word(
            f"{name} {theme.um(value, unit=unit)}",
            1.005,
            value,
            xref="paper",
            name=LIMIT,
            font={"size": 12, "color": theme.INK},
        )
        for name, value in named
        if value is not None
    ]
    if tolerance.guard_um and tolerance.upper_um is not None:
        soft = {"size": 11, "color": theme.SOFT}
        at = tolerance.upper_um - tolerance.guard_um / 2
        words.append(theme.word(say("hatched: guard"), 1.005, at, xref="paper", yshift=-13, font=soft))
    return words


def _limits(view: StreamView, clock: Clock) -> list[strokes.Shape]:
    """Return the limits as they were in force: a pale band, and a thin line of steps at its centre."""
    groups = view.subgroups
    if not len(groups.at):
        return []
    x, lower, upper, centre = clock.xs(groups.at), groups.lower_um, groups.upper_um, groups.center_um
    band = (([x[a], x[b]], lower[[a, a]], upper[[a, a]]) for a, b in runs_of(lower, upper))
    level = [(one, centre[a]) for a, b in runs_of(centre, centre) for one in (x[a], x[b], None)]
    thin = strokes.joined(level, colour=theme.SOFT, width=0.9)
    return strokes.zones(band, colour=theme.INSIDE) + thin


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


def _notes(view: StreamView, low: float, high: float, room: Room) -> list[Any]:
    """Say, between stream and flags, which bores lie beyond the drawing, and which of many are drawn."""
    said = " ".join(filter(None, (_off_drawing(view, low, high), _reduced(view))))
    if not said:
        return []
    text = in_lines(said, room.narrow // LETTER_PX)
    font = {"size": 11, "color": theme.SOFT}
    at = {"xref": "paper", "yref": "paper", "yanchor": "top", "align": "left", "yshift": -1}
    return [theme.word(text, 0.003, room.plot[0], name=NOTE, font=font, **at)]


def _reduced(view: StreamView) -> str:
    """Return that of a long history not every bore is drawn, and which are; nothing where all are."""
    drawn, count = len(ticks.shown(view)), len(view.bores.at)
    if drawn == count:
        return ""
    return say(
        "{drawn} of {count} bores drawn, those beyond a limit or doubted all among them.",
        drawn=local.number(drawn),
        count=local.number(count),
    )


def _off_drawing(view: StreamView, low: float, high: float) -> str:
    value = view.bores.value_um
    off = int(((value < low) | (value > high)).sum())
    if not off:
        return ""
    return say_many(
        "{count} bore lies beyond this drawing: a triangle at its edge.",
        "{count} bores lie beyond this drawing: triangles at its edge.",
        off,
    )


def rows(view: StreamView) -> dict[str, list[Any]]:
    """Return the bores of the ribbon, one row each."""
    clock, bores = clock_of(view.since, view.until, view.zone), view.bores
    return {
        "stream": [str(view.stream)] * len(bores.at),
        "part": bores.part.tolist(),
        "measured_at": clock.stamps(bores.at),
        "value_um": bores.value_um.tolist(),
        "doubted": bores.flagged.tolist(),
        "verdict": [str(v) for v in bores.verdict],
        "stone_set": bores.stone_set.tolist(),
    }

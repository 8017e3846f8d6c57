"""Subgroup means above their ranges, as every text prints them, with the zone inside as a band."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from cellmon import lengths
from cellmon.monitor.pair import ChartPair
from cellmon.monitor.shifts import StreamShift
from cellmon.records import Numbers, Texts, Times, Whole
from cellmon.shifts import ShiftOf, to_utc
from cellmon.words import say, to_say
from dashboards import theme
from dashboards.figures.clock import Clock, clock_from, clock_of, shift_bands, shift_names
from dashboards.figures.narrow import narrowed, timed
from dashboards.figures.opened import opens_bore, stones_line
from dashboards.figures.scaled import scaled
from dashboards.figures.terms import term
from dashboards.figures.thinned import kept
from dashboards.figures.words import Label, place

HEIGHT, TOP, BOTTOM = 418, 42, 42
MEANS, RANGES = (0.40, 1.0), (0.0, 0.30)
WIDTH_PX = 760
NO_LIMITS = "limits"
"""Words of the drawing that stand in a narrow box too, by name."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Pair:
    """Subgroups as two charts; limits nan where nothing is called a limit; figures in µm."""

    clock: Clock
    shifts: tuple[ShiftOf, ...]
    part: Texts
    at: Times
    n: Whole
    mean: Numbers
    mean_lower: Numbers
    mean_centre: Numbers
    mean_upper: Numbers
    spread: Numbers
    spread_lower: Numbers
    spread_centre: Numbers
    spread_upper: Numbers
    beyond_mean: Whole
    beyond_spread: Whole
    unit: str = "µm"
    spread_unit: str | None = None
    """Where it is another one; empty for a ratio."""
    names: tuple[str, str] = (to_say("mean"), to_say("range"))
    bore: str | None = None
    stone_set: Texts | None = None
    of_blocks: bool = True
    """Whether `part` names blocks, so that a point opens its block."""


def pair_of(answer: ChartPair) -> Pair:
    """Return a pair of charts as the monitor answers it."""
    return Pair(
        clock=clock_from(answer.at, answer.since, answer.until, answer.zone),
        shifts=answer.shifts,
        part=answer.part,
        at=answer.at,
        n=answer.n,
        mean=answer.level,
        mean_lower=answer.level_lower,
        mean_centre=answer.level_center,
        mean_upper=answer.level_upper,
        spread=answer.spread,
        spread_lower=answer.spread_lower,
        spread_centre=answer.spread_center,
        spread_upper=answer.spread_upper,
        beyond_mean=answer.beyond_level,
        beyond_spread=answer.beyond_spread,
        names=(answer.level_name, answer.spread_name),
        bore=answer.stream.bore,
        stone_set=answer.stone_set,
    )


def pair_of_shift(stream: StreamShift) -> Pair:
    """Return one stream's subgroups of one shift as a pair of charts."""
    points = stream.subgroups

    def column(values: Any) -> Numbers:
        return np.array(list(values), dtype=np.float64)

    def limit(which: str, name: str) -> Numbers:
        limits = (getattr(p, which) for p in points)
        return column(np.nan if one is None else getattr(one, name) for one in limits)

    mean = column(p.mean_um for p in points)
    spread = column(p.range_um for p in points)
    lower, upper = limit("mean_limits", "lower"), limit("mean_limits", "upper")
    low, high = limit("range_limits", "lower"), limit("range_limits", "upper")
    return Pair(
        clock=clock_of(stream.shift.starts, stream.shift.ends),
        shifts=(),
        part=np.array([p.last_part for p in points], dtype=object),
        at=np.array([to_utc(p.at) for p in points], dtype="datetime64[us]"),
        n=np.array([p.n for p in points], dtype=np.int64),
        mean=mean,
        mean_lower=lower,
        mean_centre=limit("mean_limits", "center"),
        mean_upper=upper,
        spread=spread,
        spread_lower=low,
        spread_centre=limit("range_limits", "center"),
        spread_upper=high,
        beyond_mean=sides(mean, lower, upper),
        beyond_spread=sides(spread, low, high),
        bore=stream.stream.bore,
        stone_set=np.array([p.stone_set for p in points], dtype=object),
    )


def sides(values: Numbers, lower: Numbers, upper: Numbers) -> Whole:
    """Return -1 below, +1 above and 0 inside the limits, or where there are none."""
    return (values > upper).astype(np.int64) - (values < lower).astype(np.int64)


def mean_range_figure(pair: Pair, *, height: int = HEIGHT) -> theme.Figure:
    """Draw both charts under one time axis; ring what lies beyond, and name it."""
    if not len(pair.at):
        return theme.notice(say("No subgroup of this stream was completed in this time."), height=height)
    pair = _thinned(pair)
    x = pair.clock.xs(pair.at)
    data = _chart(
        pair, x, pair.mean, (pair.mean_lower, pair.mean_centre, pair.mean_upper), "y", pair.beyond_mean
    )
    limits = (pair.spread_lower, pair.spread_centre, pair.spread_upper)
    data += _chart(pair, x, pair.spread, limits, "y2", pair.beyond_spread)
    words = _beside(pair, x, pair.mean, pair.beyond_mean, "y", height * 0.5)
    words += _beside(pair, x, pair.spread, pair.beyond_spread, "y2", height * 0.25)
    if not np.isfinite(pair.mean_upper).any():
        words.append(_no_limits())
    drawn = theme.figure(
        data,
        height=height,
        margin={"l": 64, "r": 20, "t": TOP, "b": BOTTOM},
        xaxis=pair.clock.axis(anchor="y2"),
        yaxis=theme.axis(_named(pair, 0), domain=list(MEANS), nticks=6),
        yaxis2=theme.axis(_named(pair, 1), domain=list(RANGES), nticks=4, rangemode="tozero"),
        shapes=shift_bands(pair.clock, pair.shifts),
        annotations=words + shift_names(pair.clock, pair.shifts),
    )
    long = [axis for which, axis in enumerate(("y", "y2")) if unit_of(pair, which) == lengths.UM]
    return narrowed(scaled(drawn, *long), timed(drawn, NO_LIMITS))


def _chart(pair: Pair, x: list[str], y: Numbers, limits: Any, axis: str, beyond: Whole) -> list[theme.Trace]:
    lower, centre, upper = limits
    what, unit = pair.names[axis == "y2"], unit_of(pair, axis == "y2")
    said = term(what)
    whose = "" if pair.bore is None else f"{say('bore {bore}', bore=pair.bore)}, "
    stones = [None] * len(x) if pair.stone_set is None else pair.stone_set
    hover = [
        whose
        + say(
            "{what} {value} {unit} of {n}, to block {part}",
            what=said,
            value=lengths.of(value, unit, 2),
            unit=lengths.unit_of(unit, spoken=True),
            n=n,
            part=part,
        )
        + f"<br>{at}{stones_line(fitted)}"
        for value, n, part, at, fitted in zip(
            y, pair.n, pair.part, pair.clock.words(pair.at), stones, strict=True
        )
    ]
    joined = theme.points(
        x,
        [None if np.isnan(value) else float(value) for value in y],
        mode="lines+markers",
        line={"color": theme.QUIET, "width": 1},
        marker={"color": theme.INK, "size": 4.5 if len(x) < 300 else 3},
        text=hover,
        hoverinfo="text",
        name=what,
    )
    if pair.of_blocks:
        joined = opens_bore(joined, pair.part, pair.bore)
    drawn = [zone_inside(x, lower, upper), _thin(x, centre), joined]
    at = np.nonzero(beyond)[0]
    ring = theme.RING if axis == "y" else theme.SQUARE_RING
    if len(at):
        ringed = [x[i] for i in at], [float(y[i]) for i in at]
        drawn.append(theme.points(*ringed, mode="markers", marker=ring, name=f"{what} beyond"))
    return [{**trace, "yaxis": axis} for trace in drawn]


def _thinned(pair: Pair) -> Pair:
    """Return a pair with the points that are drawn: of a long history its outline and all beyond a limit."""
    beyond = (pair.beyond_mean != 0) | (pair.beyond_spread != 0)
    rows = kept(pair.at, pair.mean, pair.spread, always=beyond)
    if len(rows) == len(pair.at):
        return pair
    columns = {f.name: getattr(pair, f.name) for f in fields(pair)}
    return replace(pair, **{k: v[rows] for k, v in columns.items() if isinstance(v, np.ndarray)})


def unit_of(pair: Pair, which: int) -> str:
    """Return the unit of the level (0) or of the spread (1)."""
    return pair.spread_unit if which and pair.spread_unit is not None else pair.unit


def _named(pair: Pair, which: int) -> str:
    unit = unit_of(pair, which)
    name = term(pair.names[which])
    return f"{name}, {lengths.axis_unit(unit)}" if unit else name


def zone_inside(x: list[str], lower: Numbers, upper: Numbers) -> theme.Trace:
    """Return the zone inside the limits as a pale band; it breaks where there are no limits."""
    xs: list[Any] = []
    ys: list[Any] = []
    for first, last in runs_of(lower, upper):
        xs += [x[first], x[last], x[last], x[first], x[first], None]
        low, high = float(lower[first]), float(upper[first])
        ys += [low, low, high, high, low, None]
    shape = {"mode": "lines", "line": {"width": 0}, "fill": "toself", "fillcolor": theme.INSIDE}
    return {"type": "scatter", "x": xs, "y": ys, "hoverinfo": "skip", "name": "inside the limits", **shape}


def runs_of(lower: Numbers, upper: Numbers) -> list[tuple[int, int]]:
    """Return first and last index of each run of equal, finite limits; runs touch where values differ."""
    if not len(lower):
        return []
    changes = np.nonzero((np.diff(lower) != 0) | (np.diff(upper) != 0))[0] + 1
    starts = [0, *changes.tolist()]
    ends = [*changes.tolist(), len(lower) - 1]
    return [
        (a, b) for a, b in zip(starts, ends, strict=True) if np.isfinite(lower[a]) and np.isfinite(upper[a])
    ]


def _thin(x: list[str], centre: Numbers) -> theme.Trace:
    y = [None if np.isnan(v) else float(v) for v in centre]
    return theme.points(
        x, y, mode="lines", line={"color": theme.LINE, "width": 0.9, "shape": "hv"}, name="centre"
    )


def _beside(pair: Pair, x: list[str], y: Numbers, beyond: Whole, axis: str, height: float) -> list[Any]:
    """Name the first point of every run that lies beyond the same limit."""
    firsts = [i for i in np.nonzero(beyond)[0] if i == 0 or beyond[i - 1] != beyond[i]]
    low, high = float(np.nanmin(y)), float(np.nanmax(y))
    start, hours = to_utc(pair.clock.since), pair.clock.hours
    labels = []
    for i in firsts:
        share = (pair.at[i] - start) / np.timedelta64(1, "h") / hours
        at = pair.clock.short(pair.clock.words(pair.at[i : i + 1])[0])
        text = say("{at} above", at=at) if beyond[i] > 0 else say("{at} below", at=at)
        py = (float(y[i]) - low) / ((high - low) or 1.0) * height
        labels.append(
            Label(text=text, x=x[i], y=float(y[i]), px=share * WIDTH_PX, py=py, weight=abs(float(y[i])))
        )
    return place(labels, width=WIDTH_PX, height=height * 1.2, most=10, yref=axis)


def _no_limits() -> Any:
    text = say("too few subgroups to call anything a limit")
    font = {"size": 12, "color": theme.SOFT}
    return theme.word(text, 1, 1, xref="paper", yref="paper", xanchor="right", font=font, name=NO_LIMITS)


def rows(pair: Pair) -> dict[str, list[Any]]:
    """Return both charts, one row a point."""
    level, spread = (name.replace(" ", "_") for name in pair.names)
    return {
        "at": pair.clock.stamps(pair.at),
        "last_part": pair.part.tolist(),
        "n": pair.n.tolist(),
        f"{level}_um": pair.mean.tolist(),
        f"{level}_lower_um": pair.mean_lower.tolist(),
        f"{level}_centre_um": pair.mean_centre.tolist(),
        f"{level}_upper_um": pair.mean_upper.tolist(),
        f"{spread}_um": pair.spread.tolist(),
        f"{spread}_lower_um": pair.spread_lower.tolist(),
        f"{spread}_centre_um": pair.spread_centre.tolist(),
        f"{spread}_upper_um": pair.spread_upper.tolist(),
    }

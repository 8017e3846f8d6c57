"""Master checks over time: what a gauge read too large on its masters, and when it was not to be believed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from cellmon import lengths, local
from cellmon.monitor.gauge import MasterChecks
from cellmon.records import Whole
from cellmon.shifts import to_local, to_utc
from cellmon.words import say, to_say
from dashboards import theme
from dashboards.figures.clock import Clock, clock_of
from dashboards.figures.narrow import few_marks, in_lines, narrowed, small, words_at
from dashboards.figures.scaled import scaled
from dashboards.figures.words import Label, place

HEIGHT, WIDTH_PX, SLIM_BELOW = 300, 1100, 800
MARGIN = {"l": 64, "r": 24, "t": 24, "b": 42}


def zeroes_figure(checks: MasterChecks, clock: Clock) -> theme.Figure:
    """Draw the errors on masters inside the pale zone of the limit; ring and name what lies beyond."""
    x = clock.xs(checks.at)
    shapes = _suspect_bands(checks, clock)
    if checks.limit_um is not None:
        zone = {"type": "rect", "xref": "paper", "x0": 0, "x1": 1, "line": {"width": 0}, "layer": "below"}
        shapes.insert(0, {**zone, "y0": -checks.limit_um, "y1": checks.limit_um, "fillcolor": theme.INSIDE})
    shapes.append(theme.level(clock.x(clock.since), clock.x(clock.until), 0.0, colour=theme.LINE, width=0.9))
    drawn = theme.figure(
        [*_points(checks, x), *_drift(checks, clock), *_rings(checks, x)],
        height=HEIGHT,
        margin=MARGIN,
        xaxis=clock.axis(),
        yaxis=theme.axis(say("reading less master, {unit}", unit=lengths.axis_unit()), nticks=6),
        shapes=shapes,
        annotations=[*_named(checks, clock, x), *_limit_words(checks)],
    )
    slim = {"margin.l": 46, "margin.r": 6, **few_marks(drawn["layout"]["xaxis"])}
    slim |= _words_slim(drawn["layout"]["annotations"])
    return narrowed(scaled(drawn, "y"), slim, below=SLIM_BELOW)


def _words_slim(words: Sequence[Any]) -> dict[str, Any]:
    """Return what changes of the words in a narrow box: they are small and in short lines."""
    slim = small(len(words))
    for i, one in enumerate(words):
        slim[f"{words_at(i)}.text"] = in_lines(one["text"], 16)
    return slim


def clock_for(checks: MasterChecks, zone: Any) -> Clock:
    """Return the clock of a gauge's checks, with an hour to spare on either side."""
    hour = np.timedelta64(1, "h")
    first, last = (to_local(t, zone) for t in (checks.at[0] - hour, checks.at[-1] + hour))
    return clock_of(first, last, str(zone))


def _points(checks: MasterChecks, x: list[str]) -> list[theme.Trace]:
    left = checks.state == "as-left"
    usual = checks.master_mm == checks.usual_master_mm
    kinds = (
        (to_say("as found"), ~left & usual, {"symbol": "circle", "size": 6, "color": theme.INK}),
        (to_say("as left"), left & usual, {"symbol": "circle-open", "size": 7, "color": theme.INK}),
        (to_say("another master"), ~usual, {"symbol": "diamond-open", "size": 7, "color": theme.SOFT}),
    )
    traces = []
    for name, here, marker in kinds:
        at = np.flatnonzero(here)
        if len(at):
            traces.append(
                theme.points(
                    [x[i] for i in at],
                    checks.error_um[at].tolist(),
                    mode="markers",
                    marker=marker,
                    text=_check_words(checks, at, say(name)),
                    hoverinfo="text",
                    name=name,
                )
            )
    return traces


def _check_words(checks: MasterChecks, at: Whole, kind: str) -> list[str]:
    """Return the words of some checks; a gauge reads the same few masters, in steps."""
    masters = theme.each_said(lambda mm: lengths.size_said(mm, 4), checks.master_mm[at])
    errors = theme.each_said(theme.um_said, checks.error_um[at])
    return [f"{kind}, {master}: {error}" for master, error in zip(masters, errors, strict=True)]


def _drift(checks: MasterChecks, clock: Clock) -> list[theme.Trace]:
    """Return the thin line of the drift over the checks it rests on."""
    drift, mean = checks.drift_um_per_day, checks.zero_um
    if drift is None or drift.value is None or mean is None:
        return []
    here = checks.good & (checks.state != "as-left") & (checks.master_mm == checks.usual_master_mm)
    if checks.drift_since is not None:
        here &= checks.at >= to_utc(checks.drift_since)
    at, error = checks.at[here], checks.error_um[here]
    days = (at - at[0]) / np.timedelta64(1, "D")
    level = float(error.mean())
    ends = [level + drift.value * float(d - days.mean()) for d in (days[0], days[-1])]
    line = {"color": theme.SOFT, "width": 1.1}
    return [theme.points(clock.xs(at[[0, -1]]), ends, mode="lines", line=line, name="drift")]


def _rings(checks: MasterChecks, x: list[str]) -> list[theme.Trace]:
    at = np.flatnonzero(~checks.good)
    if not len(at):
        return []
    y = checks.error_um[at].tolist()
    return [theme.points([x[i] for i in at], y, mode="markers", marker=theme.RING, name="beyond the limit")]


def _suspect_bands(checks: MasterChecks, clock: Clock) -> list[Any]:
    """Return the times in which the gauge was not to be believed as darker bands."""
    shapes = []
    for one in checks.suspect:
        x0, x1 = clock.x(max(one.after, clock.since)), clock.x(min(one.until, clock.until))
        band = {"type": "rect", "yref": "paper", "x0": x0, "x1": x1, "y0": 0, "y1": 1, "layer": "below"}
        shapes.append({**band, "fillcolor": theme.METAL, "line": {"width": 0}})
    return shapes


def _named(checks: MasterChecks, clock: Clock, x: list[str]) -> list[Any]:
    """Name every check beyond the limit, with the bores that are suspect for it."""
    low, high = float(checks.error_um.min()), float(checks.error_um.max())
    room = HEIGHT - MARGIN["t"] - MARGIN["b"]
    labels = []
    for one in checks.suspect:
        i = int(np.argmin(np.abs(checks.at - to_utc(one.found_at)) + np.where(checks.good, 1, 0)))
        share = (checks.at[i] - to_utc(clock.since)) / np.timedelta64(1, "h") / clock.hours
        off, count = theme.um_said(one.by_um), local.number(one.bores)
        text = say("{off}: {count} bores suspect", off=off, count=count)
        py = (one.by_um - low) / ((high - low) or 1.0) * room
        labels.append(
            Label(text=text, x=x[i], y=one.by_um, px=share * WIDTH_PX, py=py, weight=abs(one.by_um))
        )
    return place(labels, width=WIDTH_PX, height=room * 1.1, most=8)


def _limit_words(checks: MasterChecks) -> list[Any]:
    if checks.limit_um is None:
        return []
    font = {"size": 11, "color": theme.SOFT}
    said = say("found within ±{limit} is good", limit=lengths.said(checks.limit_um, None))
    return [theme.word(said, 1, checks.limit_um, xref="paper", xanchor="right", yanchor="bottom", font=font)]


def rows(checks: MasterChecks, clock: Clock) -> dict[str, list[Any]]:
    """Return the checks as columns."""
    return {
        "at": clock.stamps(checks.at),
        "master_mm": checks.master_mm.tolist(),
        "error_um": checks.error_um.tolist(),
        "state": checks.state.tolist(),
        "good": checks.good.tolist(),
    }

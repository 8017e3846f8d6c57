"""Many strokes as one path: what is only seen of many marks; a browser would keep an element of each."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import numpy as np

from cellmon.records import Numbers, Times
from dashboards import theme
from dashboards.figures.clock import Clock

Shape = dict[str, Any]


@dataclass(frozen=True, kw_only=True)
class Marks:
    """What is drawn of many things: traces, whose points are hovered over and clicked, and their strokes."""

    traces: list[theme.Trace]
    shapes: list[Shape]


NONE = Marks(traces=[], shapes=[])


def level(at: Times, y: Numbers, clock: Clock, *, length: float, colour: str, width: float) -> list[Shape]:
    """Return a level stroke at each height, its middle at a moment.

    Parameters
    ----------
    at : array, shape (n,)
        Moments, UTC.
    y : array, shape (n,)
        Heights on the upright axis; nan is left out.
    length : float
        Of a stroke, as a share of the width of the drawing: it grows with a zoom.
    width : float
        Of the line, in pixels.
    """
    known = np.isfinite(y)
    half = np.timedelta64(max(1, round((clock.until - clock.since) * length / timedelta(seconds=2))), "s")
    left, right = _places(at[known] - half, clock), _places(at[known] + half, clock)
    pieces = (f"M{a},{v:.5g}H{b}" for a, b, v in zip(left, right, y[known].tolist(), strict=True))
    return _path(pieces, colour, width)


def upright(
    at: Times, low: Numbers, high: Numbers, clock: Clock, *, colour: str, width: float
) -> list[Shape]:
    """Return an upright stroke at each moment, from one height to another; units as in `level`."""
    known = np.isfinite(low) & np.isfinite(high)
    ends = zip(_places(at[known], clock), low[known].tolist(), high[known].tolist(), strict=True)
    return _path((f"M{x},{a:.5g}V{b:.5g}" for x, a, b in ends), colour, width)


def joined(points: Iterable[tuple[str | None, float | None]], *, colour: str, width: float) -> list[Shape]:
    """Return a line through points of the axes as one path; None begins it anew."""
    pieces, pen = [], "M"
    for x, y in points:
        if x is not None:
            pieces.append(f"{pen}{x.replace('T', '_')},{y:.5g}")
        pen = "M" if x is None else "L"
    return _path(pieces, colour, width)


def zones(pieces: Iterable[tuple[Sequence[str], Numbers, Numbers]], *, colour: str) -> list[Shape]:
    """Return a pale band in pieces: of each its places on the axis, and its lower and upper heights there."""
    outlines = []
    for x, low, high in pieces:
        there = zip([*x, *reversed(x)], [*high.tolist(), *reversed(low.tolist())], strict=True)
        outlines.append("M" + "L".join(f"{a.replace('T', '_')},{b:.5g}" for a, b in there) + "Z")
    return _placed("".join(outlines), fillcolor=colour, line={"width": 0})


def _places(at: Times, clock: Clock) -> list[str]:
    """Return where moments stand, without the T that would be a turn of a path."""
    return [one.replace("T", "_") for one in clock.xs(at)]


def _path(pieces: Iterable[str], colour: str, width: float) -> list[Shape]:
    line = {"color": colour, "width": width}
    return _placed("".join(pieces), line=line)


def _placed(path: str, **more: Any) -> list[Shape]:
    """Return a path as a shape under the traces and over the lines of the axes, in the order of shapes."""
    return [{"type": "path", "path": path, "layer": "between", **more}] if path else []

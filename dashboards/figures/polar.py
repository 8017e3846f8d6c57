"""Traced sections in the round: each plane of a bore, its deviation exaggerated, inside the allowed ring.

A section is drawn about the centre of the sheet's reference. The pale ring is as wide as the drawing
allows roundness to be, laid about the middle of the profile: a profile that needs more leaves it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from cellmon import lengths, local
from cellmon.monitor.traced_bore import BoreTraces
from cellmon.monitor.traced_plane import PlaneTrace
from cellmon.records import Numbers, Verdict
from cellmon.words import say
from dashboards import theme
from dashboards.figures.terms import each

STEPS = (50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000, 50000)
HEIGHT = 420
REACH = 0.28
"""Part of the radius that the widest deviation is drawn at most."""
PITCH = 3.0
"""From centre to centre, in radii."""


def polar_figure(bore: BoreTraces, *, nominal_mm: float) -> theme.Figure:
    """Draw every traced plane of a bore; needs curves, which come with the answer for one part."""
    planes = [p for p in bore.planes if p.curve is not None]
    if not planes:
        why = next((w for p in bore.planes for w in p.why_not.values()), say("no points of it were sent"))
        return theme.notice(
            say("Bore {bore} cannot be drawn: {why}.", bore=bore.bore, why=why), height=HEIGHT
        )
    allowed = bore.roundness_trace.upper_um
    radius = nominal_mm / 2
    scale = _exaggeration([*map(_spread, planes), allowed or 0.0], radius)
    data: list[Any] = []
    words = [_scale_words(bore, scale)]
    for i, plane in enumerate(planes):
        x0 = i * PITCH * radius
        if allowed is not None:
            data.append(_ring(x0, radius, allowed / 2 * scale / 1000))
        data += [_circle(x0, radius), _profile(x0, radius, plane, scale)]
        data += _ringed(x0, radius, plane, scale, bore)
        words.append(_plane_words(x0, radius, plane))
    reach = radius * (1 + REACH)
    return theme.figure(
        data,
        height=HEIGHT,
        xaxis=theme.hidden_axis(range=[-1.15 * reach, (len(planes) - 1) * PITCH * radius + 1.15 * reach]),
        yaxis=theme.hidden_axis(range=[-1.7 * reach, 1.35 * reach], scaleanchor="x"),
        annotations=words,
    )


def _about_middle(plane: PlaneTrace) -> Numbers:
    assert plane.curve is not None
    um = plane.curve.um
    return np.asarray(um - (um.max() + um.min()) / 2, dtype=np.float64)


def _spread(plane: PlaneTrace) -> float:
    return float(np.ptp(_about_middle(plane)))


def _exaggeration(spreads: list[float], radius: float) -> int:
    """Return the largest round factor at which the widest section stays near its circle."""
    widest = max(spreads) / 2
    fits = [s for s in STEPS if widest * s / 1000 <= REACH * radius]
    return fits[-1] if fits else STEPS[0]


def _around(x0: float, radius: Any) -> tuple[Numbers, Numbers]:
    turn = np.radians(np.arange(0.0, 361.0, 2.0))
    return x0 + radius * np.cos(turn), radius * np.sin(turn)


def _circle(x0: float, radius: float) -> theme.Trace:
    x, y = _around(x0, radius)
    return theme.points(x.tolist(), y.tolist(), mode="lines", line={"color": theme.QUIET, "width": 0.8})


def _ring(x0: float, radius: float, half: float) -> theme.Trace:
    outer, inner = _around(x0, radius + half), _around(x0, radius - half)
    return {
        "type": "scatter",
        "x": [*outer[0].tolist(), *inner[0][::-1].tolist()],
        "y": [*outer[1].tolist(), *inner[1][::-1].tolist()],
        "mode": "lines",
        "line": {"width": 0},
        "fill": "toself",
        "fillcolor": theme.ALLOWED,
        "hoverinfo": "skip",
    }


def _profile(x0: float, radius: float, plane: PlaneTrace, scale: int) -> theme.Trace:
    assert plane.curve is not None
    turn, um = np.radians(plane.curve.angle_deg), _about_middle(plane)
    drawn = radius + um * scale / 1000
    x, y = x0 + drawn * np.cos(turn), drawn * np.sin(turn)
    said = [
        say("{angle} degrees: {off}", angle=local.number(a), off=lengths.said(v, 2, sign=True))
        for a, v in zip(plane.curve.angle_deg, um, strict=True)
    ]
    return {
        "type": "scatter",
        "x": [*x.tolist(), float(x[0])],
        "y": [*y.tolist(), float(y[0])],
        "mode": "lines",
        "line": {"color": theme.INK, "width": 1.8},
        "text": [*said, said[0]],
        "hoverinfo": "text",
        "name": plane.plane,
    }


def _ringed(x0: float, radius: float, plane: PlaneTrace, scale: int, bore: BoreTraces) -> list[theme.Trace]:
    """Ring the highest and lowest place of a section that leaves the allowed ring."""
    figure = bore.roundness_trace
    wide = figure.upper_um is not None and (plane.roundness_um or 0.0) > figure.upper_um
    if not wide or figure.verdict is Verdict.CONFORMS:
        return []
    assert plane.curve is not None
    turn, um = np.radians(plane.curve.angle_deg), _about_middle(plane)
    at = [int(um.argmax()), int(um.argmin())]
    drawn = radius + um[at] * scale / 1000
    x, y = x0 + drawn * np.cos(turn[at]), drawn * np.sin(turn[at])
    return [theme.points(x.tolist(), y.tolist(), mode="markers", marker=theme.RING, name="widest")]


def _plane_words(x0: float, radius: float, plane: PlaneTrace) -> dict[str, Any]:
    form = each([lobe.words for lobe in plane.lobes]) if plane.lobes else say("no lobes stand out")
    roundness = say(
        "roundness {size}, two points see {seen}",
        size=lengths.said(plane.roundness_um, 2),
        seen=lengths.bare(plane.two_point_roundness_um, 2),
    )
    text = f"<b>{plane.plane}</b>: {form}<br>{roundness}"
    return theme.word(text, x0, -(1 + REACH) * radius, xanchor="center", yanchor="top")


def _scale_words(bore: BoreTraces, scale: int) -> dict[str, Any]:
    figure = bore.roundness_trace
    text = say(
        "Bore {bore}: deviation drawn {times} times, {reference} centre, {filter} undulations per revolution",
        bore=bore.bore,
        times=local.number(scale),
        reference=figure.reference,
        filter=local.significant(figure.filter_upr),
    )
    if figure.upper_um is not None:
        text += "; " + say("pale ring: {allowed} allowed", allowed=lengths.said(figure.upper_um, None))
    return theme.word(text, 0.0, 1.0, xref="paper", yref="paper", yanchor="top", font={"color": theme.SOFT})


def traced_points(bores: Sequence[BoreTraces]) -> dict[str, list[Any]]:
    """Return every point of some traced bores as columns, its deviation about the middle of its section."""
    found = [
        (bore.part, bore.bore, plane.plane, float(angle), float(um))
        for bore in bores
        for plane in bore.planes
        if plane.curve is not None
        for angle, um in zip(plane.curve.angle_deg, _about_middle(plane), strict=True)
    ]
    names = ("part", "bore", "plane", "angle_deg", "deviation_um")
    return {name: [row[i] for row in found] for i, name in enumerate(names)}

"""A block on paper: its bores cut open inside their tolerance, and its traced sections in the round."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise
from math import cos, radians, sin

import numpy as np

from cellmon.export.paper import Block, Picture
from cellmon.export.pen import ALLOWED, HAIR, INK, LINE, QUIET, SOFT, Pen
from cellmon.local import number, significant
from cellmon.monitor.part_bores import PartMeasurement
from cellmon.monitor.traced_bore import BoreTraces
from cellmon.monitor.traced_plane import PlaneTrace
from cellmon.records import Verdict
from cellmon.words import say, to_say

WORDS = {
    Verdict.CONFORMS: to_say("conforms"),
    Verdict.DOES_NOT_CONFORM: to_say("does not conform"),
    Verdict.UNDECIDED: to_say("undecided"),
}
STEPS = (20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000)
DASHES: Sequence[tuple[float, ...]] = ((), (3.0, 2.0), (1.0, 2.0), (5.0, 2.0, 1.0, 2.0))
BEYOND = 0.25
"""Of the tolerance, drawn beyond each limit before a reading is cut off."""


def walls_drawing(
    measurements: Sequence[PartMeasurement], depths_mm: Mapping[str, float], *, width: float, height: float
) -> Block:
    """Return one upright strip a bore: depth downwards, what two points read across, limits upright.

    Unlike on the page only one wall is drawn, the deviation of the diameter to the right, so that values
    can be read off on paper.
    """
    each = width / max(len(measurements), 1)

    def draw(pen: Pen) -> None:
        for i, m in enumerate(measurements):
            _strip(pen, m, depths_mm, x0=i * each, x1=(i + 1) * each - 16, height=height)

    return Picture(width, height, draw)


def _range(m: PartMeasurement) -> tuple[float, float]:
    t = m.tolerance
    known = [v for v in (t.lower_um, t.upper_um) if v is not None] if t else []
    seen = m.um[np.isfinite(m.um)]
    low = min([*known, *([] if known else seen.tolist()), 0.0])
    high = max([*known, *([] if known else seen.tolist()), 0.0])
    pad = BEYOND * (high - low) or 5.0
    return low - pad, high + pad


def _strip(
    pen: Pen, m: PartMeasurement, depths_mm: Mapping[str, float], *, x0: float, x1: float, height: float
) -> None:
    top, bottom, left = height - 22.0, 24.0, x0 + 34.0
    low, high = _range(m)
    deepest = max(depths_mm.values(), default=1.0) * 1.08

    def at(um: float) -> float:
        return left + (min(max(um, low), high) - low) / (high - low) * (x1 - left)

    def down(mm: float) -> float:
        return top - mm / deepest * (top - bottom)

    pen.word(left, height - 8, f"{m.bore}: {say(WORDS[m.verdict])}", size=9, bold=True)
    pen.word(left, height - 17, f"{m.spindle}, {m.gauge}, {m.at:%H:%M:%S}", size=6.5, ink=SOFT)
    _tolerance(pen, m, at, top=top, bottom=bottom, low=low, high=high)
    for name in m.planes:
        if name in depths_mm:
            y = down(depths_mm[name])
            pen.line(left, y, x1, y, ink=HAIR, width=0.4)
            pen.word(left - 3, y - 2, f"{name} {depths_mm[name]:g}", size=6, ink=SOFT, anchor="end")
    for d, direction in enumerate(m.directions):
        points = [
            (at(float(m.um[p, d])), down(depths_mm[plane]))
            for p, plane in enumerate(m.planes)
            if plane in depths_mm and np.isfinite(m.um[p, d])
        ]
        pen.lines(points, width=1.1, dash=(DASHES[d % len(DASHES)],) if d else ())
        pen.dots(points, radius=1.5)
        if points:
            pen.word(
                points[0][0] + (4 if d == 0 else -4),
                points[0][1] + 5,
                direction,
                size=6,
                ink=SOFT,
                anchor="start" if d == 0 else "end",
            )
    _rings(pen, m, depths_mm, at, down)


def _tolerance(
    pen: Pen, m: PartMeasurement, at: object, *, top: float, bottom: float, low: float, high: float
) -> None:
    assert callable(at)
    t = m.tolerance
    lower = low if t is None or t.lower_um is None else t.lower_um
    upper = high if t is None or t.upper_um is None else t.upper_um
    pen.box(at(lower), bottom, at(upper), top, fill=ALLOWED)
    guard = 0.0 if t is None else t.guard_um or 0.0
    limits = [] if t is None else [v for v in (t.lower_um, t.upper_um) if v is not None]
    for limit in limits:
        inner = limit + guard if limit == lower else limit - guard
        pen.hatched(min(at(limit), at(inner)), bottom, max(at(limit), at(inner)), top, ink=QUIET, pitch=3)
        pen.line(at(limit), bottom, at(limit), top, width=1.0)
        pen.word(at(limit), bottom - 8, _signed(limit), size=6.5, anchor="middle")
    pen.line(at(0.0), bottom - 2, at(0.0), top, ink=LINE, width=0.4, dash=((1.0, 2.0),))
    pen.word((at(low) + at(high)) / 2, bottom - 17, say("µm from nominal"), size=6, ink=SOFT, anchor="middle")


def _signed(um: float) -> str:
    text = significant(um)
    return f"+{text}" if um > 0 else text


def _rings(pen: Pen, m: PartMeasurement, depths_mm: Mapping[str, float], at: object, down: object) -> None:
    assert callable(at) and callable(down)
    t = m.tolerance
    for p, plane in enumerate(m.planes):
        for d in range(len(m.directions)):
            um = float(m.um[p, d])
            if t is None or plane not in depths_mm or not np.isfinite(um):
                continue
            over = (t.upper_um is not None and um > t.upper_um) or (
                t.lower_um is not None and um < t.lower_um
            )
            if over:
                x, y = at(um), down(depths_mm[plane])
                pen.ring(x, y, radius=4.0)
                pen.word(
                    x,
                    y + 6,
                    say("{um} outside", um=number(um, 1, sign=True)),
                    size=6.5,
                    bold=True,
                    anchor="middle",
                )


def rounds_drawing(bore: BoreTraces, *, nominal_mm: float, width: float, height: float) -> Block | None:
    """Return the traced sections of a bore in the round, exaggerated; None where there is no curve."""
    planes = [p for p in bore.planes if p.curve is not None]
    if not planes:
        return None
    radius = min(width / len(planes), height - 30) * 0.33
    spread = max(float(np.ptp(p.curve.um)) for p in planes if p.curve is not None)
    allowed = bore.roundness_trace.upper_um or 0.0
    per_mm = radius / (nominal_mm / 2)
    fits = [s for s in STEPS if max(spread, allowed) / 2 * s / 1000 * per_mm <= 0.3 * radius]
    scale = fits[-1] if fits else STEPS[0]

    def draw(pen: Pen) -> None:
        for i, plane in enumerate(planes):
            _round(
                pen,
                plane,
                x=(i + 0.5) * width / len(planes),
                y=height / 2 + 6,
                radius=radius,
                um=scale / 1000 * per_mm,
                allowed=allowed,
            )
        pen.word(0, 1, _rounds_words(bore, scale, allowed), size=6.5, ink=SOFT)

    return Picture(width, height, draw)


def _rounds_words(bore: BoreTraces, scale: int, allowed: float) -> str:
    values = {
        "scale": number(scale),
        "reference": say(bore.roundness_trace.reference),
        "filter": significant(bore.roundness_trace.filter_upr),
    }
    if not allowed:
        drawn = to_say(
            "Deviation drawn {scale} times, {reference} centre, {filter} undulations per revolution"
        )
        return say(drawn, **values)
    drawn = to_say(
        "Deviation drawn {scale} times, {reference} centre, {filter} undulations per revolution; pale ring: "
        "{allowed} µm allowed"
    )
    return say(drawn, allowed=significant(allowed), **values)


def _round(
    pen: Pen, plane: PlaneTrace, *, x: float, y: float, radius: float, um: float, allowed: float
) -> None:
    assert plane.curve is not None
    turn = [radians(a) for a in range(0, 361, 3)]

    def circle(r: float) -> list[tuple[float, float]]:
        return [(x + r * cos(t), y + r * sin(t)) for t in turn]

    if allowed:
        outer, inner = circle(radius + allowed / 2 * um), circle(radius - allowed / 2 * um)
        for (a, b), (c, d) in zip(pairwise(outer), pairwise(inner), strict=True):
            pen.area([a, b, d, c], fill=ALLOWED)
    pen.lines(circle(radius), ink=LINE, width=0.4)
    middle = plane.curve.um - (plane.curve.um.max() + plane.curve.um.min()) / 2
    angles = np.radians(plane.curve.angle_deg)
    drawn = radius + middle * um
    points = list(
        zip((x + drawn * np.cos(angles)).tolist(), (y + drawn * np.sin(angles)).tolist(), strict=True)
    )
    pen.lines([*points, points[0]], ink=INK, width=0.9)
    form = say(" and ").join(lobe.words for lobe in plane.lobes) or say("no lobes stand out")
    pen.word(
        x,
        y - radius * 1.38 - 6,
        f"{plane.plane}: {number(plane.roundness_um or 0.0, 2)} µm",
        size=7,
        bold=True,
        anchor="middle",
    )
    pen.word(x, y - radius * 1.38 - 14, form, size=6.5, ink=SOFT, anchor="middle")

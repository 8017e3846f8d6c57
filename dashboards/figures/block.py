"""The block now: every bore cut open to scale, its walls exaggerated, and the last bores below it.

Depth and bore diameter share one scale. What a wall deviates is drawn `Section.exaggeration` times
larger, half of each diameter on each side: a two-point gauge does not know where the axis lies.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import numpy as np

from cellmon import local
from cellmon.monitor.answers import Tolerance
from cellmon.monitor.now import BoreNow, Now
from cellmon.records import Verdict
from cellmon.words import say
from dashboards import theme
from dashboards.figures import last_bores
from dashboards.figures.opened import opens_bore, stones_line

STEPS = (10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000)
WALL_SHARE = 0.4  # of the bore's diameter, for the widest thing drawn at a wall
OVERSHOOT = 0.35  # of the tolerance, drawn beyond each limit before a reading is cut off
DASHES = ("solid", "4px,3px", "1.5px,3px", "8px,3px,1.5px,3px")
NODES = ("circle", "diamond", "square", "triangle-up")
TOP, BOTTOM, SIDE = 8, 50, 84
DOMAIN = (0.47, 1.0)


@dataclass(frozen=True, kw_only=True)
class Section:
    """How a bore becomes a drawing: all in drawn millimetres, one to one with depth."""

    diameter: float
    length: float
    exaggeration: int
    low_um: float
    high_um: float
    pitch: float

    def out(self, um: float) -> float:
        """Return how far from the axis a wall is drawn at this deviation of the diameter."""
        kept = min(max(um, self.low_um), self.high_um)
        return self.diameter / 2 + kept / 2 * self.exaggeration / 1000

    def cut(self, um: float) -> bool:
        """Return whether a reading lies beyond what is drawn."""
        return not self.low_um <= um <= self.high_um


def section_of(now: Now, readings: np.ndarray) -> Section:
    """Return the largest round exaggeration at which limits and readings stay near the wall."""
    nominal = max((s.nominal_mm for s in now.spindles if s.bores), default=now.nominal_mm)
    every = [s.tolerance for s in now.spindles if s.bores] or [now.tolerance]
    limits = [v for t in every for v in (t.lower_um, t.upper_um) if v is not None]
    seen = readings[np.isfinite(readings)]
    low = min([*limits, 0.0] if limits else [float(seen.min(initial=-10.0)), 0.0])
    high = max([*limits, 0.0] if limits else [float(seen.max(initial=10.0)), 0.0])
    low, high = low - OVERSHOOT * (high - low), high + OVERSHOOT * (high - low)
    fits = [s for s in STEPS if high / 2 * s / 1000 <= WALL_SHARE * nominal]
    scale = fits[-1] if fits else STEPS[0]
    length = now.length_mm or (max(now.depths_mm, default=100.0) + min(now.depths_mm, default=0.0))
    reach = high / 2 * scale / 1000
    pitch = nominal + 2 * reach + 0.09 * nominal
    return Section(diameter=nominal, length=length, exaggeration=scale, low_um=low, high_um=high, pitch=pitch)


def block_figure(now: Now) -> theme.Figure:
    """Draw every bore's last shape inside its tolerance, and the last bores against the limits."""
    bores = [(s.tolerance, b) for s in now.spindles for b in s.bores]
    if not bores:
        return theme.notice(say("No bore has been measured yet."))
    section = section_of(now, np.concatenate([b.um.ravel() for _, b in bores]))
    centres = [i * section.pitch for i in range(len(bores))]
    data, notes = cut_open(now, bores, centres, section)
    strip = last_bores.strip(bores, centres=centres, pitch=section.pitch)
    return theme.figure(
        data + strip.data,
        height=None,
        margin={"l": SIDE, "r": SIDE, "t": TOP, "b": BOTTOM},
        shapes=strip.shapes,
        annotations=notes + strip.words,
        xaxis=theme.hidden_axis(
            range=[-section.pitch / 2, (len(bores) - 0.5) * section.pitch], fixedrange=True
        ),
        yaxis=depth_axis(now, section),
        yaxis2=strip.axis,
        dragmode=False,
    )


def cut_open(
    now: Now,
    bores: Sequence[tuple[Tolerance, BoreNow]],
    centres: Sequence[float],
    section: Section,
    *,
    serial: str | None = None,
) -> tuple[list[theme.Trace], list[Any]]:
    """Return bores cut open at their centres, each in its tolerance, and the words in and beside them.

    `serial` is the block they all are of; without it each bore's `part` is.
    """
    data, notes = _metal(centres, section), [_scale_words(section)]
    for (tolerance, bore), centre in zip(bores, centres, strict=True):
        data += _allowed(tolerance, centre, section) + _lines(tolerance, centre, section)
        here = replace(now, tolerance=tolerance)
        walls = _walls(here, bore, centre, section) + _rings(here, bore, centre, section)
        data += [opens_bore(t, [serial or bore.part] * len(t["x"]), bore.bore) for t in walls]
        notes += _inside(here, bore, centre, section) + _beyond(here, bore, centre, section)
    return data, notes


def depth_axis(now: Now, section: Section) -> dict[str, Any]:
    """Return the axis of depth, with the planes named; the top face is at the top."""
    names = [
        f"{name} {local.significant(depth)}" for name, depth in zip(now.planes, now.depths_mm, strict=True)
    ]
    pad = 0.02 * section.length
    return theme.axis(
        range=[section.length + pad, -pad],
        domain=list(DOMAIN),
        scaleanchor="x",
        scaleratio=1,
        tickvals=list(now.depths_mm),
        ticktext=names,
        fixedrange=True,
        ticks="",
    )


def _metal(centres: Sequence[float], section: Section) -> list[theme.Trace]:
    half = section.pitch / 2
    x0, x1 = centres[0] - half, centres[-1] + half
    block = _filled([x0, x1, x1, x0], [0, 0, section.length, section.length], theme.METAL)
    return [block]


def _filled(x: list[float], y: list[float], colour: str) -> theme.Trace:
    shape = {"x": [*x, x[0]], "y": [*y, y[0]], "mode": "lines", "line": {"width": 0}, "hoverinfo": "skip"}
    return {"type": "scatter", "fill": "toself", "fillcolor": colour, **shape}


def _allowed(tolerance: Tolerance, centre: float, section: Section) -> list[theme.Trace]:
    """Return the hollow of the bore, the tolerance at both walls, and the guard bands inside it."""
    low = section.out(tolerance.lower_um if tolerance.lower_um is not None else section.low_um)
    high = section.out(tolerance.upper_um if tolerance.upper_um is not None else section.high_um)
    ends = [0.0, 0.0, section.length, section.length]
    drawn = [
        _filled([centre - high, centre + high, centre + high, centre - high], ends, theme.ALLOWED),
        _filled([centre - low, centre + low, centre + low, centre - low], ends, theme.PAPER),
    ]
    guard = tolerance.guard_um or 0.0
    bands = []
    if guard and tolerance.lower_um is not None:
        bands.append((low, section.out(tolerance.lower_um + guard)))
    if guard and tolerance.upper_um is not None:
        bands.append((section.out(tolerance.upper_um - guard), high))
    for near, far in bands:
        drawn += [theme.hatched(centre + s * near, centre + s * far, 0.0, section.length) for s in (-1, 1)]
    return drawn


def _lines(tolerance: Tolerance, centre: float, section: Section) -> list[theme.Trace]:
    """Return the limits as full upright lines."""
    limits = [v for v in (tolerance.lower_um, tolerance.upper_um) if v is not None]
    at = [centre + s * section.out(v) for v in limits for s in (-1, 1)]
    x = [v for one in at for v in (one, one, None)]
    y = [0.0, section.length, None] * len(at)
    return [theme.points(x, y, mode="lines", line={"color": theme.INK, "width": 1.1}, name="limits")]


def _walls(now: Now, bore: BoreNow, centre: float, section: Section) -> list[theme.Trace]:
    """Return two walls for each direction, each with its own line and its own mark."""
    traces = []
    for d, direction in enumerate(now.directions):
        for side in (-1, 1):
            um = bore.um[:, d]
            x = [None if np.isnan(v) else centre + side * section.out(v) for v in um]
            hover = [
                f"{p} {direction}: {theme.um(v)} µm<br>{_whose(bore)}"
                for p, v in zip(now.planes, um, strict=True)
            ]
            traces.append(
                theme.points(
                    x,
                    list(now.depths_mm),
                    mode="lines+markers",
                    line={"color": theme.INK, "width": 2.2, "dash": DASHES[d % len(DASHES)]},
                    marker={
                        "symbol": NODES[d % len(NODES)],
                        "size": 8,
                        "color": theme.INK if d == 0 else theme.PAPER,
                        "line": {"color": theme.INK, "width": 1.6},
                    },
                    text=hover,
                    hoverinfo="text",
                )
            )
    return traces


def _whose(bore: BoreNow) -> str:
    """Return which bore a wall is of, when it was read and by which stones it was honed."""
    return (
        say("bore {bore}, {part}", bore=bore.bore, part=bore.part)
        + f"<br>{local.moment(bore.at)}{stones_line(bore.stone_set)}"
    )


def outside(tolerance: Tolerance, um: float) -> bool:
    """Return whether a reading lies beyond a limit of the drawing."""
    below = tolerance.lower_um is not None and um < tolerance.lower_um
    return below or (tolerance.upper_um is not None and um > tolerance.upper_um)


def _offenders(now: Now, bore: BoreNow) -> list[tuple[int, int, float]]:
    rows, columns = np.nonzero(np.isfinite(bore.um))
    cells = [(int(p), int(d), float(bore.um[p, d])) for p, d in zip(rows, columns, strict=True)]
    return [cell for cell in cells if outside(now.tolerance, cell[2])]


def _rings(now: Now, bore: BoreNow, centre: float, section: Section) -> list[theme.Trace]:
    found = _offenders(now, bore)
    if not found:
        return []
    x = [centre + section.out(um) for _, _, um in found]
    y = [now.depths_mm[p] for p, _, _ in found]
    text = [f"{now.planes[p]} {now.directions[d]}: {theme.um(um)} µm<br>{_whose(bore)}" for p, d, um in found]
    ring = theme.points(x, y, mode="markers", marker=theme.RING, text=text, name="outside")
    return [{**ring, "hoverinfo": "text"}]


def _beyond(now: Now, bore: BoreNow, centre: float, section: Section) -> list[Any]:
    return [
        theme.word(
            _beyond_words(um, cut=section.cut(um)),
            centre + section.out(um),
            now.depths_mm[p],
            xanchor="right",
            xshift=-12,
            yshift=14 if d == 0 else -14,
            bgcolor=theme.VEIL,
        )
        for p, d, um in _offenders(now, bore)[:3]
    ]


def _beyond_words(um: float, *, cut: bool) -> str:
    said = f"<b>{say('{size} outside', size=theme.um(um))}</b>"
    return f"{said} {say('(not drawn to its end)')}" if cut else said


def _inside(now: Now, bore: BoreNow, centre: float, section: Section) -> list[Any]:
    """Return the words that stand in the hollow of a bore."""
    average = bore.features.get(
        "diameter", float(np.nanmean(bore.um)) if np.isfinite(bore.um).any() else None
    )
    lines = [
        f'<span style="font-size:26px"><b>{bore.bore}</b></span>',
        f'<span style="font-size:17px"><b>{_verdict_of(bore)}</b></span>',
        f'<span style="font-size:15px">{theme.um(average)} µm</span>',
        f'<span style="color:{theme.SOFT};font-size:12px">{bore.part}</span>',
        f'<span style="color:{theme.SOFT}">{clock_words(bore.at, now.as_of)}</span>',
        *(f"<b>{say('doubted: {flag}', flag=flag.value)}</b>" for flag in bore.flags),
    ]
    return [theme.word("<br>".join(lines), centre, section.length / 2, xanchor="center", font={"size": 13})]


def _verdict_of(bore: BoreNow) -> str:
    """Return the verdict of a bore in words, or that it was not measured whole."""
    missing = bore.verdict is Verdict.UNDECIDED and not np.isfinite(bore.um).all()
    return say("reading missing") if missing else verdict_words(bore.verdict)


def verdict_words(verdict: Verdict) -> str:
    """Return a verdict as it is said beside a bore."""
    if verdict is Verdict.UNDECIDED:
        return say("too close to say")
    return say("inside") if verdict is Verdict.CONFORMS else say("outside")


def clock_words(at: datetime, as_of: datetime) -> str:
    """Return the time of a bore, with its date where that is not today's."""
    return local.clock(at) if at.date() == as_of.date() else local.moment(at)


def _scale_words(section: Section) -> Any:
    text = say(
        "Bore and depth (mm) to one scale; walls {times} times larger: 1 µm drawn as {times} µm, "
        "half of each diameter on each wall",
        times=local.number(section.exaggeration),
    )
    font = {"size": 12, "color": theme.SOFT}
    return theme.word(
        text,
        0.5,
        DOMAIN[0],
        xref="paper",
        yref="paper",
        xanchor="center",
        yanchor="top",
        yshift=-4,
        font=font,
    )


def rows(now: Now) -> dict[str, list[Any]]:
    """Return the readings behind the drawing, one row a reading."""
    found = [
        (s.spindle, b.bore, b.part, b.at.isoformat(), plane, direction, float(b.um[p, d]), b.verdict.value)
        for s in now.spindles
        for b in s.bores
        for p, plane in enumerate(now.planes)
        for d, direction in enumerate(now.directions)
    ]
    names = ("spindle", "bore", "part", "measured_at", "plane", "direction", "deviation_um", "verdict")
    return {name: [row[i] for row in found] for i, name in enumerate(names)}

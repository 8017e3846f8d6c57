"""A bore cut open to scale: the metal, the tolerance at both walls, and the walls as they were read.

Depth and bore diameter share one scale. What a wall deviates is drawn `Section.exaggeration` times
larger, half of each diameter on each side: a two-point gauge does not know where the axis lies.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from cellmon import lengths, local
from cellmon.monitor.answers import Tolerance
from cellmon.records import Numbers
from cellmon.words import say, to_say
from dashboards import theme

STEPS = (10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000)
WALL_SHARE = 0.4  # of the bore's diameter, for the widest thing drawn at a wall
DASHES = ("solid", "4px,3px", "1.5px,3px", "8px,3px,1.5px,3px")
NODES = ("circle", "diamond", "square", "triangle-up")
EDGE = "edge"
"""The names at the edge of a block, as words of the drawing are named."""


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


def exaggeration_of(um: float, *, nominal_mm: float) -> int:
    """Return the largest round exaggeration at which this deviation stays near its wall."""
    fits = [s for s in STEPS if um / 2 * s / 1000 <= WALL_SHARE * nominal_mm]
    return fits[-1] if fits else STEPS[0]


def metal(centres: Sequence[float], section: Section) -> theme.Trace:
    """Return the block around all bores."""
    half = section.pitch / 2
    x0, x1 = centres[0] - half, centres[-1] + half
    return _filled([x0, x1, x1, x0], [0, 0, section.length, section.length], theme.METAL)


def _filled(x: list[float], y: list[float], colour: str) -> theme.Trace:
    shape = {"x": [*x, x[0]], "y": [*y, y[0]], "mode": "lines", "line": {"width": 0}, "hoverinfo": "skip"}
    return {"type": "scatter", "fill": "toself", "fillcolor": colour, **shape}


def hollow(tolerance: Tolerance, centre: float, section: Section) -> list[theme.Trace]:
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


def upright(levels: Sequence[float], centre: float, section: Section, **line: Any) -> theme.Trace:
    """Return sizes as upright lines at both walls."""
    at = [centre + s * section.out(v) for v in levels for s in (-1, 1)]
    x = [v for one in at for v in (one, one, None)]
    y = [0.0, section.length, None] * len(at)
    return theme.points(x, y, mode="lines", line=line)


def limit_lines(tolerance: Tolerance, centre: float, section: Section) -> theme.Trace:
    """Return the limits as full upright lines."""
    limits = [v for v in (tolerance.lower_um, tolerance.upper_um) if v is not None]
    return {**upright(limits, centre, section, color=theme.INK, width=1.1), "name": "limits"}


def walls(
    um: Numbers,
    depths_mm: Sequence[float],
    centre: float,
    section: Section,
    *,
    told: Sequence[Sequence[str]],
) -> list[theme.Trace]:
    """Return two walls for each direction, each with its own line and its own mark.

    `um` has shape (planes, directions); `told` says on hover what each reading is, a direction after another.
    """
    traces = []
    for d, words in enumerate(told):
        for side in (-1, 1):
            x = [None if np.isnan(v) else centre + side * section.out(v) for v in um[:, d]]
            traces.append(
                theme.points(
                    x,
                    list(depths_mm),
                    mode="lines+markers",
                    line={"color": theme.INK, "width": 2.2, "dash": DASHES[d % len(DASHES)]},
                    marker={
                        "symbol": NODES[d % len(NODES)],
                        "size": 8,
                        "color": theme.INK if d == 0 else theme.PAPER,
                        "line": {"color": theme.INK, "width": 1.6},
                    },
                    text=list(words),
                    hoverinfo="text",
                )
            )
    return traces


def depth_axis(
    planes: Sequence[str], depths_mm: Sequence[float], section: Section, **more: Any
) -> dict[str, Any]:
    """Return the axis of depth, with the planes named; the top face is at the top."""
    names = [f"{name} {lengths.size(depth, None)}" for name, depth in zip(planes, depths_mm, strict=True)]
    pad = 0.02 * section.length
    return theme.axis(
        range=[section.length + pad, -pad],
        scaleanchor="x",
        scaleratio=1,
        tickvals=list(depths_mm),
        ticktext=names,
        fixedrange=True,
        ticks="",
        showticklabels=False,
        **more,
    )


def edge_names(axis: Mapping[str, Any], section: Section, *, yref: str = "y") -> list[Any]:
    """Return the names of an upright axis at the edge of the block, however far that of the drawing is."""
    font = {"size": 12, "color": theme.SOFT}
    place = {"xanchor": "right", "yanchor": "middle", "xshift": -6, "yref": yref, "font": font}
    return [
        theme.word(text, -0.499 * section.pitch, value, name=EDGE, **place)
        for value, text in zip(axis["tickvals"], axis["ticktext"], strict=True)
    ]


def in_two_lines(text: str) -> str:
    """Return such a name with its figure below it, for a narrow box."""
    return "<br>".join(text.rsplit(" ", 1))


def scale_words(section: Section, y: float) -> Any:
    """Return what the drawing's scales are, below it at this share of its height."""
    times = local.number(section.exaggeration)
    if lengths.is_inch():
        text = to_say(
            "Bore and depth (in) to one scale; walls {times} times larger, half of each diameter on each wall"
        )
    else:
        text = to_say(
            "Bore and depth (mm) to one scale; walls {times} times larger: 1 µm drawn as {times} µm, "
            "half of each diameter on each wall"
        )
    return below(say(text, times=times), y)


def below(text: str, y: float) -> Any:
    """Return words below a drawing, at this share of its height."""
    font = {"size": 12, "color": theme.SOFT}
    place = {"xref": "paper", "yref": "paper", "xanchor": "center", "yanchor": "top", "yshift": -4}
    return theme.word(text, 0.5, y, font=font, **place)

"""A block's bores, each cut open to scale inside its tolerance, as its charted measurement found it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np

from cellmon.monitor.answers import Tolerance
from cellmon.monitor.now import BoreNow
from cellmon.monitor.part import PartStory
from cellmon.monitor.part_bores import PartMeasurement, drawn
from cellmon.words import say
from dashboards import theme
from dashboards.figures import block, cut

HEIGHT = "clamp(250px, 25vw, 430px)"
NO_TOLERANCE = Tolerance(lower_um=None, upper_um=None, target_um=None, guard_um=None)
NOTHING = np.zeros(0)


@dataclass(frozen=True, kw_only=True)
class _Cut:
    """A block as the drawing of bores cut open takes it."""

    nominal_mm: float
    length_mm: float | None
    tolerance: Tolerance
    planes: tuple[str, ...]
    depths_mm: tuple[float, ...]
    directions: tuple[str, ...]
    as_of: datetime
    spindles: tuple[Any, ...] = ()


def walls_figure(story: PartStory) -> theme.Figure:
    """Draw every bore of a block in the shape its gauge read."""
    known = story.depths_mm or {}
    shown = [m for m in drawn(story.measurements) if set(m.planes) <= set(known)]
    if not shown or story.nominal_mm is None:
        return theme.notice(say("Nothing to draw: the sheet names no depth of these planes."))
    frame = shown[0]
    bores = [(m.tolerance or NO_TOLERANCE, _bore(m)) for m in shown if m.planes == frame.planes]
    bored = _Cut(
        nominal_mm=story.nominal_mm,
        length_mm=story.length_mm,
        tolerance=bores[0][0],
        planes=frame.planes,
        depths_mm=tuple(known[p] for p in frame.planes),
        directions=frame.directions,
        as_of=frame.at,
    )
    section = block.section_of(bored, np.concatenate([bore.um.ravel() for _, bore in bores]))
    centres = [i * section.pitch for i in range(len(bores))]
    data, notes = block.cut_open(bored, bores, centres, section, serial=story.part)
    words = [{**note, "y": 0.0} if note.get("yref") == "paper" else note for note in notes]
    depths = block.depth_axis(bored, section) | {"domain": [0.0, 1.0]}
    words += cut.edge_names(depths, section)
    figure = theme.figure(
        data,
        height=None,
        margin={"l": block.SIDE, "r": 20, "t": block.TOP, "b": 34},
        annotations=[{"visible": True, **note} for note in words],
        xaxis=theme.hidden_axis(
            range=[-section.pitch / 2, (len(bores) - 0.5) * section.pitch], fixedrange=True
        ),
        yaxis=depths,
        dragmode=False,
    )
    return block.slim(figure, [bore for _, bore in bores], section)


def _bore(m: PartMeasurement) -> BoreNow:
    return BoreNow(
        bore=m.bore,
        part=f"{m.spindle}, {m.gauge}",
        at=m.at,
        stone_set=m.stone_set,
        um=m.um,
        features=m.features,
        verdict=m.verdict,
        flags=m.flags,
        parts=(),
        ats=(),
        stone_sets=(),
        least_um=NOTHING,
        greatest_um=NOTHING,
        average_um=NOTHING,
        verdicts=(),
    )


def rows(story: PartStory) -> dict[str, Sequence[Any]]:
    """Return every reading of every measurement, one row each."""
    found = [
        (*_who(m), plane, direction, float(m.um[p, d]), m.verdict.value, "yes" if m.charted else "no")
        for m in story.measurements
        for p, plane in enumerate(m.planes)
        for d, direction in enumerate(m.directions)
    ]
    names = ("bore", "spindle", "gauge", "measured_at", "stage", "plane", "direction", "deviation_um")
    names += ("verdict", "charted")
    return {name: [row[i] for row in found] for i, name in enumerate(names)}


def _who(m: PartMeasurement) -> tuple[str, ...]:
    return (m.bore, m.spindle, m.gauge, m.at.isoformat(), m.stage)

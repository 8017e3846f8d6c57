"""The physics of a run: every block honed, gauged and fed back, before anything is written down."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cellmon.records import Texts
from cellmon.simulate.clock import Clock, run_clock
from cellmon.simulate.columns import texts
from cellmon.simulate.feedback import Levels, spindle_levels
from cellmon.simulate.scenario import Scenario
from cellmon.simulate.shapes import Shapes, bore_shapes, spindle_means
from cellmon.simulate.sources import Sources
from cellmon.simulate.station import Errors, medians, station_errors


@dataclass(frozen=True, kw_only=True, eq=False)
class Honed:
    """Everything the physics of a run gave, before it is written down."""

    scenario: Scenario
    clock: Clock
    shapes: Shapes
    errors: Errors
    levels: Levels
    true_um: NDArray[np.float64]
    """Shape (n, bores, planes, directions), with the level of the spindle."""
    parts: Texts


def hone(scenario: Scenario, *, sources: Sources) -> Honed:
    """Hone every block of a scenario."""
    clock = run_clock(scenario, sources=sources)
    shapes = bore_shapes(scenario, clock=clock, sources=sources)
    errors = station_errors(scenario, clock=clock, shapes=shapes, sources=sources)
    shown = medians(shapes.um + errors.um) + errors.common_um[:, None]
    seen = spindle_means(shown, scenario) - scenario.bores.target_um
    levels = spindle_levels(scenario, clock=clock, seen_um=seen)
    level = levels.um[np.arange(clock.blocks)[:, None], shapes.honed_by]
    return Honed(
        scenario=scenario,
        clock=clock,
        shapes=shapes,
        errors=errors,
        levels=levels,
        true_um=shapes.um + level[..., None, None],
        parts=texts(scenario.serial.format(scenario.first_serial + i) for i in range(clock.blocks)),
    )

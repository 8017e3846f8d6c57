"""The gauging station: what G1 reads on each bore, and the temperatures beside it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cellmon.records import Numbers, Times
from cellmon.simulate import incidents as plant
from cellmon.simulate.clock import Clock
from cellmon.simulate.moments import SECOND, hour_of_day, inside, seconds, utc, wall
from cellmon.simulate.scenario import Scenario
from cellmon.simulate.shapes import Shapes
from cellmon.simulate.sources import Sources

TRANSIT_S = 150
"""Rinsing and cooling between the spindle and the gauge."""
BORE_S = 3
"""From one bore to the next in the gauge."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Errors:
    """What the station adds to the true sizes; n blocks, b bores."""

    measured_at: Times
    """Shape (n, b), true time, UTC."""
    part_c: Numbers
    master_c: Numbers
    common_um: Numbers
    """Shape (n,): temperature and zero, shared by all readings of a block."""
    um: NDArray[np.float64]
    """Shape (n, b, planes, directions): noise of each reading, dirt included."""
    dirty: NDArray[np.bool_]
    """The readings under which there was dirt, same shape."""


def station_errors(scenario: Scenario, *, clock: Clock, shapes: Shapes, sources: Sources) -> Errors:
    """Draw the errors of the station for every reading of a run."""
    bores = shapes.um.shape[1]
    delay_s = scenario.cycle_s + TRANSIT_S + BORE_S * np.arange(bores)
    measured = clock.times[:, None] + delay_s * SECOND
    part, master = temperatures(scenario, measured[:, 0])
    gauges = scenario.gauges
    common = gauges.part_um_per_c * (part - gauges.part_zero_c)
    common = common - gauges.master_um_per_c * (master - gauges.master_zero_c)
    for slip in scenario.every(plant.GaugeSlip):
        common = common + np.where(inside(measured[:, 0], slip, scenario.zone), slip.reads_large_um, 0.0)
    noise = gauges.station_sd * sources.of("station").standard_normal(shapes.um.shape)
    dirt = _dirt(scenario, shapes.um.shape, sources)
    return Errors(
        measured_at=measured,
        part_c=part,
        master_c=master,
        common_um=common,
        um=noise + dirt,
        dirty=dirt != 0,
    )


def temperatures(scenario: Scenario, times: Times) -> tuple[Numbers, Numbers]:
    """Return part and master temperature at the given moments, Celsius."""
    gauges = scenario.gauges
    local = wall(times, scenario.zone)
    hour = hour_of_day(local)
    part = gauges.part_zero_c + 0.6 * np.sin(2 * np.pi * (hour - 10) / 24)
    master = gauges.master_zero_c + 0.8 * np.sin(2 * np.pi * (hour - 9) / 24)
    monday = (local.astype("datetime64[D]").astype(np.int64) + 3) % 7 == 0
    for cold in scenario.every(plant.ColdStart):
        since = seconds(times, utc(cold.starts, scenario.zone)) / 60.0
        since = since % (7 * 24 * 60)
        part = part + cold.part_c * np.exp(-since / cold.part_minutes)
        master = master + cold.master_c * np.exp(-since / cold.master_minutes)
    for door in scenario.every(plant.OpenDoor):
        opens = door.starts.hour + door.starts.minute / 60
        near = np.where(monday, 0.0, np.exp(-(((hour - opens) * 60 / door.minutes) ** 2)))
        part, master = part + door.part_c * near, master + door.master_c * near
    return part, master


def _dirt(scenario: Scenario, shape: tuple[int, ...], sources: Sources) -> NDArray[np.float64]:
    found = np.zeros(shape)
    for dirt in scenario.every(plant.Dirt):
        random = sources.of("dirt")
        blocks, bores, planes, directions = shape
        drawn = random.random((blocks, bores, 3))
        hit = drawn[:, :, 0] < 1 / dirt.one_in_bores
        place = (drawn[:, :, 1] * planes * directions).astype(np.int64)
        size = dirt.least_um + (dirt.most_um - dirt.least_um) * drawn[:, :, 2]
        block, bore = np.nonzero(hit)
        where = place[hit]
        found[block, bore, where // directions, where % directions] = size[hit]
    return found


def medians(um: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the median of all readings of each bore; (n, b, planes, directions) in, (n, b) out."""
    flat = np.sort(um.reshape(*um.shape[:2], -1), axis=2)
    size = flat.shape[2]
    middle: NDArray[np.float64] = (flat[:, :, (size - 1) // 2] + flat[:, :, size // 2]) / 2
    return middle

"""What the gauging station writes down: one row per bore, with the columns of the machine beside it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from cellmon.records import Numbers, Readings
from cellmon.simulate import incidents as plant
from cellmon.simulate.columns import named, rounded, same
from cellmon.simulate.honed import Honed
from cellmon.simulate.moments import inside
from cellmon.simulate.sources import Sources


@dataclass(frozen=True, kw_only=True, eq=False)
class Process:
    """The columns of the machine, one row per bore."""

    feed_um: Numbers
    seconds: Numbers
    load_pct: Numbers
    ripple_pct: Numbers


def station_readings(honed: Honed, *, sources: Sources) -> Readings:
    """Return what the gauging station wrote: one row per bore, blocks in order."""
    scenario, shapes, errors = honed.scenario, honed.shapes, honed.errors
    blocks, bores = shapes.honed_by.shape
    size = blocks * bores
    label = _labels(honed)
    process = _process(honed, sources)
    um = rounded(
        honed.true_um + errors.um + errors.common_um[:, None, None, None], scenario.gauges.station_step_um
    )
    times = errors.measured_at + _ahead(honed)
    return Readings(
        planes=scenario.bores.planes,
        directions=scenario.bores.directions,
        part=np.repeat(honed.parts, bores),
        bore=named(scenario.bores.names, np.tile(np.arange(bores), blocks)),
        spindle=named(scenario.spindles, label),
        measured_at=times.ravel(),
        um=um.reshape(size, *um.shape[2:]),
        lines=np.zeros((size, *um.shape[2:]), dtype=np.int64),
        nominal_mm=np.full(size, scenario.bores.nominal_mm),
        repeated_hour=np.zeros(size, dtype=np.bool_),
        gauge=same("G1", size),
        part_number=same(scenario.part_number, size),
        stone_set=named(honed.clock.sets, honed.clock.set_index[np.arange(blocks)[:, None], label]),
        fixture=np.repeat(named(scenario.fixtures, shapes.fixture), bores),
        sequence=np.repeat(np.arange(blocks) + float(scenario.first_serial), bores),
        honed_at=_honed_at(honed).ravel(),
        stage=same("finish", size),
        part_temp_c=np.repeat(rounded(errors.part_c, 0.1), bores),
        master_temp_c=np.repeat(rounded(errors.master_c, 0.1), bores),
        feed_um=process.feed_um,
        cycle_s=process.seconds,
        load_pct=process.load_pct,
        load_ripple_pct=process.ripple_pct,
    )


def _labels(honed: Honed) -> NDArray[np.int64]:
    """Return the spindle that the station writes beside each bore."""
    label = honed.shapes.honed_by.copy()
    names = honed.scenario.bores.names
    for mixed in honed.scenario.every(plant.ExchangedSpindles):
        there = inside(honed.errors.measured_at[:, 0], mixed, honed.scenario.zone)
        one, two = (names.index(b) for b in mixed.bores)
        label[there, one], label[there, two] = label[there, two], label[there, one]
    return label


def _ahead(honed: Honed) -> NDArray[np.timedelta64]:
    times = honed.errors.measured_at
    ahead = np.zeros(times.shape, dtype="timedelta64[us]")
    for clock in honed.scenario.every(plant.ClockAhead):
        ahead[inside(times, clock, honed.scenario.zone)] = np.timedelta64(clock.ahead, "us")
    return ahead


def _honed_at(honed: Honed) -> NDArray[np.datetime64]:
    """Each spindle hones its first bore, the tool moves one pitch, then the second."""
    cycle = honed.scenario.cycle_s
    after = np.array([cycle // 2, cycle, cycle // 2, cycle]).astype("timedelta64[s]")
    found: NDArray[np.datetime64] = honed.clock.times[:, None] + after
    return found


def _process(honed: Honed, sources: Sources) -> Process:
    """Return the columns of the machine: expander position, honing time, load and its ripple."""
    clock, shapes, rules = honed.clock, honed.shapes, honed.scenario.stones
    rows, shape = np.arange(clock.blocks)[:, None], shapes.honed_by.shape
    dull = shapes.since_dress / rules.dress_every_blocks
    wear = clock.since_fit * clock.wear_um_per_block[clock.set_index]
    feed = (wear + honed.levels.um / 2)[rows, shapes.honed_by]
    chipped = np.ones(shape)
    for chip in honed.scenario.every(plant.ChippedStone):
        chipped = np.where(shapes.chipped, chip.ripple, chipped)
    seconds = rules.fresh_s + (rules.dull_s - rules.fresh_s) * dull
    ripple = 3.0 + 0.4 * sources.of("ripple").standard_normal(shape)
    load = 62 - 6 * dull + 1.2 * sources.of("load").standard_normal(shape)
    return Process(
        feed_um=rounded(feed + 0.2 * sources.of("feed").standard_normal(shape), 0.1).ravel(),
        seconds=rounded(seconds + 0.5 * sources.of("cycle").standard_normal(shape), 0.1).ravel(),
        load_pct=rounded(load, 0.1).ravel(),
        ripple_pct=rounded(np.abs(ripple) * chipped, 0.1).ravel(),
    )


def emptied(honed: Honed, whole: Readings, sources: Sources) -> tuple[Readings, NDArray[np.bool_]]:
    """Leave out the readings that never reach the file."""
    empty = np.zeros(whole.um.shape, dtype=np.bool_)
    for rule in honed.scenario.every(plant.EmptyCells):
        empty |= sources.of("empty").random(whole.um.shape) < rule.share
    return replace(whole, um=np.where(empty, np.nan, whole.um)), empty


def repeated_rows(honed: Honed, readings: Readings) -> Readings:
    """Return the bores that are exported twice, a few readings of them changed."""
    chosen = np.zeros(0, dtype=np.int64)
    um = readings.um[chosen]
    for again in honed.scenario.every(plant.RepeatedExport):
        there = np.flatnonzero(inside(readings.measured_at, again, honed.scenario.zone))
        full = there[np.isfinite(readings.um[there]).all(axis=(1, 2))]
        chosen = full[len(full) // 3 :][: again.bores]
        um = readings.um[chosen].copy()
        for i in range(min(again.changed, len(chosen))):
            um[5 * i + 2, i % um.shape[1], i % um.shape[2]] += (1.3, -0.8, 2.1)[i % 3]
    return replace(readings.select(chosen), um=np.round(um, 1))

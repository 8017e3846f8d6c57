"""The hand gauge G2: one block an hour, whole micrometres, and what people do to its sheets."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from cellmon.records import Readings, Times, Whole
from cellmon.simulate import incidents as plant
from cellmon.simulate.clock import end_of
from cellmon.simulate.columns import named, rounded, same
from cellmon.simulate.honed import Honed
from cellmon.simulate.moments import inside, wall, worked_shifts
from cellmon.simulate.run import Word
from cellmon.simulate.sources import Sources
from cellmon.simulate.station import temperatures

BORE_S = 20
"""From one bore to the next by hand."""
LONGEST_WAIT = np.timedelta64(40, "m")
OPERATORS = ("AR", "BK", "CM")
"""Initials of the invented people of the early, late and night shift."""


def hand_audit(honed: Honed, *, sources: Sources) -> tuple[Readings, tuple[Word, ...]]:
    """Return the readings of the hand gauge, and the places where a word stands instead of a size."""
    blocks, at = _chosen(honed)
    clean = _clean(honed, blocks, at, sources)
    spoilt = _turned(honed, _exchanged(honed, clean), sources)
    return _worded(honed, spoilt, sources)


def _chosen(honed: Honed) -> tuple[Whole, Times]:
    """Return the blocks taken from the line, one an hour, and when they were measured."""
    start, end = honed.clock.start, end_of(honed.scenario, honed.clock.start)
    minute = np.timedelta64(honed.scenario.gauges.hand_minute, "m")
    hours = np.arange(start.astype("datetime64[h]"), end, np.timedelta64(1, "h"))
    at = hours.astype("datetime64[us]") + minute.astype("timedelta64[us]")
    done = honed.errors.measured_at[:, -1]
    block = np.searchsorted(done, at) - 1
    there = (block >= 0) & (at - done[np.maximum(block, 0)] < LONGEST_WAIT)
    return block[there].astype(np.int64), at[there]


def _clean(honed: Honed, blocks: Whole, at: Times, sources: Sources) -> Readings:
    scenario, shapes = honed.scenario, honed.shapes
    bores = len(scenario.bores.names)
    size, gauges = len(blocks) * bores, scenario.gauges
    part_c, master_c = temperatures(scenario, at)
    common = gauges.part_um_per_c * (part_c - gauges.part_zero_c)
    common -= gauges.master_um_per_c * (master_c - gauges.master_zero_c)
    true = honed.true_um[blocks]
    um = true + common[:, None, None, None]
    um = um + gauges.hand_sd * sources.of("hand").standard_normal(true.shape)
    honed_by = shapes.honed_by[blocks]
    sets = honed.clock.set_index[blocks[:, None], honed_by]
    moments = at[:, None] + (BORE_S * np.arange(bores)).astype("timedelta64[s]")
    return Readings(
        planes=scenario.bores.planes,
        directions=scenario.bores.directions,
        part=np.repeat(honed.parts[blocks], bores),
        bore=named(scenario.bores.names, np.tile(np.arange(bores), len(blocks))),
        spindle=named(scenario.spindles, honed_by),
        measured_at=moments.ravel(),
        um=rounded(um, gauges.hand_step_um).reshape(size, *um.shape[2:]),
        lines=np.zeros((size, *um.shape[2:]), dtype=np.int64),
        nominal_mm=np.full(size, scenario.bores.nominal_mm),
        repeated_hour=np.zeros(size, dtype=np.bool_),
        gauge=same("G2", size),
        part_number=same(scenario.part_number, size),
        stone_set=named(honed.clock.sets, sets),
        fixture=np.repeat(named(scenario.fixtures, shapes.fixture[blocks]), bores),
        sequence=np.repeat(blocks + float(scenario.first_serial), bores),
        operator=np.repeat(named(OPERATORS, shift_numbers(honed, at)), bores),
        stage=same("finish", size),
        why_measured=same("hourly audit", size),
    )


def shift_numbers(honed: Honed, times: Times) -> NDArray[np.int64]:
    """Return, for each moment, which of the day's shifts it lies in, counted from 0."""
    shifts = worked_shifts(honed.scenario)
    index = np.clip(np.searchsorted(shifts.starts, times, side="right") - 1, 0, None)
    found: NDArray[np.int64] = index % len(honed.scenario.shift_names)
    return found


def _exchanged(honed: Honed, audit: Readings) -> Readings:
    um = audit.um
    for swap in honed.scenario.every(plant.ExchangedPlanes):
        there = inside(audit.measured_at, swap, honed.scenario.zone)
        um = np.where(there[:, None, None], um[:, ::-1, :], um)
    return replace(audit, um=um)


def _turned(honed: Honed, audit: Readings, sources: Sources) -> Readings:
    um = audit.um.copy()
    for turn in honed.scenario.every(plant.DialTurn):
        there = np.flatnonzero(inside(audit.measured_at, turn, honed.scenario.zone))
        if len(there):
            place = sources.of("dial").integers(0, um[0].size)
            um[there[1 % len(there)]].reshape(-1)[place] += turn.turn_um
    return replace(audit, um=um)


def _worded(honed: Honed, audit: Readings, sources: Sources) -> tuple[Readings, tuple[Word, ...]]:
    um, words = audit.um.copy(), []
    local = wall(audit.measured_at, honed.scenario.zone)
    quiet = np.flatnonzero(np.abs(um).max(axis=(1, 2)) < 100)
    for rule in honed.scenario.every(plant.OddWords):
        random = sources.of("words")
        days = np.unique(local[quiet].astype("datetime64[D]"))
        for i, word in enumerate(rule.words):
            of_day = quiet[local[quiet].astype("datetime64[D]") == days[i % len(days)]]
            row = int(of_day[random.integers(len(of_day))])
            plane, direction = (int(random.integers(k)) for k in um.shape[1:])
            um[row, plane, direction] = np.nan
            words.append(Word(row=row, plane=plane, direction=direction, text=word))
    return replace(audit, um=um), tuple(words)

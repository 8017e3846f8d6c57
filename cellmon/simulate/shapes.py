"""The bores as they are: size and shape of each, before any level of its spindle and any gauge."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cellmon.records import Flags, Numbers, Whole
from cellmon.simulate import incidents as plant
from cellmon.simulate.clock import Clock
from cellmon.simulate.moments import inside
from cellmon.simulate.scenario import Scenario
from cellmon.simulate.sources import Sources


@dataclass(frozen=True, kw_only=True, eq=False)
class Shapes:
    """True two-point sizes less the level of the spindle; n blocks, b bores."""

    um: NDArray[np.float64]
    """Shape (n, b, planes, directions): deviation from nominal, micrometres."""
    honed_by: NDArray[np.int64]
    """Shape (n, b): index of the spindle."""
    since_dress: NDArray[np.int64]
    """Shape (n, b): blocks since the stones of that spindle were dressed."""
    fixture: Whole
    """Shape (n,): index of the fixture."""
    three_lobes_um: NDArray[np.float64]
    """Shape (n, b): height of a three-lobed form, invisible in `um`."""
    chipped: Flags
    """Shape (n, b): honed by a chipped stone."""


def bore_shapes(scenario: Scenario, *, clock: Clock, sources: Sources) -> Shapes:
    """Draw the bores of a run."""
    honed_by = _honed_by(scenario, clock)
    rows = np.arange(clock.blocks)[:, None]
    since_dress = clock.since_dress[rows, honed_by]
    chipped, bottom_um, chip_spread = _chip(scenario, clock, honed_by)
    early_spread, early_taper = _break_in(scenario, clock.since_change[rows, honed_by])
    bores = scenario.bores
    dull = 1 + scenario.stones.dull_spread * since_dress / scenario.stones.dress_every_blocks
    own = sources.of("bore").standard_normal(honed_by.shape)
    common = sources.of("block").standard_normal(clock.blocks)[:, None]
    size = bores.target_um + np.array(bores.offset) + bores.common_sd * common
    size = size + bores.bore_sd * own * dull * early_spread * chip_spread
    size = size + _dress_step(scenario, since_dress, clock, honed_by)
    taper = _form("taper", bores.taper, bores.taper_sd * chip_spread, sources, clock.blocks) + early_taper
    barrel = _form("barrel", bores.barrel, np.full_like(own, bores.barrel_sd), sources, clock.blocks)
    ovality = _form("ovality", bores.ovality, bores.ovality_sd * chip_spread, sources, clock.blocks)
    fixture = np.arange(clock.blocks, dtype=np.int64) % len(scenario.fixtures)
    ovality += _strain(scenario, clock, fixture)
    um = _readings_of(size, taper, barrel, ovality)
    um[:, :, -1, :] += bottom_um[:, :, None]
    um += bores.form_sd * sources.of("form").standard_normal(um.shape)
    return Shapes(
        um=um,
        honed_by=honed_by,
        since_dress=since_dress,
        fixture=fixture,
        three_lobes_um=_three_lobes(scenario, clock),
        chipped=chipped,
    )


def _form(
    name: str, means: tuple[float, ...], sd: NDArray[np.float64], sources: Sources, blocks: int
) -> NDArray[np.float64]:
    drawn: NDArray[np.float64] = np.array(means) + sd * sources.of(name).standard_normal((blocks, len(means)))
    return drawn


def _readings_of(
    size: NDArray[np.float64],
    taper: NDArray[np.float64],
    barrel: NDArray[np.float64],
    ovality: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Lay size and form over three planes and two directions, so that their mean is the size."""
    planes = np.stack(
        [size + taper / 2 - barrel / 3, size + 2 * barrel / 3, size - taper / 2 - barrel / 3], axis=-1
    )
    return np.stack([planes + ovality[..., None] / 2, planes - ovality[..., None] / 2], axis=-1)


def _honed_by(scenario: Scenario, clock: Clock) -> NDArray[np.int64]:
    found = np.tile(np.array(scenario.spindle_of, dtype=np.int64), (clock.blocks, 1))
    for reroute in scenario.every(plant.Reroute):
        there = inside(clock.times, reroute, scenario.zone)
        bores = np.array([scenario.bores.names.index(b) for b in reroute.bores])
        found[np.ix_(np.flatnonzero(there), bores)] = scenario.spindles.index(reroute.spindle)
    return found


def _dress_step(
    scenario: Scenario, since_dress: NDArray[np.int64], clock: Clock, honed_by: NDArray[np.int64]
) -> NDArray[np.float64]:
    """Return the extra size of the first blocks after a dressing; a new set has a break-in instead."""
    rules = scenario.stones
    rows = np.arange(clock.blocks)[:, None]
    dressed = clock.since_change[rows, honed_by] > since_dress
    step: NDArray[np.float64] = np.where(
        dressed, rules.dress_step_um * np.exp(-since_dress / rules.dress_step_blocks), 0.0
    )
    return step


def _break_in(
    scenario: Scenario, since_change: NDArray[np.int64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    spread, taper = np.ones(since_change.shape), np.zeros(since_change.shape)
    for rule in scenario.every(plant.BreakIn):
        early = since_change < rule.blocks
        spread = np.where(early, rule.spread, 1.0)
        taper = np.where(early, rule.taper_um * np.exp(-since_change / rule.taper_blocks), 0.0)
    return spread, taper


def _chip(
    scenario: Scenario, clock: Clock, honed_by: NDArray[np.int64]
) -> tuple[Flags, NDArray[np.float64], NDArray[np.float64]]:
    chipped = np.zeros(honed_by.shape, dtype=np.bool_)
    bottom, spread = np.zeros(honed_by.shape), np.ones(honed_by.shape)
    for chip in scenario.every(plant.ChippedStone):
        there = inside(clock.times, chip, scenario.zone)[:, None]
        there = there & (honed_by == scenario.spindles.index(chip.spindle))
        chipped |= there
        bottom += np.where(there, chip.bottom_um, 0.0)
        spread = np.where(there, spread * chip.spread, spread)
    return chipped, bottom, spread


def _strain(scenario: Scenario, clock: Clock, fixture: Whole) -> NDArray[np.float64]:
    extra = np.zeros((clock.blocks, len(scenario.bores.names)))
    for strain in scenario.every(plant.ClampStrain):
        there = inside(clock.times, strain, scenario.zone)
        there &= fixture == scenario.fixtures.index(strain.fixture)
        extra[there, scenario.bores.names.index(strain.bore)] += strain.ovality_um
    return extra


def _three_lobes(scenario: Scenario, clock: Clock) -> NDArray[np.float64]:
    height = np.zeros((clock.blocks, len(scenario.bores.names)))
    for lobes in scenario.every(plant.ThreeLobes):
        there = inside(clock.times, lobes, scenario.zone)
        bores = np.array([scenario.bores.names.index(b) for b in lobes.bores])
        height[np.ix_(np.flatnonzero(there), bores)] = lobes.roundness_um
    return height


def spindle_means(values: Numbers, scenario: Scenario) -> NDArray[np.float64]:
    """Return the mean over each spindle's own bores; shape (n, b) in, (n, spindles) out."""
    own = np.array(scenario.spindle_of)
    return np.stack([values[:, own == s].mean(axis=1) for s in range(len(scenario.spindles))], axis=1)

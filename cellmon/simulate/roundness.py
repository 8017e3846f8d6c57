"""The roundness instrument R1 and the texture bench: one block per spindle and shift."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cellmon.records import Characteristics, Findings, Times, TracePoints, Whole
from cellmon.simulate import incidents as plant
from cellmon.simulate.audits import OPERATORS, shift_numbers
from cellmon.simulate.columns import named, numbers, rounded, same, texts, times
from cellmon.simulate.honed import Honed
from cellmon.simulate.moments import utc, worked_shifts
from cellmon.simulate.sources import Sources

POINTS = 360
LOBES = np.arange(4, 16)
"""Random waves around a bore; three lobes come only where they are planted."""
FILTER_UPR = 50.0
BORE_MINUTES = 4
TRACED = ("roundness_trace", "cylindricity")


@dataclass(frozen=True, kw_only=True, eq=False)
class Instrument:
    """What the roundness instrument and the texture bench wrote."""

    characteristics: Characteristics
    findings: Findings
    traces: TracePoints


def roundness_audit(honed: Honed, *, sources: Sources) -> Instrument:
    """Measure the last block before the middle of each shift."""
    middles = worked_shifts(honed.scenario).middles
    blocks = np.searchsorted(honed.errors.measured_at[:, -1], middles) - 1
    there = blocks >= 0
    blocks, middles = blocks[there].astype(np.int64), middles[there]
    bores = len(honed.scenario.bores.names)
    at = middles[:, None] + (BORE_MINUTES * np.arange(bores)).astype("timedelta64[m]")
    radius = _traces(honed, blocks, sources)
    return Instrument(
        characteristics=_characteristics(honed, blocks, at, radius, sources),
        findings=_findings(honed),
        traces=_kept(honed, blocks, at, radius),
    )


def _traces(honed: Honed, blocks: Whole, sources: Sources) -> NDArray[np.float64]:
    """Return radii of the audited bores, shape (blocks, bores, planes, points), micrometres."""
    um = honed.true_um[blocks]
    random = sources.of("traces")
    angle = 2 * np.pi * np.arange(POINTS) / POINTS
    size, oval = um.mean(axis=3), um[..., 0] - um[..., 1]
    radius = size[..., None] / 2 + oval[..., None] / 4 * np.cos(2 * angle)
    waves = 0.12 * random.standard_normal((*size.shape, len(LOBES), 2)) / np.sqrt(LOBES / 2)[:, None]
    radius = radius + waves[..., 0] @ np.cos(np.outer(LOBES, angle))
    radius = radius + waves[..., 1] @ np.sin(np.outer(LOBES, angle))
    height = honed.shapes.three_lobes_um[blocks]
    turn = random.random(height.shape) * 2 * np.pi
    radius += (height / 2)[..., None, None] * np.cos(3 * angle + turn[..., None, None])
    found: NDArray[np.float64] = radius + 0.05 * random.standard_normal(radius.shape)
    return rounded(found, 0.001)


def trace_height(radius: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the height of each trace about its least-squares circle, Gaussian filter 50 upr.

    For small deviations that circle takes out the mean and the first harmonic; the Gaussian passes
    half the amplitude at its cut-off.
    """
    height: NDArray[np.float64] = np.ptp(_filtered(radius, first=2), axis=-1)
    return height


def _filtered(radius: NDArray[np.float64], *, first: int) -> NDArray[np.float64]:
    waves = np.fft.rfft(radius, axis=-1)
    order = np.arange(waves.shape[-1])
    passed = np.exp2(-((order / FILTER_UPR) ** 2))
    passed[1:first] = 0.0
    if first > 0:
        passed[0] = 0.0
    found: NDArray[np.float64] = np.fft.irfft(waves * passed, n=radius.shape[-1], axis=-1)
    return found


def _cylinder_height(radius: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return how far the traces of each bore reach from their common cylinder, inner to outer."""
    level = radius.mean(axis=-1)
    about = _filtered(radius, first=2) + (level - level.mean(axis=-1, keepdims=True))[..., None]
    height: NDArray[np.float64] = np.ptp(about.reshape(*about.shape[:-2], -1), axis=-1)
    return height


def _characteristics(
    honed: Honed, blocks: Whole, at: Times, radius: NDArray[np.float64], sources: Sources
) -> Characteristics:
    random, shape = sources.of("texture"), at.shape
    dull = honed.shapes.since_dress[blocks] / honed.scenario.stones.dress_every_blocks
    noise = random.standard_normal((4, *shape))
    columns = {
        ("roundness_trace", "um", "R1"): trace_height(radius).max(axis=-1),
        ("cylindricity", "um", "R1"): _cylinder_height(radius),
        ("crosshatch_included", "deg", None): 45 + 1.6 * noise[0],
        ("Rpk", "um", None): 0.28 * (1 - 0.2 * dull) * (1 + 0.12 * noise[1]),
        ("Rk", "um", None): 0.85 * (1 - 0.2 * dull) * (1 + 0.08 * noise[2]),
        ("Rvk", "um", None): 1.80 * (1 + 0.08 * noise[3]),
    }
    size, kinds = at.size, len(columns)
    names, units, gauges = zip(*columns, strict=True)
    bores = len(honed.scenario.bores.names)
    texture = np.tile([name.startswith("R") for name in names], size)
    return Characteristics(
        part=np.repeat(honed.parts[blocks], bores * kinds),
        bore=np.repeat(named(honed.scenario.bores.names, np.tile(np.arange(bores), len(blocks))), kinds),
        characteristic=np.tile(texts(names), size),
        value=rounded(np.stack(list(columns.values()), axis=-1).ravel(), 0.01),
        at=np.repeat(at.ravel(), kinds),
        unit=np.tile(texts(units), size),
        spindle=np.repeat(named(honed.scenario.spindles, honed.shapes.honed_by[blocks]), kinds),
        gauge=np.tile(texts(gauges), size),
        cutoff_mm=np.where(texture, 0.8, np.nan),
        filter=texts("gaussian 50 upr" if n in TRACED else None for n in names * size),
        by=np.repeat(named(OPERATORS, shift_numbers(honed, at.ravel())), kinds),
    )


def _kept(honed: Honed, blocks: Whole, at: Times, radius: NDArray[np.float64]) -> TracePoints:
    """Keep the audits of one ordinary shift and of those with three lobes, to stay small."""
    lobed = honed.shapes.three_lobes_um[blocks] > 0
    keep = lobed.copy()
    keep[0] = True
    for strain in honed.scenario.every(plant.ClampStrain):
        first = int(np.searchsorted(at[:, 0], utc(strain.starts, honed.scenario.zone)))
        if first < len(keep):
            keep[first, honed.scenario.bores.names.index(strain.bore)] = True
    block, bore = np.nonzero(keep)
    planes = honed.scenario.bores.planes
    each = len(planes) * POINTS
    return TracePoints(
        part=np.repeat(honed.parts[blocks[block]], each),
        bore=np.repeat(named(honed.scenario.bores.names, bore), each),
        plane=np.tile(np.repeat(texts(planes), POINTS), len(bore)),
        angle_deg=np.tile(np.arange(POINTS, dtype=np.float64), len(bore) * len(planes)),
        radius_um=radius[block, bore].ravel(),
        spindle=np.repeat(named(honed.scenario.spindles, honed.shapes.honed_by[blocks[block], bore]), each),
        at=np.repeat(at[block, bore], each),
        gauge=same("R1", len(bore) * each),
    )


def _findings(honed: Honed) -> Findings:
    """Return scratches in the last blocks of a chipped stone, and one pore nobody planted."""
    block, bore = np.nonzero(honed.shapes.chipped)
    last = block >= (block.max() - 4 if len(block) else 0)
    block, bore = block[last], bore[last]
    size = len(block) + 1
    block, bore = np.append(block, 100), np.append(bore, 1)
    minutes = np.timedelta64(45, "m")
    at = times(honed.clock.times[block] + minutes)
    return Findings(
        part=honed.parts[block],
        bore=named(honed.scenario.bores.names, bore),
        at=at,
        finding=texts(["scratch"] * (size - 1) + ["pore"]),
        count=numbers([1.0 + i % 3 for i in range(size - 1)] + [1.0]),
        plane=texts(["bottom"] * (size - 1) + ["middle"]),
        spindle=named(honed.scenario.spindles, honed.shapes.honed_by[block, bore]),
        by=named(OPERATORS, shift_numbers(honed, at)),
    )

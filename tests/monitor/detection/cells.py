"""Plain cells that owe nothing to the demonstration: spindles, bores, wear, and faults laid on them.

Figures of size are micrometres. Blocks run without a stop, one every `cycle_s`, in three shifts a day.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from cellmon.records import Texts, Times
from tests.monitor.detection.truth import LEVEL, SPREAD, Fault, Scope, Truth

NOMINAL_MM = 50.0
NOMINAL_UM = NOMINAL_MM * 1000
START = np.datetime64("2026-03-02T05:00:00", "us")
"""A Monday, 06:00 in the cell's zone."""
SECOND = np.timedelta64(1_000_000, "us")
SHIFT_S = 8 * 3600
WEEK_S = 7 * 24 * 3600
PLANES, DIRECTIONS = ("top", "middle", "bottom"), ("x", "y")
TAIL = 2
"""Subgroups after its end in which a fault may still be raised."""

Kind = Literal["step", "drift", "spread", "taper", "ovality"]
FEATURES: dict[Kind, dict[str, tuple[str, ...]]] = {
    "step": {"diameter": LEVEL},
    "drift": {"diameter": LEVEL},
    "spread": {"diameter": SPREAD},
    "taper": {"taper": LEVEL, "size_range": LEVEL},
    "ovality": {"ovality": LEVEL, "roundness": LEVEL, "size_range": LEVEL},
}


@dataclass(frozen=True, kw_only=True)
class Planned:
    """One fault: from block `start` until before block `until`, on one bore, one spindle or all.

    `size` is micrometres for step, taper and ovality, micrometres a block for drift, the factor on the
    bore's own spread for spread. With `bore` None it is the whole spindle, with both None the cell.
    """

    kind: Kind
    start: int
    until: int
    size: float
    spindle: str | None = None
    bore: str | None = None


@dataclass(frozen=True, kw_only=True)
class Wear:
    """A sawtooth: size falls with every bore, a compensation is logged, a dressing ends an interval."""

    um_per_block: float = 0.03
    slope_sd: float = 0.25
    """Of the slope between dressing intervals, as a share of it."""
    level_sd: float = 1.0
    """Of the level after a dressing."""
    dress_every_blocks: int = 300
    compensate_at_um: float = 3.0
    """What is known of the fall so far, at which an offset of that size is made and logged."""
    unlogged_sd: float = 0.15
    """The part of an offset that takes effect and is not in the log, in micrometres."""


@dataclass(frozen=True, kw_only=True)
class CellPlan:
    """Everything a plain cell follows from, but for the seed."""

    spindles: dict[str, tuple[str, ...]] = field(default_factory=lambda: {"S1": ("1", "2"), "S2": ("3", "4")})
    blocks: int = 3000
    cycle_s: int = 90
    block_sd: float = 0.7
    bore_sd: float = 1.4
    taper_sd: float = 0.9
    barrel_sd: float = 0.6
    ovality_sd: float = 0.9
    reading_sd: float = 0.3
    resolution_um: float = 0.1
    wear: Wear | None = None
    faults: tuple[Planned, ...] = ()
    false_alarms_per_week: float = 2.0
    subgroup: int = 5

    @property
    def bores(self) -> tuple[str, ...]:
        """All bores of a block, in order."""
        return tuple(bore for own in self.spindles.values() for bore in own)

    @property
    def spindle_of(self) -> tuple[str, ...]:
        """The spindle of each of `bores`."""
        return tuple(spindle for spindle, own in self.spindles.items() for _ in own)


@dataclass(frozen=True, kw_only=True)
class Logged:
    """One line of the log."""

    block: int
    event: Literal["stones-fitted", "stones-dressed", "feed-offset"]
    spindle: str
    value: float = float("nan")


@dataclass(frozen=True, kw_only=True, eq=False)
class Made:
    """A cell as it came out.

    `um` has shape (blocks, bores, planes, directions), rounded as the gauge shows it; `level_um`, shape
    (blocks, bores), is the true size less all that varies from block to block and bore to bore.
    """

    plan: CellPlan
    parts: Texts
    times: Times
    um: NDArray[np.float64]
    level_um: NDArray[np.float64]
    log: tuple[Logged, ...]


def make(plan: CellPlan, *, seed: int) -> Made:
    """Draw a cell; a fault taken out leaves every random number as it was."""
    random = np.random.default_rng(seed)
    level, log = _wear(plan, random)
    shape = (plan.blocks, len(plan.bores))
    common = plan.block_sd * random.standard_normal((plan.blocks, 1))
    own = plan.bore_sd * random.standard_normal(shape)
    taper = plan.taper_sd * random.standard_normal(shape)
    barrel = plan.barrel_sd * random.standard_normal(shape)
    ovality = plan.ovality_sd * random.standard_normal(shape)
    for fault in plan.faults:
        there = touched(plan, fault)
        blocks = np.arange(plan.blocks)[:, None]
        if fault.kind == "step":
            level = level + there * fault.size
        elif fault.kind == "drift":
            level = level + there * fault.size * (blocks - fault.start + 1)
        elif fault.kind == "spread":
            own = np.where(there, own * fault.size, own)
        elif fault.kind == "taper":
            taper = taper + there * fault.size
        else:
            ovality = ovality + there * fault.size
    um = _readings(level + common + own, taper, barrel, ovality)
    um = um + plan.reading_sd * random.standard_normal(um.shape)
    return Made(
        plan=plan,
        parts=np.array([f"C{i:06d}" for i in range(plan.blocks)], dtype=object),
        times=START + np.arange(plan.blocks) * plan.cycle_s * SECOND,
        um=np.round(np.round(um / plan.resolution_um) * plan.resolution_um, 6),
        level_um=level,
        log=log,
    )


def touched(plan: CellPlan, fault: Planned) -> NDArray[np.bool_]:
    """Return which bores of which blocks a fault touches, shape (blocks, bores)."""
    bores = [
        fault.bore in (None, bore) and fault.spindle in (None, spindle)
        for bore, spindle in zip(plan.bores, plan.spindle_of, strict=True)
    ]
    blocks = np.arange(plan.blocks)
    found: NDArray[np.bool_] = ((blocks >= fault.start) & (blocks < fault.until))[:, None] & np.array(bores)
    return found


def _wear(plan: CellPlan, random: np.random.Generator) -> tuple[NDArray[np.float64], tuple[Logged, ...]]:
    """Return the level of every bore, shape (blocks, bores), and what was logged of it."""
    level = np.zeros((plan.blocks, len(plan.bores)))
    log = [Logged(block=0, event="stones-fitted", spindle=s, value=0.0) for s in plan.spindles]
    if plan.wear is None:
        return level, tuple(log)
    for number, spindle in enumerate(plan.spindles):
        column, lines = _sawtooth(plan, plan.wear, spindle, number, random)
        level[:, [s == spindle for s in plan.spindle_of]] = column[:, None]
        log += lines
    return level, tuple(sorted(log, key=lambda line: line.block))


def _sawtooth(
    plan: CellPlan, wear: Wear, spindle: str, number: int, random: np.random.Generator
) -> tuple[NDArray[np.float64], list[Logged]]:
    """Run the dressing intervals of one spindle; those of the next are shifted by a third."""
    column, log = np.zeros(plan.blocks), []
    first = wear.dress_every_blocks - number * (wear.dress_every_blocks // 3)
    edges = [0, *range(first, plan.blocks, wear.dress_every_blocks), plan.blocks]
    offset_every = max(round(wear.compensate_at_um / wear.um_per_block), 1)
    for begin, end in pairwise(edges):
        if begin:
            log.append(Logged(block=begin, event="stones-dressed", spindle=spindle))
        slope = wear.um_per_block * (1 + wear.slope_sd * random.standard_normal())
        since = np.arange(end - begin)
        column[begin:end] = wear.level_sd * random.standard_normal() - slope * since
        for made in range(offset_every, end - begin, offset_every):
            unlogged = wear.unlogged_sd * random.standard_normal()
            column[begin + made : end] += wear.compensate_at_um + unlogged
            value = wear.compensate_at_um
            log.append(Logged(block=begin + made, event="feed-offset", spindle=spindle, value=value))
    return column, log


def _readings(
    size: NDArray[np.float64],
    taper: NDArray[np.float64],
    barrel: NDArray[np.float64],
    ovality: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Lay size and form over three planes and two directions, so that their mean is the size."""
    planes = [size + taper / 2 - barrel / 3, size + 2 * barrel / 3, size - taper / 2 - barrel / 3]
    mean = np.stack(planes, axis=-1)
    return np.stack([mean + ovality[..., None] / 2, mean - ovality[..., None] / 2], axis=-1)


def cell_truth(made: Made) -> Truth:
    """Return what a score needs to know of a cell."""
    plan = made.plan
    return Truth(
        parts=made.parts,
        measured_at=made.times,
        faults=tuple(_fault(made, i, fault) for i, fault in enumerate(plan.faults)),
        bores=len(plan.bores),
        weeks=plan.blocks * plan.cycle_s / WEEK_S,
    )


def _fault(made: Made, number: int, fault: Planned) -> Fault:
    plan = made.plan
    there = touched(plan, fault)
    blocks = np.flatnonzero(there.any(axis=1))
    hit: NDArray[np.bool_] = np.logical_or.reduce(there, axis=0)
    bores = tuple(b for b, is_hit in zip(plan.bores, hit.tolist(), strict=True) if is_hit)
    spindles = tuple(s for s in plan.spindles if set(plan.spindles[s]) & set(bores))
    whole = fault.bore is None or all(plan.spindles[s] == bores for s in spindles)
    scope = Scope(
        spindles=spindles,
        bores=bores,
        features=FEATURES[fault.kind],
        own_kinds=("gauge",) if len(bores) == len(plan.bores) and fault.kind == "step" else (),
        whole_spindle=whole,
        everything=len(bores) == len(plan.bores),
    )
    return Fault(
        name=f"{fault.kind}-{number}",
        starts=made.times[blocks[0]],
        ends=made.times[blocks[-1]],
        tail=TAIL * plan.subgroup * plan.cycle_s * SECOND,
        parts=tuple(made.parts[blocks]),
        scope=scope,
        causes=(),
        size=fault.size,
    )


CALM = CellPlan()
"""Two spindles with two bores each, 3000 blocks (three days), nothing wrong."""

CELLS: dict[str, CellPlan] = {
    "calm": CALM,
    "one spindle, one bore": replace(CALM, spindles={"S1": ("1",)}, cycle_s=60),
    "three spindles": replace(CALM, spindles={"S1": ("1",), "S2": ("2", "3"), "S3": ("4",)}, cycle_s=120),
    "coarse gauge": replace(CALM, resolution_um=1.0),
    "no block component": replace(CALM, block_sd=0.0),
    "wear": replace(CALM, wear=Wear()),
    "step, one bore": replace(
        CALM, faults=(Planned(kind="step", start=1500, until=1800, size=1.5, spindle="S1", bore="2"),)
    ),
    "step, one spindle": replace(
        CALM, faults=(Planned(kind="step", start=1500, until=1800, size=1.5, spindle="S2"),)
    ),
    "step, all": replace(CALM, faults=(Planned(kind="step", start=1500, until=1800, size=1.0),)),
    "drift, one spindle": replace(
        CALM, faults=(Planned(kind="drift", start=1500, until=1900, size=0.01, spindle="S1"),)
    ),
    "drift on wear": replace(
        CALM,
        wear=Wear(),
        blocks=6000,
        faults=(Planned(kind="drift", start=4530, until=4790, size=-0.03, spindle="S1"),),
    ),
    "spread, one bore": replace(
        CALM, faults=(Planned(kind="spread", start=1500, until=1900, size=1.6, spindle="S1", bore="1"),)
    ),
    "taper, one spindle": replace(
        CALM, faults=(Planned(kind="taper", start=1500, until=1800, size=1.2, spindle="S2"),)
    ),
    "ovality, one bore": replace(
        CALM, faults=(Planned(kind="ovality", start=1500, until=1800, size=1.2, spindle="S2", bore="3"),)
    ),
}
"""Cells by name, for tuning: no figure of them is one of the demonstration's."""

"""Lives of stone sets: those of the run and ten before it, measured as they wore down."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from cellmon.records import StoneMeasurements, StoneSets, Times
from cellmon.simulate.clock import run_clock
from cellmon.simulate.columns import numbers, same, texts, times
from cellmon.simulate.events import Entry
from cellmon.simulate.honed import Honed
from cellmon.simulate.moments import moment
from cellmon.simulate.scenario import Stones
from cellmon.simulate.sources import Sources

EARLIER_SETS = 10
EARLIER_WEEKS = 8
CHIPPED_EARLY = 5
"""Which of the earlier sets, counted from 0, lost a piece at a third of its life."""
POSITIONS = ("top", "middle", "bottom")
UNEVEN = np.array([0.995, 1.0, 1.012])
"""Wear along a stone against its middle."""
PATH_SD = 0.02
"""Spread of a set's wear path at the end of its life, as a share of the depth."""
MEASURING_SD_MM = 0.002


@dataclass(frozen=True, kw_only=True)
class SetUse:
    """One stone set on one spindle: when it was measured, and how many bores it had honed by then."""

    stone_set: str
    spindle: str
    factor: float
    at: tuple[np.datetime64, ...]
    bores: tuple[int, ...]
    ended: str | None
    """'worn' or 'chipped'; None while it is in use at the end of the run."""
    before_run: int
    """How many of the measurements lie before the run."""


def set_uses(honed: Honed, *, sources: Sources) -> tuple[SetUse, ...]:
    """Return the lives of ten earlier sets and of the sets of the run."""
    past = _past_times(honed)
    random = sources.of("earlier sets")
    return (*_earlier(honed, past, random), *_of_run(honed, past))


def _past_times(honed: Honed) -> Times:
    """Return when the blocks of the weeks before the run were honed."""
    scenario = honed.scenario
    weeks = np.timedelta64(7 * EARLIER_WEEKS, "D")
    before = replace(
        scenario,
        starts=scenario.starts - weeks.item(),
        weeks=EARLIER_WEEKS,
        stones=Stones(),
        faults=(),
        decoys=(),
        plants=(),
    )
    return run_clock(before, sources=Sources(seed=0)).times


def _earlier(honed: Honed, past: Times, random: np.random.Generator) -> Iterator[SetUse]:
    """Yield the earlier sets, laid end to end backwards from those in use at the start."""
    rules = honed.scenario.stones
    ends = {s.spindle: len(past) - s.used_blocks for s in rules.in_use}
    first = int(rules.in_use[0].stone_set.split("-")[1]) - EARLIER_SETS
    found = []
    for i in reversed(range(EARLIER_SETS)):
        spindle = honed.scenario.spindles[i % 2]
        factor = float(np.clip(1 + rules.wear_sd_between_sets * random.standard_normal(), 0.6, 1.5))
        whole = rules.life_blocks / factor / UNEVEN.max()
        blocks = int(whole * (0.34 if i == CHIPPED_EARLY else 0.985))
        end, begin = ends[spindle], ends[spindle] - blocks
        shares = np.linspace(0, 1, 4 if i == CHIPPED_EARLY else 9)
        index = np.round(begin + shares * (end - 1 - begin)).astype(int)
        ends[spindle] = begin
        found.append(
            SetUse(
                stone_set=f"FS-{first + i}",
                spindle=spindle,
                factor=factor,
                at=tuple(past[index]),
                bores=tuple(int(2 * k) for k in index - begin),
                ended="chipped" if i == CHIPPED_EARLY else "worn",
                before_run=len(index),
            )
        )
    return reversed(found)


def _of_run(honed: Honed, past: Times) -> Iterator[SetUse]:
    """Yield the sets of the run, measured when fitted, at every second dressing and when removed."""
    clock, scenario = honed.clock, honed.scenario
    ends = {c.removed: c for c in clock.changes}
    begins = {c.fitted: c for c in clock.changes}
    in_use = {s.stone_set: s for s in scenario.stones.in_use}
    for index, name in enumerate(clock.sets):
        marks: list[tuple[np.datetime64, int]] = []
        if name in in_use:
            used = in_use[name].used_blocks
            marks = [(past[len(past) - used + k], 2 * k) for k in (0, used // 2)]
            spindle, before = scenario.spindles.index(in_use[name].spindle), len(marks)
        else:
            spindle, before = begins[name].spindle, 0
            marks = [(moment(clock.start, begins[name].fitted_s), 0)]
        dressed = [d for d in clock.dressings if d.spindle == spindle and d.block < clock.blocks]
        own = [d for d in dressed if clock.set_index[d.block, spindle] == index][::2]
        marks += [(moment(clock.start, d.at_s), 2 * int(clock.since_fit[d.block, spindle])) for d in own]
        if name in ends:
            marks.append((moment(clock.start, ends[name].removed_s), 2 * ends[name].honed_blocks))
        yield SetUse(
            stone_set=name,
            spindle=scenario.spindles[spindle],
            factor=float(clock.wear_um_per_block[index]) / (2 * scenario.stones.wear_um_per_bore),
            at=tuple(at for at, _ in marks),
            bores=tuple(bores for _, bores in marks),
            ended=ends[name].why if name in ends else None,
            before_run=before,
        )


def stone_measurements(honed: Honed, uses: Sequence[SetUse], *, sources: Sources) -> StoneMeasurements:
    """Return thicknesses: every stone at three positions at each measurement of its set."""
    rules = honed.scenario.stones
    random = sources.of("thickness")
    thickness = [_thickness(rules, use, random) for use in uses]
    marks = [(use, at, number) for use in uses for number, at in enumerate(use.at)]
    each, places = rules.per_set * len(POSITIONS), len(marks)
    return StoneMeasurements(
        at=np.repeat(times(at for _, at, _ in marks), each),
        stone_set=np.repeat(texts(use.stone_set for use, _, _ in marks), each),
        stone=np.tile(np.repeat(texts(str(i + 1) for i in range(rules.per_set)), len(POSITIONS)), places),
        position=np.tile(texts(POSITIONS), places * rules.per_set),
        thickness_mm=np.concatenate([t.ravel() for t in thickness]),
        holder=np.tile(np.repeat(texts("abcd"[i % 4] for i in range(rules.per_set)), 3), places),
        round=np.repeat(numbers(float(number) for _, _, number in marks), each),
        by=same("setter", places * each),
    )


def _thickness(rules: Stones, use: SetUse, random: np.random.Generator) -> NDArray[np.float64]:
    """Return thickness in mm, shape (measurements, stones, positions)."""
    bores = np.array(use.bores, dtype=np.float64)
    depth_um = (rules.new_mm - rules.least_mm) * 1000
    share = np.diff(bores, prepend=0.0) * rules.wear_um_per_bore / depth_um
    path = PATH_SD * depth_um * np.cumsum(np.sqrt(share) * random.standard_normal(len(bores)))
    mean_um = bores * rules.wear_um_per_bore * use.factor + np.where(bores > 0, path, 0.0)
    stones = 1 + 0.004 * random.standard_normal(rules.per_set)
    worn = mean_um[:, None, None] * stones[:, None] * UNEVEN
    new = rules.new_mm + 0.003 * random.standard_normal((1, rules.per_set, 1))
    mm = new - worn / 1000 + MEASURING_SD_MM * random.standard_normal(worn.shape)
    if use.ended == "chipped":
        mm[-1, 2, 2] -= 0.35  # a piece of the third stone is gone at its lower end
    found: NDArray[np.float64] = np.round(mm, 3)
    return found


def stone_sets(honed: Honed, uses: Sequence[SetUse]) -> StoneSets:
    """Return the sets as they were received."""
    rules = honed.scenario.stones
    weeks = np.timedelta64(21, "D").astype("timedelta64[us]")
    return StoneSets(
        stone_set=texts(use.stone_set for use in uses),
        kind=same(rules.kind, len(uses)),
        maker=same("first supplier", len(uses)),
        lot=texts(f"L-{2207 + 4 * (i // 4)}" for i in range(len(uses))),
        price=np.full(len(uses), rules.set_price),
        received_at=times(min(use.at) - weeks for use in uses),
        bores_before=np.zeros(len(uses)),
    )


def use_events(honed: Honed, uses: Sequence[SetUse]) -> Iterator[Entry]:
    """Yield what the log says of stones before the run.

    A set that was taken out to be measured is fitted again with the bores it had honed, so that the
    log alone tells wear against bores.
    """
    pause = np.timedelta64(10, "m")
    for use in uses:
        last = len(use.at) - 1
        for i in range(use.before_run):
            common = {"spindle": use.spindle, "stone_set": use.stone_set}
            ends = i == last and use.ended is not None
            if i > 0:
                note = use.ended if ends else "other: taken out to be measured"
                yield Entry(
                    at=use.at[i],
                    event="stones-removed",
                    value=float(use.bores[i]),
                    by="setter",
                    note=note,
                    **common,
                )
            if not ends:
                yield Entry(
                    at=use.at[i] + (pause if i else np.timedelta64(0, "m")),
                    event="stones-fitted",
                    value=float(use.bores[i]),
                    kind=honed.scenario.stones.kind,
                    by="setter",
                    **common,
                )

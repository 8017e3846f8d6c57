"""Every set as a falling line: thickness left over bores honed, its dressings, and its fan of futures."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from cellmon.monitor.stones.kinds import KindKnown, SetLife
from cellmon.monitor.stones.log import Stay
from cellmon.monitor.stones.measured import Rounds
from cellmon.monitor.stones.now import Received, StonesNow
from cellmon.monitor.stones.sets import State, state_of
from cellmon.monitor.stones.when import clock_of
from cellmon.stones.wear import Jump, SetWear
from cellmon.words import say

Floats = NDArray[np.float64]

LEVELS = 6
"""Levels at which the fan is worked out, from what is left by now to the least usable thickness."""
SURE_90 = 1.6449


@dataclass(frozen=True, kw_only=True)
class LinePoint:
    """One measured round: what is left at the thinnest place, over the least usable."""

    at: datetime
    bores: float
    left_um: float
    half_um: float | None
    """Readings repeat to so much to each side (90 %); None where that is not known."""
    worn_um: float
    """Mean wear of the set since the round before."""
    jump: str | None


@dataclass(frozen=True, kw_only=True)
class LineMark:
    """A dressing, where it stands on the line."""

    at: datetime
    bores: float
    left_um: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Dressed:
    """All dressings of a set, where they stand on its line; shape (dressings,)."""

    at: tuple[datetime, ...]
    bores: Floats
    left_um: Floats


@dataclass(frozen=True, kw_only=True, eq=False)
class Fan:
    """When so much is left: bores of the set in all, and the planned moment; shape (levels,).

    1 of 20 such sets comes to a level before `p05`, half before `p50`, 19 of 20 before `p95`. The last
    level is the least usable thickness. Moments are None where no bores are planned, or beyond the plan.
    """

    left_um: Floats
    p05: Floats
    p50: Floats
    p95: Floats
    p50_at: tuple[datetime | None, ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class SetLine:
    """One set. `bores` and `left_um` draw the line through its rounds, to `now_bores` where it runs.

    Between two rounds the line is straight, as a path of steady wear with noise is expected to be, bent
    where the break-in ends; after the last it is what the bores since are expected to have worn.
    """

    stone_set: str
    kind: str | None
    spindle: str | None
    state: State
    lot: str | None
    bores: Floats
    left_um: Floats
    rounds: tuple[LinePoint, ...]
    dressed: Dressed
    now_bores: float | None
    """Bores by now of a set that has not ended."""
    now_left_um: float | None
    fan: Fan | None
    least_um: float
    """The least usable thickness of its kind."""
    why_not: Mapping[str, str] = field(default_factory=dict)

    @cached_property
    def dressings(self) -> tuple[LineMark, ...]:
        """Each dressing by itself; of past sets nobody asks for them."""
        one = self.dressed
        places = zip(one.at, one.bores.tolist(), one.left_um.tolist(), strict=True)
        return tuple(LineMark(at=at, bores=bores, left_um=left) for at, bores, left in places)


def set_lines(now: StonesNow) -> tuple[SetLine, ...]:
    """Return the line of every set of a known kind that was fitted or measured, by its first fitting."""
    known = {name: found for name in now.names if (found := now.known(name)) is not None}
    drawn = [name for name, found in known.items() if now.stays(name) or name in found.wear]
    return tuple(now.each("lines of stone sets", drawn, lambda name: _line(now, name, known[name])))


def _line(now: StonesNow, name: str, known: KindKnown) -> SetLine:
    stays, state = now.stays(name), state_of(now, name)
    life = None if state == "ended" else now.life(name)
    rounds = _rounds(now, name, known)
    honed = now.bores(name)
    knots = _knots(known, rounds)
    why_not: dict[str, str] = {}
    if life is None and state != "ended":
        why_not["fan"] = say("nothing tells yet how its kind wears")
    left = None if life is None else max(life.depth_um - life.since_um, 0.0)
    if left is not None:
        knots = _to_now(knots, honed, left)
    elif state == "ended" and knots.bores[-1] < honed:
        why_not["end"] = say("it was not measured when it came off")
    received = now.received.get(name, Received())
    return SetLine(
        stone_set=name,
        kind=known.kind.id,
        spindle=stays[-1].spindle if stays else None,
        state=state,
        lot=received.lot,
        bores=knots.bores,
        left_um=knots.left_um,
        rounds=rounds,
        dressed=_dressed(now, name, knots),
        now_bores=None if state == "ended" else honed,
        now_left_um=left,
        fan=None if life is None else _fan(now, known, life, stays[-1] if stays else None, honed),
        least_um=known.kind.least_thickness_mm * 1000,
        why_not=why_not,
    )


def _rounds(now: StonesNow, name: str, known: KindKnown) -> tuple[LinePoint, ...]:
    wear, rounds = known.wear.get(name), now.rounds.get(name)
    if wear is None or rounds is None:
        return ()
    rests_on = (wear, rounds, known.reading, known.kind)
    return now.told("points", name, rests_on, lambda: _points(now, rounds, wear, known))


def _points(now: StonesNow, rounds: Rounds, wear: SetWear, known: KindKnown) -> tuple[LinePoint, ...]:
    least = known.kind.least_thickness_mm * 1000
    half = None if known.reading is None else SURE_90 * known.reading_um
    return tuple(
        LinePoint(
            at=now.view.local(rounds.at[i]),
            bores=float(wear.bores[i]),
            left_um=float(wear.thinnest_um[i]) - least,
            half_um=half,
            worn_um=float(wear.mean_um[i] - wear.mean_um[max(i - 1, 0)]),
            jump=None if wear.jumps[i] is None else str(wear.jumps[i]),
        )
        for i in range(len(wear.bores))
        if np.isfinite(wear.thinnest_um[i])
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class _Knots:
    bores: Floats
    left_um: Floats


def _knots(known: KindKnown, rounds: tuple[LinePoint, ...]) -> _Knots:
    """Return the line through the rounds, with a bend where the break-in ends between two of them."""
    if not rounds:  # never measured: taken to have begun as thick as its kind
        return _Knots(bores=np.zeros(1), left_um=np.array([known.depth_um]))
    bores, left = np.array([r.bores for r in rounds]), np.array([r.left_um for r in rounds])
    for k in reversed([k for k, r in enumerate(rounds) if r.jump == Jump.CHIP and k > 0]):
        steady = left[k - 1] - rounds[k].worn_um  # a place broke off at once: the line falls at the round
        bores, left = np.insert(bores, k, bores[k]), np.insert(left, k, steady)
    ends = known.break_in.bores
    if not bores[0] < ends < bores[-1]:
        return _Knots(bores=bores, left_um=left)
    steady = left - known.break_in.still(bores)
    k = int(np.searchsorted(bores, ends))
    bend = float(np.interp(ends, bores, steady))
    return _Knots(bores=np.insert(bores, k, ends), left_um=np.insert(left, k, bend))


def _to_now(knots: _Knots, honed: float, left: float) -> _Knots:
    if honed <= knots.bores[-1]:
        return knots
    return _Knots(bores=np.append(knots.bores, honed), left_um=np.append(knots.left_um, left))


def _dressed(now: StonesNow, name: str, knots: _Knots) -> Dressed:
    mine, bores = tuple(now.log.dressings_of(name)), np.array(now.by_dressings(name))
    at = now.told("dressings", name, mine, lambda: tuple(now.view.local(d.at) for d in mine))
    return Dressed(at=at, bores=bores, left_um=np.interp(bores, knots.bores, knots.left_um))


def _fan(now: StonesNow, known: KindKnown, life: SetLife, stay: Stay | None, honed: float) -> Fan:
    """Return when what is left falls to each level: the first passages that its life is made of.

    The line falls from where the depth was known; what is to come of the break-in falls beside it.
    """
    depth = max(life.worn.depth_um, 0.0)
    shares = _levels(life, depth)
    levels = life.until(shares[:-1] * depth, (0.05, 0.5, 0.95))
    to_come = np.vstack((levels, [life.life.p05, life.life.p50, life.life.p95]))
    told = life.since_um if life.worn.bores_since == 0 else 0.0  # by the expander, taken off the depth
    pending = max(life.depth_um - life.worn.depth_um - told, 0.0)
    broken_in = pending - known.break_in.still(honed + to_come[:, 1])
    clock = None
    if stay is not None and stay.end is None:
        clock = clock_of(now.view, stay.spindle, bores=life.life.p95)
    at: tuple[datetime | None, ...] = (None,) * len(shares)
    if clock is not None:
        moments = clock.at(np.minimum(to_come[:, 1], clock.total + 1))
        at = tuple(None if np.isnat(m) else now.view.local(m) for m in moments)
    p05, p50, p95 = honed + to_come.T
    left = np.maximum((1 - shares) * depth + pending - broken_in, 0.0)
    return Fan(left_um=left, p05=p05, p50=p50, p95=p95, p50_at=at)


def _levels(life: SetLife, depth: float) -> Floats:
    """Return the shares of the depth at which the fan is worked out: close together where it begins."""
    gone = 0.0
    if depth > 0 and life.worn.bores_since > 0:
        gone = min(life.since_um / depth, 0.98)
    ahead = gone + (1.0 - gone) * np.linspace(0.0, 1.0, LEVELS) ** 1.5
    return ahead if gone == 0 else np.concatenate(([0.85 * gone], ahead))

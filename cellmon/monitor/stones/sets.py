"""One stone set in full: its history, wear, shape, what is left, and what to do."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

import numpy as np

from cellmon.monitor.answers import Estimate
from cellmon.monitor.stones.advice import advise
from cellmon.monitor.stones.dull import FaceOf, face_of
from cellmon.monitor.stones.good import good_bores
from cellmon.monitor.stones.kinds import NO_PRIOR, KindKnown, SetLife
from cellmon.monitor.stones.laid_out import StoneNow
from cellmon.monitor.stones.log import Stay
from cellmon.monitor.stones.measured import Rounds
from cellmon.monitor.stones.now import Received, StonesNow
from cellmon.monitor.stones.odd import odd_of
from cellmon.monitor.stones.ranges import BoresRange, DueAt, GoodBores
from cellmon.monitor.stones.set_history import RoundOf, StayOf, rounds_told, stay_told
from cellmon.monitor.stones.set_shape import Shape, shape_told
from cellmon.monitor.stones.when import due_at
from cellmon.stones.evenness import Swap
from cellmon.stones.wear import Jump
from cellmon.words import say, say_many

CONFIDENCE, DEVIATES = 0.90, 1.6449
State = Literal["fitted", "off", "ended", "new"]


@dataclass(frozen=True, kw_only=True, eq=False)
class StoneSetOf:
    """One set; bores count by weight where parts differ, wear is in µm of thickness."""

    stone_set: str
    kind: str | None
    stage: str | None
    maker: str | None
    lot: str | None
    state: State
    spindle: str | None
    fitted_at: datetime | None
    removed_at: datetime | None
    removed_why: str | None
    bores_since_fit: int
    """All it has honed since it was new, as far as the log knows."""
    dressed: int
    bores_since_dress: int | None
    wear_um: float | None
    """Mean over stones and places since the first round."""
    wear_um_per_1000_bores: Estimate | None
    thickness_left_um: float | None
    """Of the thinnest place by now, over the least usable."""
    parallelism_um: float | None
    shape: Shape | None
    truing: str | None
    """Why the set is to be trued; None where it is not, or is not known."""
    remaining_bores: BoresRange | None
    good_bores: GoodBores | None
    limited_by: str | None
    due_at: DueAt | None
    rests_on: str | None
    """Whence the range is: past sets, or a person's guess."""
    face: FaceOf | None
    advice: str | None
    why: str
    stays: tuple[StayOf, ...]
    rounds: tuple[RoundOf, ...]
    stones: tuple[StoneNow, ...]
    asked: tuple[str, ...]
    """Questions for a person: stones that seem to have changed place."""
    assumed: tuple[str, ...]
    why_not: Mapping[str, str] = field(default_factory=dict)


def set_of(now: StonesNow, name: str) -> StoneSetOf:
    """Return all that is known of one set."""
    stays, rounds, known = now.stays(name), now.rounds.get(name), now.known(name)
    kind, received = now.kind_of(name), now.received.get(name, Received())
    last, state = stays[-1] if stays else None, state_of(now, name)
    why_not: dict[str, str] = {}
    life = None if state == "ended" else now.life(name)
    left = _remaining(now, name, kind is not None, state, life, why_not)
    if last is not None and state == "fitted":
        ahead = _ahead(now, last, life=life, left=left, why_not=why_not)
    else:
        ahead = _off(last, why_not)
    told = now.told("shape", name, (rounds, *_measuring(known)), lambda: shape_told(known, rounds))
    why_not.update(told.why_not)
    return StoneSetOf(
        stone_set=name,
        kind=now.log.kinds.get(name) or (None if kind is None else kind.id),
        stage=None if kind is None else kind.stage,
        maker=received.maker,
        lot=received.lot,
        state=state,
        spindle=None if last is None else last.spindle,
        fitted_at=None if not stays else now.view.local(stays[0].start),
        removed_at=None if last is None or last.end is None else now.view.local(last.end),
        removed_why=None if last is None else last.why,
        bores_since_fit=round(now.bores(name)),
        dressed=len(now.log.dressings_of(name)),
        wear_um=None if known is None or name not in known.wear else float(known.wear[name].mean_um[-1]),
        wear_um_per_1000_bores=_rate(known, name, why_not),
        thickness_left_um=_left_um(name, life, known),
        parallelism_um=told.parallel_um,
        shape=told.shape,
        truing=None if state == "ended" else told.truing,
        remaining_bores=left,
        limited_by=_limited_by(left, ahead.good_bores),
        rests_on=None if life is None else _rests_on(life),
        stays=now.told("stays", name, stays, lambda: tuple(stay_told(now, stay) for stay in stays)),
        rounds=rounds_told(now, known, rounds, name),
        stones=() if rounds is None else rounds.last,
        asked=now.told("asked", name, (rounds, *_measuring(known)), lambda: _asked(rounds, known)),
        assumed=_assumed(now, name, rounds),
        why_not=why_not,
        **vars(ahead),
    )


@dataclass(frozen=True, kw_only=True)
class _Ahead:
    """What waits for a set that is on a spindle."""

    good_bores: GoodBores | None
    due_at: DueAt | None
    face: FaceOf | None
    bores_since_dress: int | None
    advice: str | None
    why: str


def _off(last: Stay | None, why_not: dict[str, str]) -> _Ahead:
    """Return what waits for a set that is on no spindle: nothing, and why."""
    why_not["advice"] = why_not["good_bores"] = say("it is on no spindle")
    return _Ahead(
        good_bores=None, due_at=None, face=None, bores_since_dress=None, advice=None, why=_gone(last)
    )


def _ahead(
    now: StonesNow, stay: Stay, *, life: SetLife | None, left: BoresRange | None, why_not: dict[str, str]
) -> _Ahead:
    known, since = now.known(stay.stone_set), bores_since_dress(now, stay)
    good, face = good_bores(now, stay, why_not), face_of(now, stay, known)
    wear = _wear(known, stay.stone_set)
    told = advise(now, stay, life=life, good=good, face=face, since=since, wear=wear)
    return _Ahead(
        good_bores=good,
        due_at=due_at(now.view, stay.spindle, left, good, why_not),
        face=face,
        bores_since_dress=since,
        advice=told.advice,
        why=told.why,
    )


def _limited_by(left: BoresRange | None, good: GoodBores | None) -> str | None:
    if left is None:
        return None
    return "quality" if good is not None and good.p50 < left.p50 else "thickness"


def _assumed(now: StonesNow, name: str, rounds: Rounds | None) -> tuple[str, ...]:
    said = () if rounds is None else rounds.said
    return (*now.log.assumed.get(name, ()), *said, *odd_of(now, name))


def state_of(now: StonesNow, name: str) -> State:
    """Return whether a set is on a spindle, off it, at its end, or new."""
    stays = now.stays(name)
    if not stays:
        return "new"
    if stays[-1].end is None:
        return "fitted"
    return "ended" if now.ended(name) else "off"


def _remaining(
    now: StonesNow, name: str, kind_known: bool, state: State, life: SetLife | None, why_not: dict[str, str]
) -> BoresRange | None:
    if life is not None:
        one = life.life
        return BoresRange(p05=round(one.p05), p50=round(one.p50), p95=round(one.p95))
    if state == "ended":
        why = say("it has ended: {how}", how=say(str(now.ended(name))))
    elif not kind_known:
        why = _no_kind(now.log.kinds.get(name))
    else:
        why = say(NO_PRIOR)
    why_not["remaining_bores"] = why_not["due_at"] = why
    return None


def _no_kind(named: str | None) -> str:
    if named:
        return say("its kind {kind} is not in the sheet", kind=named)
    return say("its kind is not known")


def _rate(known: KindKnown | None, name: str, why_not: dict[str, str]) -> Estimate | None:
    """Return the mean wear of 1000 bores, break-in and jumps left out; the noise as its kind shows it."""
    path = None if known is None else known.paths.get(name)
    if known is None or path is None:
        why_not["wear_um_per_1000_bores"] = say("it has not been measured twice with bores between")
        return None
    wear, honed = known.wear[name], np.diff(known.wear[name].bores)
    taken = known.break_in.extra_um - known.break_in.still(wear.bores)
    worn = (np.diff(wear.mean_um) - np.diff(taken))[wear.plain]
    bores = float(honed[wear.plain].sum())
    prior = known.expected
    noise2 = float((prior.noise2 * prior.noise2_weight).sum()) if prior is not None else 0.0
    half = DEVIATES * float(np.sqrt(noise2 / bores + 2 * (known.reading_um / bores) ** 2 / 3))
    value = float(worn.sum()) / bores
    if abs(value * bores) < known.reading_um:
        why_not["wear_um_per_1000_bores"] = say("it has worn less than readings repeat to")
        return None
    return Estimate(
        value=1000 * value, low=1000 * (value - half), high=1000 * (value + half), confidence=CONFIDENCE
    )


def _left_um(name: str, life: SetLife | None, known: KindKnown | None) -> float | None:
    """Return what is left at the thinnest place: as measured, less what bores since are expected to wear."""
    if known is None:
        return None
    wear = known.wear.get(name)
    if life is None:
        if wear is None:
            return None
        return max(float(wear.thinnest_um[-1]) - known.kind.least_thickness_mm * 1000, 0.0)
    return max(life.depth_um - life.since_um, 0.0)


def _measuring(known: KindKnown | None) -> tuple[object, ...]:
    """Return what of a kind a set's measurements are read by."""
    return (None,) if known is None else (known.kind, known.reading)


def _wear(known: KindKnown | None, name: str) -> Jump | None:
    """Return what the last round of a set is, if no plain wear."""
    return None if known is None or name not in known.wear else known.wear[name].jumps[-1]


def _rests_on(life: SetLife) -> str:
    sets = life.prior.sets
    if sets == 0:
        return say("a person's guess in the sheet")
    return say_many("{count} other set of its kind", "{count} other sets of its kind", sets)


def _gone(last: Stay | None) -> str:
    if last is None:
        return say("it was never fitted")
    why = say(last.why) if last.why else say("no reason was logged")
    return say("it was taken off {spindle}: {why}", spindle=last.spindle, why=why)


def _asked(rounds: Rounds | None, known: KindKnown | None) -> tuple[str, ...]:
    if rounds is None:
        return ()
    swap = None if known is None else rounds.swap(reading_um=known.reading_um)
    return (*rounds.asked, *(() if swap is None else (swap_words(swap, rounds.stones),)))


def swap_words(swap: Swap, stones: tuple[str, ...]) -> str:
    """Return the question about stones that read as another did, or turned."""
    moved = [
        say("stone {stone} reads as stone {other} did", stone=stones[i], other=stones[k])
        for i, k in enumerate(swap.order)
        if i != k
    ]
    moved += [
        say("stone {stone} reads as if the other way up", stone=stones[i])
        for i in swap.turned
        if swap.order[i] == i
    ]
    return say("{moved} at the round before: were stones swapped or turned?", moved=", ".join(moved))


def bores_since_dress(now: StonesNow, stay: Stay) -> int:
    """Return the bores since the stones of a fitted set were dressed, or were new."""
    last, total = now.log.last_dressed(stay), now.bores(stay.stone_set)
    if last is None:
        return round(total)
    return round(total - now.bores(stay.stone_set, last.at) + last.since)

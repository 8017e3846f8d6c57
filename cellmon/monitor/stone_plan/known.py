"""What stands on the spindles now and what it has left, from what is known of all stones."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from cellmon.monitor.dressings import NoPlan, Plan
from cellmon.monitor.stone_plan.ahead import KindAhead, SetAhead
from cellmon.monitor.stones.dressing import DressingAdvice
from cellmon.monitor.stones.dulling import Intervals
from cellmon.monitor.stones.good import good_bores, sooner_of
from cellmon.monitor.stones.kinds import KindKnown
from cellmon.monitor.stones.log import Stay
from cellmon.monitor.stones.now import StonesNow, stones_now
from cellmon.monitor.view import View
from cellmon.sheet import Spindle
from cellmon.stones.cost import StonePrices

Dressed = tuple[str, str, StonePrices]
"""A spindle, a kind and its prices."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Known:
    """The places for stones with what is fitted there, and the kinds by name."""

    sets: tuple[SetAhead, ...]
    kinds: Mapping[str, KindAhead]
    plans: Mapping[str, Plan | NoPlan] = field(default_factory=dict)
    """When each spindle is dressed."""
    intervals: Mapping[str, Intervals] = field(default_factory=dict)
    """The bores of each spindle by dressing."""
    dressed: dict[Dressed, DressingAdvice] = field(default_factory=dict)
    """Advice on dressing so far: the same for every plan of one state and the same prices."""


def stones_known(view: View) -> Known:
    """Return what every plan of a view starts from, whatever it is asked."""
    known = known_sets(stones_now(view))
    spindles = {s.spindle for s in known.sets}
    return replace(
        known,
        plans={spindle: view.dressing_plan(spindle) for spindle in spindles},
        intervals={spindle: view.dressed_intervals(spindle) for spindle in spindles},
    )


def known_sets(now: StonesNow) -> Known:
    """Return what is fitted and what it has left, and what new sets of each kind may last."""
    ahead = {name: _kind_ahead(now, known) for name, known in now.kinds.items()}
    fitted = [_fitted(now, stay) for stay in now.running()]
    there = {(s.spindle, s.stage) for s in fitted if s is not None}
    empty = [
        _empty(now, spindle, stage)
        for spindle in now.view.sheet.spindles
        for stage in spindle.stages
        if (spindle.id, stage) not in there
    ]
    sets = sorted((s for s in (*fitted, *empty) if s is not None), key=lambda s: (s.spindle, s.stage))
    return Known(sets=tuple(sets), kinds={name: one for name, one in ahead.items() if one is not None})


def _kind_ahead(now: StonesNow, known: KindKnown) -> KindAhead | None:
    new, prior = known.new_life, known.expected
    if new is None or prior is None:
        return None
    seen = now.seen(known)
    return KindAhead(
        kind=known.kind,
        new=new,
        taught_by=prior.sets,
        chipped=seen.chipped,
        bores_seen=seen.bores,
        fitted=tuple(now.stays(name)[0].start for name in seen.sets if not now.stays(name)[0].before),
    )


def _fitted(now: StonesNow, stay: Stay) -> SetAhead | None:
    kind = now.kind_of(stay.stone_set)
    if kind is None:
        return None
    left = now.life(stay.stone_set)
    good = good_bores(now, stay, {})
    life = None if left is None else left.life
    return SetAhead(
        spindle=stay.spindle,
        stage=kind.stage,
        kind=kind.id,
        stone_set=stay.stone_set,
        measured=stay.stone_set in now.kinds[kind.id].paths,
        life=life if life is None or good is None else sooner_of(life, good),
    )


def _empty(now: StonesNow, spindle: Spindle, stage: str) -> SetAhead | None:
    """Return a place without a set; None where two kinds could be fitted there, or none."""
    fit = [kind.id for kind in now.view.sheet.stone_kinds if kind.stage == stage]
    if len(fit) != 1:
        return None
    return SetAhead(spindle=spindle.id, stage=stage, kind=fit[0], stone_set=None, life=None)

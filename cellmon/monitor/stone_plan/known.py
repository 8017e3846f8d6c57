"""What stands on the spindles now and what it has left, from what is known of all stones."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from cellmon.monitor.stone_plan.ahead import KindAhead, SetAhead
from cellmon.monitor.stones.good import good_bores
from cellmon.monitor.stones.kinds import NEW_VARIES, KindKnown
from cellmon.monitor.stones.log import CHIPPED, Stay
from cellmon.monitor.stones.now import StonesNow
from cellmon.monitor.stones.ranges import GoodBores
from cellmon.sheet import Spindle
from cellmon.stones.life import Life, Worn, remaining_life


@dataclass(frozen=True, kw_only=True, eq=False)
class Known:
    """The places for stones with what is fitted there, and the kinds by name."""

    sets: tuple[SetAhead, ...]
    kinds: Mapping[str, KindAhead]


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
    prior = known.prior()
    if prior is None:
        return None
    depth = known.depth_um - known.break_in.pending(0.0)
    new = remaining_life(Worn(depth_um=depth, depth_sd_um=known.depth_um * NEW_VARIES), prior)
    mine = [name for name in now.names if now.kind_of(name) is known.kind and now.stays(name)]
    return KindAhead(
        kind=known.kind,
        new=new,
        taught_by=prior.sets,
        chipped=sum(now.ended(name) == CHIPPED for name in mine),
        bores_seen=sum(now.bores(name) for name in mine),
        fitted=tuple(now.stays(name)[0].start for name in mine if not now.stays(name)[0].before),
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


def sooner_of(life: Life, good: GoodBores) -> Life:
    """Return the life that ends at whichever comes first, the least thickness or the quality limit.

    The range of the quality limit is straight between its quantiles; the two are taken as independent.
    """
    quality = np.array(list(_quantiles(good)))
    bores = np.unique(np.concatenate([life.bores, quality[:, 0]]))
    spoilt = np.interp(bores, quality[:, 0], quality[:, 1])
    chance = np.maximum.accumulate(1 - (1 - life.cdf(bores)) * (1 - spoilt))
    return Life(bores=bores, chance=chance, limited_by="quality" if good.p50 < life.p50 else "thickness")


def _quantiles(good: GoodBores) -> Iterator[tuple[float, float]]:
    """Yield bores and chances; what lies beyond the last quantile known never comes."""
    yield 0.0, 0.0
    last = 0.0
    for bores, chance in ((good.p05, 0.05), (good.p50, 0.5), (good.p95, 0.95)):
        if bores is not None and bores > last:
            yield float(bores), chance
            last = float(bores)
    if good.p95 is not None:
        yield last + max(float(good.p95 - good.p50), 1.0), 1.0


def _empty(now: StonesNow, spindle: Spindle, stage: str) -> SetAhead | None:
    """Return a place without a set; None where two kinds could be fitted there, or none."""
    fit = [kind.id for kind in now.view.sheet.stone_kinds if kind.stage == stage]
    if len(fit) != 1:
        return None
    return SetAhead(spindle=spindle.id, stage=stage, kind=fit[0], stone_set=None, life=None)

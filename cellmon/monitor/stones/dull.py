"""The face of a fitted set, from what its spindle's bores took since they were dressed."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass

import numpy as np

from cellmon.monitor.answers import Estimate
from cellmon.monitor.stones.kinds import KindKnown
from cellmon.monitor.stones.log import Stay
from cellmon.monitor.stones.looked import LOOKED_AT
from cellmon.monitor.stones.now import StonesNow
from cellmon.stones.dullness import Change, Honing, StoneFace, dullness


@dataclass(frozen=True, kw_only=True)
class FaceOf:
    """What the face seems to be; changes in per cent against freshly dressed stones."""

    face: str
    cycle_pct: Estimate | None
    load_pct: Estimate | None
    ripple_pct: Estimate | None
    removal_pct: Estimate | None
    usual_pct: float | None
    why: str


def face_of(now: StonesNow, stay: Stay, known: KindKnown | None) -> FaceOf:
    """Return what the stones of a fitted set seem to be: sharp, glazed, loaded, or quickly worn."""
    spindle = next((s for s in now.view.sheet.spindles if s.id == stay.spindle), None)
    found = dullness(
        honing(now, stay),
        feed="force" if spindle is None else spindle.feed,
        wear_ratio=_wear_ratio(known, stay.stone_set),
    )
    return _face(found)


def honing(now: StonesNow, stay: Stay) -> Honing:
    """Return the newest bores of a spindle beside the dressings before each."""
    bores = now.recent(stay.spindle)
    bores = bores.select(np.argsort(bores.honed, kind="stable"))
    at = bores.honed
    dressed = now.log.dressings_on(stay.spindle)
    first = bisect_left(dressed, at[0], key=lambda d: d.at) if len(at) else 0
    resets = {d.at: d.since for d in dressed[max(first - 1, 0) :]}
    for name, stays in now.log.stays.items():
        if (
            stays[0].spindle == stay.spindle
            and not stays[0].before
            and now.kind_of(name) is now.kind_of(stay.stone_set)
        ):
            resets.setdefault(stays[0].start, 0.0)  # new stones cut as dressed ones do
    edges = np.array(sorted(resets), dtype="datetime64[us]")
    interval = np.searchsorted(edges, at, side="right")
    begun = np.concatenate(([0], np.searchsorted(at, edges, side="right")))
    late = np.concatenate(([0.0], [resets[edge] for edge in edges]))
    since = np.asarray(np.arange(1, len(at) + 1) - begun[interval] + late[interval], dtype=np.float64)
    cut = interval == interval[0] if len(at) >= LOOKED_AT else interval == 0
    since[cut] = np.nan  # when these were dressed lies before what is looked at
    return Honing(
        since=since,
        interval=interval.astype(np.int64),
        cycle_s=bores.cycle_s,
        load_pct=bores.load_pct,
        ripple_pct=bores.load_ripple_pct,
        stock_um=bores.average - bores.before,
    )


def _wear_ratio(known: KindKnown | None, name: str) -> float | None:
    """Return a set's rate over that expected of its kind; None where its own says little yet."""
    path = None if known is None else known.paths.get(name)
    if known is None or path is None or path.wear_um.sum() < 0.1 * known.depth_um:
        return None
    prior = known.prior(without=name)
    if prior is None or prior.sets == 0:
        return None
    ratio = path.rate / prior.median_rate
    usual = float((prior.weight * prior.spread).sum())
    return ratio if abs(np.log(ratio)) > UNUSUAL * usual else 1.0


UNUSUAL = 2.0
"""A rate so many of the spreads between sets from the usual one is no chance of its set."""


def _face(found: StoneFace) -> FaceOf:
    return FaceOf(
        face=str(found.face),
        cycle_pct=_per_cent(found.cycle),
        load_pct=_per_cent(found.load),
        ripple_pct=_per_cent(found.ripple),
        removal_pct=_per_cent(found.removal),
        usual_pct=None if found.usual is None else 100 * found.usual,
        why=found.why,
    )


def _per_cent(change: Change | None) -> Estimate | None:
    if change is None:
        return None
    return Estimate(value=100 * change.value, low=100 * change.low, high=100 * change.high, confidence=0.95)

"""Lots of stone sets against the others of their kind: how long they last and how fast they wear."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtr, stdtrit

from cellmon.errors import NotEnoughData
from cellmon.local import number
from cellmon.monitor.answers import Estimate
from cellmon.stones.survival import FARTHEST, LifeRatio, life_ratio, log_rank, survival
from cellmon.words import say

Floats = NDArray[np.float64]
CONFIDENCE = 0.95
CALLED = 0.05
"""A lot is called where its chance, all lots taken together, is below this."""


@dataclass(frozen=True, kw_only=True)
class SetLived:
    """One set as lots are compared by it."""

    stone_set: str
    lot: str | None
    maker: str | None
    kind: str | None
    bores: float
    ended: str | None
    rate: float | None
    """Wear of a bore, µm."""


@dataclass(frozen=True, kw_only=True)
class LotCompared:
    """One lot against all other sets of its kind; ratios above 1: lasts longer, wears faster."""

    kind: str | None
    maker: str | None
    lot: str
    sets: int
    running: int
    worn: int
    chipped: int
    median_bores: float | None
    life_ratio: Estimate | None
    wear_ratio: Estimate | None
    chance: float | None
    """Of so large a difference of life or of wear where the lot is like the others; all lots together."""
    differs: bool
    sentence: str
    why_not: Mapping[str, str] = field(default_factory=dict)


def lots_compared(sets: Sequence[SetLived]) -> tuple[LotCompared, ...]:
    """Compare every lot of a kind that has others beside it; lots with the least chance first."""
    found: list[_Found] = []
    for kind in dict.fromkeys(s.kind for s in sets):
        mine = [s for s in sets if s.kind == kind and s.lot is not None]
        names = list(dict.fromkeys((s.maker, s.lot) for s in mine))
        if len(names) < 2:
            continue
        found += [_compared(kind, maker, str(lot), mine) for maker, lot in names]
    chances = _holm([one.chance for one in found])
    lots = [_told(one, chance) for one, chance in zip(found, chances, strict=True)]
    return tuple(sorted(lots, key=lambda lot: (2.0 if lot.chance is None else lot.chance, lot.lot)))


@dataclass(frozen=True, kw_only=True)
class _Found:
    kind: str | None
    maker: str | None
    lot: str
    mine: list[SetLived]
    life: Estimate | None
    wear: Estimate | None
    chance: float | None
    why_not: Mapping[str, str]


def _compared(kind: str | None, maker: str | None, lot: str, sets: Sequence[SetLived]) -> _Found:
    mine = [s for s in sets if (s.maker, s.lot) == (maker, lot)]
    others = [s for s in sets if (s.maker, s.lot) != (maker, lot)]
    life, wear, chances, why_not = None, None, [], {}
    args = (_bores(mine), _ended(mine), _bores(others), _ended(others))
    try:
        chances.append(log_rank(*args).p_value)
        one = life_ratio(*args, confidence=CONFIDENCE)
        life = _estimate(one, known=bool(_ended(mine).any()) and bool(_ended(others).any()))
    except NotEnoughData as few:
        why_not["life_ratio"] = str(few)
    rates = _rates(mine), _rates(others)
    if min(map(len, rates)) >= 1 and sum(map(len, rates)) >= 4:
        found = _ratio(*rates)
        wear, chances = found.estimate, [*chances, found.chance]
    else:
        why_not["wear_ratio"] = say("fewer than four sets were measured as they wore")
    chance = min(1.0, min(chances) * len(chances)) if chances else None
    return _Found(
        kind=kind, maker=maker, lot=lot, mine=mine, life=life, wear=wear, chance=chance, why_not=why_not
    )


def _estimate(ratio: LifeRatio, *, known: bool) -> Estimate:
    """Return a ratio of lives; where none of one side has ended, only the bound that this gives."""
    edge = 0.999 * FARTHEST
    return Estimate(
        value=ratio.value if known else None,
        low=ratio.low if ratio.low > 1 / edge else None,
        high=ratio.high if ratio.high < edge else None,
        confidence=CONFIDENCE,
    )


@dataclass(frozen=True, kw_only=True)
class _Ratio:
    estimate: Estimate
    chance: float


def _ratio(mine: Floats, others: Floats) -> _Ratio:
    """Return the ratio of geometric mean rates; Student's t on logarithms with one spread."""
    a, b = np.log(mine), np.log(others)
    df = len(a) + len(b) - 2
    spread = np.sqrt((((a - a.mean()) ** 2).sum() + ((b - b.mean()) ** 2).sum()) / df)
    sd = float(spread * np.sqrt(1 / len(a) + 1 / len(b)))
    gone = float(a.mean() - b.mean())
    half = float(stdtrit(df, (1 + CONFIDENCE) / 2)) * sd
    value, low, high = (float(np.exp(x)) for x in (gone, gone - half, gone + half))
    chance = 2 * float(stdtr(df, -abs(gone) / sd)) if sd > 0 else 1.0
    return _Ratio(estimate=Estimate(value=value, low=low, high=high, confidence=CONFIDENCE), chance=chance)


def _holm(chances: Sequence[float | None]) -> list[float | None]:
    """Return the chances of several comparisons taken together, after Holm (1979)."""
    known = sorted((p, i) for i, p in enumerate(chances) if p is not None)
    found, most = list(chances), 0.0
    for rank, (p, i) in enumerate(known):
        most = max(most, min(1.0, p * (len(known) - rank)))
        found[i] = most
    return found


def _told(one: _Found, chance: float | None) -> LotCompared:
    ended = [s for s in one.mine if s.ended]
    differs = chance is not None and chance < CALLED
    median = survival(_bores(one.mine), _ended(one.mine)).median if ended else None
    return LotCompared(
        kind=one.kind,
        maker=one.maker,
        lot=one.lot,
        sets=len(one.mine),
        running=len(one.mine) - len(ended),
        worn=sum(s.ended == "worn" for s in one.mine),
        chipped=sum(s.ended == "chipped" for s in one.mine),
        median_bores=median,
        life_ratio=one.life,
        wear_ratio=one.wear,
        chance=chance,
        differs=differs,
        sentence=_sentence(one, differs=differs),
        why_not=one.why_not,
    )


def _sentence(one: _Found, *, differs: bool) -> str:
    if not differs:
        return say("Lot {lot} is not shown to differ from the others.", lot=one.lot)
    life, wear = one.life, one.wear
    if wear is not None and (wear.low or 0) > 1:
        return say(
            "Lot {lot} wears {value} ({low} to {high}) times as fast as the others: look at it before more "
            "is fitted.",
            lot=one.lot,
            **_figures(wear),
        )
    if life is not None and (life.high or 2) < 1:
        return say(
            "Lot {lot} lasts {value} ({low} to {high}) times as long as the others: look at it before more "
            "is fitted.",
            lot=one.lot,
            **_figures(life),
        )
    return say("Lot {lot} lasts longer or wears slower than the others.", lot=one.lot)


def _figures(e: Estimate) -> dict[str, str]:
    known = {"value": e.value, "low": e.low, "high": e.high}
    return {name: number(value or 0.0, 2) for name, value in known.items()}


def _bores(sets: Sequence[SetLived]) -> Floats:
    return np.array([s.bores for s in sets], dtype=np.float64)


def _ended(sets: Sequence[SetLived]) -> NDArray[np.bool_]:
    return np.array([s.ended is not None for s in sets], dtype=bool)


def _rates(sets: Sequence[SetLived]) -> Floats:
    return np.array([s.rate for s in sets if s.rate is not None and s.rate > 0], dtype=np.float64)

"""Dull or worn: glazing told apart from loading and from quick wear by cycle time, load and removal.

What a spindle does now is held against what it did with freshly dressed stones. Under constant force a
glazed stone takes longer and loads the spindle less; under constant feed it takes as long and loads it
more. A loaded stone, its face full of metal, pulls harder under both and pulls unevenly.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from cellmon.local import number
from cellmon.words import say, to_say

Floats = NDArray[np.float64]
Feed = Literal["force", "feed"]

FIRST, FRESH = 15, 115
"""Bores after a dressing taken as fresh; the first ones cut larger and rougher (5 to 15: practice)."""
NOW = 40
"""Bores whose middle is what a spindle does now."""
LEAST = 12
DULL_CYCLE = 0.10
"""Longer by this share is dull at the least: 10 to 30 % are named by practice."""
DULL_LOAD = 0.10
UNEVEN = 0.25
"""Load ripple larger by this share: uneven pull."""
BEYOND_USUAL = 1.15
"""And longer than what it usually was when stones were dressed, by this factor."""
QUICK = 0.25
"""Wear quicker by this share than sets of the kind usually wear."""
CONFIDENCE = 0.95


class Face(StrEnum):
    """What the face of the stones seems to be."""

    SHARP = to_say("sharp")
    GLAZED = to_say("glazed")
    LOADED = to_say("loaded")
    WEARS_FAST = to_say("wears fast")
    UNCLEAR = to_say("unclear")
    NOT_KNOWN = to_say("not known")


@dataclass(frozen=True, kw_only=True)
class Change:
    """A figure now against fresh stones, as a share of it, with its 95 % interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, kw_only=True)
class StoneFace:
    """What the stones of a spindle seem to be, and the figures it is told from; None: not measured."""

    face: Face
    cycle: Change | None
    load: Change | None
    ripple: Change | None
    removal: Change | None
    """Stock removed in a second of honing; taken as the cycle's inverse where the stock is not known."""
    usual: float | None
    """What the sign that tells (cycle under force, load under feed) usually changed by until dressing."""
    why: str


@dataclass(frozen=True, kw_only=True, eq=False)
class Honing:
    """Bores of one spindle in order; each array of shape (n,), nan where not known.

    `since` counts bores since the stones were dressed or fitted, `interval` numbers the dressing
    intervals, rising; `stock_um` is what was removed on diameter.
    """

    since: Floats
    interval: NDArray[np.int64]
    cycle_s: Floats
    load_pct: Floats
    ripple_pct: Floats
    stock_um: Floats


def dullness(honing: Honing, *, feed: Feed, wear_ratio: float | None = None) -> StoneFace:
    """Say whether stones are dull, loaded, or wear quickly.

    Parameters
    ----------
    honing : Honing
        The current dressing interval and some before it.
    feed : str
        `force` or `feed` controlled expansion.
    wear_ratio : float or None
        The set's rate of wear over the usual one of its kind.

    References
    ----------
    Signs of dulling and of loading: common practice, no source; in step-fed honing the removal rate
    falls during a cycle while force rises (study of stepped-feed honing force, abstract). Difference of
    means with unequal spread: Welch, Biometrika 34 (1947), from memory.
    """
    sign = "load_pct" if feed == "feed" else "cycle_s"
    cycle, load, ripple = (_change(honing, getattr(honing, f)) for f in ("cycle_s", "load_pct", "ripple_pct"))
    removal = _removal(honing)
    usual = _usual(honing, getattr(honing, sign))
    told = load if feed == "feed" else cycle
    found = _face(told, load, ripple, feed=feed, usual=usual, wear_ratio=wear_ratio)
    return StoneFace(
        face=found.face,
        cycle=cycle,
        load=load,
        ripple=ripple,
        removal=removal,
        usual=usual,
        why=found.why,
    )


def _removal(honing: Honing) -> Change | None:
    """Return how the stock removed in a second changed; the cycle's inverse where the stock is not known."""
    with np.errstate(divide="ignore", invalid="ignore"):
        known = _change(honing, honing.stock_um / honing.cycle_s)
        return known or _change(honing, 1 / honing.cycle_s)


def _fresh(honing: Honing) -> NDArray[np.bool_]:
    return (honing.since > FIRST) & (honing.since <= FRESH)


def _change(honing: Honing, values: Floats) -> Change | None:
    """Return the last bores against fresh ones of every interval; interval by interval, as they differ."""
    known = np.isfinite(values) & (honing.since > FIRST)
    mine = np.flatnonzero(known & (honing.interval == honing.interval.max(initial=0)))
    fresh, now = values[known & _fresh(honing)], values[mine[-NOW:]]
    if len(now) < LEAST or len(fresh) < LEAST:
        return None
    base = float(fresh.mean())
    if base <= 0:
        return None
    a, b = now.var(ddof=1) / len(now), fresh.var(ddof=1) / len(fresh)
    df = (a + b) ** 2 / (a**2 / (len(now) - 1) + b**2 / (len(fresh) - 1)) if a + b > 0 else np.inf
    half = float(stdtrit(min(df, 1e6), (1 + CONFIDENCE) / 2)) * float(np.sqrt(a + b))
    gone = float(now.mean()) - base
    return Change(value=gone / base, low=(gone - half) / base, high=(gone + half) / base)


def _usual(honing: Honing, values: Floats) -> float | None:
    """Return by how much the sign had changed at the end of earlier intervals, their median."""
    known = np.isfinite(values)
    fresh = values[known & _fresh(honing)]
    if len(fresh) < LEAST:
        return None
    found = []
    for k in np.unique(honing.interval)[:-1]:
        mine = values[known & (honing.interval == k) & (honing.since > FRESH)]
        if len(mine) >= LEAST:
            found.append(float(mine[-NOW:].mean()) / float(fresh.mean()) - 1)
    return float(np.median(found)) if found else None


@dataclass(frozen=True, kw_only=True)
class Finding:
    """What the face seems to be, and by what it is told."""

    face: Face
    why: str


def _face(
    told: Change | None,
    load: Change | None,
    ripple: Change | None,
    *,
    feed: Feed,
    usual: float | None,
    wear_ratio: float | None,
) -> Finding:
    faster = 0.0 if wear_ratio is None else wear_ratio - 1
    if told is None and faster <= QUICK:
        return Finding(
            face=Face.NOT_KNOWN,
            why=say("no {sign} of freshly dressed stones and of now to compare", sign=_sign(feed)),
        )
    if _up(load, DULL_LOAD) and _up(ripple, UNEVEN):
        why = say(
            "load {load} and its ripple {ripple}: metal in the face, as of loading",
            load=_moved(load),
            ripple=_moved(ripple),
        )
        return Finding(face=Face.LOADED, why=why)
    least = max(DULL_LOAD if feed == "feed" else DULL_CYCLE, 0.0 if usual is None else usual * BEYOND_USUAL)
    if _up(told, least):
        why = _against_fresh(feed, told)
        if usual is not None and usual > 0:
            why = say("{why}, usually {share} when dressed", why=why, share=_share(usual))
        if feed == "force" and _up(load, DULL_LOAD):
            less = say("{why}, with load {load}: glazed stones would load less", why=why, load=_moved(load))
            return Finding(face=Face.UNCLEAR, why=less)
        return Finding(face=Face.GLAZED, why=why)
    if faster > QUICK:
        quicker = say("the set wears {share} quicker than sets of its kind do", share=_share(faster))
        return Finding(face=Face.WEARS_FAST, why=quicker)
    return Finding(face=Face.SHARP, why=_against_fresh(feed, told))


def _against_fresh(feed: Feed, told: Change | None) -> str:
    return say("{sign} {moved} against freshly dressed stones", sign=_sign(feed), moved=_moved(told))


def _up(change: Change | None, least: float) -> bool:
    """Return whether a figure is surely up, and by more than so much."""
    return change is not None and change.low > 0 and change.value > least


def _sign(feed: Feed) -> str:
    return say("load") if feed == "feed" else say("honing time")


def _moved(change: Change | None) -> str:
    if change is None:
        return say("not known")
    share = _share(abs(change.value))
    return say("up {share}", share=share) if change.value >= 0 else say("down {share}", share=share)


def _share(value: float) -> str:
    return f"{number(100 * value)} %"

"""Cells as a stranger would simulate them: sets that differ, paths that wander, chips, late dressings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from cellmon.monitor.stones.kinds import KindKnown, know_kind, life_of
from cellmon.monitor.stones.measured import Rounds
from cellmon.sheet.sections import StoneKind
from cellmon.stones.life import Life, Worn, remaining_life
from cellmon.stones.prior import WearPrior
from cellmon.stones.wear import Thickness

KIND = StoneKind(id="D64", new_thickness_mm=3.0, least_thickness_mm=0.6, expected_life_bores=(6000, 12000))
DEPTH, RATE = 2400.0, 0.275
STEP = 4
"""Bores between points of a path."""
UNEVEN = np.array([0.994, 1.0, 1.010])
CHIP_PER_BORE = 0.067 / 8700


@dataclass(frozen=True, kw_only=True)
class World:
    """How the sets of a cell are; shares are of the depth over a life, or of the mean rate."""

    spread: float = 0.2
    law: str = "normal"
    noise: float = 0.05
    reading_um: float = 2.5
    dress_off_um: float = 1.5
    late: float = 0.25
    """Share of dressings that come up to a whole interval late; dull stones wear 10 % less."""
    break_in_um: float = 0.0
    dress_every: int = 800
    round_every: int = 2
    """Dressings from one measurement to the next."""
    chips: bool = True


@dataclass(frozen=True, eq=False)
class Set:
    """One set from new to its end: wear of its thinnest place bore by bore, and its measurements."""

    worn: np.ndarray
    """At every STEP bores, thinnest place, micrometres."""
    rounds: Rounds
    end: float
    """Bores at which the least thickness is reached."""
    chip: float
    rate: float
    dressed: np.ndarray
    """Bores at its dressings."""

    def upto(self, bores: float) -> Rounds:
        """Return the rounds measured by then; the first at least."""
        keep = max(int(np.searchsorted(self.rounds.thickness.bores, bores, side="right")), 1)
        um = self.rounds.thickness.um[:keep]
        return rounds_of(self.rounds.thickness.bores[:keep], um)


def rounds_of(bores, um) -> Rounds:
    return Rounds(
        at=np.zeros(len(bores), dtype="datetime64[us]"),
        thickness=Thickness(bores=bores, um=um),
        stones=("1", "2", "3", "4"),
        places=("top", "middle", "bottom"),
        last=(),
        repeats_um=np.zeros(0),
        asked=(),
        said=(),
    )


def one_set(rng: np.random.Generator, world: World) -> Set:
    """Play one set to the end of its stones."""
    while True:
        z = rng.standard_normal()
        s = world.spread
        rate = RATE * (1 + s * z if world.law == "normal" else np.exp(np.sqrt(np.log1p(s**2)) * z))
        if rate > 0.35 * RATE:
            break
    n = STEP * np.arange(int(2.2 * DEPTH / rate / STEP) + 2)
    gaps = world.dress_every * (1 + (rng.random(400) < world.late) * rng.random(400))
    dressed = np.cumsum(gaps)
    dressed = dressed[dressed < n[-1]]
    last = np.concatenate(([0.0], dressed))[np.searchsorted(dressed, n, side="right")]
    dull = np.where(n - last > world.dress_every, 0.9, 1.0)
    steps = rate * STEP * dull + world.noise * DEPTH * np.sqrt(STEP * RATE / DEPTH) * rng.standard_normal(
        len(n)
    )
    steps[0] = 0.0
    off = world.dress_off_um * np.searchsorted(dressed, n, side="right")
    mean = np.cumsum(steps) + off + world.break_in_um * np.minimum(n / 400, 1.0)
    stone = 1 + 0.004 * rng.standard_normal(4)
    thin = mean * UNEVEN.max() * stone.max()
    end = int(np.argmax(thin >= DEPTH))
    at = np.concatenate(([0.0], dressed[world.round_every - 1 :: world.round_every]))
    at = np.append(at[at < n[end] - 50], n[end] - 4)
    index = (at / STEP).astype(int)
    new = 3000 + 3 * rng.standard_normal((1, 4, 1))
    um = new - mean[index][:, None, None] * stone[:, None] * UNEVEN
    um = um + world.reading_um * rng.standard_normal(um.shape)
    chip = rng.exponential(1 / CHIP_PER_BORE) if world.chips else np.inf
    bores = (STEP * index).astype(float)
    return Set(
        worn=thin, rounds=rounds_of(bores, um), end=float(n[end]), chip=chip, rate=rate, dressed=dressed
    )


def past_sets(rng, world: World, count: int) -> dict[str, Rounds]:
    """Return the rounds of sets that have ended, worn or chipped; one that chipped early teaches less."""
    found = {}
    for k in range(count):
        one = one_set(rng, world)
        found[f"P{k}"] = one.upto(min(one.chip, one.end))
    return found


def population(world: World, known: KindKnown) -> WearPrior:
    """Return what one would know who knew how all sets are."""
    factor = UNEVEN.max() * 1.004
    one = np.ones(1)
    noise2 = (world.noise * DEPTH) ** 2 * RATE / DEPTH * factor**2 * one
    z = np.linspace(-3.2, 3.2, 61)
    rates = (
        RATE * (1 + world.spread * z)
        if world.law == "normal"
        else RATE * np.exp(np.sqrt(np.log1p(world.spread**2)) * z)
    )
    rates = np.maximum(rates * (1 - 0.1 * 0.11), 0.35 * RATE) * factor + world.dress_off_um / 890
    weight = np.exp(-(z**2) / 2)
    return WearPrior(
        centre=np.log(rates),
        spread=np.full(61, 0.02),
        weight=weight / weight.sum(),
        noise2=noise2,
        noise2_weight=one,
        sets=999,
    )


@dataclass(frozen=True, eq=False)
class Asked:
    """What was said of a set at a moment, what one would say who knew the population, and what came."""

    life: Life
    known: Life
    left: float


def asked(world: World, past: dict[str, Rounds], now: Set, bores: float) -> Asked:
    """Ask what a set has left after so many bores, measured at its rounds until then."""
    mine = now.upto(bores)
    known = know_kind(KIND, {**past, "now": mine})
    found = life_of(known, "now", bores=bores)
    assert found is not None
    best = remaining_life(found.worn, population(world, known), reading_um=found.reading_um)
    return Asked(life=found.life, known=best, left=now.end - bores)


__all__ = ["Asked", "World", "Worn", "asked", "one_set", "past_sets"]

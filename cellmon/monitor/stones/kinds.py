"""What the sets of one kind teach: repeatability, break-in, rates of wear, and how far a guess was off."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cellmon.monitor.stones.measured import Rounds
from cellmon.sheet import StoneKind
from cellmon.stones.break_in import NO_BREAK_IN, BreakIn, break_in
from cellmon.stones.feed import FeedWear
from cellmon.stones.life import Life, Worn, remaining_bores, remaining_life
from cellmon.stones.prior import Path, WearPrior, guessed_prior, learn_prior
from cellmon.stones.wear import Repeatability, SetWear, repeatability, set_wear
from cellmon.words import to_say

Floats = NDArray[np.float64]

NO_PRIOR = to_say(
    "no set of its kind has been measured as it wore, and the sheet has no expected_life_bores for it"
)
SETTLED = 0.15
"""A running set teaches others from this share of its depth on."""


@dataclass(frozen=True, kw_only=True)
class GuessOff:
    """The sheet's guess of a life against the lives since."""

    low: float
    high: float
    lives: int
    inside: int
    median: float
    """Of the lives that ended worn."""


@dataclass(frozen=True, kw_only=True, eq=False)
class KindKnown:
    """What is known of one kind; `wear` and `paths` by set."""

    kind: StoneKind
    reading: Repeatability | None
    wear: Mapping[str, SetWear]
    paths: Mapping[str, Path]
    break_in: BreakIn

    @property
    def depth_um(self) -> float:
        """What a new set may wear off at its thinnest place."""
        return (self.kind.new_thickness_mm - self.kind.least_thickness_mm) * 1000

    @property
    def reading_um(self) -> float:
        """What one reading repeats to; 0 where it is not known."""
        return 0.0 if self.reading is None else self.reading.sd_um

    @cached_property
    def expected(self) -> WearPrior | None:
        """What is expected of a set that is new."""
        return self.prior()

    @cached_property
    def new_life(self) -> Life | None:
        """The life of a set of this kind from new; None where nothing tells of it."""
        if self.expected is None:
            return None
        depth = self.depth_um - self.break_in.pending(0.0)
        return remaining_life(Worn(depth_um=depth, depth_sd_um=self.depth_um * NEW_VARIES), self.expected)

    def prior(self, *, without: str | None = None) -> WearPrior | None:
        """Return what is expected of a set: from the others of its kind, else from a person's guess."""
        if without not in self._priors:
            self._priors[without] = self._learned(without)
        return self._priors[without]

    @cached_property
    def _priors(self) -> dict[str | None, WearPrior | None]:
        return {}

    def _learned(self, without: str | None) -> WearPrior | None:
        others = [
            path
            for name, path in self.paths.items()
            if name != without and path.wear_um.sum() > SETTLED * self.depth_um
        ]
        if others:
            return learn_prior(others, depth_um=self.depth_um, reading_um=self.reading_um)
        guess = self.kind.expected_life_bores
        return None if guess is None else guessed_prior(*guess, depth_um=self.depth_um)


WearOf = Callable[[Mapping[str, Any], Callable[[str], SetWear]], dict[str, SetWear]]


def know_kind(kind: StoneKind, rounds: Mapping[str, Rounds], *, each: WearOf | None = None) -> KindKnown:
    """Learn what the sets of a kind that were measured teach.

    `each` returns the wear of every set, given what it rests on: worked out now, or as it was.
    """
    repeats = [one.repeats_um for one in rounds.values() if len(one.repeats_um)]
    reading = repeatability(
        [one.thickness for one in rounds.values()], np.concatenate(repeats) if repeats else ()
    )

    def wear_of(name: str) -> SetWear:
        return set_wear(rounds[name].thickness, reading)

    if each is None:
        wear = {name: wear_of(name) for name in rounds}
    else:
        wear = each({name: (one, reading) for name, one in rounds.items()}, wear_of)
    life = _life_bores(kind, wear)
    early = {name: one for name, one in wear.items() if one.bores[0] == 0 and one.plain.all()}
    broken = NO_BREAK_IN
    if life is not None and early:
        broken = break_in(
            [one.bores for one in early.values()], [one.mean_um for one in early.values()], life_bores=life
        )
    paths = {name: found for name, one in wear.items() if (found := path_of(one, broken)) is not None}
    return KindKnown(kind=kind, reading=reading, wear=wear, paths=paths, break_in=broken)


def _life_bores(kind: StoneKind, wear: Mapping[str, SetWear]) -> float | None:
    """Return about how long a set lasts: by the rates seen, else by the guess."""
    rates = [
        one.mean_um[-1] / (one.bores[-1] - one.bores[0])
        for one in wear.values()
        if one.bores[-1] > one.bores[0] and one.mean_um[-1] > 0
    ]
    if rates:
        depth = (kind.new_thickness_mm - kind.least_thickness_mm) * 1000
        return float(depth / np.median(rates))
    guess = kind.expected_life_bores
    return None if guess is None else float(np.sqrt(guess[0] * guess[1]))


def path_of(wear: SetWear, broken: BreakIn) -> Path | None:
    """Return the plain increments of a set's thinnest place, less what the break-in took."""
    taken = broken.extra_um - broken.still(wear.bores)
    worn = -np.diff(wear.thinnest_um) - np.diff(taken)
    plain = wear.plain & np.isfinite(worn)
    if not plain.any() or worn[plain].sum() <= 0:
        return None
    return Path(bores=np.diff(wear.bores)[plain], wear_um=worn[plain])


@dataclass(frozen=True, kw_only=True, eq=False)
class SetLife:
    """The life that a set has left, from what it stands on."""

    life: Life
    depth_um: float
    """Left at the thinnest place at the last measurement, or of a new set."""
    since_um: float
    """Expected to have worn off it since."""
    prior: WearPrior
    worn: Worn
    """What its own path says, as the life is made from it."""
    reading_um: float

    def until(self, depths_um: ArrayLike, shares: ArrayLike) -> Floats:
        """Return the bores within which shares of such sets have worn so much of the depth left."""
        return remaining_bores(self.worn, self.prior, depths_um, shares, reading_um=self.reading_um)


def life_of(known: KindKnown, name: str, *, bores: float, fed: FeedWear | None = None) -> SetLife | None:
    """Return what a set has left; None where nothing tells how its kind wears.

    Parameters
    ----------
    known : KindKnown
        Its kind.
    name : str
        The set; it may never have been measured: then it is taken to have begun as thick as its kind.
    bores : float
        What it has honed by now.
    fed : FeedWear or None
        Mean wear since the last measurement, as the feed position tells it.
    """
    prior, wear = known.prior(without=name), known.wear.get(name)
    if prior is None:
        return None
    path = known.paths.get(name)
    measured = 0.0 if wear is None else float(wear.bores[-1])
    thin = (
        known.depth_um if wear is None else float(wear.thinnest_um[-1]) - known.kind.least_thickness_mm * 1000
    )
    since = max(bores - measured, 0.0)
    rate = prior.median_rate if path is None else path.rate
    gone = rate * since if fed is None else fed.wear_um
    depth = thin - known.break_in.pending(measured)  # what of the break-in is to come goes beside the line
    sd = known.reading_um if wear is not None else known.depth_um * NEW_VARIES
    if fed is not None and since > 0:
        depth, since = depth - fed.wear_um, 0.0
        sd = float(np.sqrt(sd**2 + fed.sd_um**2 + (MOVED_SD * fed.wear_um) ** 2))
    worn = Worn(
        bores=0.0 if path is None else float(path.bores.sum()),
        wear_um=0.0 if path is None else float(path.wear_um.sum()),
        depth_um=depth,
        depth_sd_um=sd,
        bores_since=since,
    )
    # what of the break-in is not known sits in the path once, where a reading sits twice
    reading = float(np.hypot(known.reading_um, known.break_in.sd_um / np.sqrt(2)))
    life = remaining_life(worn, prior, reading_um=reading)
    return SetLife(life=life, depth_um=thin, since_um=gone, prior=prior, worn=worn, reading_um=reading)


NEW_VARIES = 0.005
"""How much new sets differ in depth where they were not measured, as a share: common practice, no source."""
MOVED_SD = 0.05
"""How far wear told by the feed position is off, as a share: it takes in bearings and heat too."""


def guess_off(kind: StoneKind, lives: list[float]) -> GuessOff | None:
    """Return how a person's guess compares with the lives that ended worn since."""
    guess = kind.expected_life_bores
    if guess is None or not lives:
        return None
    inside = sum(guess[0] <= life <= guess[1] for life in lives)
    return GuessOff(
        low=guess[0], high=guess[1], lives=len(lives), inside=inside, median=float(np.median(lives))
    )

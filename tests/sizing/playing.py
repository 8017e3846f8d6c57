"""Play hidden bores to the end: by the advice, by full knowledge, and by half of what is left each time."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import hypot

import numpy as np
from scipy.stats import norm

from cellmon.simulate.hand import HiddenBore, gauged, honed
from cellmon.sizing.advice import Stage, Step, next_round
from cellmon.sizing.bounds import Caution
from cellmon.sizing.learned import (
    Learned,
    after_readings,
    after_strokes,
    begin,
    taught_reach,
    taught_scatter,
    with_new_stones,
)
from cellmon.sizing.left import GaugeDoubt, Limits, left_of
from cellmon.sizing.prior import RatePrior, ScatterPrior, SeenRate, prior_from
from cellmon.sizing.strokes import Reach, expected_reach

DEPTHS = [15.0, 70.0, 125.0]
LIMITS = Limits(lower=0.0, target=12.0, upper=24.0)
FINE_RATIO = RatePrior(middle_um=0.3, log_sd=0.5)
"""Fine stones against rough ones before any were seen: about three tenths, wide."""
MOST_ROUNDS = 40


@dataclass(frozen=True, kw_only=True)
class Played:
    rounds: int
    end: Step
    lost: bool
    below: bool
    widest: float
    tightest: float
    risk: float = 0.0
    """Chance that one of its rounds had lost it, worked out from what is hidden."""


def doubt_of(bore: HiddenBore) -> GaugeDoubt:
    return GaugeDoubt(common_um=bore.gauge_um / 2, reading_um=float(np.hypot(bore.gauge_um, 0.03)))


def truth_of(bore: HiddenBore, stage: int) -> tuple[RatePrior, ScatterPrior, Reach]:
    rate = RatePrior(middle_um=bore.rate_um[stage], log_sd=0.0)
    scatter = ScatterPrior(values=np.array([bore.scatter]), weights=np.ones(1))
    return rate, scatter, Reach(mean=bore.reach, sd=np.full(bore.reach.shape, 0.05))


@dataclass
class Shop:
    """What one hand's earlier bores taught: rates by stage, scatter and reach."""

    seen: dict[int, list[SeenRate]] = field(default_factory=lambda: {0: [], 1: []})
    scatter: ScatterPrior = field(default_factory=ScatterPrior)
    reach: dict[int, Reach] = field(
        default_factory=lambda: {0: expected_reach(DEPTHS), 1: expected_reach(DEPTHS)}
    )

    def keep(self, known: Learned, stage: int) -> None:
        self.seen[stage].append(
            SeenRate(stones=f"stage {stage}", middle_um=known.middle_um, log_sd=known.log_sd)
        )
        self.scatter = taught_scatter(known)
        self.reach[stage] = taught_reach(known, expected_reach(DEPTHS))

    def rate(self, stage: int, guess: RatePrior | None = None) -> RatePrior:
        return prior_from(self.seen[stage], stones=f"stage {stage}", guess=guess)


def play(
    bore: HiddenBore,
    rng: np.random.Generator,
    *,
    knows: bool = False,
    stages: int = 1,
    leaves_um: float = 0.0,
    caution: Caution | None = None,
    keeps_test: bool = False,
    shop: Shop | None = None,
) -> Played:
    """Play one bore by the advice; with `knows` the removal, the reach and the scatter are told."""
    doubt, um = doubt_of(bore), bore.um
    read = gauged(bore, um, rng)
    variance = doubt.reading_um**2 / read.shape[1]
    shop = Shop() if shop is None else shop
    known_all = truth_of(bore, 0) if knows else (shop.rate(0), shop.scatter, shop.reach[0])
    rate, scatter, reach = known_all
    known = begin(read.mean(axis=1), variance, reach=reach, rate=rate, scatter=scatter)
    stage, test, worked = 0, not knows or keeps_test, False
    rounds, risk = 0, 0.0
    while rounds < MOST_ROUNDS:
        left = left_of(read, LIMITS, doubt)
        while True:
            leaves = leaves_um if stage < stages - 1 else 0.0
            at = Stage(test=test, leaves_um=leaves)
            told = next_round(known, left, LIMITS, doubt, stage=at, caution=caution)
            if told.step is not Step.FINER:
                break
            if worked:
                shop.keep(known, stage)
            stage, test, worked = stage + 1, not knows or keeps_test, False
            rate = truth_of(bore, 1)[0] if knows else shop.rate(1, fine_rate(known))
            known = with_new_stones(known, rate=rate, reach=reach if knows else shop.reach[1])
        if not told.strokes.total:
            break
        risk += chance_of_loss(bore, um, told.strokes.counts, stage=stage)
        um = honed(bore, um, told.strokes.counts, rng, stage=stage)
        read = gauged(bore, um, rng)
        known = after_readings(after_strokes(known, told.strokes), read.mean(axis=1), variance)
        test, worked = False, True
        rounds += 1
    if worked:
        shop.keep(known, stage)
    return ended(rounds, told.step, um, risk=risk)


class Luck:
    """A generator whose rounds come out so many deviations off, the planes alike."""

    def __init__(self, deviations: float) -> None:
        self.deviations = deviations

    def standard_normal(self, size: int | None = None) -> float | np.ndarray:
        return self.deviations if size is None else np.zeros(size)


def chance_of_loss(bore: HiddenBore, um: np.ndarray, counts: np.ndarray, *, stage: int) -> float:
    """Return the chance that a round carries a place past the upper limit, by bisection on its luck.

    What the planes scatter alone (a sixth) is added to what the round scatters.
    """
    wide, low, high = hypot(1.0, 1 / 6), -8.0, 8.0
    if honed(bore, um, counts, Luck(high * wide), stage=stage).max() <= LIMITS.upper:
        return 0.0
    for _ in range(14):
        middle = (low + high) / 2
        lost = honed(bore, um, counts, Luck(middle * wide), stage=stage).max() > LIMITS.upper
        low, high = (low, middle) if lost else (middle, high)
    return float(norm.sf((low + high) / 2))


def fine_rate(known: Learned) -> RatePrior:
    """Return what is expected of finer stones never seen: a share of what the rough ones took."""
    return RatePrior(
        middle_um=known.middle_um * FINE_RATIO.middle_um,
        log_sd=float(np.hypot(known.log_sd, FINE_RATIO.log_sd)),
    )


def ended(rounds: int, step: Step, um: np.ndarray, *, risk: float = 0.0) -> Played:
    return Played(
        risk=risk,
        rounds=rounds,
        end=step,
        lost=bool(um.max() > LIMITS.upper),
        below=bool(um.min() < LIMITS.lower),
        widest=float(um.max()),
        tightest=float(um.min()),
    )


def play_halves(bore: HiddenBore, rng: np.random.Generator, *, first: int = 5) -> Played:
    """Play one bore by half of what is left at the widest place each time, full strokes only."""
    doubt, um = doubt_of(bore), bore.um
    read = gauged(bore, um, rng)
    per, step = None, Step.UNSETTLED
    rounds, risk = 0, 0.0
    while rounds < MOST_ROUNDS:
        left = left_of(read, LIMITS, doubt)
        to_go = LIMITS.target - left.wide.um
        if left.proven_above_lower or left.proven_too_wide or to_go <= 0:
            step = Step.FINISHED if left.proven_above_lower and left.proven_below_upper else Step.CANNOT
            break
        strokes = first if per is None else max(int(to_go / 2 / per), 1)
        before = read.mean()
        risk += chance_of_loss(bore, um, np.array([strokes, 0, 0]), stage=0)
        um = honed(bore, um, [strokes, 0, 0], rng)
        read = gauged(bore, um, rng)
        per = max((read.mean() - before) / strokes, 0.05)
        rounds += 1
    return ended(rounds, step, um, risk=risk)

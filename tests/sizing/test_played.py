"""Hidden bores played to the end: nothing lost, and how many rounds against full knowledge.

The bores are our own design (`cellmon.simulate.hand`): rates over a factor of 10, tapers 0 to 25 µm, scatters
5 to 35 %, gauges of 0.3 to 1.5 µm. The rules were tuned on seeds 1 and 2; the figures are of other seeds.
"""

from __future__ import annotations

import numpy as np
import pytest

from cellmon.simulate.hand import hidden_bore, next_bore
from cellmon.sizing.advice import Step
from cellmon.stats.intervals import chi_square_quantile
from tests.sizing.playing import LIMITS, Played, Shop, play, play_halves

FRESH = 20261127
LEAVES_UM = 12.0


def lone(player, *, count, seed):
    """Play bores of which each is the first of its hand."""
    played = []
    for i in range(count):
        bore = hidden_bore(np.random.default_rng([seed, i]), target_um=LIMITS.target)
        played.append(player(bore, np.random.default_rng([seed, i, 1])))
    return played


def blocks(*, count, seed, **terms):
    """Play blocks of four bores, rough and fine stones; what one bore taught is kept for the next."""
    played = []
    for i in range(count):
        rng, luck, shop = np.random.default_rng([seed, i]), np.random.default_rng([seed, i, 1]), Shop()
        first = hidden_bore(rng, target_um=LIMITS.target)
        bores = [first, *(next_bore(first, rng, target_um=LIMITS.target) for _ in range(3))]
        played += [play(b, luck, stages=2, leaves_um=LEAVES_UM, shop=shop, **terms) for b in bores]
    return played


def told(name: str, played: list[Played]) -> float:
    """Print the figures of a run and return the mean of its rounds."""
    rounds = np.array([p.rounds for p in played])
    lost, done = sum(p.lost for p in played), sum(p.end is Step.FINISHED for p in played)
    bound = chi_square_quantile(0.95, 2 * lost + 2) / 2
    print(
        f"{name}: {len(played)} bores, lost {lost} (95 % bound {bound:.1f}), finished {done}, "
        f"rounds {rounds.mean():.2f} +- {rounds.std() / len(rounds) ** 0.5:.2f}, most {rounds.max()}, "
        f"finished below the lower limit {sum(p.below and p.end is Step.FINISHED for p in played)}, "
        f"widest place past the target {np.mean([p.widest > LIMITS.target for p in played]):.2f}, "
        f"chance of loss worked out {np.mean([p.risk for p in played]):.1e} a bore"
    )
    return float(rounds.mean())


def test_no_bore_of_a_few_is_lost():
    played = lone(play, count=12, seed=3)
    assert not any(p.lost for p in played)
    assert sum(p.end is Step.FINISHED for p in played) >= 11


@pytest.mark.slow
def test_of_a_thousand_lone_bores_none_is_lost():
    advised = lone(play, count=1000, seed=FRESH)
    rounds = told("advice", advised)
    knowing = told("full knowledge", lone(lambda b, r: play(b, r, knows=True), count=1000, seed=FRESH))
    testing = told(
        "full knowledge, first round a test",
        lone(lambda b, r: play(b, r, knows=True, keeps_test=True), count=1000, seed=FRESH),
    )
    halves = lone(play_halves, count=1000, seed=FRESH)
    told("half of what is left", halves)
    print(
        f"rounds against full knowledge {rounds / knowing:.2f}, "
        f"with the same test round {rounds / testing:.2f}"
    )
    assert sum(p.lost for p in advised) == 0
    assert sum(p.lost for p in halves) > 10
    assert sum(p.end is Step.FINISHED for p in advised) >= 970


@pytest.mark.slow
def test_of_a_thousand_bores_in_blocks_none_is_lost():
    advised = blocks(count=250, seed=FRESH + 1)
    rounds = told("advice, blocks of four", advised)
    knowing = told("full knowledge", blocks(count=250, seed=FRESH + 1, knows=True))
    tested = blocks(count=250, seed=FRESH + 1, knows=True, keeps_test=True)
    testing = told("full knowledge, first round a test", tested)
    later = np.mean([p.rounds for i, p in enumerate(advised) if i % 4])
    base = np.mean([p.rounds for i, p in enumerate(tested) if i % 4])
    print(
        f"rounds against full knowledge {rounds / knowing:.2f}, "
        f"with the same test round {rounds / testing:.2f}, "
        f"from the second bore on {later / base:.2f}"
    )
    assert sum(p.lost for p in advised) == 0

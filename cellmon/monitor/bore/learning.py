"""What the rounds of a bore taught, and what those of the bores before it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from cellmon.monitor.bore.form import form_held, worst
from cellmon.monitor.bore.rounds import Round, rounds_in
from cellmon.monitor.bore.terms import Terms
from cellmon.monitor.view import View
from cellmon.records import Kind, SizingReadings
from cellmon.sizing.advice import NextRound, Stage, next_round
from cellmon.sizing.learned import (
    Learned,
    after_readings,
    after_strokes,
    begin,
    taught_reach,
    taught_scatter,
    with_new_stones,
)
from cellmon.sizing.left import Left
from cellmon.sizing.outcome import Outcome, outcome
from cellmon.sizing.prior import RatePrior, ScatterPrior, SeenRate, prior_from
from cellmon.sizing.strokes import Reach

Floats = NDArray[np.float64]

BORES_BACK = 4
"""So many bores before teach what is expected of the stones."""
FINE_TO_ROUGH = RatePrior(middle_um=0.3, log_sd=0.5)
"""Finer stones never seen take about three tenths of what coarser ones took, wide (*common practice*)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Memory:
    """What bores before this one taught."""

    seen: tuple[SeenRate, ...] = ()
    scatter: ScatterPrior | None = None
    reach: Reach | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class Story:
    """A bore's rounds, and what was known and advised after each of them."""

    rounds: tuple[Round, ...]
    known: Learned
    left: Left
    advice: tuple[NextRound, ...]
    outcomes: tuple[Outcome | None, ...]
    stones: str
    rates: tuple[SeenRate, ...]


class _Replay:
    """A bore's rounds gone through once more, in order."""

    def __init__(self, terms: Terms, rounds: Sequence[Round], memory: Memory, *, stones: str) -> None:
        self.terms, self.memory, self.stones = terms, memory, stones
        self.reach = memory.reach or terms.reach
        self.known = begin(
            *_planes(terms, rounds[0]),
            reach=self.reach,
            rate=prior_from(memory.seen, stones=stones),
            scatter=memory.scatter,
        )
        self.worked = False
        self.rates: list[SeenRate] = []

    def fit(self, stones: str) -> None:
        """Put stones into the hone; the same ones change nothing."""
        if stones == self.stones:
            return
        self.put_by()
        rates = (*self.memory.seen, *self.rates)
        self.known = _restoned(self.known, rates, stones, self.reach)
        self.stones, self.worked = stones, False

    def put_by(self) -> None:
        """Keep what these stones were seen to take off."""
        if self.worked:
            known = self.known
            self.rates.append(SeenRate(stones=self.stones, middle_um=known.middle_um, log_sd=known.log_sd))

    def advise(self, standing: Round) -> NextRound:
        """Return what is advised after a round."""
        terms, left = self.terms, self.terms.left(standing)
        form = form_held(terms, standing)
        stage = Stage(
            test=not self.worked,
            leaves_um=terms.leaves_um(self.stones),
            short_top=not terms.in_the_way("top"),
            short_bottom=not terms.in_the_way("bottom"),
            warmth_um=terms.warmth_um(standing),
            along=worst(form, round_=False),
            around=worst(form, round_=True),
        )
        return next_round(self.known, left, terms.limits, terms.doubt, stage=stage)

    def hone(self, one: Round) -> None:
        """Learn from a round that was measured."""
        self.known = after_readings(after_strokes(self.known, one.strokes), *_planes(self.terms, one))
        self.worked = self.worked or one.strokes.total > 0


def story_of(
    terms: Terms,
    rounds: Sequence[Round],
    memory: Memory,
    *,
    next_stones: str | None = None,
    advised: bool = True,
) -> Story:
    """Replay a bore: what each round taught, what was advised before the next, and whether it came so.

    Without `advised` only what was learned is worked out.
    """
    first = rounds[0].stones or (rounds[1].stones if len(rounds) > 1 else next_stones or "")
    replay = _Replay(terms, rounds, memory, stones=terms.first_stones(first))
    advice: list[NextRound] = []
    outcomes: list[Outcome | None] = [None]
    for before, one in pairwise(rounds):
        replay.fit(one.stones or replay.stones)
        if advised:
            advice.append(replay.advise(before))
            outcomes.append(_outcome(terms, advice[-1], before, one))
        replay.hone(one)
    replay.fit(next_stones or replay.stones)
    if advised:
        advice.append(replay.advise(rounds[-1]))
    replay.put_by()
    return Story(
        rounds=tuple(rounds),
        known=replay.known,
        left=terms.left(rounds[-1]),
        advice=tuple(advice),
        outcomes=tuple(outcomes),
        stones=replay.stones,
        rates=tuple(replay.rates),
    )


def _outcome(terms: Terms, told: NextRound, before: Round, one: Round) -> Outcome:
    um, variance = _planes(terms, one)
    return outcome(
        told,
        one.strokes,
        before_um=_planes(terms, before)[0],
        after_um=um,
        reading_sd_um=float(np.sqrt(np.nanmax(variance))),
    )


def memory_of(view: View, terms: Terms, part: str, bore: str) -> Memory:
    """Return what the last bores of this drawing before this one taught, this part's own among them."""
    rows: SizingReadings = view.session.rows(Kind.SIZING)
    first = view.sheet.parts[0].number
    rows = rows.select(np.array([(n or first) == terms.part.number for n in rows.part_number], dtype=bool))
    began: dict[tuple[str, str], np.datetime64] = {}
    for i in range(len(rows)):
        began.setdefault((str(rows.part[i]), str(rows.bore[i])), rows.at[i])
    mine = began.get((part, bore))
    others = [
        k
        for k, at in sorted(began.items(), key=lambda k: k[1])
        if k != (part, bore) and (mine is None or at < mine)
    ]
    memory = Memory()
    for other_part, other_bore in others[-BORES_BACK:]:
        rounds = rounds_in(rows.select(rows.part == other_part), terms.sheet, other_bore)
        if len(rounds) < 2 or not all(np.isfinite(r.um).any() for r in rounds):
            continue
        story = story_of(terms, rounds, memory, advised=False)
        memory = Memory(
            seen=(*memory.seen, *story.rates),
            scatter=taught_scatter(story.known),
            reach=taught_reach(story.known, terms.reach),
        )
    return memory


def _planes(terms: Terms, one: Round) -> tuple[Floats, Floats]:
    um = terms.referred(one)
    read = np.isfinite(um)
    count = read.sum(axis=1)
    with np.errstate(invalid="ignore"):
        mean = np.where(read, um, 0.0).sum(axis=1) / np.where(count, count, np.nan)
    if np.isnan(mean).any() and one.number == 0:
        mean = np.where(np.isnan(mean), np.nanmean(mean), mean)
    return mean, terms.doubt.reading_um**2 / np.maximum(count, 1) + np.where(count, 0.0, 25.0)


def _restoned(known: Learned, rates: Sequence[SeenRate], new: str, reach: Reach) -> Learned:
    own = [one for one in rates if one.stones == new]
    guess = RatePrior(
        middle_um=known.middle_um * FINE_TO_ROUGH.middle_um,
        log_sd=float(np.hypot(known.log_sd, FINE_TO_ROUGH.log_sd)),
    )
    return with_new_stones(known, rate=prior_from(own, stones=new, guess=guess), reach=reach)

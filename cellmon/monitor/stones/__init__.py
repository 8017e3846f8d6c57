"""Stones: every set's life and wear, what is left of it, what to do, and lots compared."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from cellmon import lengths
from cellmon.errors import NotFound
from cellmon.local import number
from cellmon.monitor.answers import Answer
from cellmon.monitor.stones.kinds import GuessOff, KindKnown, guess_off
from cellmon.monitor.stones.lots import LotCompared, SetLived, lots_compared
from cellmon.monitor.stones.now import StonesNow, stones_now
from cellmon.monitor.stones.sets import StoneSetOf, set_of
from cellmon.monitor.view import View
from cellmon.words import say, to_say, voice

if TYPE_CHECKING:
    from cellmon.monitor.stone_plan import StonePlan

__all__ = ["StoneSetOf", "StonesAnswer", "stones"]

CAUTIONS = (
    to_say(
        "Advice only. The machine maker's manual, site procedures, local law and codes, and qualified people "
        "come first. Stop if unsure. This software does not make a machine safe."
    ),
    to_say(
        "Stone change: stop, collapse the tool, wait for standstill; lock out, release stored energy, verify "
        "zero. Never withdraw or insert an expanded or turning tool; no hands or gloves near what turns."
    ),
    to_say("Chipped stone: stop, account for every fragment, inspect the parts, wear eye protection."),
    to_say("Dressing and truing make abrasive and metal dust: wet or extracted; read the safety data sheet."),
)


BY_AREA = to_say("parts differ: a bore counts by its area against the sheet's first part's")
BY_AREA_ONLY = to_say(
    "parts differ: a bore counts by its area against the sheet's first part's; stock_um of a part would "
    "count in too"
)
OVER = to_say(
    "lots are compared, and how stones dull is learned, by the shifts that are over; the one that runs "
    "counts once it is"
)


@dataclass(frozen=True, kw_only=True)
class KindOf:
    """What the sets of one kind teach."""

    kind: str
    sets_measured: int
    lives: int
    """Sets that ended worn or chipped."""
    repeatability_um: float | None
    repeatability_from: str | None
    break_in_bores: float | None
    break_in_um: float | None
    guess_off: GuessOff | None
    sentence: str


@dataclass(frozen=True, kw_only=True, eq=False)
class StonesAnswer(Answer):
    """Every set, the kinds and the lots; fitted sets first."""

    sentence: str
    sets: tuple[StoneSetOf, ...]
    kinds: tuple[KindOf, ...]
    lots: tuple[LotCompared, ...]
    notes: tuple[str, ...]
    """What was assumed of the cell as a whole."""
    cautions: tuple[str, ...]
    whole_until: datetime | None = None
    """Bores made from then on, in the shift that runs, are not counted yet where lots are compared and it is
    learned how stones dull; None where no shift was before it."""
    plan: StonePlan | None = None
    """Changes to come, what to order by when, and what a bore costs; None: see `why_not`."""


def stones(view: View, *, stone_set: str | None = None, now: StonesNow | None = None) -> StonesAnswer:
    """Answer with all that is known of the stones; of one set where it is named.

    Raises
    ------
    NotFound
        When no set has that name.
    """
    now = stones_now(view) if now is None else now
    if stone_set is not None and stone_set not in now.names:
        known = ", ".join(now.names[-8:]) or say("none yet")
        raise NotFound(say("no stone set {name}; there are {known}", name=stone_set, known=known))
    told = [set_of(now, stone_set)] if stone_set else now.each("stone sets", now.names, partial(set_of, now))
    sets = sorted(told, key=_place)
    return StonesAnswer(
        **view.head(),
        sentence=_sentence(sets),
        sets=tuple(sets),
        kinds=tuple(_kind(now, known) for known in now.kinds.values()),
        lots=_lots(now),
        notes=_notes(now),
        whole_until=None if view.whole_until is None else view.local(view.whole_until),
        cautions=tuple(map(say, CAUTIONS)),
    )


def _place(one: StoneSetOf) -> tuple[int, str, float]:
    order = {"fitted": 0, "off": 1, "new": 2, "ended": 3}
    newest = 0.0 if one.fitted_at is None else -one.fitted_at.timestamp()
    return order[one.state], (one.spindle or "") if one.state == "fitted" else "", newest


def _sentence(sets: list[StoneSetOf]) -> str:
    fitted = [s for s in sets if s.state == "fitted"]
    if not fitted:
        if len(sets) == 1:
            return f"{sets[0].stone_set}: {sets[0].why}."
        return say("No stone set is logged as fitted.")
    pressing = [s for s in fitted if s.advice != "run"] or fitted
    return " ".join(f"{s.spindle}, {s.stone_set}: {say(str(s.advice))}. {s.why}" for s in pressing)


def _kind(now: StonesNow, known: KindKnown) -> KindOf:
    mine = [name for name in now.names if now.is_of(name, known) and now.ended(name)]
    worn = [now.bores(name) for name in mine if now.ended(name) == "worn"]
    reading, broken = known.reading, known.break_in
    off = guess_off(known.kind, worn)
    return KindOf(
        kind=known.kind.id,
        sets_measured=len(known.wear),
        lives=len(mine),
        repeatability_um=None if reading is None else reading.sd_um,
        repeatability_from=None if reading is None else reading.from_,
        break_in_bores=broken.bores or None,
        break_in_um=broken.extra_um or None,
        guess_off=off,
        sentence=_of_kind(known, off, len(mine)),
    )


def _of_kind(known: KindKnown, off: GuessOff | None, lives: int) -> str:
    guess = known.kind.expected_life_bores
    if known.expected is None:
        return say(
            "{kind}: nothing tells yet how long a set lasts; expected_life_bores would.", kind=known.kind.id
        )
    if off is None:
        rests = say("what is measured") if known.paths else say("a person's guess")
        if guess is not None:
            rests = say(
                "{rests} (guess: {low} to {high} bores)",
                rests=rests,
                low=number(guess[0]),
                high=number(guess[1]),
            )
        if lives:
            return say(
                "{kind}: no set has ended worn, only chipped yet; lives rest on {rests}.",
                kind=known.kind.id,
                rests=rests,
            )
        return say(
            "{kind}: no set has ended worn yet; lives rest on {rests}.", kind=known.kind.id, rests=rests
        )
    return say(
        "{kind}: the sheet guesses {low} to {high} bores; {inside} of the {lives} sets worn since ended in "
        "that range, half of them by {median}.",
        kind=known.kind.id,
        low=number(off.low),
        high=number(off.high),
        inside=off.inside,
        lives=off.lives,
        median=number(off.median),
    )


def _lots(now: StonesNow) -> tuple[LotCompared, ...]:
    """Return the lots, compared by the bores of the shifts that are over: the same until another is."""
    lived = tuple(_lived(now, name) for name in now.names if now.stays(name))
    return now.view.carry(f"lots {voice()} {lengths.shown()}", lived, lambda: lots_compared(lived))


def _lived(now: StonesNow, name: str) -> SetLived:
    received, known = now.received.get(name), now.known(name)
    path = None if known is None else known.paths.get(name)
    return SetLived(
        stone_set=name,
        lot=None if received is None else received.lot,
        maker=None if received is None else received.maker,
        kind=now.log.kinds.get(name),
        bores=now.bores(name, now.view.whole_until if now.log.logged_of(name).is_fitted else None),
        ended=now.ended(name),
        rate=None if path is None else path.rate,
    )


def _notes(now: StonesNow) -> tuple[str, ...]:
    """Say which sets and spindles the log leaves in doubt, and how bores were counted."""
    found = list(now.log.notes)
    for name in now.unknown:
        found.append(
            say("set {name} was measured and is neither received nor fitted: it teaches nothing", name=name)
        )
    found += [
        say("{spindle} hones without a stone set in the log: its wear is not known", spindle=spindle)
        for spindle in _bare(now)
    ]
    weights = set(now.honed.weight.values())
    if len(weights) > 1:
        stocked = all(p.stock_um for p in now.view.sheet.parts)
        found.append(say(BY_AREA) if stocked else say(BY_AREA_ONLY))
    if now.view.whole_until is not None and now.names:
        found.append(say(OVER))
    return tuple(found)


def _bare(now: StonesNow) -> list[str]:
    """Return the spindles with bores now, and no set fitted."""
    fitted = {stay.spindle for stay in now.running()}
    day = np.timedelta64(1, "D")
    bare = []
    for spindle in now.honed.made:
        moments = np.array([now.view.as_of - day, now.view.as_of], dtype="datetime64[us]")
        before, after = now.honed.upto(spindle, moments)
        if after > before and spindle not in fitted and spindle in now.view.sheet.spindle_ids:
            bare.append(spindle)
    return bare

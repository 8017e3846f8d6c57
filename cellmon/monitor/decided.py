"""What was decided in a stretch of time about the cell as a whole, as one person tells the next.

Limits, sheets, set-ups and signed figures: answers to signals, parts on hold and doubts are told where they
are listed.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from itertools import groupby

from cellmon.monitor.journal import KINDS, about_of
from cellmon.monitor.proposals import ALONE, PROPOSE, REFUSE, SIGN
from cellmon.monitor.view import View
from cellmon.shifts import ShiftOf, to_utc
from cellmon.store import Decision
from cellmon.words import say

TOLD = ("freeze", PROPOSE, SIGN, REFUSE, ALONE, "adopt", "set-up")
FEW = 3
"""So many things that were decided at once are named; the journal names all."""


@dataclass(frozen=True, kw_only=True)
class Decided:
    """What one person decided at once, for one reason: `about` names each thing, `words` says it whole."""

    at: datetime
    by: str
    kind: str
    about: tuple[str, ...]
    why: str
    words: str


def decided_in(view: View, shift: ShiftOf | None) -> tuple[Decided, ...]:
    """Return what was decided in a shift up to the moment of the answer, oldest first."""
    if shift is None:
        return ()
    start, end = to_utc(shift.starts), to_utc(shift.ends)
    found = [one for one in view.session.decisions(*TOLD) if start <= one.at < end]
    at_once = groupby(found, key=lambda one: (one.at, one.kind, one.by, one.why))
    return tuple(_told(view, list(those)) for _, those in at_once)


def _told(view: View, those: list[Decision]) -> Decided:
    one, about = those[0], tuple(about_of(each) for each in those)
    named = ", ".join(about[:FEW])
    rest = len(about) - FEW
    if rest > 0:
        named = say("{named} and {count} more", named=named, count=rest)
    what = say("{what}: {about}", what=say(KINDS[one.kind]), about=named)
    words = say("{what}, by {by}: {why}", what=what, by=one.by, why=one.why.rstrip("."))
    return Decided(at=view.local(one.at), by=one.by, kind=one.kind, about=about, why=one.why, words=words)

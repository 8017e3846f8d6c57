"""Signals as pages list them: the newest that wait, were answered or withdrawn, and one by its name."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from cellmon.monitor.answers import Answer
from cellmon.monitor.signal_register import ANSWERED, WITHDRAWN
from cellmon.monitor.signals import Signal, explained
from cellmon.monitor.state import spindles_known
from cellmon.monitor.view import View
from cellmon.words import say

MOST = 50
"""So many of each sort are listed where nobody says how many."""


@dataclass(frozen=True, kw_only=True)
class Newest:
    """How many signals there are of a sort, and the newest of them, newest first."""

    count: int
    signals: tuple[Signal, ...]


@dataclass(frozen=True, kw_only=True)
class Listed(Answer):
    """The newest signals of each sort; of those that wait some with their causes."""

    waiting: Newest
    answered: Newest
    withdrawn: Newest
    named: Signal | None
    """The one that was asked for by its name, as it stands among them; None where there is none."""
    caution: str


@dataclass(frozen=True, kw_only=True)
class Waiting(Answer):
    """How many signals wait for an answer, and of each spindle, with those of the cell, the newest."""

    count: int
    spindles: Mapping[str, Newest]


@dataclass(frozen=True, kw_only=True)
class Named(Answer):
    """One signal with the causes that may explain it; None where there is none of that name."""

    signal: Signal | None
    decided: int = 0
    """The number of the newest decision that it knows."""


def signals_listed(view: View, *, most: int = MOST, why: int = 0, named: str | None = None) -> Listed:
    """Answer with so many of the newest signals of each sort; of so many that wait it is asked why."""
    from cellmon.diagnosis.evidence import CAUTION

    told = {s.id: s for s in explained(view, view.waiting[: min(why, most)])}
    waiting = tuple(told.get(s.id, s) for s in view.waiting[:most])
    answered, withdrawn = (view.aged(view.register.pile(name)) for name in (ANSWERED, WITHDRAWN))
    wanted = None if named is None else view.register.signals.get(named)
    return Listed(
        **view.head(),
        waiting=Newest(count=len(view.waiting), signals=waiting),
        answered=Newest(count=len(answered), signals=answered[:most]),
        withdrawn=Newest(count=len(withdrawn), signals=withdrawn[:most]),
        named=None if wanted is None else told.get(wanted.id, view.aged([wanted])[0]),
        caution=say(CAUTION),
    )


def waiting_signals(view: View, *, most: int = 0) -> Waiting:
    """Answer with how many signals wait for an answer, and so many of each spindle's newest.

    Causes have only those that are the newest of their own spindle, or of the cell.
    """
    found = {spindle: view.aged(view.register.waiting_at(spindle)) for spindle in spindles_known(view)}
    shown = {spindle: _told(view, signals[:most]) for spindle, signals in found.items()}
    spindles = {
        spindle: Newest(count=len(signals), signals=shown[spindle]) for spindle, signals in found.items()
    }
    return Waiting(**view.head(), count=len(view.waiting), spindles=spindles)


def _told(view: View, signals: Sequence[Signal]) -> tuple[Signal, ...]:
    """Return signals, newest first, those with causes that are the newest of their spindle or of the cell."""
    newest = {s.stream.spindle: s for s in reversed(signals)}
    told = {s.id: s for s in explained(view, newest.values())}
    return tuple(told.get(s.id, s) for s in signals)


def signal_named(view: View, name: str) -> Named:
    """Answer with one signal, and why it may be."""
    found = view.register.signals.get(name)
    signal = None if found is None else explained(view, view.aged([found]))[0]
    return Named(**view.head(), signal=signal, decided=view.decided)

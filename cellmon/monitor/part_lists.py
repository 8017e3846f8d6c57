"""The hold lists a block stands on though their signal was over, or had not begun, when it was made."""

from __future__ import annotations

from collections.abc import Collection, Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice

import numpy as np

from cellmon.judged import Bores
from cellmon.monitor.hold import held_by
from cellmon.monitor.hold_extended import Extension, extensions_of, within
from cellmon.monitor.part_signals import Disposition, PartSignal, reaching
from cellmon.monitor.signal_register import WAIT, held_of
from cellmon.monitor.signals import WAITING, Signal
from cellmon.monitor.view import View
from cellmon.records import Flags, Times

MOST = 50
"""So many of the lists are told, the newest; nobody reads more, and years without answers leave thousands."""


@dataclass(frozen=True, kw_only=True)
class OnLists:
    """On how many further hold lists a block stands, and the newest of their signals, newest first."""

    count: int
    newest: tuple[PartSignal, ...]


def part_lists(
    view: View, bores: Bores, last: Mapping[str, Disposition], *, named: Collection[str]
) -> OnLists:
    """Return the signals, but for those `named` already, on whose hold list some bores of a block stand.

    A list runs on while its signal waits for an answer; one that a person extended holds what they named,
    answered or not.
    """
    charted = bores.select(bores.charted == 1)
    if not len(charted):
        return OnLists(count=0, newest=())
    known, longer = view.register.signals, extensions_of(view)
    running = _Running(view, charted)
    extended = dict(_extended(view, charted, {i: x for i, x in longer.items() if i not in named}))
    apart = {id_ for id_ in (*named, *longer) if id_ in known and running.holds(known[id_])}
    newest = list(islice(running.newest(but=apart), MOST))
    flags = extended | {s.id: running.flags(s) for s in newest}
    found = [
        reaching(known[id_], tuple(charted.bore[mine].tolist()), last.get(id_)) for id_, mine in flags.items()
    ]
    return OnLists(
        count=running.count() - len(apart) + len(extended),
        newest=tuple(sorted(found, key=lambda s: (s.raised_at, s.id), reverse=True))[:MOST],
    )


class _Running:
    """The lists that run on because their signal waits, as far as they hold bores of one block."""

    def __init__(self, view: View, charted: Bores) -> None:
        self._waiting, self._made = view.register.pile(WAIT), charted.measured_at
        self._begun: Mapping[Hashable, Times] = view.carry_each(
            "begun lists", view.register.holding, lambda of: _begun(view.register.holding[of])
        )
        told = {of: held_by(pile[0], charted, view.sheet) for of, pile in view.register.holding.items()}
        self._told: Mapping[Hashable, Flags] = {of: mine for of, mine in told.items() if mine.any()}
        self._until = {of: self._made[mine].max() for of, mine in self._told.items()}

    def count(self) -> int:
        """Return how many there are."""
        counted = (np.searchsorted(self._begun[of], at, side="right") for of, at in self._until.items())
        return int(sum(counted))

    def holds(self, signal: Signal) -> bool:
        """Return whether the list of a signal is one of them."""
        until = self._until.get(held_of(signal))
        if until is None or signal.state not in WAITING or signal.change is None:
            return False
        return bool(signal.change.began <= until)

    def newest(self, *, but: Collection[str]) -> Iterator[Signal]:
        """Yield their signals, but for some, newest first."""
        return (s for s in reversed(self._waiting) if s.id not in but and self.holds(s))

    def flags(self, signal: Signal) -> Flags:
        """Return which of the bores the list of one of them holds."""
        assert signal.change is not None
        mine: Flags = self._told[held_of(signal)] & (self._made >= signal.change.began)
        return mine


def _begun(pile: Sequence[Signal]) -> Times:
    """Return since when each of some signals holds what is made, ascending."""
    return np.sort(np.array([s.change.began for s in pile if s.change], dtype="datetime64[us]"))


def _extended(
    view: View, charted: Bores, longer: Mapping[str, tuple[Extension, ...]]
) -> Iterator[tuple[str, Flags]]:
    """Yield the signals whose list a person extended, each with the bores it holds, where it holds some."""
    for id_, given in longer.items():
        signal = view.register.signals.get(id_)
        if signal is None or signal.change is None:
            continue
        waits = signal.state in WAITING
        start = signal.change.began if waits else charted.measured_at.max() + 1
        mine = within(charted.measured_at, start, given) & held_by(signal, charted, view.sheet)
        if mine.any():
            yield id_, mine

"""The hold lists a block stands on though their signal was over, or had not begun, when it was made."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

import numpy as np

from cellmon.judged import Bores
from cellmon.monitor.hold import held_by
from cellmon.monitor.hold_extended import Extension, extensions_of, within
from cellmon.monitor.part_signals import Disposition, PartSignal, reaching
from cellmon.monitor.signal_register import WAIT
from cellmon.monitor.signals import WAITING, Signal
from cellmon.monitor.view import View
from cellmon.records import Flags, Stream, Times
from cellmon.sheet import Sheet


def part_lists(
    view: View, bores: Bores, last: Mapping[str, Disposition], *, named: Collection[str]
) -> tuple[PartSignal, ...]:
    """Return the signals, but for those `named` already, on whose hold list some bores of a block stand.

    A list runs on while its signal waits for an answer; one that a person extended holds what they named,
    answered or not.
    """
    charted = bores.select(bores.charted == 1)
    if not len(charted):
        return ()
    longer = extensions_of(view)
    signals = [one for one in _signals(view, longer) if one.id not in named and one.change is not None]
    if not signals:
        return ()
    mine = _held(signals, charted.measured_at, longer) & _told_of(signals, charted, view.sheet)
    held = {flags.tobytes(): tuple(charted.bore[flags].tolist()) for flags in np.unique(mine, axis=0)}
    known: dict[str, tuple[Signal, PartSignal]] = view.carry("signals of hold lists", None, dict)
    found = []
    for i in np.flatnonzero(mine.any(axis=1)).tolist():
        signal, named_bores, became = signals[i], held[mine[i].tobytes()], last.get(signals[i].id)
        before, one = known.get(signal.id, (None, None))
        if one is None or before != signal or one.bores != named_bores or one.disposition != became:
            one = reaching(signal, named_bores, became)
            known[signal.id] = (signal, one)
        found.append(one)
    return tuple(sorted(found, key=lambda s: (s.raised_at, s.id), reverse=True))


def _held(
    signals: Sequence[Signal], measured_at: Times, longer: Mapping[str, tuple[Extension, ...]]
) -> Flags:
    """Return which moments the hold of each signal covers, a row a signal."""
    begun = np.array([s.change.began for s in signals if s.change], dtype="datetime64[us]")
    waiting = np.array([s.state in WAITING for s in signals])
    held: Flags = (measured_at >= begun[:, None]) & waiting[:, None]
    for i, signal in enumerate(signals) if longer else ():
        held[i] |= within(measured_at, measured_at.max() + 1, longer.get(signal.id, ()))
    return held


def _told_of(signals: Sequence[Signal], charted: Bores, sheet: Sheet) -> Flags:
    """Return which bores each signal tells of, a row a signal: signals are many and streams few."""
    found: dict[tuple[Stream, bool], Flags] = {}
    for signal in signals:
        of = (signal.stream, signal.kind == "gauge")
        if of not in found:
            found[of] = held_by(signal, charted, sheet)
    return np.array([found[signal.stream, signal.kind == "gauge"] for signal in signals])


def _signals(view: View, longer: Collection[str]) -> Sequence[Signal]:
    """Return the signals that wait, and those whose hold was extended."""
    register = view.register
    extended = (register.signals[id_] for id_ in longer if id_ in register.signals)
    return [*register.pile(WAIT), *(s for s in extended if s.state == "answered")]

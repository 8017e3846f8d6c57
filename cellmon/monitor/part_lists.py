"""The hold lists a block stands on though their signal was over, or had not begun, when it was made."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping

from cellmon.judged import Bores
from cellmon.monitor.hold import held_by
from cellmon.monitor.hold_extended import Extension, extensions_of, within
from cellmon.monitor.judge.told import is_kept, told_outlines
from cellmon.monitor.part_signals import Disposition, PartSignal, reaching, waits
from cellmon.monitor.signals import WAITING, Signal
from cellmon.monitor.signals_told import answers_given, standing_each
from cellmon.monitor.view import View
from cellmon.records import Flags, Stream
from cellmon.shifts import to_utc


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
    longer, found = extensions_of(view), []
    told_of: dict[tuple[Stream, bool], Flags] = {}  # signals are many and streams few
    for signal in _signals(view, charted, longer):
        if signal.id in named or signal.change is None:
            continue
        extended = longer.get(signal.id, ())
        held = within(charted.measured_at, to_utc(signal.change.earliest_at), extended)
        if signal.state not in WAITING:
            held &= within(charted.measured_at, charted.measured_at.max() + 1, extended)
        of = (signal.stream, signal.kind == "gauge")
        if of not in told_of:
            told_of[of] = held_by(signal, charted, view.sheet)
        mine = held & told_of[of]
        if mine.any():
            found.append(reaching(signal, tuple(charted.bore[mine].tolist()), last.get(signal.id)))
    return tuple(sorted(found, key=lambda s: (s.raised_at, s.id), reverse=True))


def _signals(view: View, bores: Bores, longer: Mapping[str, tuple[Extension, ...]]) -> Iterable[Signal]:
    """Return the signals begun before some bores were made that wait, and those whose hold was extended."""
    if not is_kept(view.session, view.rules, until=view.as_of):
        return view.signals
    answers = answers_given(view.session)
    end = None if longer else bores.measured_at.max()
    begun = told_outlines(view.session, end=end, until=view.as_of)
    return standing_each(view, (o for o in begun if o.id in longer or waits(answers.get(o.id))), answers)

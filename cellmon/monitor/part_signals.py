"""The signals a block belongs to, and what became of it under each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from cellmon.judged import Bores
from cellmon.monitor.hold import held_by
from cellmon.monitor.judge.told import is_kept
from cellmon.monitor.signal_register import STANDING
from cellmon.monitor.signals import Response, Signal
from cellmon.monitor.view import View
from cellmon.shifts import to_utc


@dataclass(frozen=True, kw_only=True)
class Disposition:
    """What became of a block that was held: as what, who says so, when, and why."""

    signal: str
    as_: str
    by: str
    at: datetime
    why: str


@dataclass(frozen=True, kw_only=True)
class PartSignal:
    """A signal whose change may reach a block: which of its bores are held, and what became of them."""

    id: str
    words: str
    kind: str
    state: str
    raised_at: datetime
    began_at: datetime
    last_at: datetime
    bores: tuple[str, ...]
    response: Response | None
    disposition: Disposition | None


def dispositions_of(view: View, serial: str) -> tuple[Disposition, ...]:
    """Return everything that was said of one block, in the order in which it was."""
    return tuple(
        Disposition(signal=d.subject, as_=d.body["as"], by=d.by, at=view.local(d.at), why=d.why)
        for d in view.session.decisions("release", naming=serial)
        if serial in d.body["parts"]
    )


@dataclass(frozen=True, kw_only=True)
class Audited:
    """What an instrument or an eye looked for on one bore of a block, and when."""

    what: str
    bore: str
    at: np.datetime64


def part_signals(
    view: View, bores: Bores, given: Sequence[Disposition], audits: Sequence[Audited] = ()
) -> tuple[PartSignal, ...]:
    """Return the signals whose change may reach one of some bores of a block, newest first.

    A signal of audits tells of the bores that were audited in its time, whenever they were made.
    """
    charted = bores.select(bores.charted == 1)
    if not len(charted):
        return ()
    last = {one.signal: one for one in given}
    found = []
    for signal in _signals_around(view, charted, [one.at for one in audits]):
        if signal.change is None:
            continue
        start, end = to_utc(signal.change.earliest_at), to_utc(signal.last_at)
        within = (charted.measured_at >= start) & (charted.measured_at <= end)
        looked = [a.bore for a in audits if a.what == signal.stream.feature and start <= a.at <= end]
        within |= np.isin(charted.bore.astype(str), looked)
        mine = within & held_by(signal, charted, view.sheet)
        if mine.any():
            found.append(reaching(signal, tuple(charted.bore[mine].tolist()), last.get(signal.id)))
    return tuple(sorted(found, key=lambda s: (s.raised_at, s.id), reverse=True))


def reaching(signal: Signal, bores: tuple[str, ...], became: Disposition | None) -> PartSignal:
    """Return a signal that reaches some bores of a block; it has a change."""
    assert signal.change is not None
    return PartSignal(
        id=signal.id,
        words=signal.words,
        kind=signal.kind,
        state=signal.state,
        raised_at=signal.raised_at,
        began_at=signal.change.at,
        last_at=signal.last_at,
        bores=bores,
        response=signal.response,
        disposition=became,
    )


def _signals_around(view: View, bores: Bores, audited: Sequence[np.datetime64]) -> Sequence[Signal]:
    """Return the signals that may tell of some bores, those kept of their time where what is kept holds."""
    if not is_kept(view.session, view.rules, until=view.as_of):
        return view.register.pile(STANDING)
    moments, known = [*bores.measured_at, *audited], view.register.signals
    return [known[id_] for id_, _ in view.session.told(start=min(moments), end=max(moments)) if id_ in known]

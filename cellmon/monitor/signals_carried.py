"""The register of signals, carried from state to state: made whole once, then only what is told otherwise."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from cellmon import lengths
from cellmon.monitor.judge.outlines import Outline, outline_of
from cellmon.monitor.judge.told import FEW, by_then, is_kept, kept_outlines, told_outlines
from cellmon.monitor.renewed import BASIS
from cellmon.monitor.signal_register import STANDING, Register, raised_since
from cellmon.monitor.signals import Signal
from cellmon.monitor.signals_told import signal_of, withdrawn_of
from cellmon.monitor.view import View
from cellmon.records import Stream
from cellmon.store import Announcement, Decision
from cellmon.words import voice


@dataclass(frozen=True, kw_only=True, eq=False)
class _Carried:
    """The register of a state, and what it was made of."""

    register: Register
    change: int
    """The last change of what is told that it knows of."""
    as_of: np.datetime64
    ahead: frozenset[str]
    """Signals that last beyond that moment, or were announced after it."""
    answers: Mapping[str, Decision]
    running: Mapping[Stream, str]
    """Of streams of like parts, the part whose limits held."""


def register(view: View) -> Register:
    """Return every signal without its age, in its order; `View.register` keeps it.

    Only what is told, answered or gone otherwise than in the state before is read, made and put anew.
    """
    if view.named is not None:
        return Register().changed(_made(view, map(outline_of, view.named.groups), view.named.gone))
    known = _carried(view)
    changes = None if known is None or view.as_of < known.as_of else _changed(view, known)
    if known is None or changes is None or len(changes) > FEW:
        found = _whole(view)
    else:
        found = _moved(view, known, changes)
    view.carried[_name()] = (view.rules.now.version, found)
    return found.register


def signals_since(view: View, start: np.datetime64 | None) -> tuple[Signal, ...]:
    """Build the signals raised from a moment on that were not withdrawn, newest first, without causes.

    Where no register is carried, those raised before are not put together: what comes again after an
    answer comes later than it.
    """
    if start is None or _carried(view) is not None or not is_kept(view.session, view.rules, until=view.as_of):
        return tuple(view.aged(raised_since(view.register.pile(STANDING), start)))
    told = (o for o in told_outlines(view.session, start=start, until=view.as_of) if o.lead.at >= start)
    found = Register().changed(_made(view, told, ()))
    return tuple(view.aged(found.pile(STANDING)))


def _carried(view: View) -> _Carried | None:
    """Return what was made before, in the words and lengths of now and under the sheet in force."""
    return view.carry(_name(), view.rules.now.version, lambda: None)


def _name() -> str:
    return f"register {voice()} {lengths.shown()}"


def _changed(view: View, known: _Carried) -> dict[str, int]:
    """Return the signals that may stand otherwise than in an earlier state, each with its last change."""
    names = dict.fromkeys(known.ahead, 0)
    for stream, number in known.running.items():
        if view.part_of(stream).number != number:
            names |= dict.fromkeys((s.id for s in known.register.of_one(stream)), 0)
    if view.answers is not known.answers:
        names |= {id_: 0 for id_, answer in view.answers.items() if known.answers.get(id_) != answer}
    return names | view.session.told_changes(after=known.change)


def _whole(view: View) -> _Carried:
    gone = view.session.announced_as(view.session.announced_untold())
    change = view.session.newest_told_change()
    return _put(view, Register(), kept_outlines(view.session), gone, names=(), change=change)


def _moved(view: View, known: _Carried, changes: Mapping[str, int]) -> _Carried:
    names = set(changes) - {BASIS}
    told = kept_outlines(view.session, among=names) if names else []
    gone = view.session.announced_as(names.difference(one.id for one in told))
    change = max(known.change, *changes.values(), 0)
    return _put(view, known.register, told, gone, names=names, change=change)


def _put(
    view: View,
    before: Register,
    told: Collection[Outline],
    gone: Collection[Announcement],
    *,
    names: Iterable[str],
    change: int,
) -> _Carried:
    """Return what is carried of a register with signals of some names put as they stand."""
    made = _made(view, by_then(view.session, told, view.as_of), gone)
    found = before.changed({**dict.fromkeys(names), **made})
    last = {one.id: one.until for one in told} | {one.id: _at(one) for one in gone}
    return _Carried(
        register=found,
        change=change,
        as_of=view.as_of,
        ahead=frozenset(id_ for id_, until in last.items() if until > view.as_of),
        answers=view.answers,
        running={stream: view.part_of(stream).number for stream in found.of_like_parts()},
    )


def _made(view: View, told: Iterable[Outline], gone: Iterable[Announcement]) -> dict[str, Signal]:
    answers, by_now = view.answers, (one for one in gone if _at(one) <= view.as_of)
    found = {one.id: withdrawn_of(view, one, answers.get(one.id)) for one in by_now}
    return found | {one.id: signal_of(view, one, answers.get(one.id)) for one in told}


def _at(announced: Announcement) -> np.datetime64:
    return np.datetime64(announced.body["at"], "us")

"""The parts to contain after a signal, and what became of each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from cellmon.drift.change import change_point
from cellmon.errors import NotFound, WrongUsage
from cellmon.judged import Bores
from cellmon.monitor.answers import Answer
from cellmon.monitor.audited_bores import is_audited
from cellmon.monitor.hold_extended import Extension, earliest, extend, extensions, within
from cellmon.monitor.meanwhile import must_have_known
from cellmon.monitor.signals import Signal
from cellmon.monitor.stream_bores import holds, value_column
from cellmon.monitor.view import View
from cellmon.records import Flags, Numbers, Stream, Times, Verdict
from cellmon.records.words import FEATURE_WORDS
from cellmon.sheet import Sheet
from cellmon.shifts import to_utc
from cellmon.store import Session
from cellmon.words import say, to_say


@dataclass(frozen=True, kw_only=True)
class HeldPart:
    """One bore of one part on a hold list."""

    part: str
    bore: str
    measured_at: datetime
    verdict: Verdict
    disposition: str | None


@dataclass(frozen=True, kw_only=True)
class Hold(Answer):
    """The hold list of one signal, in making order."""

    signal: str
    from_part: str | None
    to_part: str | None
    parts: tuple[HeldPart, ...]
    caution: str
    extended: tuple[Extension, ...] = ()
    decided: int = 0
    """The number of the newest decision that it knows."""


CAUTION = to_say(
    "Advice only. The machine's manual, the site's procedures, local law and qualified people come "
    "first; stop if unsure. Parts can be hot, heavy and sharp-edged."
)
NOT_READ = to_say(
    "The verdicts are those of the bore gauge, which does not read what this signal is about: they do not "
    "clear these parts."
)
LOOKED_BEFORE = np.timedelta64(90, "m")
LEAST_BEFORE, MOST_BEFORE = 5, 15
"""Blocks before the range of a change that tell where the level was."""
DISPOSITIONS = (to_say("released"), to_say("reworked"), to_say("scrapped"), to_say("concession"))


def hold(view: View, signal: str) -> Hold:
    """Answer with the parts to contain: from the earliest plausible start to the latest made.

    The start is that of the 95 % range of the change; for a gauge the last good master check; for another
    instrument the block of the spindle that it had before it, which was made earlier than it was audited.

    Raises
    ------
    NotFound
        When there is no such signal.
    """
    found, extended = _signal(view, signal), extensions(view, signal)
    start = _began(found)
    bores = _told_of(view, found, since=earliest(start, extended) - LOOKED_BEFORE)
    start = _first_plausible(view, found, bores, start)
    bores = bores.select(within(bores.measured_at, start, extended))
    became = dispositions(view.session)
    parts = tuple(
        HeldPart(
            part=bores.part[i],
            bore=bores.bore[i],
            measured_at=view.local(bores.measured_at[i]),
            verdict=bores.verdict_of(i),
            disposition=became.get((signal, bores.part[i])),
        )
        for i in range(len(bores))
    )
    return Hold(
        **view.head(),
        signal=signal,
        from_part=parts[0].part if parts else None,
        to_part=parts[-1].part if parts else None,
        parts=parts,
        caution=f"{say(NOT_READ)} {say(CAUTION)}" if _unread(view, found) else say(CAUTION),
        extended=extended,
        decided=view.decided,
        why_not={} if found.change else {"from_part": say("withdrawn: it has no beginning any more")},
    )


def extend_hold(
    view: View,
    session: Session,
    signal: str,
    *,
    from_part: str,
    to_part: str | None,
    by: str,
    why: str,
    at: np.datetime64,
) -> None:
    """Journal that a hold begins with an earlier part, or holds a stretch before it as well.

    Raises
    ------
    NotFound
        When there is no such signal, or no bore of a part that it tells of.
    WrongUsage
        When no reason is given, the range runs backwards, or everything in it is held already.
    """
    found, extended = _signal(view, signal), extensions(view, signal)
    named = [view.session.bores(part=p, end=view.as_of) for p in (from_part, to_part) if p is not None]
    since = min([_began(found), *(at for one in named for at in one.measured_at)]) - LOOKED_BEFORE
    bores = _told_of(view, found, since=earliest(since, extended))
    start = _first_plausible(view, found, bores, _began(found))
    held = within(bores.measured_at, start, extended)
    extend(
        session, signal, held=held, bores=bores, from_part=from_part, to_part=to_part, by=by, why=why, at=at
    )


def _signal(view: View, signal: str) -> Signal:
    found = view.register.signals.get(signal)
    if found is None:
        raise NotFound(say("no signal {signal}; `cellmon signals` lists them", signal=signal))
    return found


def _began(signal: Signal) -> np.datetime64:
    return to_utc(signal.change.earliest_at if signal.change else signal.raised_at)


def _told_of(view: View, signal: Signal, *, since: np.datetime64) -> Bores:
    """Return the charted bores since then that a signal tells of."""
    bores = view.session.bores(start=since, end=view.as_of, charted=True)
    return bores.select(held_by(signal, bores, view.sheet))


def _first_plausible(view: View, signal: Signal, bores: Bores, start: np.datetime64) -> np.datetime64:
    """Return when the first bore was measured that may be affected, dated bore by bore within the range.

    The range of a change is told in subgroups; a large move can be dated to the bore. Never earlier than
    the range begins.
    """
    limit = view.baseline(signal.stream)
    if signal.kind not in ("level", "drift") or signal.change is None or limit is None:
        return start
    values, when = _by_part(view, signal.stream, bores)
    before, until = when < start, when <= to_utc(signal.raised_at)
    if before.sum() < LEAST_BEFORE or not (until & ~before).any():
        return start
    usual = float(values[before][-MOST_BEFORE:].mean())
    sd = limit.learned["bore_sd"] if limit.learned else limit.sigma
    z = (values[until] - usual) / sd
    found = change_point(z)
    return max(start, when[until][found.earliest])


def _by_part(view: View, stream: Stream, bores: Bores) -> tuple[Numbers, Times]:
    """Return the mean figure of each block's bores of a stream, and when the first was measured, in order."""
    figures = getattr(bores, value_column(view, stream))
    known = np.isfinite(figures)
    parts, number = np.unique(bores.part[known].astype(str), return_inverse=True)
    mean = np.bincount(number, weights=figures[known]) / np.bincount(number)
    first = np.full(len(parts), np.iinfo(np.int64).max)
    np.minimum.at(first, number, bores.measured_at[known].astype(np.int64))
    order = np.argsort(first, kind="stable")
    return mean[order], first[order].view("datetime64[us]")


def held_by(signal: Signal, bores: Bores, sheet: Sheet) -> Flags:
    """Return which bores a signal tells of; a gauge found off measured every part."""
    if signal.kind == "gauge":
        return np.ones(len(bores), dtype=bool)
    return holds(signal.stream, bores, sheet)


def _unread(view: View, signal: Signal) -> bool:
    """Return whether a signal is about what another instrument reads, or an eye finds."""
    return any(is_audited(view, s) or s.feature not in FEATURE_WORDS for s in signal.streams)


def dispositions(session: Session) -> dict[tuple[str, str], str]:
    """Return what was last said of each held part, by signal and part."""
    return {(d.subject, part): d.body["as"] for d in session.decisions("release") for part in d.body["parts"]}


def release(
    view: View,
    session: Session,
    signal: str,
    *,
    parts: Sequence[str],
    as_: str,
    by: str,
    why: str,
    at: np.datetime64,
    knew: int | None = None,
) -> None:
    """Journal what became of held parts.

    Raises
    ------
    WrongUsage
        When a word is not one of the four, or no part is named, or one that is not on the hold list.
    DecidedAlready
        When it was said of one of them after the decision numbered `knew`.
    """
    if not parts:
        raise WrongUsage(say("name the parts of {signal} that are {became}", signal=signal, became=as_))
    if as_ not in DISPOSITIONS:
        raise WrongUsage(say("{given}: parts are {known}", given=repr(as_), known=", ".join(DISPOSITIONS)))
    strange = sorted(set(parts) - {one.part for one in hold(view, signal).parts})
    if strange:
        parts_named = ", ".join(strange[:5])
        raise WrongUsage(say("not on the hold list of {signal}: {parts}", signal=signal, parts=parts_named))
    said = {part: one for one in session.decisions("release", subject=signal) for part in one.body["parts"]}
    known = sorted(set(parts) & set(said), key=lambda part: -said[part].id)
    must_have_known(view.rules, (said[part] for part in known), knew, ", ".join(known[:5]))
    body = {"parts": sorted(set(parts)), "as": as_}
    session.decide(at=at, by=by, why=why, kind="release", subject=signal, body=body)

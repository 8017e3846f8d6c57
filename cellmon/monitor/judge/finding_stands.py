"""Where shares of bores with a finding stand, so that a batch is held against its own shifts alone.

The limits of a finding on a spindle rest on its first 25 shifts that were no signal. Once those are
known, what a shift calls depends on itself and on the shifts called right before it, not on the rest.
A finding that is younger is looked at from its first shift on.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache, partial

import numpy as np

from cellmon.monitor.judge.audit_calls import share_calls
from cellmon.monitor.judge.audit_plan import FINDING, FINDINGS
from cellmon.monitor.judge.audits import audited_spindles
from cellmon.monitor.judge.budget import budget
from cellmon.monitor.judge.calls import Called
from cellmon.monitor.judge.findings import (
    LOOKED_AT,
    USUAL,
    FindingSeries,
    Later,
    finding_names,
    finding_series,
    rows_of,
    shift_starts,
    whole_counts,
)
from cellmon.monitor.rules import Rules
from cellmon.records import Findings, Kind, Stream
from cellmon.sheet import Sheet
from cellmon.store import Session


@dataclass(frozen=True, kw_only=True)
class Stand:
    """One finding on one spindle: what its limits rest on, and its shifts, microseconds."""

    finding: str
    spindle: str
    looked: bool
    """Whether rows of nought say which bores were looked at."""
    seen: int
    of: int
    """Bores with the finding, of so many, in the shifts the limits rest on; 0 where it is not watched."""
    since: int
    """The first shift whose limit rests on them; of a young one its first of all."""
    last: int
    """The newest shift."""
    young: bool = False
    """Whether its limits do not rest on the same shifts for good yet."""

    def stream(self, rules: Rules) -> Stream:
        """Return the stream that its calls carry."""
        number = rules.now.sheet.part().number
        return Stream(part_number=number, spindle=self.spindle or None, bore=None, feature=self.finding)


@dataclass(frozen=True, kw_only=True)
class Shares:
    """What shares of bores with a finding called, and where each stands.

    Without `stands` what is judged as one is no shift, and all are looked at whole.
    """

    calls: tuple[Called, ...] = ()
    stands: tuple[Stand, ...] | None = None


def held_by(sheet: Sheet) -> tuple[object, ...]:
    """Return what of a sheet decides which shares of bores called before it too, but for its shifts."""
    shares, number = budget(sheet), sheet.part().number
    spindles = (None, *sheet.spindle_ids)
    planned = [shares.family_at(FINDINGS, FINDING, number, s) is not None for s in spindles]
    return (
        number,
        [(s.id, tuple(s.bores)) for s in sheet.spindles],
        planned,
        "shift" in sheet.subgroups.within,
    )


def shares_of(session: Session, rules: Rules) -> Shares:
    """Return what every share of bores called, from the whole history."""
    series = finding_series(session, rules)
    calls = tuple(call for one in series for call in share_calls(one))
    if not all(version.by_shift for version in rules.versions):
        return Shares(calls=calls)
    return Shares(calls=calls, stands=tuple(map(_stand, series)))


def shares_since(
    session: Session,
    rules: Rules,
    known: Shares,
    *,
    units: Sequence[np.datetime64] = (),
    fresh: Findings | None = None,
) -> Shares:
    """Return what shares call now, where bores of some units are others or findings came, and no more."""
    fresh = None if fresh is None else whole_counts(fresh)
    moments = [*units, *([] if fresh is None else fresh.at)]
    if not moments:
        return known
    if known.stands is None or (fresh is not None and not _continues(known.stands, fresh, rules)):
        return shares_of(session, rules)
    begin = shift_starts(rules, np.array([min(moments)], dtype="datetime64[us]"))[0]
    calls, stands = list[Called](), list[Stand]()
    read = lru_cache(lambda start: Later.since(session, start))
    for stand in known.stands:
        mine = [c for c in known.calls if c.stream == stand.stream(rules)]
        if not (stand.of or stand.young) or (stand.looked and fresh is None):
            calls, stands = [*calls, *mine], [*stands, stand]
            continue
        found = (
            _from_first(rules, read, stand, begin)
            if stand.young
            else _since(session, rules, read, stand, mine, begin)
        )
        if found is None:
            return shares_of(session, rules)
        calls, stands = [*calls, *found.calls], [*stands, *(found.stands or ())]
    return Shares(calls=tuple(calls), stands=tuple(stands))


def _from_first(
    rules: Rules, read: Callable[[np.datetime64], Later], stand: Stand, begin: np.datetime64
) -> Shares:
    """Return a young share looked at from its first shift on."""
    first = min(begin, np.datetime64(stand.since, "us"))
    series = read(first).series(rules, stand.stream(rules), looked=stand.looked)
    return Shares(calls=tuple(share_calls(series)), stands=(_stand(series),))


def _since(
    session: Session,
    rules: Rules,
    read: Callable[[np.datetime64], Later],
    stand: Stand,
    known: Sequence[Called],
    begin: np.datetime64,
) -> Shares | None:
    """Return one share held against its limit from a shift on; None where that takes the whole history."""
    last = np.datetime64(stand.last, "us")
    window = min(begin, last)  # the newest shift was held against the bores that a shift usually has
    kept = sorted((c for c in known if c.earliest_at < window), key=lambda c: c.at)
    if kept and not _over_before(session, rules, stand, kept[-1], window):
        window = kept.pop().earliest_at
    if window < np.datetime64(stand.since, "us"):
        return None
    held = partial(Later.series, rules=rules, stream=stand.stream(rules), looked=stand.looked, past=stand)
    series = held(read(window))
    if series.watch is None or not len(series.shift_start) or series.shift_start[-1] < last:
        return None
    newest = series.shift_start[-1]
    if series.found[-1] > series.watch.most[-1]:  # else it is no signal, however many bores it usually has
        series = replace(series, usual=held(read(newest - USUAL)).usual)
    stand = replace(stand, last=int(newest.astype(np.int64)))
    return Shares(calls=(*kept, *share_calls(series)), stands=(stand,))


def _over_before(session: Session, rules: Rules, stand: Stand, call: Called, moment: np.datetime64) -> bool:
    """Return whether a shift that is no signal lies between a call and the shift begun at a moment."""
    if call.last_at >= moment:
        return False
    run = shift_starts(rules, np.array([call.last_at], dtype="datetime64[us]"))[0]
    if not stand.looked:
        return session.made_between(stand.spindle, run, moment)
    rows = whole_counts(session.rows(Kind.FINDINGS, start=call.last_at, end=moment))
    mine = rows_of(rows, stand.stream(rules), rules.now.sheet)
    return bool((shift_starts(rules, rows.at[mine]) > run).any())


def _continues(stands: Sequence[Stand], fresh: Findings, rules: Rules) -> bool:
    """Return whether findings that came are of kinds known, and looked at as those were."""
    known = {(s.finding, s.spindle): s for s in stands}
    looked = {s.finding: s.looked for s in stands}
    spindles = audited_spindles(fresh, rules.now.sheet)
    for name, spindle, count in zip(finding_names(fresh), spindles, fresh.count, strict=True):
        if (name, spindle) not in known or (count == 0 and not looked[name]):
            return False
    return True


def _stand(series: FindingSeries) -> Stand:
    """Return where a series stands."""
    watch, starts = series.watch, series.shift_start.astype(np.int64)
    looked, spindle = series.of == LOOKED_AT, series.stream.spindle or ""
    stand = Stand(
        finding=series.stream.feature, spindle=spindle, looked=looked, seen=0, of=0, since=0, last=0
    )
    if watch is None:
        return stand
    stand = replace(stand, since=int(starts[watch.fixed_from or 0]), last=int(starts[-1]))
    if watch.fixed_from is None:
        return replace(stand, young=True)
    return replace(stand, seen=int(watch.seen[-1]), of=int(watch.of[-1]))

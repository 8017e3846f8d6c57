"""The signals that a batch can reach, put together anew; all others stand as they are kept.

A call joins a signal only while that is not over for longer than `AGAIN`. So where the calls from a moment
on differ from those known, only signals that lasted until then, or nearly, can come out otherwise, and to
put those together again from all their calls gives what all calls of the history would.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import chain

import numpy as np

from cellmon.monitor.judge.audit_calls import finding_calls
from cellmon.monitor.judge.calls import (
    OTHER_INSTRUMENTS,
    SHARE_OF,
    Called,
    detector_calls,
    gauge_calls,
    in_order,
    misrouted_since,
    part_before,
    routing_calls,
)
from cellmon.monitor.judge.groups import Group
from cellmon.monitor.judge.joining import AGAIN, SHARED, begins, grouped
from cellmon.monitor.judge.naming import KEEPS_NAME, name_of, named
from cellmon.monitor.judge.told import Basis, groups_named, groups_since, key_of, span_of
from cellmon.monitor.rules import END, Rules
from cellmon.store import Session

EDGE = np.timedelta64(2, "D")
"""So far before a unit begins a subgroup of it may seem to lie at most."""
FROM_AUDITS = frozenset({*OTHER_INSTRUMENTS})


@dataclass(frozen=True, kw_only=True)
class Touched:
    """What was judged anew since signals were put together."""

    units: tuple[np.datetime64, ...] = ()
    """Units of which the calls may be others."""
    since: np.datetime64 | None = None
    """From when on other rows than readings came that call by themselves: checks of gauges."""

    @property
    def begin(self) -> np.datetime64 | None:
        """The first moment that may be judged otherwise."""
        moments = [*self.units, *([] if self.since is None else [self.since])]
        return min(moments) if moments else None


@dataclass(frozen=True, kw_only=True)
class Reached:
    """Signals as they were kept and as they are now, both under their names."""

    before: tuple[Group, ...]
    after: tuple[Group, ...]
    basis: Basis


def reached(session: Session, rules: Rules, basis: Basis, touched: Touched) -> Reached:
    """Put together anew what the calls that changed can reach."""
    begin = touched.begin
    if begin is None:
        return Reached(before=(), after=(), basis=basis)
    shares = tuple(finding_calls(session, rules))
    change = _change(session, rules, basis, touched, begin, shares)
    if change.since is None:
        return Reached(before=(), after=(), basis=replace(basis, shares=shares))
    far = min([change.since, *(begins(c) - AGAIN for c in change.later(session))])
    names: set[str] = set()
    while True:
        before = [*groups_since(session, far), *groups_named(session, names)]
        before = list({g.id: g for g in before}.values())
        groups = grouped(in_order(change.applied(before)), rules.now.sheet)
        more = _bear_others_names(basis, [*before, *groups]) - {g.id for g in before}
        if not more:
            break
        names |= more
    after = _named(session, before, groups)
    moved = {name: span for name, span in basis.moved.items() if name not in {g.id for g in before}}
    moved |= {g.id: span_of([g]) for g in after if g.id != name_of(g.lead)}
    return Reached(
        before=tuple(before),
        after=after,
        basis=replace(basis, shares=shares, moved=moved),
    )


@dataclass(frozen=True, kw_only=True)
class Change:
    """Calls that are no more, and those that are new or others, by what stays of each."""

    gone: frozenset[str]
    come: Mapping[str, Called]
    since: np.datetime64 | None
    """Before it no call joins its signal otherwise; None where nothing changed."""

    def applied(self, groups: Iterable[Group]) -> list[Called]:
        """Return the calls of some signals as they are now, with all that came."""
        calls = {key_of(c): c for c in chain.from_iterable(g.calls for g in groups)}
        return list(({k: c for k, c in calls.items() if k not in self.gone} | dict(self.come)).values())

    def later(self, session: Session) -> list[Called]:
        """Return the calls, as they are now, that join their signal anew."""
        assert self.since is not None
        return [c for c in self.applied(groups_since(session, self.since)) if c.at >= self.since]


def _change(
    session: Session,
    rules: Rules,
    basis: Basis,
    touched: Touched,
    begin: np.datetime64,
    shares: Sequence[Called],
) -> Change:
    """Return how the calls that may have changed differ from those known."""
    sheet = rules.now.sheet
    run = misrouted_since(session, begin)
    known = [c for g in groups_since(session, min(begin - EDGE, run)) for c in g.calls]
    old, new = list(basis.shares), list(shares)
    for call in known:
        if call.at >= {"gauge": begin, "routing": run}.get(call.kind, END):
            old.append(call)
        elif call.detector in FROM_AUDITS and call.earliest_at > begin:
            old.append(call)
            new.append(replace(call, earliest_part=part_before(session, call.earliest_at) or call.part))
    detected = [c for c in known if _is_detected(c) and c.last_at >= begin - EDGE]
    old += detected
    new += _detected(session, touched, {key_of(c) for c in detected}, detected, begin - EDGE)
    new += [*gauge_calls(session, sheet, since=begin), *routing_calls(session, sheet, since=run)]
    return _difference(old, new)


def _is_detected(call: Called) -> bool:
    """Return whether a detector of streams called, not a check, an audit or the routing."""
    others = call.kind in ("gauge", "routing") or call.family in ("limit", "audit")
    return not (others or call.detector in FROM_AUDITS or call.detector.startswith(SHARE_OF))


def _detected(
    session: Session, touched: Touched, keys: set[str], known: Sequence[Called], least: np.datetime64
) -> Iterator[Called]:
    """Yield what detectors called in the units touched, and what is left of the calls known."""
    moments = {c.at for c in known}
    if touched.units:
        moments |= set(session.called_in(min(touched.units), max(touched.units)))
    for call in detector_calls(session.alarms(moments)):
        if call.last_at >= least or key_of(call) in keys:
            yield call


def _difference(old: Iterable[Called], new: Iterable[Called]) -> Change:
    was, now = {key_of(c): c for c in old}, {key_of(c): c for c in new}
    gone = frozenset(was.keys() - now.keys())
    come = {k: c for k, c in now.items() if k not in was or _trailing(was[k]) != _trailing(c)}
    since = [was[k].at for k in gone]
    since += [c.at if k not in was else _joined_until(was[k], c) for k, c in come.items()]
    return Change(gone=gone, come=come, since=min(since) if since else None)


def _trailing(call: Called) -> tuple[object, ...]:
    return call.last_at, call.last_part, call.over


def _joined_until(was: Called, now: Called) -> np.datetime64:
    """Return from when on calls may join otherwise because one lasts longer, or is over."""
    until: np.datetime64 = max(now.at, min(was.last_at, now.last_at) - SHARED)
    return until


def _bear_others_names(basis: Basis, groups: Sequence[Group]) -> set[str]:
    """Return the signals that keep an earlier name and lie so near to some that these may claim it."""
    if not groups:
        return set()
    first, last = span_of(groups)
    reach = int(2 * KEEPS_NAME / np.timedelta64(1, "us"))
    return {name for name, (a, b) in basis.moved.items() if a <= last + reach and b >= first - reach}


def _named(session: Session, before: Sequence[Group], groups: Sequence[Group]) -> tuple[Group, ...]:
    if not groups:
        return ()
    first, last = (np.datetime64(edge, "us") for edge in span_of([*before, *groups]))
    announced = session.announced_between(first - KEEPS_NAME, last + KEEPS_NAME)
    mine = {g.id for g in before}
    others = [a.id for a in announced if a.id not in mine]
    elsewhere = {g.id for g in groups_named(session, others)}
    return named(groups, announced, elsewhere=elsewhere).groups

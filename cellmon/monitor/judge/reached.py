"""The signals that a batch can reach, put together anew; all others stand as they are kept.

A call joins a signal only while that is not over for longer than `AGAIN`. So where the calls from a moment
on differ from those known, only signals that lasted until then, or nearly, can come out otherwise, and to
put those together again from all their calls gives what all calls of the history would.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import chain

import numpy as np

from cellmon.monitor.judge.audit_stands import (
    FROM_AUDITS,
    AuditsSince,
    audited_names,
    audits_since,
    judged_by,
)
from cellmon.monitor.judge.budget import budget
from cellmon.monitor.judge.calls import (
    MASTER_CHECK,
    SHARE_OF,
    Called,
    by_making,
    detector_calls,
    gauge_calls,
    in_order,
    misrouted_since,
    routing_calls,
)
from cellmon.monitor.judge.calls_kept import key_of
from cellmon.monitor.judge.changed_calls import Change, OldAndNew, applied, changes_of
from cellmon.monitor.judge.finding_stands import Shares, held_by, shares_of, shares_since
from cellmon.monitor.judge.groups import Group
from cellmon.monitor.judge.joining import grouped, joined_by
from cellmon.monitor.judge.naming import KEEPS_NAME, name_of, named
from cellmon.monitor.judge.told import (
    Basis,
    KeptGroups,
    rows_of_audits,
    span_of,
)
from cellmon.monitor.rules import BEGINNING, END, Rules
from cellmon.records import Batch, Characteristics, Findings, TracePoints
from cellmon.sheet import Sheet
from cellmon.sheet.features import TRACE_FEATURES, TRACE_SIZE
from cellmon.store import Session

EDGE = np.timedelta64(2, "D")
"""So far before a unit begins a subgroup of it may seem to lie at most."""


@dataclass(frozen=True, kw_only=True)
class Touched:
    """What was judged anew since signals were put together."""

    units: tuple[np.datetime64, ...] = ()
    """Units of which the calls may be others."""
    since: np.datetime64 | None = None
    """From when on other rows than readings came that call by themselves: checks of gauges."""
    audited: Batch | None = None
    """Audits, findings or traces that came."""
    rows_before: Mapping[str, int] | None = None
    """The newest rows of each kind of audit before they came."""

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
    audits: Sequence[AuditsSince] = ()
    """What audits were judged anew, with where they stand now."""


def reached(session: Session, rules: Rules, basis: Basis, touched: Touched) -> Reached:
    """Put together anew what the calls that changed can reach."""
    if touched.begin is None and touched.audited is None and basis.sheet == rules.now.version:
        return Reached(before=(), after=(), basis=basis)
    shares, audits = _shares(session, rules, basis, touched), _audits(session, rules, basis, touched)
    kept = KeptGroups(session)
    changes = _changes(session, kept, rules, basis, touched, shares, audits)
    basis = replace(basis, rows=rows_of_audits(session), shares=shares)
    if not changes:
        return Reached(before=(), after=(), basis=basis, audits=audits)
    near = list(chain.from_iterable(change.signals(kept) for change in changes))
    names: set[str] = set()
    while True:
        before = list({g.id: g for g in (*near, *kept.named(names))}.values())
        groups = grouped(in_order(applied(changes, before)), rules.now.sheet)
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
        basis=replace(basis, moved=moved),
        audits=audits,
    )


def _shares(session: Session, rules: Rules, basis: Basis, touched: Touched) -> Shares:
    """Return what shares of bores with a finding call now."""
    units = touched.units
    if basis.sheet != rules.now.version:
        before = _sheet_before(rules, basis)
        if before is None or held_by(before) != held_by(rules.now.sheet):
            return shares_of(session, rules)
        units = (*units, *(v.since for v in rules.versions if v.version > basis.sheet))  # shifts begin anew
    fresh = touched.audited if isinstance(touched.audited, Findings) else None
    return shares_since(session, rules, basis.shares, units=units, fresh=fresh)


def _audits(session: Session, rules: Rules, basis: Basis, touched: Touched) -> tuple[AuditsSince, ...]:
    """Judge the audits of what came, and of what the newest sheet holds against something else."""
    sheet, before = rules.now.sheet, _sheet_before(rules, basis)
    names = audited_names(sheet)
    since: dict[str, np.datetime64] = {}
    for name, parts in _audited_parts(touched.audited).items():
        first = session.first_audited(name, parts) if name in names else None
        if first is not None:
            since[name] = first
    if before is not None and basis.sheet != rules.now.version:
        was, now = (partial(judged_by, one, budget(one)) for one in (before, sheet))
        others = names | audited_names(before)
        since |= {name: BEGINNING for name in others if was(name) != now(name)}
    judged = (audits_since(session, rules, name, since[name]) for name in sorted(since))
    return tuple(one for one in judged if one.stands)  # of what was never audited nothing was called


def _audited_parts(audited: Batch | None) -> dict[str, list[str]]:
    """Return of which blocks figures of each characteristic came."""
    if isinstance(audited, Characteristics):
        found: dict[str, set[str]] = {}
        for name, part in zip(audited.characteristic, audited.part, strict=True):
            found.setdefault(name, set()).add(part)
        return {name: sorted(parts) for name, parts in found.items()}
    if isinstance(audited, TracePoints):
        return dict.fromkeys((*TRACE_FEATURES, TRACE_SIZE), sorted(set(audited.part.tolist())))
    return {}


def _sheet_before(rules: Rules, basis: Basis) -> Sheet | None:
    """Return the sheet under which signals were kept; None where it is not known any more."""
    return next((v.sheet for v in rules.versions if v.version == basis.sheet), None)


def _changes(
    session: Session,
    kept: KeptGroups,
    rules: Rules,
    basis: Basis,
    touched: Touched,
    shares: Shares,
    audits: Sequence[AuditsSince],
) -> list[Change]:
    """Return how the calls that may have changed differ from those known."""
    found = [OldAndNew(old=basis.shares.calls, new=shares.calls), _instruments(kept, audits)]
    if touched.begin is not None:
        found.append(_judged(session, kept, rules, touched, touched.begin, audits))
    before, now = _sheet_before(rules, basis), rules.now.sheet
    if before is None or checked_by(before) != checked_by(now):
        found.append(_checked(session, kept, now))
    return changes_of(found)


def _judged(
    session: Session,
    kept: KeptGroups,
    rules: Rules,
    touched: Touched,
    begin: np.datetime64,
    audits: Sequence[AuditsSince],
) -> OldAndNew:
    """Return what detectors, checks and the routing call from a moment on.

    Also what audits called that were not judged anew: the block before their change may be known by now.
    """
    sheet = rules.now.sheet
    old, new = list[Called](), list[Called]()
    run = misrouted_since(session, begin)
    known = [c for g in kept.since(min(begin - EDGE, run)) for c in g.calls]
    for call in known:
        if call.at >= {"gauge": begin, "routing": run}.get(call.kind, END):
            old.append(call)
        elif (
            call.audited_from is not None
            and call.audited_from >= begin
            and not any(one.among(call) for one in audits)
        ):
            old.append(call)
            new.append(by_making(session, call))
    detected = [c for c in known if _is_detected(c) and c.last_at >= begin - EDGE]
    old += detected
    new += _detected(session, touched, {key_of(c) for c in detected}, detected, begin - EDGE)
    new += [*gauge_calls(session, sheet, since=begin), *routing_calls(session, sheet, since=run)]
    return OldAndNew(old=old, new=new)


def _instruments(kept: KeptGroups, audits: Sequence[AuditsSince]) -> OldAndNew:
    """Return what the audits called that were judged anew, and what they call now."""
    groups = kept.of_audits(min(one.earliest for one in audits)) if audits else []
    old = [c for g in groups for c in g.calls if any(one.among(c) for one in audits)]
    return OldAndNew(old=old, new=[c for one in audits for c in one.calls])


def checked_by(sheet: Sheet) -> tuple[object, ...]:
    """Return what of a sheet decides which master checks call."""
    return sheet.checks.as_found_limit_um if sheet.checks else None, tuple(sheet.stream_gauges)


def _checked(session: Session, kept: KeptGroups, sheet: Sheet) -> OldAndNew:
    """Return what every check of a gauge called, and calls by a sheet."""
    begins_with = MASTER_CHECK.partition("{")[0]
    groups = kept.named(session.told_containing([begins_with]))
    old = [c for g in groups for c in g.calls if c.detector.startswith(begins_with)]
    return OldAndNew(old=old, new=list(gauge_calls(session, sheet)))


def stands_under(rules: Rules, basis: Basis) -> bool:
    """Return whether calls are joined under the newest sheet as they were when signals were kept."""
    before = _sheet_before(rules, basis)
    return before is not None and joined_by(before) == joined_by(rules.now.sheet)


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
    elsewhere = session.told_among([a.id for a in announced if a.id not in mine])
    return named(groups, announced, elsewhere=elsewhere).groups

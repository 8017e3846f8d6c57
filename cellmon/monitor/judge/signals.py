"""Signals: calls that belong to one change, under one name that they keep.

A fault moves many streams at once. Its calls are one signal: each joins the one whose change it may
share, because it touches the same bores and began before that one had called.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from cellmon.charts.shewhart import beyond, mean_limits, range_limits
from cellmon.judged import Subgroups
from cellmon.monitor.judge.audit_stands import keep_audits
from cellmon.monitor.judge.every_call import every_call
from cellmon.monitor.judge.groups import Group
from cellmon.monitor.judge.joining import grouped
from cellmon.monitor.judge.limits import stream_key
from cellmon.monitor.judge.naming import Named, name_of, named
from cellmon.monitor.judge.reached import Reached, Touched, reached, stands_under
from cellmon.monitor.judge.told import Basis, basis_of, keep_told, rows_of_audits, span_of
from cellmon.monitor.rules import Rules
from cellmon.records import Numbers, Whole
from cellmon.store import Announcement, Session


def sides(subgroups: Subgroups, centre: Numbers, sigma: Numbers) -> tuple[Whole, Whole]:
    """Return for each subgroup -1 below, 0 inside, +1 above its plain limits: of means, of ranges."""
    of_means = beyond(subgroups.mean, mean_limits(centre, sigma, subgroups.n))
    return of_means, beyond(subgroups.range, range_limits(sigma, subgroups.n))


def named_groups(session: Session, rules: Rules, *, until: np.datetime64 | None = None) -> Named:
    """Return every signal under its name, and the announcements that no signal answers to any more.

    A signal that was announced keeps its name when later rows move its beginning a little. `until` leaves
    out what was called later, and what became of earlier calls since.
    """
    calls = every_call(session, rules).calls
    if until is not None:
        calls = [
            c if c.last_at <= until else replace(c, last_at=until, over=False) for c in calls if c.at <= until
        ]
    return named(grouped(calls, rules.now.sheet), session.announced())


def announce(session: Session, rules: Rules, *, at: np.datetime64, touched: Touched | None = None) -> int:
    """Keep what is shown as a signal for the first time; return how many those are.

    Signals are put together anew from every call, or from those that can reach what was `touched`. From
    every call at the first take after the sheet names bores, spindles or parts otherwise, and after an
    update that puts signals together in another way (`renewed.PUT_TOGETHER`).
    """
    basis = basis_of(session, rows=touched.rows_before) if touched is not None else None
    among: set[str] | None = None
    if touched is None or basis is None or not stands_under(rules, basis):
        session.forget_audit_stands()
        found = put_together(session, rules)
    else:
        found = reached(session, rules, basis, touched)
        among = {g.id for g in (*found.before, *found.after)}
    keep_told(session, rules, found.after, found.basis, among=among)
    keep_audits(session, found.audits)
    groups = found.after
    known = session.announced_of(g.id for g in groups)
    new = [_announcement(g, at=at) for g in groups if g.id not in known]
    session.announce(new)
    return len(new)


def put_together(session: Session, rules: Rules) -> Reached:
    """Put all signals together from every call of the history."""
    every = every_call(session, rules)
    groups = named(grouped(every.calls, rules.now.sheet), session.announced()).groups
    basis = Basis(
        rows=rows_of_audits(session),
        shares=every.shares,
        moved={g.id: span_of([g]) for g in groups if g.id != name_of(g.lead)},
    )
    return Reached(before=(), after=groups, basis=basis, audits=every.audits)


def _announcement(group: Group, *, at: np.datetime64) -> Announcement:
    lead = group.lead
    body: dict[str, Any] = {
        "family": lead.family,
        "kind": lead.kind,
        "detector": lead.detector,
        "side": lead.side,
        "at": str(lead.at),
        "last_at": str(lead.last_at),
        "part": lead.part,
        "last_part": lead.last_part,
        "size": lead.size if np.isfinite(lead.size) else None,
        "change_at": str(lead.change_at),
    }
    return Announcement(id=group.id, at=at, unit_start=lead.at, stream=stream_key(lead.stream), body=body)

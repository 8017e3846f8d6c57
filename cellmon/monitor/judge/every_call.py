"""Every call of the whole history, and where what called them stands: what signals are put together from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from cellmon.monitor.judge.audit_stands import AuditsSince, all_audits
from cellmon.monitor.judge.calls import Called, detector_calls, gauge_calls, in_order, routing_calls
from cellmon.monitor.judge.finding_stands import Shares, shares_of
from cellmon.monitor.rules import Rules
from cellmon.store import Session


@dataclass(frozen=True, kw_only=True)
class EveryCall:
    """Every call, oldest first; those of shares of bores and of audits also apart."""

    calls: Sequence[Called]
    shares: Shares
    audits: Sequence[AuditsSince]


def every_call(session: Session, rules: Rules) -> EveryCall:
    """Look at everything that calls."""
    sheet = rules.now.sheet
    shares, audits = shares_of(session, rules), tuple(all_audits(session, rules))
    calls = [
        *detector_calls(session.alarms()),
        *gauge_calls(session, sheet),
        *routing_calls(session, sheet),
        *(call for of_name in audits for call in of_name.calls),
        *shares.calls,
    ]
    return EveryCall(calls=in_order(calls), shares=shares, audits=audits)

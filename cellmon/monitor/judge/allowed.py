"""How often a series of audits or findings may call by chance, by the sheet of each moment.

A new allowance judges what is measured after it, as with bores: what was called, or was not, stands.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from cellmon.monitor.judge.audit_plan import AUDIT, FINDING, FINDINGS
from cellmon.monitor.judge.budget import Budget, Family, Rates, budget, log_rate
from cellmon.monitor.rules import Rules, SheetInForce
from cellmon.records import Numbers, Stream, Times


@dataclass(frozen=True, kw_only=True, eq=False)
class Allowed:
    """What each version of the sheet plans for audits and findings.

    Of a moment whose sheet planned nothing for a stream that one of today watches, the first later one
    that did counts: what is new on a sheet is looked at from its first row on.
    """

    rules: Rules
    _budgets: dict[int, Budget] = field(default_factory=dict)

    def log_rates(self, stream: Stream, at: Times) -> Numbers | None:
        """Return the logarithm of the rate of an audited level's false calls, at some moments.

        None where the newest sheet plans none for it.
        """
        return self._each(at, lambda shares: log_rate_of(stream, shares))

    def chances(self, spindle: str | None, starts: Times) -> Numbers | None:
        """Return the chance of some shifts to have too many bores with a finding; None likewise."""
        number = self.rules.now.sheet.part().number
        return self._each(starts, lambda shares: _chance(shares, number, spindle))

    def _each(self, at: Times, given: Callable[[Budget], float | None]) -> Numbers | None:
        planned = given(self._budget(self.rules.now))
        if planned is None:
            return None
        found = np.full(len(at), planned)
        for version in reversed(self.rules.versions[:-1]):
            here = at < version.until
            if not here.any():
                break
            then = given(self._budget(version))
            planned = planned if then is None else then
            found[here] = planned
        return found

    def _budget(self, version: SheetInForce) -> Budget:
        if version.version not in self._budgets:
            self._budgets[version.version] = budget(version.sheet)
        return self._budgets[version.version]


def is_planned(stream: Stream, shares: Budget) -> bool:
    """Return whether a sheet plans a share of the false alarms for the level of an audited series."""
    return log_rate_of(stream, shares) is not None


def log_rate_of(stream: Stream, shares: Budget) -> float | None:
    """Return what one sheet gives the level of an audited series; None where nothing is planned for it."""
    found = _rates(shares, stream.feature, AUDIT, stream.part_number, stream.spindle)
    return None if found is None else log_rate(found.level)


def _chance(shares: Budget, number: str, spindle: str | None) -> float | None:
    found = _rates(shares, FINDINGS, FINDING, number, spindle)
    return None if found is None else found.single


def _rates(shares: Budget, feature: str, scope: str, number: str, spindle: str | None) -> Rates | None:
    family: Family | None = shares.family_at(feature, scope, number, spindle)
    return None if family is None else shares.rates(family)

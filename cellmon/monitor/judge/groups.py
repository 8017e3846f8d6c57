"""A signal as calls that belong together."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from cellmon.monitor.judge.calls import Called


@dataclass(frozen=True, kw_only=True)
class Group:
    """One signal: the call that came first, and those that joined it."""

    lead: Called
    others: tuple[Called, ...] = ()
    id: str = ""

    @property
    def calls(self) -> tuple[Called, ...]:
        """All calls, the first one first."""
        return (self.lead, *self.others)

    @cached_property
    def until(self) -> np.datetime64:
        """Until when any of them lasted."""
        return max(c.last_at for c in self.calls)

    @property
    def last(self) -> Called:
        """The call that lasted longest."""
        return max(self.calls, key=lambda c: (not c.over, c.last_at))

"""How calls differ from those known, and which signals they can join otherwise because of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain

import numpy as np

from cellmon.monitor.judge.calls import OF_AUDITS, Called
from cellmon.monitor.judge.calls_kept import TRAILING, key_of
from cellmon.monitor.judge.groups import Group
from cellmon.monitor.judge.joining import AGAIN, SHARED, begins
from cellmon.monitor.judge.told import KeptGroups


@dataclass(frozen=True, kw_only=True)
class OldAndNew:
    """Some calls as they were, and as they are now."""

    old: Sequence[Called]
    new: Sequence[Called]


@dataclass(frozen=True, kw_only=True)
class Change:
    """Calls that are no more, and those that are new or others, by what stays of each."""

    gone: frozenset[str]
    come: Mapping[str, Called]
    since: np.datetime64
    """Before it no call joins its signal otherwise."""
    of_audits: bool
    """Whether they are calls of audits and findings, which join only those, or others, which join none."""

    def signals(self, kept: KeptGroups) -> list[Group]:
        """Return the signals that may be others."""
        far = min([self.since, *(begins(c) - AGAIN for c in self._later(kept))])
        return self._lasting(kept, far)

    def _later(self, kept: KeptGroups) -> list[Called]:
        """Return the calls, as they are now, that join their signal anew."""
        return [c for c in applied([self], self._lasting(kept, self.since)) if c.at >= self.since]

    def _lasting(self, kept: KeptGroups, until: np.datetime64) -> list[Group]:
        if self.of_audits:
            return kept.of_audits(until)
        return [group for group in kept.since(until) if group.lead.family not in OF_AUDITS]


def applied(changes: Sequence[Change], groups: Iterable[Group]) -> list[Called]:
    """Return the calls of some signals as they are now, with all that came."""
    gone = frozenset[str]().union(*(change.gone for change in changes))
    calls = {key_of(c): c for c in chain.from_iterable(g.calls for g in groups)}
    calls = {k: c for k, c in calls.items() if k not in gone}
    for change in changes:
        calls |= change.come
    return list(calls.values())


def changes_of(found: Sequence[OldAndNew]) -> list[Change]:
    """Return how calls differ, those of audits and findings apart from all others."""
    old = list(chain.from_iterable(one.old for one in found))
    new = list(chain.from_iterable(one.new for one in found))
    return [*_difference(old, new, of_audits=False), *_difference(old, new, of_audits=True)]


def _difference(old: Iterable[Called], new: Iterable[Called], *, of_audits: bool) -> list[Change]:
    """Return the change of calls of audits, or of others; none where there is none."""
    was, now = ({key_of(c): c for c in of if (c.family in OF_AUDITS) == of_audits} for of in (old, new))
    gone = frozenset(was.keys() - now.keys())
    come = {k: c for k, c in now.items() if k not in was or _trailing(was[k]) != _trailing(c)}
    since = [was[k].at for k in gone]
    since += [c.at if k not in was else _joined_until(was[k], c) for k, c in come.items()]
    return [Change(gone=gone, come=come, since=min(since), of_audits=of_audits)] if since else []


def _trailing(call: Called) -> tuple[object, ...]:
    return tuple(getattr(call, name) for name in TRAILING)


def _joined_until(was: Called, now: Called) -> np.datetime64:
    """Return from when on calls may join otherwise because one lasts longer, or is over."""
    until: np.datetime64 = max(now.at, min(was.last_at, now.last_at) - SHARED)
    return until

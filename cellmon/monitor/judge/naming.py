"""What a signal is called: a name of its first call, which it keeps when later rows move that a little."""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from cellmon.monitor.judge.calls import Called
from cellmon.monitor.judge.groups import Group
from cellmon.monitor.judge.limits import stream_key
from cellmon.store import Announcement

KEEPS_NAME = np.timedelta64(2, "h")
"""A call that moved by no more than this, when other rows came, keeps its name."""


@dataclass(frozen=True, kw_only=True)
class Named:
    """Signals under their names, and the announcements that none of them answers to."""

    groups: tuple[Group, ...]
    gone: tuple[Announcement, ...]


def named(
    groups: Sequence[Group], announced: Sequence[Announcement], *, elsewhere: Collection[str] = ()
) -> Named:
    """Give signals their names: of their first call, or one announced before of nearly the same.

    Names that other signals bear, `elsewhere`, are given to none of them.
    """
    names = {name_of(g.lead): g for g in groups}
    known = {a.id for a in announced}
    free = [a for a in announced if a.id not in names and a.id not in elsewhere]
    found = []
    for name, group in names.items():
        moved = None if name in known else next((a for a in free if _same_signal(a, group)), None)
        if moved is not None:
            free.remove(moved)
        found.append(replace(group, id=moved.id if moved else name))
    return Named(groups=tuple(found), gone=tuple(free))


def name_of(lead: Called) -> str:
    """Return the name of a signal that begins with a call."""
    key = f"{stream_key(lead.stream)}|{lead.family}|{lead.side}|{lead.at}"
    if lead.family == "pattern":  # several rule sets may signal at one subgroup
        key += f"|{lead.detector}"
    return "S-" + hashlib.sha256(key.encode()).hexdigest()[:10]


def _same_signal(announcement: Announcement, group: Group) -> bool:
    body: Mapping[str, Any] = announcement.body
    mine = [c for c in group.calls if stream_key(c.stream) == announcement.stream]
    return any(
        c.family == body.get("family")
        and c.side == body["side"]
        and abs(c.at - np.datetime64(body["at"], "us")) <= KEEPS_NAME
        for c in mine
    )

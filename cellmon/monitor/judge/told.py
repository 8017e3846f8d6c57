"""Signals kept as they were put together: written where something is judged, read for one time.

To put them together takes every call of the whole history. An answer about one block needs those whose
change may reach it, and a history of years has thousands.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, fields, replace
from typing import Any

import numpy as np

from cellmon.monitor.judge.calls import Called
from cellmon.monitor.judge.evidence import Moved
from cellmon.monitor.judge.groups import Group
from cellmon.monitor.rules import Rules
from cellmon.records import Stream
from cellmon.store import Session, ToldSignal

_TIMES = ("at", "last_at", "change_at", "earliest_at", "latest_at")


def keep_told(session: Session, rules: Rules, groups: Sequence[Group]) -> None:
    """Keep every signal as it stands."""
    session.keep_told(
        [
            ToldSignal(
                id=group.id,
                sheet=rules.now.version,
                earliest_at=group.lead.earliest_at,
                last_at=max(c.last_at for c in group.calls),
                body={"calls": [_plain(call) for call in group.calls]},
            )
            for group in groups
        ]
    )


def is_kept(session: Session, rules: Rules, *, until: np.datetime64) -> bool:
    """Return whether what is kept holds at a moment: put together under the sheet now, and not since."""
    newest = session.newest_row()
    return session.sheets_of_told() == {rules.now.version} and bool(newest is None or until >= newest)


def told_groups(
    session: Session,
    *,
    start: np.datetime64 | None = None,
    end: np.datetime64 | None = None,
    until: np.datetime64,
) -> Iterator[Group]:
    """Yield the kept signals that may tell of something made in [start, end], by what was called by then."""
    for kept in session.told(start=start, end=end):
        calls = [_called(body) for body in kept.body["calls"]]
        calls = [
            c if c.last_at <= until else replace(c, last_at=until, over=False) for c in calls if c.at <= until
        ]
        if calls:
            yield Group(lead=calls[0], others=tuple(calls[1:]), id=kept.id)


def _plain(call: Called) -> dict[str, Any]:
    body = dict(vars(call))
    for name in _TIMES:
        body[name] = int(body[name].astype("datetime64[us]").astype(np.int64))
    body["stream"] = asdict(call.stream)
    body["moved"] = [vars(one) for one in call.moved]
    return body


def _called(body: Mapping[str, Any]) -> Called:
    given = {field.name: body[field.name] for field in fields(Called)}
    for name in _TIMES:
        given[name] = np.int64(given[name]).view("datetime64[us]")
    given["stream"] = Stream(**given["stream"])
    given["moved"] = tuple(Moved(**one) for one in given["moved"])
    return Called(**given)

"""Signals in outline: what is said of each, kept beside its calls and read without them.

A signal's calls hold how every stream moved beside each, many times what is shown of it. Of years of
signals a page says no more than the outline holds.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np

from cellmon.monitor.judge.best_told import best_told
from cellmon.monitor.judge.calls import Called
from cellmon.monitor.judge.calls_kept import called_of, micros, moment_of, plain, stream_of
from cellmon.monitor.judge.groups import Group
from cellmon.records import Stream


@dataclass(frozen=True, kw_only=True)
class Outline:
    """What is said of a signal: a function of its calls alone.

    `stream`, `kind`, `detector`, `size` and `over` are of the call that says it best, `over` of all of its
    stream and family.
    """

    id: str
    lead: Called
    """The call that came first, without what moved beside it."""
    last_at: np.datetime64
    last_part: str
    """Of the call that lasted longest."""
    until: np.datetime64
    """Until when any call lasted."""
    streams: tuple[Stream, ...]
    """Of all calls, in their order."""
    stream: Stream
    kind: str
    detector: str
    size: float
    over: bool


def outline_of(group: Group) -> Outline:
    """Return a signal in outline."""
    best, last = best_told(group), group.last
    same = (best.call.stream, best.call.family)
    return Outline(
        id=group.id,
        lead=replace(group.lead, moved=()),
        last_at=last.last_at,
        last_part=last.last_part,
        until=group.until,
        streams=tuple(dict.fromkeys(c.stream for c in group.calls)),
        stream=best.stream,
        kind=best.call.kind,
        detector=best.call.detector,
        size=best.size,
        over=all(c.over for c in group.calls if (c.stream, c.family) == same),
    )


def plain_outline(outline: Outline) -> dict[str, Any]:
    """Return an outline as it is kept, without its name."""
    body = {name: value for name, value in vars(outline).items() if name != "id"}
    body["lead"] = plain(outline.lead)
    body["streams"] = [asdict(stream) for stream in outline.streams]
    body["stream"] = asdict(outline.stream)
    return body | {name: micros(body[name]) for name in _TIMES}


def outline_from(id_: str, body: Mapping[str, Any]) -> Outline:
    """Return the outline that `plain_outline` made values of."""
    given = dict(body) | {name: moment_of(body[name]) for name in _TIMES}
    given["lead"] = called_of(body["lead"])
    given["streams"] = tuple(map(stream_of, body["streams"]))
    given["stream"] = stream_of(body["stream"])
    return Outline(id=id_, **given)


_TIMES = ("last_at", "until")

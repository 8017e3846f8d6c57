"""Calls as they are kept: in values that JSON has, and back."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict, fields
from functools import lru_cache
from typing import Any

import numpy as np

from cellmon.monitor.judge.calls import Called
from cellmon.monitor.judge.evidence import Moved
from cellmon.records import Stream

_one_stream = lru_cache(maxsize=4096)(Stream)
"""Streams are few and calls many: equal ones are the same, so that to look one up compares no names."""
_names_of = lru_cache(maxsize=4096)(asdict)
"""Not to be written to."""
_NAMES = tuple(field.name for field in fields(Called))
_TIMES = ("at", "last_at", "change_at", "earliest_at", "latest_at")

AUDITED = "audited_from"
"""Kept only where another instrument called."""

TRAILING = ("last_at", "last_part", "over", "moved")
"""What of a call changes while it lasts, and what it tells of other streams: it joins no signal by that."""


KEY = "key"
"""Under which a call remembers its own."""


def key_of(call: Called) -> str:
    """Return what stays of a call while it lasts, as a text that equal calls have in common.

    A call never changes, and a take asks for those of each several times: it is written once.
    """
    known: str | None = vars(call).get(KEY)
    if known is None:
        stays = [value for name, value in plain(call).items() if name not in TRAILING]
        text = json.dumps(stays).encode()
        known = vars(call)[KEY] = hashlib.blake2b(text, digest_size=20).hexdigest()
    return known


def plain(call: Called) -> dict[str, Any]:
    """Return a call as it is kept."""
    body = {name: getattr(call, name) for name in _NAMES}
    for name in _TIMES:
        body[name] = micros(body[name])
    body["stream"] = _names_of(call.stream)
    body["moved"] = [vars(one) for one in call.moved]
    audited = body.pop(AUDITED)
    return body if audited is None else body | {AUDITED: micros(audited)}


def called_of(body: Mapping[str, Any]) -> Called:
    """Return a call that was kept."""
    given = {name: body[name] for name in _NAMES if name in body}
    for name in _TIMES:
        given[name] = moment_of(given[name])
    given["stream"] = stream_of(given["stream"])
    given["moved"] = tuple(map(_moved, given["moved"]))
    if AUDITED in given:
        given[AUDITED] = moment_of(given[AUDITED])
    return Called(**given)


def _moved(body: Mapping[str, Any]) -> Moved:
    """Return how one stream moved, as it was kept: `Moved(**body)`, which takes four times as long.

    A call tells of every stream beside it, and a signal that lasts has hundreds of calls.
    """
    found = object.__new__(Moved)
    vars(found).update(body)
    return found


def stream_of(names: Mapping[str, Any]) -> Stream:
    """Return the stream of some names, equal ones as the same."""
    return _one_stream(**names)


def micros(moment: np.datetime64) -> int:
    """Return a moment as microseconds since 1970 UTC."""
    return int(moment.astype("datetime64[us]").astype(np.int64))


def moment_of(microseconds: int) -> np.datetime64:
    """Return the moment that `micros` made a number of."""
    found: np.datetime64 = np.int64(microseconds).view("datetime64[us]")
    return found

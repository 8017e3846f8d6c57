"""Signals kept as they were put together: written where something is judged, read for one time.

To put them together takes every call of the whole history. An answer about one block needs those whose
change may reach it, and a history of years has thousands.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field, fields, replace
from functools import lru_cache
from typing import Any

import numpy as np

from cellmon.monitor.judge.calls import Called
from cellmon.monitor.judge.evidence import Moved
from cellmon.monitor.judge.finding_stands import Shares, Stand
from cellmon.monitor.judge.groups import Group
from cellmon.monitor.rules import BEGINNING, END, Rules
from cellmon.records import Kind, Stream
from cellmon.store import Session, ToldSignal

_TIMES = ("at", "last_at", "change_at", "earliest_at", "latest_at")
BASIS = ""
"""The name under which it is kept what the signals rest on; it tells of no time."""
PUT_TOGETHER = 1
"""Raised by a program that calls, joins or names otherwise: the next take then puts all together once."""
AUDITED = (Kind.CHARACTERISTICS, Kind.FINDINGS, Kind.TRACES)
"""Kinds of rows of which every one bears on what later ones call."""


@dataclass(frozen=True, kw_only=True)
class Basis:
    """What the signals that are kept were put together from, beside what the detectors called."""

    rows: Mapping[str, int]
    """The newest row of each kind of audit."""
    sheet: int = 0
    """The version of the sheet they were put together under."""
    shares: Shares = field(default_factory=Shares)
    """What the shares of bores with a finding called, and where they stand."""
    moved: Mapping[str, tuple[int, int]] = field(default_factory=dict)
    """Signals that keep an earlier name, with their first and last moment, microseconds."""


def rows_of_audits(session: Session) -> dict[str, int]:
    """Return the newest row of each kind of audit."""
    return {kind.value: session.newest_row_of(kind) for kind in AUDITED}


def keep_told(
    session: Session,
    rules: Rules,
    groups: Sequence[Group],
    basis: Basis,
    *,
    among: Collection[str] | None = None,
) -> None:
    """Keep signals as they stand and what they rest on, in place of all that was kept, or of some."""
    kept = [
        ToldSignal(
            id=group.id,
            sheet=rules.now.version,
            earliest_at=group.lead.earliest_at,
            last_at=group.until,
            body={"calls": [plain(call) for call in group.calls]},
        )
        for group in groups
    ]
    body = {
        "calls": [],
        "put_together": PUT_TOGETHER,
        "rows": basis.rows,
        "shares": [plain(call) for call in basis.shares.calls],
        "stands": None if basis.shares.stands is None else [vars(one) for one in basis.shares.stands],
        "moved": basis.moved,
    }
    kept.append(ToldSignal(id=BASIS, sheet=rules.now.version, earliest_at=END, last_at=BEGINNING, body=body))
    session.keep_told(kept, among=None if among is None else {*among, BASIS})


def basis_of(session: Session, *, rows: Mapping[str, int] | None = None) -> Basis | None:
    """Return what the signals kept rest on; None where they must be put together from every call.

    That is so where they were put together in another way, or without some audits: `rows` are the newest
    they should know of, by default those in the store.
    """
    kept = next(iter(session.told_of([BASIS])), None)
    if kept is None or session.sheets_of_told() != {kept.sheet}:
        return None
    body = kept.body
    if body["rows"] != (rows_of_audits(session) if rows is None else rows):
        return None
    if body.get("put_together", 1) != PUT_TOGETHER:
        return None
    stands = body.get("stands")
    shares = Shares(
        calls=tuple(_called(call) for call in body["shares"]),
        stands=None if stands is None else tuple(Stand(**one) for one in stands),
    )
    moved = {name: (first, last) for name, (first, last) in body["moved"].items()}
    return Basis(rows=body["rows"], sheet=kept.sheet, shares=shares, moved=moved)


def fingerprint_told(session: Session) -> dict[str, str]:
    """Return a hash of the signals kept, without their names, and of what shares of bores stand on.

    Names tell how signals were first announced. The second is not there where an older program kept them.
    """
    names = [name for name, _ in session.told()]
    bodies = {kept.id: kept.body for kept in session.told_of(names)}
    basis = bodies.pop(BASIS, {})
    found = {"signals told": sorted(json.dumps(body["calls"], sort_keys=True) for body in bodies.values())}
    if basis.get("stands") is not None:
        found["shares"] = [json.dumps([basis["shares"], basis["stands"]], sort_keys=True)]
    return {name: hashlib.sha256("\n".join(rows).encode()).hexdigest() for name, rows in found.items()}


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
    for group in _groups(session, session.told(start=start, end=end)):
        if group.until <= until:
            yield group
            continue
        calls = [
            c if c.last_at <= until else replace(c, last_at=until, over=False)
            for c in group.calls
            if c.at <= until
        ]
        if calls:
            yield Group(lead=calls[0], others=tuple(calls[1:]), id=group.id)


def groups_since(session: Session, moment: np.datetime64) -> list[Group]:
    """Return the kept signals that last until a moment or longer."""
    return list(_groups(session, session.told(start=moment)))


def groups_named(session: Session, names: Collection[str]) -> list[Group]:
    """Return the signals kept under some names."""
    return [group for kept in session.told_of(names) if (group := _group(kept)) is not None]


MOST = 20_000
"""Signals kept in a process, some kilobytes each; then all are let go and read anew."""
_read: dict[tuple[str, str], Group | None] = {}


def _groups(session: Session, kept: Sequence[tuple[str, str]]) -> Iterator[Group]:
    """Yield signals in their order; of those that were read before, as most were, no body is read again."""
    digests = dict(kept)
    before = _read.copy()  # others may let go of them meanwhile
    unread = [id_ for id_, digest in kept if (id_, digest) not in before]
    found = {(one.id, digests[one.id]): _group(one) for one in session.told_of(unread)}
    if len(before) + len(found) > MOST:
        _read.clear()
    _read.update(found)
    for key in kept:
        group = found[key] if key in found else before[key]
        if group is not None:
            yield group


def _group(kept: ToldSignal) -> Group | None:
    """Return a signal as it was put together; None of what tells of no call."""
    calls = tuple(_called(body) for body in kept.body["calls"])
    return Group(lead=calls[0], others=calls[1:], id=kept.id) if calls else None


def span_of(groups: Sequence[Group]) -> tuple[int, int]:
    """Return when the first and the last call of some signals came, microseconds."""
    moments = [c.at.astype("datetime64[us]").astype(np.int64) for g in groups for c in g.calls]
    return int(min(moments)), int(max(moments))


_stream = lru_cache(maxsize=4096)(Stream)
"""Streams are few and calls many: equal ones are the same, so that to look one up compares no names."""

TRAILING = ("last_at", "last_part", "over")
"""What of a call changes while it lasts."""


def key_of(call: Called) -> str:
    """Return what stays of a call while it lasts, as a text that equal calls have in common."""
    return json.dumps({k: v for k, v in plain(call).items() if k not in TRAILING}, sort_keys=True)


def plain(call: Called) -> dict[str, Any]:
    """Return a call as it is kept."""
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
    given["stream"] = _stream(**given["stream"])
    given["moved"] = tuple(Moved(**one) for one in given["moved"])
    return Called(**given)

"""Signals kept as they were put together: written where something is judged, read for one time.

To put them together takes every call of the whole history. An answer about one block needs those whose
change may reach it, and a history of years has thousands.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Generic, TypeVar

import numpy as np

from cellmon.monitor.judge.calls import AUDIT_LEVEL, OF_AUDITS, OTHER_INSTRUMENTS, SHARE_OF, Called
from cellmon.monitor.judge.calls_kept import called_of, micros, plain
from cellmon.monitor.judge.finding_stands import Shares, Stand
from cellmon.monitor.judge.groups import Group
from cellmon.monitor.judge.outlines import Outline, outline_from, outline_of, plain_outline
from cellmon.monitor.renewed import BASIS, PUT_TOGETHER
from cellmon.monitor.rules import BEGINNING, END, Rules
from cellmon.records import Kind
from cellmon.store import Session, ToldSignal

Found = TypeVar("Found")

AUDITED = (Kind.CHARACTERISTICS, Kind.FINDINGS, Kind.TRACES)
"""Kinds of rows of which every one bears on what later ones call."""
SAID_OF_AUDITS = (*map(str, OTHER_INSTRUMENTS), AUDIT_LEVEL, SHARE_OF)
"""One of these stands in every signal of audits or findings."""


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
            outline=plain_outline(outline_of(group)),
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
    if kept is None:
        return None
    body = kept.body
    if body["rows"] != (rows_of_audits(session) if rows is None else rows):
        return None
    if body.get("put_together", 1) != PUT_TOGETHER:
        return None
    stands = body.get("stands")
    shares = Shares(
        calls=tuple(called_of(call) for call in body["shares"]),
        stands=None if stands is None else tuple(Stand(**one) for one in stands),
    )
    moved = {name: (first, last) for name, (first, last) in body["moved"].items()}
    return Basis(rows=body["rows"], sheet=kept.sheet, shares=shares, moved=moved)


def fingerprint_told(session: Session) -> dict[str, str]:
    """Return a hash of the signals kept, without their names, and of where shares of bores and audits stand.

    Names tell how signals were first announced. The others are not there where an older program kept them.
    """
    names = [name for name, _ in session.told()]
    bodies = {kept.id: kept.body for kept in session.told_of(names)}
    basis = bodies.pop(BASIS, {})
    outlines = [body for _, body in session.outlines_of(names)]
    found = {"signals told": sorted(json.dumps(body["calls"], sort_keys=True) for body in bodies.values())}
    found["outlines"] = sorted(json.dumps(body, sort_keys=True) for body in outlines)
    if basis.get("stands") is not None:
        found["shares"] = [json.dumps([basis["shares"], basis["stands"]], sort_keys=True)]
    if basis.get("put_together") == PUT_TOGETHER:
        stands = session.audit_stands()
        found["audits"] = [json.dumps([s.characteristic, str(s.at), s.body], sort_keys=True) for s in stands]
    return {name: hashlib.sha256("\n".join(rows).encode()).hexdigest() for name, rows in found.items()}


def is_kept(session: Session, rules: Rules, *, until: np.datetime64) -> bool:
    """Return whether what is kept holds at a moment: put together under the sheet now, and not since."""
    newest = session.newest_row()
    return session.sheet_of_told(BASIS) == rules.now.version and bool(newest is None or until >= newest)


FEW = 100
"""So many signals are looked up by their names; for more all names are read."""


def told_groups(
    session: Session, *, among: Collection[str] | None = None, until: np.datetime64
) -> Iterator[Group]:
    """Yield the kept signals, all or those of some names, by what was called until a moment."""
    every = among is None or len(among) > FEW
    kept = [one for one in session.told(among=None if every else among) if among is None or one[0] in among]
    for group in _groups(session, kept):
        found = _group_by_then(group, until)
        if found is not None:
            yield found


def told_outlines(
    session: Session,
    *,
    start: np.datetime64 | None = None,
    end: np.datetime64 | None = None,
    until: np.datetime64,
) -> list[Outline]:
    """Return the kept signals that may tell of something made in [start, end], by what was called by then.

    In outline; of one that lasted beyond `until` the calls are read.
    """
    return by_then(session, kept_outlines(session, start=start, end=end), until)


def kept_outlines(
    session: Session,
    *,
    start: np.datetime64 | None = None,
    end: np.datetime64 | None = None,
    among: Collection[str] | None = None,
) -> list[Outline]:
    """Return signals in outline as they are kept, all, of a time or of some names, oldest first."""
    return list(_outlines(session, session.told(start=start, end=end, among=among)))


def by_then(session: Session, outlines: Collection[Outline], until: np.datetime64) -> list[Outline]:
    """Return signals by what was called until a moment; without those of which nothing was."""
    lasted = {one.id for one in outlines if one.until > until}
    if not lasted:
        return list(outlines)
    then = {g.id: outline_of(g) for g in told_groups(session, among=lasted, until=until)}
    return [then.get(o.id, o) for o in outlines if o.id not in lasted or o.id in then]


def _group_by_then(group: Group, until: np.datetime64) -> Group | None:
    """Return a signal by what was called until a moment; None where nothing was."""
    if group.until <= until:
        return group
    calls = [
        c if c.last_at <= until else replace(c, last_at=until, over=False)
        for c in group.calls
        if c.at <= until
    ]
    return Group(lead=calls[0], others=tuple(calls[1:]), id=group.id) if calls else None


def keep_outlines(session: Session) -> None:
    """Keep the outlines of signals that an older program kept without."""
    kept = session.told_calls([name for name, _ in session.told()])
    groups = (group for id_, calls in kept if (group := _group(id_, calls)) is not None)
    session.keep_outlines({group.id: plain_outline(outline_of(group)) for group in groups})


class _Known(Generic[Found]):
    """What a process has read of signals, the newest form of each; too much is let go of and read anew."""

    def __init__(self, most: int, weight: Callable[[Found], int]) -> None:
        self._most, self._weight, self._held = most, weight, 0
        self._found: dict[str, tuple[str, Found]] = {}

    def once(
        self,
        kept: Sequence[tuple[str, str]],
        read: Callable[[Sequence[str]], Iterable[tuple[str, Found]]],
    ) -> Iterator[Found]:
        """Yield what is read of signals; of those that are as they were, as most are, nothing again."""
        known, found = self._found, dict[str, Found]()  # others may let go of them meanwhile
        for id_, digest in kept:
            before = known.get(id_)
            if before is not None and before[0] == digest:
                found[id_] = before[1]
        if len(found) < len(kept):
            fresh = dict(read([id_ for id_, _ in kept if id_ not in found]))
            self._keep({id_: (digest, fresh[id_]) for id_, digest in kept if id_ in fresh})
            found |= fresh
        return (found[id_] for id_, _ in kept)

    def clear(self) -> None:
        """Let go of everything."""
        self._found, self._held = {}, 0

    def _keep(self, fresh: Mapping[str, tuple[str, Found]]) -> None:
        """Keep signals in place of what was known of them, as long as not too much is held."""
        let_go = [self._found[id_][1] for id_ in fresh if id_ in self._found]
        self._held += sum(self._weight(one) for _, one in fresh.values()) - sum(map(self._weight, let_go))
        if self._held > self._most:
            self.clear()
        else:
            self._found.update(fresh)


def _calls(group: Group | None) -> int:
    return 1 if group is None else len(group.calls)


_read = _Known[Group | None](most=4_000, weight=_calls)
"""Up to so many calls; each tells how every stream moved beside it, up to 15 kilobytes."""
_outlined = _Known[Outline](most=20_000, weight=lambda _: 1)
"""Up to so many signals, a kilobyte each."""


class KeptGroups:
    """The signals kept, with all their calls, as one take asks for them again and again: read once."""

    def __init__(self, session: Session) -> None:
        self._session, self._read = session, dict[tuple[str, str], Group]()
        self._of_audits = list[Group]()
        self._from: np.datetime64 = END

    def of_audits(self, moment: np.datetime64) -> list[Group]:
        """Return those of audits and findings that last until a moment or longer; others are not read."""
        if moment < self._from:
            groups = self.named(self._session.told_containing(SAID_OF_AUDITS, start=moment))
            self._of_audits, self._from = [g for g in groups if g.lead.family in OF_AUDITS], moment
        return [group for group in self._of_audits if group.until >= moment]

    def since(self, moment: np.datetime64) -> list[Group]:
        """Return those that last until a moment or longer."""
        kept = self._session.told(start=moment)
        new = [one for one in kept if one not in self._read]
        found = {group.id: group for group in _groups(self._session, new)}
        self._read.update((one, found[one[0]]) for one in new if one[0] in found)
        return [self._read[one] for one in kept if one in self._read]

    def named(self, names: Collection[str]) -> list[Group]:
        """Return those of some names."""
        found = (_group(id_, calls) for id_, calls in self._session.told_calls(names))
        return [group for group in found if group is not None]


def _groups(session: Session, kept: Sequence[tuple[str, str]]) -> Iterator[Group]:
    """Yield signals in their order."""

    def read(names: Sequence[str]) -> Iterator[tuple[str, Group | None]]:
        return ((id_, _group(id_, calls)) for id_, calls in session.told_calls(names))

    return (group for group in _read.once(kept, read) if group is not None)


def _outlines(session: Session, kept: Sequence[tuple[str, str]]) -> Iterator[Outline]:
    """Yield signals in their order, in outline."""

    def read(names: Sequence[str]) -> Iterator[tuple[str, Outline]]:
        return ((id_, outline_from(id_, body)) for id_, body in session.outlines_of(names))

    return _outlined.once([one for one in kept if one[0] != BASIS], read)


def _group(id_: str, calls: Sequence[str]) -> Group | None:
    """Return a signal as it was put together; None of what tells of no call."""
    found = tuple(map(_call, calls))
    return Group(lead=found[0], others=found[1:], id=id_) if found else None


@lru_cache(maxsize=2_000)
def _call(text: str) -> Called:
    """Return a call from its JSON: of a signal that lasts most are as they were."""
    return called_of(json.loads(text))


def span_of(groups: Sequence[Group]) -> tuple[int, int]:
    """Return when the first and the last call of some signals came, microseconds."""
    moments = [micros(c.at) for g in groups for c in g.calls]
    return min(moments), max(moments)

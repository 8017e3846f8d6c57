"""What figures of other instruments call from a moment on, and where they stand at some moments.

Where every series of a characteristic stood is kept at the start of each week across which no block was
measured, and after its newest row. Figures that come are judged from the last such moment before the first
block they belong to: what was called before it stands, and what is called after it depends on the rest only
through where that stood.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain

import numpy as np

from cellmon.monitor.judge.allowed import Allowed, is_planned
from cellmon.monitor.judge.audit_levels import Levels
from cellmon.monitor.judge.audited_blocks import block_calls
from cellmon.monitor.judge.audits import part_of_feature, unit_of
from cellmon.monitor.judge.audits_kept import AuditsStand, stand_before, to_kept
from cellmon.monitor.judge.budget import Budget
from cellmon.monitor.judge.calls import AUDIT_LEVEL, OTHER_INSTRUMENTS, Called, by_making
from cellmon.monitor.judge.traced import audited_rows
from cellmon.monitor.rules import BEGINNING, Rules
from cellmon.records import Characteristics, Stream, Times
from cellmon.sheet import Sheet
from cellmon.store import Session

MONDAY = np.datetime64("1970-01-05", "us")
WEEK = np.timedelta64(7, "D").astype("timedelta64[us]")
JUST_AFTER = np.timedelta64(1, "us")
FROM_AUDITS = tuple(map(str, OTHER_INSTRUMENTS))


@dataclass(frozen=True, kw_only=True)
class AuditsSince:
    """What one characteristic calls from a moment on, and where it stood at the weeks after it."""

    name: str
    since: np.datetime64
    calls: Sequence[Called]
    stands: Sequence[AuditsStand]
    kept_from: np.datetime64
    """What was kept from then on is no more."""
    levels: Mapping[Stream, np.datetime64]
    """From when on calls of a level are among these, where that is earlier."""

    def among(self, call: Called) -> bool:
        """Return whether a call known before is one of those that were judged anew."""
        if call.stream.feature != self.name:
            return False
        if call.detector == AUDIT_LEVEL:
            return bool(call.at >= self.levels.get(call.stream, self.since))
        return call.detector in FROM_AUDITS and bool(call.at >= self.since)

    @property
    def earliest(self) -> np.datetime64:
        """No call before is among them."""
        found: np.datetime64 = min([self.since, *self.levels.values()])
        return found


def audited_names(sheet: Sheet) -> set[str]:
    """Return every characteristic that the sheet holds against something."""
    return {name for part in sheet.parts for name in (*part.features, *part.audited)}


def judged_by(sheet: Sheet, shares: Budget, name: str) -> tuple[object, ...]:
    """Return what of a sheet and its budget decides on what one characteristic called before it too.

    How often it may call by chance is not among it: that is of the sheet in force at the time.
    """
    part = part_of_feature(sheet, name)
    feature = part.feature(name)
    limits = None if feature is None else (feature.lower_um, feature.upper_um)
    streams = [
        Stream(part_number=part.number, spindle=s, bore=None, feature=name)
        for s in (None, *sheet.spindle_ids)
    ]
    planned = [is_planned(stream, shares) for stream in streams]
    routed = [(s.id, tuple(s.bores)) for s in sheet.spindles]
    watched = any(name in p.audited for p in sheet.parts)
    return part.number, limits, unit_of(sheet, name), routed, planned, watched


def all_audits(session: Session, rules: Rules) -> Iterator[AuditsSince]:
    """Yield what every characteristic calls, from the first of its rows on."""
    rows = audited_rows(session).rows
    for name in sorted(audited_names(rules.now.sheet) & set(rows.characteristic.tolist())):
        mine = rows.select(rows.characteristic == name)
        yield _Judge.of(session, rules, name, AuditsStand()).judged(mine)


def audits_since(session: Session, rules: Rules, name: str, begin: np.datetime64) -> AuditsSince:
    """Return what one characteristic calls from where it stood last before a moment."""
    stand = stand_before(session, rules.now.sheet, name, begin)
    start = stand.at if stand.at > BEGINNING else None
    rows = audited_rows(session, start=start, names={name}).rows
    if stand.at > BEGINNING and not _follow(rows, stand.at):
        return audits_since(session, rules, name, BEGINNING)
    return _Judge.of(session, rules, name, stand).judged(rows)


def _follow(rows: Characteristics, since: np.datetime64) -> bool:
    """Return whether a moment would be one of those kept before some rows, or was after all others."""
    weeks = _weeks_of(rows)
    return bool(len(rows)) and (not _is_monday(since) or bool((weeks == since).any()))


@dataclass(frozen=True, kw_only=True, eq=False)
class _Judge:
    """Judges one characteristic from where it stands."""

    session: Session
    sheet: Sheet
    name: str
    stand: AuditsStand
    allowed: Allowed

    @classmethod
    def of(cls, session: Session, rules: Rules, name: str, stand: AuditsStand) -> _Judge:
        sheet, allowed = rules.now.sheet, Allowed(rules=rules)
        return cls(session=session, sheet=sheet, name=name, stand=stand, allowed=allowed)

    def judged(self, rows: Characteristics) -> AuditsSince:
        """Judge all rows from there on."""
        marks = _marks(rows, after=self.stand.at)
        blocks = block_calls(self.sheet, self.name, rows, self.stand.blocks, marks)
        levels = Levels(
            session=self.session,
            sheet=self.sheet,
            name=self.name,
            stand=self.stand,
            allowed=self.allowed,
            marks=marks,
        ).judged(rows)
        stands = [
            AuditsStand(
                at=mark, blocks=before, series={stream: one.stands[i] for stream, one in levels.items()}
            )
            for i, (mark, before) in enumerate(zip(marks, blocks.stands, strict=True))
        ]
        called = chain(blocks.calls, *(one.calls for one in levels.values()))
        return AuditsSince(
            name=self.name,
            since=self.stand.at,
            calls=[by_making(self.session, call) for call in called],
            stands=stands,
            kept_from=self.stand.at + JUST_AFTER if _is_monday(self.stand.at) else self.stand.at,
            levels={stream: one.since for stream, one in levels.items() if one.since < self.stand.at},
        )


def _weeks_of(rows: Characteristics) -> Times:
    """Return when the week of each row began."""
    found: Times = MONDAY + (rows.at - MONDAY) // WEEK * WEEK
    return found


def _is_monday(moment: np.datetime64) -> bool:
    """Return whether a week begins at a moment."""
    return bool((moment - MONDAY) % WEEK == np.timedelta64(0, "us"))


def _marks(rows: Characteristics, *, after: np.datetime64) -> list[np.datetime64]:
    """Return before which moments it is kept where rows stand: weeks with some, and after all of them.

    Not of the first week of all, and none that a block lies across.
    """
    if not len(rows):
        return []
    begins, week = np.unique(_weeks_of(rows), return_inverse=True)
    across = np.zeros(len(begins) + 1, dtype=np.int64)
    first: dict[str, int] = {}
    last: dict[str, int] = {}
    for part, here in zip(rows.part.tolist(), week.tolist(), strict=True):
        first[part], last[part] = min(first.get(part, here), here), max(last.get(part, here), here)
    for part, begun in first.items():
        across[begun + 1] += 1
        across[last[part] + 1] -= 1
    whole = np.cumsum(across)[:-1] == 0
    whole &= begins > (after if after > BEGINNING else rows.at.min())
    return [*begins[whole], rows.at.max() + JUST_AFTER]


def keep_audits(session: Session, judged: Collection[AuditsSince]) -> None:
    """Keep where characteristics stand from now on."""
    for one in judged:
        session.put_audit_stands(one.name, [to_kept(one.name, s) for s in one.stands], since=one.kept_from)

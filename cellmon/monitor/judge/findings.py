"""Findings as streams: the share of a spindle's bores with one kind of finding, shift after shift.

Where rows with a count of nought say which bores were looked at, the share is of those; where no such
row was ever taken, of all bores the spindle made in the shift. A pure function of the facts, as audits.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from cellmon import local
from cellmon.charts.shares import (
    LEAST_BORES,
    LEAST_GROUPS,
    ShareWatch,
    held_against,
    most_by_chance,
    watch_shares,
)
from cellmon.monitor.judge.allowed import Allowed
from cellmon.monitor.judge.audits import NOT_ROUTED, audited_spindles
from cellmon.monitor.rules import Rules
from cellmon.records import Findings, Flags, Kind, Numbers, Stream, Texts, Times, Whole
from cellmon.sheet import Sheet
from cellmon.store import MadeBySpindles, Session
from cellmon.words import say, to_say

LOOKED_AT, MADE = to_say("bores looked at"), to_say("bores made")
NOT_COUNTS = to_say("a count is a whole number from 0")
USUAL = np.timedelta64(30, "D").astype("timedelta64[us]")
"""The bores that a shift usually has are those of shifts begun so long before it."""
TOO_FEW = to_say("need at least {shifts} shifts or {bores} bores before one is held against a limit")


@dataclass(frozen=True, kw_only=True, eq=False)
class FindingSeries:
    """One kind of finding on one spindle; one entry a shift with bores, in order of time."""

    stream: Stream
    of: str
    """What the shares are of: `LOOKED_AT` or `MADE`."""
    shift_start: Times
    bores: Whole
    found: Whole
    first_at: tuple[Times, ...]
    """When each bore with the finding was first found to have it, in order."""
    parts: tuple[Texts, ...]
    watch: ShareWatch | None
    chance: Numbers
    """Of each shift to be beyond its limit, at most, by the sheet it began under."""
    usual: int
    """Bores that the newest shift usually has; 0 where none is known."""
    why_not: str | None
    left_out: tuple[str, ...]


def finding_series(
    session: Session, rules: Rules, *, until: np.datetime64 | None = None
) -> list[FindingSeries]:
    """Return every kind of finding on every spindle, judged shift by shift up to a moment."""
    every = session.rows(Kind.FINDINGS, end=None if until is None else until + np.timedelta64(1, "us"))
    rows = whole_counts(every)
    left_out = (f"{len(every) - len(rows)} left out, {NOT_COUNTS}",) if len(rows) < len(every) else ()
    if not len(rows):
        return []
    sheet, names = rules.now.sheet, finding_names(rows)
    spindles = audited_spindles(rows, sheet)
    shifts = shift_starts(rules, rows.at)
    made: MadeBySpindles | None = None
    allowed, found = Allowed(rules=rules), []
    for name in sorted(set(names.tolist())):
        mine = names == name
        looked = bool((rows.count[mine] == 0).any())
        if not looked and made is None:
            made = bores_made(session, rules)
        for spindle in sorted(set(spindles[mine].tolist())):
            here = mine & (spindles == spindle)
            own = rows.select(here)
            bores = _looked_at(own, shifts[here]) if made is None or looked else _made(made, spindle, until)
            stream = Stream(part_number=sheet.part().number, spindle=spindle or None, bore=None, feature=name)
            seen = _Seen.of(own, shifts[here])
            found.append(_judged(stream, LOOKED_AT if looked else MADE, bores, seen, allowed, left_out))
    return found


class Past(Protocol):
    """What the limits of a share rest on, once that is known: `seen` of so many bores, looked at or made."""

    @property
    def seen(self) -> int: ...
    @property
    def of(self) -> int: ...


@dataclass(frozen=True, kw_only=True, eq=False)
class Later:
    """What was found and made in the shifts begun from a moment on."""

    rows: Findings
    made: MadeBySpindles

    @classmethod
    def since(cls, session: Session, start: np.datetime64) -> Later:
        """Read it."""
        rows = whole_counts(session.rows(Kind.FINDINGS, start=start))
        return cls(rows=rows, made=session.bores_by_unit(start=start))

    def series(
        self, rules: Rules, stream: Stream, *, looked: bool, past: Past | None = None
    ) -> FindingSeries:
        """Return those shifts of one finding on one spindle, held against a past or each other."""
        rows = self.rows.select(rows_of(self.rows, stream, rules.now.sheet))
        shifts = shift_starts(rules, rows.at)
        bores = _looked_at(rows, shifts) if looked else _made(self.made, stream.spindle or "", None)
        of = LOOKED_AT if looked else MADE
        return _judged(stream, of, bores, _Seen.of(rows, shifts), Allowed(rules=rules), (), past)


def rows_of(rows: Findings, stream: Stream, sheet: Sheet) -> Flags:
    """Return which rows belong to one finding on one spindle."""
    here: Flags = audited_spindles(rows, sheet) == (stream.spindle or "")
    here &= finding_names(rows) == stream.feature
    return here


def whole_counts(rows: Findings) -> Findings:
    """Return the rows whose count is a whole number from 0."""
    return rows.select(np.isfinite(rows.count) & (rows.count >= 0) & (rows.count == np.round(rows.count)))


def finding_names(rows: Findings) -> Texts:
    """Return the finding of each row by one spelling: letters large or small and blanks tell nothing."""
    return np.array([" ".join(str(name).lower().split()) for name in rows.finding], dtype=object)


def shift_starts(rules: Rules, times: Times) -> Times:
    """Return when the shift of each moment began; a new version of the sheet begins a shift anew."""
    starts = times.copy()
    for version in rules.versions:
        here = (times >= version.since) & (times < version.until)
        if here.any():
            starts[here] = np.maximum(version.calendar.starts_of(times[here]), version.since)
    return starts


def bores_made(session: Session, rules: Rules) -> MadeBySpindles:
    """Return how many charted bores each spindle made in each shift."""
    if all(version.by_shift for version in rules.versions):
        return session.bores_by_unit()
    bores = session.bores(charted=True)
    by_shift = Counter(zip(shift_starts(rules, bores.measured_at), bores.spindle, strict=True))
    return MadeBySpindles(
        start=np.array([start for start, _ in by_shift], dtype="datetime64[us]"),
        spindle=np.array([spindle for _, spindle in by_shift], dtype=object),
        bores=np.array([*by_shift.values()], dtype=np.int64),
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class _Bores:
    """How many bores one spindle has in each shift, each shift once."""

    start: Times
    many: Whole


def _made(made: MadeBySpindles, spindle: str, until: np.datetime64 | None) -> _Bores:
    mine = made.spindle == spindle
    if until is not None:
        mine &= made.start <= until
    return _Bores(start=made.start[mine], many=made.bores[mine])


def _looked_at(rows: Findings, shifts: Times) -> _Bores:
    once = {*zip(shifts, rows.part, rows.bore, strict=True)}
    start, many = np.unique(
        np.array([shift for shift, _, _ in once], dtype="datetime64[us]"), return_counts=True
    )
    return _Bores(start=start, many=many)


@dataclass(frozen=True, kw_only=True)
class _Seen:
    """When each bore with a finding was first found to have it, and its part, by shift."""

    by_shift: Mapping[np.datetime64, list[tuple[np.datetime64, str]]]

    @classmethod
    def of(cls, rows: Findings, shifts: Times) -> _Seen:
        first: dict[tuple[np.datetime64, str, str], np.datetime64] = {}
        for i in np.flatnonzero(rows.count > 0):
            key = (shifts[i], rows.part[i], rows.bore[i])
            first[key] = min(first.get(key, rows.at[i]), rows.at[i])
        found: dict[np.datetime64, list[tuple[np.datetime64, str]]] = {}
        for (start, part, _), at in first.items():
            found.setdefault(start, []).append((at, part))
        return cls(by_shift={start: sorted(bores) for start, bores in found.items()})


def _judged(
    stream: Stream,
    of: str,
    bores: _Bores,
    seen: _Seen,
    allowed: Allowed,
    left_out: tuple[str, ...],
    past: Past | None = None,
) -> FindingSeries:
    with_some = np.array([*seen.by_shift], dtype="datetime64[us]")
    starts: Times = np.union1d(bores.start, with_some)
    places = np.searchsorted(starts, with_some).tolist()
    found, many = np.zeros(len(starts), dtype=np.int64), np.zeros(len(starts), dtype=np.int64)
    found[places] = [len(those) for those in seen.by_shift.values()]
    many[np.searchsorted(starts, bores.start)] = bores.many
    many = np.maximum(many, found)
    first_at, parts = [NO_TIMES] * len(starts), [NO_PARTS] * len(starts)
    for i, those in zip(places, seen.by_shift.values(), strict=True):
        first_at[i], parts[i] = _times(those), _parts(those)
    chances = allowed.chances(stream.spindle, starts)
    watch: ShareWatch | None = None
    if chances is not None and past is None:
        watch = watch_shares(found, many, chance=chances)
    elif chances is not None and past is not None:
        watch = held_against(found, many, seen=past.seen, total=past.of, chance=chances)
    limits = watch is not None and bool(np.isfinite(watch.most).any())
    why_not = None
    if chances is None:
        why_not = say(NOT_ROUTED)
    elif not limits:
        why_not = say(TOO_FEW, shifts=LEAST_GROUPS, bores=local.number(LEAST_BORES))
    return FindingSeries(
        stream=stream,
        of=of,
        shift_start=starts,
        bores=many,
        found=found,
        first_at=tuple(first_at),
        parts=tuple(parts),
        watch=watch,
        chance=np.zeros(len(starts)) if chances is None else chances,
        usual=_usual_before(starts, many),
        why_not=why_not,
        left_out=left_out,
    )


NO_TIMES, NO_PARTS = np.empty(0, dtype="datetime64[us]"), np.empty(0, dtype=object)
"""Of a shift without the finding, as most are."""


def _times(bores: Sequence[tuple[np.datetime64, str]]) -> Times:
    return np.array([at for at, _ in bores], dtype="datetime64[us]")


def _parts(bores: Sequence[tuple[np.datetime64, str]]) -> Texts:
    return np.array([part for _, part in bores], dtype=object)


def _usual_before(starts: Times, bores: Whole) -> int:
    """Return the median of the bores of the shifts not long before the newest; 0 where there is none."""
    near = bores[:-1][(starts[:-1] >= starts[-1:] - USUAL) & (bores[:-1] > 0)]
    return int(np.median(near)) if len(near) else 0


def usual_limit(series: FindingSeries) -> int | None:
    """Return the most bores that are no signal in the newest shift: as if it had its usual bores, it goes on.

    So a finding early in a shift is not held against the few bores made until then, only to be taken back.
    """
    watch = series.watch
    if watch is None or not len(watch.most) or not np.isfinite(watch.most[-1]):
        return None
    n = max(int(series.bores[-1]), series.usual)
    chance = float(series.chance[-1])
    return most_by_chance(n, seen=int(watch.seen[-1]), of=int(watch.of[-1]), chance=chance)

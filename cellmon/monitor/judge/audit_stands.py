"""What figures of other instruments call from a moment on, and where they stand at some moments.

Where every series of a characteristic stood is kept at the start of each week across which no block was
measured, and after its newest row. Figures that come are judged from the last such moment before the first
block they belong to: what was called before it stands, and what is called after it depends on the rest only
through where that stood.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import chain

import numpy as np

from cellmon.charts.individuals import BASELINE_VALUES, on_scale, refusal_of
from cellmon.charts.level_watch import LevelCall, watch_level, watch_on
from cellmon.monitor.judge.audit_calls import level_calls
from cellmon.monitor.judge.audited_blocks import block_calls
from cellmon.monitor.judge.audits import (
    REFERENCES,
    AuditSeries,
    limits_of,
    part_of_feature,
    rate_of,
    rows_by_stream,
    series_of,
    unit_of,
)
from cellmon.monitor.judge.audits_kept import AuditsStand, SeriesStand, stand_before, to_kept
from cellmon.monitor.judge.budget import Budget, budget
from cellmon.monitor.judge.calls import AUDIT_LEVEL, OTHER_INSTRUMENTS, Called, by_making
from cellmon.monitor.judge.traced import audited_rows
from cellmon.monitor.rules import BEGINNING
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
    """Return what of a sheet and its budget decides on the calls of one characteristic."""
    part = part_of_feature(sheet, name)
    feature = part.feature(name)
    limits = None if feature is None else (feature.lower_um, feature.upper_um)
    streams = [
        Stream(part_number=part.number, spindle=s, bore=None, feature=name)
        for s in (None, *sheet.spindle_ids)
    ]
    rates = [rate_of(stream, shares) for stream in streams]
    routed = [(s.id, tuple(s.bores)) for s in sheet.spindles]
    watched = any(name in p.audited for p in sheet.parts)
    return part.number, limits, unit_of(sheet, name), routed, rates, watched


def all_audits(session: Session, sheet: Sheet) -> Iterator[AuditsSince]:
    """Yield what every characteristic calls, from the first of its rows on."""
    rows = audited_rows(session).rows
    for name in sorted(audited_names(sheet) & set(rows.characteristic.tolist())):
        mine = rows.select(rows.characteristic == name)
        yield _Judge.of(session, sheet, name, AuditsStand()).judged(mine)


def audits_since(session: Session, sheet: Sheet, name: str, begin: np.datetime64) -> AuditsSince:
    """Return what one characteristic calls from where it stood last before a moment."""
    stand = stand_before(session, sheet, name, begin)
    rows = audited_rows(session, start=stand.at, names={name}).rows
    if stand.at > BEGINNING and not _follow(rows, stand.at):
        return audits_since(session, sheet, name, BEGINNING)
    return _Judge.of(session, sheet, name, stand).judged(rows)


def _follow(rows: Characteristics, since: np.datetime64) -> bool:
    """Return whether a moment would be one of those kept before some rows, or was after all others."""
    weeks = _weeks_of(rows)
    return bool(len(rows)) and (not _is_monday(since) or bool((weeks == since).any()))


@dataclass(frozen=True, kw_only=True, eq=False)
class _Series:
    """What one series calls, and where it stood at each mark."""

    calls: Sequence[Called]
    stands: Sequence[SeriesStand | None]
    since: np.datetime64


@dataclass(frozen=True, kw_only=True, eq=False)
class _Judge:
    """Judges one characteristic from where it stands."""

    session: Session
    sheet: Sheet
    name: str
    stand: AuditsStand
    shares: Budget

    @classmethod
    def of(cls, session: Session, sheet: Sheet, name: str, stand: AuditsStand) -> _Judge:
        return cls(session=session, sheet=sheet, name=name, stand=stand, shares=budget(sheet))

    def judged(self, rows: Characteristics) -> AuditsSince:
        """Judge all rows from there on."""
        marks = _marks(rows, after=self.stand.at)
        blocks = block_calls(self.sheet, self.name, rows, self.stand.blocks, marks)
        levels = dict(self._levels(rows, marks))
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

    def _levels(
        self, rows: Characteristics, marks: Sequence[np.datetime64]
    ) -> Iterator[tuple[Stream, _Series]]:
        if not any(self.name in part.audited for part in self.sheet.parts):
            return
        fresh = rows_by_stream(rows, self.sheet)
        for stream in sorted({*fresh, *self.stand.series}, key=lambda s: s.key):
            mine, known = fresh.get(stream, rows.select(slice(0, 0))), self.stand.series.get(stream)
            found = None if known is None else self._gone_on(stream, mine, known, marks)
            if found is None and self.stand.at > BEGINNING:
                mine = self._all_rows(stream)
            yield stream, found or self._whole(stream, mine, known, marks)

    def _all_rows(self, stream: Stream) -> Characteristics:
        rows = audited_rows(self.session, names={self.name}, bores={stream.bore or ""}).rows
        return rows_by_stream(rows, self.sheet).get(stream, rows.select(slice(0, 0)))

    def _gone_on(
        self, stream: Stream, rows: Characteristics, known: SeriesStand, marks: Sequence[np.datetime64]
    ) -> _Series | None:
        """Judge a series from where it stands; None where a call begins or ends, which takes all of it."""
        rate = rate_of(stream, self.shares)
        if known.level is None or rate is None:
            return _Series(calls=(), stands=[known] * len(marks), since=self.stand.at)
        series = series_of(stream, rows, self.sheet, known)
        places = _places(series, marks)
        y = on_scale(series.value, series.scale)
        levels = watch_on(known.level, y, references=REFERENCES, limits=limits_of(rate), marks=places)
        if levels is None:
            return None
        calls = [_until(known.call, series, place) for place in (*places, len(y))]
        stands = [replace(known, level=level, call=call) for level, call in zip(levels, calls, strict=False)]
        standing = [call for call in calls[-1:] if call is not None]
        since = min([self.stand.at, *(call.at for call in standing)])
        return _Series(calls=standing, stands=stands, since=since)

    def _whole(
        self,
        stream: Stream,
        rows: Characteristics,
        known: SeriesStand | None,
        marks: Sequence[np.datetime64],
    ) -> _Series:
        """Judge a series from its first value on; return what it called since it stood as known."""
        series = series_of(stream, rows, self.sheet)
        since = self.stand.at
        if known is None:
            since = min([since, *series.at[:1]])
        elif known.call is not None:
            since = min(since, known.call.at)
        places, rate = _places(series, marks), rate_of(stream, self.shares)
        settled = SeriesStand(measured=series.measured, scale=series.scale, level=None)
        if rate is None or refusal_of(series.value, series.scale) is not None:
            stands = [settled if place >= BASELINE_VALUES else None for place in places]
            return _Series(calls=(), stands=stands, since=since)
        y = on_scale(series.value, series.scale)
        watch = watch_level(y, references=REFERENCES, limits=limits_of(rate), marks=places)
        calls = list(level_calls(series, watch))
        stood = _standing_before(series, list(zip(watch.calls, calls, strict=True)), places)
        stands = [
            None if level is None or place < BASELINE_VALUES else replace(settled, level=level, call=call)
            for level, call, place in zip(watch.stands, stood, places, strict=True)
        ]
        return _Series(calls=[c for c in calls if c.at >= since], stands=stands, since=since)


def _places(series: AuditSeries, marks: Sequence[np.datetime64]) -> list[int]:
    """Return how many values of a series lie before each of some moments."""
    moments = np.array(marks, dtype="datetime64[us]")
    return [int(place) for place in np.searchsorted(series.at, moments)]


def _until(call: Called | None, series: AuditSeries, place: int) -> Called | None:
    """Return what stands called as it was told before a value."""
    if call is None or not place:
        return call
    return replace(call, last_at=series.at[place - 1], last_part=series.part[place - 1], over=False)


def _standing_before(
    series: AuditSeries, calls: Sequence[tuple[LevelCall, Called]], places: Sequence[int]
) -> list[Called | None]:
    """Return what stood called before each of some values."""
    found = []
    for place in places:
        stood = [told for one, told in calls if one.at < place and (one.end is None or one.end >= place)]
        found.append(_until(stood[0], series, place) if stood else None)
    return found


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

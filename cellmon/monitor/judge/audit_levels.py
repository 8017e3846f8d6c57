"""What the levels of one characteristic call from where it stands, and where each series stood at some marks.

A call that begins or ends rests on values before: how far back what is told of it says itself. Its series
is watched again from a moment at which it stood quiet so long before, and only at its beginning from there.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from cellmon.charts.individuals import BASELINE_VALUES, on_scale, refusal_of
from cellmon.charts.level_watch import LevelCall, LevelWatch, Quiet, Standing, watch_level, watch_on
from cellmon.monitor.judge.allowed import Allowed
from cellmon.monitor.judge.audit_calls import level_calls, told_in_full
from cellmon.monitor.judge.audits import (
    REFERENCES,
    AuditSeries,
    limits_of,
    rows_by_stream,
    series_of,
)
from cellmon.monitor.judge.audits_kept import AuditsStand, SeriesStand, stand_before
from cellmon.monitor.judge.calls import Called
from cellmon.monitor.judge.traced import audited_rows
from cellmon.monitor.rules import BEGINNING
from cellmon.records import Characteristics, Numbers, Stream
from cellmon.sheet import Sheet
from cellmon.store import Session

FIRST_BACK = np.timedelta64(16 * 7, "D")
"""So far back a series is watched again at first where a call begins or ends; then twice as far ..."""


@dataclass(frozen=True, kw_only=True, eq=False)
class SeriesSince:
    """What one series calls from a moment on, and where it stood at each mark."""

    calls: Sequence[Called]
    stands: Sequence[SeriesStand | None]
    since: np.datetime64


@dataclass(frozen=True, kw_only=True, eq=False)
class Levels:
    """The series of one characteristic, watched from where they stand."""

    session: Session
    sheet: Sheet
    name: str
    stand: AuditsStand
    allowed: Allowed
    marks: Sequence[np.datetime64]
    """Before which moments it is told where they stand, all after `stand`."""

    def judged(self, rows: Characteristics) -> Mapping[Stream, SeriesSince]:
        """Judge all rows from there on."""
        if not any(self.name in part.audited for part in self.sheet.parts):
            return {}
        fresh, nothing = rows_by_stream(rows, self.sheet), rows.select(slice(0, 0))
        streams = sorted({*fresh, *self.stand.series}, key=lambda s: s.key)
        return {stream: self._judged(stream, fresh.get(stream, nothing)) for stream in streams}

    def _judged(self, stream: Stream, rows: Characteristics) -> SeriesSince:
        known = self.stand.series.get(stream)
        found = None if known is None else self._gone_on(stream, rows, known)
        if found is None and known is not None:
            found = self._from_before(stream, known)
        if found is not None:
            return found
        every = rows if self.stand.at <= BEGINNING else self._rows_of(stream, since=BEGINNING)
        return self._whole(stream, every, known)

    def _rows_of(self, stream: Stream, *, since: np.datetime64) -> Characteristics:
        found = audited_rows(self.session, start=since, names={self.name}, bores={stream.bore or ""}).rows
        return rows_by_stream(found, self.sheet).get(stream, found.select(slice(0, 0)))

    def _gone_on(self, stream: Stream, rows: Characteristics, known: SeriesStand) -> SeriesSince | None:
        """Judge a series from where it stands; None where a call begins or ends, which takes more of it."""
        series = series_of(stream, rows, self.sheet, known)
        rates, places = self.allowed.log_rates(stream, series.at), self._places(series)
        if known.level is None or rates is None:
            return SeriesSince(calls=(), stands=[known] * len(self.marks), since=self.stand.at)
        watch = _watched_on(series, known.level, rates, places)
        if watch is None or watch.calls:
            return None
        calls = [_until(known.call, series, place) for place in (*places, len(series.value))]
        stands = [
            replace(known, level=level, call=call) for level, call in zip(watch.stands, calls, strict=False)
        ]
        standing = [call for call in calls[-1:] if call is not None]
        since = min([self.stand.at, *(call.at for call in standing)])
        return SeriesSince(calls=standing, stands=stands, since=since)

    def _from_before(self, stream: Stream, known: SeriesStand) -> SeriesSince | None:
        """Judge a series from where it stood quiet long before; None where it takes all of it."""
        since = self._called_since(known)
        for stood in self._earlier_stands():
            before = stood.series.get(stream)
            if before is None or not isinstance(before.level, Quiet):
                continue
            series = series_of(stream, self._rows_of(stream, since=stood.at), self.sheet, before)
            rates, places = self.allowed.log_rates(stream, series.at), self._places(series)
            watch = None if rates is None else _watched_on(series, before.level, rates, places)
            if watch is not None and told_in_full(series, watch, since):
                return _called_from(series, watch, places, settled=known, since=since)
        return None

    def _earlier_stands(self) -> Iterator[AuditsStand]:
        """Yield where the characteristic stood earlier, each twice as far back, but for its beginning."""
        back: np.timedelta64 = FIRST_BACK
        while self.stand.at > BEGINNING + back:
            stood = stand_before(self.session, self.sheet, self.name, self.stand.at - back)
            if stood.at <= BEGINNING:
                return
            yield stood
            back = 2 * (self.stand.at - stood.at)

    def _called_since(self, known: SeriesStand) -> np.datetime64:
        """Return from when on calls of a series are among those that are told anew."""
        return self.stand.at if known.call is None else min(self.stand.at, known.call.at)

    def _whole(self, stream: Stream, rows: Characteristics, known: SeriesStand | None) -> SeriesSince:
        """Judge a series from its first value on; return what it called since it stood as known."""
        series = series_of(stream, rows, self.sheet)
        since = min([self.stand.at, *series.at[:1]]) if known is None else self._called_since(known)
        places, rates = self._places(series), self.allowed.log_rates(stream, series.at)
        begun = [place < BASELINE_VALUES for place in places]
        settled = SeriesStand(measured=series.measured, scale=series.scale, level=None)
        if rates is None or refusal_of(series.value, series.scale) is not None:
            return SeriesSince(calls=(), stands=[None if few else settled for few in begun], since=since)
        y = on_scale(series.value, series.scale)
        watch = watch_level(y, references=REFERENCES, limits=limits_of(rates), marks=places)
        found = _called_from(series, watch, places, settled=settled, since=since)
        stands = [None if few else one for one, few in zip(found.stands, begun, strict=True)]
        return replace(found, stands=stands)

    def _places(self, series: AuditSeries) -> list[int]:
        """Return how many values of a series lie before each mark."""
        moments = np.array(self.marks, dtype="datetime64[us]")
        return [int(place) for place in np.searchsorted(series.at, moments)]


def _watched_on(
    series: AuditSeries, stand: Quiet | Standing, log_rates: Numbers, places: Sequence[int]
) -> LevelWatch | None:
    y = on_scale(series.value, series.scale)
    return watch_on(stand, y, references=REFERENCES, limits=limits_of(log_rates), marks=places)


def _called_from(
    series: AuditSeries,
    watch: LevelWatch,
    places: Sequence[int],
    *,
    settled: SeriesStand,
    since: np.datetime64,
) -> SeriesSince:
    """Tell what a series called from a moment on, and where it stood before some of its values."""
    calls = list(level_calls(series, watch))
    stood = _standing_before(series, list(zip(watch.calls, calls, strict=True)), places)
    stands = [
        None if level is None else replace(settled, level=level, call=call)
        for level, call in zip(watch.stands, stood, strict=True)
    ]
    return SeriesSince(calls=[c for c in calls if c.at >= since], stands=stands, since=since)


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

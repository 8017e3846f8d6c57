"""Everything that called: detectors, master checks, routing, and figures of other instruments."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cellmon.drift.deviates import as_normal
from cellmon.judged import Alarms
from cellmon.monitor.judge.audits import in_sheet_units
from cellmon.monitor.judge.context import CHECKS_REACH, suspect_times
from cellmon.monitor.judge.evidence import Moved, moved_from
from cellmon.monitor.judge.inputs import SIZE
from cellmon.monitor.judge.traced import audited_rows
from cellmon.monitor.rules import BEGINNING, Rules
from cellmon.records import Characteristics, Events, Flag, Kind, Stream, no_rows
from cellmon.sheet import TRACE_SIZE, Sheet
from cellmon.store import Session
from cellmon.words import say_kept, to_say

OTHER_INSTRUMENTS = (to_say("a limit of the sheet"), to_say("the values before it"))
AUDIT_LEVEL = to_say("three cumulative sums of audited values")
SHARE_OF = "share of bores with "
"""Begins the detector of a finding, `SHARE`."""
SHARE = to_say("share of bores with {finding} in one shift")
MASTER_CHECK = to_say("master check of {gauge}")
ROUTED = to_say("routing of the sheet and the log")
RUN_APART = np.timedelta64(1, "h")
"""Misrouted bores farther apart are two calls."""
AT_ONCE = 500
"""So many misrouted bores are looked at together for where their run began."""
LEAST_MISROUTED = 3
"""Fewer bores at once are flagged, not signalled: one block may pass while a route is changed."""
LEAST_BEFORE = 12
"""So many values of a characteristic are known before one is called unlike them."""
UNLIKE = 3.5
"""Normal deviates, of logarithms, from which a block is unlike those before: one in some 4,000."""


@dataclass(frozen=True, kw_only=True)
class Called:
    """One call: what, of which stream, since when, in which parts.

    `size` is micrometres for a level and a single bore, the ratio of standard deviations for a spread,
    the value over its limit for `limit`; `sigma` the standard deviation of one bore. `detector` is in
    English and kept so; `detector_words` says it.
    """

    stream: Stream
    kind: str
    detector: str
    side: int
    at: np.datetime64
    last_at: np.datetime64
    part: str
    last_part: str
    over: bool
    size: float
    sigma: float
    change_at: np.datetime64
    earliest_at: np.datetime64
    latest_at: np.datetime64
    change_part: str
    earliest_part: str
    latest_part: str
    moved: tuple[Moved, ...] = ()

    @property
    def family(self) -> str:
        """The kind, level and drift taken as one; of another instrument's figures `limit` or `audit`."""
        if self.detector in OTHER_INSTRUMENTS:
            return "limit"
        if self.detector == AUDIT_LEVEL or self.detector.startswith(SHARE_OF):
            return "audit"
        return "level" if self.kind == "drift" else self.kind


def detector_words(detector: str) -> str:
    """Return what a detector that called is named, in the site's language."""
    return say_kept(detector, SHARE, MASTER_CHECK)


def all_calls(session: Session, rules: Rules) -> list[Called]:
    """Return every call, oldest first."""
    from cellmon.monitor.judge.audit_calls import audit_calls, finding_calls

    sheet = rules.now.sheet
    audited = audited_rows(session).rows
    found = [
        *detector_calls(session.alarms()),
        *gauge_calls(session, sheet),
        *routing_calls(session, sheet),
        *characteristic_calls(session, sheet, audited),
        *audit_calls(sheet, audited),
        *finding_calls(session, rules),
    ]
    return in_order(found)


def in_order(calls: Iterable[Called]) -> list[Called]:
    """Return calls in the order in which they are joined: oldest first, none left to chance."""
    return sorted(
        calls, key=lambda c: (c.at, c.kind != "limit", c.stream.key, c.kind, c.detector, c.side, c.part)
    )


def detector_calls(alarms: Alarms) -> Iterator[Called]:
    """Yield the detectors' calls, each joined over the units it lasts."""
    rows: dict[tuple[str, ...], list[int]] = {}
    for i in range(len(alarms)):
        kind = "level" if alarms.kind[i] == "drift" else alarms.kind[i]
        key = (alarms.stream_of(i).key, alarms.part_number[i], kind, alarms.call[i])
        rows.setdefault(key, []).append(i)
    for mine in rows.values():
        lead = next((i for i in mine if alarms.detector[i]), None)
        if lead is None:
            continue
        last = max(mine, key=lambda i: alarms.last_at[i])
        yield Called(
            stream=alarms.stream_of(lead),
            kind=alarms.kind[lead],
            detector=alarms.detector[lead],
            side=int(alarms.side[lead]),
            at=alarms.at[lead],
            last_at=alarms.last_at[last],
            part=alarms.part[lead],
            last_part=alarms.last_part[last],
            over=bool(alarms.over[last]),
            size=float(alarms.size[lead]),
            sigma=float(alarms.sigma[lead]),
            change_at=alarms.change_at[lead],
            earliest_at=alarms.earliest_at[lead],
            latest_at=alarms.latest_at[lead],
            change_part=alarms.change_part[lead],
            earliest_part=alarms.earliest_part[lead],
            latest_part=alarms.latest_part[lead],
            moved=moved_from(alarms.moved[lead]),
        )


def gauge_calls(session: Session, sheet: Sheet, *, since: np.datetime64 | None = None) -> Iterator[Called]:
    """Yield a call for each time a gauge of the streams was found off its master, from a moment on."""
    limit = sheet.checks.as_found_limit_um if sheet.checks else None
    if limit is None:
        return
    # one more check off since the same good one is no other call, and that one lies two days back at most
    start = None if since is None else since - 2 * CHECKS_REACH
    checks = session.rows(Kind.GAUGE_CHECKS, start=start)
    nothing = no_rows(Events)  # when a gauge is put right decides on no call
    done: set[tuple[str, np.datetime64]] = set()
    for suspect in sorted(suspect_times(checks, nothing, limit_um=limit), key=lambda s: (s.gauge, s.at)):
        if suspect.gauge not in sheet.stream_gauges or (suspect.gauge, suspect.after) in done:
            continue
        done.add((suspect.gauge, suspect.after))
        if since is not None and suspect.at < since:
            continue
        part = part_before(session, suspect.at)
        number = _number_of(session, sheet, part)
        yield Called(
            stream=Stream(part_number=number, spindle=None, bore=None, feature=SIZE),
            kind="gauge",
            detector=MASTER_CHECK.format(gauge=suspect.gauge),
            side=int(np.sign(suspect.by_um)),
            at=suspect.at,
            last_at=suspect.at,
            part=part,
            last_part=part,
            over=True,
            size=suspect.by_um,
            sigma=np.nan,
            change_at=suspect.after,
            earliest_at=suspect.after,
            latest_at=suspect.at,
            change_part=part_before(session, suspect.after),
            earliest_part=part_before(session, suspect.after),
            latest_part=part,
        )


def part_before(session: Session, moment: np.datetime64) -> str:
    """Return the serial of the last block before a moment, "" where none is known."""
    if moment <= BEGINNING:
        return ""
    bores = session.bores(end=moment, last=1)
    return str(bores.part[0]) if len(bores) else ""


def _number_of(session: Session, sheet: Sheet, part: str) -> str:
    """Return under which part number the streams of a block stand; of one not known, the sheet's first."""
    if len(sheet.parts) == 1 or not part:
        return sheet.charted_as(sheet.part().number)
    bores = session.bores(part=part)
    return sheet.charted_as(bores.part_number[0] if len(bores) else sheet.part().number)


def misrouted_since(session: Session, moment: np.datetime64) -> np.datetime64:
    """Return when the run of misrouted bores began that may go on at a moment; else that moment."""
    while len(before := session.last_doubts(Flag.ROUTING, moment, AT_ONCE)):
        apart = -np.diff(np.concatenate([[moment], before])) > RUN_APART
        if apart.any():
            first = int(np.argmax(apart))
            return before[first - 1] if first else moment
        moment = before[-1]
    return moment


def routing_calls(session: Session, sheet: Sheet, *, since: np.datetime64 | None = None) -> Iterator[Called]:
    """Yield a call for each run of bores that carry a spindle which does not hone them.

    With `since` those of which a run began from then on; no run may reach across it.
    """
    doubts = session.doubts_since(Flag.ROUTING, BEGINNING if since is None else since)
    if not len(doubts):
        return
    breaks = np.flatnonzero(np.diff(doubts.measured_at) > RUN_APART) + 1
    for rows in np.split(np.arange(len(doubts)), breaks):
        if len(rows) < LEAST_MISROUTED:
            continue
        first, last = int(rows[0]), int(rows[-1])
        stream = Stream(
            part_number=_number_of(session, sheet, doubts.part[first]),
            spindle=doubts.spindle[first],
            bore=doubts.bore[first],
            feature=SIZE,
        )
        yield Called(
            stream=stream,
            kind="routing",
            detector=ROUTED,
            side=0,
            at=doubts.measured_at[first],
            last_at=doubts.measured_at[last],
            part=doubts.part[first],
            last_part=doubts.part[last],
            over=True,
            size=float(len(rows)),
            sigma=np.nan,
            change_at=doubts.measured_at[first],
            earliest_at=doubts.measured_at[first],
            latest_at=doubts.measured_at[first],
            change_part=doubts.part[first],
            earliest_part=doubts.part[first],
            latest_part=doubts.part[first],
        )


def characteristic_calls(
    session: Session, sheet: Sheet, audited: Characteristics | None = None
) -> Iterator[Called]:
    """Yield a call for each block that another instrument finds beyond a limit, or unlike all before.

    `audited` are all rows of each characteristic that it has rows of; else those of every one are read.
    """
    rows = in_sheet_units(audited_rows(session).rows if audited is None else audited, sheet)
    rows = rows.select(np.isfinite(rows.value))  # what is in a unit of another kind is held against nothing
    rows = rows.select(np.lexsort((rows.bore.astype(str), rows.at)))
    for name in sorted(set(rows.characteristic.tolist()) & {*sheet.part().features, *sheet.part().audited}):
        mine = rows.select(rows.characteristic == name)
        yield from _of_characteristic(session, sheet, name, mine)


def _of_characteristic(session: Session, sheet: Sheet, name: str, rows: Characteristics) -> Iterator[Called]:
    """Judge one characteristic block by block and spindle by spindle, against usual ones before."""
    feature = sheet.part().feature(name)
    assert feature is not None, "only features of the sheet are held against limits"
    usual = {bore: s.id for s in sheet.spindles for bore in s.bores}
    spindle = np.array([s or usual.get(b) or "" for s, b in zip(rows.spindle, rows.bore, strict=True)])
    audits: dict[tuple[str, str], list[int]] = {}
    for i in range(len(rows)):
        audits.setdefault((rows.part[i], spindle[i]), []).append(i)
    usual_logs = _Spread()
    for (_, mine_on), mine in audits.items():
        values = rows.value[mine]
        worst = mine[int(np.argmax(values))]
        over = feature.upper_um is not None and rows.value[worst] > feature.upper_um
        lowest = mine[int(np.argmin(values))]
        under = feature.lower_um is not None and rows.value[lowest] < feature.lower_um
        unlike = name != TRACE_SIZE and _unlike(usual_logs, values)
        if not (over or under or unlike):
            usual_logs.add(np.log(values[values > 0]))
            continue
        i = worst if over or unlike else lowest
        several = len(mine) > 1 and (unlike or float(values.min()) > (feature.upper_um or np.inf))
        before = rows.at[(rows.at < rows.at[i]) & (spindle == mine_on)]
        earliest = before[-1] if len(before) else rows.at[i]
        stream = Stream(
            part_number=sheet.part().number,
            spindle=mine_on or None,
            bore=None if several and mine_on else rows.bore[i],
            feature=name,
        )
        side = -1 if under and not over else 1
        yield _call_at(session, rows, i, stream, limit=over or under, side=side, earliest=earliest)


def _call_at(
    session: Session,
    rows: Characteristics,
    i: int,
    stream: Stream,
    *,
    limit: bool,
    side: int,
    earliest: np.datetime64,
) -> Called:
    """Return the call of one row: beyond a limit of the sheet, or unlike what was usual."""
    return Called(
        stream=stream,
        kind="limit" if limit else "single",
        detector=OTHER_INSTRUMENTS[0] if limit else OTHER_INSTRUMENTS[1],
        side=side,
        at=rows.at[i],
        last_at=rows.at[i],
        part=rows.part[i],
        last_part=rows.part[i],
        over=True,
        size=float(rows.value[i]),
        sigma=np.nan,
        change_at=rows.at[i],
        earliest_at=earliest,
        latest_at=rows.at[i],
        change_part=rows.part[i],
        earliest_part=part_before(session, earliest) or rows.part[i],
        latest_part=rows.part[i],
    )


class _Spread:
    """Mean and spread of figures that come a few at a time, none of them looked at again.

    References
    ----------
    Chan, Golub and LeVeque, Algorithms for computing the sample variance, The American Statistician 37
    (1983), 242-247 (from memory): sums of squares about the mean of two samples put together.
    """

    def __init__(self) -> None:
        self.n, self.mean, self.squares = 0, 0.0, 0.0

    def add(self, values: NDArray[np.float64]) -> None:
        """Take in some more."""
        if not len(values):
            return
        more, mean = len(values), float(values.mean())
        away, whole = mean - self.mean, self.n + more
        self.squares += float(((values - mean) ** 2).sum()) + away**2 * self.n * more / whole
        self.mean += away * more / whole
        self.n = whole

    @property
    def sd(self) -> float:
        """The standard deviation, divisor n - 1."""
        return float(np.sqrt(self.squares / (self.n - 1)))


def _unlike(logs: _Spread, values: NDArray[np.float64]) -> bool:
    """Return whether a block's positive figures lie, on average, far above those before on a log scale."""
    if logs.n < LEAST_BEFORE or not (values > 0).all():
        return False
    spread = logs.sd
    if not spread > 0:
        return False
    away = (float(np.log(values).mean()) - logs.mean) / spread
    t = away / np.sqrt(1 / len(values) + 1 / logs.n)
    return float(as_normal(t, logs.n - 1)) > UNLIKE

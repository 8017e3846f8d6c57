"""What calls: detectors, master checks and the routing; how a call of anything is told."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from cellmon.judged import Alarms
from cellmon.monitor.judge.context import CHECKS_REACH, suspect_times
from cellmon.monitor.judge.evidence import Moved, moved_from
from cellmon.monitor.judge.inputs import SIZE
from cellmon.monitor.rules import BEGINNING
from cellmon.records import Events, Flag, Kind, Stream, no_rows
from cellmon.sheet import Sheet
from cellmon.store import Session
from cellmon.words import say_kept, to_say

OTHER_INSTRUMENTS = (to_say("a limit of the sheet"), to_say("the values before it"))
AUDIT_LEVEL = to_say("three cumulative sums of audited values")
SHARE_OF = "share of bores with "
"""Begins the detector of a finding, `SHARE`."""
SHARE = to_say("share of bores with {finding} in one shift")
MASTER_CHECK = to_say("master check of {gauge}")
ROUTED = to_say("routing of the sheet and the log")
OF_AUDITS = ("limit", "audit")
"""Families of calls that join only calls of their own (`joining.ALONE`): of audits and of findings."""
RUN_APART = np.timedelta64(1, "h")
"""Misrouted bores farther apart are two calls."""
AT_ONCE = 500
"""So many misrouted bores are looked at together for where their run began."""
LEAST_MISROUTED = 3
"""Fewer bores at once are flagged, not signalled: one block may pass while a route is changed."""


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
    audited_from: np.datetime64 | None = None
    """Of what another instrument called: when it had the block `earliest_part`, made at `earliest_at`."""

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


def by_making(session: Session, call: Called) -> Called:
    """Let the range of what another instrument called begin where the block it had before was made.

    It may have had that block hours later. Where no gauge of the line measured it, that moment stands.
    """
    if call.audited_from is None:
        return call
    made = session.made_of(call.earliest_part, until=call.audited_from)
    return replace(call, earliest_at=max(made, default=call.audited_from))


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

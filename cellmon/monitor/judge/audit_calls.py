"""What audits and findings call: a level that moved, a share of bores beyond its limit."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from cellmon.charts.individuals import off_scale, on_scale
from cellmon.charts.level_watch import FAR, LevelCall, LevelWatch
from cellmon.drift.change import change_point
from cellmon.monitor.judge.audits import AuditSeries
from cellmon.monitor.judge.calls import AUDIT_LEVEL, SHARE, Called
from cellmon.monitor.judge.findings import FindingSeries, usual_limit


def level_calls(series: AuditSeries, watch: LevelWatch) -> Iterator[Called]:
    """Yield each time the level of a series moved, with the audits between which it did."""
    y = on_scale(series.value, series.scale)
    fresh = 0
    for call in watch.calls:
        yield _level_call(series, y, call, fresh)
        fresh = len(y) if call.end is None else call.end + 1


def _level_call(series: AuditSeries, y: np.ndarray, call: LevelCall, fresh: int) -> Called:
    z = np.clip((y[fresh : call.at + 1] - call.mean) / call.sd, -FAR - 1, FAR + 1)
    change = change_point(z, kind="level")
    first, earliest, latest = (fresh + i for i in (change.index, change.earliest, change.latest))
    before = max(earliest - 1, 0)  # it may have moved right after the audit before
    last = len(y) - 1 if call.end is None else max(call.end - 1, call.at)
    usual, now = off_scale([call.mean, call.mean + call.shift], series.scale)
    wide = off_scale([call.mean - call.sd, call.mean + call.sd], series.scale)
    return Called(
        stream=series.stream,
        kind="level",
        detector=AUDIT_LEVEL,
        side=call.side,
        at=series.at[call.at],
        last_at=series.at[last],
        part=series.part[call.at],
        last_part=series.part[last],
        over=call.end is not None,
        size=float(now - usual),
        sigma=float(wide[1] - wide[0]) / 2,
        change_at=series.at[first],
        earliest_at=series.at[before],
        latest_at=series.at[latest],
        change_part=series.part[first],
        earliest_part=series.part[before],
        latest_part=series.part[latest],
        audited_from=series.at[before],
    )


def share_calls(series: FindingSeries) -> Iterator[Called]:
    """Yield each run of shifts with more bores with a finding than chance gives."""
    if series.watch is None:
        return
    last = len(series.bores) - 1
    most = series.watch.most.copy()
    newest = usual_limit(series, last) if last >= 0 else None
    if newest is not None:
        most[last] = float(newest)
    beyond = np.isfinite(most) & (series.found > most)
    usual = np.cumsum((series.bores > 0) & ~beyond)  # of all shifts of one run it is the same
    every = np.flatnonzero(beyond)
    for run in np.split(every, np.flatnonzero(np.diff(usual[every])) + 1):
        if len(run):
            over = bool(usual[last] > usual[run[-1]])
            yield _share_call(series, run.tolist(), float(most[run[0]]), over=over)


def _share_call(series: FindingSeries, run: list[int], most: float, *, over: bool) -> Called:
    """Return one call: raised by the bore that was one too many, since the first with the finding."""
    first, last = run[0], run[-1]
    called = int(most)
    at, parts = series.first_at[first], series.parts[first]
    return Called(
        stream=series.stream,
        kind="level",
        detector=SHARE.format(finding=series.stream.feature),
        side=1,
        at=at[called],
        last_at=series.first_at[last][-1],
        part=parts[called],
        last_part=series.parts[last][-1],
        over=over,
        size=100.0 * float(series.found[first]) / float(series.bores[first]),
        sigma=np.nan,
        change_at=at[0],
        earliest_at=min(series.shift_start[first], at[0]),
        latest_at=at[called],
        change_part=parts[0],
        earliest_part=parts[0],
        latest_part=parts[called],
    )

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

LOOKED_BACK = 200
"""So many values up to the one that called are looked at for the first that was moved, or twice, four times
as many ..., until it hardly lies in the older half of them."""
HARDLY = 1e-9
"""Chances below are none; of 2,139 calls simulated none was told otherwise by all values (seed 42)."""


def level_calls(series: AuditSeries, watch: LevelWatch) -> Iterator[Called]:
    """Yield each time the level of a series moved, with the audits between which it did."""
    y = on_scale(series.value, series.scale)
    fresh = 0
    for call in watch.calls:
        yield _level_call(series, y, call, _looked_back_to(y, call, fresh))
        fresh = len(y) if call.end is None else call.end + 1


def told_in_full(series: AuditSeries, watch: LevelWatch, since: np.datetime64) -> bool:
    """Return whether values from some on reach far enough back for what is told of calls since a moment."""
    if not watch.calls or series.at[watch.calls[0].at] < since:
        return True
    return _looked_back_to(on_scale(series.value, series.scale), watch.calls[0], 0) > 0


def _looked_back_to(y: np.ndarray, call: LevelCall, fresh: int) -> int:
    """Return from which value on, none before `fresh`, the first that was moved is looked for."""
    many = LOOKED_BACK
    while (begin := call.at + 1 - many) > fresh:
        if change_point(_deviates(y, call, begin), kind="level", coverage=1 - HARDLY).earliest >= many // 2:
            return begin
        many *= 2
    return fresh


def _deviates(y: np.ndarray, call: LevelCall, begin: int) -> np.ndarray:
    """Return the values up to one that called as distances from what was usual, no wild ones among them."""
    return np.clip((y[begin : call.at + 1] - call.mean) / call.sd, -FAR - 1, FAR + 1)


def _level_call(series: AuditSeries, y: np.ndarray, call: LevelCall, begin: int) -> Called:
    change = change_point(_deviates(y, call, begin), kind="level")
    first, earliest, latest = (begin + i for i in (change.index, change.earliest, change.latest))
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
    newest = usual_limit(series)
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

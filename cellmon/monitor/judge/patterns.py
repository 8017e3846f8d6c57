"""Run rules that a sheet switches on: patterns of subgroup means about the plain centre line."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from cellmon.charts.patterns import completed
from cellmon.judged import STREAM_COLUMNS, Subgroups
from cellmon.monitor.judge.limits import StreamLimits
from cellmon.monitor.judge.plans import InTime
from cellmon.monitor.judge.signals import sides
from cellmon.monitor.rule_sets import BY_NAME, RuleSet
from cellmon.records import Flags, Stream, Whole
from cellmon.sheet import Sheet
from cellmon.store.joining import by_stream


def pattern_rows(
    unit: InTime, limits: Mapping[Stream, StreamLimits], sheet: Sheet
) -> Iterator[dict[str, object]]:
    """Yield a call for every run of subgroups at which a switched-on rule set signals.

    A pattern never reaches across a break of its stream's subgroups, nor across units.
    """
    chosen = [BY_NAME[name] for name in (sheet.alarms.rules if sheet.alarms else ())]
    if not chosen:
        return
    subgroups = unit.subgroups.select(unit.rows)
    for stream, rows in by_stream(subgroups).items():
        if stream.bore is None or stream.part_of != "itself" or stream not in limits:
            continue
        for segment in _segments(subgroups, rows):
            for rules in chosen:
                yield from _runs(stream, subgroups, segment, limits[stream], rules)


def _segments(subgroups: Subgroups, rows: Whole) -> list[Whole]:
    changed = np.flatnonzero(np.diff(subgroups.segment[rows])) + 1
    return np.split(rows, changed)


def _runs(
    stream: Stream, subgroups: Subgroups, rows: Whole, limits: StreamLimits, rules: RuleSet
) -> Iterator[dict[str, object]]:
    signals = _signals(subgroups.select(rows), limits, rules)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], signals.astype(np.int64), [0]))))
    for first, last in zip(edges[::2], edges[1::2] - 1, strict=True):
        begin, end = rows[first], rows[last]
        at, first_part = subgroups.first_at[begin], subgroups.first_part[begin]
        yield {
            **{name: getattr(stream, name) for name in STREAM_COLUMNS},
            "call": f"{rules.name} {subgroups.at[begin].astype(np.int64)}",
            "kind": "pattern",
            "detector": rules.words,
            "side": 0,
            "unit_start": subgroups.unit_start[begin],
            "at": subgroups.at[begin],
            "last_at": subgroups.at[end],
            "part": subgroups.last_part[begin],
            "last_part": subgroups.last_part[end],
            "over": 1,
            "change_at": at,
            "earliest_at": at,
            "latest_at": subgroups.at[begin],
            "change_part": first_part,
            "earliest_part": first_part,
            "latest_part": subgroups.last_part[begin],
        }


def _signals(subgroups: Subgroups, limits: StreamLimits, rules: RuleSet) -> Flags:
    centre, sigma = limits.over(subgroups.at)
    known = np.isfinite(sigma) & np.isfinite(subgroups.mean)
    found = np.zeros(len(subgroups), dtype=bool)
    if not known.any():
        return found
    z = (subgroups.mean[known] - centre[known]) / (sigma[known] / np.sqrt(subgroups.n[known]))
    found[known] = completed(z, rules.tests) != 0
    if rules.with_range:
        found |= sides(subgroups, centre, sigma)[1] != 0
    return found

"""Subgroups of every stream, cut from judged bores and broken where the process changed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cellmon.charts.subgroups import cut, statistics
from cellmon.judged import SIZE_COLUMNS, STREAM_COLUMNS, Bores, Subgroups
from cellmon.monitor.judge.context import Context
from cellmon.monitor.judge.doubts import CONTEXT_FLAGS
from cellmon.monitor.rules import Unit
from cellmon.records import EventKind, Numbers, Stream, Texts, Whole, no_rows
from cellmon.sheet import DiameterFeature, Part, Sheet


def cut_subgroups(
    bores: Bores, sheet: Sheet, context: Context, *, newest: np.datetime64, units: Sequence[Unit]
) -> Subgroups:
    """Return the subgroups of all streams of some judged bores (in making order).

    A remainder shorter than a subgroup counts once its segment is over: when a later segment of the
    stream, or a reading after its unit, is known.
    """
    charted = bores.select((bores.charted == 1) & (bores.spindle != "hand"))
    segment = _segments(charted, sheet, context)
    ends = np.array([u.end for u in units], dtype="datetime64[us]")
    starts = np.array([u.start for u in units], dtype="datetime64[us]")
    over = newest >= ends[np.searchsorted(starts, charted.unit_start)] if len(charted) else np.zeros(0, bool)
    cuts = [
        one
        for part in sheet.parts
        for by_fixture in (False, True)
        for one in _of_part(charted, segment, over, sheet, part, by_fixture=by_fixture)
    ]
    return _within_unit(Subgroups.concat(cuts)) if cuts else no_rows(Subgroups)


def stream_numbers(subgroups: Subgroups) -> tuple[Whole, list[Stream]]:
    """Number the streams of some subgroups, and list them by that number."""
    codes = _codes([getattr(subgroups, name) for name in STREAM_COLUMNS], len(subgroups))
    first = np.unique(codes, return_index=True)[1]
    return codes, [subgroups.stream_of(int(i)) for i in first]


def count_streams(bores: Bores, subgroups: Subgroups) -> dict[tuple[np.datetime64, Stream], tuple[int, int]]:
    """Count the subgroups of each stream in each unit, and the charted bores at its position."""
    charted = bores.select(bores.charted == 1)
    made = _counted([charted.unit_start, *(getattr(charted, name) for name in POSITION_NAMES)])
    whole = made | _counted([charted.unit_start, *(getattr(charted, n) for n in POSITION_NAMES[:-1])])
    many = _counted([subgroups.unit_start, *(getattr(subgroups, name) for name in STREAM_COLUMNS)])
    counts: dict[tuple[np.datetime64, Stream], tuple[int, int]] = {}
    for (unit, number, spindle, bore, feature, fixture), n in many.items():
        stream = Stream(part_number=number, spindle=spindle, bore=bore, feature=feature, fixture=fixture)
        place = (unit, number, spindle, bore)
        counts[unit, stream] = whole[place if fixture is None else (*place, fixture)], n
    return counts


def _counted(columns: Sequence[NDArray[Any]]) -> dict[tuple[Any, ...], int]:
    """Count the different rows of some columns."""
    codes = _codes(columns, len(columns[0]))
    first = np.unique(codes, return_index=True)[1]
    many = np.bincount(codes, minlength=len(first))
    return {tuple(column[row] for column in columns): int(many[i]) for i, row in enumerate(first)}


POSITION_NAMES = ("part_number", "spindle", "bore", "fixture")


def _segments(bores: Bores, sheet: Sheet, context: Context) -> Whole:
    """Number what no subgroup may span: units always, the rest as the sheet says."""
    when = np.where(np.isnat(bores.honed_at), bores.measured_at, bores.honed_at)
    within = sheet.subgroups.within
    parts: list[NDArray[Any]] = [bores.unit_start]
    if "stone_set" in within:
        parts.append(context.last_before(bores.spindle, when, EventKind.STONES_FITTED))
        parts.append(bores.stone_set)
    if "dressing" in within:
        parts.append(context.last_before(bores.spindle, when, EventKind.STONES_DRESSED))
    if "fixture" in within:
        parts.append(bores.fixture)
    return _codes(parts, len(bores))


def _within_unit(subgroups: Subgroups) -> Subgroups:
    """Count segments afresh in each unit, so that their numbers do not tell what was judged beside them."""
    unit = _codes([subgroups.unit_start], len(subgroups))
    first = np.full(int(unit.max(initial=-1)) + 1, np.iinfo(np.int64).max)
    np.minimum.at(first, unit, subgroups.segment)
    return replace(subgroups, segment=subgroups.segment - first[unit])


def _codes(columns: Sequence[NDArray[Any]], size: int) -> Whole:
    """Number the different rows of some columns, in the columns' own order, None first."""
    import pandas as pd

    code = np.zeros(size, dtype=np.int64)
    for column in columns:
        number, words = pd.factorize(column, sort=True)
        code = code * (len(words) + 1) + number + 1
        code, _ = pd.factorize(code, sort=True)
    return np.asarray(code, dtype=np.int64)


def _of_part(
    bores: Bores, segment: Whole, over: NDArray[np.bool_], sheet: Sheet, part: Part, *, by_fixture: bool
) -> Iterator[Subgroups]:
    features = [name for name in part.charted if part.features[name].by_fixture is by_fixture]
    mine = bores.part_number == part.number
    if not features or not mine.any():
        return
    bores, segment, over = bores.select(mine), segment[mine], over[mine]
    fixture = bores.fixture if by_fixture else np.full(len(bores), None, dtype=object)
    stream = _codes([bores.spindle, bores.bore, fixture], len(bores))
    order = np.argsort(stream, kind="stable")  # bores come in making order
    bores, fixture = bores.select(order), fixture[order]
    stream, segment, over = stream[order], segment[order], over[order]
    labels = cut(_changes(stream, segment), size=sheet.subgroups.size, step=sheet.subgroups.step)
    doubted = (bores.flags & ~CONTEXT_FLAGS) != 0
    for name in features:
        values = np.where(doubted, np.nan, _charted_values(bores, part, name))
        yield _subgroups(bores, values, labels, stream, segment, over, fixture, sheet, name)


def _changes(stream: Whole, segment: Whole) -> Whole:
    """Number runs of the same stream and segment."""
    changed = (stream[1:] != stream[:-1]) | (segment[1:] != segment[:-1])
    return np.concatenate(([0], np.cumsum(changed)))


def _charted_values(bores: Bores, part: Part, name: str) -> Numbers:
    feature = part.features[name]
    if isinstance(feature, DiameterFeature):
        name = SIZE_COLUMNS.get(feature.size, "average")
    values: Numbers = getattr(bores, name)
    return values


def _subgroups(
    bores: Bores,
    values: Numbers,
    labels: Whole,
    stream: Whole,
    segment: Whole,
    over: NDArray[np.bool_],
    fixture: Texts,
    sheet: Sheet,
    name: str,
) -> Subgroups:
    found = statistics(values, labels)
    whole = found.last - found.first + 1 == sheet.subgroups.size
    last_of_stream = np.concatenate((stream[1:] != stream[:-1], [True]))
    later = ~_in_last_segment(stream, segment, last_of_stream)
    kept = (found.n >= 2) & (whole | over[found.last] | later[found.last])
    first, last = found.first[kept], found.last[kept]
    flagged = np.concatenate(([0], np.cumsum(bores.flags != 0)))
    return Subgroups(
        part_number=bores.part_number[last],
        spindle=bores.spindle[last],
        bore=bores.bore[last],
        feature=np.full(len(last), name, dtype=object),
        fixture=fixture[last],
        unit_start=bores.unit_start[last],
        shift_start=bores.shift_start[last],
        segment=segment[last],
        first_part=bores.part[first],
        last_part=bores.part[last],
        first_at=bores.measured_at[first],
        at=bores.measured_at[last],
        n=found.n[kept],
        mean=found.mean[kept],
        range=found.range[kept],
        sd=found.sd[kept],
        flagged=flagged[last + 1] - flagged[first],
        stone_set=bores.stone_set[last],
    )


def _in_last_segment(stream: Whole, segment: Whole, last_of_stream: NDArray[np.bool_]) -> NDArray[np.bool_]:
    ends = np.flatnonzero(last_of_stream)
    final = segment[ends][np.searchsorted(ends, np.arange(len(stream)))]
    found: NDArray[np.bool_] = segment == final
    return found

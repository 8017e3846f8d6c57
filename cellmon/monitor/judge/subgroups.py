"""Subgroups of every stream, cut from judged bores and broken where the process changed."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cellmon.charts.subgroups import Pieces, cut
from cellmon.judged import SIZE_COLUMNS, Bores, Subgroups
from cellmon.monitor.judge.context import Context
from cellmon.monitor.judge.doubts import CONTEXT_FLAGS
from cellmon.monitor.judge.like_parts import charted_numbers, charted_together
from cellmon.monitor.judge.made_of import from_bores, of_the_same
from cellmon.monitor.judge.part_runs import part_runs
from cellmon.monitor.judge.process import evidence, offsets_given
from cellmon.monitor.judge.together import Rows, alone, together
from cellmon.monitor.rules import Unit
from cellmon.records import EventKind, Numbers, Stream, Texts, Whole, absent, no_rows
from cellmon.records.alike import Numbered, dense, numbered, run_starts
from cellmon.sheet import DiameterFeature, Part, Sheet
from cellmon.store.joining import streams_of


@dataclass(frozen=True, kw_only=True, eq=False)
class Cut:
    """The subgroups of the bores themselves, and after them those of their means and distances."""

    every: Subgroups
    many_alone: int

    @property
    def alone(self) -> Subgroups:
        """Those of the bores themselves; nothing is copied."""
        return self.every.select(slice(0, self.many_alone))

    @property
    def together(self) -> Subgroups:
        """Those of means and distances."""
        return self.every.select(slice(self.many_alone, None))


def cut_subgroups(
    bores: Bores, sheet: Sheet, context: Context, *, newest: np.datetime64, units: Sequence[Unit]
) -> Cut:
    """Return the subgroups of all streams of some judged bores (in making order).

    A remainder shorter than a subgroup counts once its segment is over: when a later segment of the
    stream, or a reading after its unit, is known.
    """
    laid = _laid(bores, sheet, context, newest=newest, units=units)
    apart: list[Subgroups] = []
    pooled: list[Subgroups] = []
    for part in sheet.parts:
        of_part, its_segment, its_over = laid.of(part)
        if not len(of_part):
            continue
        values = _charted_values(of_part, part)
        apart += _cut_rows(alone(of_part, its_segment, its_over), values, part, sheet)
        for rows in together(of_part, its_segment, its_over, part, sheet):
            pooled += _within_unit(_cut_rows(rows, values, part, sheet))
        for told in evidence(of_part, its_segment, its_over, part, sheet):
            pooled += _within_unit(_cut_process(told.rows, told.figures, sheet))
    pooled += offsets_given(laid.bores, laid.unit_over, sheet, context, units=units)
    apart = _within_unit(apart)
    every = Subgroups.concat([*apart, *pooled] or [no_rows(Subgroups)])
    return Cut(every=charted_together(every, sheet), many_alone=sum(map(len, apart)))


@dataclass(frozen=True, kw_only=True, eq=False)
class _Laid:
    """Charted bores in making order, what no subgroup may span, and whether a remainder counts."""

    bores: Bores
    segment: Whole
    unit_over: NDArray[np.bool_]
    over: NDArray[np.bool_]

    def of(self, part: Part) -> tuple[Bores, Whole, NDArray[np.bool_]]:
        mine = Numbered.of(self.bores.part_number).says(part.number)
        return self.bores.select(mine), self.segment[mine], self.over[mine]


def _laid(
    bores: Bores, sheet: Sheet, context: Context, *, newest: np.datetime64, units: Sequence[Unit]
) -> _Laid:
    charted = bores.select((bores.charted == 1) & ~Numbered.of(bores.spindle).says("hand"))
    runs = part_runs(charted)
    ends = np.array([u.end for u in units], dtype="datetime64[us]")
    starts = np.array([u.start for u in units], dtype="datetime64[us]")
    over = newest >= ends[np.searchsorted(starts, charted.unit_start)] if len(charted) else np.zeros(0, bool)
    return _Laid(
        bores=charted,
        segment=_segments(charted, sheet, context, runs.number),
        unit_over=over,
        over=over | runs.over,
    )


def count_streams(
    bores: Bores, subgroups: Subgroups, sheet: Sheet
) -> dict[tuple[np.datetime64, Stream], tuple[int, int]]:
    """Count the subgroups of each stream in each unit, and the charted bores at its position."""
    charted = bores.select(bores.charted == 1)
    charted = replace(charted, part_number=charted_numbers(charted.part_number, sheet))
    places = [charted.unit_start, *(getattr(charted, name) for name in POSITION_NAMES[:-1])]
    position = _codes(places, len(charted))
    whole = _counted(places, position)
    whole |= _counted([*places, charted.fixture], _codes([position, charted.fixture], len(charted)))
    counts: dict[tuple[np.datetime64, Stream], tuple[int, int]] = {}
    streams, code = streams_of(subgroups)
    of_unit = [subgroups.unit_start, code]
    for (unit, number), n in _counted(of_unit, _codes(of_unit, len(subgroups))).items():
        stream = streams[number]
        place = (unit, stream.part_number, stream.spindle, stream.bore)
        counts[unit, stream] = whole[place if stream.fixture is None else (*place, stream.fixture)], n
    return counts


def _counted(columns: Sequence[NDArray[Any]], codes: Whole) -> dict[tuple[Any, ...], int]:
    """Count the different rows of some columns, which `codes` numbers."""
    many = np.bincount(codes)
    first = np.empty(len(many), dtype=np.int64)
    first[codes[::-1]] = np.arange(len(codes) - 1, -1, -1)
    return {tuple(column[row] for column in columns): int(many[i]) for i, row in enumerate(first)}


POSITION_NAMES = ("part_number", "spindle", "bore", "fixture")


def _segments(bores: Bores, sheet: Sheet, context: Context, run: Whole) -> Whole:
    """Number what no subgroup may span: units always, the rest as the sheet says."""
    when = np.where(np.isnat(bores.honed_at), bores.measured_at, bores.honed_at)
    within = sheet.subgroups.within
    parts: list[NDArray[Any]] = [bores.unit_start, bores.part_number, run]
    if "stone_set" in within:
        parts.append(context.last_before(bores.spindle, when, EventKind.STONES_FITTED))
        parts.append(bores.stone_set)
    if "dressing" in within:
        parts.append(context.last_before(bores.spindle, when, EventKind.STONES_DRESSED))
    if "fixture" in within:
        parts.append(bores.fixture)
    return _codes(parts, len(bores))


def _within_unit(cuts: Iterable[Subgroups]) -> list[Subgroups]:
    """Count segments afresh in each unit, so that their numbers do not tell what was judged beside them."""
    given = list(cuts)
    if not given:
        return given
    segment = np.concatenate([one.segment for one in given])
    unit = _codes([np.concatenate([one.unit_start for one in given])], len(segment))
    first = np.full(int(unit.max(initial=-1)) + 1, np.iinfo(np.int64).max)
    np.minimum.at(first, unit, segment)
    afresh = np.split(segment - first[unit], np.cumsum([len(one) for one in given])[:-1])
    return [replace(one, segment=mine) for one, mine in zip(given, afresh, strict=True)]


def _codes(columns: Sequence[NDArray[Any]], size: int) -> Whole:
    """Number the different rows of some columns, in the columns' own order, None first."""
    code = np.zeros(size, dtype=np.int64)
    for column in columns:
        if size and column[0] is None and absent(column).all():
            continue  # it tells none from another
        number = _numbered(column)
        code = dense(code * (int(number.max(initial=-1)) + 2) + number + 1)
    return code


def _numbered(column: NDArray[Any]) -> Whole:
    """Number the different values of a column in their own order, -1 for None."""
    import pandas as pd

    if column.dtype == object:
        return numbered(column, sort=True)[0]
    begins = run_starts(column)
    heads = column[begins]  # numbers and moments stand long
    whole = heads.dtype.kind == "i"
    number = dense(heads - heads.min(initial=0)) if whole else pd.factorize(heads, sort=True)[0]
    return np.repeat(number, np.diff(begins, append=len(column)))


def _cut_rows(rows: Rows, values: Mapping[str, Numbers], part: Part, sheet: Sheet) -> Iterator[Subgroups]:
    bores = rows.bores
    place, nothing = _codes([bores.spindle, bores.bore], len(bores)), np.full(len(bores), None, dtype=object)
    for by_fixture in (False, True):
        features = [name for name in part.charted if part.features[name].by_fixture is by_fixture]
        if not features:
            continue
        fixture = bores.fixture if by_fixture else nothing
        stream = _codes([place, fixture], len(bores)) if by_fixture else place
        order = np.argsort(stream, kind="stable")  # bores come in making order
        cut_in = _Order(
            bores=bores,
            order=order,
            fixture=fixture[order],
            stream=stream[order],
            segment=rows.segment[order],
            over=rows.over[order],
            part_of=rows.part_of,
        )
        labels = cut(
            _changes(cut_in.stream, cut_in.segment), size=sheet.subgroups.size, step=sheet.subgroups.step
        )
        pieces = Pieces.of(labels)
        for name in features:
            figures = rows.figures(values[name])[order]
            yield _subgroups(cut_in, figures, pieces, size=sheet.subgroups.size, name=name)


def _cut_process(rows: Rows, told: Mapping[str, Numbers], sheet: Sheet) -> Iterator[Subgroups]:
    size = len(rows.bores)
    cut_in = _Order(
        bores=rows.bores,
        order=np.arange(size),
        fixture=np.full(size, None, dtype=object),
        stream=np.zeros(size, dtype=np.int64),
        segment=rows.segment,
        over=rows.over,
        part_of=rows.part_of,
    )
    pieces = Pieces.of(cut(rows.segment, size=sheet.subgroups.size, step=sheet.subgroups.step))
    for name, figures in told.items():
        yield _subgroups(cut_in, figures, pieces, size=sheet.subgroups.size, name=name)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Order:
    """Rows stream after stream, each in making order."""

    bores: Bores
    order: Whole
    """Which of the bores each row is; what follows stands in this order."""
    fixture: Texts
    stream: Whole
    segment: Whole
    over: NDArray[np.bool_]
    part_of: str
    made: dict[bytes, Subgroups] = field(default_factory=dict)
    """Of one feature, by which of the subgroups it has: another that has the same ones differs in figures."""

    @cached_property
    def done(self) -> NDArray[np.bool_]:
        """Where a remainder counts: its unit is over, or a later segment of its stream is known."""
        last_of_stream = np.concatenate((self.stream[1:] != self.stream[:-1], [True]))
        return self.over | ~_in_last_segment(self.stream, self.segment, last_of_stream)


def _changes(stream: Whole, segment: Whole) -> Whole:
    """Number runs of the same stream and segment."""
    changed = (stream[1:] != stream[:-1]) | (segment[1:] != segment[:-1])
    return np.concatenate(([0], np.cumsum(changed)))


def _charted_values(bores: Bores, part: Part) -> dict[str, Numbers]:
    """Return each charted feature of each bore; nan where the bore is doubted."""
    doubted = (bores.flags & ~CONTEXT_FLAGS) != 0
    found = {}
    for name in part.charted:
        feature = part.features[name]
        column = name
        if isinstance(feature, DiameterFeature):
            column = SIZE_COLUMNS.get(feature.size, "average")
        found[name] = np.where(doubted, np.nan, getattr(bores, column))
    return found


def _subgroups(rows: _Order, values: Numbers, pieces: Pieces, *, size: int, name: str) -> Subgroups:
    bores, found = rows.bores, pieces.statistics(values)
    whole = found.last - found.first + 1 == size
    kept = (found.n >= 2) & (whole | rows.done[found.last])
    found = found.select(kept)
    thermal = _thermal(bores.thermal[rows.order], pieces)[kept] if name == "diameter" else None
    alike = rows.made.get(kept.tobytes())
    if alike is not None:
        return of_the_same(alike, found, feature=name, thermal=thermal)
    made = rows.made[kept.tobytes()] = from_bores(
        bores,
        found.first,
        found.last,
        found,
        feature=name,
        order=rows.order,
        part_of=rows.part_of,
        bore=bores.bore[rows.order[found.last]],
        fixture=rows.fixture[found.last],
        segment=rows.segment[found.last],
        thermal=thermal,
    )
    return made


def _thermal(thermal: Numbers, pieces: Pieces) -> Numbers:
    """Return the mean of what temperatures explain in each subgroup; nan where none is known."""
    known = ~np.isnan(thermal)
    if not known.any():
        return np.full(len(pieces), np.nan)
    found: Numbers = np.round(pieces.statistics(thermal).mean, 4)
    return found


def _in_last_segment(stream: Whole, segment: Whole, last_of_stream: NDArray[np.bool_]) -> NDArray[np.bool_]:
    ends = np.flatnonzero(last_of_stream)
    final = segment[ends][np.searchsorted(ends, np.arange(len(stream)))]
    found: NDArray[np.bool_] = segment == final
    return found

"""Means over the bores of a block, and each bore's distance from them: what moves together, what alone."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from cellmon.judged import Bores
from cellmon.records import Flags, Numbers, Whole
from cellmon.records.alike import Numbered, dense, numbered, run_starts, said
from cellmon.sheet import Part, Sheet


@dataclass(frozen=True, kw_only=True, eq=False)
class Rows:
    """Figures of the bores of one kind of stream, ready to be cut into subgroups, in making order.

    `members` has shape (rows, k): the bores a figure is the mean of. `less` likewise holds the bores
    whose mean is taken off, or has no columns.
    """

    bores: Bores
    part_of: str
    members: Whole
    less: Whole
    segment: Whole
    over: Flags

    def figures(self, values: Numbers) -> Numbers:
        """Return the figure of each row; nan where a bore that counts has none."""
        found = row_means(values[self.members])
        return found - row_means(values[self.less]) if self.less.shape[1] else found


def row_means(values: Numbers) -> Numbers:
    """Return the mean of each row, to the last bit what numpy gives, which rows of few figures cost most.

    Up to seven it adds as they come, more of them in pairs.
    """
    if values.shape[1] > 7:
        return np.asarray(values.mean(axis=1))
    total = values[:, 0].copy()
    for column in values.T[1:]:
        total += column
    total /= values.shape[1]
    return total


@dataclass(frozen=True, kw_only=True)
class Group:
    """Which bores of a block are watched as one: all, or those of a spindle."""

    spindle: str | None
    bores: tuple[str, ...]


def groups(part: Part, sheet: Sheet) -> tuple[Group, ...]:
    """Return what is watched together: all bores of a block, and those of each spindle where that differs."""
    if len(part.bores) < 2:
        return ()
    found = [Group(spindle=None, bores=part.bores)]
    if len(sheet.spindles) > 1:
        found += [
            Group(spindle=s.id, bores=mine)
            for s in sheet.spindles
            if len(mine := tuple(b for b in s.bores if b in part.bores)) > 1
        ]
    return tuple(found)


def has_distances(part: Part) -> bool:
    """Return whether distances tell more than the bores do: from three bores on."""
    return len(part.bores) > 2


def together(bores: Bores, segment: Whole, over: Flags, part: Part, sheet: Sheet) -> Iterator[Rows]:
    """Yield the pooled streams of one part's charted bores, which come in making order."""
    if not len(bores) or len(part.bores) < 2:
        return
    table = _table(bores, part, sheet)
    yield from _means(groups(part, sheet), bores, table, segment, over, part, sheet)
    whole = table[(table >= 0).all(axis=1)]
    if has_distances(part) and len(whole):
        rows = np.sort(whole.ravel())
        block = np.full(len(bores), -1)
        for column in range(whole.shape[1]):
            block[whole[:, column]] = np.arange(len(whole))
        yield Rows(
            bores=replace(bores.select(rows), thermal=np.zeros(len(rows))),
            part_of="distance",
            members=rows[:, None],
            less=whole[block[rows]],
            segment=segment[rows],
            over=over[rows],
        )


def of_spindles(bores: Bores, segment: Whole, over: Flags, part: Part, sheet: Sheet) -> Iterator[Rows]:
    """Yield the means over the bores of each spindle, one alone too: what is watched of a spindle."""
    mine = tuple(
        Group(spindle=s.id, bores=of)
        for s in sheet.spindles
        if (of := tuple(b for b in s.bores if b in part.bores))
    )
    yield from _means(mine, bores, _table(bores, part, sheet), segment, over, part, sheet)


def of_all(bores: Bores, segment: Whole, over: Flags, part: Part, sheet: Sheet) -> Iterator[Rows]:
    """Yield the means over all bores of a block, one alone too: what is watched of the whole cell."""
    whole = (Group(spindle=None, bores=part.bores),)
    yield from _means(whole, bores, _table(bores, part, sheet), segment, over, part, sheet)


def _means(
    of: Sequence[Group],
    bores: Bores,
    table: Whole,
    segment: Whole,
    over: Flags,
    part: Part,
    sheet: Sheet,
) -> Iterator[Rows]:
    for group in of:
        members = table[:, [part.bores.index(b) for b in group.bores]]
        members = members[(members >= 0).all(axis=1)]
        beside = any(len(sheet.honed_by(b)) > 1 for b in group.bores)
        if beside and group.spindle is not None:
            members = members[(bores.spindle[members] == group.spindle).all(axis=1)]
        if not len(members):
            continue
        carrier = members.max(axis=1)
        order = np.argsort(carrier, kind="stable")
        members, carrier = members[order], carrier[order]
        yield Rows(
            bores=_named(bores, carrier, members, group.spindle),
            part_of="itself",
            members=members,
            less=_nobody(len(members)),
            segment=_joint(
                _side_by_side(bores, members, segment)
                if beside and group.spindle is None
                else segment[members]
            ),
            over=over[carrier],
        )


def _table(bores: Bores, part: Part, sheet: Sheet) -> Whole:
    """Return the row of each bore of each block, shape (blocks, bores of the part); -1 where it has none.

    Only bores honed by a spindle that the sheet routes them to count; those judged in different units
    are never one block, whatever is judged beside them.
    """
    import pandas as pd

    unit, part_of_unit = pd.factorize(bores.unit_start)[0], numbered(bores.part)[0]
    block, blocks = pd.factorize(unit * (part_of_unit.max(initial=0) + 1) + part_of_unit)
    table = np.full((len(blocks), len(part.bores)), -1, dtype=np.int64)
    bore, spindle = Numbered.of(bores.bore), Numbered.of(bores.spindle)
    for column, name in enumerate(part.bores):
        here = bore.says(name)
        routed = [spindle.says(one) for one in sheet.honed_by(name)]
        if routed:
            here &= np.logical_or.reduce(routed)
        rows = np.flatnonzero(here)
        table[block[rows], column] = rows
    return table


def _named(bores: Bores, carrier: Whole, members: Whole, spindle: str | None) -> Bores:
    """Return one row a block, under the name of the group; what its bores differ in is their last's."""
    found = bores.select(carrier)
    nothing = said(None, len(carrier))
    flags = np.bitwise_or.reduce(bores.flags[members], axis=1)
    named = said(spindle, len(carrier))
    one_set = spindle is not None
    return replace(
        found,
        spindle=named,
        bore=nothing,
        flags=flags,
        stone_set=found.stone_set if one_set else nothing,
        thermal=row_means(bores.thermal[members]),
    )


def _side_by_side(bores: Bores, members: Whole, segment: Whole) -> Whole:
    """Return the segment that each spindle at each bore is in, from 1, shape (blocks, k); 0 where in none.

    Blocks come from one line of spindles and another by turns: in a block of others a spindle is in the
    segment of its last block in the unit, or of its first.
    """
    rows, begins = np.arange(len(members)), run_starts(bores.unit_start[members[:, 0]])
    ends = np.append(begins[1:], len(rows))
    first, until = np.repeat(begins, ends - begins), np.repeat(ends, ends - begins)
    found = []
    for column in members.T:
        for spindle in sorted(set(bores.spindle[column].tolist())):
            here = bores.spindle[column] == spindle
            before = np.maximum.accumulate(np.where(here, rows, -1))
            after = np.minimum.accumulate(np.where(here, rows, len(rows))[::-1])[::-1]
            shown = np.where(before >= first, before, after)
            none = shown >= until
            found.append(np.where(none, 0, 1 + segment[column[np.where(none, 0, shown)]]))
    return np.stack(found, axis=1)


def _joint(segments: Whole) -> Whole:
    """Number the different rows of some segment numbers, in their own order."""
    code: Whole = np.zeros(len(segments), dtype=np.int64)
    for column in segments.T:
        code = dense(code * (int(column.max(initial=0)) + 1) + column)
    return code


def _nobody(rows: int) -> Whole:
    return np.zeros((rows, 0), dtype=np.int64)


def alone(bores: Bores, segment: Whole, over: Flags) -> Rows:
    """Return the bores themselves as rows."""
    return Rows(
        bores=bores,
        part_of="itself",
        members=np.arange(len(bores))[:, None],
        less=_nobody(len(bores)),
        segment=segment,
        over=over,
    )

"""Which rows of a file are new, which are known, and which contradict what stands."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cellmon.judged import StoredReadings
from cellmon.monitor.row_words import CONTRADICTION
from cellmon.records import Batch, ColumnType, Flags, Readings, Reason, Refused, Texts, Whole
from cellmon.records.keys import key_word, row_keys

SAME_UM = 5e-4
"""Readings nearer than this are the same value: a tenth of the finest resolution a file may carry."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Sorted:
    """A batch less what the store has; `known` and `taken` count rows of the file."""

    new: Batch | None
    taken: int
    known: int
    refused: tuple[Refused, ...]


def sort_readings(batch: Readings, stored: StoredReadings | None) -> Sorted:
    """Compare readings cell by cell with stored ones of the same gauge, part, bore and moment.

    A line of the file is set aside whole when any of its readings contradicts, taken when any is
    new, known otherwise.
    """
    read = np.isfinite(batch.um)
    stands = np.full(batch.um.shape, np.nan)
    if stored is not None:
        stands = _standing(batch, stored)
    known = read & np.isfinite(stands)
    if not known.any():
        return _all_new(batch, read)
    contradicts = known & (np.abs(batch.um - stands) >= SAME_UM)
    where = np.nonzero(read)
    lines, number = np.unique(batch.lines[where], return_inverse=True)
    bad, new = np.zeros(len(lines), dtype=bool), np.zeros(len(lines), dtype=bool)
    np.logical_or.at(bad, number, contradicts[where])
    np.logical_or.at(new, number, ~known[where])
    kept_cell = np.zeros(batch.um.shape, dtype=bool)
    kept_cell[where] = ~known[where] & ~bad[number]
    rows = kept_cell.any(axis=(1, 2))
    fresh = replace(batch, um=np.where(kept_cell, batch.um, np.nan)).select(rows) if rows.any() else None
    return Sorted(
        new=fresh,
        taken=int((new & ~bad).sum()),
        known=int((~new & ~bad).sum()),
        refused=tuple(_contradiction(batch, stands, contradicts, int(line)) for line in lines[bad]),
    )


def _all_new(batch: Readings, read: Flags) -> Sorted:
    """Return what `sort_readings` does where no reading is known."""
    rows, lines = read.any(axis=(1, 2)), batch.lines[read]
    one_each = bool((lines[1:] > lines[:-1]).all())
    return Sorted(
        new=replace(batch, um=np.where(read, batch.um, np.nan)).select(rows) if rows.any() else None,
        taken=len(lines) if one_each else len(np.unique(lines)),
        known=0,
        refused=(),
    )


def _contradiction(batch: Readings, stands: NDArray[np.float64], contradicts: Flags, line: int) -> Refused:
    row, plane, direction = np.argwhere(contradicts & (batch.lines == line))[0]
    place = f"{batch.planes[plane]} {batch.directions[direction]}"
    return Refused(
        line=line,
        reason=Reason.CONTRADICTS,
        text=CONTRADICTION.format(
            part=batch.part[row],
            bore=batch.bore[row],
            place=place,
            said=f"{batch.um[row, plane, direction]:.1f}",
            stands=f"{stands[row, plane, direction]:.1f}",
        ),
    )


def _standing(batch: Readings, stored: StoredReadings) -> NDArray[np.float64]:
    """Return what is stored of each cell of a batch, from the batch's nominal, nan for nothing."""
    old = stored.readings
    um = old.laid_on(batch.planes, batch.directions)
    keys = _numbers(
        [np.concatenate([getattr(r, name) for r in (old, batch)]) for name in ("gauge", "part", "bore")],
        np.concatenate([old.measured_at, batch.measured_at]).astype(np.int64),
    )
    nominal = np.full(keys.max(initial=0) + 1, np.nan)
    nominal[keys[: len(old)]] = old.nominal_mm
    held = np.full((len(nominal), *um.shape[1:]), np.nan)
    for i in range(um.shape[1]):
        for j in range(um.shape[2]):
            cell = um[:, i, j]
            there = np.isfinite(cell)
            held[keys[: len(old)][there], i, j] = cell[there]
    mine = keys[len(old) :]
    found: NDArray[np.float64] = held[mine] + ((nominal[mine] - batch.nominal_mm) * 1000.0)[:, None, None]
    return found


def _numbers(texts: Sequence[Texts], moments: Whole) -> Whole:
    """Number the different rows of some columns."""
    code = np.unique(moments, return_inverse=True)[1].astype(np.int64)
    for column in texts:
        number = np.unique(column.astype(str), return_inverse=True)[1]
        code = np.unique(code * (int(number.max(initial=0)) + 1) + number, return_inverse=True)[1]
    return code.astype(np.int64)


def sort_rows(
    batch: Batch, keys: Sequence[str], stored: dict[str, tuple[object, ...]]
) -> tuple[Sorted, Flags]:
    """Compare plain rows with stored ones of the same key; also those of one file with each other.

    Returns the rows sorted, and the mask of those that are new.
    """
    names = [(c.name, c.type) for c in batch.columns()]
    values = list(zip(*(_plain(getattr(batch, name), type_) for name, type_ in names), strict=True))
    standing, new = dict(stored), np.zeros(len(batch), dtype=bool)
    refused = []
    for i, key in enumerate(keys):
        if key not in standing:
            standing[key], new[i] = values[i], True
        elif not _same_row(standing[key], values[i]):
            refused.append(Refused(line=int(batch.line[i]), reason=Reason.CONTRADICTS, text=_said(batch, i)))
    return Sorted(
        new=batch.select(new) if new.any() else None,
        taken=int(new.sum()),
        known=len(batch) - int(new.sum()) - len(refused),
        refused=tuple(refused),
    ), new


def _said(batch: Batch, row: int) -> str:
    """Return what a row says, in words; moments in UTC."""
    cells = []
    for column in batch.columns():
        value = getattr(batch, column.name)[row]
        if column.type is ColumnType.TIME:
            cells.append("" if np.isnat(value) else f"{value.astype('datetime64[s]')}Z")
        else:
            cells.append(key_word(value, column.type))
    return ", ".join(filter(None, cells))[:500]


def _plain(values: NDArray[Any], type_: ColumnType) -> list[object]:
    if type_ is ColumnType.TIME:
        return [None if np.isnat(v) else int(v.astype("datetime64[us]").astype(np.int64)) for v in values]
    if type_ is ColumnType.TEXT:
        return list(values.tolist())
    return [None if np.isnan(v) else float(v) for v in values]


def _same_row(one: tuple[object, ...], other: tuple[object, ...]) -> bool:
    return all(
        abs(a - b) < 1e-9 if isinstance(a, float) and isinstance(b, float) else a == b
        for a, b in zip(one, other, strict=True)
    )


__all__ = ["Sorted", "row_keys", "sort_readings", "sort_rows"]

"""Which study some readings are: told by their shape, and laid out so that every cell is full.

Nothing is thrown away in silence: what an unbalanced study cannot use is named with its reason.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cellmon.errors import NotEnoughData

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]
UNNAMED = "not named"


class Design(StrEnum):
    """The three shapes of a study."""

    CROSSED = "parts crossed with operators"
    AUTOMATIC = "parts without operators"
    MASTER = "one master repeated"


@dataclass(frozen=True, kw_only=True, eq=False)
class Laid:
    """A study laid out: `values` of shape (parts, operators, trials), no gap.

    Without operators there is one; of one master there is one part too.
    """

    design: Design
    parts: tuple[str, ...]
    operators: tuple[str, ...]
    values: Floats
    left_out: tuple[str, ...]
    """What was not used, each with its reason."""
    notes: tuple[str, ...]
    """How it was read where it was not as planned."""


def laid_out(
    values: ArrayLike, *, part: ArrayLike, operator: ArrayLike, trial: ArrayLike, master: bool = False
) -> Laid:
    """Return the study that some readings are.

    Parameters
    ----------
    values : array_like, shape (n,)
        Readings; nan was not measured.
    part, operator : array_like of str or None, shape (n,)
        What was measured and by whom; no operator at all is an automatic gauge.
    trial : array_like, shape (n,)
        Orders the readings of one part by one operator; the numbers need not start at 1.
    master : bool
        Whether what was measured is a master of known size.

    Notes
    -----
    Two or more operators: crossed. None, or one: parts without operators. A single part: one master.
    Trials are counted within each part and operator, because they stand for one another. Where counts
    differ, the parts, operators and number of trials are kept that use most readings.

    Raises
    ------
    NotEnoughData
        When nothing was measured twice.

    Examples
    --------
    >>> named = {"part": ["a", "a", "b", "b"], "operator": [None] * 4, "trial": [1, 2, 1, 2]}
    >>> found = laid_out([1.0, 1.2, 2.0, 2.1], **named)
    >>> found.design.value, found.values.shape
    ('parts without operators', (2, 1, 2))
    """
    x = np.asarray(values, dtype=np.float64)
    read = np.isfinite(x)
    notes: list[str] = []
    left: list[str] = []
    if not read.all():
        left.append(f"{int((~read).sum())} readings that are no number")
    x, parts = x[read], _names(np.asarray(part, dtype=object)[read])
    people, trials = np.asarray(operator, dtype=object)[read], np.asarray(trial, dtype=np.float64)[read]
    persons = _operators(people, notes)
    part_names, part_of = _numbered(parts)
    person_names, person_of = _numbered(persons)
    order = np.lexsort((np.arange(len(x)), trials, person_of, part_of))
    counts = np.zeros((len(part_names), len(person_names)), dtype=np.int64)
    np.add.at(counts, (part_of, person_of), 1)
    if len(part_names) == 1:
        return _master(x[np.argsort(trials, kind="stable")], part_names, person_names, notes, left)
    if master:
        notes.append("several masters were read: they are treated as parts")
    rows, columns, deep = _fullest(counts)
    if deep < 2:
        raise NotEnoughData("trials of each part by each operator", need=2, got=deep)
    left += _unused(counts, (part_names, person_names), (rows, columns, deep))
    starts = np.concatenate([[0], np.cumsum(counts.ravel())[:-1]]).reshape(counts.shape)
    cell = starts[np.ix_(rows, columns)][:, :, None] + np.arange(deep)
    crossed = len(person_names) > 1
    if crossed and len(columns) < 2:
        notes.append(f"only {person_names[columns[0]]} measured enough: what persons add is not in it")
    return Laid(
        design=Design.CROSSED if len(columns) > 1 else Design.AUTOMATIC,
        parts=tuple(part_names[i] for i in rows),
        operators=tuple(person_names[i] for i in columns) if persons[0] != "" else (),
        values=x[order][cell],
        left_out=tuple(left),
        notes=tuple(notes),
    )


def _operators(people: NDArray[np.object_], notes: list[str]) -> list[str]:
    """Return the operator of each reading; '' where the study names none."""
    named = {str(p) for p in people if p is not None}
    if not named:
        return [""] * len(people)
    if any(p is None for p in people):
        notes.append("readings without an operator's name count as one operator more")
    elif len(named) == 1:
        notes.append(f"one operator, {named.copy().pop()}: what persons add is not in it")
    return [UNNAMED if p is None else str(p) for p in people]


def _master(x: Floats, parts: list[str], persons: list[str], notes: list[str], left: list[str]) -> Laid:
    if len(x) < 2:
        raise NotEnoughData(f"readings of {parts[0]}", need=2, got=len(x))
    if len(persons) > 1:
        notes.append(f"{len(persons)} operators read it; their readings are taken together")
    return Laid(
        design=Design.MASTER,
        parts=tuple(parts),
        operators=tuple(p for p in persons if p),
        values=x[None, None, :],
        left_out=tuple(left),
        notes=tuple(notes),
    )


def _fullest(counts: Whole) -> tuple[Whole, Whole, int]:
    """Return parts, operators and trials of the full block that holds most readings, two trials at least."""
    best: tuple[int, Whole, Whole, int] = (0, np.arange(0), np.arange(0), int(counts.max(initial=0)))
    for deep in range(2, int(counts.max(initial=0)) + 1):
        rows, columns = _full(counts >= deep)
        held = len(rows) * len(columns) * deep
        if len(rows) > 1 and len(columns) and held > best[0]:
            best = (held, rows, columns, deep)
    return best[1], best[2], best[3] if best[0] else min(best[3], 1)


def _full(there: NDArray[np.bool_]) -> tuple[Whole, Whole]:
    """Return rows and columns that are full together, taking away whichever lacks the larger share."""
    rows, columns = np.arange(there.shape[0]), np.arange(there.shape[1])
    while len(rows) and len(columns):
        lacking = ~there[np.ix_(rows, columns)]
        if not lacking.any():
            break
        by_row, by_column = lacking.mean(axis=1), lacking.mean(axis=0)
        if by_row.max() >= by_column.max():
            rows = np.delete(rows, int(by_row.argmax()))
        else:
            columns = np.delete(columns, int(by_column.argmax()))
    return rows, columns


def _unused(counts: Whole, names: tuple[list[str], list[str]], kept: tuple[Whole, Whole, int]) -> list[str]:
    """Name what the full block does not hold, and why."""
    rows, columns, deep = kept
    said = []
    for i in sorted(set(range(len(names[0]))) - set(rows.tolist())):
        seen = counts[i, columns]
        said.append(f"part {names[0][i]}: {int(seen.min())} of {deep} trials{_by(names[1], columns, seen)}")
    for j in sorted(set(range(len(names[1]))) - set(columns.tolist())):
        full = int((counts[rows, j] >= deep).sum())
        said.append(f"operator {names[1][j]}: {full} of {len(rows)} parts measured {deep} times")
    over = int((counts[np.ix_(rows, columns)] - deep).sum())
    if over:
        said.append(f"{over} readings beyond {deep} trials of each part, the last of their cells")
    return said


def _by(persons: list[str], columns: Whole, seen: Whole) -> str:
    person = persons[columns[int(seen.argmin())]]
    return f" by {person}" if person else ""


def _names(found: NDArray[np.object_]) -> list[str]:
    return [UNNAMED if name is None else str(name) for name in found]


def _numbered(names: list[str]) -> tuple[list[str], Whole]:
    """Return the different names as they first appear, and the number of each."""
    place = {name: i for i, name in enumerate(dict.fromkeys(names))}
    return list(place), np.array([place[name] for name in names], dtype=np.int64)

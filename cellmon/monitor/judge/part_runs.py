"""Runs of one part number on a spindle: where another part between them ends a subgroup."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cellmon.judged import Bores
from cellmon.records import Flags, Whole

LEAST_RUN = 2
"""Blocks in a row from which another part is a run of its own. Parts that alternate one by one are one flow:
each part's subgroups go on past the others."""


@dataclass(frozen=True, kw_only=True, eq=False)
class PartRuns:
    """For each bore the number of its part's run, within its unit and spindle, and whether it is over."""

    number: Whole
    over: Flags


def part_runs(bores: Bores) -> PartRuns:
    """Number the runs of each part number on each spindle, unit by unit.

    Parameters
    ----------
    bores : Bores
        In making order. A block counts once, where its first bore on the spindle stands.
    """
    number, over = np.zeros(len(bores), dtype=np.int64), np.zeros(len(bores), dtype=bool)
    if len(set(bores.part_number.tolist())) < 2:
        return PartRuns(number=number, over=over)
    numbers = bores.part_number.astype(str)
    place = np.unique(bores.spindle.astype(str), return_inverse=True)[1]
    unit = np.unique(bores.unit_start, return_inverse=True)[1]
    where = unit * (int(place.max()) + 1) + place
    for one in np.unique(where):
        rows = np.flatnonzero(where == one)
        runs = runs_of(bores.part[rows].astype(str), numbers[rows])
        number[rows], over[rows] = runs.number, runs.over
    return PartRuns(number=number, over=over)


def runs_of(serial: NDArray[np.str_], part_number: NDArray[np.str_]) -> PartRuns:
    """Number the runs of each part number among bores of one spindle, in making order.

    Parameters
    ----------
    serial, part_number : array of str, shape (n,)
        Of each bore the block's serial and part number.
    """
    _, first, block = np.unique(serial, return_index=True, return_inverse=True)
    order = np.argsort(first, kind="stable")
    turn = np.empty(len(order), dtype=np.int64)
    turn[order] = np.arange(len(order))
    numbers = part_number[first[order]]
    begins = np.flatnonzero(np.concatenate(([True], numbers[1:] != numbers[:-1])))
    lengths = np.diff(np.append(begins, len(numbers)))
    others, all_others = np.zeros(len(begins), dtype=np.int64), np.zeros(len(begins), dtype=np.int64)
    for one in np.unique(numbers):
        mine = numbers[begins] == one
        long = ~mine & (lengths >= LEAST_RUN)
        others[mine], all_others[mine] = np.cumsum(long)[mine], long.sum()
    run = np.repeat(np.arange(len(begins)), lengths)[turn[block]]
    return PartRuns(number=others[run], over=others[run] < all_others[run])

"""Runs of rows that say the same of their bore: what they say is read once a run."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import reduce
from typing import Any

import numpy as np
import pyarrow.compute as pc
from numpy.typing import NDArray

from cellmon.records import Whole


@dataclass(frozen=True, kw_only=True, eq=False)
class Runs:
    """The first row of each run, and the run of each row."""

    heads: Whole
    run: Whole

    @classmethod
    def of(cls, columns: Iterable[Any], size: int) -> Runs:
        """Return the runs of rows over which no column changes, given by their codes."""
        begins = np.zeros(size, dtype=bool)
        begins[:1] = True
        codes = [column.indices for column in columns if size]
        changed = [pc.not_equal(each.slice(1), each.slice(0, size - 1)) for each in codes]
        if changed:  # bits are joined sooner than bytes; one that is unknown leaves what it is joined to so
            begins[1:] = pc.fill_null(reduce(pc.or_, changed), True).to_numpy(zero_copy_only=False)
        return cls._begun(begins)

    @classmethod
    def _begun(cls, begins: NDArray[np.bool_]) -> Runs:
        return cls(heads=np.flatnonzero(begins), run=np.cumsum(begins) - 1)

    def select(self, rows: Whole) -> tuple[Whole, Whole]:
        """Return which runs some rows, in order, are of, and the place of each row's among these."""
        run = self.run[rows]
        begins = np.ones(len(run), dtype=bool)
        begins[1:] = run[1:] != run[:-1]
        return run[begins], np.cumsum(begins) - 1

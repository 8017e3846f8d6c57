"""Streams side by side: the subgroups of a unit as columns, one a stream, as the watch takes them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from cellmon.drift.columns import Steps
from cellmon.judged import Subgroups
from cellmon.monitor.judge.inputs import Moves, Spans
from cellmon.records import Numbers, Whole

THERMAL_DOUBT = 0.5
"""Of a level where temperatures begin or cease to be known, in standard deviations of a bore."""
LONG = 3.0
"""A pause so many times the usual distance of subgroups may have held bores that were not charted."""
MOST_MISSED = 200.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Laid:
    """Which subgroups stand in which column, column after column, each in order of time."""

    rows: Whole
    column: Whole
    edges: Whole
    """Shape (columns + 1,): where each column begins among the rows, and where the last ends."""

    @classmethod
    def of(cls, rows: Whole, begin: Whole, end: Whole) -> Laid:
        """Lay out columns, each of the rows from one place among some to another."""
        lengths = end - begin
        edges = np.concatenate(([0], np.cumsum(lengths)))
        places = np.arange(edges[-1]) + np.repeat(begin - edges[:-1], lengths)
        return cls(rows=rows[places], column=np.repeat(np.arange(len(begin)), lengths), edges=edges)

    @property
    def step(self) -> Whole:
        """The place of each row in its column."""
        found: Whole = np.arange(len(self.rows)) - self.edges[self.column]
        return found

    @property
    def first(self) -> Whole:
        """The first row of each column."""
        return self.rows[self.edges[:-1]]

    @property
    def last(self) -> Whole:
        """The last row of each column."""
        return self.rows[self.edges[1:] - 1]

    def before(self, spans: Spans, first: Spans) -> Spans:
        """Return the spans of the subgroup before each row; `first` is that of each column's first."""
        if not len(self.rows):
            return spans
        found = spans.select(np.arange(len(self.rows)) - 1)
        begins = self.edges[:-1]
        found.first[begins], found.last[begins], found.thermal[begins] = (
            first.first,
            first.last,
            first.thermal,
        )
        return found


@dataclass(frozen=True, kw_only=True, eq=False)
class Columns:
    """Subgroups of streams side by side, with what is known to have moved each since the one before."""

    laid: Laid
    spans: Spans
    before: Spans
    moves: Moves
    bore_sd: Numbers
    """Shape (columns,), as `slope`."""
    slope: Numbers
    """A bore."""

    def rows(self, column: int) -> Whole:
        """Return the rows of one column."""
        return self.laid.rows[self.places(column)]

    def places(self, column: int) -> slice:
        """Return where one column stands among all rows."""
        return slice(int(self.laid.edges[column]), int(self.laid.edges[column + 1]))


def side_by_side(subgroups: Subgroups, columns: Columns) -> Steps:
    """Lay streams side by side, each from its first subgroup on."""
    laid, m = columns.laid, columns.moves
    shape = (int(np.diff(laid.edges).max(initial=0)), len(laid.edges) - 1)
    place, n = laid.step * shape[1] + laid.column, subgroups.n[laid.rows]
    lost = m.thermal_lost * ((THERMAL_DOUBT * columns.bore_sd) ** 2)[laid.column]
    given: dict[str, Any] = {
        name: getattr(subgroups, name)[laid.rows] for name in ("mean", "sd", "low", "high")
    }
    given |= {
        "at": subgroups.at[laid.rows].astype(np.int64),
        "n": n.astype(np.float64),
        "moved": m.machine + m.thermal,
        "by_hand": m.by_hand,
        "zeroed": m.zeroed,
        "doubt": m.doubt + lost + _pause_doubt(columns, n.astype(np.float64)),
        "dressed": m.dressed,
        "changed": m.changed,
    }
    empty = dict.fromkeys(("mean", "sd", "low", "high"), np.nan)
    found = {name: np.full(shape, empty.get(name, 0), dtype=values.dtype) for name, values in given.items()}
    for name, values in given.items():
        found[name].reshape(-1)[place] = values
    return Steps(**found)


def _pause_doubt(columns: Columns, n: Numbers) -> Numbers:
    """Return the variance that bores made but not charted leave, where a stream drifts.

    They may lie before a subgroup, or between its own bores.
    """
    laid, doubt = columns.laid, np.zeros(len(n))
    slope = columns.slope[laid.column]
    if not len(n) or not slope.any():
        return doubt
    spans = columns.spans
    for since, until in ((columns.before.first, spans.first), (spans.first, spans.last)):
        apart = (until - since).astype(np.int64).astype(np.float64)
        usual = _medians(apart, laid)[laid.column]
        long = (usual > 0) & (apart > LONG * usual) & (slope != 0)
        missed = np.minimum((apart[long] / usual[long] - 1) * n[long], MOST_MISSED)
        doubt[long] += (slope[long] * missed) ** 2
    return doubt


def _medians(values: Numbers, laid: Laid) -> Numbers:
    """Return the median of each column's figures."""
    order = np.lexsort((values, laid.column))
    begins, lengths = laid.edges[:-1], np.diff(laid.edges)
    low, high = values[order[begins + (lengths - 1) // 2]], values[order[begins + lengths // 2]]
    found: Numbers = (low + high) / 2
    return found

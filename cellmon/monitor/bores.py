"""Judged bores as a table: what exports carry, and what single bores are shown with."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cellmon.judged import FEATURE_COLUMNS, Bores
from cellmon.monitor.answers import Answer
from cellmon.monitor.view import View
from cellmon.records import Texts, Whole
from cellmon.shifts import to_utc


@dataclass(frozen=True, kw_only=True, eq=False)
class BoreTable(Answer):
    """Every measurement of some time, one row each; `nominal_mm` by part number."""

    bores: Bores

    def columns(self) -> dict[str, NDArray[Any]]:
        """Return the table column by column; micrometres from nominal, moments in UTC."""
        table: dict[str, NDArray[Any]] = {}
        for column in self.bores.columns():
            name = f"{column.name}_um" if column.name in FEATURE_COLUMNS else column.name
            table[name] = getattr(self.bores, column.name)
        for i, plane in enumerate(self.bores.planes):
            for j, direction in enumerate(self.bores.directions):
                table[f"{plane}_{direction}_um"] = self.bores.um[:, i, j]
        table["verdict"] = _words(self.bores.verdict, lambda row: self.bores.verdict_of(row).value)
        table["flags"] = _words(self.bores.flags, lambda row: " ".join(self.bores.flags_of(row)))
        return table


def bore_table(view: View, *, since: datetime | None = None, until: datetime | None = None) -> BoreTable:
    """Return the bores measured from `since` to `until`, all by default."""
    bores = view.session.bores(
        start=None if since is None else to_utc(since),
        end=view.as_of if until is None else to_utc(until),
    )
    return BoreTable(**view.head(), bores=bores)


def known_features(bores: Bores, row: int) -> dict[str, float | None]:
    """Return the features of one bore, None where a reading that a feature needs is missing."""
    found = {name: float(getattr(bores, name)[row]) for name in FEATURE_COLUMNS}
    return {name: None if np.isnan(value) else value for name, value in found.items()}


def _words(codes: Whole, word: Callable[[int], str]) -> Texts:
    """Return the word of every row, asked once for each different code by a row that has it."""
    _, first, code = np.unique(codes, return_index=True, return_inverse=True)
    words = np.array([word(int(row)) for row in first], dtype=object)
    return words[code] if len(words) else words

"""What the rows of a study measured: places by name, and the features of bores that were measured whole."""

from __future__ import annotations

import numpy as np

from cellmon.bores.form import two_point_features
from cellmon.judged import SIZE_COLUMNS
from cellmon.records import Flags, Numbers, StudyReadings, Texts
from cellmon.sheet import TWO_POINT_FEATURES, Part, Sheet


def items_of(rows: StudyReadings) -> list[str]:
    """Return what was measured in each row: part, and bore and place where they are named."""
    return joined([rows.part, rows.bore, rows.plane, rows.direction])


def joined(columns: list[Texts]) -> list[str]:
    return [" ".join(str(c) for c in cells if c is not None) for cells in zip(*columns, strict=True)]


Figures = tuple[str, Numbers, list[str], Texts, Numbers]
"""Name, values, items, operators and trials of one feature."""


def forms(rows: StudyReadings, um: Numbers, sheet: Sheet, part: Part) -> list[Figures]:
    """Return the features of every bore that was measured whole: name, values, items, operators, trials."""
    planes, directions = list(sheet.measuring.planes), list(sheet.measuring.directions)
    known = np.isin(rows.plane.astype(str), planes) & np.isin(rows.direction.astype(str), directions)
    rows, um = rows.select(known), um[known]
    if len(planes) * len(directions) < 2 or not len(rows):
        return []
    keys = joined([rows.part, rows.bore])
    who = [f"{k}\x1f{o}\x1f{t}" for k, o, t in zip(keys, rows.operator, rows.trial, strict=True)]
    _, first, number = np.unique(np.array(who, dtype=object), return_index=True, return_inverse=True)
    cells = np.full((len(first), len(planes), len(directions)), np.nan)
    at = ([planes.index(p) for p in rows.plane], [directions.index(d) for d in rows.direction])
    cells[number, at[0], at[1]] = um
    whole: Flags = np.isfinite(cells).all(axis=(1, 2))
    if not whole.any():
        return []
    found = two_point_features(
        cells,
        depths_mm=tuple(sheet.measuring.planes.values()),
        angles_deg=tuple(sheet.measuring.directions.values()),
        length_mm=part.length_mm,
    )
    item, operator, trial = [keys[i] for i in first], rows.operator[first], rows.trial[first]
    figures: list[Figures] = []
    for name in (n for n in TWO_POINT_FEATURES if n in part.features):
        values = _of(found, name, part)
        told = np.flatnonzero(np.isfinite(values))  # a bore that lacks a place has no figure, and no number
        if len(told):
            figures.append((name, values[told], [item[i] for i in told], operator[told], trial[told]))
    return figures


def _of(found: object, name: str, part: Part) -> Numbers:
    column = SIZE_COLUMNS.get(part.diameter.size, "average") if name == "diameter" else name
    values: Numbers = getattr(found, column)
    return values

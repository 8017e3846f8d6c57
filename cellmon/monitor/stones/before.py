"""Sizes of bores as they were before honing, unit by unit: those of a unit are read once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cellmon.monitor.stones.counted import Lately
from cellmon.monitor.view import View
from cellmon.records import Times

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class Before:
    """Bores measured before they were honed, in order of time."""

    at: Times
    bores: tuple[tuple[str, str], ...]
    """Part and bore of each."""
    average: Floats


def sizes_before(view: View, newest: Lately, *, since: np.datetime64) -> dict[tuple[str, str], float]:
    """Return the sizes of bores measured before honing from a moment on, the newest of each."""
    near = np.flatnonzero(newest.end >= since)
    stamps = {newest.start[k]: newest.stored[k] for k in near.tolist()}
    found: dict[tuple[str, str], float] = {}
    for one in view.carry_each("sizes before honing", stamps, lambda unit: _of_unit(view, unit)).values():
        there = np.flatnonzero((one.at >= since) & (one.at <= view.as_of))
        found.update({one.bores[k]: float(one.average[k]) for k in there.tolist()})
    return found


def _of_unit(view: View, unit: np.datetime64) -> Before:
    rows = view.session.bores_of_unit(unit)
    rows = rows.select((rows.charted == 0) & (rows.stage == "before") & np.isfinite(rows.average))
    pairs = tuple(zip(rows.part.tolist(), rows.bore.tolist(), strict=True))
    return Before(at=rows.measured_at, bores=pairs, average=rows.average)

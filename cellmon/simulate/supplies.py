"""Stone sets on the shelf and the pistons that go into the bores."""

from __future__ import annotations

import numpy as np

from cellmon.records import MatingParts, StockMovements
from cellmon.simulate.columns import numbers, rounded, same, texts, times
from cellmon.simulate.honed import Honed
from cellmon.simulate.sources import Sources

PISTONS = 600
CLEARANCE_UM = 38.0
PISTON_SD_UM = 3.5
GRADE_UM = 8.0
GRADES = ("A", "B", "C")


def stock_movements(honed: Honed) -> StockMovements:
    """Return a set out of stock at each change, two deliveries in the week and an order still open."""
    clock, kind = honed.clock, honed.scenario.stones.kind
    day = np.timedelta64(1, "D")
    out = [clock.start + np.timedelta64(c.fitted_s, "s") for c in clock.changes]
    deliveries = [clock.start + day, clock.start + 4 * day]
    order = clock.start + 4 * day + np.timedelta64(2, "h")
    at = times([*out, *deliveries, order])
    taken, none, late = [-1.0] * len(out), [None] * len(out), np.datetime64("NaT")
    found = StockMovements(
        at=at,
        kind=same(kind, len(at)),
        change=numbers([*taken, 4.0, 4.0, 6.0]),
        lot=texts([*none, "L-2227", "L-2231", None]),
        order=texts([*none, "PO-5098", "PO-5107", "PO-5123"]),
        due=times([*[late] * len(out), late, late, order + 15 * day]),
        by=texts([*["setter"] * len(out), "store", "store", "planner"]),
    )
    return found.select(np.argsort(at, kind="stable"))


def pistons(honed: Honed, *, sources: Sources) -> MatingParts:
    """Return pistons measured during the run, sorted into grades as the bores are."""
    random, bores = sources.of("pistons"), honed.scenario.bores
    um = bores.target_um - CLEARANCE_UM + PISTON_SD_UM * random.standard_normal(PISTONS)
    grade = np.clip((um + CLEARANCE_UM) // GRADE_UM, 0, 2).astype(int)
    at = honed.clock.start + (np.arange(PISTONS) * 240).astype("timedelta64[s]")
    return MatingParts(
        part=texts(f"PN-{20117 + i:06d}" for i in range(PISTONS)),
        diameter_mm=rounded(bores.nominal_mm + um / 1000, 0.0001),
        temp_c=rounded(21.0 + 0.3 * random.standard_normal(PISTONS), 0.1),
        height_mm=np.full(PISTONS, 12.0),
        grade=texts(GRADES[g] for g in grade),
        at=np.array(at, dtype="datetime64[us]"),
        by=same("store", PISTONS),
    )

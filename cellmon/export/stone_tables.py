"""The plan of stones as tables: the changes to come, and the order list."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from cellmon.export.tables import Table
from cellmon.monitor.stone_plan import StonePlan
from cellmon.monitor.stones import StonesAnswer, StoneSetOf

TEXT, TIME, FIGURE, FLAG = "text", "time", "figure", "flag"
_CHANGES = {
    "at": TIME,
    "earliest": TIME,
    "latest": TIME,
    "spindle": TEXT,
    "stage": TEXT,
    "kind": TEXT,
    "stone_set": TEXT,
    "bores": FIGURE,
    "with_spindle": TEXT,
    "early_bores": FIGURE,
}
_SETS = {
    **dict.fromkeys(("stone_set", "state", "kind", "stage", "maker", "lot", "spindle"), TEXT),
    "fitted_at": TIME,
    "removed_at": TIME,
    "removed_why": TEXT,
    **dict.fromkeys(("bores_since_fit", "dressed", "bores_since_dress", "wear_um"), FIGURE),
    **{f"wear_um_per_1000_bores{end}": FIGURE for end in ("", "_low", "_high")},
    **dict.fromkeys(("thickness_left_um", "parallelism_um"), FIGURE),
    **{f"{name}_{p}": FIGURE for name in ("remaining", "good") for p in ("p05", "p50", "p95")},
    "limited_by": TEXT,
    **{f"due_{p}": TIME for p in ("p05", "p50", "p95")},
    **dict.fromkeys(("rests_on", "face", "truing", "advice", "why", "asked", "assumed"), TEXT),
}
_LOTS = {
    **dict.fromkeys(("lot", "kind", "maker"), TEXT),
    **dict.fromkeys(("sets", "running", "worn", "chipped", "median_bores"), FIGURE),
    **{f"{name}_ratio{end}": FIGURE for name in ("life", "wear") for end in ("", "_low", "_high")},
    "chance": FIGURE,
    "differs": FLAG,
    "sentence": TEXT,
}
_ORDERS = {
    "kind": TEXT,
    "sets": FIGURE,
    "order_by": TIME,
    "late": FLAG,
    "cost": FIGURE,
    "usable": FIGURE,
    "ordered": FIGURE,
    "first_shortage_at": TIME,
    "service_level": FIGURE,
}


def plan_table(plan: StonePlan, *, zone: ZoneInfo) -> Table:
    """Return one row a change to come, by date; 1 of 20 comes before `earliest`, 1 of 20 after `latest`."""
    rows = [{name: getattr(change, name) for name in _CHANGES} for change in plan.changes]
    return _table("stone-plan", _CHANGES, rows, plan, zone)


def sets_table(answer: StonesAnswer, *, zone: ZoneInfo) -> Table:
    """Return one row a stone set: its history, wear, what is left, and what to do."""
    rows = [_set_row(one) for one in answer.sets]
    columns = {name: _column(type_, [row[name] for row in rows]) for name, type_ in _SETS.items()}
    return Table(kind="stones", columns=columns, as_of=answer.as_of, sheet=answer.sheet, zone=zone)


def _set_row(one: StoneSetOf) -> dict[str, Any]:
    row: dict[str, Any] = {name: getattr(one, name, None) for name in _SETS}
    rate = one.wear_um_per_1000_bores
    for name in ("value", "low", "high"):
        suffix = "" if name == "value" else f"_{name}"
        row[f"wear_um_per_1000_bores{suffix}"] = None if rate is None else getattr(rate, name)
    for name, of in (("remaining", one.remaining_bores), ("good", one.good_bores), ("due", one.due_at)):
        for p in ("p05", "p50", "p95"):
            row[f"{name}_{p}"] = None if of is None else getattr(of, p)
    row["face"] = None if one.face is None else one.face.face
    return row | {"asked": "; ".join(one.asked) or None, "assumed": "; ".join(one.assumed) or None}


def lots_table(answer: StonesAnswer, *, zone: ZoneInfo) -> Table:
    """Return one row a lot: how its sets lasted and wore against the others of their kind, 95 % ranges."""
    rows = []
    for one in answer.lots:
        row: dict[str, Any] = {name: getattr(one, name, None) for name in _LOTS}
        for name, ratio in (("life", one.life_ratio), ("wear", one.wear_ratio)):
            for end in ("value", "low", "high"):
                suffix = "" if end == "value" else f"_{end}"
                row[f"{name}_ratio{suffix}"] = None if ratio is None else getattr(ratio, end)
        rows.append(row)
    columns = {name: _column(type_, [row[name] for row in rows]) for name, type_ in _LOTS.items()}
    return Table(kind="stone-lots", columns=columns, as_of=answer.as_of, sheet=answer.sheet, zone=zone)


def orders_table(plan: StonePlan, *, zone: ZoneInfo) -> Table:
    """Return one row an order to place, with the stock it starts from."""
    rows = []
    for line in plan.order_list:
        one = next(kind for kind in plan.kinds if kind.kind == line.kind)
        short = one.first_shortage_at
        rows.append(
            {
                **{name: getattr(line, name) for name in ("kind", "sets", "order_by", "late", "cost")},
                "usable": None if one.stock is None else one.stock.usable,
                "ordered": None if one.stock is None else one.stock.ordered,
                "first_shortage_at": None if short is None else short.p50,
                "service_level": plan.service_level,
            }
        )
    return _table("stone-orders", _ORDERS, rows, plan, zone)


def _table(
    kind: str, types: Mapping[str, str], rows: Sequence[Mapping[str, Any]], plan: StonePlan, zone: ZoneInfo
) -> Table:
    columns = {name: _column(type_, [row[name] for row in rows]) for name, type_ in types.items()}
    return Table(kind=kind, columns=columns, as_of=plan.as_of, sheet=plan.sheet, zone=zone)


def _column(type_: str, cells: Sequence[Any]) -> NDArray[Any]:
    if type_ == TIME:
        return np.array([_naive(cell) for cell in cells], dtype="datetime64[us]")
    if type_ == FIGURE:
        return np.array([np.nan if cell is None else cell for cell in cells], dtype=np.float64)
    return np.array(cells, dtype=bool if type_ == FLAG else object)


def _naive(at: datetime | None) -> datetime | None:
    return None if at is None else at.astimezone(UTC).replace(tzinfo=None)

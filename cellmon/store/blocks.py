"""Blocks of what is judged, one a unit of judging: where a batch is cut into them, and those of a time."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Select, Table, select

from cellmon.judged import Bores, Subgroups
from cellmon.store import bulk


def unit_order(batch: Bores | Subgroups) -> NDArray[np.int64] | None:
    """Return the order of units of a derived batch; None where it stands in it."""
    if (batch.unit_start[1:] < batch.unit_start[:-1]).any():
        return np.argsort(batch.unit_start, kind="stable")
    return None


def edges_of(values: NDArray[Any]) -> list[int]:
    """Return where a column takes another value, and its two ends, which are one where it is empty."""
    if not len(values):
        return [0]
    return [0, *(np.flatnonzero(values[1:] != values[:-1]) + 1).tolist(), len(values)]


def columns(batch: Bores | Subgroups) -> dict[str, NDArray[Any]]:
    """Return the columns of a batch by name, as a block packs them."""
    return {column.name: getattr(batch, column.name) for column in batch.columns()}


def overlapping(
    table: Table, start: np.datetime64 | None, end: np.datetime64 | None, *, newest_first: bool
) -> Select[Any]:
    """Select the units that may hold rows between two moments, in order of time."""
    query: Select[Any] = select(table)
    if start is not None:
        query = query.where(table.c.last_at >= bulk.moment(start))
    if end is not None:
        query = query.where(table.c.unit_start <= bulk.moment(end))
    # units do not overlap, so either moment orders them; from a start on, its own index reads nothing before
    order = table.c.unit_start if start is None else table.c.last_at
    return query.order_by(order.desc() if newest_first else order)


def inside(
    when: NDArray[np.datetime64], start: np.datetime64 | None, end: np.datetime64 | None
) -> NDArray[np.bool_]:
    """Say of each moment whether it lies in [start, end]."""
    found = np.ones(len(when), dtype=bool)
    if start is not None:
        found &= when >= start
    if end is not None:
        found &= when <= end
    return found

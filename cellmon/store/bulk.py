"""Arrays into rows and rows into arrays, whole columns at a time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, Table, bindparam
from sqlalchemy.sql import ColumnElement, FromClause, Select

from cellmon.records import Batch, Column, ColumnType, Times, absent


def plain(array: NDArray[Any], type_: ColumnType) -> list[Any]:
    """Return a column as plain Python values, None where nothing stands."""
    if type_ is ColumnType.TEXT:
        return list(array.tolist())
    if type_ is ColumnType.TIME:
        gone = np.isnat(array)
        values: NDArray[Any] = array.astype("datetime64[us]").astype(np.int64)
    elif type_ is ColumnType.WHOLE:
        return list(array.astype(np.int64).tolist())
    else:
        gone, values = np.isnan(array), array
    if not gone.any():
        return list(values.tolist())
    holes = values.astype(object)
    holes[gone] = None
    return list(holes.tolist())


def array(values: Sequence[Any], type_: ColumnType) -> NDArray[Any]:
    """Return plain values as the array a batch holds."""
    if type_ is ColumnType.TEXT:
        texts = np.empty(len(values), dtype=object)
        texts[:] = values
        return texts
    if type_ is ColumnType.WHOLE:
        return np.array(values, dtype=np.int64)
    numbers = np.array(values, dtype=object)
    gone = absent(numbers)
    if type_ is ColumnType.TIME:
        numbers[gone] = np.iinfo(np.int64).min  # what NaT is
        return numbers.astype(np.int64).view("datetime64[us]")
    numbers[gone] = np.nan
    return numbers.astype(np.float64)


def moment(value: np.datetime64) -> int:
    """Return one moment as the store keeps it."""
    return int(value.astype("datetime64[us]").astype(np.int64))


def moments(values: Sequence[int]) -> Times:
    """Return stored moments as `datetime64[us]`."""
    return np.array(values, dtype=np.int64).view("datetime64[us]")


def columns_of(batch: Batch) -> dict[str, list[Any]]:
    """Return a batch's declared columns as plain values."""
    return {c.name: plain(getattr(batch, c.name), c.type) for c in batch.columns()}


def insert(
    conn: Connection, table: Table, columns: Mapping[str, Sequence[Any]], *, known: str = "refuse"
) -> None:
    """Add rows given column by column; with `known="ignore"` those whose key stands are passed over.

    On SQLite the rows go past SQLAlchemy's own handling of parameters, which is four times as fast.
    """
    names = tuple(columns)
    rows = list(zip(*columns.values(), strict=True))
    if not rows:
        return
    if conn.dialect.name == "sqlite":
        conn.exec_driver_sql(_sqlite_insert(table, names, known), rows)
        return
    from sqlalchemy.dialects.postgresql import insert as of_postgresql

    statement = _statement(of_postgresql(table), names, known)
    conn.execute(statement, [dict(zip(names, row, strict=True)) for row in rows])


@lru_cache(maxsize=256)
def _sqlite_insert(table: Table, names: tuple[str, ...], known: str) -> str:
    """Return the text of an insert; the same few are said again and again."""
    from sqlalchemy.dialects import sqlite

    statement = _statement(sqlite.insert(table), names, known)
    return str(statement.compile(dialect=sqlite.dialect(), column_keys=list(names)))


def _statement(insert_into: Any, names: tuple[str, ...], known: str) -> Any:
    """Return an insert of some columns; with `known="ignore"` past rows whose key stands."""
    statement = insert_into.values({name: bindparam(name) for name in names})
    return statement.on_conflict_do_nothing() if known == "ignore" else statement


def fetch(
    conn: Connection, query: Select[Any], declared: Sequence[Column], extra: Sequence[str] = (), **given: int
) -> dict[str, Any]:
    """Run a query whose columns are the declared ones, then `extra`; return arrays and plain lists."""
    found_rows = conn.execute(query, given)
    # on SQLite they come as they are wanted: SQLAlchemy's own rows take half as long again
    rows = found_rows.cursor.fetchall() if conn.dialect.name == "sqlite" else found_rows.fetchall()
    found_rows.close()
    names = [c.name for c in declared]
    values = list(zip(*rows, strict=True)) if rows else [()] * (len(names) + len(extra))
    found: dict[str, Any] = {c.name: array(values[i], c.type) for i, c in enumerate(declared)}
    found.update({name: list(values[len(names) + i]) for i, name in enumerate(extra)})
    return found


def declared_columns(table: FromClause, declared: Sequence[Column]) -> list[ColumnElement[Any]]:
    """Return a table's columns in the order in which a batch declares them."""
    return [table.c[c.name] for c in declared]

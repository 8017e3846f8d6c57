"""The newest row of each group of a table, found by steps through an index and not by reading every row."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from sqlalchemy import CTE, Subquery, Table, and_, case, select, true
from sqlalchemy.sql import ColumnElement, FromClause


def last_of_each(table: Table, names: Sequence[str], *, before: ColumnElement[int]) -> Subquery:
    """Return every combination of some columns with the last moment, `newest`, that it has before another.

    Of a combination without one that is null. It costs a few steps a combination where the table has an
    index of these columns and its moment `at`.
    """
    groups: CTE | None = None
    for i, name in enumerate(names):
        groups = _with_each(table, groups, names[:i], name)
    assert groups is not None, "at least one column"
    rows = table.alias()
    order = [rows.c[name].desc() for name in (*names, "at")]
    last = _of_group(rows, groups, names, "at", order, lambda: rows.c.at < before)
    return select(*(groups.c[name] for name in names), last.label("newest")).subquery()


def rows_of(table: Table, last: Subquery, names: Sequence[str], *, dialect: str) -> Subquery:
    """Return the rows that are the last of their combination, several where they are of one moment.

    PostgreSQL, which cannot foresee how few combinations there are, would read the whole table beside them:
    it is told to look at one after another.
    """
    rows = table.alias()
    same = and_(
        rows.c.at == last.c.newest, *(rows.c[name].is_not_distinct_from(last.c[name]) for name in names)
    )
    if dialect != "postgresql":
        return select(rows).join_from(rows, last, same).subquery()
    each = select(rows).where(same).offset(0).lateral()
    return select(each).join_from(last, each, true()).subquery()


def _with_each(table: Table, groups: CTE | None, known: Sequence[str], name: str) -> CTE:
    """Return combinations with every word of one column more, the next larger one step after step.

    Each ends with nothing, which stands for rows without a word.
    """
    first, later = table.alias(), table.alias()
    start = _of_group(first, groups, known, name, _by(first, known, name), lambda: first.c[name].is_not(None))
    before = () if groups is None else tuple(groups.c[one] for one in known)
    each = select(*before, start.label(name)).cte(f"each_{name}", recursive=True)
    order = _by(later, known, name)
    larger = _of_group(later, each, known, name, order, lambda: later.c[name] > each.c[name])
    step = select(*(each.c[one] for one in known), larger.label(name)).where(each.c[name].is_not(None))
    return each.union_all(step)


def _by(rows: FromClause, known: Sequence[str], name: str) -> list[Any]:
    return [rows.c[one] for one in (*known, name)]


def _of_group(
    rows: FromClause,
    groups: FromClause | None,
    names: Sequence[str],
    wanted: str,
    order: Sequence[Any],
    where: Callable[[], ColumnElement[bool]],
    *given: ColumnElement[bool],
) -> Any:
    """Return one column of the first row of each group, in the order of the index.

    Rows with and without a word are asked for apart: that two columns are the same or both nothing is
    not looked up in an index everywhere. Not every store sees that rows without a word lie in order of
    what follows it in the index, so the order is that of all of it.
    """
    if not names or groups is None:
        return select(rows.c[wanted]).where(where(), *given).order_by(*order).limit(1).scalar_subquery()
    name, *others = names
    asked = (rows, groups, others, wanted, order, where)
    without = _of_group(*asked, *given, rows.c[name].is_(None))
    with_it = _of_group(*asked, *given, rows.c[name] == groups.c[name])
    return case((groups.c[name].is_(None), without), else_=with_it)

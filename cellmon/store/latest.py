"""The newest row of each group of a table, found by steps through an index and not by reading every row."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from sqlalchemy import CTE, Table, and_, case, func, select
from sqlalchemy.sql import ColumnElement, FromClause, Subquery


def last_of_all(table: Table, names: Sequence[str], *, before: ColumnElement[int]) -> Subquery:
    """Return what `last_of_each` does by reading the index whole.

    A server that plans the steps anew each time spends longer on that than on reading some 10,000 rows.
    """
    group = [table.c[name] for name in names]
    last = select(*group, func.max(table.c.at).label("newest")).where(table.c.at < before)
    return last.group_by(*group).subquery()


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
    last = _of_group(rows, groups, names, func.max(rows.c.at), lambda: rows.c.at < before)
    return select(*(groups.c[name] for name in names), last.label("newest")).subquery()


def same(table: Table, last: FromClause, names: Sequence[str]) -> ColumnElement[bool]:
    """Return the condition that a row is the last of its combination."""
    return and_(
        table.c.at == last.c.newest, *(table.c[name].is_not_distinct_from(last.c[name]) for name in names)
    )


def _with_each(table: Table, groups: CTE | None, known: Sequence[str], name: str) -> CTE:
    """Return combinations with every word of one column more, the next larger one step after step.

    Each ends with nothing, which stands for rows without a word.
    """
    first, later = table.alias(), table.alias()
    start = _of_group(first, groups, known, func.min(first.c[name]), lambda: first.c[name].is_not(None))
    before = () if groups is None else tuple(groups.c[one] for one in known)
    each = select(*before, start.label(name)).cte(f"each_{name}", recursive=True)
    larger = _of_group(later, each, known, func.min(later.c[name]), lambda: later.c[name] > each.c[name])
    step = select(*(each.c[one] for one in known), larger.label(name)).where(each.c[name].is_not(None))
    return each.union_all(step)


def _of_group(
    rows: FromClause,
    groups: FromClause | None,
    names: Sequence[str],
    wanted: Any,
    where: Callable[[], ColumnElement[bool]],
    *given: ColumnElement[bool],
) -> Any:
    """Return one value of the rows of each group.

    Rows with and without a word are asked for apart: that two columns are the same or both nothing is
    not looked up in an index everywhere.
    """
    if not names or groups is None:
        return select(wanted).where(where(), *given).scalar_subquery()
    name, *others = names
    without = _of_group(rows, groups, others, wanted, where, *given, rows.c[name].is_(None))
    with_it = _of_group(rows, groups, others, wanted, where, *given, rows.c[name] == groups.c[name])
    return case((groups.c[name].is_(None), without), else_=with_it)

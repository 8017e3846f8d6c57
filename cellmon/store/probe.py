"""On which days blocks were measured: a join, so that history's length does not count."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import ARRAY, Connection, Text, func, literal, select

from cellmon.records import Texts
from cellmon.records.alike import numbered
from cellmon.store import schema


def days_of_parts(conn: Connection, parts: Texts) -> list[int]:
    """Return the days, as the store keeps moments, on which any of these blocks was measured."""
    if conn.execute(select(schema.PART_DAYS.c.part).limit(1)).first() is None:
        return []
    table, names = schema.PART_DAYS, list(dict.fromkeys(parts.tolist()))
    if len(names) == 1:
        found = conn.execute(select(table.c.day).where(table.c.part == names[0])).scalars().all()
        return sorted(found)
    each = _each(conn, names)
    query = select(table.c.day).select_from(each.join(table, table.c.part == each.c.value)).distinct()
    return sorted(conn.execute(query).scalars())


def _each(conn: Connection, names: Sequence[str]) -> Any:
    """Return names as a table, which has no index: each is looked up among all days, not the other way."""
    if conn.dialect.name == "sqlite":
        return func.json_each(json.dumps(names)).table_valued("value")
    return func.unnest(literal(names, ARRAY(Text))).table_valued("value").render_derived()


def isin(texts: Texts, among: Texts) -> NDArray[np.bool_]:
    """Return which texts are among others; None is among none."""
    code, words = numbered(texts)
    wanted = set(numbered(among)[1])
    return np.isin(code, [i for i, word in enumerate(words) if word in wanted])

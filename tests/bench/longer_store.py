"""A store with a longer past: what is stored once more, so many weeks earlier, in the shape that take writes.

To take ten million bores would be hours of judging; what is asked here is how long an answer takes where
they are stored. Every table that grows grows: facts, blocks of bores and subgroups, signals as told.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from operator import itemgetter
from types import SimpleNamespace
from typing import Any

import numpy as np
from sqlalchemy import Table, select

from cellmon.monitor.judge.calls import Called
from cellmon.monitor.judge.limits import stream_key
from cellmon.monitor.judge.naming import name_of
from cellmon.monitor.renewed import BASIS
from cellmon.records import Stream
from cellmon.store import Session, bulk, schema
from cellmon.store.chunks import decode, encode
from cellmon.store.told import number_told

MOMENTS = ("day", "first_at", "unit_start", "in_force_from", "use_by", "due", "until")
ONCE = {"stock", "gauge_study", "stone_sets", "mating_parts", "provisional"}
"""Tables whose length no answer about a block depends on, and those that hold one row a stream."""
LEADS = {
    schema.TOLD: lambda body: body["calls"][0],
    schema.OUTLINES: itemgetter("lead"),
    schema.ANNOUNCED: dict,
}
"""Tables whose rows bear the name of a signal, and where each says of its first call."""
AT_A_TIME = 200
WEEK_US = 7 * 86_400 * 1_000_000


def lengthen(session: Session, *, copies: int, weeks: int) -> None:
    """Add the past of a store `copies` times more, each `weeks` earlier than the one before."""
    facts = [schema.READINGS, schema.PART_DAYS, schema.TRACE_BLOCKS, schema.ANNOUNCED, *schema.ROWS.values()]
    earlier = [(k * weeks * WEEK_US, f"{k}-") for k in range(1, copies + 1)]
    for table in (t for t in (*facts, *schema.DERIVED) if t.name not in ONCE):
        own = {c.name for c in table.primary_key if c.autoincrement is True}
        names = [c.name for c in table.columns if c.name not in own]
        waiting: list[tuple[Any, ...]] = []
        for row in _rows(session, table, names):
            if table is schema.TOLD and row["id"] == BASIS:
                continue  # what all signals rest on is said once
            waiting += [tuple(_earlier(table, row, us, mark).values()) for us, mark in earlier]
            if len(waiting) >= AT_A_TIME * copies:
                _put(session, table, names, waiting)
        _put(session, table, names, waiting)
    number_told(session.conn)


def _put(session: Session, table: Table, names: list[str], rows: list[tuple[Any, ...]]) -> None:
    columns = {name: [row[i] for row in rows] for i, name in enumerate(names)}
    bulk.insert(session.conn, table, columns)
    rows.clear()


def _rows(session: Session, table: Table, names: list[str]) -> Iterator[Mapping[str, Any]]:
    """Yield the rows that stand now, however many are added meanwhile."""
    wanted = [table.c[name] for name in names]
    if "data" not in names:
        for row in session.conn.execute(select(*wanted)).fetchall():
            yield dict(zip(names, row, strict=True))
        return
    keys = list(table.primary_key)
    for key in session.conn.execute(select(*keys)).fetchall():
        where = [column == value for column, value in zip(keys, key, strict=True)]
        yield dict(zip(names, session.conn.execute(select(*wanted).where(*where)).one(), strict=True))


def _earlier(table: Table, row: Mapping[str, Any], us: int, mark: str) -> dict[str, Any]:
    """Return one row as it would stand so much earlier; a signal bears the name of its own moment."""
    moved = {name: _moved(name, value, us, mark) for name, value in row.items()}
    if table not in LEADS:
        return moved
    lead = LEADS[table](json.loads(moved["body"]))
    at = np.datetime64(lead["at"], "us")
    stream = moved.get("stream") or stream_key(Stream(**lead["stream"]))
    called = SimpleNamespace(
        stream=Stream(**json.loads(stream)),
        family=lead["family"] if "family" in lead else _family(lead),
        side=lead["side"],
        at=at,
        detector=lead["detector"],
    )
    return moved | {"id": name_of(called)}


def _family(call: Mapping[str, Any]) -> str:
    return str(Called.family.fget(SimpleNamespace(**call)))


def _moved(name: str, value: Any, us: int, mark: str) -> Any:
    """Return one value as it would stand so much earlier, of other blocks."""
    if isinstance(value, bytes):
        return _block(value, us, mark)
    if isinstance(value, int) and (name in MOMENTS or name.endswith("_at") or name == "at"):
        return value - us
    return _moved_text(name, value, us, mark) if isinstance(value, str) else value


def _moved_text(name: str, value: str, us: int, mark: str) -> str:
    if name.endswith("_at") or name == "at":
        return str(np.datetime64(value, "us") - np.timedelta64(us, "us"))
    if name == "shift_starts":
        return json.dumps([moment - us for moment in json.loads(value)])
    if name == "body":
        return json.dumps(_told(json.loads(value), us, mark), sort_keys=True)
    return mark + value if name in ("id", "row_key", "call") or _is_part(name) else value


def _is_part(name: str) -> bool:
    return name == "part" or name.endswith("_part")


def _told(value: Any, us: int, mark: str) -> Any:
    if isinstance(value, list):
        return [_told(one, us, mark) for one in value]
    if isinstance(value, dict):
        return {k: _moved(k, _told(v, us, mark), us, mark) if k != "body" else v for k, v in value.items()}
    return value


def _block(data: bytes, us: int, mark: str) -> bytes:
    """Return a block of columns earlier; one that holds no columns of its own as it is."""
    try:
        columns = decode(data)
    except (ValueError, KeyError):  # where detectors stand is packed in another way, and read by unit only
        return data
    return encode({name: _column(name, values, us, mark) for name, values in columns.items()})


def _column(name: str, values: np.ndarray, us: int, mark: str) -> np.ndarray:
    if values.dtype.kind == "M":
        return values - np.timedelta64(us, "us")
    if values.dtype == object and _is_part(name):
        found = np.empty(len(values), dtype=object)
        found[:] = [mark + one if one is not None else None for one in values]
        return found
    return values

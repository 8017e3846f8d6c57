"""Many cells in one PostgreSQL database: a schema a cell, its big tables partitions of the plant's.

A URL that ends in `?cell=line_3` names one cell of a plant. The cell has all its tables in a schema of its
own, so whatever is asked of a cell is asked as in a database of its own. Each of its big tables is also the
cell's partition of a table that is partitioned by list of cells, so that the plant has one table of
readings and one of bores.

The plant's tables belong to a version of the schema. A cell leaves its partitions while its own schema is
brought up to date and joins those of the new version, so cells of one plant need not be updated together.

A schema cannot be a bound value: a cell is named in statements, once `cell_of` has let its name pass.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from sqlalchemy import Connection, Engine, create_engine, inspect, text
from sqlalchemy.engine import URL
from sqlalchemy.exc import ArgumentError
from sqlalchemy.pool import NullPool

from cellmon.store import schema
from cellmon.words import say

CELL = "cell"
"""The word of the URL that names the cell, and the column that tells the partitions apart."""
SCHEMA_OF_CELL, SCHEMA_OF_PLANT = "cell_", "plant_"
NAME = re.compile(r"[a-z][a-z0-9_]{0,39}")
PARTITIONED = (
    schema.FILES,
    schema.READINGS,
    schema.PART_DAYS,
    schema.TRACE_BLOCKS,
    schema.BORES,
    schema.SUBGROUPS,
    schema.TOGETHER,
    schema.WATCHED,
    schema.COUNTS,
    schema.HONED,
    schema.ALARMS,
)
"""Tables that grow with the bores, and the files they came from."""
LOCK = 0x706C616E
"""With the name of a cell: one writer of a cell at a time. Alone: one that joins or leaves at a time."""


@dataclass(frozen=True, kw_only=True)
class PlantCell:
    """One cell of a plant as its partitions tell of it; moments None where there is nothing yet."""

    cell: str
    schema: int
    """The version of its tables."""
    files: int
    units: int
    """Units of judging."""
    readings: int
    """Rows of readings."""
    newest: np.datetime64 | None
    """When its newest bore was measured."""
    taken: np.datetime64 | None
    """When its newest file was."""


def cell_of(address: URL) -> str | None:
    """Return which cell of a plant a URL names; None where it names a database of one cell.

    Raises
    ------
    ArgumentError
        Where the name cannot be one of a cell, or the store cannot hold several.
    """
    name = address.query.get(CELL)
    if name is None:
        return None
    if address.get_backend_name() != "postgresql":
        raise ArgumentError(say("only a PostgreSQL store holds several cells"))
    if not isinstance(name, str) or not NAME.fullmatch(name):
        raise ArgumentError(
            say("cell={name}: small letters, digits and _, beginning with a letter, 40 at most", name=name)
        )
    return name


def without_cell(address: URL) -> URL:
    """Return the address of the database."""
    return address.difference_update_query([CELL])


def make_room(address: URL, cell: str) -> None:
    """Make the schema of a cell where there is none yet."""
    engine = create_engine(without_cell(address), poolclass=NullPool)
    with engine.begin() as conn:
        _one_at_a_time(conn)
        conn.execute(text(f"CREATE SCHEMA IF NOT EXISTS {SCHEMA_OF_CELL}{cell}"))
    engine.dispose()


def search_path(cell: str) -> dict[str, str]:
    """Return what is asked of the driver so that a connection sees the tables of one cell alone."""
    return {"options": f"-csearch_path={SCHEMA_OF_CELL}{cell}"}


def hold(conn: Connection, cell: str) -> None:
    """Wait for whoever writes into a cell, and keep others out until the transaction ends."""
    conn.execute(text("SELECT pg_advisory_xact_lock(:lock, hashtext(:cell))"), {"lock": LOCK, "cell": cell})


def leave_partitions(conn: Connection, cell: str) -> None:
    """Let a cell's tables stand alone, so that its schema can be changed."""
    _one_at_a_time(conn)
    for parent, child in conn.execute(_PARENTS, {"cell": SCHEMA_OF_CELL + cell}).fetchall():
        conn.execute(text(f"ALTER TABLE {parent} DETACH PARTITION {child}"))
        conn.execute(text(f"ALTER TABLE {child} DROP COLUMN {CELL}"))


def join_partitions(conn: Connection, cell: str, *, version: int) -> None:
    """Make a cell's big tables partitions of those of the plant, which are made where they are missing."""
    plant = f"{SCHEMA_OF_PLANT}{version}"
    _one_at_a_time(conn)
    conn.execute(text(f"CREATE SCHEMA IF NOT EXISTS {plant}"))
    for table in PARTITIONED:
        own, parent = f"{SCHEMA_OF_CELL}{cell}.{table.name}", f"{plant}.{table.name}"
        conn.execute(text(f"ALTER TABLE {own} ADD COLUMN {CELL} text NOT NULL DEFAULT '{cell}'"))
        conn.execute(text(f"CREATE TABLE IF NOT EXISTS {parent} (LIKE {own}) PARTITION BY LIST ({CELL})"))
        conn.execute(text(f"ALTER TABLE {parent} ATTACH PARTITION {own} FOR VALUES IN ('{cell}')"))


def cells_of_plant(engine: Engine) -> tuple[PlantCell, ...]:
    """Return every cell of a plant, by name."""
    with engine.connect() as conn:
        versions = [
            int(name.removeprefix(SCHEMA_OF_PLANT))
            for name in inspect(conn).get_schema_names()
            if re.fullmatch(SCHEMA_OF_PLANT + r"\d+", name)
        ]
        found = [one for version in versions for one in _cells_of_version(conn, version)]
    return tuple(sorted(found, key=lambda one: one.cell))


_PARENTS = text(
    "SELECT inhparent::regclass::text, inhrelid::regclass::text FROM pg_inherits"
    " JOIN pg_class ON pg_class.oid = inhrelid JOIN pg_namespace ON pg_namespace.oid = relnamespace"
    " WHERE nspname = :cell AND relkind = 'r' ORDER BY 2"
)


def _one_at_a_time(conn: Connection) -> None:
    conn.execute(text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": LOCK})


def _cells_of_version(conn: Connection, version: int) -> Sequence[PlantCell]:
    plant = f"{SCHEMA_OF_PLANT}{version}"
    of_files = _by_cell(conn, f"SELECT cell, count(*), max(at) FROM {plant}.files GROUP BY cell")
    of_bores = _by_cell(conn, f"SELECT cell, count(*), max(last_at) FROM {plant}.bores GROUP BY cell")
    of_readings = _by_cell(conn, f"SELECT cell, sum(rows), NULL FROM {plant}.readings GROUP BY cell")
    partitions = conn.execute(
        text(
            "SELECT pg_get_expr(relpartbound, oid) FROM pg_class WHERE oid IN (SELECT inhrelid"
            " FROM pg_inherits WHERE inhparent = CAST(:files AS regclass))"
        ),
        {"files": f"{plant}.files"},
    ).scalars()
    names = [NAME.search(bound.split("(")[1]) for bound in partitions]
    nothing: tuple[int, None] = (0, None)
    return [
        PlantCell(
            cell=cell,
            schema=version,
            files=of_files.get(cell, nothing)[0],
            units=of_bores.get(cell, nothing)[0],
            readings=of_readings.get(cell, nothing)[0],
            newest=_moment(of_bores.get(cell, nothing)[1]),
            taken=_moment(of_files.get(cell, nothing)[1]),
        )
        for cell in sorted(name.group() for name in names if name)
    ]


def _by_cell(conn: Connection, query: str) -> dict[str, tuple[int, Any]]:
    return {cell: (int(count or 0), newest) for cell, count, newest in conn.execute(text(query))}


def _moment(value: int | None) -> np.datetime64 | None:
    return None if value is None else np.datetime64(int(value), "us")

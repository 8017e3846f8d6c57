"""Schema changes: numbered functions, each run once, in one transaction with the record that it ran."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from sqlalchemy import Connection, MetaData, Table, delete, func, inspect, select

from cellmon.errors import StoreRefused
from cellmon.records import Kind, TracePoints
from cellmon.store import bulk, schema
from cellmon.store.honed import count_stored
from cellmon.store.measured import keep_measured
from cellmon.store.told import number_told
from cellmon.store.traces import add_trace_points
from cellmon.words import say, to_say


def _first_tables(conn: Connection) -> None:
    schema.METADATA.create_all(conn)


def _derived_anew(conn: Connection) -> None:
    """Throw away what was derived, which has other columns now; the monitor derives it again."""
    known = inspect(conn)
    for name in ("episodes", *(table.name for table in schema.DERIVED)):
        if known.has_table(name):
            conn.exec_driver_sql(f"DROP TABLE {name}")
    schema.METADATA.create_all(conn)


def _found_by_part(conn: Connection) -> None:
    """Make rows of other instruments found by the serial of their block, however many there are."""
    for table in schema.ROWS.values():
        for index in table.indexes:
            index.create(conn, checkfirst=True)


def _signals_told(conn: Connection) -> None:
    """Make room for signals as they were put together; the next judging fills it."""
    schema.METADATA.create_all(conn)


def _stock_in_words(conn: Connection) -> None:
    """Make room for what a stock movement was and until when its sets may be used."""
    _columns_added(conn, schema.ROWS[Kind.STOCK], "movement", "use_by")


def _columns_added(conn: Connection, table: Table, *names: str) -> None:
    there = {column["name"] for column in inspect(conn).get_columns(table.name)}
    for name in names:
        if name not in there:
            type_ = table.c[name].type.compile(dialect=conn.dialect)
            conn.exec_driver_sql(f"ALTER TABLE {table.name} ADD COLUMN {name} {type_}")


def _drawings_named(conn: Connection) -> None:
    """Make room for the drawing that a gauge study or a mating part belongs to."""
    for kind in (Kind.GAUGE_STUDY, Kind.MATING_PARTS):
        _columns_added(conn, schema.ROWS[kind], "part_number")


def _sized_drawings(conn: Connection) -> None:
    """Make room for the drawing of a bore in the hand, and for the rate of its strokes."""
    _columns_added(conn, schema.ROWS[Kind.SIZING], "part_number", "strokes_per_min")


def _masters_warmth(conn: Connection) -> None:
    """Make room for the temperature of the master beside that of a bore in the hand."""
    _columns_added(conn, schema.ROWS[Kind.SIZING], "master_temp_c")


def _traces_in_blocks(conn: Connection) -> None:
    """Pack the points of traces, a row each until now, bore by bore; their figures are derived anew."""
    schema.METADATA.create_all(conn)
    if not inspect(conn).has_table("traces"):
        return
    old, declared = Table("traces", MetaData(), autoload_with=conn), TracePoints.columns()
    query = select(*bulk.declared_columns(old, declared), old.c.row_line).order_by(old.c.part)
    for file_id in sorted(conn.execute(select(old.c.file_id).distinct()).scalars()):
        found = bulk.fetch(conn, query.where(old.c.file_id == file_id), declared, ("row_line",))
        line = np.array(found.pop("row_line"), dtype=np.int64)
        add_trace_points(conn, TracePoints(line=line, **found), file_id=file_id)
    old.drop(conn)
    _derived_anew(conn)


def _people_signed_in(conn: Connection) -> None:
    """Make room for the hashes of passwords and tap codes."""
    schema.SECRETS.create(conn, checkfirst=True)


def _found_by_file(conn: Connection) -> None:
    """Make the readings of a file found by its number, and a file by what it holds."""
    for table in (schema.READINGS, schema.FILES):
        for index in table.indexes:
            index.create(conn, checkfirst=True)


def _left_behind(conn: Connection) -> None:
    """Make room for where a cell was moved to."""
    schema.MOVED.create(conn, checkfirst=True)


def _called_lately(conn: Connection) -> None:
    """Make what was called, doubted and told since a moment found by that moment."""
    for table in (schema.DOUBTS, schema.ALARMS, schema.TOLD):
        for index in table.indexes:
            index.create(conn, checkfirst=True)


def _counted_by_index(conn: Connection) -> None:
    """Make the last event of each kind, and how many bores a stream has, found without reading every row."""
    for index in schema.ROWS[Kind.EVENTS].indexes:
        index.create(conn, checkfirst=True)
    for index in schema.COUNTS.indexes:  # that of the units has more columns now
        index.drop(conn, checkfirst=True)
        index.create(conn)


def _signals_outlined(conn: Connection) -> None:
    """Make room for what is shown of signals; the monitor fills it from those that are kept."""
    schema.OUTLINES.create(conn, checkfirst=True)


def _audits_stand(conn: Connection) -> None:
    """Make room for where audits stand, and figures of traces found by their moment."""
    schema.AUDIT_STANDS.create(conn, checkfirst=True)
    for index in schema.TRACED.indexes:
        index.create(conn, checkfirst=True)


def _series_found(conn: Connection) -> None:
    """Make the figures of one characteristic and bore found without reading those of all."""
    for index in schema.ROWS[Kind.CHARACTERISTICS].indexes:
        index.create(conn, checkfirst=True)


def _blocks_before_known(conn: Connection) -> None:
    """Let audits be judged anew from their first on: where they stood did not name the block before."""
    conn.execute(delete(schema.AUDIT_STANDS))


def _honed_counted(conn: Connection) -> None:
    """Keep how many bores were honed in each unit; they are counted once in those that are stored."""
    schema.HONED.create(conn, checkfirst=True)
    conn.execute(delete(schema.HONED))
    count_stored(conn)


def _measured_by_set(conn: Connection) -> None:
    """Put what was measured of stones together set by set."""
    schema.MEASURED_SETS.create(conn, checkfirst=True)
    keep_measured(conn)


def _changes_numbered(conn: Connection) -> None:
    """Number what changes among the signals told, so that only that is read from state to state."""
    schema.TOLD_CHANGES.create(conn, checkfirst=True)
    number_told(conn)


def _presses_named(conn: Connection) -> None:
    """Make room for the names of presses that were kept."""
    schema.PRESSES.create(conn, checkfirst=True)


def _rows_as_read(conn: Connection) -> None:
    """Make room for rows that contradict others, beside the words about them."""
    _columns_added(conn, schema.SET_ASIDE, "as_read")


MIGRATIONS: tuple[Callable[[Connection], None], ...] = (
    _first_tables,
    _derived_anew,
    _derived_anew,
    _found_by_part,
    _signals_told,
    _stock_in_words,
    _traces_in_blocks,
    _people_signed_in,
    _found_by_file,
    _left_behind,
    _drawings_named,
    _sized_drawings,
    _masters_warmth,
    _called_lately,
    _counted_by_index,
    _signals_outlined,
    _audits_stand,
    _series_found,
    _blocks_before_known,
    _honed_counted,
    _measured_by_set,
    _changes_numbered,
    _presses_named,
    _rows_as_read,
)


def migrate(conn: Connection, *, at: int) -> int:
    """Bring the schema up to date and return its version.

    Parameters
    ----------
    conn : Connection
        Inside a transaction that the caller commits.
    at : int
        The moment, microseconds since 1970 UTC, that is kept beside each migration.

    Raises
    ------
    StoreRefused
        When the store was written by a newer program.
    """
    version = current_version(conn)
    if version > len(MIGRATIONS):
        text = to_say("the store has schema {schema}, this program knows {known}")
        raise StoreRefused(say(text, schema=version, known=len(MIGRATIONS)))
    due = range(version + 1, len(MIGRATIONS) + 1)
    for number in due if version else due[:1]:  # the first makes every table as it stands now
        MIGRATIONS[number - 1](conn)
    if due:
        conn.execute(schema.SCHEMA_VERSION.insert(), [{"version": number, "at": at} for number in due])
    return len(MIGRATIONS)


def current_version(conn: Connection) -> int:
    """Return the number of the last migration that ran, 0 for an empty store."""
    if not inspect(conn).has_table(schema.SCHEMA_VERSION.name):
        return 0
    return conn.execute(select(func.max(schema.SCHEMA_VERSION.c.version))).scalar() or 0

"""A store of an earlier program: what was derived is derived again, what people decided stays."""

from __future__ import annotations

import json

import pytest

import cellmon
from cellmon.store import schema
from cellmon.store.migrations import MIGRATIONS
from tests.monitor.shifting_cell import (
    SHIFTING_EVENTS,
    SHIFTING_HEADER,
    SHIFTING_SHEET,
    event_rows,
    shifting_rows,
)
from tests.small_cell import answers, new_cell, write
from tests.store.conftest import new_database
from tests.store.test_migrations import as_version_1, versions

# what an announcement held under schema 1
FORMER = {
    "chart": "mean",
    "side": 1,
    "at": "2026-03-02T12:00:00.000000",
    "last_at": "2026-03-02T12:30:00.000000",
    "part": "B0042",
    "last_part": "B0045",
    "size": 3.25,
    "points": 2,
}


@pytest.mark.parametrize("kind", ["sqlite", "postgresql"])
def test_opening_a_store_of_schema_1_derives_everything_again_once(tmp_path, kind, request):
    sqlite = kind == "sqlite"
    url = "sqlite:///cell.db" if sqlite else new_database(request.getfixturevalue("postgres_url"))
    monitor = new_cell(tmp_path, url=url, sheet=SHIFTING_SHEET)
    events = write(tmp_path, "events.csv", SHIFTING_EVENTS, event_rows())
    monitor.take([events, write(tmp_path, "rows.csv", SHIFTING_HEADER, shifting_rows())])
    monitor.freeze(by="A. Person", why="quiet", spindle="S2")
    standing = monitor.signals().signals
    assert {s.state for s in standing} == {"open"}
    before = answers(monitor)
    _announce_as_before(monitor)
    monitor.respond("S-former", by="A. Person", cause="offset", action="put back")
    as_version_1(monitor._store)
    monitor.close()

    again = cellmon.open_cell(tmp_path)
    assert versions(again._store) == list(range(1, len(MIGRATIONS) + 1))
    assert answers(again) == before
    signals = {s.id: s for s in again.signals().signals}
    former = signals.pop("S-former")
    assert (former.state, former.part, former.response.cause) == ("withdrawn", "B0042", "offset")
    assert set(signals) == {s.id for s in standing} and {s.state for s in signals.values()} == {"open"}
    assert again.check(rebuild=True).sound
    change = again.last_change()
    again.close()
    once_more = cellmon.open_cell(tmp_path)
    assert once_more.last_change() == change, "nothing is derived where nothing is missing"
    once_more.close()


def _announce_as_before(monitor):
    """Leave one announcement in the store, as the earlier program wrote it, on a stream that calls now."""
    with monitor._store.writing() as session:
        stream = session.announced()[0].stream
        session.conn.execute(schema.ANNOUNCED.delete())
        former = {"id": "S-former", "at": 1, "unit_start": 1, "stream": stream, "body": json.dumps(FORMER)}
        session.conn.execute(schema.ANNOUNCED.insert().values(former))


def test_an_empty_store_of_schema_1_opens_empty(tmp_path):
    monitor = new_cell(tmp_path, sheet=SHIFTING_SHEET)
    as_version_1(monitor._store)
    monitor.close()
    again = cellmon.open_cell(tmp_path)
    assert len(again.bores().bores) == 0 and again.signals().signals == ()
    again.close()

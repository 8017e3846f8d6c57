"""Hashes of passwords and codes in the store, on both kinds of it."""

from __future__ import annotations

import numpy as np
import pytest
from sqlalchemy import inspect

from cellmon.store import schema

NOW = np.datetime64("2026-11-27T03:00:00", "us")


def test_a_secret_is_kept_once_and_replaced(store):
    with store.writing() as session:
        session.put_secret("Ada", "password", "first", at=NOW)
        session.put_secret("Ada", "code", "digits", at=NOW)
        session.put_secret("Ben", "password", "other", at=NOW)
        session.put_secret("Ada", "password", "second", at=NOW)
    with store.reading() as session:
        assert session.secret("Ada", "password") == "second"
        assert session.secret("Ada", "code") == "digits"
        assert session.secret("ada", "password") is None
        assert session.secret_kinds() == {("Ada", "password"), ("Ada", "code"), ("Ben", "password")}


def test_what_is_dropped_is_gone_and_the_rest_stays(store):
    with store.writing() as session:
        for name in ("Ada", "Ben"):
            session.put_secret(name, "password", "p", at=NOW)
            session.put_secret(name, "code", "c", at=NOW)
        session.drop_secrets("Ada", "code")
        session.drop_secrets("Ben")
    with store.reading() as session:
        assert session.secret_kinds() == {("Ada", "password")}


def test_what_fails_leaves_the_secret_before(store):
    with store.writing() as session:
        session.put_secret("Ada", "password", "first", at=NOW)
    with pytest.raises(KeyError, match="the power went"), store.writing() as session:
        session.put_secret("Ada", "password", "second", at=NOW)
        raise KeyError("the power went")
    with store.reading() as session:
        assert session.secret("Ada", "password") == "first"


def test_a_store_of_older_days_gains_the_table_and_keeps_its_journal(open_store):
    store = open_store()
    with store.writing() as session:
        session.decide(at=NOW, by="Ada", why="x", kind="respond", subject="S-1", body={})
        session.conn.exec_driver_sql("DROP TABLE secrets")
        session.conn.exec_driver_sql(f"DELETE FROM {schema.SCHEMA_VERSION.name} WHERE version >= 8")
    again = open_store()
    with again.reading() as session:
        assert inspect(session.conn).has_table("secrets")
        assert len(session.decisions("respond")) == 1

"""Accounts: what the journal makes of them, and whose a password or code is."""

from __future__ import annotations

import pytest

import cellmon
from cellmon import passwords
from cellmon.errors import NotFound, WrongUsage
from cellmon.people import Role
from cellmon.simulate.sheet_text import sheet_text

WORDS = "one quiet spindle"


@pytest.fixture
def monitor(tmp_path, monkeypatch):
    monkeypatch.setattr(passwords, "LOG_N", 4)
    passwords._nobodys.cache_clear()
    (tmp_path / "cell.toml").write_text(sheet_text(), encoding="utf-8")
    opened = cellmon.open_cell(tmp_path)
    yield opened
    opened.close()
    passwords._nobodys.cache_clear()


def journal(monitor):
    with monitor._store.reading() as session:
        assert session.broken_decision() is None
        return session.decisions("people")


def test_an_account_is_made_changed_and_taken_away_and_each_step_is_journalled(monitor):
    monitor.add_person("Ada  B.", role=Role.LOOK, password=WORDS, by="root")
    monitor.set_role("ADA b.", role=Role.DECIDE, by="root")
    monitor.set_password("Ada B.", password="two dull stones", by="Ada B.")
    monitor.set_code("Ada B.", code="4071", by="Ada B.")
    monitor.remove_person("ada b.", by="root")
    entries = journal(monitor)
    assert [(e.subject, e.by, e.body["did"]) for e in entries] == [
        ("Ada B.", "root", "added"),
        ("Ada B.", "root", "role"),
        ("Ada B.", "Ada B.", "password"),
        ("Ada B.", "Ada B.", "code"),
        ("Ada B.", "root", "removed"),
    ]
    assert entries[1].body == {"did": "role", "role": "decide", "before": "look"}
    told = str(entries)
    assert WORDS not in told and "two dull stones" not in told and "4071" not in told and "scrypt" not in told
    with monitor._store.reading() as session:
        assert session.secret_kinds() == set()
    assert monitor.people().people == ()


def test_people_are_listed_by_name_and_never_with_their_secrets(monitor):
    for name in ("Zoe", "ada", "Ben"):
        monitor.add_person(name, role=Role.ANSWER, password=WORDS, by="root")
    monitor.set_code("Ben", code="4071", by="root")
    found = monitor.people().people
    assert [(p.name, p.role, p.has_password, p.has_code) for p in found] == [
        ("ada", Role.ANSWER, True, False),
        ("Ben", Role.ANSWER, True, True),
        ("Zoe", Role.ANSWER, True, False),
    ]
    assert "scrypt" not in str(found)


def test_a_password_is_of_one_person_and_a_code_is_no_password(monitor):
    monitor.add_person("Ada", role=Role.ANSWER, password=WORDS, by="root")
    monitor.add_person("Ben", role=Role.ANSWER, by="root")
    monitor.set_code("Ada", code="4071", by="root")
    assert monitor.with_password("ada", WORDS).name == "Ada"
    assert monitor.with_code("Ada", "4071").name == "Ada"
    for name, secret in (("Ada", "4071"), ("Ben", WORDS), ("Ben", ""), ("Nobody", WORDS), ("", "")):
        assert monitor.with_password(name, secret) is None
    assert monitor.with_code("Ada", WORDS) is None and monitor.with_code("Ben", "4071") is None
    monitor.set_password("Ada", password="two dull stones", by="root")
    assert monitor.with_password("Ada", WORDS) is None
    assert monitor.with_password("Ada", "two dull stones") is not None


def test_somebody_must_be_able_to_sign_in_and_decide_before_others_are_served(monitor):
    assert not monitor.may_serve()
    monitor.add_person("Ben", role=Role.ANSWER, password=WORDS, by="root")
    monitor.add_person("Ada", role=Role.DECIDE, by="root")
    assert not monitor.may_serve(), "without a password nobody signs in"
    monitor.set_password("Ada", password=WORDS, by="root")
    assert monitor.may_serve()
    monitor.set_role("Ada", role=Role.LOOK, by="root")
    assert not monitor.may_serve()


def test_whoever_was_changed_is_known_by_another_entry(monitor):
    first = monitor.add_person("Ada", role=Role.LOOK, password=WORDS, by="root")
    other = monitor.add_person("Ben", role=Role.LOOK, password=WORDS, by="root")
    second = monitor.set_password("Ada", password=WORDS, by="root")
    assert first.changed < second.changed
    assert monitor.known_people()["ben"] == other


@pytest.mark.parametrize(
    ("act", "refusal"),
    [
        (lambda m: m.add_person("ADA", role=Role.LOOK, by="x"), WrongUsage),
        (lambda m: m.add_person("<ada>", role=Role.LOOK, by="x"), WrongUsage),
        (lambda m: m.add_person("New", role=Role.LOOK, password="short", by="x"), WrongUsage),
        (lambda m: m.add_person("New", role=Role.LOOK, by=" "), WrongUsage),
        (lambda m: m.add_person("New", role=Role.DECIDE, shared=True, by="x"), WrongUsage),
        (lambda m: m.set_role("Ada", role=Role.ANSWER, by="x"), WrongUsage),
        (lambda m: m.set_role("Tablet", role=Role.DECIDE, by="x"), WrongUsage),
        (lambda m: m.set_role("Nobody", role=Role.LOOK, by="x"), NotFound),
        (lambda m: m.set_code("Tablet", code="4071", by="x"), WrongUsage),
        (lambda m: m.set_code("Ada", code="1234", by="x"), WrongUsage),
        (lambda m: m.set_password("Ada", password="Ada", by="x"), WrongUsage),
        (lambda m: m.set_password("Nobody", password=WORDS, by="x"), NotFound),
        (lambda m: m.remove_person("Nobody", by="x"), NotFound),
    ],
)
def test_what_cannot_be_is_refused_and_changes_nothing(monitor, act, refusal):
    monitor.add_person("Ada", role=Role.ANSWER, password=WORDS, by="root")
    monitor.add_person("Tablet", role=Role.LOOK, shared=True, password=WORDS, by="root")
    before = journal(monitor), monitor.people().people
    with pytest.raises(refusal):
        act(monitor)
    assert (journal(monitor), monitor.people().people) == before


def test_a_role_written_into_the_journal_by_hand_is_found(monitor):
    monitor.add_person("Ada", role=Role.LOOK, password=WORDS, by="root")
    with monitor._store.writing() as session:
        session.conn.exec_driver_sql("UPDATE decisions SET body = replace(body, 'look', 'decide')")
        assert session.broken_decision() == 1


def test_people_change_no_answer_about_bores(monitor):
    before = monitor.check().sound, monitor.state().streams
    monitor.add_person("Ada", role=Role.DECIDE, password=WORDS, by="root")
    assert (monitor.check(rebuild=True).sound, monitor.state().streams) == before

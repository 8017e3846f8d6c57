"""The command `people`, with a real store, and what `serve` refuses."""

from __future__ import annotations

import io
import json
import pty
import subprocess
import sys

import pytest

import cellmon
from cellmon import passwords
from cellmon.cli.main import main
from cellmon.simulate.sheet_text import sheet_text

WORDS = "one quiet spindle"


@pytest.fixture
def cell(tmp_path, monkeypatch):
    monkeypatch.setattr(passwords, "LOG_N", 4)
    (tmp_path / "cell.toml").write_text(sheet_text(), encoding="utf-8")
    monkeypatch.setenv("CELLMON_CELL", str(tmp_path))
    return tmp_path


@pytest.fixture
def ran(cell, capsys, monkeypatch):
    def run(*argv: str, typed: str = ""):
        monkeypatch.setattr(sys, "stdin", io.StringIO(typed))
        capsys.readouterr()
        status = main(argv)
        said = capsys.readouterr()
        return status, said.out, said.err

    return run


def test_people_are_added_listed_changed_and_removed(ran):
    assert "Nobody has an account" in ran("people")[1]
    status, out, _ = ran(
        "people", "add", "Ada B.", "--role", "decide", "--password-stdin", typed=f"{WORDS}\n"
    )
    assert (status, out) == (0, "Ada B. may decide now.\n")
    assert ran("people", "add", "T-1", "--shared", "--password-stdin", typed=WORDS)[0] == 0
    assert ran("people", "add", "K7", "--role", "look", "--no-password", "--by", "Ada B.")[0] == 0
    assert ran("people", "role", "k7", "--role", "answer")[1] == "K7 may answer now.\n"
    assert ran("people", "code", "K7", "--password-stdin", typed="4071\n")[0] == 0
    document = json.loads(ran("people", "--json")[1])
    assert [
        (p["name"], p["role"], p["shared"], p["has_password"], p["has_code"]) for p in document["people"]
    ] == [
        ("Ada B.", "decide", False, True, False),
        ("K7", "answer", False, False, True),
        ("T-1", "look", True, True, False),
    ]
    status, table, _ = ran("people", "list")
    assert status == 0 and "look; shared tablet" in table and table.index("Ada B.") < table.index("K7")
    for secret in (WORDS, "4071", "scrypt"):
        assert secret not in table and secret not in json.dumps(document)
    assert ran("people", "remove", "K7")[1].startswith("K7 has no account any more")
    assert "K7" not in ran("people")[1]


@pytest.mark.parametrize(
    "argv",
    [
        ("people", "add", "Ada"),
        ("people", "add", "--role", "look"),
        ("people", "add", "Ada", "--role", "boss"),
        ("people", "add", "Ada", "--role", "look", "--shared"),
        ("people", "add", "Ada", "--role", "look", "--no-password", "--password-stdin"),
        ("people", "list", "Ada"),
        ("people", "role", "Ada"),
        ("people", "remove", "Ada", "--role", "look"),
        ("people", "password", "Ada", "--json"),
        ("people", "code", "Ada", "--shared"),
        ("people", "fire", "Ada"),
        ("people", "password", "Ada", "--password", "secret words here"),
    ],
)
def test_what_does_not_go_together_is_refused_before_anything_is_asked(ran, argv):
    status, out, err = ran(*argv, typed=WORDS)
    assert (status, out) == (2, "")
    assert err.startswith("cellmon: ") and err.count("\n") == 1


def test_a_bad_password_is_refused_and_makes_no_account(ran):
    status, _, err = ran("people", "add", "Ada", "--role", "look", "--password-stdin", typed="short\n")
    assert status == 2 and "10 to 1024 characters" in err and "short;" not in err
    assert "Nobody" in ran("people")[1]
    assert ran("people", "password", "Ada", "--password-stdin", typed=WORDS)[0] == 1


def test_without_a_terminal_nothing_is_waited_for(ran):
    status, _, err = ran("people", "add", "Ada", "--role", "look")
    assert status == 2 and "--password-stdin" in err


def at_a_terminal(cell, *argv: str, typed: tuple[str, ...]):
    """Run a command on a terminal of its own, type when it asks; return the status and all that was seen."""
    import os

    outside, inside = pty.openpty()
    command = [sys.executable, "-m", "cellmon", *argv, "--cell", str(cell)]
    with subprocess.Popen(
        command, stdin=inside, stdout=inside, stderr=inside, start_new_session=True, close_fds=True
    ) as child:
        os.close(inside)
        seen, left = b"", list(typed)
        while True:
            try:
                got = os.read(outside, 1024)
            except OSError:  # the terminal was closed at its other end
                break
            if not got:
                break
            seen += got
            if left and seen.endswith(b": "):
                os.write(outside, left.pop(0).encode() + b"\n")
        status = child.wait(60)
    os.close(outside)
    return status, seen.decode()


def test_two_passwords_that_differ_change_nothing(ran, monkeypatch):
    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    typed = iter((WORDS, "two dull stones"))
    monkeypatch.setattr("getpass.getpass", lambda asked: next(typed))
    monkeypatch.setattr(io, "StringIO", Terminal)
    status, _, err = ran("people", "add", "Ada", "--role", "decide")
    assert status == 2 and "were not the same" in err
    assert "Nobody" in ran("people")[1]


def test_on_a_terminal_a_password_is_asked_twice_and_not_shown(cell):
    argv = ("people", "add", "Ada", "--role", "decide")
    status, seen = at_a_terminal(cell, *argv, typed=(WORDS, WORDS))
    assert status == 0 and "Ada may decide now." in seen
    assert WORDS not in seen
    monitor = cellmon.open_cell(cell)
    assert monitor.with_password("Ada", WORDS) is not None
    monitor.close()


@pytest.mark.parametrize(
    "argv", [("--host", "0.0.0.0"), ("--sign-in",), ("--proxy", "127.0.0.1"), ("--host", "::")]
)
def test_others_are_not_served_until_somebody_may_decide(ran, argv):
    status, out, err = ran("serve", *argv)
    assert (status, out) == (2, "")
    assert "people add NAME --role decide" in err and err.count("\n") == 1


@pytest.mark.parametrize(
    "argv",
    [("--name", "https://line3.example"), ("--name", "a b"), ("--proxy", "line3.example"), ("--proxy", "")],
)
def test_names_and_proxies_that_are_none_are_refused(ran, argv):
    status, _, err = ran("serve", *argv)
    assert status == 2 and argv[0] in err


def test_a_token_is_made_shown_once_listed_by_name_and_withdrawn(ran, cell):
    status, token, said = ran("people", "token", "Station 2", "--by", "Ada B.")
    assert status == 0 and token.startswith("cellmon_") and token.count("\n") == 1
    assert "not shown again" in said and token.strip() not in said
    assert ran("people", "token", "Watcher", "--may", "metrics")[0] == 0
    document = json.loads(ran("people", "--json")[1])
    assert document["tokens"] == [
        {"name": "Station 2", "may": "readings"},
        {"name": "Watcher", "may": "metrics"},
    ]
    table = ran("people")[1]
    assert "hand over rows" in table and "read metrics" in table
    monitor = cellmon.open_cell(cell)
    assert monitor.with_token(token.strip()).name == "Station 2"
    kept = (cell / "cell.db").read_bytes() + str(monitor.journal()).encode()
    assert token.strip().encode() not in kept
    assert ran("people", "token", "station 2", "--withdraw")[1] == "Station 2 has no token any more.\n"
    assert monitor.with_token(token.strip()) is None
    first = next(e for e in monitor.journal().entries if e.kind == "tokens")
    assert (first.about, first.by, first.after["did"]) == ("Station 2", "Ada B.", "made")
    monitor.close()
    assert ran("people", "token", "station 2", "--withdraw")[0] != 0
    assert ran("people", "token", "X", "--withdraw", "--may", "metrics")[0] == 2
    assert ran("people", "add", "X", "--role", "look", "--may", "metrics")[0] == 2

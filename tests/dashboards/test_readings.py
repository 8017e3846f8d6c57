"""Rows handed over by programs: to a real server over a real socket, into a real store."""

from __future__ import annotations

import http.client
import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass
from typing import Any

import pytest

import cellmon
from cellmon.errors import StoreRefused
from cellmon.tokens import May
from dashboards import readings
from dashboards.reached import Reached
from dashboards.serve import listening
from tests.conftest import free_port
from tests.dashboards.serving import served
from tests.small_cell import HEADER, derived, new_cell, rows, write

CSV = "text/csv"


@dataclass
class Station:
    """A program beside a gauge: where it sends rows, and with which token."""

    port: int
    token: str | None

    def send(self, body: bytes | str, kind: str = CSV, *, query: str = "", **headers: str) -> Answered:
        """Send rows once."""
        told = {"Content-Type": kind, **{name.replace("_", "-"): v for name, v in headers.items()}}
        if self.token is not None:
            told.setdefault("Authorization", f"Bearer {self.token}")
        return self.ask("POST", f"/readings{query}", body, told)

    def ask(self, method: str, path: str, body: bytes | str | None = None, headers: Any = None) -> Answered:
        line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        try:
            line.request(method, path, body, headers or {})
            found = line.getresponse()
            return Answered(found.status, {k.title(): v for k, v in found.getheaders()}, found.read())
        finally:
            line.close()


@dataclass
class Answered:
    status: int
    headers: dict[str, str]
    body: bytes

    @property
    def json(self) -> Any:
        return json.loads(self.body)


def text(lines, header: str = HEADER) -> str:
    return "\n".join([header, *lines]) + "\n"


@pytest.fixture
def monitor(tmp_path):
    opened = new_cell(tmp_path / "cell")
    yield opened
    opened.close()


@pytest.fixture
def serve() -> Iterator[Callable[..., int]]:
    with ExitStack() as stack:

        def start(monitor: Any, how: Reached | None = None) -> int:
            return stack.enter_context(served(listening(monitor, "127.0.0.1", 0, how=how)))

        yield start


@pytest.fixture
def station(monitor, serve) -> Station:
    return Station(serve(monitor), monitor.make_token("Station 2", may=May.READINGS, by="test"))


def test_the_same_rows_twice_are_taken_once_and_known_once(monitor, station):
    lines = rows(5)
    first, again = station.send(text(lines)), station.send(text(lines))
    assert (first.status, again.status) == (200, 200)
    told = [(a.json["rows"], a.json["taken"], a.json["known"], a.json["set_aside"]) for a in (first, again)]
    assert told == [(40, 40, 0, 0), (40, 0, 40, 0)]
    assert [f.file for f in monitor.files().files] == ["Station 2.csv"] * 2


def test_the_same_rows_are_the_same_as_lines_as_an_array_and_as_a_table(monitor, station, tmp_path):
    lines = rows(4)
    objects = [dict(zip(HEADER.split(","), line.split(","), strict=True)) for line in lines]
    ways = [
        (text(lines), CSV),
        ("\n".join(map(json.dumps, objects)), "application/x-ndjson"),
        (json.dumps(objects), "application/json"),
        (json.dumps(objects[0]), "application/json; charset=utf-8"),
    ]
    found = [station.send(body, kind).json for body, kind in ways]
    assert [(f["taken"], f["known"]) for f in found] == [(32, 0), (0, 32), (0, 32), (0, 1)]
    alone = new_cell(tmp_path / "alone")
    alone.take([write(tmp_path, "rows.csv", HEADER, lines)])
    assert derived(monitor) == derived(alone)
    alone.close()


def test_a_row_that_cannot_be_used_is_told_with_its_place_and_kept(monitor, station):
    lines = rows(2)
    lines[3] = lines[3].rpartition(",")[0] + ",fifty"
    told = station.send(text(lines)).json
    assert (told["rows"], told["taken"], told["set_aside"]) == (16, 15, 1)
    assert [(a["line"], a["reason"]) for a in told["aside"]] == [(5, "not-a-number")]
    assert len(monitor.aside().rows) == 1


@pytest.mark.parametrize(
    ("authorization", "status"),
    [
        (None, 401),
        ("", 401),
        ("Bearer", 401),
        ("Bearer ", 401),
        ("Basic QWRhOm9uZQ==", 401),
        ("Bearer nonsense", 401),
        ("Bearer cellmon_" + "A" * 43, 401),
        ("Bearer cellmon_" + "A" * 43 + "\u00e9", 401),
        ("Bearer ' OR 1=1 --", 401),
    ],
)
def test_without_the_right_token_nothing_is_taken(monitor, station, authorization, status):
    before = monitor.last_change()
    station.token = None
    headers = {} if authorization is None else {"Authorization": authorization}
    answer = station.send(text(rows(1)), **headers)
    assert answer.status == status
    assert answer.headers["Www-Authenticate"].startswith("Bearer")
    assert set(answer.json) == {"error"}
    assert monitor.last_change() == before


def test_a_withdrawn_token_an_older_one_and_one_for_something_else_hand_over_nothing(monitor, station):
    older, station.token = station.token, monitor.make_token("station 2", may=May.READINGS, by="test")
    assert station.send(text(rows(1))).status == 200
    assert Station(station.port, older).send(text(rows(2))).status == 401
    monitor.withdraw_token("STATION 2", by="test")
    assert station.send(text(rows(2))).status == 401
    station.token = monitor.make_token("Watcher", may=May.METRICS, by="test")
    assert station.send(text(rows(2))).status == 403
    assert len(monitor.files().files) == 1


def test_a_token_opens_no_page_and_no_other_answer(monitor, serve):
    monitor.add_person("Ada", role=cellmon.people.Role.DECIDE, password="one quiet spindle", by="test")
    token = monitor.make_token("Station 2", may=May.READINGS, by="test")
    watcher = monitor.make_token("Watcher", may=May.METRICS, by="test")
    port = serve(monitor, Reached(sign_in=True))
    for given in (token, watcher):
        told = {"Authorization": f"Bearer {given}"}
        for path in ("/", "/signals", "/pulse", "/_dash-layout", "/_dash-dependencies", "/files"):
            assert Station(port, given).ask("GET", path, headers=told).status in (303, 401), path
        own = {**told, "Origin": f"http://127.0.0.1:{port}", "Content-Type": "application/json"}
        assert Station(port, given).ask("POST", "/_dash-update-component", "{}", own).status == 401
        for method in ("GET", "PUT", "DELETE"):
            assert Station(port, given).ask(method, "/readings", headers=told).status in (303, 401, 403)
    assert Station(port, token).send(text(rows(1))).status == 200
    for given, status in ((token, 401), (watcher, 200)):
        told = {"Authorization": f"Bearer {given}"}
        assert Station(port, given).ask("GET", "/metrics", headers=told).status == status


def test_wrong_tokens_too_often_wait_and_the_right_one_goes_on(monitor, station):
    wrong = Station(station.port, "cellmon_" + "B" * 43)
    found = [wrong.send(text(rows(1))) for _ in range(22)]
    assert {a.status for a in found[:20]} == {401}
    assert found[-1].status == 429
    assert int(found[-1].headers["Retry-After"]) >= 15
    assert station.send(text(rows(1))).status == 200


@pytest.mark.parametrize("header", [{"Origin": "http://evil.example"}, {"Sec_Fetch_Site": "cross-site"}])
def test_a_browser_hands_over_nothing(station, header):
    assert station.send(text(rows(1)), **header).status == 403


@pytest.mark.parametrize(
    ("body", "kind", "headers", "status"),
    [
        ("x", "text/html", {}, 415),
        ("x", "", {}, 415),
        ("x", "multipart/form-data", {}, 415),
        (text(rows(1)), CSV, {"Content_Encoding": "gzip"}, 415),
        (b"PK\x03\x04" + bytes(100), CSV, {}, 415),
        ("", CSV, {}, 422),
        ("[]", "application/json", {}, 422),
        ("[1, 2]", "application/json", {}, 422),
        ("[" * 100_000, "application/json", {}, 422),
        ('{"a":', "application/json", {}, 422),
        ('[{"part":' + '{"a":' * 400 + "1" + "}" * 400 + "}]", "application/json", {}, 422),
        ("\x00\x01\x02", CSV, {}, 422),
        ("a,b\n1,2\n", CSV, {}, 422),
    ],
)
def test_what_are_no_rows_is_refused_in_one_sentence(monitor, station, body, kind, headers, status):
    before = monitor.last_change()
    answer = station.send(body, kind, **headers)
    assert answer.status == status, answer.body
    assert set(answer.json) == {"error"} and answer.json["error"].count("\n") == 0
    assert monitor.last_change() == before


def test_a_kind_and_a_unit_are_said_in_the_address_and_no_other_word_is(station):
    assert station.send(text(rows(1)), query="?kind=readings&unit=mm").status == 200
    assert station.send(text(rows(1)), query="?kind=nothing").status == 422
    assert station.send(text(rows(1)), query="?unit=ell").status == 422


def test_a_huge_body_is_refused_and_nothing_of_it_is_read(monitor, station, monkeypatch):
    before = monitor.last_change()
    monkeypatch.setattr(readings, "MOST_BYTES", 1000)
    answer = station.send(text(rows(40)))
    assert answer.status == 413 and "pieces" in answer.json["error"]
    assert monitor.last_change() == before
    beyond = Station(station.port, station.token)
    told = {"Content-Type": CSV, "Authorization": f"Bearer {station.token}", "Content-Length": str(2**31)}
    assert beyond.ask("POST", "/readings", b"x", told).status == 413


def test_twenty_programs_at_once_lose_and_double_nothing(monitor, station, tmp_path):
    lines = rows(40)
    pieces = [lines[i::20] for i in range(20)]

    def hand_over(piece) -> tuple[int, int]:
        for waited in range(300):
            answer = station.send(text(piece))
            if answer.status != 503:
                assert answer.status == 200, answer.body
                return answer.json["taken"], waited
            assert int(answer.headers["Retry-After"]) >= 1 and "again" in answer.json["error"]
            time.sleep(0.05)
        raise AssertionError("never taken")

    with ThreadPoolExecutor(20) as programs:
        found = list(programs.map(hand_over, pieces))
    assert [taken for taken, _ in found] == [16] * 20
    assert sum(waited for _, waited in found) > 0, "the desk was never full, so this showed nothing"
    alone = new_cell(tmp_path / "alone")
    alone.take([write(tmp_path, "rows.csv", HEADER, lines)])
    assert derived(monitor) == derived(alone)
    assert monitor.check(rebuild=True).sound
    alone.close()


def test_a_store_that_is_away_is_told_and_the_rows_are_asked_for_again(monitor, station, monkeypatch):
    def away(*_, **__):
        raise StoreRefused("the store is away")

    with monkeypatch.context() as patch:
        patch.setattr(type(monitor), "take_bytes", away)
        answer = station.send(text(rows(1)))
    assert answer.status == 503 and "Retry-After" in answer.headers
    assert "away" in answer.json["error"]
    assert station.send(text(rows(1))).json["taken"] == 8


def test_what_was_acknowledged_is_there_after_the_server_was_killed(tmp_path):
    """SIGKILL while a program sends; what was answered is there afterwards, and the rest comes again."""
    folder = tmp_path / "cell"
    monitor = new_cell(folder)
    token = monitor.make_token("Station 2", may=May.READINGS, by="test")
    monitor.close()
    lines, port, acknowledged, killed = rows(32), free_port(), 0, 0
    pieces = [lines[i : i + 16] for i in range(0, len(lines), 16)]
    server = started(folder, port)
    for number, piece in enumerate(pieces):
        if number == 3:
            threading.Timer(0.02, server.send_signal, [signal.SIGKILL]).start()
            killed += 1
        while True:
            try:
                answer = Station(port, token).send(text(piece))
            except OSError:
                answer = None
            if answer is not None and answer.status == 200:
                acknowledged += answer.json["taken"] + answer.json["known"]
                break
            if server.poll() is not None:
                ended(server)
                server = started(folder, port)
    ended(server)
    monitor = cellmon.open_cell(folder)
    assert acknowledged == len(lines) and killed == 1
    alone = new_cell(tmp_path / "alone")
    alone.take([write(tmp_path, "rows.csv", HEADER, lines)])
    assert derived(monitor) == derived(alone)
    assert monitor.check(rebuild=True).sound
    monitor.close()
    alone.close()


def ended(server: subprocess.Popen[bytes]) -> None:
    server.kill()
    server.communicate()


def started(folder, port: int) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-m", "cellmon", "serve", "--cell", str(folder), "--port", str(port)]
    server = subprocess.Popen(command, stdout=subprocess.PIPE, env={**os.environ, "PYTHONUNBUFFERED": "1"})
    assert server.stdout is not None and b"Dashboard" in server.stdout.readline()
    return server

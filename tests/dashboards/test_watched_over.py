"""What programs that watch over the server are told, and what stands in its log."""

from __future__ import annotations

import io
import json
import logging
import subprocess
import sys

import pytest

from cellmon import passwords
from cellmon.cli.logged import JsonLine, start_log
from cellmon.errors import CellmonError, StoreRefused, WrongUsage
from cellmon.people import Role
from cellmon.tokens import May
from dashboards import counted, watched_over
from dashboards.app import create_app
from dashboards.reached import Reached
from tests.dashboards.prometheus_text import read
from tests.dashboards.visitors import Visitor
from tests.small_cell import HEADER, new_cell, rows, write

WORDS = "one quiet spindle"


@pytest.fixture
def monitor(tmp_path, monkeypatch):
    monkeypatch.setattr(passwords, "LOG_N", 4)
    passwords._nobodys.cache_clear()
    opened = new_cell(tmp_path / "cell")
    yield opened
    opened.close()
    passwords._nobodys.cache_clear()


def value(found, name: str, **labels: str) -> float:
    return found[f"cellmon_{name}", frozenset(labels.items())]


def test_health_says_how_old_the_newest_row_is(monitor, tmp_path):
    nothing, status = watched_over.health(monitor, now=0.0)
    assert (status, nothing["newest_row"], nothing["newest_row_age_s"]) == (200, None, None)
    assert nothing["why_not"] == {"row": "nothing was taken yet", "file": "nothing was taken yet"}
    monitor.take([write(tmp_path, "rows.csv", HEADER, rows(4))])
    newest = monitor.newest().row
    found, status = watched_over.health(monitor, now=newest.timestamp() + 90.0)
    assert (status, found["status"], found["newest_row_age_s"]) == (200, "ok", 90.0)


def test_a_store_that_is_away_is_503_and_the_server_still_answers(monitor, tmp_path):
    visitor = Visitor(create_app(monitor))
    assert visitor.get("/health").get_json()["status"] == "ok"
    (monitor.folder / "cell.db").rename(monitor.folder / "elsewhere.db")
    answer = visitor.get("/health")
    assert answer.status_code == 503
    assert answer.get_json()["status"] == "store away" and "not there" in answer.get_json()["why"]
    found = read(visitor.get("/metrics").get_data(as_text=True))
    assert value(found, "store_up") == 0
    assert value(found, "http_requests_total", method="GET", route="/health", status="503") == 1
    (monitor.folder / "elsewhere.db").rename(monitor.folder / "cell.db")
    assert visitor.get("/health").status_code == 200


def test_the_figures_are_those_of_the_cell_and_hold_to_the_published_grammar(monitor, tmp_path):
    lines = rows(4)
    lines[0] = lines[0].rpartition(",")[0] + ",fifty"
    visitor = Visitor(create_app(monitor))
    empty = read(visitor.get("/metrics").get_data(as_text=True))
    assert value(empty, "files_total") == 0
    monitor.take_bytes(("\n".join([HEADER, *lines]) + "\n").encode(), name="rows.csv")
    monitor.take([write(tmp_path, "again.csv", HEADER, lines[8:])])
    answer = visitor.get("/metrics")
    assert answer.headers["Content-Type"] == "text/plain; version=0.0.4; charset=utf-8"
    found = read(answer.get_data(as_text=True))
    assert value(found, "store_up") == 1
    assert value(found, "files_total") == 2
    assert [value(found, "rows_total", became=b) for b in ("taken", "known", "set_aside")] == [31, 24, 1]
    assert value(found, "rows_waiting") == 1
    assert value(found, "signals_open") == len([s for s in monitor.signals().signals if s.state == "open"])
    assert value(found, "newest_take_age_seconds") < 60
    assert value(found, "last_take_seconds") > 0
    assert value(found, "http_requests_total", method="GET", route="/metrics", status="200") == 1
    assert value(found, "http_request_seconds_count", route="/metrics") == 1


def test_the_reader_of_the_format_refuses_what_is_not_of_it():
    good = '# TYPE a counter\na{b="c\\"d"} 1\n'
    assert read(good) == {("a", frozenset({("b", 'c\\"d')})): 1.0}
    for wrong in (
        good[:-1],
        "a 1\n",
        good + good,
        good + "a{} x\n",
        "# TYPE a kind\na 1\n",
        good + 'a{b="\n"} 1\n',
    ):
        with pytest.raises(AssertionError):
            read(wrong)


def test_a_route_nobody_knows_and_a_strange_method_make_no_new_series():
    requests = counted.Requests()
    for i in range(50):
        requests.add("GET", counted.OTHER, 404, 0.001 * i)
    assert list(requests.seen()[0]) == [("GET", "other", 404)]
    assert sum(requests.seen()[1]["other"].counts) == 50


def test_where_people_sign_in_health_says_one_word_and_metrics_nothing_to_strangers(monitor):
    monitor.add_person("Ada", role=Role.LOOK, password=WORDS, by="test")
    app = create_app(monitor, how=Reached(sign_in=True))
    stranger = Visitor(app)
    assert stranger.get("/health").get_json() == {"status": "ok"}
    assert stranger.get("/metrics").status_code == 401
    assert b"cellmon_" not in stranger.get("/metrics").data
    watcher = monitor.make_token("Watcher", may=May.METRICS, by="test")
    told = {"Authorization": f"Bearer {watcher}"}
    assert stranger.get("/metrics", headers=told).status_code == 200
    assert "newest_row" in stranger.get("/health", headers=told).get_json()
    (monitor.folder / "cell.db").rename(monitor.folder / "elsewhere.db")
    away = stranger.get("/health", headers=told)
    assert (away.status_code, away.get_json()) == (503, {"status": "store away"})
    assert stranger.get("/metrics", headers=told).status_code == 503
    (monitor.folder / "elsewhere.db").rename(monitor.folder / "cell.db")
    monitor.withdraw_token("Watcher", by="test")
    assert stranger.get("/metrics", headers=told).status_code == 401
    ada = Visitor(app)
    ada.sign_in("Ada", WORDS)
    assert ada.get("/metrics").status_code == 200
    assert "newest_row" in ada.get("/health").get_json()


@pytest.fixture
def lines():
    """Return the log as it would be written, a document a line."""
    stream = io.StringIO()
    handler = logging.StreamHandler(stream)
    handler.setFormatter(JsonLine())
    ours = logging.getLogger("cellmon")
    ours.addHandler(handler)
    before = ours.level
    ours.setLevel(logging.INFO)
    yield lambda: [json.loads(line) for line in stream.getvalue().splitlines()]
    ours.removeHandler(handler)
    ours.setLevel(before)


def test_each_refusal_is_one_clear_line_and_no_secret_is_in_any(monitor, lines):
    monitor.add_person("Ada", role=Role.LOOK, password=WORDS, by="test")
    token = monitor.make_token("Station 2", may=May.READINGS, by="test")
    app = create_app(monitor, how=Reached(sign_in=True))
    visitor = Visitor(app)
    wrong = "cellmon_" + "C" * 43
    body = "\n".join([HEADER, *rows(1)]) + "\n"
    for given in (wrong, token):
        visitor.post(
            f"/readings?token={given}",
            origin=None,
            data=body,
            content_type="text/csv",
            headers={"Authorization": f"Bearer {given}"},
        )
    visitor.sign_in("Ada", "not the password")
    visitor.sign_in("Ada", WORDS)
    visitor.post("/sign-out", origin="http://evil.example")
    found = lines()
    refused = [(one["about"], one["status"], one["words"]) for one in found if one["what"] == "refused"]
    assert refused == [
        ("POST /readings", 401, "This token is not known here, or was withdrawn."),
        ("POST /sign-in", 401, "There is no such name with this password."),
        ("POST /sign-out", 403, "This did not come from a page of this dashboard."),
    ]
    [taken] = [one for one in found if one["what"] == "taken"]
    assert (taken["who"], taken["about"], taken["words"]) == (
        "Station 2",
        "Station 2.csv",
        "8 rows: 8 taken, 0 known, 0 set aside",
    )
    assert taken["seconds"] >= 0
    told = json.dumps(found)
    ticket = visitor.client.get_cookie("cellmon-http", domain="localhost")
    secrets = [wrong, token, WORDS, "not the password", *([ticket.value] if ticket else [])]
    assert ticket is not None
    assert not [one for one in secrets if one in told]


def test_a_line_is_one_line_whatever_stands_in_it(lines):
    logging.getLogger("cellmon.test").warning("one\ntwo\x1b[31m \u2028", extra={"about": "x\ny" * 9999})
    [told] = lines()
    assert told["words"].startswith("one\ntwo") and len(told["about"]) <= 2000


def test_a_fault_is_told_by_its_place_and_a_refusal_by_its_words_too(lines):
    for failed in (ValueError("the password is onequiet"), StoreRefused("the store is away")):
        try:
            raise failed
        except (ValueError, CellmonError):
            logging.getLogger("cellmon.test").exception("it failed")
    fault, refusal = lines()
    assert fault["fault"] == "ValueError" and "test_watched_over.py" in fault["where"][0]
    assert "onequiet" not in json.dumps(fault)
    assert refusal["why"] == "the store is away"


def test_a_log_that_cannot_be_begun_is_refused_in_a_sentence(tmp_path):
    with pytest.raises(WrongUsage, match="cannot be written"):
        start_log(str(tmp_path / "nowhere" / "log"))


def test_receive_writes_what_it_did_into_its_log(tmp_path):
    cell, log = tmp_path / "cell", tmp_path / "log"
    new_cell(cell).close()
    (cell / "inbox").mkdir()
    write(cell / "inbox", "rows.csv", HEADER, rows(2))
    command = [sys.executable, "-m", "cellmon", "receive", "--once", "--cell", str(cell), "--log", str(log)]
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    told = [json.loads(line) for line in log.read_text(encoding="utf-8").splitlines()]
    assert [(one["what"], one["about"], one["level"]) for one in told] == [("taken", "rows.csv", "info")]
    assert "16 taken" in told[0]["words"] and told[0]["seconds"] > 0

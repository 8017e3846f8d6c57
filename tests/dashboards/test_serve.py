"""The dashboard answers on this machine unless people can sign in, and says so."""

from __future__ import annotations

import gc
import re
import socket
from functools import partial
from threading import Event, Thread

import pytest

import cellmon
from cellmon.errors import CellmonError, WrongUsage
from cellmon.records import Kind
from dashboards import first_said
from dashboards import kept as kept_module
from dashboards.app import create_app
from dashboards.frame import DRAWS
from dashboards.kept import QUESTIONS, beside, kept
from dashboards.reached import is_loopback
from dashboards.serve import listening, look_seldom_for_rubbish, warm
from tests.dashboards.stand_in import StandIn
from tests.small_cell import HEADER, new_cell, rows, write


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.168.0.7", "example.com", ""])
def test_any_other_host_is_refused_in_a_sentence_where_nobody_could_sign_in_and_decide(host):
    class Nobody(StandIn):
        def may_serve(self) -> bool:
            return False

    with pytest.raises(WrongUsage, match="people add NAME --role decide"):
        listening(Nobody(), host, 0)


@pytest.mark.parametrize("host", ["127.0.0.1", "127.0.0.2", "::1", "localhost"])
def test_this_machine_has_several_names(host):
    assert is_loopback(host)


def test_a_port_that_is_taken_is_a_refusal():
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        with pytest.raises(CellmonError, match=f"port {port}"):
            listening(StandIn(), "127.0.0.1", port)


def test_what_is_asked_with_when_it_was_written_is_kept_by_the_browser_and_nothing_else_of_ours():
    client = create_app(StandIn()).server.test_client()
    dated = set(re.findall(r'"(/assets/[^"]+)"', client.get("/").get_data(as_text=True)))
    assert {"/assets/cellmon.css", "/assets/dress.js", "/assets/icon.svg"} <= {
        a.partition("?")[0] for a in dated
    }
    for address in dated:
        assert "immutable" in client.get(address, buffered=True).headers["Cache-Control"]
        undated = client.get(address.partition("?")[0], buffered=True)
        assert "immutable" not in undated.headers["Cache-Control"]
    assert client.get("/pulse?m=1").headers["Cache-Control"] == "no-store"
    assert "immutable" not in client.get("/assets/none.js?m=1").headers.get("Cache-Control", "")


def test_the_script_that_draws_is_asked_for_with_the_first():
    client = create_app(StandIn()).server.test_client()
    assert f'rel="preload" as="script" fetchpriority="low" href="{DRAWS}"' in client.get("/").get_data(
        as_text=True
    )
    assert client.get(DRAWS).status_code == 200


class Counting:
    """A monitor that remembers what was asked of it."""

    def __init__(self, monitor, asked=None):
        self.monitor, self.asked = monitor, [] if asked is None else asked

    def twin(self, **given):
        return Counting(self.monitor.twin(**given), self.asked)

    def take_over(self, twin):
        self.monitor.take_over(twin.monitor)

    def __getattr__(self, name):
        found = getattr(self.monitor, name)
        return partial(self.ask, name, found) if name in QUESTIONS else found

    def ask(self, name, question, *given, **named):
        self.asked.append(name)
        return question(*given, **named)


def test_the_first_visitor_finds_what_every_page_begins_with_worked_out(demo_week, monkeypatch):
    monkeypatch.setattr(first_said, "PATIENCE_S", 60)
    counting = Counting(cellmon.open_cell(demo_week))
    remembering = kept(counting)
    warm(remembering)
    assert {"now", "shifts", "stream", "part", "stone_plan", "stone_picture"} <= set(counting.asked)
    counting.asked.clear()
    client = create_app(remembering).server.test_client()
    for path in first_said.BEGINS:
        assert first_said.NAME in client.get(path).get_data(as_text=True)
    assert counting.asked == []
    counting.monitor.close()


def test_what_the_program_is_made_of_is_searched_no_more():
    before = gc.get_threshold()
    try:
        look_seldom_for_rubbish()
        assert gc.get_freeze_count() > 10_000 and gc.get_threshold()[0] > before[0] and gc.isenabled()
    finally:
        gc.unfreeze()
        gc.set_threshold(*before)


def test_everything_the_page_loads_comes_from_here():
    html = create_app(StandIn()).server.test_client().get("/").get_data(as_text=True)
    assert "<script" in html
    assert "//cdn" not in html
    assert 'src="http' not in html
    assert 'href="http' not in html


class Slow:
    """A monitor whose question takes until it is let go; its twin looks into the store before."""

    def __init__(self):
        self.go, self.began, self.taken, self.look = Event(), Event(), [], None

    def last_change(self):
        return 1

    def now(self, what=None):
        if self.look is not None:
            self.look()
        self.began.set()
        assert self.go.wait(20)
        return what or self

    def twin(self, *, before_each_look):
        self.beside = Slow()
        self.beside.look = before_each_look
        return self.beside

    def take_over(self, twin):
        self.taken.append(twin)

    def close(self):
        self.closed = True


def in_thread(work):
    found = []
    running = Thread(target=lambda: found.append(work()), daemon=True)
    running.start()
    return running, found


def test_nobody_waits_for_what_is_worked_out_ahead_but_for_their_own_answer():
    slow = Slow()
    monitor = kept(slow)
    with beside(monitor) as apart:
        ahead, found = in_thread(lambda: apart.now("ahead"))
        assert slow.beside.began.wait(20)
        slow.go.set()
        assert monitor.now("another") == "another", "at once, while the other is still at it"
        same, its = in_thread(lambda: monitor.now("ahead"))
        slow.began.clear()
        slow.beside.go.set()
        for running in (ahead, same):
            running.join(20)
        assert found == its == ["ahead"] and not slow.began.is_set(), "found once, for both"
    assert slow.taken == [slow.beside] and slow.beside.closed


def test_who_works_ahead_looks_into_the_store_only_while_nobody_asks(monkeypatch):
    monkeypatch.setattr(kept_module, "LETS_PASS_S", 20)
    slow = Slow()
    monitor = kept(slow)
    with beside(monitor) as apart:
        slow.beside.go.set()
        visitor, _ = in_thread(lambda: monitor.now("visitor"))
        assert slow.began.wait(20)
        ahead, found = in_thread(lambda: apart.now("ahead"))
        assert not slow.beside.began.wait(0.2)
        slow.go.set()
        for running in (visitor, ahead):
            running.join(20)
        assert found == ["ahead"]


def test_what_was_worked_out_ahead_serves_the_next_state_too(make_cell):
    monitor = kept(make_cell())
    with beside(monitor) as apart:
        known = apart.stone_picture()
        assert not monitor._monitor._carried
    assert "bores one by one" in monitor._monitor._carried
    monitor.log(Kind.EVENTS, {"event": "gauge-zeroed", "gauge": "G1", "at": "2026-10-25T04:00:00Z"})
    fresh = cellmon.open_cell(monitor.folder)
    assert monitor.stone_picture().as_of == fresh.stone_picture().as_of >= known.as_of
    assert monitor.now().spindles[0].sentence == fresh.now().spindles[0].sentence
    fresh.close()


def test_what_was_kept_is_not_of_another_store_that_was_put_in_its_place(tmp_path):
    for name, blocks in (("cell", 10), ("other", 20)):
        made = new_cell(tmp_path / name)
        made.take([write(tmp_path, "rows.csv", HEADER, rows(blocks))])
        made.close()
    page = kept(cellmon.open_cell(tmp_path / "cell"))
    before, seen = page.totals().taken, page.last_change()
    (tmp_path / "other" / "cell.db").replace(tmp_path / "cell" / "cell.db")
    assert (before, page.totals().taken) == (80, 160)
    assert page.last_change() != seen, "open pages hear of it"
    assert page.last_change() < 2**53
    page.close()


def test_the_sheet_is_read_once_for_each_state_and_anew_once_its_file_is_written(make_cell):
    monitor = kept(make_cell())
    before = monitor.sheet
    assert monitor.sheet is before
    sheet = monitor.folder / "cell.toml"
    written = sheet.read_text(encoding="utf-8")
    named = f'"{before.cell.name}"'
    assert named in written
    sheet.write_text(written.replace(named, '"Another line"', 1), encoding="utf-8")
    assert monitor.sheet.cell.name == "Another line"
    assert monitor.sheet is not before

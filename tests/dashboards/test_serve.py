"""The dashboard answers on this machine unless people can sign in, and says so."""

from __future__ import annotations

import re
import socket
from functools import partial

import pytest

import cellmon
from cellmon.errors import CellmonError, WrongUsage
from dashboards import first_said
from dashboards.app import create_app
from dashboards.frame import DRAWS
from dashboards.kept import QUESTIONS, kept
from dashboards.reached import is_loopback
from dashboards.serve import listening, warm
from tests.dashboards.stand_in import StandIn


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

    def __init__(self, monitor):
        self.monitor, self.asked = monitor, []

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
    assert {"now", "shifts", "stream", "part", "stone_picture"} <= set(counting.asked)
    counting.asked.clear()
    client = create_app(remembering).server.test_client()
    for path in first_said.BEGINS:
        assert first_said.NAME in client.get(path).get_data(as_text=True)
    assert counting.asked == []
    counting.monitor.close()


def test_everything_the_page_loads_comes_from_here():
    html = create_app(StandIn()).server.test_client().get("/").get_data(as_text=True)
    assert "<script" in html
    assert "//cdn" not in html
    assert 'src="http' not in html
    assert 'href="http' not in html

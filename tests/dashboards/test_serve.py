"""The dashboard answers on this machine unless people can sign in, and says so."""

from __future__ import annotations

import socket

import pytest

from cellmon.errors import CellmonError, WrongUsage
from dashboards.app import create_app
from dashboards.reached import is_loopback
from dashboards.serve import listening
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


def test_everything_the_page_loads_comes_from_here():
    html = create_app(StandIn()).server.test_client().get("/").get_data(as_text=True)
    assert "<script" in html
    assert "//cdn" not in html
    assert 'src="http' not in html
    assert 'href="http' not in html

"""By which names a dashboard is called, when it asks who is there, and whose word it takes on visitors."""

from __future__ import annotations

import http.client
import re
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing

import pytest

from dashboards.reached import reached
from dashboards.serve import listening
from tests.dashboards.serving import served
from tests.dashboards.stand_in import StandIn


def test_which_names_are_ones_own():
    own, others = reached("127.0.0.1"), reached("0.0.0.0", names=("Line3.example",))
    assert all(own.is_called(h) for h in ("localhost:8050", "127.0.0.1:8050", "[::1]:8050", "LOCALHOST"))
    assert not any(own.is_called(h) for h in ("192.168.0.7", "line3.example", "10.0.0.1:8050", "[fe80::1]"))
    assert not own.sign_in and others.sign_in
    assert all(
        others.is_called(h) for h in ("192.168.0.7:8050", "line3.example", "line3.example.:80", "[fe80::1]")
    )
    assert not others.is_called("evil.example")
    assert reached("127.0.0.1", proxy="127.0.0.1").sign_in and reached("localhost", sign_in=True).sign_in


class Peopled(StandIn):
    """A stand-in that knows nobody, and says from where they tried."""

    def may_serve(self) -> bool:
        return True

    def known_people(self) -> dict[str, object]:
        return {}

    def with_password(self, name: str, password: str) -> None:
        return None


@pytest.fixture
def serving() -> Iterator[Callable[..., int]]:
    with ExitStack() as stack:

        def start(**how: object) -> int:
            server = listening(Peopled(), "127.0.0.1", 0, how=reached("127.0.0.1", **how))
            return stack.enter_context(served(server))

        yield start


def ask(port: int, method: str = "GET", path: str = "/sign-in", body: str = "", **headers: str):
    """Send a request as a proxy or a program would; return the status, the headers and the text."""
    sent = {name.replace("_", "-"): value for name, value in headers.items()}
    with closing(http.client.HTTPConnection("127.0.0.1", port, timeout=20)) as line:
        line.request(method, path, body=body, headers=sent)
        answer = line.getresponse()
        return answer.status, answer.headers, answer.read().decode()


PASSED_ON = {
    "X_Forwarded_For": "203.0.113.9",
    "X_Forwarded_Host": "line3.example",
    "X_Forwarded_Proto": "https",
}


def test_behind_its_proxy_cookies_go_by_https_alone_and_attempts_are_the_visitors(serving, caplog):
    port = serving(proxy="127.0.0.1", names=("line3.example",))
    status, headers, page = ask(port, **PASSED_ON)
    assert status == 200
    assert headers["Set-Cookie"].startswith("cellmon-https-form=") and "Secure" in headers["Set-Cookie"]
    assert headers["Strict-Transport-Security"] and headers["Server"] is None
    token = re.search(r'name="form" value="([^"]+)"', page)[1]
    typed = {"Content_Type": "application/x-www-form-urlencoded", "Cookie": f"cellmon-https-form={token}"}
    sent = f"name=Ada&password=wrong+wrong&form={token}"
    origin = {"Origin": "https://line3.example"}
    assert ask(port, "POST", body=sent, **PASSED_ON, **typed, **origin)[0] == 401
    assert "from 203.0.113.9" in caplog.text
    assert ask(port, "POST", body=sent, **PASSED_ON, **typed, Origin=f"http://127.0.0.1:{port}")[0] == 403
    assert ask(port, **{**PASSED_ON, "X_Forwarded_Host": "evil.example"})[0] == 400


def test_the_word_of_anybody_else_on_visitors_is_not_taken(serving):
    port = serving(proxy="192.0.2.1", names=("line3.example",))
    status, headers, _ = ask(port, **PASSED_ON)
    assert status == 200
    assert headers["Set-Cookie"].startswith(f"cellmon-{port}-form=") and "Secure" not in headers["Set-Cookie"]
    assert headers["Strict-Transport-Security"] is None


def test_what_a_proxy_passes_on_is_refused_where_nobody_is_asked(serving):
    port = serving()
    assert ask(port, path="/")[0] == 200
    for name, value in PASSED_ON.items():
        assert ask(port, path="/", **{name: value})[0] == 403
    assert ask(port, path="/", Host="evil.example")[0] == 400


def test_a_form_or_request_beyond_all_measure_is_not_read(serving):
    port = serving(sign_in=True)
    typed = {"Content_Type": "application/x-www-form-urlencoded", "Origin": f"http://127.0.0.1:{port}"}
    assert ask(port, "POST", body="name=" + "a" * 20_000, **typed)[0] == 413
    status, *_ = ask(port, "POST", path="/_dash-update-component", Content_Length=str(2**30), **typed)
    assert status in (401, 413)

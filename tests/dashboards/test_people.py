"""Signing in: who is let in, as whom, from where, and what is refused; a real store and no browser."""

from __future__ import annotations

import json
import logging
import re
import stat
from collections.abc import Iterator

import pytest

import cellmon
from cellmon.monitor import Monitor
from cellmon.people import Role
from cellmon.simulate.sheet_text import sheet_text
from dashboards import attempts, gate, sign_in, sign_ins
from dashboards.app import create_app
from dashboards.reached import Reached
from tests.dashboards import test_stone_log
from tests.dashboards.stand_in import StandIn
from tests.dashboards.visitors import (
    CODES,
    HERE,
    PAGE,
    ROLES,
    SECRETS,
    TABLET,
    WORDS,
    Clock,
    Visitor,
    answered,
    body_of,
    emptied,
    every_route,
    signed_in,
    wrong_bodies,
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory, quick):
    """A cell that holds nothing but people."""
    where = tmp_path_factory.mktemp("people")
    (where / "cell.toml").write_text(sheet_text(), encoding="utf-8")
    monitor = cellmon.open_cell(where)
    for name, role in ROLES.items():
        monitor.add_person(name, role=role, password=WORDS[name], by="test")
    monitor.add_person(TABLET, role=Role.LOOK, shared=True, password="four clean sleeves", by="test")
    for name, code in CODES.items():
        monitor.set_code(name, code=code, by="test")
    monitor.close()
    return where


@pytest.fixture(scope="module")
def moved() -> Iterator[Clock]:
    """The clock of every gate that is made here."""
    found = Clock()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(gate.Gate.__init__, "__kwdefaults__", {"clock": found})
        yield found


@pytest.fixture
def clock(moved) -> Clock:
    moved.now = 1_800_000_000.0
    return moved


@pytest.fixture(scope="module")
def monitor(folder):
    opened = cellmon.open_cell(folder)
    yield opened
    opened.close()


@pytest.fixture(scope="module")
def made(monitor, moved):
    return create_app(monitor, how=Reached(sign_in=True))


@pytest.fixture(scope="module")
def here(monitor, moved):
    """The same cell, for this machine alone."""
    return create_app(monitor)


@pytest.fixture
def app(made, folder, clock):
    """A dashboard to which nobody has signed in, nor tried to."""
    return emptied(made, folder, clock)


def test_every_route_refuses_without_a_sign_in(app):
    visitor, seen = Visitor(app), {}
    for path in every_route(app):
        if path.startswith(gate.FIXED) or path in gate.OPEN:
            continue
        answer = visitor.get(path)
        seen[path] = answer.status_code
        assert answer.status_code in (303, 401), path
        if answer.status_code == 303:
            assert answer.headers["Location"].startswith("/sign-in?next=")
        assert "Harrowmere" not in answer.get_data(as_text=True)
        for method in ("post", "put", "delete", "patch"):
            refused = getattr(visitor.client, method)(path, base_url=HERE, headers={"Origin": HERE})
            assert refused.status_code == 401, (method, path)
    assert {"/", "/pulse", "/_dash-layout", "/_dash-dependencies", "/_dash-update-component"} <= set(seen)


def test_what_is_open_is_the_same_for_every_cell(app):
    visitor = Visitor(app)
    for path in ("/assets/cellmon.css", "/_favicon.ico", "/sign-in"):
        answer = visitor.get(path)
        assert answer.status_code == 200, path
        assert b"Harrowmere" not in answer.data
    assert visitor.get("/assets/../app.py").status_code in (303, 401, 404)
    assert visitor.get("/assets/..%2f..%2fcellmon/__init__.py").status_code == 404


def test_a_name_and_its_password_lead_to_the_page_that_was_wanted(app):
    visitor = Visitor(app)
    assert visitor.get("/signals?signal=S-1").headers["Location"] == "/sign-in?next=%2Fsignals%3Fsignal%3DS-1"
    answer = visitor.sign_in("ada decides", WORDS["Ada Decides"], next_="/signals?signal=S-1")
    assert (answer.status_code, answer.headers["Location"]) == (303, "/signals?signal=S-1")
    assert visitor.get("/").status_code == 200
    page = visitor.update(PAGE, "/", None, changed="url.pathname")
    assert page.status_code == 200
    assert "Ada Decides: sign out" in page.get_data(as_text=True)


@pytest.mark.parametrize(
    "path",
    [
        "https://evil.example/",
        "//evil.example",
        "/\\evil.example",
        "javascript:alert(1)",
        "/a\nb",
        "/sign-in",
    ],
)
def test_a_link_cannot_lead_elsewhere_after_signing_in(app, path):
    assert Visitor(app).sign_in("Ada Decides", WORDS["Ada Decides"], next_=path).headers["Location"] == "/"


@pytest.mark.parametrize(
    ("name", "password"),
    [
        ("Ada Decides", "one quiet spindl"),
        ("Ada Decides", ""),
        ("Ada Decides", CODES["Ada Decides"]),
        ("Nobody", WORDS["Ada Decides"]),
        ("", ""),
        ("Ada Decides\x00", WORDS["Ada Decides"]),
        ("a" * 5000, "b" * 5000),
    ],
)
def test_a_wrong_name_or_password_says_the_same_of_both(app, name, password):
    answer = Visitor(app).sign_in(name, password)
    assert answer.status_code == 401
    assert "There is no such name with this password." in answer.get_data(as_text=True)
    assert "Set-Cookie" not in answer.headers or "cellmon-http=" not in answer.headers["Set-Cookie"]


def test_the_cookie_is_kept_from_scripts_and_other_sites(app):
    answer = Visitor(app).sign_in("Ada Decides", WORDS["Ada Decides"])
    ticket = next(c for c in answer.headers.getlist("Set-Cookie") if c.startswith("cellmon-http="))
    assert "HttpOnly" in ticket and "SameSite=Strict" in ticket and "Path=/" in ticket
    assert "Secure" not in ticket and "Max-Age" not in ticket
    by_https = Visitor(app, base="https://localhost").sign_in("Tablet 1", "four clean sleeves")
    ticket = next(c for c in by_https.headers.getlist("Set-Cookie") if c.startswith("cellmon-https="))
    assert "Secure" in ticket and f"Max-Age={int(sign_ins.SHARED_LONGEST_S)}" in ticket


def test_every_answer_carries_the_headers_that_bind_a_browser(app):
    visitor = signed_in(app, "Ada Decides")
    for path in ("/", "/sign-in", "/pulse", "/assets/cellmon.css", "/nothing"):
        headers = visitor.get(path).headers
        for name, value in gate.HEADERS.items():
            assert headers[name] == value, (path, name)
        policy = headers["Content-Security-Policy"]
        assert "default-src 'none'" in policy and "frame-ancestors 'none'" in policy
        assert "unsafe-eval" not in policy and "http:" not in policy and "*" not in policy
        assert "script-src 'self' 'sha256-" in policy
    assert visitor.get("/").headers["Cache-Control"] == "no-store"


# RFC 7231 makes GET safe: nothing is done by it; whatever else comes must come from a page of ours
ORIGINS = [
    ("own", {}, 200),
    ("own", {"Sec-Fetch-Site": "same-origin"}, 200),
    (None, {"Sec-Fetch-Site": "same-origin"}, 200),
    ("own", {"Sec-Fetch-Site": "cross-site"}, 403),
    ("own", {"Sec-Fetch-Site": "same-site"}, 403),
    ("https://evil.example", {}, 403),
    ("http://localhost:81", {}, 403),
    ("https://localhost", {}, 403),
    ("null", {}, 403),
    ("http://[", {}, 403),
    (None, {}, 403),
    (None, {"Sec-Fetch-Site": "none"}, 403),
]


@pytest.mark.parametrize("asks", [True, False], ids=["signed in", "this machine"])
def test_another_site_cannot_send_a_decision_through_a_browser(app, here, asks):
    visitor = signed_in(app, "Ada Decides") if asks else Visitor(here)
    for origin, headers, status in ORIGINS:
        answer = visitor.update(PAGE, "/", None, origin=origin, headers=headers)
        assert answer.status_code == status, (origin, headers)
        form = visitor.post("/sign-out", data={}, origin=origin, headers=headers)
        assert form.status_code == (400 if status == 200 else 403)


def test_forms_carry_a_token_of_their_own(app):
    visitor = Visitor(app)
    visitor.get("/sign-in")
    typed = {"name": "Ada Decides", "password": WORDS["Ada Decides"], "next": "/"}
    for form in ({}, {"form": ""}, {"form": "guessed"}, {"form": "ü"}):
        assert visitor.post("/sign-in", data={**typed, **form}).status_code == 400
    assert visitor.get("/").status_code == 303
    visitor = signed_in(app, "Ada Decides")
    for form in ({}, {"form": "guessed"}):
        assert visitor.post("/sign-out", data=form).status_code == 400
    assert visitor.get("/").status_code == 200


def test_signing_out_ends_it_for_whoever_has_the_cookie(app):
    visitor = signed_in(app, "Ada Decides")
    ticket = visitor.client.get_cookie("cellmon-http").value
    token = re.search(r'name="form" value="([^"]+)"', visitor.get("/sign-out").get_data(as_text=True))[1]
    assert ticket not in token
    answer = visitor.post("/sign-out", data={"form": token})
    assert (answer.status_code, answer.headers["Location"]) == (303, "/sign-in")
    thief = Visitor(app)
    thief.client.set_cookie("cellmon-http", ticket)
    assert thief.get("/").status_code == 303


def test_a_ticket_is_new_at_every_sign_in(app):
    visitor = Visitor(app)
    visitor.client.set_cookie("cellmon-http", "chosen-by-another")
    visitor.sign_in("Ada Decides", WORDS["Ada Decides"])
    first = visitor.client.get_cookie("cellmon-http").value
    visitor.sign_in("Ada Decides", WORDS["Ada Decides"])
    second = visitor.client.get_cookie("cellmon-http").value
    assert "chosen-by-another" not in (first, second) and first != second
    other = Visitor(app)
    other.client.set_cookie("cellmon-http", first)
    assert other.get("/").status_code == 303, "the sign-in before it ended"


def test_a_strangers_name_for_this_machine_is_refused(app, here):
    for one in (app, here):
        for host in ("evil.example", "localhost.evil.example", "", "localhost:99999", "[::1", "a b"):
            answer = one.server.test_client().get("/sign-in", headers={"Host": host})
            assert answer.status_code == 400, host


def test_a_proxy_before_a_dashboard_that_asks_nobody_is_refused(here):
    visitor = Visitor(here)
    assert visitor.get("/").status_code == 200
    for name in gate.FORWARDED:
        assert visitor.get("/", headers={name: "203.0.113.9"}).status_code == 403


def test_a_link_from_elsewhere_comes_again_with_its_cookie(app):
    visitor = Visitor(app)
    page = visitor.get('/signals?signal="><script>', headers={"Sec-Fetch-Site": "cross-site"}).get_data(
        as_text=True
    )
    assert 'http-equiv="refresh"' in page and "<script>" not in page


# time, by a clock that the test moves


def test_a_sign_in_ends_when_nobody_does_anything_and_in_any_case_after_a_shift(app, clock):
    visitor = signed_in(app, "Ada Decides")
    for _ in range(20):
        clock.now += sign_ins.IDLE_S - 1
        if clock.now - 1_800_000_000.0 >= sign_ins.LONGEST_S:
            break
        assert visitor.get("/signals").status_code == 200
    clock.now = 1_800_000_000.0 + sign_ins.LONGEST_S - 1
    visitor.get("/signals")
    clock.now += 2
    assert visitor.get("/signals").status_code == 303
    again = signed_in(app, "Ada Decides")
    clock.now += sign_ins.IDLE_S + 1
    assert again.get("/signals").status_code == 303


def test_a_page_that_is_only_open_does_not_keep_a_sign_in_alive(app, clock):
    visitor, left = signed_in(app, "Ada Decides"), signed_in(app, "Ben Answers")
    for _ in range(4):
        clock.now += sign_ins.IDLE_S / 3
        visitor.update(PAGE, "/", None, changed="url.pathname")
        pulse, update = left.get("/pulse"), left.update("as-of.children", 1, "Now", changed="change.data")
    assert (pulse.status_code, update.status_code) == (401, 401)
    assert visitor.get("/").status_code == 200


def test_a_page_that_is_touched_keeps_a_sign_in_alive_and_is_told_how_long_it_holds(app, clock):
    writes = signed_in(app, "Ada Decides")
    clock.now += sign_ins.IDLE_S - 60
    said = writes.get("/pulse").get_json()
    assert (said["who"], said["idle"], said["longest"]) == (
        "Ada Decides",
        60,
        sign_ins.LONGEST_S - sign_ins.IDLE_S + 60,
    )
    assert writes.get("/pulse?here").status_code == 200
    clock.now += sign_ins.IDLE_S - 1
    assert writes.get("/pulse").get_json()["idle"] == 1
    clock.now += 2
    assert writes.get("/pulse?here").status_code == 401


def test_a_tablet_stays_signed_in_for_days(app, clock):
    tablet = signed_in(app, TABLET)
    clock.now += 6 * 86_400
    assert tablet.get("/").status_code == 200
    clock.now += 25 * 86_400
    assert tablet.get("/").status_code == 303


def test_a_sign_in_outlives_the_server_but_not_a_change_of_the_account(app, monitor, clock, folder):
    visitor = signed_in(app, "Cleo Looks")
    file = folder / sign_ins.FILE
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    ticket = visitor.client.get_cookie("cellmon-http").value
    assert ticket not in file.read_text()
    later = Visitor(create_app(monitor, how=Reached(sign_in=True)))
    later.client.set_cookie("cellmon-http", ticket)
    assert later.get("/").status_code == 200
    monitor.set_role("Cleo Looks", role=Role.ANSWER, by="test")
    assert later.get("/").status_code == 303
    monitor.set_role("Cleo Looks", role=Role.LOOK, by="test")
    again = signed_in(app, "Cleo Looks")
    monitor.set_password("Cleo Looks", password=WORDS["Cleo Looks"], by="test")
    assert again.get("/").status_code == 303


def test_a_broken_file_of_sign_ins_lets_nobody_in_and_stops_nothing(monitor, clock, folder):
    for text in ("", "[]", "{", '{"a": {}}', '{"a": {"name": 1}}', '{"a": 3}'):
        (folder / sign_ins.FILE).write_text(text)
        app = create_app(monitor, how=Reached(sign_in=True))
        assert Visitor(app).get("/").status_code == 303
        assert signed_in(app, "Ada Decides").get("/").status_code == 200


def test_wrong_attempts_with_one_name_wait_longer_and_longer_from_everywhere(app, clock):
    for i in range(attempts.FREE["name"]):
        assert Visitor(app, address=f"10.0.1.{i}").sign_in("Ada Decides", "wrong wrong").status_code == 401
    answer = Visitor(app).sign_in("ADA decides", WORDS["Ada Decides"])
    assert answer.status_code == 429
    assert "Try again in 15 seconds." in answer.get_data(as_text=True)
    assert int(answer.headers["Retry-After"]) == 16
    assert Visitor(app).sign_in("Ben Answers", WORDS["Ben Answers"]).status_code == 303, "others are let in"
    clock.now += 16
    assert Visitor(app).sign_in("Ada Decides", "wrong wrong").status_code == 401
    clock.now += 16
    assert "seconds" in Visitor(app).sign_in("Ada Decides", "wrong wrong").get_data(as_text=True)
    clock.now += 15
    assert Visitor(app).sign_in("Ada Decides", WORDS["Ada Decides"]).status_code == 303
    for _ in range(attempts.FREE["name"]):
        assert Visitor(app).sign_in("Ada Decides", "wrong wrong").status_code == 401, (
            "what was right forgives"
        )


def test_wrong_attempts_from_one_address_wait_whatever_the_name(app, clock, monkeypatch):
    monkeypatch.setattr(gate.Gate, "people", lambda self: {})
    monkeypatch.setattr(Monitor, "with_password", lambda self, name, password: None)
    visitor = Visitor(app, address="10.0.2.2")
    for i in range(attempts.FREE["address"]):
        assert visitor.sign_in(f"person {i}", "wrong wrong").status_code == 401
    assert visitor.sign_in("somebody else", "wrong wrong").status_code == 429
    assert Visitor(app, address="10.0.2.3").sign_in("somebody else", "wrong wrong").status_code == 401


# the pages, by forged requests


class WithPeople(StandIn):
    """The stand-in's signals with the people of a real store."""

    def __init__(self, monitor) -> None:
        super().__init__()
        object.__setattr__(self, "monitor", monitor)

    def __getattr__(self, name):
        if name in ("known_people", "people", "with_code", "with_password", "folder"):
            return getattr(self.monitor, name)
        raise AttributeError(name)


@pytest.fixture(scope="module")
def pages_made(monitor, moved):
    return create_app(WithPeople(monitor), how=Reached(sign_in=True))


@pytest.fixture
def pages(pages_made, folder, clock):
    return emptied(pages_made, folder, clock)


@pytest.fixture
def stand_in(pages):
    """What the pages ask, with nothing said to it yet."""
    found = pages.server.extensions["cellmon-gate"]._monitor._monitor
    found.said.clear()
    found.signed.clear()
    found.became.clear()
    return found


def test_an_answer_is_in_the_name_of_who_is_signed_in_whatever_the_request_says(pages, stand_in):
    said = answered(pages, signed_in(pages, "Ben Answers"), by="Ada Decides", press="signals-answer")
    assert said.startswith("Kept:") and "Ben Answers" in said
    assert [response.by for _, response in stand_in.said] == ["Ben Answers"]


def test_who_may_only_look_answers_nothing(pages, stand_in):
    said = answered(pages, signed_in(pages, "Cleo Looks"), by="Ada Decides")
    assert said == "Cleo Looks may only look."
    assert stand_in.said == []


def test_who_may_answer_does_not_release(pages, stand_in):
    visitor, body = signed_in(pages, "Ben Answers"), body_of(pages, "first-bores-said.children")
    values = {"first-bores-spindle": "S2", "first-bores-why": "looks right", "first-bores-by": "Ada Decides"}
    for one in (*body["inputs"], *body["state"]):
        one["value"] = 1 if one["property"] == "n_clicks" else values.get(one["id"])
    found = visitor.post("/_dash-update-component", json=body).get_json()
    assert found["response"]["first-bores-said"]["children"] == (
        "Ben Answers may not decide this; somebody with the role decide may."
    )
    assert stand_in.signed == {}


def test_on_a_tablet_a_name_and_its_code_answer_and_seen_holds_for_some_minutes(pages, stand_in, clock):
    tablet = signed_in(pages, TABLET)
    assert answered(pages, tablet, by="", press="signals-answer") == "Say who answers."
    assert "code of Ben" in answered(pages, tablet, by="Ben Answers", press="signals-answer")
    assert "not the code" in answered(pages, tablet, by="Ben Answers", code="0000")
    assert "not the code" in answered(pages, tablet, by="Ben Answers", code=CODES["Ada Decides"])
    assert "not the code" in answered(pages, tablet, by="Cleo Looks", code="0000")
    assert answered(pages, tablet, by="Ben Answers", code="") == "Say the code of Ben Answers."
    assert stand_in.said == []
    assert "Seen by Ben Answers" in answered(pages, tablet, by="Ben Answers", code=CODES["Ben Answers"])
    assert "Seen by Ben Answers" in answered(pages, tablet, by="Ben Answers", code="")
    assert "Say the code" in answered(pages, tablet, by="Ada Decides", code=""), "of that name alone"
    assert "code of Ben" in answered(pages, tablet, by="Ben Answers", code="", press="signals-answer")
    clock.now += sign_ins.TAPPED_S + 1
    assert "Say the code" in answered(pages, tablet, by="Ben Answers", code="")
    assert [response.by for _, response in stand_in.said] == ["Ben Answers"] * 2


def test_every_form_that_takes_a_code_empties_it_so_that_none_stays_on_a_tablet(pages):
    forms = 0
    for output, known in pages.callback_map.items():
        for one in known["state"]:
            if "-code" in str(one["id"]):
                forms += 1
                assert f"{one['id']}.value" in output, one["id"]
    assert forms >= 10


def test_stones_are_logged_on_a_tablet_by_a_tapped_name_and_its_code(pages, stand_in, monkeypatch):
    stones = test_stone_log.StandIn()
    for name in ("stone_picture", "look_at", "log_rows"):
        monkeypatch.setattr(WithPeople, name, getattr(stones, name), raising=False)
    tablet, body = signed_in(pages, TABLET), body_of(pages, "stones-log-said")
    body["state"] = [[] if one["id"].startswith("{") else one for one in body["state"]]
    values = {"stones-log-what": "stones-dressed", "stones-log-spindle": "S1", "stones-log-by": "Ben Answers"}

    def logged(code=""):
        for one in (one for one in (*body["inputs"], *body["state"]) if one):
            one["value"] = {**values, "stones-log-code": code, "stones-log-log": 1}.get(one["id"])
        body["changedPropIds"] = ["stones-log-log.n_clicks"]
        found = tablet.post("/_dash-update-component", json=body).get_json()["response"]
        return found["stones-log-said"]["children"]

    assert logged() == "Say the code of Ben Answers."
    assert logged("0000") == "This is not the code of Ben Answers."
    assert "on S1 was dressed" in logged(CODES["Ben Answers"])
    assert [rows[0]["by"] for _, rows in stones.logged] == ["Ben Answers"]


def test_a_code_is_guessed_no_faster_than_a_password(pages, clock):
    tablet = signed_in(pages, TABLET)
    for i in range(attempts.FREE["name"]):
        assert "not the code" in answered(pages, tablet, by="Ben Answers", code=f"90{i}1")
    assert "Try again in" in answered(pages, tablet, by="Ben Answers", code=CODES["Ben Answers"])


def test_a_code_opens_no_door_and_lasts_for_one_request(pages, stand_in):
    tablet = signed_in(pages, TABLET)
    assert answered(pages, tablet, by="Ada Decides", code=CODES["Ada Decides"]).startswith("Kept")
    body = body_of(pages, "first-bores-said.children")
    values = {"first-bores-spindle": "S2", "first-bores-why": "looks right", "first-bores-by": "Ada Decides"}
    for one in (*body["inputs"], *body["state"]):
        one["value"] = 1 if one["property"] == "n_clicks" else values.get(one["id"])
    found = tablet.post("/_dash-update-component", json=body).get_json()
    assert "code of Ada" in found["response"]["first-bores-said"]["children"]
    assert Visitor(pages).sign_in("Ada Decides", CODES["Ada Decides"]).status_code == 401


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"{",
        b"[]",
        b"null",
        b'"x"',
        b"{}",
        b'{"output": 3}',
        b'{"output": "nothing.here"}',
        b'{"output": []}',
        b"\xff\xfe",
        b'{"output": {"a": 1}}',
    ],
)
def test_what_is_no_request_of_a_page_is_answered_400(app, body):
    visitor = signed_in(app, "Ada Decides")
    for kind in ("application/json", "text/plain", ""):
        answer = visitor.post("/_dash-update-component", data=body, content_type=kind)
        assert answer.status_code == 400, answer.get_data(as_text=True)
        assert answer.get_json()["error"].endswith(".")


def test_no_malformed_request_is_answered_500(app):
    visitor, seen = signed_in(app, "Ada Decides"), set()
    for i, output in enumerate(app.callback_map):
        bodies = list(wrong_bodies(body_of(app, output)))
        for body in bodies if i % 20 == 0 else bodies[-4:-2]:
            answer = visitor.post("/_dash-update-component", json=body)
            seen.add(answer.status_code)
            assert answer.status_code in (200, 204, 400), (output, body, answer.get_data(as_text=True)[:500])
    assert seen >= {200, 400}


def test_no_secret_is_written_anywhere_but_as_its_hash(app, monitor, folder, caplog):
    caplog.set_level(logging.DEBUG)
    visitor = signed_in(app, "Ada Decides")
    Visitor(app).sign_in("Ada Decides", "wrong but secret")
    Visitor(app).sign_in("typed in the wrong field", "x")
    ticket = visitor.client.get_cookie("cellmon-http").value
    assert "signed in from" in caplog.text and "wrong sign-in" in caplog.text
    for secret in (*SECRETS, "wrong but secret", "typed in the wrong field", ticket, "$scrypt$"):
        assert secret not in caplog.text
    told = json.dumps(cellmon_document(monitor))
    with monitor._store.reading() as session:
        journal = str(session.decisions("people"))
    for secret in (*SECRETS, "$scrypt$"):
        assert not stands(secret, told) and not stands(secret, journal)
    for file in folder.iterdir():
        if file.is_file():
            for secret in (*WORDS.values(), "four clean sleeves", ticket):
                assert secret.encode() not in file.read_bytes(), file.name


def stands(secret, text):
    """Return whether a secret stands in a text, and is no piece of a hash or of a moment by chance."""
    return re.search(f"(?<![0-9a-f]){re.escape(secret)}(?![0-9a-f])", text) is not None


def cellmon_document(monitor):
    from zoneinfo import ZoneInfo

    from cellmon.export.documents import as_json, document

    return as_json(document(monitor.people(), zone=ZoneInfo("Europe/Berlin"))).decode()


def test_on_this_machine_alone_nothing_is_asked(here):
    visitor = Visitor(here)
    assert visitor.get("/").status_code == 200
    assert "nobody is asked" in visitor.get("/sign-in").get_data(as_text=True)
    page = visitor.update(PAGE, "/", None, changed="url.pathname").get_data(as_text=True)
    assert "sign out" not in page


def test_inline_scripts_are_named_by_their_hash():
    # W3C CSP Level 3, section 2.3.1 example: alert('Hello, world.'); has this SHA-256
    found = gate.inline_hashes("<!-- <script>no</script> --><script>alert('Hello, world.');</script>")
    assert found == ["'sha256-qznLcsROx4GACP2dm0UCKCzCG+HiZ1guq6ZZDob/Tng='"]


def test_the_way_in_needs_no_script():
    assert "<script" not in re.sub(r"<script src=[^>]*></script>", "", sign_in._document("a", "b"))

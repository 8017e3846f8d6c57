"""Signing in with a real Chromium: a person at a desk, and two at a shared tablet."""

from __future__ import annotations

import pytest

from cellmon.people import Role
from dashboards.reached import reached
from tests.dashboards.serving import dashboard

WORDS, CODE = "one quiet spindle", "4071"


@pytest.fixture
def monitor(make_cell):
    """Four days with two people and a tablet."""
    made = make_cell()
    made.add_person("R. Hale", role=Role.ANSWER, password=WORDS, by="test")
    made.add_person("M. Osei", role=Role.DECIDE, password=WORDS, by="test")
    made.add_person("Tablet", role=Role.LOOK, shared=True, password=WORDS, by="test")
    made.set_code("R. Hale", code=CODE, by="test")
    made.set_code("M. Osei", code="5182", by="test")
    return made


@pytest.fixture
def address(monitor):
    with dashboard(monitor, how=reached("127.0.0.1", sign_in=True)) as address:
        yield address


def sign_in(page, name: str) -> None:
    page.page.fill("[name=name]", name)
    page.page.fill("[name=password]", WORDS)
    page.page.click("button")


def says(page, box: str, words: str) -> None:
    page.page.wait_for_function(
        "([box, words]) => document.querySelector(box)?.innerText.includes(words)", arg=[box, words]
    )


@pytest.mark.browser
def test_people_sign_in_answer_in_their_own_name_and_share_a_tablet(monitor, address, look):
    waiting = [s for s in monitor.signals().signals if s.state == "open"]
    first, second = waiting[-1].id, waiting[-2].id

    desk = look(address)
    desk.page.goto(f"{address}/signals?signal={first}")
    assert desk.page.title() == "Sign in"
    sign_in(desk, "r. hale")
    says(desk, "#nav", "R. Hale: sign out")
    assert desk.page.url == f"{address}/signals?signal={first}"
    says(desk, "#signals-sheet", "Likely causes")
    assert desk.page.input_value("#signals-by") == "R. Hale"
    assert not desk.page.is_editable("#signals-by") and not desk.page.is_visible("#signals-code")
    desk.page.fill("#signals-cause", "gauge zero was off")
    desk.page.fill("#signals-action", "zeroed on the ring")
    desk.page.evaluate("dash_clientside.set_props('signals-by', {value: 'M. Osei'})")  # a forged form
    desk.page.click("#signals-answer")
    says(desk, "#signals-said", "zeroed on the ring (R. Hale")
    desk.page.click("a.signed-in")
    desk.page.click("button")
    desk.page.wait_for_url("**/sign-in")
    desk.page.goto(f"{address}/signals")
    assert desk.page.title() == "Sign in"

    tablet = look(address, 1024, 768)
    tablet.page.goto(f"{address}/signals?signal={second}")
    sign_in(tablet, "Tablet")
    says(tablet, "#signals-by", "M. Osei")
    assert tablet.page.evaluate(
        "document.documentElement.scrollWidth <= document.documentElement.clientWidth"
    )
    tablet.page.click("#signals-by >> text=R. Hale")
    tablet.page.fill("#signals-code", "9071")
    tablet.page.click("#signals-seen")
    says(tablet, "#signals-said", "not the code of R. Hale")
    tablet.page.fill("#signals-code", CODE)
    tablet.page.click("#signals-seen")
    says(tablet, "#signals-said", "Seen by R. Hale")
    assert tablet.page.input_value("#signals-code") == ""
    tablet.page.click(f"#signals-list >> a[href$='{waiting[-3].id}']")
    says(tablet, "#signals-heading", waiting[-3].words[1:])
    tablet.page.click("#signals-seen")  # one tap: the code was said a moment ago
    says(tablet, "#signals-said", "Seen by R. Hale")

    said = {s.id: s.owner for s in monitor.signals().signals}
    assert [said[s.id] for s in waiting[-3:]] == ["R. Hale"] * 3


@pytest.mark.browser
def test_a_store_that_is_away_is_said_and_so_is_who_signed_in_meanwhile(monitor, address, look):
    desk = look(address)
    desk.page.goto(f"{address}/signals")
    sign_in(desk, "M. Osei")
    says(desk, "#nav", "M. Osei: sign out")
    desk.page.wait_for_selector("#signals-cause", state="visible")
    desk.page.fill("#signals-cause", "gauge zero")
    store = monitor.folder / "cell.db"
    away = store.rename(store.with_suffix(".away"))
    says(desk, "#bar", "The store cannot be read since")
    away.rename(store)
    desk.page.wait_for_selector("#bar[hidden]", state="attached")

    other = look(address)  # the same browser, so the same ticket
    other.page.goto(f"{address}/sign-out")
    other.page.click("button")
    says(desk, "#bar", "Signed out since")
    other.page.goto(f"{address}/signals")
    sign_in(other, "R. Hale")
    says(desk, "#bar", "R. Hale is signed in now")
    desk.page.wait_for_function("() => document.querySelector('#signals-by').value === 'R. Hale'")
    assert desk.page.input_value("#signals-cause") == "gauge zero"
    desk.complaints[:] = [c for c in desk.complaints if "503" not in c and "401" not in c]

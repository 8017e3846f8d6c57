"""Signing in with a real Chromium: a person at a desk, and two at a shared tablet."""

from __future__ import annotations

import pytest

from cellmon.people import Role
from dashboards.reached import reached
from tests.dashboards.serving import dashboard
from tests.dashboards.test_files_in_browser import DROP

WORDS, CODE = "one quiet spindle", "4071"


@pytest.fixture
def monitor(make_cell, quick):
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
def test_a_file_dropped_on_a_shared_tablet_waits_for_a_name_by_a_tap_and_its_code(
    monitor, address, look, tmp_path
):
    tablet = look(address, 1024, 768)
    page = tablet.page
    page.goto(f"{address}/files")
    sign_in(tablet, "Tablet")
    page.wait_for_selector("#files-upload button")
    before = monitor.files().total
    late = "HM214-990001,1,S1,2026-10-22T23:00:00+02:00,top,x,11.5"
    file = tmp_path / "late.csv"
    file.write_text(f"part,bore,spindle,measured_at,plane,direction,deviation_um\n{late}\n", encoding="utf-8")

    page.evaluate(DROP, [file.read_text(encoding="utf-8"), "late.csv", 0])
    says(tablet, "#files-question", "late.csv: tap above who hands it over, say the code, then:")
    assert monitor.files().total == before
    page.click("#files-drop-by >> text=R. Hale")
    page.fill("#files-drop-code", "9071")
    page.click("#files-take-so")
    says(tablet, "#files-said", "not the code of R. Hale")
    assert monitor.files().total == before
    page.fill("#files-drop-code", CODE)
    page.click("#files-take-so")
    says(tablet, "#files-said", "late.csv, readings: 1 row, of which 1 taken")
    page.wait_for_selector("#files-ask-box", state="hidden")
    assert monitor.files().total == before + 1

    later = tmp_path / "later.csv"
    later.write_text(file.read_text(encoding="utf-8").replace("990001", "990002"), encoding="utf-8")
    page.fill("#files-drop-code", CODE)
    page.set_input_files("#files-upload input[type=file]", later)  # chosen from the device, as a finger does
    says(tablet, "#files-said", "later.csv, readings: 1 row, of which 1 taken")
    assert monitor.files().total == before + 2


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

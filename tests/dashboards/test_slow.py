"""What only slowness brings out: presses under way, answers lost on their way, a tablet that sleeps."""

from __future__ import annotations

import time

import pytest

from cellmon.records import Flag
from tests.dashboards.test_live import SHEET_SAYS, WITHIN_MS, settled
from tests.monitor.test_corrections import doubted_cell
from tests.small_cell import HEADER, write

pytestmark = pytest.mark.browser
ASKED = "**/_dash-update-component*"
LONG = 30_000
DOUBTS = "#files-doubts-list li button"
BROKEN = """() => { const plain = window.fetch; window.fetch = async (where, how) => {
    const got = await plain(where, how);
    if (!window.broken || !String((how || {}).body).includes(window.broken)) return got;
    const body = new ReadableStream({ start: (sent) => sent.error(new TypeError("the line is gone")) });
    return new Response(body, { status: 200, headers: got.headers }); } }"""
"""Answers to what names some words end after their head, as where the line is lost in between."""


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    return doubted_cell(tmp_path_factory.mktemp("slow"), Flag.SWAPPED_PLANES)


@pytest.fixture(scope="module")
def address(small, serve) -> str:
    return serve(small)


@pytest.fixture
def files(look, address):
    """Page Files with the complaints that lost answers make in the console forgiven."""
    watched = look(address)
    watched.page.set_default_timeout(LONG)
    yield watched.page
    watched.page.unroute_all(behavior="ignoreErrors")
    watched.page.goto("about:blank")
    watched.complaints[:] = [c for c in watched.complaints if "net::" not in c and "503" not in c]


def opened(page, address) -> None:
    page.goto(address + "/files")
    page.wait_for_selector(DOUBTS)
    settled(page)


def chosen(page, n: int) -> str:
    """Open a doubt of the list, write why, and return its name."""
    entry = page.locator(DOUBTS).nth(n)
    name = entry.get_attribute("data-pick")
    entry.click()
    page.wait_for_selector("#files-doubt-form", state="visible")
    settled(page)
    page.fill("#files-doubt-by", "M. Osei")
    page.fill("#files-doubt-why", "seen on the part")
    return name


def until(page, happened, *, within_s: float = LONG / 1000) -> None:
    """Wait for what the browser does, which is heard of between."""
    began = time.monotonic()
    while not happened():
        assert time.monotonic() - began < within_s
        page.wait_for_timeout(30)


def decisions(monitor, about: str) -> list[str]:
    return [one.why for one in monitor.journal().entries if one.subject == about]


def says(page, name: str, words: str) -> None:
    page.wait_for_function(
        "([name, words]) => document.querySelector(name)?.innerText.includes(words)", arg=[name, words]
    )


def test_a_press_under_way_is_said_and_the_same_pressed_again_is_one_with_it(files, address, small):
    opened(files, address)
    doubt, held = chosen(files, 1), []

    def hold(route) -> None:
        if "files-doubt-keep.n_clicks" in route.request.post_data:
            held.append(route)
        else:
            route.continue_()

    files.route(ASKED, hold)
    files.click("#files-doubt-keep")
    until(files, lambda: held)
    files.click("#files-doubt-keep")
    says(files, "#files-doubt-said", "Under way: it takes a while")
    files.click("#files-doubt-keep")
    files.wait_for_timeout(200)
    assert len(held) == 1
    held[0].continue_()
    says(files, "#files-doubt-said", "kept as it was read, by M. Osei")
    assert decisions(small, doubt) == ["seen on the part"]


def test_an_answer_that_ends_in_between_is_told_where_it_was_pressed(files, address):
    files.add_init_script(f"({BROKEN})()")
    opened(files, address)
    chosen(files, 2)
    files.evaluate("() => { window.broken = 'files-doubt-keep.n_clicks'; }")
    files.click("#files-doubt-keep")
    says(files, "#files-doubt-said", "it is not known whether this was kept")


def test_what_was_asked_and_not_answered_is_asked_again(files, address, small):
    opened(files, address)
    lost = []

    def lose(route) -> None:
        if "files-sheet-differs" in route.request.post_data and not lost:
            lost.append(route)
            route.abort()
        else:
            route.continue_()

    files.route(ASKED, lose)
    sheet = small.folder / "cell.toml"
    before = sheet.read_text(encoding="utf-8")
    sheet.write_text(before.replace("upper = 50.010", "upper = 50.006"), encoding="utf-8")
    try:
        files.wait_for_function(SHEET_SAYS, arg="50.01 in force, 50.006 on disk", timeout=WITHIN_MS)
    finally:
        sheet.write_text(before, encoding="utf-8")
    assert lost


@pytest.mark.parametrize("part", ["_dash-layout", "_dash-update-component"])
def test_a_page_whose_beginning_was_lost_comes_by_itself(files, address, part):
    lost = []

    def lose(route) -> None:
        begins = part == "_dash-layout" or '"nav.children' in route.request.post_data.replace("..", '"')
        if begins and not lost:
            lost.append(route)
            route.abort()
        else:
            route.continue_()

    files.route(f"**/{part}*", lose)
    files.goto(address + "/files")
    files.wait_for_selector(DOUBTS)
    assert lost


def test_a_page_asks_at_once_when_it_is_looked_at_again_whatever_it_waits_for(files, address):
    opened(files, address)
    held = []

    def hold(route) -> None:
        held.append(route)

    files.route("**/pulse*", hold)
    until(files, lambda: held)
    files.wait_for_timeout(1500)
    assert len(held) == 1, "one question at a time"
    files.evaluate("() => document.dispatchEvent(new Event('visibilitychange'))")
    until(files, lambda: len(held) == 2, within_s=6)  # and not once its patience of 12 seconds has ended
    held[1].continue_()
    until(files, lambda: len(held) == 3)
    assert files.is_hidden("#bar")


def test_what_is_shown_stays_where_the_store_went_away_in_the_middle_of_an_answer(files, address, small):
    opened(files, address)
    shown, store, away = (
        files.inner_text("#files-doubts-list"),
        small.folder / "cell.db",
        small.folder / "away.db",
    )
    store.rename(away)
    try:
        files.evaluate("() => window.dash_clientside.set_props('change', { data: 1 })")
        files.wait_for_selector("#bar:not([hidden])", timeout=WITHIN_MS)
        settled(files)
        assert files.inner_text("#files-doubts-list") == shown
        assert "failed" not in files.inner_text("main")
        assert "is not there" not in files.inner_text("main")
    finally:
        away.rename(store)
    files.wait_for_selector("#bar[hidden]", state="attached", timeout=WITHIN_MS)


def test_what_was_written_of_one_thing_is_gone_before_the_answer_about_another_comes(files, address):
    opened(files, address)
    chosen(files, 3)
    held = []

    def hold(route) -> None:
        held.append(route)

    files.route(ASKED, hold)
    files.locator(DOUBTS).nth(4).click()
    until(files, lambda: held)
    files.wait_for_function("() => document.querySelector('#files-doubt-why').value === ''")
    assert files.input_value("#files-doubt-by") == "M. Osei"


def test_what_follows_a_choice_and_not_commits_is_asked_again_too_and_takes_nothing_out(
    files, address, small, tmp_path
):
    bad = "B9001,1,S1,2026-03-09T06:00:00Z,top,x,50.O02"
    small.take([write(tmp_path, "bad.csv", HEADER, [bad])])
    opened(files, address)
    lost = []

    def lose(route) -> None:
        if '"output":"files-row-text.value"' in route.request.post_data and len(lost) < 2:
            lost.append(route)
            route.abort()
        else:
            route.continue_()

    files.route(ASKED, lose)
    files.click("#files-rows-list li button")
    files.wait_for_selector("#files-row-form", state="visible")
    files.fill("#files-row-why", "an O for a 0")
    files.wait_for_function("bad => document.querySelector('#files-row-text').value === bad", arg=bad)
    assert files.input_value("#files-row-why") == "an O for a 0"
    assert len(lost) == 2


def test_a_doubt_that_another_person_decided_meanwhile_is_not_decided_anew(files, address, small):
    opened(files, address)
    doubt = chosen(files, 3)
    files.route("**/pulse*", lambda route: route.abort())  # not told on this page yet
    small.correct(doubt, accept=False, by="R. Hale", why="measured again")
    files.click("#files-doubt-accept")
    says(files, "#files-doubt-said", "R. Hale decided this already")
    assert decisions(small, doubt) == ["measured again"]
    assert files.input_value("#files-doubt-why") == "seen on the part"


def test_a_page_of_a_program_that_was_renewed_is_loaded_anew_unless_something_is_written_on_it(
    files, address
):
    opened(files, address)

    chosen(files, 5)
    files.evaluate("() => { window.here = true; document.getElementById('page').dataset.made = 'before'; }")
    says(files, "#bar-said", "The program was renewed")
    files.wait_for_timeout(1500)
    assert files.evaluate("() => window.here"), "what is written stays"
    files.fill("#files-doubt-why", "")
    files.fill("#files-doubt-by", "")
    files.wait_for_function("() => !window.here")
    files.wait_for_selector(DOUBTS)
    files.wait_for_selector("#bar", state="hidden")

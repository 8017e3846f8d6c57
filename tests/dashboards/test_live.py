"""Open pages follow what is committed, keep what a person did, say when no answer comes, and recover."""

from __future__ import annotations

import socket
import subprocess
import sys
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from cellmon.records import Flag
from dashboards.frame import pulse
from tests.dashboards.stand_in import StandIn
from tests.monitor.test_corrections import doubted_cell

HEAD = "part,bore,spindle,measured_at,plane,direction,diameter,fixture\n"
RANGE = "() => document.querySelector('#stream-ribbon .js-plotly-plot')._fullLayout.xaxis.range"
DRAWN = "() => document.querySelector('#stream-ribbon .js-plotly-plot')?.data?.length > 0"
SHEET_SAYS = "words => document.querySelector('#files-sheet-differs')?.innerText.includes(words)"
QUIET = "() => document.querySelectorAll('[data-dash-is-loading=true]').length === 0"
WITHIN_MS = 10_000
"""How long a busy machine may take; docs/dashboard.md says what a quiet one takes."""


@pytest.fixture(scope="module")
def mine(make_cell):
    return make_cell()


@pytest.fixture(scope="module")
def address(mine, serve) -> str:
    return serve(mine)


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """A small cell with a dozen doubts: page Files of the demo's days is drawn ten times as long."""
    return doubted_cell(tmp_path_factory.mktemp("small"), Flag.SWAPPED_PLANES)


@pytest.fixture(scope="module")
def small_address(small, serve) -> str:
    return serve(small)


def block(folder: Path, serial: str, at: str) -> Path:
    """Write one block measured at a moment, four bores of 87.312 mm."""
    lines = [
        f"{serial},{bore},{'S1' if bore in '12' else 'S2'},{at},{plane},{way},87.3120,P1\n"
        for bore in "1234"
        for plane in ("top", "middle", "bottom")
        for way in "xy"
    ]
    path = folder / f"{serial}.csv"
    path.write_text(HEAD + "".join(lines), encoding="utf-8")
    return path


def take_elsewhere(monitor, path: Path) -> None:
    """Take a file in a process of its own, as the station's folder does."""
    command = [sys.executable, "-m", "cellmon", "take", "--cell", str(monitor.folder), str(path)]
    done = subprocess.run(command, check=False, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr or done.stdout


def settled(page) -> None:
    """Wait until nothing is being worked out for the page."""
    page.wait_for_timeout(300)
    page.wait_for_function(QUIET, timeout=30_000)


def drag(page, figure="stream-ribbon") -> None:
    """Zoom into a part of a figure as a hand does."""
    box = page.locator(f"#{figure} .nsewdrag").first.bounding_box()
    page.mouse.move(box["x"] + 300, box["y"] + 60)
    page.mouse.down()
    page.mouse.move(box["x"] + 600, box["y"] + 200, steps=5)
    page.mouse.up()


@pytest.mark.browser
def test_a_zoom_stays_where_new_bores_come_in_and_a_reset_shows_them(look, mine, address, tmp_path):
    page = look(address).page
    page.goto(address + "/stream?spindle=S1&bore=1&feature=diameter")
    page.wait_for_function(DRAWN, timeout=30_000)
    settled(page)
    whole = page.evaluate(RANGE)
    drag(page)
    page.wait_for_function(f"whole => String(({RANGE})()) !== String(whole)", arg=whole)
    settled(page)
    zoomed = page.evaluate(RANGE)
    take_elsewhere(mine, block(tmp_path, "HM214-990001", "2026-10-26T06:21:00+01:00"))
    page.wait_for_function(
        "() => document.querySelector('#as-of').innerText.includes('06:21')", timeout=WITHIN_MS
    )
    settled(page)
    assert page.evaluate(RANGE) == zoomed
    box = page.locator("#stream-ribbon .nsewdrag").first.bounding_box()
    page.mouse.dblclick(box["x"] + 300, box["y"] + 100)
    newest_again = f"last => ({RANGE})()[1] > last"
    page.wait_for_function(newest_again, arg=whole[1])


BOTH = """id => { const { xaxis, yaxis } = document.querySelector(`#${id} .js-plotly-plot`)._fullLayout;
    return [...xaxis.range, ...yaxis.range]; }"""
"""The ranges of both axes of a figure."""


@pytest.mark.browser
@pytest.mark.parametrize(
    ("path", "figure", "minute"),
    [("/gauge", "gauge-zeroes", 22), ("/stones", "stones-lines", 23), ("/shifts", "shifts-mean-range", 24)],
)
def test_a_zoom_stays_on_every_page(look, mine, address, tmp_path, path, figure, minute):
    page = look(address).page
    page.goto(address + path)
    page.wait_for_function(f"id => document.querySelector(`#{figure} .nsewdrag`)", timeout=30_000)
    settled(page)
    page.locator(f"#{figure}").scroll_into_view_if_needed()
    whole = page.evaluate(BOTH, figure)
    drag(page, figure)
    page.wait_for_function(f"whole => String(({BOTH})('{figure}')) !== String(whole)", arg=whole)
    settled(page)
    zoomed = page.evaluate(BOTH, figure)
    assert not set(whole) & set(zoomed)
    mine.take([block(tmp_path, f"HM214-9901{minute}", f"2026-10-26T06:{minute}:00+01:00")])
    page.wait_for_function(
        f"() => document.querySelector('#as-of').innerText.includes('06:{minute}')", timeout=WITHIN_MS
    )
    settled(page)
    assert page.evaluate(BOTH, figure) == zoomed


@pytest.mark.browser
def test_what_a_person_folded_or_unfolded_stays_so_while_new_rows_come_in(look, mine, address, tmp_path):
    page = look(address).page
    page.goto(address + "/signals")
    folds = page.locator("#signals-causes details")
    folds.nth(1).wait_for(timeout=30_000)
    settled(page)
    folds.nth(0).locator("summary").click()
    folds.nth(1).locator("summary").click()
    opened = "() => [...document.querySelectorAll('#signals-causes details')].map(one => one.open)"
    left = page.evaluate(opened)
    assert left[:2] == [False, True]
    page.evaluate("() => { document.querySelector('#signals-causes details').dataset.seen = 'before'; }")
    mine.take([block(tmp_path, "HM214-990107", "2026-10-26T06:26:00+01:00")])
    anew = "() => document.querySelector('#signals-causes details').dataset.seen !== 'before'"
    page.wait_for_function(anew, timeout=WITHIN_MS)
    settled(page)
    assert page.evaluate(opened) == left


@pytest.mark.browser
def test_what_is_folded_costs_no_answer_when_new_rows_come_in_and_follows_them_once_open(
    look, mine, address, tmp_path
):
    page, asked = look(address).page, []
    page.on(
        "request", lambda one: asked.append(one.post_data_json["output"]) if "/_dash-up" in one.url else 0
    )

    def asked_by_a_batch(minute: int) -> str:
        asked.clear()
        mine.take([block(tmp_path, f"HM214-9902{minute}", f"2026-10-26T06:{minute}:00+01:00")])
        page.wait_for_function(f"() => document.querySelector('#as-of').innerText.includes('06:{minute}')")
        settled(page)
        return " ".join(asked)

    page.goto(address + "/stream")
    page.wait_for_selector("#stream-words *", timeout=30_000)
    settled(page)
    button, folded = (
        page.locator("#stream-ribbon-table"),
        ("freeze-proposed", "audited-lead", "-data.children"),
    )
    assert button.get_attribute("aria-expanded") == "false"
    closed = asked_by_a_batch(28)
    assert "stream-ribbon.figure" in closed
    assert not [one for one in folded if one in closed]
    button.click()
    for fold in page.locator("details[data-tells]").all():
        fold.locator("summary").click()
    page.wait_for_selector("#stream-ribbon-data table")
    page.wait_for_function("() => document.querySelector('#freeze-proposed').innerText.length > 0")
    assert button.get_attribute("aria-expanded") == "true"
    opened = asked_by_a_batch(29)
    assert [one for one in folded if one in opened] == list(folded)
    assert opened.count("-data.children") == 1
    button.click()
    page.wait_for_selector("#stream-ribbon-data table", state="detached")
    assert button.get_attribute("aria-expanded") == "false"


@pytest.mark.browser
def test_a_half_written_answer_stays_while_new_rows_come_in(look, mine, address, tmp_path):
    page = look(address).page
    page.goto(address + "/signals")
    page.wait_for_selector("#signals-cause", state="visible", timeout=30_000)
    settled(page)
    heading = page.inner_text("#signals-heading")
    page.fill("#signals-cause", "gauge zero")
    page.focus("#signals-action")
    page.keyboard.type("zeroed on ")
    mine.take([block(tmp_path, "HM214-990002", "2026-10-26T06:33:00+01:00")])
    page.wait_for_function(
        "() => document.querySelector('#as-of').innerText.includes('06:33')", timeout=WITHIN_MS
    )
    settled(page)
    page.keyboard.type("the ring")
    assert page.input_value("#signals-cause") == "gauge zero"
    assert page.input_value("#signals-action") == "zeroed on the ring"
    assert page.inner_text("#signals-heading") == heading


@pytest.mark.browser
def test_a_sheet_that_is_written_anew_is_told_on_a_page_that_is_open(look, small, small_address):
    page, sheet = look(small_address).page, small.folder / "cell.toml"
    page.goto(small_address + "/files")
    page.wait_for_function(SHEET_SAYS, arg="The sheet on disk is in force", timeout=60_000)
    settled(page)
    before = sheet.read_text(encoding="utf-8")
    assert "upper = 50.010" in before
    sheet.write_text(before.replace("upper = 50.010", "upper = 50.006"), encoding="utf-8")
    try:
        page.wait_for_function(SHEET_SAYS, arg="50.01 in force, 50.006 on disk", timeout=60_000)
    finally:
        sheet.write_text(before, encoding="utf-8")
    page.wait_for_function(SHEET_SAYS, arg="The sheet on disk is in force", timeout=60_000)


@pytest.mark.browser
def test_what_is_committed_before_a_page_first_asks_is_told_on_it(look, small, small_address):
    page, held = look(small_address).page, []

    def hold(one) -> None:
        held.append(one)

    page.route("**/pulse", hold)
    page.goto(small_address + "/files")
    page.wait_for_selector("#files-sheet-differs *", timeout=60_000)
    settled(page)
    sheet = small.folder / "cell.toml"
    before = sheet.read_text(encoding="utf-8")
    sheet.write_text(before.replace("upper = 50.010", "upper = 50.007"), encoding="utf-8")
    try:
        assert held
        page.unroute("**/pulse", hold)  # and those held go on
        page.wait_for_function(SHEET_SAYS, arg="50.01 in force, 50.007 on disk", timeout=WITHIN_MS)
    finally:
        sheet.write_text(before, encoding="utf-8")


WRONG_CLOCK = """Date.now = ((plain) => () => plain() + 5400000)(Date.now);
    window.Date = new Proxy(Date, {
        construct: (made, given) => new made(...(given.length ? given : [Date.now()])) });"""
"""The clock of a tablet that is an hour and a half ahead."""


@pytest.mark.browser
def test_a_store_that_is_away_is_said_in_words_and_is_noticed_when_it_is_back(look, mine, address):
    page = look(address).page
    page.add_init_script(WRONG_CLOCK)
    page.goto(address + "/")
    page.wait_for_selector(".spindle .sentence", timeout=30_000)
    settled(page)
    before, zone = page.inner_text(".spindles"), ZoneInfo(mine.sheet.cell.timezone)
    store, away = mine.folder / "cell.db", mine.folder / "away.db"
    store.rename(away)
    try:
        page.wait_for_selector("#bar:not([hidden])", timeout=WITHIN_MS)
        said, now = page.inner_text("#bar"), datetime.now(zone)
        since = [f"since {now - timedelta(minutes=ago):%H:%M}:" for ago in range(3)]
        assert any(f"The store cannot be read {one}" in said for one in since), "by the clock of the cell"
        assert "is not there" in said
        assert page.inner_text(".spindles") == before, "what was shown stays"
        assert not store.exists(), "nobody made an empty one in its place"
    finally:
        away.rename(store)
    page.wait_for_selector("#bar[hidden]", state="attached", timeout=WITHIN_MS)
    settled(page)
    assert page.inner_text(".spindles") == before


@pytest.mark.browser
def test_a_page_outlives_its_server_and_goes_where_it_was_sent_meanwhile(look, mine):
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    first = Server(mine.folder, port)
    watched = look(first.address)
    page = watched.page
    try:
        page.goto(first.address + "/")
        page.wait_for_selector(".spindle .sentence", timeout=30_000)
        settled(page)
    finally:
        first.stop()
    page.wait_for_selector("#bar:not([hidden])", timeout=WITHIN_MS)
    assert "No answer since" in page.inner_text("#bar")
    page.click("#nav >> text=Gauge")
    page.wait_for_timeout(500)
    assert page.locator("._dash-error-menu, .dash-debug-menu, .dash-error-card").count() == 0
    again = Server(mine.folder, port)
    try:
        page.wait_for_selector("#bar[hidden]", state="attached", timeout=30_000)
        page.wait_for_function(
            "() => document.querySelector('#gauge-sentence')?.innerText.length > 0", timeout=30_000
        )
        settled(page)
    finally:
        page.goto("about:blank")
        again.stop()
    refused = ("ERR_CONNECTION_REFUSED", "did not respond", "ERR_CONNECTION_RESET", "ERR_EMPTY_RESPONSE")
    watched.complaints[:] = [c for c in watched.complaints if not any(word in c for word in refused)]


class Server:
    """`cellmon serve` in a process of its own."""

    def __init__(self, folder: Path, port: int) -> None:
        command = [sys.executable, "-u", "-m", "cellmon", "serve", "--cell", str(folder), "--port", str(port)]
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        assert self.process.stdout is not None
        said = self.process.stdout.readline()
        self.address = said.split()[1].rstrip("/")

    def stop(self) -> None:
        """End it."""
        self.process.terminate()
        self.process.wait(timeout=20)
        if self.process.stdout:
            self.process.stdout.close()


def test_the_pulse_says_the_newest_commit_or_why_there_is_no_answer():
    from cellmon.errors import StoreRefused

    class Away(StandIn):
        def last_change(self) -> int:
            raise StoreRefused("the store is not there")

    assert pulse(StandIn()) == {"change": StandIn().last_change(), "gone": None}
    assert pulse(Away()) == {"change": None, "gone": "the store is not there"}


REDRAWN = """([where, n]) => {
    window.pressed = document.querySelectorAll(where)[n];
    window.dash_clientside.set_props('change', { data: Math.random() });
}"""
CHOSEN = "([where, n]) => document.querySelectorAll(where)[n]?.closest('li').className.includes('here')"


@pytest.mark.browser
@pytest.mark.parametrize(
    ("served", "path", "entries"),
    [
        ("address", "/signals", "#signals-list li a"),
        ("small_address", "/files", "#files-doubts-list li button"),
    ],
)
def test_a_press_on_an_entry_counts_while_its_list_is_drawn_anew(look, request, served, path, entries):
    address = request.getfixturevalue(served)
    page = look(address).page
    page.goto(address + path)
    page.wait_for_selector(entries, timeout=60_000)
    settled(page)
    for n in (1, 0, 1):
        page.locator(entries).nth(n).hover(position={"x": 20, "y": 12})
        page.mouse.down()
        page.evaluate(REDRAWN, [entries, n])
        page.wait_for_function("() => !window.pressed.isConnected", timeout=60_000)
        page.mouse.up()
        page.wait_for_function(CHOSEN, arg=[entries, n], timeout=60_000)

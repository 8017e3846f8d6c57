"""Three people at their tasks, end to end in a real Chromium: what each sees, and what the journal says."""

from __future__ import annotations

import shutil
from datetime import timedelta
from pathlib import Path

import pytest

import cellmon
from dashboards import theme
from dashboards.pages import stone_words
from tests.dashboards.test_files_in_browser import DROP

pytestmark = pytest.mark.browser
LONG = 90_000
"""Milliseconds: a machine that does much else at the same time is slow, and right all the same."""
HEAD = "part,bore,spindle,measured_at,plane,direction,deviation_um"
LATE = "HM214-990001,1,S1,2026-10-26T07:00:00+01:00,top,x,"


@pytest.fixture(scope="module")
def monitor(demo_week, tmp_path_factory):
    """The demo's week, with everything that was logged in it."""
    folder = tmp_path_factory.mktemp("journeys") / "cell"
    shutil.copytree(demo_week, folder)
    return cellmon.open_cell(folder)


@pytest.fixture(scope="module")
def address(monitor, serve):
    return serve(monitor)


@pytest.fixture
def visit(look, address):
    """Return a function that opens a page of that cell; whatever its console says fails the test."""

    def start(path, wait, *size):
        page = look(address, *size).page
        page.set_default_timeout(LONG)
        page.goto(address + path)
        page.wait_for_selector(wait)
        return page

    return start


def says(page, where, *words):
    """Wait until all these words stand in one place of a page."""
    page.wait_for_function(
        "([where, words]) => { const said = document.querySelector(where)?.innerText || '';"
        " return words.every(w => said.includes(w)); }",
        arg=[where, list(words)],
    )


def empty(page, *fields):
    """Wait until nothing stands in these fields any more."""
    page.wait_for_function("fields => fields.every(f => document.querySelector(f).value === '')", arg=fields)


def last_entry(monitor, kind):
    """Return the newest decision of a kind; the chain of the journal must be whole."""
    journal = monitor.journal()
    assert journal.whole
    return next(e for e in reversed(journal.entries) if e.kind == kind)


def test_the_machinist_sees_the_spindle_answers_its_signal_and_releases_first_bores(visit, monitor):
    page = visit("/", ".spindle .sentence", 1024, 768)
    worst = next(s for s in monitor.now().spindles if s.status.value in ("stop", "look"))
    says(page, "#now-spindles", f"{worst.spindle} · {worst.status.value}")
    page.wait_for_selector("#now-block .main-svg")
    link = page.locator(".spindle", has_text=f"{worst.spindle} ·").locator(".ahead a[href^='/signals']").first
    said = link.inner_text()
    link.click()
    says(page, "#signals-heading", said[1:])
    wanted = page.url.rpartition("=")[2]

    page.fill("#signals-by", "M. Orr")
    page.click("#signals-seen")
    says(page, "#signals-said", "Kept", "M. Orr")
    page.fill("#signals-cause", "coolant ran warm")
    page.fill("#signals-action", "re-measured, then zeroed on the ring")
    page.click("#signals-answer")
    says(page, "#signals-facts", "zeroed on the ring", "M. Orr")
    empty(page, "#signals-cause", "#signals-action")
    says(page, "#signals-said", "Kept", "zeroed on the ring")
    answered = next(s for s in monitor.signals().signals if s.id == wanted)
    assert (answered.state, answered.owner) == ("answered", "M. Orr")
    assert answered.response.cause == "coolant ran warm"
    kept = [e for e in monitor.journal().entries if e.subject == wanted]
    assert [e.by for e in kept] == ["M. Orr", "M. Orr"], "seen, then answered"

    page.click("nav >> text=Now")
    page.click(f".spindle:has-text('{worst.spindle} ·') .ahead a[href='#first-bores']")
    page.wait_for_selector("#first-bores[open] #first-bores-release")
    page.click(f"#first-bores-spindle >> text={worst.spindle}")
    page.fill("#first-bores-by", "M. Orr")
    page.fill("#first-bores-why", "sizes as before the change")
    page.click("#first-bores-release")
    says(page, "#first-bores-said", f"{worst.spindle} released by M. Orr")
    check = next(c for c in monitor.first_bores().checks if c.spindle == worst.spindle)
    assert check.released_by == "M. Orr"
    assert last_entry(monitor, "set-up").why == "sizes as before the change"

    page.click(f".due >> text=Log stones of {worst.spindle}")
    page.wait_for_function(
        "() => { const box = document.querySelector('#stones-log-box');"
        " const top = box ? box.getBoundingClientRect().top : -1; return top >= 0 && top < 100; }"
    )
    page.wait_for_selector(f"#stones-log-spindle label:has-text('{worst.spindle}') input:checked")


def test_the_quality_lead_reads_a_shift_freezes_limits_signs_a_claim_and_decides_a_part(visit, monitor):
    page = visit("/shifts", "#shifts-heading a")
    says(page, "#shifts-sentence", monitor.shifts().sentence[:40])
    loudest = page.locator("#shifts-called a[href*='shift=']").first
    named = loudest.inner_text()
    loudest.click()
    says(page, "#shifts-sentence", f"{named}: ", "signal")
    says(page, "#shifts-shift", named)
    the_paper_is_saved(page, "#shifts-handover-pdf", "shift-2026-10-")
    page.click("summary >> text=Compare two shifts")
    page.click("#against-kind label >> text=spindles")
    says(page, "#against-second", "S2")
    page.click("#against-press")
    says(page, "#against-sentence", "Spindle S2 against spindle S1")
    page.wait_for_selector("#against-lines .main-svg .trace")
    page.click("#shifts-heading a")
    page.wait_for_selector("#stream-ribbon .main-svg")
    page.click("summary >> text=Freeze the limits")
    says(page, "#freeze-proposed", "In force", "A freeze now would set")
    page.click("#freeze-now")
    says(page, "#freeze-said", "Say who freezes")
    page.fill("#freeze-by", "R. Hale")
    page.fill("#freeze-why", "new stones since Monday")
    page.click("#freeze-now")
    says(page, "#freeze-said", "frozen by R. Hale", "new stones since Monday")
    says(page, "#freeze-proposed", "frozen by R. Hale")
    empty(page, "#freeze-why")
    entry = last_entry(monitor, "freeze")
    assert (entry.by, entry.why) == ("R. Hale", "new stones since Monday")

    page.click("nav >> text=Claims")
    page.wait_for_selector("#claims-edges .main-svg")
    says(page, "#claims-sentence", monitor.capability(feature="diameter").sentence[:40])
    a_claim_is_chosen_signed_found_again_and_handed_over(page, monitor)
    a_held_part_is_decided(page, monitor)


def a_held_part_is_decided(page, monitor) -> None:
    """From the block to its hold list, wrongly first, and found again on the block and in the journal."""
    signal, held = next(
        (s.id, parts[0].part)
        for s in monitor.signals().signals
        if (parts := monitor.hold(s.id).parts) and s.id in monitor.part(parts[0].part).signals
    )
    page.goto(page.url.split("/claims")[0] + f"/part?serial={held}")
    says(page, "#part-held", "Nothing decided yet", signal)
    page.click(f"#part-held a[href*='{signal}&part={held}']")
    says(page, "#signals-hold", "Hold")
    assert page.input_value("#signals-named") == held
    assert page.is_checked("#signals-which >> text=named here")
    the_paper_is_saved(page, "#signals-table-pdf", "signals-2026-10-")
    page.click("#signals-as >> text=reworked")
    page.fill("#signals-named", "nobody")
    page.fill("#signals-hold-by", "R. Hale")
    page.fill("#signals-why", "honed again, inside")
    page.click("#signals-release")
    says(page, "#signals-released", "Not on this hold list, which goes from", "nobody.")
    page.fill("#signals-named", held)
    page.click("#signals-release")
    says(page, "#signals-released", "1 part: reworked, by R. Hale")
    empty(page, "#signals-named", "#signals-why")
    assert page.locator("#signals-as input:checked").count() == 0
    page.go_back()
    says(page, "#part-held", "Reworked by R. Hale", "honed again, inside")
    became = {p.disposition for p in monitor.hold(signal).parts if p.part == held}
    assert became == {"reworked"}
    entry = last_entry(monitor, "release")
    assert (entry.by, entry.why) == ("R. Hale", "honed again, inside")
    page.click("nav >> text=Shifts")
    page.click("summary >> text=The journal")
    says(page, "#decided-newest", "each as it was written", "1 part: reworked", "honed again, inside", signal)


def the_paper_is_saved(page, button, begins) -> None:
    """Press a button, and hold what comes to be a paper of that name."""
    with page.expect_download() as saved:
        page.click(button)
    assert saved.value.suggested_filename.startswith(begins)
    paper = Path(saved.value.path()).read_bytes()
    assert paper.startswith(b"%PDF") and len(paper) > 5_000


def a_claim_is_chosen_signed_found_again_and_handed_over(page, monitor) -> None:
    """The feature, its sentence, the signature by name, and each place where it is found again."""
    choose_taper(page)
    says(page, "#claims-sentence", monitor.capability(feature="taper").sentence[:60])
    page.click("summary >> text=Sign the figures")
    page.fill("#claims-why", "for the submission")
    page.click("#claims-sign")
    says(page, "#claims-said", "Say who signs the figures")
    page.fill("#claims-by", "R. Hale")
    page.click("#claims-sign")
    says(page, "#claims-said", "Signed by R. Hale", "The figures of", "support the claim")
    empty(page, "#claims-why")
    entry = last_entry(monitor, "state")
    assert (entry.by, entry.why) == ("R. Hale", "for the submission")
    signed = "R. Hale, " + page.inner_text("#claims-said").split("R. Hale, ")[1].split(". ")[0]
    page.reload()
    says(page, "#claims-listed", signed)  # the address holds the feature
    page.goto(page.url.split("?")[0])
    says(page, "#claims-sentence", "support the claim")
    assert signed not in page.inner_text("#claims-listed"), "of another feature nobody signed anything"
    choose_taper(page)
    says(page, "#claims-listed", signed)
    says(page, "#claims-words", signed)
    with page.expect_download() as saved:
        page.click("#claims-listed-csv")
    assert signed in Path(saved.value.path()).read_text(encoding="utf-8")
    assert saved.value.suggested_filename == f"cellmon-claims-listed-taper-{as_of(monitor)}.csv"
    with page.expect_download() as saved:
        page.click("#claims-edges-svg")
    shown = theme.file_words(page.url.partition("?")[2])
    assert saved.value.suggested_filename == f"cellmon-claims-edges-{shown}-{as_of(monitor)}.svg"
    with page.expect_download() as saved:
        page.click("#claims-pdf")
    paper = Path(saved.value.path()).read_bytes()
    assert paper.startswith(b"%PDF") and len(paper) > 20_000
    assert saved.value.suggested_filename.startswith("capability-taper-")


def as_of(monitor) -> str:
    """Return the moment of every answer, as files are named."""
    return f"{monitor.waiting_signals().as_of:%Y-%m-%dT%H%M}"


def choose_taper(page) -> None:
    """Choose the feature."""
    page.wait_for_selector("#claims-edges .main-svg")
    page.click("#claims-feature")
    page.click(".dash-dropdown-content >> text=taper")
    says(page, "#claims-feature", "taper")
    says(page, "#claims-listed", "taper")


def test_the_planner_moves_a_figure_logs_a_dressing_saves_the_orders_and_corrects_a_row(visit, monitor):
    page = visit("/stones", "#stones-lines .main-svg")
    says(page, "#stones-sentence", stone_words.first_words(monitor.stone_picture().stones)[:40])
    field = page.locator("#stones-what-if-fields input[inputmode=decimal]").first
    field.wait_for()
    says(page, "#stones-what-if-sentence", "Nothing is changed")
    field.fill("900")
    field.press("Enter")
    says(page, "#stones-what-if-sentence", "With these figures:")

    dressed = count(monitor, "stones-dressed")
    page.click("#stones-log-what >> text=stones were dressed")
    page.click("#stones-log-spindle >> text=S1")
    when = monitor.now().as_of - timedelta(minutes=1)
    page.fill("#stones-log-when", f"{when:%Y-%m-%d %H:%M}")
    page.fill("#stones-log-by", "P. Lund")
    page.click("#stones-log-log")
    page.wait_for_function(
        "() => document.querySelector('#stones-log-said').innerText"
        " || document.querySelector('#stones-log-asked').innerText"
    )
    if page.is_visible("#stones-log-sure"):
        page.click("#stones-log-sure")
    says(page, "#stones-log-said", "Logged", "S1")
    assert count(monitor, "stones-dressed") == dressed + 1
    with page.expect_download() as saved:
        page.click("#stones-orders-csv")
    orders = Path(saved.value.path()).read_text(encoding="utf-8")
    assert "kind" in orders.splitlines()[0] and len(orders.splitlines()) > 1

    page.click("nav >> text=Files")
    page.wait_for_selector("#files-upload button")
    page.evaluate(DROP, [f"{HEAD}\n{LATE}1l.5\n", "hand.csv", 0])
    says(page, "#files-said", "hand.csv", "1 set aside")
    page.click("#files-rows-list button >> text=hand.csv")
    page.wait_for_function("() => document.querySelector('#files-row-text').value.includes('1l.5')")
    page.fill("#files-row-text", f"{LATE}11.5")
    page.fill("#files-row-by", "P. Lund")
    page.fill("#files-row-why", "an l for a 1")
    page.click("#files-row-take")
    says(page, "#files-row-said", "Taken as P. Lund wrote it")
    row = next(r for r in monitor.aside(waiting=False).rows if r.file == "hand.csv")
    assert (row.state, row.corrected.by) == ("taken", "P. Lund")
    assert last_entry(monitor, "take-row").why == "an l for a 1"
    page.wait_for_selector("#files-row-facts a[href='/part?serial=HM214-990001']")
    seen = """() => { const box = document.querySelector('#files-row-said').getBoundingClientRect();
      return box.top >= 0 && box.bottom <= innerHeight; }"""
    page.wait_for_function(seen)  # also where the form above it was taken away


def count(monitor, event):
    """Return how often something was logged."""
    return sum(e.kind == event for s in monitor.streams()[:1] for e in events_of(monitor, s))


def events_of(monitor, stream):
    """Return what happened to a stream's spindle in all its time."""
    first = monitor.shifts().known[0].starts
    named = {"spindle": stream.spindle, "bore": stream.bore, "feature": stream.feature}
    return monitor.stream(**named, since=first).events


def test_quick_keys_on_a_choice_pick_the_first_found_and_the_address_leads_another_there(visit, address):
    page = visit("/claims", "#claims-edges .main-svg")
    page.focus("#claims-feature")
    for key in ("t", "a", "p", "ArrowDown", "Enter"):
        page.keyboard.press(key)
    says(page, "#claims-feature", "taper")
    says(page, "#claims-heading", "taper")
    page.wait_for_url("**feature=taper**")
    page.focus("#claims-stream")
    for key in ("Enter", "S", "2", "ArrowDown", "Enter"):
        page.keyboard.press(key)
    says(page, "#claims-heading", "S2 bore 3 taper")
    page.wait_for_url("**spindle=S2&bore=3**")
    other = visit(page.url.removeprefix(address), "#claims-edges .main-svg")
    says(other, "#claims-feature", "taper")
    says(other, "#claims-heading", "S2 bore 3 taper")
    page.go_back()
    page.wait_for_function("() => !document.querySelector('#claims-heading').innerText.includes('bore 3')")
    says(page, "#claims-heading", "taper")


def test_quick_keys_pick_the_first_found_although_the_list_moves_the_focus_meanwhile(visit):
    page = visit("/claims?feature=taper", "#claims-edges .main-svg")
    says(page, "#claims-heading", "taper")
    page.evaluate("""() => document.addEventListener('input', () => requestAnimationFrame(() =>
        [...document.querySelectorAll('.dash-options-list-option-checkbox')].at(-1)?.focus()))""")
    page.focus("#claims-stream")
    for key in ("Enter", "S", "2", "ArrowDown", "Enter"):
        page.keyboard.press(key)
    says(page, "#claims-heading", "S2 bore 3 taper")


def test_in_a_narrow_window_the_signal_that_is_opened_comes_into_sight_and_so_does_its_entry(visit, monitor):
    waiting = [s.id for s in monitor.signals().signals if s.state == "open"]
    page = visit(f"/signals?signal={waiting[0]}", "#signals-list li.here", 360, 740)
    seen = """where => { const box = document.querySelector(where).getBoundingClientRect();
        return box.top >= -1 && box.top < innerHeight; }"""
    page.wait_for_function(seen, arg="#signals-heading")
    inside = """() => { const box = document.querySelector('#signals-list').getBoundingClientRect();
        const one = document.querySelector('#signals-list li.here').getBoundingClientRect();
        return one.top >= box.top - 1 && one.top < box.bottom; }"""
    page.wait_for_function(inside)
    page.evaluate("scrollTo(0, 0)")
    page.locator(f"#signals-list a[href$='{waiting[-1]}']").click()
    page.wait_for_function(seen, arg="#signals-heading")

"""A sign-in that ends while a form is half written: it is said, nothing is lost, and one goes on there."""

from __future__ import annotations

import time
from collections.abc import Iterator
from datetime import timedelta

import pytest

from cellmon.people import Role
from dashboards import gate, sign_ins
from dashboards.reached import reached
from tests.dashboards.serving import dashboard
from tests.dashboards.test_bore_in_browser import WIDE, AtTheBore
from tests.dashboards.test_files_in_browser import DROP
from tests.dashboards.test_journeys import HEAD, LATE, last_entry, says
from tests.dashboards.test_live import settled
from tests.dashboards.test_people_in_browser import WORDS, sign_in
from tests.monitor.hand_cell import hand_cell

pytestmark = pytest.mark.browser
LONG = 60_000
NOT_KEPT = "Not kept: nobody is signed in."
WHO = "M. Osei"


class Clock:
    """The clock of the gate, moved by a test."""

    ahead = 0.0

    def __call__(self) -> float:
        return time.time() + self.ahead


@pytest.fixture(scope="module")
def clock() -> Iterator[Clock]:
    with pytest.MonkeyPatch.context() as patch:
        found = Clock()
        patch.setattr(gate.Gate.__init__, "__kwdefaults__", {"clock": found})
        yield found


@pytest.fixture(scope="module")
def monitor(make_cell, quick):
    made = make_cell()
    made.add_person(WHO, role=Role.DECIDE, password=WORDS, by="test")
    made.add_person("R. Hale", role=Role.ANSWER, password=WORDS, by="test")
    return made


@pytest.fixture(scope="module")
def address(monitor, clock):
    with dashboard(monitor, how=reached("127.0.0.1", sign_in=True)) as address:
        yield address


@pytest.fixture
def desk(look, address):
    """Return a function that opens a page as somebody who has just signed in."""
    seen = []

    def start(path: str, wait: str):
        seen.append(look(address))
        page = seen[-1].page
        page.set_default_timeout(LONG)
        page.goto(f"{address}/sign-in?next={path}")
        sign_in(seen[-1], WHO)
        page.wait_for_selector(wait, state="visible")
        settled(page)
        return page

    yield start
    for watched in seen:
        watched.page.goto("about:blank")  # an open page goes on asking
        watched.complaints[:] = [c for c in watched.complaints if "401" not in c]


def ended(clock: Clock) -> None:
    """Let every sign-in end by time, as when somebody was called away."""
    clock.ahead += sign_ins.IDLE_S + 1


def pressed_in_vain_and_again(page, clock: Clock, button: str, said: str, *kept: str) -> None:
    """Press a button once the sign-in has ended, sign in at the foot by keys alone, and press once more."""
    written = page.evaluate(STANDS)
    ended(clock)
    page.focus(button)
    page.keyboard.press("Enter")
    says(page, said, NOT_KEPT)
    says(page, "#bar-said", "Signed out since", "What is written on this page stays")
    page.wait_for_function("() => document.activeElement.name === 'password'")
    assert page.input_value("#bar [name=name]") == WHO
    page.keyboard.type("two dull stones")
    page.keyboard.press("Enter")
    says(page, "#bar", "There is no such name with this password.")
    page.keyboard.type(WORDS)
    page.keyboard.press("Enter")
    page.wait_for_selector("#bar", state="hidden")
    settled(page)
    assert page.evaluate("() => `#${document.activeElement.id}`") == button, "back where the press was"
    assert page.evaluate(STANDS) == written
    page.keyboard.press("Enter")
    says(page, said, *kept)


STANDS = """() => [...document.querySelectorAll('main input')].filter(one => one.offsetParent)
    .map(one => [one.id, one.type === 'radio' || one.type === 'checkbox' ? one.checked : one.value].join())"""
"""What stands in every field that is seen."""


def test_an_answer_and_a_decision_about_held_parts(desk, clock, monitor):
    signal = next(s for s in reversed(monitor.signals().signals) if monitor.hold(s.id).parts)
    page = desk(f"/signals?signal={signal.id}", "#signals-cause")
    page.fill("#signals-cause", "gauge zero was off")
    page.fill("#signals-action", "zeroed on the ring")
    pressed_in_vain_and_again(
        page, clock, "#signals-answer", "#signals-said", "Kept", "zeroed on the ring", WHO
    )
    held = monitor.hold(signal.id).parts[0].part
    page.click("#signals-which >> text=named here")
    page.click("#signals-as >> text=reworked")
    page.fill("#signals-named", held)
    page.fill("#signals-why", "honed again, inside")
    pressed_in_vain_and_again(
        page, clock, "#signals-release", "#signals-released", f"1 part: reworked, by {WHO}"
    )
    assert last_entry(monitor, "release").why == "honed again, inside"


def test_limits_that_are_to_be_frozen(desk, clock, monitor):
    page = desk("/stream?spindle=S2%26bore=3%26feature=taper", "#freeze-here summary")
    page.click("summary >> text=Freeze the limits")
    page.fill("#freeze-why", "new stones since Monday")
    pressed_in_vain_and_again(page, clock, "#freeze-now", "#freeze-said", f"frozen by {WHO}")
    assert last_entry(monitor, "freeze").why == "new stones since Monday"


def test_figures_that_are_to_be_signed(desk, clock):
    page = desk("/claims", "#claims-edges .main-svg")
    page.click("summary >> text=Sign the figures")
    page.fill("#claims-why", "for the submission")
    pressed_in_vain_and_again(page, clock, "#claims-sign", "#claims-said", WHO)


def test_a_dressing_that_is_to_be_logged(desk, clock, monitor):
    page = desk("/stones", "#stones-log-what")
    page.click("#stones-log-what >> text=stones were dressed")
    page.click("#stones-log-spindle >> text=S1")
    page.fill("#stones-log-when", f"{monitor.now().as_of - timedelta(minutes=1):%Y-%m-%d %H:%M}")
    pressed_in_vain_and_again(page, clock, "#stones-log-log", "#stones-log-box", "S1")


def test_a_file_that_is_dropped_can_be_dropped_again(desk, clock):
    page = desk("/files", "#files-upload button")
    ended(clock)
    dropped = [f"{HEAD}\n{LATE}11.5\n", "hand.csv", 0]
    page.evaluate(DROP, dropped)
    says(page, "#files-said", "Nothing was taken: nobody is signed in.", "hand it over again")
    page.wait_for_function("() => document.activeElement.name === 'password'")
    page.keyboard.type(WORDS)
    page.keyboard.press("Enter")
    page.wait_for_selector("#bar", state="hidden")
    page.evaluate(DROP, dropped)
    says(page, "#files-said", "hand.csv", "1 taken")


def test_a_sign_in_that_is_about_to_end_is_said_before_and_holds_while_somebody_writes(desk, clock):
    page = desk("/signals", "#signals-cause")
    clock.ahead += sign_ins.IDLE_S - 60
    says(page, "#bar-said", f"The sign-in of {WHO} ends at", "unless this page or a key is touched")
    page.focus("#signals-cause")
    page.keyboard.type("coolant")
    page.wait_for_selector("#bar", state="hidden")
    clock.ahead += sign_ins.IDLE_S - 60
    says(page, "#bar-said", "ends at")
    clock.ahead += 61
    says(page, "#bar-said", "Signed out since")
    page.fill("#bar [name=name]", "R. Hale")
    page.fill("#bar [name=password]", WORDS)
    page.click("#bar button")
    says(page, "#bar-said", "R. Hale is signed in now")
    page.wait_for_function("() => document.querySelector('#signals-by').value === 'R. Hale'")
    assert page.input_value("#signals-cause") == "coolant"
    page.click("nav >> text=Gauge")
    page.wait_for_selector("#bar", state="hidden")
    says(page, "#nav", "R. Hale: sign out")
    clock.ahead += sign_ins.LONGEST_S - 60
    says(page, "#bar-said", "Signed out since")


def test_figures_typed_at_the_bore_are_kept_once_somebody_signs_in_again(look, clock, quick, tmp_path):
    bench = hand_cell(tmp_path, sheet=WIDE)
    bench.add_person(WHO, role=Role.DECIDE, password=WORDS, by="test")
    with dashboard(bench, how=reached("127.0.0.1", sign_in=True)) as address:
        watched = look(address, 1024, 768)
        at = AtTheBore(watched.page)
        at.page.goto(f"{watched.address}/bore")
        sign_in(watched, WHO)
        at.says("main .lead", "type the serial")
        at.page.focus("#bore-serial")
        at.enter("K-7")
        for place, figure in (
            ("Gauge on its master", "+0.5"),
            ("Master,", ""),
            ("Larger than the master", ""),
        ):
            at.asks(place)
            at.enter(figure)
        at.asks("The gauge on it")
        ended(clock)
        at.enter("+10")
        at.says("#bar-said", "Signed out since")
        at.page.fill("#bar [name=password]", WORDS)
        at.page.click("#bar button")
        at.page.wait_for_selector("#bar", state="hidden")
        at.asks("Part")
        assert [one.state for one in bench.bore(part="K-7", bore="1").zero_checks] == ["as-found"]
        watched.page.goto("about:blank")
    watched.complaints[:] = [c for c in watched.complaints if "401" not in c]

"""By keyboard alone: to the page and its choices, along a list, through an answer, around a drawing."""

from __future__ import annotations

import pytest

from tests.dashboards.test_accessible import MOST_STOPS, opened
from tests.dashboards.test_live import settled


@pytest.fixture(scope="module")
def address(cell, serve) -> str:
    return serve(cell)


@pytest.mark.browser
def test_the_keyboard_alone_skips_to_the_page_and_reaches_a_choice(look, address):
    page = opened(look, address, "/stream?spindle=S1&bore=1&feature=diameter")
    page.keyboard.press("Tab")
    assert page.evaluate("() => document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    assert page.evaluate("() => document.activeElement.id") == "stream-stream"
    ring = page.evaluate("() => getComputedStyle(document.activeElement).outlineWidth")
    assert ring == "3px"
    page.keyboard.press("Enter")
    page.wait_for_selector(".dash-dropdown-content")
    page.keyboard.press("Escape")
    page.wait_for_function("() => document.activeElement.id === 'stream-stream'")
    page.keyboard.press("Tab")
    assert page.evaluate("() => document.activeElement.name") == "stream-span"
    page.keyboard.press("ArrowRight")
    assert page.evaluate("() => document.activeElement.value") != "two"


RANGE = """() => document.querySelector('#signals-ribbon .js-plotly-plot')._fullLayout.xaxis.range.map(
    one => +new Date(one))"""
HEADING = "() => document.querySelector('#signals-heading').innerText"


def tabbed(page, where: str) -> None:
    """Press Tab until something has the focus."""
    for _ in range(MOST_STOPS):
        page.keyboard.press("Tab")
        if page.evaluate("where => document.activeElement.matches(where)", where):
            return
    raise AssertionError(f"Tab never came to {where}")


@pytest.mark.browser
def test_the_keyboard_alone_goes_along_a_list_answers_a_signal_and_moves_a_drawing(look, make_cell, serve):
    monitor = make_cell()
    page = opened(look, serve(monitor), "/signals")
    first = page.evaluate(HEADING)
    tabbed(page, "#signals-list a")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    page.wait_for_function(f"first => ({HEADING})() !== first", arg=first)
    settled(page)
    for field, words in (("by", "R. Hale"), ("cause", "gauge zero"), ("action", "zeroed on the ring")):
        tabbed(page, f"#signals-{field}")
        page.keyboard.type(words)
    tabbed(page, "#signals-answer")
    page.keyboard.press("Space")
    page.wait_for_function("() => document.querySelector('#signals-said').innerText.startsWith('Kept')")
    settled(page)
    assert page.evaluate("() => document.activeElement.id") == "signals-answer"
    tabbed(page, ".picture")
    assert page.evaluate("() => getComputedStyle(document.activeElement, '::before').display") == "block"
    whole = page.evaluate(RANGE)
    page.keyboard.press("+")
    page.wait_for_function(f"was => ({RANGE})()[0] > was[0] && ({RANGE})()[1] < was[1]", arg=whole)
    page.keyboard.press("0")
    page.wait_for_function(f"was => String(({RANGE})()) === String(was)", arg=whole)

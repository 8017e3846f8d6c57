"""Every page by the open rules of axe-core, light and dark, from 360 to 2560 pixels, by keyboard alone.

The rules come with the package axe-playwright-python; only what it calls serious or critical fails.
"""

from __future__ import annotations

import re
from importlib.resources import files

import pytest

from dashboards import theme
from dashboards.app import PAGES
from tests.dashboards.test_live import settled

RULES = (files("axe_playwright_python") / "axe.min.js").read_text(encoding="utf-8")
FOUND = """only => axe.run(document, {resultTypes: ['violations'], ...(only && {runOnly: only})}).then(r =>
    r.violations.filter(v => ['serious', 'critical'].includes(v.impact))
     .map(v => v.id + ': ' + v.nodes.map(n => n.html.slice(0, 200)).join(' | ')))"""
SPOKEN = "() => document.querySelector('main [aria-live=polite]')?.textContent.length > 10"
WIDE = "() => document.documentElement.scrollWidth - document.documentElement.clientWidth"
SIDEWAYS = """() => [...document.querySelectorAll('main, main *')].filter(one =>
    one.clientWidth && one.scrollWidth > one.clientWidth + 1 && !one.querySelector('table')
    && ['auto', 'scroll'].includes(getComputedStyle(one).overflowX)).map(one => one.className)"""
"""What scrolls sideways in a box of its own and holds no table."""
WIDTHS = (360, 768, 1024, 1440, 2560)
COLOURS = """() => JSON.stringify([...document.querySelectorAll('.js-plotly-plot')].map(g =>
    JSON.stringify([g.data.map(({x, y, customdata, ...kept}) => kept), g.layout])))"""
STANDS = """() => {
    const one = document.activeElement, at = one.getBoundingClientRect();
    const around = one.parentElement, boxes = [one, around, around?.parentElement].filter(Boolean);
    const ringed = boxes.map(getComputedStyle).some(
        box => box.outlineStyle !== 'none' && parseFloat(box.outlineWidth) >= 3);
    const thumb = one.matches('[role=slider]');
    const seen = at.width > 1 && at.height > 1 && at.bottom > 0 && at.top < innerHeight;
    const place = [at.x, at.y + scrollY].map(Math.round);
    const named = [one.tagName, one.id, one.textContent.trim().slice(0, 30), ...place];
    return one === document.body ? null : [named.join(' '), seen && (ringed || thumb)];
}"""
"""What has the focus, and whether it is seen with a ring around it."""
MOST_STOPS = 75
NAMES = [page.NAME for page in PAGES]
DRAWN = "id => (document.querySelector(`#${id} .js-plotly-plot`)?.data || []).length > 0"
FIGURES = {
    "/": "now-block",
    "/signals": "signals-ribbon",
    "/shifts": "shifts-seismograph",
    "/stream": "stream-ribbon",
    "/part": "part-walls",
    "/claims": "claims-edges",
    "/stones": "stones-lines",
    "/gauge": "gauge-zeroes",
}
"""A figure that must be drawn on each page that has one."""


@pytest.fixture(scope="module")
def address(cell, serve) -> str:
    return serve(cell)


def opened(look, address, path, **media):
    watched = look(address)
    page = watched.page
    page.emulate_media(**{"color_scheme": "light", **media})
    page.goto(address + path)
    page.wait_for_function("() => document.title.includes('·')", timeout=30_000)
    page.wait_for_function(SPOKEN, timeout=30_000)
    settled(page)
    return page


@pytest.mark.browser
@pytest.mark.parametrize("shown", PAGES, ids=NAMES)
def test_a_page_is_drawn_and_named_breaks_no_serious_rule_and_fits_every_width(look, address, cell, shown):
    page = opened(look, address, shown.PATH)
    if shown.PATH in FIGURES:
        page.wait_for_function(DRAWN, arg=FIGURES[shown.PATH], timeout=30_000)
    assert "Advice only" in page.inner_text(".caution")
    assert page.title().startswith(f"{shown.NAME} · {cell.sheet.cell.name}")
    assert_it_is_named_and_told(page, shown.NAME)
    page.evaluate(RULES)
    assert page.evaluate(FOUND, None) == []
    assert_keys_alone_walk_through(page)
    page.click("#dress")
    assert page.get_attribute("html", "data-dress") == "dark"
    page.wait_for_timeout(300)
    assert page.evaluate(FOUND, ["color-contrast"]) == []
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 900})
        page.wait_for_timeout(250)
        assert page.evaluate(WIDE) <= 0, f"scrolls sideways at {width}"
        assert page.evaluate(SIDEWAYS) == [], f"a drawing scrolls sideways at {width}"
    page.evaluate("() => localStorage.removeItem('cellmon-dress')")


def assert_keys_alone_walk_through(page) -> None:
    """Every stop of Tab is seen with its ring, none comes twice, and the walk ends; folds stand open."""
    page.evaluate(
        "() => { document.querySelectorAll('details').forEach(one => { one.open = true; });"
        " document.activeElement.blur(); scrollTo(0, 0); }"
    )
    settled(page)
    stops: list[str] = []
    while len(stops) <= MOST_STOPS:
        page.keyboard.press("Tab")
        if (found := page.evaluate(STANDS)) is None:
            break
        named, ringed = found
        assert ringed, f"no ring around {named}"
        assert named not in stops, f"{named} holds the focus"
        stops.append(named)
    assert 12 < len(stops) <= MOST_STOPS, stops
    page.evaluate("() => { document.activeElement.blur(); scrollTo(0, 0); }")


def assert_it_is_named_and_told(page, name: str) -> None:
    """A page's language, landmarks, heading, its first sentence, and words for each of its figures."""
    assert page.get_attribute("html", "lang") == "en"
    assert page.locator("main").count() == page.locator("header").count() == 1
    assert page.text_content("h1") == name
    assert page.get_attribute("#nav a.here", "aria-current") == "page"
    assert len(page.locator("main [aria-live=polite]").first.text_content()) > 10
    told = page.evaluate(
        """() => [...document.querySelectorAll('main .js-plotly-plot')].map(drawn =>
            drawn.closest('.picture').querySelector('[role=img]').getAttribute('aria-labelledby').split(' ')
            .map(id => document.getElementById(id)?.textContent || '').join(' ').trim())"""
    )
    assert all(len(words) > 20 for words in told), told


@pytest.mark.browser
def test_a_dark_device_gets_dark_pages_and_figures_and_prints_light_ones(look, address):
    page = opened(look, address, "/stream?spindle=S1&bore=1&feature=diameter", color_scheme="dark")
    page.wait_for_function("() => document.querySelector('#stream-ribbon .js-plotly-plot')?.data?.length > 0")
    settled(page)
    said = page.evaluate(COLOURS).lower()
    light = set(theme.NIGHT)
    assert theme.NIGHT[theme.PAPER] in said
    assert not {colour for colour in re.findall(r"#[0-9a-f]{6}\b", said) if colour in light}
    page.evaluate("() => window.dispatchEvent(new Event('beforeprint'))")
    said = page.evaluate(COLOURS).lower()
    assert theme.PAPER in said
    assert theme.NIGHT[theme.PAPER] not in said
    page.evaluate("() => window.dispatchEvent(new Event('afterprint'))")
    assert theme.NIGHT[theme.PAPER] in page.evaluate(COLOURS).lower()


@pytest.mark.browser
def test_the_choice_of_light_is_kept_in_the_browser_until_the_device_agrees(look, address):
    page = opened(look, address, "/gauge", color_scheme="dark")
    page.click("#dress")
    page.reload()
    page.wait_for_selector("#dress")
    assert page.get_attribute("html", "data-dress") == "light"
    page.click("#dress")
    assert page.evaluate("() => localStorage.getItem('cellmon-dress')") is None


@pytest.mark.browser
def test_a_figure_shows_its_data_as_a_table_on_demand(look, address):
    page = opened(look, address, "/")
    assert page.locator("#now-block-data table").count() == 0
    page.click("#now-block-table")
    page.wait_for_selector("#now-block-data table")
    assert page.locator("#now-block-data tbody tr").count() > 4
    page.click("#now-block-table")
    page.wait_for_selector("#now-block-data table", state="detached")


SMALL = """() => [...document.querySelectorAll('main a, main button, main summary, header a, header button')]
    .filter(e => e.offsetParent && !e.closest('.modebar') && !e.classList.contains('skip'))
    .map(e => [e.textContent, Math.round(Math.max(...[...e.getClientRects()].map(r => r.height)))])
    .filter(([, height]) => height < 44)"""
"""What is to be pressed, and is lower than a wet finger needs."""


@pytest.mark.browser
def test_now_has_targets_for_a_wet_finger(look, address):
    page = opened(look, address, "/")
    page.click("summary >> nth=0")
    for width, height in ((1280, 800), (800, 1280), (1920, 1080)):
        page.set_viewport_size({"width": width, "height": height})
        page.wait_for_timeout(200)
        assert page.evaluate(SMALL) == [], f"{width} by {height}"


@pytest.mark.browser
def test_the_screen_above_the_cell_shows_now_alone_fits_and_says_when_it_was_refreshed(look, address):
    page = look(address, 1920, 1080).page
    page.goto(address + "/?screen")
    page.wait_for_selector(".spindle .sentence", timeout=30_000)
    settled(page)
    assert not page.is_visible("#nav")
    said = "document.getElementById('refreshed').innerText"
    page.wait_for_function(f"() => /Refreshed .*\\d:\\d\\d/.test({said})")
    assert "Advice only" in page.inner_text(".caution")
    size = page.evaluate("() => parseFloat(getComputedStyle(document.querySelector('.sentence')).fontSize)")
    assert size >= 40
    low = page.evaluate("() => document.querySelector('#now-block').getBoundingClientRect().bottom")
    assert low <= 1080
    page.keyboard.press("Escape")
    assert page.is_visible("#nav")
    assert page.url == address + "/"

"""The pages in a real Chromium: drawn, answering, silent in the console, asking no other host."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.dashboards.test_live import settled


@pytest.fixture(scope="module")
def address(cell, serve) -> str:
    return serve(cell)


@pytest.mark.browser
def test_now_says_a_sentence_for_every_spindle_with_a_word_and_a_shape(look, address):
    page = look(address)
    page.open("/", "now-block")
    text = page.page.inner_text("main")
    for spindle in ("S1", "S2"):
        assert spindle in text
    assert any(word in text for word in ("carry on", "look", "stop"))
    assert "drawn as" in page.page.text_content("#now-block")


@pytest.mark.browser
def test_a_click_on_a_line_of_the_seismograph_chooses_its_stream(look, address):
    page = look(address)
    page.open("/shifts", "shifts-seismograph")
    page.page.evaluate(
        "() => { const g = document.querySelector('#shifts-seismograph .js-plotly-plot');"
        "g.emit('plotly_click', {points: [{curveNumber: 6, pointNumber: 3, data: g.data[6],"
        " customdata: g.data[6].customdata[3]}]}); }"
    )
    page.page.wait_for_function(
        "() => document.querySelector('#shifts-heading').innerText.includes('taper')", timeout=30_000
    )


@pytest.mark.browser
def test_features_together_come_on_demand_and_name_what_lies_beyond(look, address):
    page = look(address)
    page.open("/stream?spindle=S2&bore=3&feature=taper", "stream-ribbon")
    page.page.click("text=features together")
    page.page.wait_for_function(
        "() => (document.querySelector('#stream-mean-range .js-plotly-plot')?.data || [])"
        ".some(t => t.name === 'MEWMA')"
    )
    assert page.page.is_visible("#stream-mean-range")
    page.page.wait_for_selector("text=its false alarms come on top")


@pytest.mark.browser
def test_the_classic_pair_comes_on_demand_with_rule_and_price(look, address):
    page = look(address)
    page.open("/stream?spindle=S2&bore=3&feature=taper", "stream-ribbon")
    assert not page.page.is_visible("#stream-mean-range")
    page.page.click("text=means and ranges")
    page.page.wait_for_selector("#stream-mean-range .main-svg", state="visible")
    for choice, name in (("means and deviations", "standard deviation"), ("single bores", "moving range")):
        page.page.click(f"text={choice}")
        page.page.wait_for_function(
            "name => document.querySelector('#stream-mean-range .js-plotly-plot').data"
            ".some(t => t.name === name)",
            arg=name,
        )
    words = page.page.inner_text("#stream-words")
    assert "at three sigma" in words and "false alarms a week" in words
    assert "frozen by test" in words


@pytest.mark.browser
def test_a_wrong_link_gets_a_sentence(look, address):
    page = look(address)
    page.page.goto(address + "/stream?spindle=S9&bore=1&feature=taper")
    page.page.wait_for_selector(".notice")
    assert "no such stream" in page.page.inner_text(".notice")


@pytest.mark.browser
def test_a_person_answers_a_signal_and_sees_it_answered(look, make_cell, serve):
    monitor = make_cell()
    waiting = [s for s in monitor.signals().signals if s.state == "open"]
    page = look(serve(monitor))
    page.open(f"/signals?signal={waiting[-1].id}", "signals-ribbon")
    page.page.wait_for_function("() => document.querySelector('#signals-heading').innerText.length > 0")
    assert page.page.inner_text("#signals-heading")[1:] == waiting[-1].words[1:]
    page.page.fill("#signals-cause", "gauge zero was off")
    page.page.click("#signals-answer")
    page.page.wait_for_function("() => document.querySelector('#signals-said').innerText.includes('who')")
    page.page.fill("#signals-action", "zeroed on the ring")
    page.page.fill("#signals-by", "R. Hale")
    page.page.click("#signals-answer")
    page.page.wait_for_function(
        "() => document.querySelector('#signals-list').innerText.includes('Answered, 1')"
    )
    page.page.wait_for_function(
        "() => document.querySelector('#signals-facts').innerText.includes('zeroed on the ring (R. Hale')"
    )
    found = next(s for s in monitor.signals().signals if s.id == waiting[-1].id)
    assert (found.state, found.owner) == ("answered", "R. Hale")
    assert found.response.cause == "gauge zero was off"


@pytest.mark.browser
def test_a_stream_of_all_bores_is_chosen_by_its_link(look, address):
    page = look(address)
    page.open("/stream?spindle=all&bore=all&feature=diameter", "stream-ribbon")
    page.page.wait_for_function(
        "() => document.querySelector('#stream-sentence').innerText.includes('ll bores')"
    )


@pytest.mark.browser
def test_a_serial_is_typed_and_its_block_told(look, address, cell):
    page = look(address)
    page.open("/part", "part-walls")
    first = cell.newest_parts().parts[-1]
    page.page.fill("#part-serial", first)
    page.page.click("#part-show")
    page.page.wait_for_function(
        "serial => document.querySelector('#part-sentence').innerText.startsWith(serial + ':')", arg=first
    )
    assert page.page.url.endswith(f"/part?serial={first}")
    page.page.wait_for_selector(".happened li")
    assert "fit for use" in page.page.inner_text("#part-held")
    with page.page.expect_download() as saved:
        page.page.click("#part-pdf")
    assert saved.value.suggested_filename.startswith(f"part-{first}-20")
    assert Path(saved.value.path()).read_bytes()[:5] == b"%PDF-"
    page.page.fill("#part-serial", "nobody")
    page.page.press("#part-serial", "Enter")
    page.page.wait_for_selector("text=No part nobody.")


@pytest.mark.browser
def test_new_rows_appear_on_an_open_page(look, make_cell, serve, tmp_path):
    monitor = make_cell()
    page = look(serve(monitor))
    page.open("/", "now-block")
    row = "part,bore,spindle,measured_at,plane,direction,deviation_um\n"
    planes, directions = ("top", "middle", "bottom"), ("x", "y")
    for plane in planes:
        for direction in directions:
            row += f"HM214-999999,1,S1,2026-10-23T06:30:00+02:00,{plane},{direction},87312\n"
    path = tmp_path / "one.csv"
    path.write_text(row.replace("deviation_um", "diameter").replace("87312", "87.3120"), encoding="utf-8")
    assert monitor.take([path]).files[0].taken == 6
    page.page.wait_for_function(
        "() => document.querySelector('#now-block').textContent.includes('HM214-999999')", timeout=20_000
    )


ON_THE_SCREEN = """() => [...document.querySelectorAll(
    'main .spindle, #now-block .main-svg, header .caution, #screen-off')].filter(one => {
    const at = one.getBoundingClientRect();
    const { right, bottom } = at;
    return !at.width || at.left < -1 || at.top < -1 || right > innerWidth + 1 || bottom > innerHeight + 1;
}).length === 0"""
"""Whether all that should be seen on the screen above the cell is seen whole."""
LEFT_OF = "() => document.querySelector('#shifts-seismograph .js-plotly-plot').layout.margin.l"


@pytest.mark.browser
@pytest.mark.parametrize(("width", "height"), [(1024, 768), (1920, 1080)])
def test_now_fits_a_screen_above_the_cell_without_scrolling(look, address, width, height):
    page = look(address, width=width, height=height)
    page.open("/?screen=1", "now-block")
    page.page.wait_for_selector(".now .spindle")
    page.page.wait_for_function(ON_THE_SCREEN, timeout=10_000)
    drawn, told = (page.page.locator(of).last.bounding_box() for of in ("#now-block", "main .spindle"))
    assert drawn["y"] >= told["y"] + told["height"] - 1


@pytest.mark.browser
def test_the_seismograph_is_drawn_narrow_in_a_narrow_window_and_wide_again(look, address):
    page = look(address, width=360, height=760)
    page.open("/shifts", "shifts-seismograph")
    page.page.wait_for_function(f"{LEFT_OF} === 8")
    box = "document.querySelector('#shifts-seismograph').parentElement"
    assert page.page.evaluate(f"{box}.scrollWidth <= {box}.clientWidth")
    page.page.set_viewport_size({"width": 1440, "height": 900})
    page.page.wait_for_function(f"{LEFT_OF} > 100")


NUMBER = """() => {
    const drawn = document.querySelector('#now-block .js-plotly-plot'), { xaxis, yaxis } = drawn._fullLayout;
    const named = drawn.data.find(one => one.name === 'number'), box = drawn.getBoundingClientRect();
    return [named.customdata[0], box.left + xaxis._offset + xaxis.d2p(named.x[0]),
            box.top + yaxis._offset + yaxis.d2p(named.y[0])];
}"""
"""The block whose first number stands in the drawing, and where."""
UNDER_THE_HAND = "() => document.querySelector('#now-block .js-plotly-plot')._hoverdata?.length > 0"
"""The drawing has found what lies under the pointer: a press before that is a press on nothing."""


@pytest.mark.browser
def test_a_press_on_the_number_of_a_bore_opens_its_raw_readings(look, address):
    page = look(address)
    page.open("/", "now-block")
    settled(page.page)
    page.page.evaluate("document.querySelector('#now-block').scrollIntoView()")
    part, x, y = page.page.evaluate(NUMBER)
    page.page.mouse.move(x, y)
    page.page.wait_for_function(UNDER_THE_HAND)
    page.page.mouse.click(x, y)
    page.page.wait_for_selector("#part-bore h2")
    assert f"serial={part}" in page.page.url and "bore=1" in page.page.url


@pytest.mark.browser
def test_audits_are_asked_for_once_somebody_unfolds_them(look, address):
    page = look(address)
    page.open("/stream", "stream-ribbon")
    lead = page.page.locator("#audited-lead")
    assert lead.text_content() == ""
    page.page.get_by_text("Audits and findings", exact=True).click()
    page.page.wait_for_function("() => document.querySelector('#audited-lead').textContent.includes('audit')")


PROPOSES = "() => document.querySelector('#freeze-proposed').textContent.includes('A freeze ')"


@pytest.mark.browser
def test_what_a_freeze_would_set_is_asked_for_once_its_fold_opens_also_by_a_link_to_it(look, address):
    page = look(address)
    page.open("/stream", "stream-ribbon")
    assert page.page.locator("#freeze-proposed").text_content() == ""
    page.page.locator("#freeze-here summary").focus()
    page.page.keyboard.press("Enter")
    page.page.wait_for_function(PROPOSES)
    page.open("/stream#freeze-here", "stream-ribbon")
    page.page.wait_for_function("() => document.querySelector('#freeze-here').open")
    page.page.wait_for_function(PROPOSES)


WITHOUT_WEBGL = """
  const whole = HTMLCanvasElement.prototype.getContext;
  HTMLCanvasElement.prototype.getContext = function (kind, ...more) {
    return kind.includes("webgl") ? null : whole.call(this, kind, ...more);
  };
"""
NO_WEBGL = """
  [...document.querySelectorAll('.js-plotly-plot')]
    .every((one) => one.data.every((t) => t.type !== 'scattergl'))
"""


@pytest.mark.browser
def test_a_browser_without_webgl_draws_what_others_draw(look, address):
    page = look(address)
    page.page.add_init_script(WITHOUT_WEBGL)
    for path, box in (
        ("/shifts", "shifts-seismograph"),
        ("/stream", "stream-ribbon"),
        ("/claims", "claims-edges"),
    ):
        page.open(path, box)
        assert page.page.evaluate(NO_WEBGL) and not page.page.locator(".no-webgl").count(), path


@pytest.mark.browser
def test_a_ribbon_is_drawn_narrow_in_a_narrow_window_and_wide_again(look, address):
    margin = "document.querySelector('#stream-ribbon .js-plotly-plot')?.layout?.margin?.l"
    page = look(address, width=360, height=760)
    page.open("/stream?spindle=S2&bore=3&feature=taper", "stream-ribbon")
    page.page.wait_for_function(f"() => {margin} === 50")
    page.page.set_viewport_size({"width": 1440, "height": 900})
    page.page.wait_for_function(f"() => {margin} > 100")


@pytest.mark.browser
def test_under_a_finger_no_buttons_stand_over_a_drawing_and_two_taps_show_all_of_it_again(look, address):
    page = look(address, 1024, 768)
    session = page.page.context.new_cdp_session(page.page)
    session.send("Emulation.setTouchEmulationEnabled", {"enabled": True, "maxTouchPoints": 2})
    page.open("/stones", "stones-lines")
    settled(page.page)  # else what still comes moves the drawing away under the finger
    where = "#stones-lines .js-plotly-plot"
    page.page.locator(where).scroll_into_view_if_needed()
    assert page.page.locator(f"{where} .modebar").count() == 1
    assert not page.page.locator(f"{where} .modebar").is_visible()
    whole = page.page.evaluate(f"document.querySelector('{where}').layout.xaxis.range")
    page.page.evaluate(f"Plotly.relayout(document.querySelector('{where}'), {{'xaxis.range': [0, 500]}})")
    box = page.page.locator(f"{where} .nsewdrag").first.bounding_box()
    at = {"x": box["x"] + box["width"] * 0.8, "y": box["y"] + 40}
    for _ in range(2):
        session.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [at]})
        session.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    page.page.wait_for_function(
        "([where, far]) => Math.abs(document.querySelector(where).layout.xaxis.range[1] - far) < 1",
        arg=[where, whole[1]],
    )
    session.send("Emulation.setTouchEmulationEnabled", {"enabled": False})
    session.detach()

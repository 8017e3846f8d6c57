"""One bore in the hand, from an empty cell to its end, typed on page Bore with the keyboard alone."""

from __future__ import annotations

import pytest

from tests.dashboards.test_accessible import FOUND, RULES
from tests.monitor.hand_cell import SHEET, hand_cell

pytestmark = pytest.mark.browser
LONG = 60_000
"""Milliseconds: a machine that does much else at the same time is slow, and right all the same."""
WIDE = (
    SHEET.replace("upper = 68.024", "upper = 68.080")
    .replace('stones = ["rough", "fine"]\n', "")
    .replace("finish_allowance_um = 10\n", "")
)
"""A tolerance that a few rounds reach."""
FIRST = [-8.0, -10.0, -10.0, -12.0, -14.0, -16.0]
"""The bore as received, µm from nominal, in the order of the sheet."""
STROKE_UM = 0.8
MOST = 12
ENDS = ("finished", "cannot be saved", "undecided", "let it cool")


@pytest.fixture
def monitor(tmp_path):
    return hand_cell(tmp_path, sheet=WIDE)


class AtTheBore:
    """The page as whoever types at it meets it: by keys, and by what stands there."""

    def __init__(self, page) -> None:
        self.page = page
        page.set_default_timeout(LONG)

    def says(self, where: str, words: str) -> None:
        self.page.wait_for_function(
            "([where, words]) => (document.querySelector(where)?.innerText || '').includes(words)",
            arg=[where, words],
        )

    def asks(self, words: str) -> None:
        self.says("#bore-place", words)

    def enter(self, text: str = "") -> None:
        """Type a figure and accept it, once a key that chatters would be over."""
        if not text:
            self.page.wait_for_timeout(750)
        self.page.keyboard.type(text)
        self.page.keyboard.press("Enter")

    def readings(self, um) -> None:
        for value in um:
            self.enter(f"{68 + value / 1000:.4f}")


def test_a_bore_is_typed_from_nothing_to_its_end(look, serve, monitor):
    watched = look(serve(monitor), 1024, 768)
    at = AtTheBore(watched.page)
    at.page.goto(f"{watched.address}/bore")
    at.says("main .lead", "type the serial")
    at.page.fill("#bore-by", "R. Hale")
    at.page.focus("#bore-serial")
    at.enter("K-7")
    the_gauge_is_checked(at)
    what_is_odd_is_asked_and_a_reload_loses_nothing(at)
    no_answer_of_the_server_is_waited_for(at)
    at.readings(FIRST[3:])
    a_turned_tablet_draws_the_bore_whole_again(at)
    um = a_round_typed_twice_is_not_kept_half_put_right(at, monitor)
    rounds_as_advised(at, monitor, um)
    answer = monitor.bore(part="K-7", bore="1")
    assert answer.next.step == "finished"
    assert min(p.um for p in answer.see.places) > answer.lower_um
    assert max(p.um for p in answer.see.places) < answer.upper_um
    assert {one.by for one in answer.rounds} == {"R. Hale"}
    assert [one.part_temp_c for one in answer.rounds] == [20.5] * len(answer.rounds)
    at.asks("Gauge on its master")
    at.enter("+0.5")
    at.asks("Master,")
    at.enter()
    at.says("#bore-panel", "wash it")
    last = monitor.bore(part="K-7", bore="1")
    assert [one.state for one in last.zero_checks] == ["as-found", "as-left"]
    assert last.sign_checked


def test_what_is_kept_again_while_its_answer_is_long_under_way_is_kept_once(look, serve, monitor):
    watched = look(serve(monitor), 1024, 768)
    at, held = AtTheBore(watched.page), []

    def hold(route) -> None:
        if '"changedPropIds":["bore-done.data"]' in route.request.post_data:
            held.append(route)
        else:
            route.continue_()

    at.page.clock.install()
    at.page.goto(f"{watched.address}/bore")
    at.says("main .lead", "type the serial")
    at.page.fill("#bore-by", "R. Hale")
    at.page.focus("#bore-serial")
    at.enter("K-8")
    at.page.route("**/_dash-update-component*", hold)
    at.asks("Gauge on its master")
    at.enter("+0.5")
    at.asks("Master,")
    at.enter()
    at.page.wait_for_selector("#bore-keep[disabled]")
    at.page.wait_for_timeout(500)
    at.page.clock.fast_forward(9000)
    at.page.wait_for_selector("#bore-keep:not([disabled])")
    at.page.click("#bore-keep")
    at.page.wait_for_timeout(500)
    assert len(held) == 1
    held[0].continue_()
    at.asks("Larger than the master")
    assert len(monitor.bore(part="K-8", bore="1").zero_checks) == 1


def the_gauge_is_checked(at: AtTheBore) -> None:
    at.asks("Gauge on its master")
    at.enter("+0.5")
    at.asks("Master,")
    at.enter()
    at.asks("Larger than the master")
    at.enter()
    at.asks("The gauge on it")
    at.enter("+10")


def what_is_odd_is_asked_and_a_reload_loses_nothing(at: AtTheBore) -> None:
    at.asks("Part")
    at.enter("20,5")
    at.asks("Master")
    at.enter("20")
    at.asks("top x")
    at.enter("2.6768")  # an inch by mistake, as 67.992 mm would be
    at.says("#bore-doubt", "is it in?")
    at.enter(f"{68 + FIRST[0] / 1000:.3f}".replace(".", ","))
    at.asks("top y")
    at.enter(f"{68 + FIRST[1] / 1000:.4f}")
    at.says("#bore-understood", "67.9900 mm")
    at.page.reload()  # as after a power cut
    at.asks("middle x")
    at.says("#bore-boxes", "67,992")
    at.page.evaluate(RULES)
    assert at.page.evaluate(FOUND, None) == []


def no_answer_of_the_server_is_waited_for(at: AtTheBore) -> None:
    """A key steps on while every answer is held back; what was typed is looked at when they come."""
    held = []

    def hold(route) -> None:
        held.append(route)

    at.page.route("**/_dash-update-component", hold)
    at.enter(f"{68 + FIRST[2] / 1000:.4f}")
    at.asks("middle y")
    at.page.keyboard.press("Backspace")
    at.asks("middle x")
    at.page.keyboard.press("ArrowDown")
    at.asks("middle y")
    at.page.unroute("**/_dash-update-component")
    for route in held:
        route.continue_()
    at.says("#bore-boxes", "67.9900 mm")


def a_turned_tablet_draws_the_bore_whole_again(at: AtTheBore) -> None:
    at.says("#bore-title", "round 1")
    drawn = "(document.querySelector('#bore-walls .js-plotly-plot') || {})"
    at.page.wait_for_function(f"() => {drawn}.layout?.meta?.whole")
    at.page.set_viewport_size({"width": 400, "height": 900})
    at.page.wait_for_function(f"() => {drawn}._fullLayout.width < 440")
    at.page.set_viewport_size({"width": 1024, "height": 768})
    at.page.wait_for_function(f"() => {drawn}._fullLayout.width > 440")
    deepest = f"{drawn}.layout.yaxis.range[0] - {drawn}.layout.yaxis.range[1]"
    whole = f"{drawn}.layout.meta.whole"
    at.page.wait_for_function(f"() => {deepest} < 1.5 * ({whole}.y[0] - {whole}.y[1])")
    at.page.focus("#bore-figure")


def a_round_typed_twice_is_not_kept_half_put_right(at: AtTheBore, monitor) -> list[float]:
    """Type the readings of the round before; put right one figure after another, and only then keep it."""
    at.asks("Strokes")
    told = monitor.bore(part="K-7", bore="1").next
    at.enter()
    at.asks("Part")
    at.enter("20.5")
    at.asks("Master")
    at.enter()
    at.asks("top x")
    at.readings(FIRST)
    at.says("#bore-asked", "typed twice")
    um = honed(FIRST, told)
    for i, value in enumerate(um):
        at.page.click(f"#bore-boxes .plane button >> nth={i}")
        at.enter(f"{68 + value / 1000:.4f}")
        at.asks("Enter keeps it")
        assert len(monitor.bore(part="K-7", bore="1").rounds) == 1
    at.enter()
    at.says("#bore-said", "Round 1 is kept")
    return um


def honed(um: list[float], told) -> list[float]:
    """Return what the gauge would read after the strokes that were advised."""
    taken = STROKE_UM * (told.strokes_full + 0.5 * (told.strokes_top + told.strokes_bottom))
    return [value + taken for value in um]


def rounds_as_advised(at: AtTheBore, monitor, um: list[float]) -> None:
    """Hone as the page says, and type what the gauge would read, until the bore ends."""
    number = 1
    while number < MOST:
        number += 1
        at.says("#bore-title", f"round {number}")
        at.asks("Strokes")
        told = monitor.bore(part="K-7", bore="1").next
        at.says("main .lead", told.sentence)
        assert "expanded hone" in at.page.inner_text(".cautions")
        at.enter()  # as advised
        at.asks("Part")
        at.enter("20.5")
        at.asks("Master")
        at.enter()
        um = honed(um, told)
        at.asks("top x")
        at.readings(um)
        at.says("#bore-said", f"Round {number} is kept")
        if monitor.bore(part="K-7", bore="1").next.step in ENDS:
            return

"""Old links, and the keys back and forward: a page shows what its address says, or says that it does not."""

from __future__ import annotations

import pytest
from dash import no_update

from dashboards.pages import by_hand, opened_by, parts, shift_choice, stream_asked, stream_link
from tests.dashboards.stand_in import StandIn
from tests.dashboards.test_live import settled

S1, S2 = (
    "spindle=S1&bore=1&feature=diameter&part_number=HM-214",
    "spindle=S2&bore=3&feature=taper&part_number=HM-214",
)
TIME = "2026-10-24T06:00:00+02:00"


def test_a_link_of_its_own_changes_nothing_and_another_is_followed():
    monitor = StandIn()
    first, other = (parts.stream_query(s) for s in parts.every_stream(monitor)[:2])
    own, without = stream_link.link_of(other, TIME), stream_link.link_of(other, None)
    assert stream_link.linked(monitor, own, other, TIME) == [no_update, no_update, no_update]
    assert stream_link.linked(monitor, own, first, None) == [other, TIME, [other, TIME]]
    assert stream_link.linked(monitor, without, other, TIME) == [no_update, None, [other, None]]
    assert stream_link.linked(monitor, "", other, TIME) == [no_update, None, [other, None]]


def test_where_an_address_led_is_not_written_into_the_address_again():
    assert stream_link.link_of(S1, TIME, [S1, TIME]) is no_update
    assert stream_link.link_of(S1, TIME, [S1, None]) == stream_link.link_of(S1, TIME) != no_update


def test_a_stream_that_is_not_here_is_not_shown_as_another():
    gone = "?spindle=S9&bore=7&feature=diameter"
    assert stream_link.linked(StandIn(), gone, S1, None) == [None, no_update, [None, None]]


def test_a_time_that_is_none_shows_no_bore_by_hand_and_is_no_fault():
    assert stream_asked.time_by_hand(StandIn(), "two", "yesterday") == (by_hand.EVER, by_hand.EVER)


@pytest.mark.parametrize(
    ("query", "said"),
    [
        (None, ""),
        ("lists=every", ""),
        (
            "spindle=S9&bore=7&feature=diameter",
            "There is no such stream here: spindle S9, bore 7, feature diameter. ",
        ),
    ],
)
def test_a_link_to_what_is_gone_is_told(query, said):
    found = opened_by.refusal(lambda m, q: parts.stream_named(m.streams(), q), StandIn(), query)
    assert found.startswith(said) and bool(found) == bool(said)


def test_a_link_to_a_shift_without_bores_is_told(cell):
    newest = str(cell.shifts_made().known[-1])
    assert opened_by.refusal(shift_choice.of_link, cell, f"shift={newest.replace('/', '%2F')}") == ""
    told = opened_by.refusal(shift_choice.of_link, cell, "shift=2020-01-01%2Fearly")
    assert told.startswith("No bores in shift 2020-01-01/early")


CHOSEN = """words => document.querySelector('#stream-stream')?.innerText.includes(words[0])
    && document.querySelector('#stream-sentence').innerText.startsWith(words[0])
    && location.search.includes('until') === words[1]"""


@pytest.mark.browser
def test_the_keys_back_and_forward_lead_through_what_was_chosen_on_a_page(look, cell, serve):
    address = serve(cell)
    page = look(address).page
    page.goto(f"{address}/stream?{S1}")

    def shows(name: str, *, earlier: bool = False) -> None:
        page.wait_for_function(CHOSEN, arg=[name, earlier], timeout=30_000)

    shows("S1 bore 1 diameter")
    settled(page)
    page.evaluate("chosen => window.dash_clientside.set_props('stream-stream', { value: chosen })", S2)
    shows("S2 bore 3 taper")
    page.click("#stream-earlier")
    shows("S2 bore 3 taper", earlier=True)
    settled(page)
    page.go_back()
    shows("S2 bore 3 taper")
    page.go_back()
    shows("S1 bore 1 diameter")
    page.go_forward()
    page.go_forward()
    shows("S2 bore 3 taper", earlier=True)

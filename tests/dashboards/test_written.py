"""What was written into a form is taken out once it is kept, and only then; nothing of what comes next."""

from __future__ import annotations

import pytest
from dash import no_update

from dashboards.pages import signal_answer
from dashboards.pages.written import Kept, taken_out
from tests.dashboards.stand_in import StandIn

FIELDS = {"why": "", "as": None}


def test_what_was_kept_is_taken_out_and_what_was_refused_stays():
    assert taken_out(Kept("frozen"), FIELDS, ["new stones", "all"]) == [
        ["why", "new stones", ""],
        ["as", "all", None],
    ]
    assert taken_out("Say why.", FIELDS, ["", "all"]) is no_update


def test_an_answer_says_whether_it_was_kept():
    monitor = StandIn()
    refused = signal_answer.answer(monitor, "S-chip", "", "", "R. Hale", seen=False)
    assert not isinstance(refused, Kept)
    assert isinstance(signal_answer.answer(monitor, "S-chip", "dirt", "cleaned", "R. Hale", seen=False), Kept)


SENT = """([sent, now, focus]) => {
    document.body.insertAdjacentHTML('beforeend', '<input id="first-field"><input id="second-field">');
    if (focus) document.getElementById(focus).focus();
    const kept = [["first-field", sent[0], ""], ["second-field", sent[1], ""]];
    const none = window.dash_clientside.no_update;
    return window.dash_clientside.cellmon.takenOut(kept, ...now).map(one => one === none ? "stays" : one);
}"""


ABOUT = """([thing, anew]) => {
    if (anew) { document.getElementById('form-said')?.remove();
        document.body.insertAdjacentHTML('beforeend', '<p id="form-said"></p>'); }
    window.dash_clientside.callback_context = { outputs_list: [{ id: "first-field" }, { id: "form-said" }] };
    const none = window.dash_clientside.no_update;
    return window.dash_clientside.cellmon.emptied(thing, "dirt").map(one => one === none ? "stays" : one);
}"""
"""A form with one field that is about a thing, on a page that is laid anew or stands."""


@pytest.mark.browser
def test_nothing_is_taken_from_under_a_hand_and_nothing_of_one_thing_stays_for_another(look, cell, serve):
    page = look(serve(cell))
    page.open("/", "now-block")
    for now, focus, left in (
        (["dirt", "cleaned"], None, ["", ""]),
        (["dirt", "cleaned, and"], None, ["", "stays"]),  # written on meanwhile
        (["dirt", "cleaned"], "second-field", ["", "stays"]),  # somebody stands in it
    ):
        assert page.page.evaluate(SENT, [["dirt", "cleaned"], now, focus]) == left
        page.page.evaluate(
            "document.querySelectorAll('#first-field, #second-field').forEach(o => o.remove())"
        )
    for thing, anew, left in (
        ("S-1", True, ["", ""]),
        ("S-1", False, ["stays", "stays"]),  # asked again
        ("S-2", False, ["", ""]),
        ("S-2", True, ["", ""]),  # a link led here in between, to another
    ):
        assert page.page.evaluate(ABOUT, [thing, anew]) == left
